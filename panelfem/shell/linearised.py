"""The tangent of a shell continued in a straight line from a point of its path, for linearised buckling.

K(p) = K + (p − p₀) K′.  K is the tangent at the start, with its stress, its deformed shape and its pressures.  K′ is
what a unit of the factor changes as the shell answers linearly: the geometric stiffness of the stress rate and the
stiffness of growing pressures.  From an unloaded start that is classical linear buckling.

What the linear displacement itself changes (the strains' dependence on it, and the stress at the start turning with it)
is of the order of the strain for a panel pushed in its plane, and left out in every handbook value.  `displaced` adds
it: K′ is then the whole derivative of the tangent.  That is not the better guide from afar where a panel bends before
it buckles.  Shallow caps on hinged square edges under pressure, rise 5 and 10 times the thickness, buckle at 0.68 and
0.60 of the classical factor from rest, and at 8.6 and 10 times that of the whole derivative.  Started at 0.8 of their
true factor, the classical one is 1.02 and 1.17 of it, the whole one 0.84 and 0.82: start near, and both close in.

Both matrices are taken symmetric.  A pressure that stays normal to the surface has an unsymmetric part at free edges,
and where it varies over the surface.  Fixings and springs keep the axes they have at the start.

Source: linear and full linear ("initial displacement") buckling, Brendel & Ramm 1980, Comput. Struct. 12:549 (from
memory).
"""

from __future__ import annotations

import math

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.shell.bordered import Bordered
from panelfem.shell.equilibrium import Equilibrium, Point
from panelfem.shell.geometry import cross
from panelfem.shell.large import Chunk, Moved


class Linearised:
    """The tangent of an `equilibrium` continued in a straight line from a point `start` of its path.

    `rate` (n_total,): what moves per unit of the factor, None: the linear answer.  See the module for `displaced`.
    """

    def __init__(
        self, equilibrium: Equilibrium, start: Point, displaced: bool = False, rate: FloatArray | None = None
    ) -> None:
        self.equilibrium, self.start, self.displaced = equilibrium, start, displaced
        if rate is None:
            tangent = equilibrium.tangent(start)
            rate = tangent.factor.solve(tangent.rate, tangent.row_rate, tangent.tail_rate)[0]
        self.rate: FloatArray = rate
        found = equilibrium.symmetric(start)
        self._stiffness, self._springs, self._rows = found.full, found.extra, found.rows
        self._change = np.zeros_like(self._stiffness)
        self._moved: list[Moved] = []
        for chunk in equilibrium.large.chunks:
            moved = equilibrium.large.at(chunk, start.pose)
            self._moved.append(moved)
            self._change[chunk.es] = self._derivative(chunk, moved)

    def _derivative(self, chunk: Chunk, moved: Moved) -> FloatArray:
        """Change (n, unknowns, unknowns) of the symmetric tangents of a chunk by a unit of the factor."""
        large, factor = self.equilibrium.large, self.start.factor
        held, scaled = (part.elements for part in self.equilibrium.loads)
        growing = large.acting(chunk, scaled.initial)
        force_rate = large.stress(chunk, large.change(chunk, moved, self.rate), growing)
        out = large.geometric(chunk, moved, force_rate, symmetric=True)
        none = np.zeros(len(self._stiffness))
        pressures = [none[chunk.es, None] if p is None else p[chunk.es] for p in (held.pressure, scaled.pressure)]
        self._follow(moved, pressures[1], 1.0, out)
        if not self.displaced:
            return out
        force = large.stress(chunk, moved.strain, large.acting(chunk, held.initial))
        if growing is not None:
            force -= factor * growing
        # operator, geometric stiffness and pressure are quadratic in the pose: half a difference is the derivative
        rows, slope = large.operator(chunk, moved), np.zeros(0)
        for sign in (0.5, -0.5):
            there = self._along(chunk, moved, math.copysign(1.0, sign))
            slope = sign * large.operator(chunk, there) + (slope if slope.size else 0.0)
            out += sign * large.geometric(chunk, there, force, symmetric=True)
            self._follow(there, pressures[0] + factor * pressures[1], sign, out)
        half = slope.swapaxes(1, 2) @ chunk.law(rows)
        return np.asarray(out + half + half.swapaxes(1, 2))

    def _along(self, chunk: Chunk, moved: Moved, sign: float) -> Moved:
        """The elements moved on by ± the rate, to first order (directors change their length)."""
        large, layout = self.equilibrium.large, self.equilibrium.shell.layout
        shift = sign * self.rate[layout.displacement_unknowns[chunk.es]]
        theta = sign * self.rate[layout.rotation_unknowns[chunk.es]]
        turned = moved.turned + cross(theta[:, :, None], moved.turned.swapaxes(2, 3)).swapaxes(2, 3)
        mean = np.tensordot(large.tables.linear.rotation, turned, axes=(1, 1)).swapaxes(0, 1)
        directors = moved.directors + cross(theta, moved.directors)
        return Moved(moved.x + shift, directors, turned, mean, moved.strain)

    def _follow(self, moved: Moved, pressure: FloatArray, factor: float, into: FloatArray) -> None:
        """Adds the symmetric stiffness of pressures (n, nq), times a factor, to matrices of elements."""
        if not pressure.any():
            return
        change = self.equilibrium.large.pressure(moved, pressure, True)[1]
        assert change is not None
        places = self.equilibrium.large.tables.unknown_u.ravel()
        change = change.reshape(len(into), len(places), len(places))
        into[:, places[:, None], places] += 0.5 * factor * (change + change.swapaxes(1, 2))

    @property
    def changes(self) -> bool:
        """Whether the factor changes the tangent at all."""
        return bool(self._change.any())

    def at(self, factor: float) -> Bordered:
        """The factored tangent at a factor, continued from the start."""
        eq, way = self.equilibrium, factor - self.start.factor
        full = self._stiffness + way * self._change if way else self._stiffness
        return Bordered(eq.shell.layout, full, eq.held, self._springs, self._rows)

    def change(self, v: FloatArray) -> FloatArray:
        """Change of the tangent by a unit of the factor times vectors (n_total, c)."""
        unknowns = self.equilibrium.large.unknowns
        products = self._change @ v[unknowns]
        flat = unknowns.ravel()
        columns = [np.bincount(flat, products[..., i].ravel(), len(v)) for i in range(v.shape[1])]
        out: FloatArray = np.stack(columns, axis=1)
        out[: len(self.equilibrium.held)][self.equilibrium.held] = 0.0
        return out

    def energy(self, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Strain energy (ne,) J of a small motion v (n_total,) from the start, and areas (ne,) m², of each element."""
        large = self.equilibrium.large
        energy, area = np.zeros(len(self._stiffness)), np.zeros(len(self._stiffness))
        for chunk, moved in zip(large.chunks, self._moved, strict=True):
            strain = large.change(chunk, moved, v)
            energy[chunk.es] = 0.5 * np.einsum("er,er->e", strain, chunk.law(strain[..., None])[..., 0])
            area[chunk.es] = chunk.law.weight.sum(axis=1)
        return energy, area
