"""Exact answers for any stiffness of the fasteners from one factorisation.

The matrix is factored once with moderate springs k₀ on the fastener rows G: K₀ = K + Gᵀ k₀ G.  For other
stiffnesses k the solution differs by the multipliers λ of the rows that changed,

    u = u₀ − R λ,   R = K₀⁻¹ Gᵀ,   S = G R,   (S + 1/(k − k₀)) λ = G u₀ − gap · k/(k − k₀),

where a rigid row has 1/(k − k₀) = 0.  One back-solve for each row that ever changes, then only small dense
algebra.

Source: the Sherman–Morrison–Woodbury identity; whether the changed matrix is still positive definite is read
from the signs of the eigenvalues of the small one (inertia is additive over Schur complements, Haynsworth
1968, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy import sparse

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.supports import ROW_NAMES

FREE = 1e-9
"""Share of a spring's own energy below which a motion counts as held by nothing else."""

BATCH = 32
"""Right-hand sides a back-solve."""


class LinearSystem(Protocol):
    """A factored system: loads (n_total[, m]) in, displacements of the same shape out."""

    def solve(self, load: FloatArray, /) -> FloatArray: ...


def solve_many(system: LinearSystem, rows: sparse.csr_array) -> FloatArray:
    """Displacements (n_total, m) under the loads that are the rows (m, n_total), in batches."""
    out = np.empty((rows.shape[1], rows.shape[0]))
    for start in range(0, rows.shape[0], BATCH):
        part = slice(start, start + BATCH)
        out[:, part] = system.solve(rows[part].T.toarray())
    return out


