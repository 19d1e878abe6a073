"""Repairs turn one panel record into another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.errors import InputError
from panelfem.laminate.skins import without_near
from panelfem.panel import Fastener, Panel
from panelfem.patching import PatchRepair, patched
from panelfem.repair.half import loose_half
from panelfem.repair.records import Action, Insert, NoCredit, Refit, ScarfRepair, Spare, Tape
from panelfem.repair.restore import restored


def repaired(panel: Panel, actions: Sequence[Action], *, half_bonded: bool = False) -> Panel:
    """The panel after the actions, in their order, with what they cut out taken out first.

    A patch lies on the panel (:func:`panelfem.patching.patched`); a scarf or stepped patch puts new plies in the place
    of the old over its whole area.  `half_bonded`: one half of each bonded area carries nothing (:func:`loose_half`).
    A :class:`Spare` has no meaning here: the caller takes the undamaged panel.
    """
    before, panel = panel, cut(panel, actions)
    for action in actions:
        match action:
            case PatchRepair() | ScarfRepair():
                off = loose_half(panel, action.region) if half_bonded else np.zeros(len(panel.mesh.triangles), bool)
                if isinstance(action, ScarfRepair):
                    panel = restored(panel, action, off)
                else:
                    panel = patched(panel, action, off, before)
            case Tape(region=region, areal_mass=mass):
                panel = replace(
                    panel, extra_mass=panel.extra_mass + mass * float(panel.mesh.areas[panel.mesh.inside[region]].sum())
                )
            case Refit(fastener=name):
                panel = replace(
                    panel, fasteners=tuple(replace(f, fitted=True) if f.name == name else f for f in panel.fasteners)
                )
            case Insert(fastener=name):
                panel = replace(
                    panel, fasteners=tuple(_reset(f, action) if f.name == name else f for f in panel.fasteners)
                )
            case NoCredit():
                pass
            case Spare():
                raise InputError(
                    "a spare panel is not a repair of this one",
                    where=f"option action {action.name!r}",
                    do="make it an option of its own",
                )
    return panel


def cut(panel: Panel, actions: Sequence[Action]) -> Panel:
    """The panel with what the actions cut out before bonding: what is left if the patch comes off.

    Below a core plug with one new skin the far skin is left; of a scarf or stepped patch the whole area is taken as cut
    down to the core, or through, which is on the safe side of a taper.
    """
    for action in actions:
        if isinstance(action, ScarfRepair):
            panel = _opened(panel, panel.mesh.inside[action.region], action.side, core=False)
        elif isinstance(action, PatchRepair) and action.cut_out is not None:
            inside = panel.mesh.inside[action.cut_out]
            if action.plug is not None and not action.both_sides:
                panel = _opened(panel, inside, action.side, core=True)
            else:
                panel = replace(panel, removed=panel.removed | inside)
    return panel


def _opened(panel: Panel, inside: BoolArray, side: Literal[1, -1], core: bool) -> Panel:
    """The panel without the near plies over `inside`, and without the core below them with `core`."""
    numbers = np.unique(panel.laminate_of[inside]).tolist()
    left = {i: without_near(panel.laminates[i], side, core) for i in numbers}
    through = [i for i, lam in left.items() if lam is None]
    gone = inside & np.isin(panel.laminate_of, through)
    panel = panel.relaid(inside & ~panel.removed, {i: lam for i, lam in left.items() if lam is not None})
    return replace(panel, removed=panel.removed | gone)


def _reset(fastener: Fastener, insert: Insert) -> Fastener:
    """A fixing on its new insert."""
    share = insert.stiffness
    return replace(
        fastener,
        fitted=True,
        in_plane=fastener.in_plane * share,
        out_of_plane=fastener.out_of_plane * share,
        tilt=fastener.tilt * share,
        twist=fastener.twist * share,
        rating_shear=None if insert.rating_shear is None else insert.cured * insert.rating_shear,
        rating_pull=None if insert.rating_pull is None else insert.cured * insert.rating_pull,
    )
