"""Linearised buckling of a shell about a point of its path: at which factors it can give, how, and that none is missed.

The modes are those of the tangent continued in a straight line from the start (:mod:`panelfem.shell.linearised`).
Between two factors there are as many as the tangent has negative eigenvalues more at the upper one; they are counted.

Source: Sturm's count, Wittrick & Williams 1971, Q. J. Mech. Appl. Math. 24:263 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.mesh.curved import CurvedMesh
from panelfem.shell.bordered import Bordered
from panelfem.shell.equilibrium import Equilibrium, Point
from panelfem.shell.fields import surface_at
from panelfem.shell.lanczos import CONVERGED, greatest
from panelfem.shell.linearised import Linearised
from panelfem.shell.shell import Shell

BELOW = 0.95
"""Shift of the solver over the first factor, both from the start: modes close to each other are then far apart."""

ABOVE = 1e-4
"""Modes are counted up to so much above the last one reported, as a share of its way from the start."""

ROUGH = 1e-2
"""Accuracy of the first estimate."""

BLOCK = 4
"""Vectors of the solver taken at a time."""

TRIES = 4
"""Searches, each with wider blocks, before modes that are counted but not found are given up."""

ENERGY = 0.9
"""Share of the strain energy of a mode that tells how local it is."""


class GivesError(ModelError):
    """The shell is not stable where its buckling would be looked for from."""


@dataclass(frozen=True)
class Mode:
    """A buckling mode.

    `factor` on the scaled loads; `shape` (n_total,) with a greatest displacement of 1 m, towards the normal where it
    moves most; that is at `place` (3,) m of `element`, along `direction` (3,).  `spread`: the least share of the area
    of the panel that has :data:`ENERGY` of the strain energy; small: local.
    """

    factor: float
    shape: FloatArray
    place: FloatArray
    direction: FloatArray
    element: int
    spread: float


@dataclass(frozen=True)
class Buckling:
    """The `modes`, rising by factor; up to the factor `counted` there are no others."""

    modes: tuple[Mode, ...]
    counted: float

    @property
    def factors(self) -> FloatArray:
        """Factors of the modes (m,)."""
        return np.array([mode.factor for mode in self.modes])


def stable(equilibrium: Equilibrium, point: Point) -> int:
    """Number of negative eigenvalues of the symmetric tangent at a point of the path: 0, or the ways it can give.

    Places in contact are taken to stay in contact.
    """
    found = equilibrium.symmetric(point)
    return Bordered(equilibrium.shell.layout, found.full, equilibrium.held, found.extra, found.rows).negatives


def buckling(
    equilibrium: Equilibrium,
    start: Point,
    count: int = 3,
    within: float = math.inf,
    displaced: bool = False,
    rate: FloatArray | None = None,
    near: float | None = None,
) -> Buckling:
    """The `count` lowest buckling modes beyond the factor of `start`, as the tangent is continued from there.

    Modes too near to the last to be counted apart come with it.  There are fewer where no more lie up to the factor
    `within`, or no more could be found; :attr:`Buckling.counted` tells up to where none is missing.  `displaced` and
    `rate` as in :mod:`panelfem.shell.linearised`.  Places in contact at the start are taken to stay in contact, others
    not to come into it.  `near`: where the first mode lies is known from elsewhere, which saves looking for it.  Raises
    GivesError if the shell is not stable at the start, ModelError if the scaled loads do nothing there, and if the
    first modes cannot be found.
    """
    if count < 1 or not within > start.factor:
        raise ModelError(
            f"{count} modes up to {within:.3g} are asked for",
            where="buckling",
            allowed=f"1 or more modes, beyond the start at {start.factor:.3g}",
        )
    line, origin = Linearised(equilibrium, start, displaced, rate), start.factor
    if not line.changes:
        raise ModelError(
            "the scaled loads change nothing at first",
            where=f"buckling, from {origin:.3g} of the load",
            do="start from a point where they act: where a shape touches",
        )
    if near is None:
        count, near = _first(line, count, within)
        if count == 0:
            return Buckling((), within)
    shift, factor = _below_all(line, min(near, within) - origin)
    for attempt in range(TRIES):
        values, shapes = _search(line, factor, count, BLOCK << attempt)
        factors = shift + 1.0 / values
        found = factors <= within
        if found.any():
            last = float(factors[found][:count][-1])
            counted = min(last + ABOVE * (last - origin), within)
            there, found = line.at(counted).negatives, factors <= counted
            if there == found.sum() and (there >= count or attempt):
                modes = (_mode(line, float(p), v) for p, v in zip(factors[found], shapes.T[found], strict=True))
                return Buckling(tuple(modes), counted)
            count = max(count, there)
        elif line.at(within).negatives == 0:
            return Buckling((), within)
    raise _lost(origin)


def _first(line: Linearised, count: int, within: float) -> tuple[int, float]:
    """How many modes there are up to the factor `within`, at most `count`, and about where the first is."""
    origin = line.start.factor
    base = line.at(origin)
    if base.negatives:
        raise GivesError(
            f"the panel can already give in {base.negatives} way{'s' * (base.negatives > 1)}",
            where=f"buckling, from {origin:.3g} of the load",
            do="start from a lower load, or hold it better",
        )
    if math.isfinite(within):
        count = min(count, line.at(within).negatives)
        if count == 0:
            return 0, within
    rough, _ = _search(line, base, 1, BLOCK, ROUGH)
    if not len(rough):
        raise _lost(origin)
    return count, origin + 1.0 / float(rough[0])


def _search(
    line: Linearised, factor: Bordered, count: int, block: int, tolerance: float = CONVERGED
) -> tuple[FloatArray, FloatArray]:
    """Inverse ways (m,), falling, from a factored tangent to the next modes, and their shapes (n_total, m)."""
    n = line.equilibrium.shell.n_total
    return greatest(lambda f: factor.solve(f)[0], lambda v: -line.change(v), n, count, block=block, tolerance=tolerance)


def _below_all(line: Linearised, way: float) -> tuple[float, Bordered]:
    """A factor close below the first mode, which is at most `way` from the start, and the factored tangent there."""
    for _ in range(60):
        way *= BELOW
        factor = line.at(line.start.factor + way)
        if not factor.negatives:
            return line.start.factor + way, factor
    raise _lost(line.start.factor)


def _lost(origin: float) -> ModelError:
    return ModelError(
        "no buckling mode was found, though there may be some",
        where=f"buckling, from {origin:.3g} of the load",
        do="ask for modes within a factor: without any up to there none is looked for",
    )


def _mode(line: Linearised, factor: float, shape: FloatArray) -> Mode:
    """A mode of this shape (n_total,), scaled and described."""
    shell, layout = line.equilibrium.shell, line.equilibrium.shell.layout
    there = np.flatnonzero(shell.active)
    size = np.linalg.norm(shape[layout.displacement_unknowns[there]], axis=2)
    e, node = np.unravel_index(int(size.argmax()), size.shape)
    element = int(there[e])
    unknowns = layout.displacement_unknowns[element, node]
    normal = _node_normals(shell, np.array([element]))[0, node]
    shape = shape / math.copysign(float(size[e, node]), float(shape[unknowns] @ normal))
    place = layout.x[element, node] + line.start.pose.u[unknowns]
    return Mode(factor, shape, place, shape[unknowns], element, spread(*line.energy(shape)))


def spread(energy: FloatArray, area: FloatArray) -> float:
    """The least share of the area that has :data:`ENERGY` of the energy, both (ne,), as whole elements.

    >>> spread(np.array([0.0, 95.0, 2.0, 3.0]), np.array([1.0, 1.0, 1.0, 1.0]))
    0.25
    """
    order = np.argsort(-energy / np.where(area > 0.0, area, np.inf), kind="stable")
    enough = int(np.searchsorted(np.cumsum(energy[order]), ENERGY * energy.sum())) + 1
    return float(area[order[:enough]].sum() / area.sum())


def _node_normals(shell: Shell, elements: IntArray) -> FloatArray:
    """Unit normals (n, nu, 3) at the displacement nodes of elements."""
    return surface_at(shell.layout, shell.layout.tables.triangle.displacement.nodes, elements)[1]


def initial_shape(shell: Shell, shape: FloatArray, amount: float) -> FloatArray:
    """The displacements of `shape` (n_total,) so scaled that the greatest one along the normal is `amount` m.

    A positive amount moves that place along its normal (of two alike, the first).  Raises ModelError for a shape that
    does not leave the surface.
    """
    moves = shape[shell.layout.displacement_unknowns]
    along = np.einsum("enc,enc->en", moves, _node_normals(shell, np.arange(shell.layout.ne)))[shell.active]
    greatest_one = along.ravel()[int(np.abs(along).argmax())]
    if abs(greatest_one) <= 1e-6 * np.abs(moves[shell.active]).max():
        raise ModelError("the shape does not leave the surface", where="imperfection", do="choose another mode")
    return np.asarray(amount / greatest_one * shape)


def reshaped(shell: Shell, shape: FloatArray) -> CurvedMesh:
    """The mesh moved by `shape` (n_total,), m.  A shell on it, with the same numbers of nodes and unknowns, starts from
    there without stress.
    """
    x = shell.mesh.x.copy()
    x[shell.mesh.nodes] += shape[shell.layout.displacement_unknowns]
    return shell.mesh.moved(x)


def imperfect(shell: Shell, shape: FloatArray, amount: float) -> CurvedMesh:
    """The mesh moved by :func:`initial_shape`."""
    return reshaped(shell, initial_shape(shell, shape, amount))
