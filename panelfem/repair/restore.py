"""A laminate, or a skin, restored ply by ply along a scarf or steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.errors import InputError
from panelfem.laminate.degrade import weakened
from panelfem.panel import BondedPatch, Panel, Taper
from panelfem.repair.records import ScarfRepair


def restored(panel: Panel, scarf: ScarfRepair, off: BoolArray) -> Panel:
    """New plies in the place of the near ones of a panel that is cut down over the whole area; where nothing else is
    left, they are all there is.

    Along the taper, where old plies still carry a part, the new ones are taken to have all of it: the strength is then
    that of the cure everywhere.  Raises InputError for an area holed through a sandwich.
    """
    inside = panel.mesh.inside[scarf.region] & ~off
    cured = weakened(scarf.laminate, scarf.cured)
    own = cured if scarf.side > 0 else replace(cured, plies=cured.plies[::-1])
    through, on = inside & panel.removed, inside & ~panel.removed
    if through.any() and on.any():
        raise InputError(
            "part of the area is holed through a sandwich, of which a scarf restores one skin only",
            where=f"option action {scarf.name!r}",
            allowed="a laminate without core, or damage that leaves the core and the far skin whole",
            do="use a two-sided patch with a plug",
        )
    change, bottoms = {}, []
    for i in np.unique(panel.laminate_of[inside]).tolist():
        old = panel.laminates[i]
        if through.any():
            z = old.interfaces
            bottoms.append(float(z[0] if scarf.side > 0 else z[-1] - cured.thickness))
            change[i] = replace(own, bottom=bottoms[-1])
        else:
            change[i] = old.stacked(cured.plies, scarf.side)
            bottoms.append(float(change[i].interfaces[len(old.plies) if scarf.side > 0 else 0]))
    panel = panel.relaid(inside, change)
    bond = BondedPatch(
        scarf.name, scarf.region, replace(own, bottom=bottoms[0]), scarf.adhesive, scarf.bond_thickness,
        scarf.side, scarf.cured, np.zeros(len(inside), bool), off, taper=Taper(scarf.slope, scarf.step),
    )  # fmt: skip
    return replace(panel, removed=panel.removed & ~inside, slack=panel.slack & ~inside, patches=(*panel.patches, bond))
