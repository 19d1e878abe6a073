"""Putting places on the surface before it is meshed: what is measured is seldom on it to the last digit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import Fault
from panelfem.mesh import Lift
from panelfem.mesh.closest import TriangleSearch

#: How far off the surface a stated place may lie, m (a choice: a tape or a scan places a fixing this well).
SNAP = 0.010


def unit(direction: list[float]) -> FloatArray:
    """A direction (3,) of length one.

    >>> unit([0.0, 3.0, 4.0]).tolist()
    [0.0, 0.6, 0.8]
    """
    vector = np.array(direction, float)
    return np.asarray(vector / np.linalg.norm(vector))


class Ground(Protocol):
    """A surface that places are put on; what lies too far off it is collected as faults."""

    faults: list[Fault]

    def put(self, place_mm: Sequence[float], path: str) -> tuple[FloatArray, FloatArray]:
        """The place (3,) m on the surface nearest to a stated one, and the unit normal (3,) there."""

    def raised(self, points: FloatArray, path: str) -> FloatArray:
        """Points (n, 3) m whose z is not stated, with the z of the surface."""


def _too_far(place_mm: Sequence[float], gap: float, path: str) -> Fault:
    text = ", ".join(f"{c:g}" for c in place_mm)
    what = f"({text}) mm lies {1e3 * gap:.3g} mm off the surface"
    return Fault(
        path,
        what,
        f"within {1e3 * SNAP:g} mm of the surface",
        "measure it again, or check the unit of the mesh",
    )


@dataclass
class LiftedGround:
    """An outline raised by its lift: the normal points up."""

    lift: Lift
    faults: list[Fault] = field(default_factory=list)

    def put(self, place_mm: Sequence[float], path: str) -> tuple[FloatArray, FloatArray]:
        """The place above the plan; a stated z must agree with the surface."""
        x, y = 1e-3 * place_mm[0], 1e-3 * place_mm[1]
        step = 1e-6
        plan = np.array([[x, y], [x + step, y], [x - step, y], [x, y + step], [x, y - step]])
        z = self.lift.height(plan)
        normal = np.array([-(z[1] - z[2]) / (2 * step), -(z[3] - z[4]) / (2 * step), 1.0])
        normal /= np.linalg.norm(normal)
        if len(place_mm) == 3 and (gap := abs(1e-3 * place_mm[2] - z[0]) * normal[2]) > SNAP:
            self.faults.append(_too_far(place_mm, gap, path))
        return np.array([x, y, z[0]]), normal

    def raised(self, points: FloatArray, path: str) -> FloatArray:
        """The points on the lifted plan."""
        return np.column_stack([points[:, :2], self.lift.height(points[:, :2])])


class MeshedGround:
    """A surface mesh."""

    def __init__(self, vertices: FloatArray, triangles: IntArray) -> None:
        self.faults: list[Fault] = []
        self._vertices, self._triangles = vertices, triangles
        self._search = TriangleSearch(vertices, triangles)

    def put(self, place_mm: Sequence[float], path: str) -> tuple[FloatArray, FloatArray]:
        """The closest point of the mesh."""
        stated = 1e-3 * np.array([place_mm], float)
        element, bary = self._search.nearest(stated)
        corners = self._vertices[self._triangles[element[0]]]
        place = bary[0] @ corners
        if (gap := float(np.linalg.norm(place - stated[0]))) > SNAP:
            self.faults.append(_too_far(place_mm, gap, path))
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        return np.asarray(place), np.asarray(normal / np.linalg.norm(normal))

    def raised(self, points: FloatArray, path: str) -> FloatArray:
        """Refused: on a deep surface x and y do not say where."""
        what = "the samples have no z_mm"
        self.faults.append(Fault(path, what, "z_mm on a panel given by a mesh file", "export the samples with their z"))
        return points
