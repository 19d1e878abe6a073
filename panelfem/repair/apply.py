"""Repairs turn one panel record into another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from panelfem.errors import InputError
from panelfem.laminate import Laminate, Ply
from panelfem.laminate.degrade import weakened
from panelfem.panel import BondedPatch, Panel
from panelfem.repair.records import Action, PatchRepair, Refit, Spare, Tape


def repaired(panel: Panel, actions: Sequence[Action]) -> Panel:
    """The panel after the actions, in their order.

    A patch is stacked on one face of whatever laminate lies below it (so it is eccentric), with its adhesive as a
    layer; where the panel is holed or carries nothing the patch spans alone, at its own height.  Strengths of patch
    and adhesive are the cured share of the book's.  A :class:`Spare` has no meaning here: the caller takes the
    undamaged panel.
    """
    for action in actions:
        match action:
            case PatchRepair():
                panel = _patched(panel, action)
            case Tape(region=region, areal_mass=mass):
                panel = replace(
                    panel, extra_mass=panel.extra_mass + mass * float(panel.mesh.areas[panel.mesh.inside[region]].sum())
                )
            case Refit(fastener=name):
                panel = replace(
                    panel, fasteners=tuple(replace(f, fitted=True) if f.name == name else f for f in panel.fasteners)
                )
            case Spare():
                raise InputError(
                    "a spare panel is not a repair of this one",
                    where=f"option action {action.name!r}",
                    do="make it an option of its own",
                )
    return panel


def cut(panel: Panel, actions: Sequence[Action]) -> Panel:
    """The panel with what the actions cut out before bonding: what is left if the patch comes off."""
    removed = panel.removed.copy()
    for action in actions:
        if isinstance(action, PatchRepair) and action.cut_out is not None:
            removed |= panel.mesh.inside[action.cut_out]
    return replace(panel, removed=removed)


def _patched(panel: Panel, patch: PatchRepair) -> Panel:
    inside = panel.mesh.inside[patch.region]
    if patch.cut_out is not None:
        panel = replace(panel, removed=panel.removed | panel.mesh.inside[patch.cut_out])
    cured = weakened(patch.laminate, patch.cured)
    glue = Ply(patch.adhesive, patch.bond_thickness, 0.0)
    # where the panel is holed, or taken to carry nothing, the patch spans alone
    gap = inside & (panel.removed | panel.slack)
    over = inside & ~gap
    alone = cured if patch.side > 0 else replace(cured, plies=cured.plies[::-1])
    numbers = np.unique(panel.laminate_of[inside]).tolist()
    bridge = {i: replace(alone, bottom=_height(panel.laminates[i], patch, cured)) for i in numbers}
    panel = panel.relaid(over, {i: panel.laminates[i].stacked((glue, *cured.plies), patch.side) for i in numbers})
    panel = panel.relaid(gap, bridge)
    height = _height(panel.laminates[int(numbers[0])], patch, cured)
    bond = BondedPatch(
        patch.name, patch.region, replace(alone, bottom=height), patch.adhesive, patch.bond_thickness, patch.side,
        patch.cured, gap,
    )  # fmt: skip
    return replace(panel, removed=panel.removed & ~gap, slack=panel.slack & ~inside, patches=(*panel.patches, bond))


def _height(parent: Laminate, patch: PatchRepair, cured: Laminate) -> float:
    """z of the bottom face of a patch on the parent's face."""
    low = parent.interfaces[0]
    if patch.side > 0:
        return float(low + parent.thickness + patch.bond_thickness)
    return float(low - patch.bond_thickness - cured.thickness)
