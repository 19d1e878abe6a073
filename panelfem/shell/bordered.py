"""A factored shell with rows added: fasteners and contacts inside the matrix, at any stiffness and at any tangent.

    K u + Hᵀ μ = f          H u − D μ + C s = g          Cᵀ μ + E s = e

K of all elements, with their inner unknowns eliminated; rows H on all unknowns with multipliers μ and compliances D
(zero: rigid; negative: a stiffness taken away); a few more unknowns s at the end (how far a shape has come).  Each row
is eliminated just before the last node it touches: what came before is then always held by that node, so no pivoting is
needed while the panel is stable, and where it is not, one pivot more is negative for each way it can give.

Inner unknowns are eliminated by solving for each column, never by an inverse in the middle: shear stiffness is so much
more than bending stiffness that an inverse left no digit of a clamped plate of a/h = 10⁵ (measured; now 4e-6 is lost).

Source: quasi-definite matrices, Vanderbei 1995, SIAM J. Optim. 5:100 (from memory); inertia is additive over Schur
complements, Haynsworth 1968 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import bmat, bsr_array, coo_array, csc_array, csr_array
from scipy.sparse.linalg import splu

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.shell.assembly import assemble, singular
from panelfem.shell.layout import Layout

SMALL = 1e-10
"""Least scale of a pivot, as a share of the typical one of its kind."""


@dataclass(frozen=True)
class Rows:
    """Rows added to a shell: `rows` csr (m, n_total), compliances `give` (m,) and their couplings (m, ns) with the last
    unknowns, whose own stiffness is `tail` (ns,).
    """

    rows: csr_array
    give: FloatArray
    coupling: FloatArray
    tail: FloatArray

    @classmethod
    def of(cls, rows: csr_array, give: FloatArray) -> Rows:
        """Rows without further unknowns."""
        return cls(rows, give, np.zeros((len(give), 0)), np.zeros(0))

    @classmethod
    def none(cls, n_total: int) -> Rows:
        """No rows at all."""
        return cls.of(csr_array((0, n_total)), np.zeros(0))


class Bordered:
    """A shell's matrix with rows, factored.

    `full` (ne, n, n) on all unknowns of each element, zero where there is none; `held` (n_boundary,) unknowns kept at
    zero; `extra` (n_boundary, n_boundary) stiffness of springs, None: none.  Matrices need not be symmetric.  Raises
    ModelError if the matrix is singular to the last digit.
    """

    def __init__(self, layout: Layout, full: FloatArray, held: BoolArray, extra: csr_array | None, rows: Rows) -> None:
        self.layout, self.held, self.rows = layout, held, rows
        b = layout.tables.n_boundary
        self._inner = full[:, b:, b:]
        empty = np.flatnonzero(~self._inner.any(axis=(1, 2)))
        inner = self._inner
        if len(empty):
            inner = inner.copy()
            inner[empty] = np.eye(inner.shape[1])
        try:
            self._flexibility = np.linalg.inv(inner)
            self._right = np.linalg.solve(inner, full[:, b:, :b])
            left = np.linalg.solve(inner.swapaxes(1, 2), full[:, :b, b:].swapaxes(1, 2))
            self._left = np.ascontiguousarray(left.swapaxes(1, 2))
        except np.linalg.LinAlgError as fault:
            raise singular() from fault
        condensed = full[:, :b, :b] - self._left @ full[:, b:, :b]
        self._factor(condensed, extra)

    # ------------------------------------------------------------------------------------------------ the matrix
    def _borders(self) -> tuple[csr_array, csr_array, csr_array]:
        """Rows on the boundary unknowns with inner ones eliminated: below (m, n_boundary), beside its transpose's like,
        and H K⁻¹ Hᵀ (m, m) of the inner unknowns.
        """
        layout, H = self.layout, self.rows.rows
        nb, n_in = layout.n_boundary, layout.tables.n_inner
        outer, inner = csr_array(H[:, :nb]), csr_array(H[:, nb:])
        m = H.shape[0]
        if inner.nnz == 0 or n_in == 0:
            return outer, outer, csr_array((m, m))
        elements = np.unique(inner.indices // n_in)
        count = len(elements)
        columns = (elements[:, None] * n_in + np.arange(n_in)).ravel()
        inner = csr_array(inner[:, columns])
        starts, at = np.arange(count + 1), np.arange(count)
        flexibility = bsr_array((self._flexibility[elements], at, starts), shape=(count * n_in,) * 2).tocsr()
        unknowns = layout.boundary_unknowns[elements]
        row = np.broadcast_to(columns.reshape(count, n_in, 1), (count, n_in, unknowns.shape[1]))
        local = np.arange(count * n_in).reshape(count, n_in, 1)
        row = np.broadcast_to(local, row.shape)
        column = np.broadcast_to(unknowns[:, None], row.shape)
        shape = (count * n_in, nb)
        right = coo_array((self._right[elements].ravel(), (row.ravel(), column.ravel())), shape=shape).tocsr()
        left = self._left[elements].swapaxes(1, 2)
        left_rows = coo_array((left.ravel(), (row.ravel(), column.ravel())), shape=shape).tocsr()
        self._inner_columns, self._inner_rows = columns, inner
        return (
            csr_array(outer - inner @ right),
            csr_array(outer - inner @ left_rows),
            csr_array(inner @ (flexibility @ inner.T)),
        )

    def _factor(self, condensed: FloatArray, extra: csr_array | None) -> None:
        layout, nb = self.layout, self.layout.n_boundary
        m, ns = self.rows.rows.shape[0], len(self.rows.tail)
        place = (6 * layout.pattern.rank[:, None] + np.arange(6)).ravel()
        matrix = assemble(layout, condensed)
        below, beside, corner = self._borders()
        held = self.held | ~self._touched(condensed, extra)
        free = np.flatnonzero(~held)
        used = np.zeros(nb, bool)
        used[free] = True
        key = self._keys(below, used)
        order = np.argsort(np.concatenate([place.astype(float), key, np.full(ns, np.inf)]), kind="stable")
        position = np.empty(len(order), np.int64)
        position[order] = np.arange(len(order))
        self._position, self._lost = position, key == -np.inf
        n = len(order)
        shift = position[:nb][np.argsort(place)]  # where the row at each place of the bare matrix goes
        pieces = [_spread(matrix, shift, n)]
        if extra is not None and extra.nnz:
            coo = extra.tocoo()
            pieces.append(csr_array((coo.data, (position[coo.row], position[coo.col])), shape=(n, n)))
        if m or ns:
            pieces.append(self._border(below, beside, corner, n))
        total = pieces[0]
        for piece in pieces[1:]:
            total = total + piece
        self._scale_and_factor(csr_array(total), held, below)

    def _touched(self, condensed: FloatArray, extra: csr_array | None) -> BoolArray:
        """Boundary unknowns (n_boundary,) that anything has stiffness for."""
        diagonal = np.abs(np.einsum("eii->ei", condensed))
        total = np.bincount(self.layout.boundary_unknowns.ravel(), diagonal.ravel(), self.layout.n_boundary)
        if extra is not None:
            total = total + np.abs(extra.diagonal())
        return np.asarray(total > 0.0)

    def _keys(self, below: csr_array, used: BoolArray) -> FloatArray:
        """Where each row (m,) comes in the elimination order, in places of unknowns; −inf: it touches nothing."""
        rank = self.layout.pattern.rank
        key = np.full(below.shape[0], -np.inf)
        for i in range(below.shape[0]):
            part = slice(below.indptr[i], below.indptr[i + 1])
            columns = below.indices[part]
            size = np.abs(below.data[part])
            columns = columns[used[columns] & (size > 1e-14 * size.max(initial=0.0))]
            ranks = rank[columns // 6]
            if len(ranks):
                last = ranks.max()
                key[i] = 6 * last - 0.5 if ranks.min() < last else 6 * last + 5.5
        return key

    def _border(self, below: csr_array, beside: csr_array, corner: csr_array, n: int) -> csr_array:
        """The part of the matrix that the rows and the last unknowns add."""
        rows = self.rows
        keep = (~self._lost).astype(float)
        from scipy.sparse import diags_array

        pick = diags_array(keep)
        own = -(pick @ corner @ pick) - diags_array(np.where(self._lost, 1.0, rows.give))
        coupling = csr_array(keep[:, None] * rows.coupling)
        small = bmat(
            [
                [None, (pick @ beside).T, None],
                [pick @ below, own, coupling if coupling.shape[1] else None],
                [None, coupling.T if coupling.shape[1] else None, None],
            ]
            if coupling.shape[1]
            else [[None, (pick @ beside).T], [pick @ below, own]]
        ).tocoo()
        row, column, data = small.row, small.col, small.data
        nb, m, ns = below.shape[1], below.shape[0], len(rows.tail)
        if ns:
            last = nb + m + np.arange(ns)
            row, column = np.append(row, last), np.append(column, last)
            data = np.append(data, rows.tail)
        return csr_array((data, (self._position[row], self._position[column])), shape=(n, n))

    def _scale_and_factor(self, matrix: csr_array, held: BoolArray, below: csr_array) -> None:
        nb, n = self.layout.n_boundary, matrix.shape[0]
        m = len(self.rows.give)
        place = self._position
        held_here = np.zeros(n, bool)
        held_here[place[:nb][held]] = True
        extra = csr_array((np.ones(int(held_here.sum())), (np.flatnonzero(held_here),) * 2), shape=(n, n))
        matrix = csr_array(matrix + extra)
        matrix.sum_duplicates()
        matrix.sort_indices()
        diagonal = matrix.diagonal()
        size = np.abs(diagonal)
        unknown = place[:nb][~held]
        typical = float(np.median(size[unknown])) if len(unknown) else 1.0
        size[unknown] = np.maximum(size[unknown], SMALL * typical)
        if m:
            inverse = np.zeros(nb)
            inverse[~held] = 1.0 / size[unknown]
            row = place[nb : nb + m]
            size[row] = np.maximum(size[row], np.asarray(below.power(2) @ inverse))
            size[row[size[row] == 0.0]] = 1.0
        last = place[nb + m :]
        if len(last):
            reach = self.rows.coupling**2 / size[place[nb : nb + m], None]
            size[last] = np.maximum(np.maximum(size[last], reach.sum(axis=0)), 1e-300)
        scale = np.zeros(n)
        scale[~held_here] = 1.0 / np.sqrt(size[~held_here])
        row_of = np.repeat(np.arange(n), np.diff(matrix.indptr))
        matrix.data *= scale[matrix.indices] * scale[row_of]
        at = np.flatnonzero((matrix.indices == row_of) & held_here[row_of])
        matrix.data[at] = 1.0
        self.scale = scale
        self._matrix = matrix
        columns = csc_array(matrix)
        try:
            self.factor: Any = splu(
                columns, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
            )
        except RuntimeError as fault:
            raise singular() from fault

    # ------------------------------------------------------------------------------------------------ answers
    def solve(
        self, load: FloatArray, target: FloatArray | None = None, tail: FloatArray | None = None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """u (n_total[, c]), μ (m[, c]) and s (ns[, c]) of loads f (n_total[, c]), g (m[, c]) and e (ns[, c])."""
        layout, nb = self.layout, self.layout.n_boundary
        f = load.reshape(len(load), -1)
        c, m, ns = f.shape[1], len(self.rows.give), len(self.rows.tail)
        n_in = layout.tables.n_inner
        right = np.zeros((nb + m + ns, c))
        right[:nb] = f[:nb]
        inner = f[nb:].reshape(layout.ne, n_in, c)
        loaded = n_in > 0 and bool(inner.any())
        if loaded:
            right[:nb] -= layout.scatter(self._left @ inner)
        if target is not None:
            right[nb : nb + m] = target.reshape(m, c)
        if loaded and m and self._has_inner_rows:
            bent = (self._flexibility @ inner).reshape(-1, c)
            right[nb : nb + m] -= self._inner_rows @ bent[self._inner_columns]
        right[nb : nb + m][self._lost] = 0.0
        if tail is not None:
            right[nb + m :] = tail.reshape(ns, c)
        ordered = np.empty_like(right, order="F")
        ordered[self._position] = right
        ordered *= self.scale[:, None]
        solved = self.factor.solve(ordered)
        solved *= self.scale[:, None]
        found = np.ascontiguousarray(solved[self._position])
        u, mu, s = found[:nb], found[nb : nb + m], found[nb + m :]
        inside = -(self._right @ layout.gather(u))
        if loaded:
            inside += self._flexibility @ inner
        if m and self._has_inner_rows:
            pull = np.zeros((layout.ne * n_in, c))
            pull[self._inner_columns] = self._inner_rows.T @ mu
            inside -= self._flexibility @ pull.reshape(layout.ne, n_in, c)
        whole = np.concatenate([u, inside.reshape(-1, c)])
        return whole.reshape(load.shape), mu.reshape(m, *load.shape[1:]), s.reshape(ns, *load.shape[1:])

    @property
    def _has_inner_rows(self) -> bool:
        return hasattr(self, "_inner_rows")

    @cached_property
    def negatives(self) -> int:
        """Number of negative eigenvalues of the matrix with its rows in force, counted from the signs of the pivots."""
        if not np.array_equal(self.factor.perm_r, np.arange(len(self.scale))):
            raise singular()
        pivots = int((self.factor.U.diagonal() < 0.0).sum())
        inner = self._inner
        symmetric = 0.5 * (inner + inner.swapaxes(1, 2))
        inside = int((np.linalg.eigvalsh(symmetric) < 0.0).sum()) if inner.shape[1] else 0
        return pivots + inside - int(((self.rows.give >= 0.0) | self._lost).sum())


def _spread(matrix: csr_array, position: IntArray, n: int) -> csr_array:
    """The matrix with row and column i moved to position[i] (rising) of n."""
    counts = np.zeros(n, matrix.indptr.dtype)
    counts[position] = np.diff(matrix.indptr)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(matrix.indptr.dtype)
    return csr_array((matrix.data, position[matrix.indices].astype(matrix.indices.dtype), starts), shape=(n, n))
