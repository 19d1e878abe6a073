"""Exact answers for any stiffness of the fasteners from one factorisation.

The matrix is factored once without fasteners, K, or with anchors A in place of what only they hold (`anchors`):
K₀ = K + Aᵀ a A.  With fasteners of stiffness k on the rows G and the anchors taken out again the solution differs by
the multipliers λ of the rows H = [G; A],

    u = u₀ − R λ,   R = K₀⁻¹ Hᵀ,   S = H R,   (S + diag(1/k, −1/a)) λ = H u₀ − [gap; 0],

where a rigid row has 1/k = 0 and one that is gone is left out.  One back-solve for each fastener's row that is ever
used, then only small dense algebra.

Source: the Sherman–Morrison–Woodbury identity; whether the changed matrix is still positive definite is read
from the signs of the eigenvalues of the small one (inertia is additive over Schur complements, Haynsworth
1968, from memory): one negative for each anchor.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.anchors import Anchored
from panelfem.shell.supports import ROW_NAMES

FREE = 1e-9
"""Eigenvalue of the small matrix, scaled so that its terms are about one, below which a motion counts as free."""

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

    `system` was factored without the fasteners' `rows` (6 nf, n_total) and with anchors that answer as `anchored`
    (None: without any).  Stiffnesses `k` (nf, 6) are in N/m along t1, t2, n and N·m/rad about them: inf is rigid, 0 is
    gone.  "Base" displacements are solutions of the factored system as it is; they may be linearly combined before they
    are corrected.
    """

    def __init__(
        self, system: LinearSystem, rows: sparse.csr_array, names: Sequence[str] = (), anchored: Anchored | None = None
    ) -> None:
        self.system = system
        self.rows = rows
        self.n_rows, self.n_total = rows.shape
        self.all_rows = rows if anchored is None else sparse.csr_array(sparse.vstack([rows, anchored.rows]).tocsr())
        self.names = tuple(names) or tuple(f"fastener {i + 1}" for i in range(self.n_rows // 6))
        self.back_solves = 0
        self._responses = np.empty((self.n_total, 0)) if anchored is None else anchored.responses
        self._motions = self.all_rows @ self._responses
        if anchored is not None:
            self._motions[self.n_rows :] = anchored.give
        self._column = {int(r): i for i, r in enumerate(self.anchors)}
        self._states: dict[bytes, HeldState] = {}

    @property
    def anchors(self) -> IntArray:
        """Numbers of the rows of the anchors."""
        return np.arange(self.n_rows, self.all_rows.shape[0])

    @cached_property
    def present(self) -> BoolArray:
        """Which of the fasteners' rows (6 nf,) touch the skin at all."""
        return np.diff(self.rows.indptr) > 0

    def responses(self, rows: IntArray) -> FloatArray:
        """R = K₀⁻¹ Hᵀ, (n_total, len(rows)).  A row is solved for when first asked for."""
        columns = self._columns(rows)
        return self._responses[:, columns]

    def motions(self, rows: IntArray) -> FloatArray:
        """S: motion of every row under a unit force on each of `rows`, (6 nf + na, len(rows)); of anchors under forces
        on anchors less 1/a."""
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
            solved = solve_many(self.system, self.all_rows[new])
            self._responses = np.hstack([self._responses, solved])
            self._motions = np.hstack([self._motions, self.all_rows @ solved])
            for r in new:
                self._column[r] = len(self._column)
            self.back_solves += len(new)
        return [self._column[r] for r in rows.tolist()]

    def at(self, k: FloatArray | None = None) -> HeldState:
        """The panel with stiffnesses k (nf, 6) (None: no fastener).  Raises ModelError if it is then free to move."""
        stiffness = np.zeros((self.n_rows // 6, 6)) if k is None else np.asarray(k, float).reshape(-1, 6)
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
    """The panel of a `HeldSystem` with one set of stiffnesses: made by `HeldSystem.at`.

    `rows`: numbers of the rows that act, fasteners' first, then the anchors'.
    """

    def __init__(self, held: HeldSystem, k: FloatArray) -> None:
        self.held, self.k = held, k
        rows = np.flatnonzero(held.present & (k.ravel() > 0))
        give = held.motions(rows)[rows].diagonal()
        rows = rows[give > 1e-12 * self._typical(rows, give)]  # rows on fixed nodes: held already
        self.rows = np.concatenate([rows, held.anchors])
        compliance = held.motions(self.rows)[self.rows]
        self._factor(0.5 * (compliance + compliance.T), 1.0 / k.ravel()[rows])

    def _typical(self, rows: IntArray, diagonal: FloatArray) -> FloatArray:
        """The greatest compliance among rows of the same kind (translation or rotation), (len(rows),)."""
        turn = rows % 6 >= 3
        size = np.zeros(len(rows))
        for kind in (turn, ~turn):
            if kind.any():
                size[kind] = diagonal[kind].max()
        return size

    def _factor(self, small: FloatArray, inverse: FloatArray) -> None:
        """Eigenvalues of the scaled small matrix; ModelError if what remains holds the panel no more.

        `inverse` (n,): 1/k of the fasteners' rows, which come first, zero for rigid ones.
        """
        n = len(inverse)
        small[range(n), range(n)] += inverse
        fixing = 1.0 / np.sqrt(small.diagonal()[:n])
        size = np.abs(small.diagonal()[n:]) + ((small[n:, :n] * fixing) ** 2).sum(axis=1)  # what holds each anchor
        anchor = np.divide(1.0, np.sqrt(size), where=size > 0, out=np.zeros_like(size))
        self.scale = np.concatenate([fixing, anchor])
        self.values, self.vectors = np.linalg.eigh(self.scale[:, None] * small * self.scale)
        if not len(self.values):
            return
        weakest = int(np.abs(self.values).argmin())
        if abs(self.values[weakest]) > FREE and int((self.values < 0).sum()) == len(size):
            return
        mode = self.vectors[:, weakest]
        if mode[n:] @ mode[n:] < 0.5:
            raise ModelError(
                "two rigid fasteners hold the same motion of the skin",
                where=self._place(self.rows[:n], mode[:n]),
                do="move them apart or give one of them a stiffness",
            )
        shifts = np.flatnonzero(np.arange(self.held.n_rows) % 6 < 3)
        moved = self.held.motions(self.held.anchors)[shifts] @ (np.where(anchor > 0, anchor, 1.0) * mode[n:])
        raise ModelError(
            "the panel is free to move with the fasteners that are left",
            where=f"it moves most at {self._place(shifts, moved)}",
            do="hold it with another fastener or edge, or give the remaining fasteners the stiffness they have",
        )

    def _place(self, rows: IntArray, moved: FloatArray) -> str:
        """The fastener and the motion where the motions (n,) of `rows` are greatest, in words."""
        row = int(rows[int(np.abs(moved).argmax())])
        return f"{self.held.names[row // 6]}, {ROW_NAMES[row % 6]}"

    def solve_small(self, right: FloatArray) -> FloatArray:
        """(S + diag(1/k, −1/a))⁻¹ right, for right (len(rows)[, m])."""
        scale = self.scale if right.ndim == 1 else self.scale[:, None]
        values = self.values if right.ndim == 1 else self.values[:, None]
        solved: FloatArray = scale * (self.vectors @ ((self.vectors.T @ (scale * right)) / values))
        return solved

    def multipliers(self, base: FloatArray, gaps: FloatArray | None = None) -> FloatArray:
        """λ (6 nf + na[, m]): force of the skin on each fastener, then on each anchor, that base displacements
        (n_total[, m]) need."""
        out = np.zeros((self.held.all_rows.shape[0], *base.shape[1:]))
        motion = self.held.all_rows[self.rows] @ base
        if gaps is not None:
            gap = np.zeros(len(out))
            gap[: self.held.n_rows] = np.asarray(gaps, float).ravel()
            motion = motion - gap[self.rows].reshape(-1, *[1] * (base.ndim - 1))
        out[self.rows] = self.solve_small(motion)
        return out

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
        force = self.multipliers(base, gaps)[: self.held.n_rows]
        return np.asarray(force.reshape(-1, 6, *base.shape[1:]))


def _nonzero(force: FloatArray) -> IntArray:
    """Numbers of the rows of (n[, m]) that are not all zero."""
    return np.flatnonzero(np.any(force != 0, axis=tuple(range(1, force.ndim))))
