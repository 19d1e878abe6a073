"""Repairs turn one panel record into another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.errors import InputError
from panelfem.laminate import Laminate, Ply
from panelfem.laminate.degrade import weakened
from panelfem.panel import BondedPatch, Fastener, Panel
from panelfem.repair.half import loose_half
from panelfem.repair.records import Action, Insert, NoCredit, PatchRepair, Refit, ScarfRepair, Spare, Tape
from panelfem.repair.restore import restored
from panelfem.repair.skins import near_skin, without_near


def repaired(panel: Panel, actions: Sequence[Action], *, half_bonded: bool = False) -> Panel:
    """The panel after the actions, in their order, with what they cut out taken out first.

    A patch is stacked on one face of whatever laminate lies below it (so it is eccentric), with its adhesive as a
    layer; where the panel is holed or carries nothing the patch spans alone, at its own height.  With a like patch on
    the other face, the gap between them is filled with the plug or with adhesive.  A scarf or stepped patch puts new
    plies in the place of the old over its whole area.  Strengths of patch and adhesive are the cured share of the
    book's.  `half_bonded`: one half of each bonded area carries nothing (:func:`loose_half`).  A :class:`Spare` has no
    meaning here: the caller takes the undamaged panel.
    """
    before, panel = panel, cut(panel, actions)
    for action in actions:
        match action:
            case PatchRepair() | ScarfRepair():
                off = loose_half(panel, action.region) if half_bonded else np.zeros(len(panel.mesh.triangles), bool)
                if isinstance(action, ScarfRepair):
                    panel = restored(panel, action, off)
                else:
                    panel = _patched(panel, action, off, before)
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


def _patched(panel: Panel, patch: PatchRepair, off: BoolArray, before: Panel) -> Panel:
    """`panel` is cut out already, `before` is not."""
    inside = panel.mesh.inside[patch.region] & ~off
    cured = patch.laminate if patch.precured else weakened(patch.laminate, patch.cured)
    layers = (Ply(patch.adhesive, patch.bond_thickness, 0.0), *cured.plies)
    # where the panel is holed, or taken to carry nothing, the patch spans alone
    gap = inside & (panel.removed | panel.slack)
    plugged = np.zeros_like(gap)
    if patch.plug is not None and patch.cut_out is not None and not patch.both_sides:
        if gap.any():
            raise InputError(
                "the far skin is gone as well, so a core plug with one new skin has nothing to stand on",
                where=f"option action {patch.name!r}",
                allowed="damage of a sandwich that leaves the far skin whole",
                do="use a two-sided patch with a plug",
            )
        plugged = inside & panel.mesh.inside[patch.cut_out]
    over = inside & ~gap & ~plugged
    parents = {i: before.laminates[i] for i in np.unique(before.laminate_of[inside]).tolist()}
    sides: tuple[Literal[1, -1], ...] = (patch.side,)
    if patch.both_sides:
        sides = (1, -1) if patch.side > 0 else (-1, 1)

    def alone(side: Literal[1, -1], parent: Laminate) -> Laminate:
        low, plies = parent.interfaces[0], cured.plies if side > 0 else cured.plies[::-1]
        bottom = low + parent.thickness + patch.bond_thickness
        return replace(cured, plies=plies, bottom=float(bottom if side > 0 else low - Laminate(layers).thickness))

    def on(laminate: Laminate) -> Laminate:
        for side in sides:
            laminate = laminate.stacked(layers, side)
        return laminate

    def spanning(parent: Laminate) -> Laminate:
        if not patch.both_sides:
            return alone(patch.side, parent)
        fill = Ply(patch.plug or patch.adhesive, parent.thickness, 0.0)
        return on(Laminate((fill,), bottom=float(parent.interfaces[0])))

    first = next(iter(parents.values()))
    for i in np.unique(panel.laminate_of[plugged]).tolist():
        # as deep as what was taken out there
        at = int(np.flatnonzero(plugged & (panel.laminate_of == i))[0])
        left, whole = panel.laminates[i], before.laminates[int(before.laminate_of[at])]
        core = whole.thickness - left.thickness
        core -= near_skin(whole, patch.side).thickness
        assert patch.plug is not None
        panel = panel.relaid(plugged, {i: left.stacked((Ply(patch.plug, core, 0.0), *layers), patch.side)})
    panel = panel.relaid(gap, {i: spanning(lam) for i, lam in parents.items()})
    numbers = np.unique(panel.laminate_of[over]).tolist()
    panel = panel.relaid(over, {i: on(panel.laminates[i]) for i in numbers})
    bonds = tuple(
        BondedPatch(
            patch.name, patch.region, alone(side, first), patch.adhesive, patch.bond_thickness, side, patch.cured,
            gap | plugged, off, paired=patch.both_sides,
        )
        for side in sides
    )  # fmt: skip
    return replace(panel, removed=panel.removed & ~gap, slack=panel.slack & ~inside, patches=(*panel.patches, *bonds))
