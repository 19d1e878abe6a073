"""What is read off a solution: strains where strength is checked, motion at the vertices, forces at the fixings.

A response is asked for states at factors on the scaled part of its load case; the checks compare the state that is held
(factor 0) with the state now, and never see the solver.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache, cached_property
from math import factorial
from typing import Protocol

import numpy as np
from scipy.sparse import csr_array, csr_matrix

from panelfem.arrays import FloatArray, IntArray
from panelfem.mesh.lattice import barycentric, lattice
from panelfem.reserve.records import ContactState
from panelfem.reserve.sampling import Sampling
from panelfem.shell import Recovery

#: Order of the lattice in each element at which motion is looked at: the greatest is then missed by less than 0.05 %.
LATTICE = 6


@cache
def lattice_points() -> FloatArray:
    """The lattice in barycentric coordinates (m, 3)."""
    return barycentric(np.hstack(lattice(LATTICE)))


@cache
def lattice_means() -> FloatArray:
    """Weights (m,) of the values on the lattice for their mean over the element, exact for its polynomials."""
    r, s = np.hstack(lattice(LATTICE))
    powers = [(i, j) for i in range(LATTICE + 1) for j in range(LATTICE + 1 - i)]
    # the mean of r^i s^j over the reference triangle is 2 i! j! / (i + j + 2)!
    means = [2.0 * factorial(i) * factorial(j) / factorial(i + j + 2) for i, j in powers]
    return np.asarray(np.linalg.solve(np.stack([r**i * s**j for i, j in powers]), means))


@dataclass(frozen=True)
class State:
    """One equilibrium: all unknowns (n_total,), what each fixing exerts on the skin (nf, 6) in its own axes (two
    tangents, normal; N then N·m), and the contacts.  `large`: displacements and rotation vectors are large.
    `recovery`: of the shell it is a state of, None: the observer's own.  `seen` keeps what observers read off it, so
    that no state is read twice.
    """

    unknowns: FloatArray
    reactions: FloatArray
    contacts: tuple[ContactState, ...] = ()
    large: bool = False
    recovery: Recovery | None = field(default=None, repr=False)
    seen: dict[Observer, Observed] = field(default_factory=dict, repr=False)


class Response(Protocol):
    """A configuration under one load case.

    `held` is the state under the held part alone; `proportional` says that ``at(p) − held`` is p times ``at(1) −
    held``.
    """

    @property
    def held(self) -> State:
        """The state under the held part alone."""

    @property
    def proportional(self) -> bool:
        """True if the scaled part of the response is proportional to the factor."""

    def at(self, factor: float) -> State:
        """The state with the scaled part at `factor` times the expected severity.

        Raises PathEndsError where there is none.
        """


@dataclass(frozen=True)
class Observed:
    """`strain` (ns, 8) and transverse `shear` (ns, 2) N/m at the sampling points, `edge_strain` (nb, 8) and
    `edge_shear` (nb, 2) along bond lines; `motion` (nv, 6) m and rad at the vertices; `reactions` (nf, 6);
    `contacts`.  At the sampling points again: `gradient` (ns, 2, 6), the derivatives of [e, k] along t1 and t2, 1/m,
    and the `curvature` (ns, 3) of the undeformed surface [b11, b22, b12], 1/m.  `displacement` (ne, m, 3) m on the
    lattice of every element; `large`: the state is one of large displacements.  `area_strain` (na, 8): means over the
    areas looked at.
    """

    strain: FloatArray
    shear: FloatArray
    edge_strain: FloatArray
    edge_shear: FloatArray
    motion: FloatArray
    reactions: FloatArray
    contacts: tuple[ContactState, ...]
    gradient: FloatArray = field(default_factory=lambda: np.zeros((0, 2, 6)))
    curvature: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    displacement: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 3)))
    large: bool = False
    area_strain: FloatArray = field(default_factory=lambda: np.zeros((0, 8)))


@dataclass(frozen=True, eq=False)
class Observer:
    """Reads states of one model.

    `shear_law` (np, 2, 2) is the transverse shear stiffness at the recovery points; `edges` (nb,) are the recovery
    points along bond lines.  `bend` (np,) 1/m: the greatest curvature of the surface the mesh stands for, where it is
    known; that of curved elements may be far greater at a crease or where they are small.  `areas` (na, np): means over
    areas from values at the recovery points (None: there is no such area).
    """

    recovery: Recovery
    sampling: Sampling
    shear_law: FloatArray
    edges: IntArray
    vertices: int
    bend: FloatArray | None = None
    areas: csr_matrix | None = None

    def __call__(self, state: State) -> Observed:
        """What is observed of a state."""
        if self not in state.seen:
            state.seen[self] = self._read(state)
        return state.seen[self]

    def stretch(self, state: State) -> FloatArray:
        """Strains (ns, 6) at the sampling points that the motion of a state has at large displacements."""
        return np.asarray(self.sampling.rows @ self.recovery.large.strains(state.unknowns))[:, :6]

    @cached_property
    def _gradient_points(self) -> IntArray:
        """Recovery points (k,) some sampling point reads."""
        return np.unique(self.sampling.rows.indices).astype(np.int64)

    @cached_property
    def _gradient_rows(self) -> csr_matrix:
        """(ns, k): values at the sampling points from values at these recovery points."""
        return self.sampling.rows[:, self._gradient_points]

    @cached_property
    def points(self) -> FloatArray:
        """The lattice of every element, (ne, m, 3), m."""
        elements, bary = self._lattice
        at: FloatArray = self.recovery.shell.points(elements, bary)[0]
        return at.reshape(-1, len(lattice_points()), 3)

    @cached_property
    def _lattice(self) -> tuple[IntArray, FloatArray]:
        ne, m = len(self.recovery.shell.mesh.triangles), len(lattice_points())
        return np.repeat(np.arange(ne), m).astype(np.int64), np.tile(lattice_points(), (ne, 1))

    @cached_property
    def _motion(self) -> csr_array:
        """(3 ne m, n_total): displacements on the lattice."""
        return self.recovery.shell.displacement_operator(*self._lattice)

    @cached_property
    def _curvature(self) -> FloatArray:
        b = self.recovery.curvature
        if self.bend is not None:
            middle, half = (b[:, 0] + b[:, 1]) / 2.0, np.hypot((b[:, 0] - b[:, 1]) / 2.0, b[:, 2])
            b = b * np.minimum(1.0, self.bend / np.maximum(np.abs(middle) + half, 1e-12))[:, None]
        return np.asarray(self.sampling.rows @ b)

    def reading(self, state: State) -> Recovery:
        """The recovery that reads this state."""
        recovery = self.recovery if state.recovery is None else state.recovery
        return recovery.large if state.large else recovery

    def _read(self, state: State) -> Observed:
        strain, gradient = self.reading(state).observed(state.unknowns, self._gradient_points)
        shear = np.einsum("nij,nj->ni", self.shear_law, strain[:, 6:])
        rows = self.sampling.rows
        return Observed(
            np.asarray(rows @ strain),
            np.asarray(rows @ shear),
            strain[self.edges],
            shear[self.edges],
            state.unknowns[: 6 * self.vertices].reshape(-1, 6),
            state.reactions,
            state.contacts,
            np.asarray(self._gradient_rows @ gradient.reshape(-1, 12)).reshape(-1, 2, 6),
            self._curvature,
            np.asarray(self._motion @ state.unknowns).reshape(len(self.points), -1, 3),
            state.large,
            np.zeros((0, 8)) if self.areas is None else np.asarray(self.areas @ strain),
        )
