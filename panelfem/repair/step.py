"""What a repair leaves standing out of the surface, where the air runs over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate.skins import near_skin
from panelfem.panel import Panel
from panelfem.patching import PatchRepair
from panelfem.repair.records import Action, ScarfRepair, Tape

#: The faces a repair is on, as a case calls them.
FACES: dict[Literal[1, -1], str] = {1: "last ply", -1: "first ply"}


@dataclass(frozen=True)
class StepHeight:
    """The greatest step: `height` m above the original surface, on the `face` of the first or the last ply, or
    "either"; empty for none.  `unstated`: tapes whose thickness is not stated, which is not in it.
    """

    height: float = 0.0
    face: str = ""
    unstated: tuple[str, ...] = ()


def step_height(panel: Panel, actions: Sequence[Action]) -> StepHeight:
    """The greatest step that actions leave on the surface of the undamaged `panel`; what lies on each other adds up.

    What lies on the skin stands out by its plies and its bond, wherever it lies; what is let in, by what new plies and
    bond are thicker than the skin they replace; tape may be on either face.  Fixings stand as they did.
    """
    none = np.zeros(len(panel.mesh.triangles))
    height = {side: none.copy() for side in FACES}
    for action in actions:
        match action:
            case PatchRepair(region=region, side=side, both_sides=both):
                for face in FACES if both else (side,):
                    height[face] += panel.mesh.inside[region] * (action.laminate.thickness + action.bond_thickness)
            case ScarfRepair(region=region, side=side):
                height[side] += np.where(panel.mesh.inside[region], _proud(panel, action), none)
            case Tape(region=region, thickness=thickness) if thickness is not None:
                for face in FACES:
                    height[face] += panel.mesh.inside[region] * thickness
    unstated = tuple(a.name for a in actions if isinstance(a, Tape) and a.thickness is None)
    most = {side: float(found.max()) for side, found in height.items()}
    greatest = max(most.values())
    if greatest <= 0.0:
        return StepHeight(0.0, "", unstated)
    faces = [FACES[side] for side in FACES if most[side] == greatest]
    return StepHeight(greatest, faces[0] if len(faces) == 1 else "either", unstated)


def _proud(panel: Panel, scarf: ScarfRepair) -> FloatArray:
    """What new plies and their bond stand out of the old surface (ne,), were they everywhere; m, 0 if they do not."""
    old = np.zeros(len(panel.laminates))
    for i in np.unique(panel.laminate_of[panel.mesh.inside[scarf.region]]).tolist():
        old[i] = near_skin(panel.laminates[i], scarf.side).thickness
    new = scarf.laminate.thickness + scarf.bond_thickness
    return np.maximum(new - old[panel.laminate_of], 0.0)
