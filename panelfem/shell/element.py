"""Stiffness of many elements at once, with their inner unknowns eliminated."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.shell.geometry import frame, to_frame
from panelfem.shell.strain import StrainTables, directors, strain_operator

CHUNK_BYTES = 4_000_000
"""Size of a chunk's strain operator: chunks of a few dozen elements stay in the cache (measured)."""

DRILL_BENDING = 0.1
"""Drilling stiffness over D66 per area of the element: of the order of bending, or curved shells lock (measured)."""

DRILL_MEMBRANE = 1e-3
"""Greatest drilling stiffness over A66: without it elements as small as the thickness were biased by −0.07 %."""


@dataclass(frozen=True)
class Rule:
    """Geometry of elements at the points of their rule.

    `directors` (ne, nr, 3); `area_normal` (ne, nq, 3) a1 × a2 and `area` (ne, nq) its length; `tensors`
    (ne, nq, 3, 3) and `vectors` (ne, nq, 2, 2) turn covariant strain into the laminate's frame.
    """

    directors: FloatArray
    area_normal: FloatArray
    area: FloatArray
    tensors: FloatArray
    vectors: FloatArray


def rule_geometry(tables: StrainTables, x: FloatArray, axis: FloatArray) -> Rule:
    """Geometry of elements with nodes x (ne, nu, 3) at their rule; `axis` (3,) is the 0° direction."""
    slopes = tables.rule_slopes @ x
    a1, a2 = slopes[:, : tables.nq], slopes[:, tables.nq :]
    area, normal, axes = frame(a1, a2, axis)
    tensors, vectors = to_frame(a1, a2, area, axes)
    return Rule(directors(tables, x), normal * area[..., None], area, tensors, vectors)


@dataclass(frozen=True)
class ElementMatrices:
    """Condensed stiffness and what recovers the inner unknowns.

    `stiffness` (ne, b, b) on the b = 18k boundary unknowns (6, 3k) by component; `flexibility` (ne, i, i) the
    inverse of the inner block; `transfer` (ne, i, b) = flexibility · coupling, so that
    inner = flexibility · load − transfer · boundary.
    """

    stiffness: FloatArray
    flexibility: FloatArray
    transfer: FloatArray


def drilling_stiffness(stiffness: FloatArray, area: FloatArray) -> FloatArray:
    """Drilling stiffness (ne,) in N/m of laminates (ne, 8, 8) on elements of `area` (ne,)."""
    return np.minimum(DRILL_BENDING * stiffness[:, 5, 5] / area, DRILL_MEMBRANE * stiffness[:, 2, 2])


@dataclass(frozen=True)
class Law:
    """What turns the rows of a strain operator into forces, for n elements.

    `membrane` (n, nm, nm), `bending` (n, nq, 3, 3), `coupling` (n, 3 nq, nm; None: no coupling at all), `shear`
    (n, ns, ns) and `drilling` (n, nq), integrated over the element; `weight` (n, nq) m² of the points of the rule.
    """

    membrane: FloatArray
    bending: FloatArray
    coupling: FloatArray | None
    shear: FloatArray
    drilling: FloatArray
    weight: FloatArray

    def __call__(self, rows: FloatArray) -> FloatArray:
        """Forces (n, all rows, m) of strains (n, all rows, m) in the order of the strain operator's rows."""
        n, nm, ns, nq = len(rows), self.membrane.shape[1], self.shear.shape[1], self.drilling.shape[1]
        bend, shear = slice(nm, nm + 3 * nq), slice(nm + 3 * nq, nm + 3 * nq + ns)
        out = np.empty_like(rows)
        np.matmul(self.membrane, rows[:, :nm], out=out[:, :nm])
        curvature = rows[:, bend].reshape(n, nq, 3, -1)
        np.matmul(self.bending, curvature, out=out[:, bend].reshape(n, nq, 3, -1))
        if self.coupling is not None:
            out[:, :nm] += self.coupling.swapaxes(1, 2) @ rows[:, bend]
            out[:, bend] += self.coupling @ rows[:, :nm]
        np.matmul(self.shear, rows[:, shear], out=out[:, shear])
        np.multiply(rows[:, shear.stop :], self.drilling[..., None], out=out[:, shear.stop :])
        return out


