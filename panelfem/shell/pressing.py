"""Which places touch, as a panel answers by one factored tangent: forces that only push, found exactly at each step.

Places that touched when the tangent was factored have rows inside it.  Others that are entered get a force, and those
that would be pulled a gap: both through columns of the factor, solved for once each, so that a factor serves while the
places that touch change.  Signs that are wrong change sides, all at once, and one at a time where that does not end.

Source: block principal pivoting, Júdice & Pires 1994 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.bordered import Bordered

MORE = 12
"""Places that join in one exchange, the deepest first."""

TOGETHER, MOST = 20, 80
"""Exchanges of all wrong places, and of the worst one only, before the step is left as it is."""

WRONG = 1e-9
"""Share of the greatest force, or of the deepest entry, below which a sign is not wrong."""

Step = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True)
class Places:
    """All places of the shapes: csr `rows` (m, n_total) of their motion, `share` (m,) by which the way of their shape
    closes the gap, the number `free` (m,) of that way among those that are not given (−1: given), and whether their
    shape must rest on something, `resting` (m,), with its number `shape_of` (m,).
    """

    rows: csr_array
    share: FloatArray
    free: IntArray
    resting: BoolArray
    shape_of: IntArray

    def change(self, u: FloatArray, s: FloatArray) -> FloatArray:
        """Change (m,) of the gaps by a step u (n_total,) and s (free ways,)."""
        ways = np.append(s, 0.0)
        return np.asarray(self.rows @ u - self.share * ways[self.free])


class Pressing:
    """Contact on one factored tangent, in which the places `inside` (m,) have the last rows, each with the compliance
    `give`.
    """

    def __init__(self, factor: Bordered, places: Places, inside: BoolArray, give: float) -> None:
        self.factor, self.places, self.inside, self.give = factor, places, inside, give
        self._rows = np.cumsum(inside) - 1
        self._columns: dict[int, tuple[Step, FloatArray, FloatArray]] = {}

    def _column(self, place: int) -> tuple[Step, FloatArray, FloatArray]:
        """The step by a unit gap (a place inside) or force (another) at a place, with what it does to all gaps (m,) and
        to the forces (m,) of the places inside.
        """
        if place not in self._columns:
            n, m, ns = self.places.rows.shape[1], len(self.factor.rows.give), len(self.factor.rows.tail)
            load, target, tail = np.zeros(n), np.zeros(m), np.zeros(ns)
            if self.inside[place]:
                target[m - int(self.inside.sum()) + self._rows[place]] = 1.0
            else:
                load = np.asarray(self.places.rows[[place]].toarray())[0]
                if self.places.free[place] >= 0:
                    tail[self.places.free[place]] = -self.places.share[place]
            u, mu, s = self.factor.solve(load, target, tail)
            self._columns[place] = (u, mu, s), self.places.change(u, s), self._inside(mu)
        return self._columns[place]

    def _inside(self, mu: FloatArray) -> FloatArray:
        """Change of the forces (m,) of the places inside."""
        out = np.zeros(len(self.inside))
        count = int(self.inside.sum())
        out[self.inside] = -mu[len(mu) - count :]
        return out

    def settled(
        self, step: Step, gap: FloatArray, push: FloatArray, start: BoolArray
    ) -> tuple[Step, FloatArray, BoolArray]:
        """A step corrected so that gaps and forces have the right signs, with the forces (m,) and which places touch.

        `gap` (m,) before the step; `push` (m,) there at the places inside, zero at others; `start` (m,) is where the
        search begins.  Raises ModelError if what touches leaves the panel free to move.
        """
        u, mu, s = step
        gap, push = gap + self.places.change(u, s), np.where(self.inside, push + self._inside(mu), 0.0)
        deepest, touching = float(-gap.min(initial=0.0)), start.copy()
        self._rest(gap, touching)
        amounts, used = np.zeros(0), list[int]()
        force, left = push, gap
        for exchange in range(MOST):
            used = np.flatnonzero(touching != self.inside).tolist()
            amounts, force, left = self._solved(used, gap, push)
            worst = max(float(np.abs(force).max(initial=0.0)), 1e-300)
            pulled = np.where(touching, -force / worst, 0.0)
            entered = np.where(touching, 0.0, -left / max(deepest, 1e-300))
            wrong = np.maximum(pulled, entered)
            out = np.flatnonzero(wrong > WRONG)
            if not len(out):
                break
            if exchange >= TOGETHER:
                out = out[[int(np.argmax(wrong[out]))]]
            joining = out[~touching[out]]
            joining = joining[np.argsort(left[joining], kind="stable")[:MORE]]
            touching[out[touching[out]]] = False
            touching[joining] = True
            self._rest(left, touching)
        for place, amount in zip(used, amounts.tolist(), strict=True):
            column = self._columns[place][0]
            u, mu, s = u + amount * column[0], mu + amount * column[1], s + amount * column[2]
        return (u, mu, s), np.where(touching, np.maximum(force, 0.0), 0.0), touching

    def _rest(self, gap: FloatArray, touching: BoolArray) -> None:
        """Lets every shape that must rest on something do so on its nearest place, if it rests on none."""
        for shape in np.unique(self.places.shape_of[self.places.resting]).tolist():
            mine = np.flatnonzero(self.places.shape_of == shape)
            if not touching[mine].any():
                touching[mine[int(np.argmin(gap[mine] / self.places.share[mine]))]] = True

    def _solved(
        self, used: Sequence[int], gap: FloatArray, push: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Gaps and forces (len(used),) put on the places `used`, and all forces and gaps (m,) then."""
        if not used:
            return np.zeros(0), push, gap
        columns = [self._column(place) for place in used]
        gaps, forces = (np.stack([c[i] for c in columns], axis=1) for i in (1, 2))
        at, inside = np.array(used), self.inside[used]
        matrix = np.where(inside[:, None], forces[at], gaps[at])
        own = np.flatnonzero(~inside)
        matrix[own, own] += self.give
        try:
            amounts = np.linalg.solve(matrix, -np.where(inside, push[at], gap[at]))
        except np.linalg.LinAlgError as fault:
            raise ModelError("the places that touch leave the panel free to move", where="contact") from fault
        force, left = push + forces @ amounts, gap + gaps @ amounts
        force[at[~inside]] = amounts[~inside]
        force[at[inside]] = 0.0
        return amounts, force, left
