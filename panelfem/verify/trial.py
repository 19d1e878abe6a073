"""One problem of the bars' own test: our numbers at any order on a fixed mesh, and the exact ones.

A quantity is a function of a *field*, which knows deflections and strains at places of the parameter square.  The same
function is asked of ours and of the exact solution, at the vertex of the mesh that is nearest to the place named.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from panelfem.accuracy.layer import edge_layer
from panelfem.arrays import FloatArray
from panelfem.failure import CRITERIA
from panelfem.laminate import Laminate
from panelfem.laminate.ply import Ply
from panelfem.material import PlyMaterial
from panelfem.reference.navier import Navier
from panelfem.reference.on_springs import PlateOnFixings
from panelfem.reference.ritz import RitzShell
from panelfem.shell import Recovery, Shell, Supports, System
from panelfem.verify.grids import Grid

Place = tuple[float, float]
#: the mesh of a trial at an order
Lay = Callable[[int], Grid]
AXIS = np.array([1.0, 0.0, 0.0])
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Ours:
    """Our quantities by their names, with what `panelfem.accuracy.measured` is told of them beside both orders:
    `spread` of those that are made of strains, in their units, and the `layer` of the panel."""

    numbers: Mapping[str, float]
    spread: Mapping[str, float]
    layer: float


@dataclass(frozen=True)
class Trial:
    """A problem with a fixed mesh.

    `solve(k)`: ours with elements of order k; `reference()`: the exact ones of the same theory, found as
    `reference_how` says, good to the share `reference_error`.  Orders `order` and `order` + 1 give number and bar.
    The name of a quantity ends in its unit, after the last comma.  `source`: where the problem comes from.
    """

    name: str
    source: str
    solve: Callable[[int], Ours]
    reference: Callable[[], Mapping[str, float]]
    reference_how: str
    order: int
    reference_error: float = 1e-5


class Field(Protocol):
    """Deflections and strains at parameters (s, t) of a surface."""

    def deflection(self, place: Place) -> float:
        """Deflection along the way the problem names, m."""

    def strain(self, place: Place) -> FloatArray:
        """The eight strains (8,) in the laminate frame."""

    def greatest(self) -> float:
        """The greatest deflection anywhere, m."""


Quantity = Callable[[Field], float]


@dataclass(frozen=True)
class Found:
    """Ours: unknowns `u` of a factored shell on a grid; deflections are along `way` (3,)."""

    grid: Grid
    shell: Shell
    u: FloatArray
    way: FloatArray

    def deflection(self, place: Place) -> float:
        """At the vertex nearest to `place`, m."""
        node = self.grid.vertex(*place)
        return float(self.u[6 * node : 6 * node + 3] @ self.way)

    @cached_property
    def _recovery(self) -> Recovery:
        return self.shell.recovery(np.zeros(len(self.grid.mesh.triangles), np.int64))

    @cached_property
    def _strains(self) -> FloatArray:
        return self._recovery.strains(self.u)

    def _pair(self, place: Place) -> int:
        return int(np.flatnonzero(self._recovery.node == self.grid.vertex(*place))[0])

    def strain(self, place: Place) -> FloatArray:
        """Recovered at the vertex nearest to `place`."""
        return np.asarray(self._strains[self._pair(place)])

    def around(self, place: Place) -> FloatArray:
        """Strains (m, 8) each element has at the vertex nearest to `place`."""
        return self._recovery.around(self.u, self._pair(place))

    def spread(self, quantity: Quantity) -> float:
        """How far a quantity of one place would be off if one of the elements around were asked instead of all."""
        value, field = quantity(self), One(self)
        out = abs(quantity(field) - value)
        while field.number + 1 < field.count:
            field.number += 1
            out = max(out, abs(quantity(field) - value))
        return out

    def ours(self, quantities: Mapping[str, Quantity], system: System, load: FloatArray) -> Ours:
        """The quantities, found by `system` under `load`."""
        numbers = {what: quantity(self) for what, quantity in quantities.items()}
        spread = {what: self.spread(quantity) for what, quantity in quantities.items()}
        return Ours(numbers, spread, edge_layer(system, load, self.u))

    def greatest(self) -> float:
        """The greatest of the elements' own motion, m, sampled finely round the vertex that moves most."""
        triangles = self.grid.mesh.triangles
        count = int(triangles.max()) + 1
        top = int((self.u[: 6 * count].reshape(-1, 6)[:, :3] @ self.way).argmax())
        ring = np.isin(triangles, triangles[(triangles == top).any(axis=1)]).any(axis=1)
        r, s = (v.ravel() for v in np.meshgrid(np.linspace(0, 1, 31), np.linspace(0, 1, 31)))
        bary = np.column_stack([1 - r - s, r, s])[r + s < 1 + 1e-9]
        elements = np.repeat(np.flatnonzero(ring), len(bary))
        motion = self.shell.displacement_operator(elements, np.tile(bary, (int(ring.sum()), 1))) @ self.u
        return float((motion.reshape(-1, 3) @ self.way).max())


@dataclass
class One:
    """The field as the element `number` of the `count` (known once a strain was asked for) around a place has it."""

    found: Found
    number: int = 0
    count: int = 0

    def deflection(self, place: Place) -> float:
        """The same for all, m."""
        return self.found.deflection(place)

    def strain(self, place: Place) -> FloatArray:
        """The element's own."""
        around = self.found.around(place)
        self.count = len(around)
        return np.asarray(around[self.number])

    def greatest(self) -> float:
        """The same for all, m."""
        return self.found.greatest()