class HeldSystem:
    """A factored panel whose fasteners may have any stiffness.

    `system` was factored with `base` (nf, 6), finite and ≥ 0, on `rows` (6 nf, n ≤ n_total).  Stiffnesses `k`
    (nf, 6) are in N/m along t1, t2, n and N·m/rad about them: inf is rigid, 0 is gone.  "Base" displacements
    are solutions of the factored system as it is; they may be linearly combined before they are corrected.
    """

    def __init__(
        self,
        system: LinearSystem,
        rows: sparse.csr_array,
        base: FloatArray,
        n_total: int,
        names: Sequence[str] = (),
    ) -> None:
        self.system = system
        self.n_total = n_total
        self.base = np.asarray(base, float).reshape(-1, 6)
        shape = (rows.shape[0], n_total)
        self.rows = sparse.csr_array((rows.data, rows.indices, rows.indptr), shape=shape)
        self.names = tuple(names) or tuple(f"fastener {i + 1}" for i in range(len(self.base)))
        self.back_solves = 0
        self._responses = np.empty((n_total, 0))
        self._motions = np.empty((self.rows.shape[0], 0))
        self._column: dict[int, int] = {}
        self._states: dict[bytes, HeldState] = {}

    @cached_property
    def present(self) -> IntArray:
        """Numbers of the rows that touch the skin at all."""
        return np.flatnonzero(np.diff(self.rows.indptr) > 0)

    def responses(self, rows: IntArray | None = None) -> FloatArray:
        """R = K₀⁻¹ Gᵀ, (n_total, len(rows)); all rows by default.  A row is solved for when first asked for."""
        columns = self._columns(np.arange(self.rows.shape[0]) if rows is None else np.asarray(rows))
        return self._responses[:, columns]

    def motions(self, rows: IntArray) -> FloatArray:
        """G R: motion of every row under a unit force on each of `rows`, (6 nf, len(rows))."""
        columns = self._columns(rows)
        return self._motions[:, columns]

    def pushed(self, rows: IntArray, force: FloatArray) -> FloatArray:
        """R @ force: base displacement (n_total[, m]) of forces (len(rows)[, m]) on `rows`."""
        columns = self._columns(rows)
        full = np.zeros((self._responses.shape[1], *force.shape[1:]))
        full[columns] = force
        out: FloatArray = self._responses @ full
        return out

    def _columns(self, rows: IntArray) -> list[int]:
        """Columns of the responses that belong to `rows`; what is not known yet is solved for."""
        new = [r for r in rows.tolist() if r not in self._column]
        if new:
            solved = solve_many(self.system, self.rows[new])
            self._responses = np.hstack([self._responses, solved])
            self._motions = np.hstack([self._motions, self.rows @ solved])
            for r in new:
                self._column[r] = len(self._column)
            self.back_solves += len(new)
        return [self._column[r] for r in rows.tolist()]

    def at(self, k: FloatArray | None = None) -> HeldState:
        """The panel with stiffnesses k (nf, 6) (None: the base).  Raises ModelError if it is then free to move."""
        stiffness = self.base if k is None else np.asarray(k, float).reshape(self.base.shape)
        if not (stiffness >= 0).all():
            raise ModelError("a fastener has a negative stiffness", allowed="0 (gone) to inf (rigid)")
        key = stiffness.tobytes()
        if key not in self._states:
            if len(self._states) > 256:
                self._states.clear()
            self._states[key] = HeldState(self, stiffness)
        return self._states[key]

    def correct(self, base: FloatArray, k: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """Displacements with stiffnesses k of base displacements (n_total[, m]); see `HeldState.displacement`."""
        return self.at(k).displacement(base, gaps)

    def reactions(self, base: FloatArray, k: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """What the fasteners carry, from *base* displacements; see `HeldState.reactions`."""
        return self.at(k).reactions(base, gaps)


class HeldState:
    """The panel of a `HeldSystem` with one set of stiffnesses: made by `HeldSystem.at`."""

    def __init__(self, held: HeldSystem, k: FloatArray) -> None:
        self.held, self.k = held, k
        self.all_k, self.all_base = k.ravel(), held.base.ravel()
        touched = np.zeros(len(self.all_k), bool)
        touched[held.present] = True
        with np.errstate(invalid="ignore"):
            change = self.all_k - self.all_base
        changed = touched & ~(np.abs(change) <= 1e-12 * self.all_base)
        rows = np.flatnonzero(changed)
        compliance = held.motions(rows)[rows]
        still = np.diag(compliance) > 1e-12 * self._typical(rows, np.diag(compliance))
        if not still.all():  # rows on fixed nodes: held already
            rows, compliance = rows[still], compliance[np.ix_(still, still)]
        self.rows, self.change = rows, change[rows]
        self._factor(0.5 * (compliance + compliance.T))

    def _typical(self, rows: IntArray, diagonal: FloatArray) -> FloatArray:
        """The greatest compliance among rows of the same kind (translation or rotation), (len(rows),)."""
        turn = rows % 6 >= 3
        size = np.zeros(len(rows))
        for kind in (turn, ~turn):
            if kind.any():
                size[kind] = diagonal[kind].max()
        return size

    def _factor(self, compliance: FloatArray) -> None:
        """Eigenvalues of the scaled small matrix; ModelError if what remains holds the panel no more."""
        inverse = 1.0 / self.change  # zero for rigid rows
        self.scale = 1.0 / np.sqrt(np.diag(compliance) + np.abs(inverse))
        small = self.scale[:, None] * (compliance + np.diag(inverse)) * self.scale
        self.values, self.vectors = np.linalg.eigh(small)
        if not len(self.values):
            return
        weakest = int(np.abs(self.values).argmin())
        softer = int((self.change < 0).sum())
        if abs(self.values[weakest]) > FREE and int((self.values < 0).sum()) == softer:
            return
        if softer == 0:
            raise ModelError(
                "two rigid fasteners hold the same motion of the skin",
                where=self._place(self.vectors[:, weakest]),
                do="move them apart or give one of them a stiffness",
            )
        mode = weakest if abs(self.values[weakest]) <= FREE else int(self.values.argmax())
        raise ModelError(
            "the panel is free to move with the fasteners that are left",
            where=f"it moves most at {self._place(self.vectors[:, mode])}",
            do="hold it with another fastener or edge, or give the remaining fasteners the stiffness they have",
        )

    def _place(self, vector: FloatArray) -> str:
        """The fastener and the motion where a small vector is greatest, in words."""
        row = int(self.rows[int(np.abs(vector).argmax())])
        return f"{self.held.names[row // 6]}, {ROW_NAMES[row % 6]}"

    def solve_small(self, right: FloatArray) -> FloatArray:
        """(S + 1/(k − k₀))⁻¹ right, for right (changed rows[, m])."""
        scale = self.scale if right.ndim == 1 else self.scale[:, None]
        values = self.values if right.ndim == 1 else self.values[:, None]
        solved: FloatArray = scale * (self.vectors @ ((self.vectors.T @ (scale * right)) / values))
        return solved

    def multipliers(self, base: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """λ (6 nf[, m]): force of each fastener on top of its base spring, for base displacements (n_total[, m])."""
        out = np.zeros((len(self.all_k), *base.shape[1:]))
        gap = self._gaps(gaps)
        if gap is not None:
            if base.ndim > 1:
                gap = gap[:, None]
            unchanged = np.setdiff1d(self.held.present, self.rows)
            out[unchanged] = -(self.all_base[unchanged] * gap[unchanged].T).T
            base = base - self._unchanged_response(out, unchanged)
        motion = self.held.rows[self.rows] @ base
        if gap is not None:
            rigid = np.isinf(self.change)
            ratio = np.ones(len(self.rows))
            ratio[~rigid] = self.all_k[self.rows][~rigid] / self.change[~rigid]
            motion = motion - (ratio * gap[self.rows].T).T
        out[self.rows] = self.solve_small(motion)
        return out

    def _unchanged_response(self, force: FloatArray, rows: IntArray) -> FloatArray:
        loaded = rows[_nonzero(force[rows])]
        return self.held.pushed(loaded, force[loaded])

    def _gaps(self, gaps: FloatArray | None) -> FloatArray | None:
        if gaps is None or not np.any(gaps):
            return None
        return np.asarray(gaps, float).ravel()

    def displacement(self, base: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """Displacements (n_total[, m]) with these stiffnesses, from base displacements of the same shape.

        `gaps` (nf, 6): the motion (m, rad) along each row that the fastener pulls the skin to as it closes.
        """
        force = self.multipliers(base, gaps)
        loaded = _nonzero(force)
        return base - self.held.pushed(loaded, force[loaded])

    def reactions(self, base: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """What the skin puts on each fastener, (nf, 6[, m]): N along t1, t2, n, N·m about them.

        Positive along n: the skin pulls the fastener along its normal.  `base` are base displacements.
        """
        force = self.multipliers(base, gaps)
        loaded = _nonzero(force)
        motion = self.held.rows @ base
        motion -= self.held.motions(loaded) @ force[loaded]
        out = force + (self.all_base * motion.T).T
        out[self.all_k == 0] = 0.0
        return np.asarray(out.reshape(-1, 6, *base.shape[1:]))


def _nonzero(force: FloatArray) -> IntArray:
    """Numbers of the rows of (n[, m]) that are not all zero."""
    return np.flatnonzero(np.any(force != 0, axis=tuple(range(1, force.ndim))))
