"""A patch bonded on a panel: what it makes of the laminates, and the bond that is to be looked at.

Repairs lay new ones; damage knows those that somebody laid before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.errors import InputError
from panelfem.laminate import Laminate, Ply
from panelfem.laminate.degrade import weakened
from panelfem.laminate.skins import near_skin
from panelfem.material import Adhesive, CoreMaterial
from panelfem.panel import BondedPatch, Panel


@dataclass(frozen=True)
class PatchRepair:
    """A patch bonded on one face over mesh region `region`; if `cut_out` names a region, that is cut clean first.

    `laminate` is the patch alone, its plies listed from the bond outwards.  `cured` is the share of book strength the
    cure gives (plies and bond), with its band.

    `both_sides`: a like patch goes on the other face, and what gap is between them is filled.  `plug`: a core that
    takes the place of the old one where the panel is cut out; on one side, the far skin stays and the patch is the new
    one.  `precured`: a doubler, whose plies have their full strength and only its bond the cured share.
    """

    name: str
    region: str
    laminate: Laminate
    adhesive: Adhesive
    bond_thickness: float
    side: Literal[1, -1]
    cured: float
    cured_band: tuple[float, float] | None = None
    cut_out: str | None = None
    both_sides: bool = False
    plug: CoreMaterial | None = None
    precured: bool = False


def patched(panel: Panel, patch: PatchRepair, off: BoolArray, before: Panel) -> Panel:
    """The panel with a patch, on its face or faces but where `off` (ne,); `panel` is cut out already, `before` is not.

    It is stacked on whatever laminate lies below, with its adhesive as a layer; where the panel is holed or carries
    nothing it spans alone, at its own height.  With a like patch on the other face, the gap between them is filled with
    the plug or with adhesive.  Strengths are the share `cured` of the book's.  Raises InputError for a core plug over a
    far skin that is gone.
    """
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