@dataclass(frozen=True)
class Exact:
    """An exact solution over the parameter square; `snap` brings a place to a vertex of the mesh."""

    w: Callable[[float, float], float]
    e: Callable[[float, float], FloatArray]
    snap: Callable[[Place], Place] = lambda place: place

    def deflection(self, place: Place) -> float:
        """At the snapped place, m."""
        return self.w(*self.snap(place))

    def strain(self, place: Place) -> FloatArray:
        """At the snapped place."""
        return self.e(*self.snap(place))

    def greatest(self) -> float:
        """By a scan that closes in on the greatest point, m."""
        s, t, step = 0.5, 0.5, 0.5
        best = -np.inf
        for _ in range(9):
            line = np.linspace(-step, step, 9)
            tried = [
                (self.w(s + i, t + j), s + i, t + j) for i in line for j in line if 0 < s + i < 1 and 0 < t + j < 1
            ]
            best, s, t = max(tried)
            step /= 3
        return float(best)


def series(exact: Navier | PlateOnFixings, sides: tuple[float, float]) -> Exact:
    """A double series on a plan of `sides` m."""
    a, b = sides
    return Exact(
        lambda s, t: float(exact.deflection(np.array([a * s]), np.array([b * t]))[0]),
        lambda s, t: np.asarray(exact.strains(np.array([a * s]), np.array([b * t]))[0]),
    )


def ritz(patch: RitzShell, load: Callable[[FloatArray, FloatArray], FloatArray], way: FloatArray) -> Exact:
    """A Ritz solution under a traction, deflections along `way`."""
    return solved(patch, patch.solve(patch.traction(load)), way)


def solved(patch: RitzShell, v: FloatArray, way: FloatArray) -> Exact:
    """A Ritz solution with its unknowns, deflections along `way`."""
    return Exact(
        lambda s, t: float(patch.displacement(v, s, t) @ way),
        lambda s, t: np.asarray(patch.strains(v, np.array([s]), np.array([t]))[0]),
    )


# ----------------------------------------------------------------------------------------------- quantities
def deflection(place: Place = (0.5, 0.5)) -> Quantity:
    """Deflection at a place."""
    return lambda field: field.deflection(place)


def greatest() -> Quantity:
    """Greatest deflection."""
    return lambda field: field.greatest()


def fibre(place: Place, z: float, degrees: float = 0.0) -> Quantity:
    """Strain along `degrees` from the 0° axis at height `z` m."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    row = np.array([c * c, s * s, c * s])
    return lambda field: float(row @ (field.strain(place)[:3] + z * field.strain(place)[3:6]))


def resultant(C: FloatArray, component: int, place: Place) -> Quantity:
    """A resultant of [N11 N22 N12 M11 M22 M12] at a place."""
    return lambda field: float(C[component, :6] @ field.strain(place)[:6])


def reserve(laminate: Laminate, ply: int, place: Place, criterion: str = "Tsai-Wu") -> Quantity:
    """Least reserve factor of a ply (0: the first, −1: the last) at its outer face."""
    material = laminate.plies[ply].material
    assert isinstance(material, PlyMaterial)
    law = CRITERIA[criterion]

    def factor(field: Field) -> float:
        stress = laminate.ply_stresses(field.strain(place))[ply, 2 if ply < 0 else 0]
        return float(law.reserve(stress, np.zeros(3), material).min())

    return factor


# -------------------------------------------------------------------------------------------------- trials
def trial(
    name: str,
    source: str,
    lay: Lay,
    C: FloatArray,
    held: Mapping[str, tuple[str, ...]] | Callable[[Grid], Supports],
    load: Callable[[Grid, Shell], FloatArray],
    exact: Callable[[], Exact],
    how: str,
    order: int,
    quantities: Mapping[str, Quantity],
    *,
    way: FloatArray = UP,
    axis: FloatArray = AXIS,
    points: Mapping[Place, tuple[str, ...]] | None = None,
    more: Callable[[Grid, System, FloatArray, FloatArray], Mapping[str, float]] | None = None,
    more_exact: Callable[[], Mapping[str, float]] | None = None,
    reference_error: float = 1e-5,
) -> Trial:
    """A shell of one laminate of stiffness `C` (8, 8) on `lay`, held and loaded; `more` adds quantities from the
    grid, the factored system, the load and the unknowns, `more_exact` their exact values."""

    def solve(k: int) -> Ours:
        grid = lay(k)
        shell = Shell(grid.mesh, C, axis)
        supports = held(grid) if callable(held) else grid.supports(held, points)
        system, right = shell.factor(supports), load(grid, shell)
        u = system.solve(right)
        ours = Found(grid, shell, u, way).ours(quantities, system, right)
        others = more(grid, system, right, u) if more is not None else {}
        return replace(ours, numbers={**ours.numbers, **others})

    def reference() -> Mapping[str, float]:
        grid, field = lay(2), exact()

        def snap(place: Place) -> Place:
            s, t = grid.par[grid.vertex(*place)]
            return float(s), float(t)

        there = Exact(field.w, field.e, snap)
        out = {what: quantity(there) for what, quantity in quantities.items()}
        return out | dict(more_exact() if more_exact is not None else {})

    return Trial(name, source, solve, reference, how, order, reference_error)


def pressure(q: float) -> Callable[[Grid, Shell], FloatArray]:
    """Uniform pressure along the normal, Pa."""
    return lambda grid, shell: shell.traction(lambda x, n: q * n)


def pressed(q: float, s: tuple[float, float], t: tuple[float, float]) -> Callable[[Grid, Shell], FloatArray]:
    """Pressure along the normal on the elements between the parameters s and t, Pa."""
    return lambda grid, shell: shell.traction(lambda x, n: q * n, grid.within(s, t))


def plies(*stack: tuple[PlyMaterial, float, float]) -> Laminate:
    """A laminate of (material, thickness m, degrees), the first at the bottom."""
    return Laminate(tuple(Ply(material, t, float(np.radians(angle))) for material, t, angle in stack))
