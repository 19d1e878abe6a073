"""Conditions that the actions of an option bring whatever the numbers are: no credit, joints out of the ordinary."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from panelfem.joint import overlap_advice, scarf_advice, shear_decay, step_advice
from panelfem.joint.edge import strip
from panelfem.panel import Panel
from panelfem.repair import Action, NoCredit, PatchRepair, ScarfRepair, near_skin
from panelfem.reserve.bonds import overlap_of


def remarks(actions: Sequence[Action], panel: Panel) -> tuple[str, ...]:
    """Conditions that actions bring; `panel` is that after them."""
    return tuple(dict.fromkeys(said for action in actions for said in _of(action, panel)))


def _of(action: Action, panel: Panel) -> Iterator[str]:
    match action:
        case NoCredit(name=name, what=what, over=over):
            yield f"{name}: {what} of {over} is recorded, and no strength is counted for it"
        case ScarfRepair(name=name, slope=slope, step=step):
            said = scarf_advice(slope) if slope is not None else step_advice(step or 0.0)
            yield from (f"{name} is out of the ordinary: {words}" for words in said)
        case PatchRepair(name=name, region=region, adhesive=adhesive, bond_thickness=bond):
            inside = panel.mesh.inside[region]
            outside = (
                panel.laminates[int(np.bincount(panel.laminate_of[~inside]).argmax())] if (~inside).any() else None
            )
            patch = next(p for p in panel.patches if p.name == name)
            if outside is not None:
                # of a sandwich the skin below is what the patch is lapped on
                parent = near_skin(outside, action.side)
                a, b = (strip(lam, 0.0, 1, "parent").A for lam in (parent, patch.laminate))
                said = overlap_advice(overlap_of(panel, patch), shear_decay(a, b, adhesive.G, bond))
                yield from (f"{name} is out of the ordinary: {words}" for words in said)
