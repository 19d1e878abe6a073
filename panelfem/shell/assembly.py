"""From element matrices to a factor: sparse in nested-dissection order, or dense where the model is tiny.

Both factors scale by the diagonal.  Fixed unknowns stay in the sparse matrix with zero scale and unit diagonal, so the
pattern never changes; the dense matrix leaves them out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs
from scipy.sparse import bsr_array, csc_array, csr_array
from scipy.sparse.linalg import splu

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.layout import Layout

DENSE_LIMIT = 500
"""Free boundary unknowns up to which the dense factor is quicker (measured)."""


def singular() -> ModelError:
    """The error of a matrix that cannot be factored."""
    return ModelError(
        "the stiffness matrix is singular or indefinite",
        where="factoring the shell",
        allowed="a panel held against every motion, of laminates with positive stiffness",
        do="check the fixings, the laminates and that no part hangs on nothing",
    )


class Factor(Protocol):
    """A factored stiffness on the boundary unknowns."""

    def solve(self, load: FloatArray) -> FloatArray:
        """Displacements (n_boundary, m) of loads (n_boundary, m); zero at fixed unknowns."""

    def residual(self, u: FloatArray, load: FloatArray) -> tuple[FloatArray, float]:
        """load − K u at the free unknowns, (n_boundary, m), and the greatest normwise backward error of a column."""

    def negative_pivots(self) -> int:
        """Number of pivots that are not positive."""


@dataclass
class DenseFactor:
    """Cholesky factor of the free unknowns `free` (n,), scaled by `scale` (n,)."""

    free: IntArray
    scale: FloatArray
    scaled: FloatArray
    lower: FloatArray
    n: int

    def solve(self, load: FloatArray) -> FloatArray:
        u = np.zeros((self.n, load.shape[1]))
        u[self.free] = dpotrs(self.lower, load[self.free] * self.scale[:, None], lower=1)[0] * self.scale[:, None]
        return u

    def residual(self, u: FloatArray, load: FloatArray) -> tuple[FloatArray, float]:
        scaled_u, scaled_load = u[self.free] / self.scale[:, None], load[self.free] * self.scale[:, None]
        r = scaled_load - self.scaled @ scaled_u
        out = np.zeros_like(load)
        out[self.free] = r / self.scale[:, None]
        return out, backward_error(r, scaled_u, scaled_load)

    def negative_pivots(self) -> int:
        return int((self.lower.diagonal() <= 0.0).sum())


@dataclass
class SparseFactor:
    """Factor of the matrix `scaled` in elimination order; unknown i sits at `place`[i] and is scaled by `scale`."""

    place: IntArray
    scale: FloatArray
    scaled: csr_array
    factor: Any

    def solve(self, load: FloatArray) -> FloatArray:
        right = np.empty_like(load, order="F")
        right[self.place] = load
        right *= self.scale[:, None]
        u = self.factor.solve(right)
        u *= self.scale[:, None]
        return np.ascontiguousarray(u[self.place])

    def residual(self, u: FloatArray, load: FloatArray) -> tuple[FloatArray, float]:
        held = self.scale == 0.0
        inverse = np.divide(1.0, self.scale, where=~held, out=np.zeros_like(self.scale))[:, None]
        scaled_u, scaled_load = np.empty_like(u), np.empty_like(load)
        scaled_u[self.place], scaled_load[self.place] = u, load
        scaled_u, scaled_load = scaled_u * inverse, scaled_load * self.scale[:, None]
        r = scaled_load - self.scaled @ scaled_u
        return (r * inverse)[self.place], backward_error(r, scaled_u, scaled_load)

    def negative_pivots(self) -> int:
        n = len(self.scale)
        if not np.array_equal(self.factor.perm_r, np.arange(n)):
            return n
        return int((self.factor.U.diagonal() <= 0.0).sum())


def backward_error(r: FloatArray, u: FloatArray, load: FloatArray) -> float:
    """Greatest |r| / (|u| + |load|) of the columns, in maximum norms of the scaled system (whose rows are about one).

    >>> backward_error(np.array([[1e-8]]), np.array([[1.0]]), np.array([[1.0]]))
    5e-09
    """
    if r.size == 0:
        return 0.0
    size = abs(u).max(axis=0) + abs(load).max(axis=0)
    return float(np.max(abs(r).max(axis=0) / np.where(size > 0.0, size, 1.0)))


def factor_dense(layout: Layout, stiffness: FloatArray, held: BoolArray, extra: csr_array | None) -> DenseFactor:
    """Dense factor of element matrices (ne, 18k, 18k) with `held` (n_boundary,) unknowns left out."""
    free = np.flatnonzero(~held)
    n = len(free)
    number = np.full(layout.n_boundary, n)
    number[free] = np.arange(n)
    local = number[layout.boundary_unknowns]
    key = (local[:, :, None] * (n + 1) + local[:, None, :]).ravel()
    matrix = np.bincount(key, stiffness.ravel(), (n + 1) ** 2).reshape(n + 1, n + 1)[:n, :n]
    if extra is not None:
        matrix = matrix + extra[free][:, free].toarray()
    diagonal = matrix.diagonal()
    if n and diagonal.min() <= 0.0:
        raise singular()
    scale = 1.0 / np.sqrt(diagonal)
    scaled = matrix * scale[:, None] * scale
    lower, info = dpotrf(scaled.T, lower=1, clean=0)
    if info:
        raise singular()
    return DenseFactor(free, scale, scaled, lower, layout.n_boundary)


def assemble(layout: Layout, stiffness: FloatArray) -> csr_array:
    """The matrix (n_boundary, n_boundary) in elimination order from element matrices (ne, 18k, 18k)."""
    pattern, m = layout.pattern, layout.tables.boundary
    parts = stiffness.reshape(-1, 6, m, 6, m).transpose(0, 2, 4, 1, 3).reshape(-1, 36)
    blocks = np.asarray(pattern.total @ parts).reshape(-1, 6, 6)
    return bsr_array((blocks, pattern.columns, pattern.starts), shape=(layout.n_boundary,) * 2).tocsr()


def factor_sparse(layout: Layout, stiffness: FloatArray, held: BoolArray, extra: csr_array | None) -> SparseFactor:
    """Sparse factor of element matrices (ne, 18k, 18k) with `held` (n_boundary,) unknowns fixed."""
    n = layout.n_boundary
    place = (6 * layout.pattern.rank[:, None] + np.arange(6)).ravel()
    matrix = assemble(layout, stiffness)
    if extra is not None:
        coo = extra.tocoo()
        # a sum drops zeros, and with them the diagonal of nodes that no element is left of: keep it there
        kept = place[held]
        row, column = np.append(place[coo.row], kept), np.append(place[coo.col], kept)
        moved = csr_array((np.append(coo.data, np.ones(len(kept))), (row, column)), shape=(n, n))
        matrix = (matrix + moved).tocsr()
        matrix.sort_indices()
    row = np.repeat(np.arange(n, dtype=matrix.indices.dtype), np.diff(matrix.indptr))
    at = np.flatnonzero(matrix.indices == row)
    diagonal = matrix.data[at]
    held_here = np.empty(n, bool)
    held_here[place] = held
    if (diagonal[~held_here] <= 0.0).any():
        raise singular()
    scale = np.zeros(n)
    scale[~held_here] = 1.0 / np.sqrt(diagonal[~held_here])
    matrix.data *= scale[matrix.indices]
    matrix.data *= scale[row]
    matrix.data[at[held_here]] = 1.0
    matrix.eliminate_zeros()
    columns = csc_array((matrix.data, matrix.indices, matrix.indptr), shape=(n, n))
    try:
        factor = splu(columns, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError as fault:  # SuperLU: exactly singular
        raise singular() from fault
    return SparseFactor(place, scale, matrix, factor)


def factor_stiffness(layout: Layout, stiffness: FloatArray, held: BoolArray, extra: csr_array | None) -> Factor:
    """The quicker of both factors."""
    small = layout.n_boundary - int(held.sum()) <= DENSE_LIMIT
    return (factor_dense if small else factor_sparse)(layout, stiffness, held, extra)