def element_law(tables: StrainTables, rule: Rule, stiffness: FloatArray) -> Law:
    """The law of elements with geometry `rule` and laminates (ne, 8, 8)."""
    t, ne = tables, len(stiffness)
    weight = rule.area * t.triangle.weights
    to_laminate = rule.tensors * weight[..., None, None]
    from_laminate = to_laminate.swapaxes(-1, -2)
    law = from_laminate @ (stiffness[:, None, :3, :3] @ rule.tensors)
    membrane = (law @ t.membrane).reshape(ne, -1, t.nm).swapaxes(1, 2) @ t.membrane.reshape(-1, t.nm)
    bending = from_laminate @ (stiffness[:, None, 3:6, 3:6] @ rule.tensors)
    coupling = None
    if stiffness[:, :3, 3:6].any():
        law = from_laminate @ (stiffness[:, None, :3, 3:6] @ rule.tensors)
        coupling = (law.swapaxes(-1, -2) @ t.membrane).reshape(ne, -1, t.nm)
    law = rule.vectors.swapaxes(-1, -2) @ (stiffness[:, None, 6:, 6:] @ (rule.vectors * weight[..., None, None]))
    shear = (law @ t.shear).reshape(ne, -1, t.ns).swapaxes(1, 2) @ t.shear.reshape(-1, t.ns)
    drilling = drilling_stiffness(stiffness, weight.sum(axis=1))[:, None] * t.triangle.weights / rule.area
    return Law(membrane, bending, coupling, shear, drilling, weight)


def full_stiffness(tables: StrainTables, x: FloatArray, stiffness: FloatArray, axis: FloatArray) -> FloatArray:
    """Stiffness (ne, n, n) on all unknowns of elements with nodes x (ne, nu, 3) and laminates (ne, 8, 8)."""
    rule = rule_geometry(tables, x, axis)
    rows = strain_operator(tables, x, rule.directors, rule.area_normal)
    half = rows.swapaxes(1, 2) @ element_law(tables, rule, stiffness)(rows)
    full: FloatArray = 0.5 * (half + half.swapaxes(1, 2))  # products of tied rows are symmetric to 1e-11 only
    return full


def condense(full: FloatArray, n_boundary: int) -> ElementMatrices:
    """Eliminate the inner unknowns, which follow the first `n_boundary`.

    Raises ModelError if the inner block of an element is not positive.
    """
    b = n_boundary
    # by the Cholesky factor: an explicit inverse in the middle would leave the result unsymmetric for stiff shear
    try:
        lower = np.linalg.inv(np.linalg.cholesky(full[:, b:, b:]))
    except np.linalg.LinAlgError as fault:
        raise ModelError(
            "an element has no positive stiffness", where="shell", do="check its laminate and its shape"
        ) from fault
    half = lower @ full[:, b:, :b]
    upper = lower.swapaxes(1, 2)
    return ElementMatrices(full[:, :b, :b] - half.swapaxes(1, 2) @ half, upper @ lower, upper @ half)


def chunks(tables: StrainTables, n: int) -> list[slice]:
    """Slices of n elements whose strain operators stay in the cache.

    >>> from panelfem.shell.strain import strain_tables
    >>> len(chunks(strain_tables(2), 10)), len(chunks(strain_tables(4), 100)) > 1
    (1, True)
    """
    size = 8 * (tables.nm + 4 * tables.nq + tables.ns) * (tables.n_boundary + tables.n_inner)
    ends = np.linspace(0, n, max(1, -(-n * size // CHUNK_BYTES)) + 1).astype(int)
    return [slice(a, b) for a, b in pairwise(ends.tolist())]


def element_matrices(
    tables: StrainTables, x: FloatArray, stiffness: FloatArray, axis: FloatArray, active: BoolArray
) -> ElementMatrices:
    """Condensed matrices of elements with nodes x (ne, nu, 3), laminates (ne, 8, 8); zero where not `active` (ne,)."""
    ne, b, i = len(x), tables.n_boundary, tables.n_inner
    everywhere = bool(active.all())
    parts = chunks(tables, ne)
    if everywhere and len(parts) == 1:
        return condense(full_stiffness(tables, x, stiffness, axis), b)
    out = ElementMatrices(np.zeros((ne, b, b)), np.zeros((ne, i, i)), np.zeros((ne, i, b)))
    there = np.arange(ne) if everywhere else np.flatnonzero(active)
    for part in chunks(tables, len(there)):
        es = there[part]
        if not len(es):
            continue
        done = condense(full_stiffness(tables, x[es], stiffness[es], axis), b)
        out.stiffness[es], out.flexibility[es], out.transfer[es] = done.stiffness, done.flexibility, done.transfer
    return out
