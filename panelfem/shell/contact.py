"""Rigid shapes against a panel: forces that only push, at the places where it touches and nowhere else.

The panel is linear, so all it needs is the compliance of the places: C = P K⁻¹ Pᵀ.  Columns of K⁻¹Pᵀ are
solved for lazily, a few at a time, for places that the shape would enter; the small problem of the known
places is solved exactly, the gaps of all others are looked at, and the deepest of those entered join.  Every
round enlarges a finite set, so it ends; the answer does not depend on the order.  Columns belong to the
factored base system and serve every load, advance and stiffness of the fasteners (`held`), because those only
add small dense corrections.

No friction: forces are along the outward normals of the shapes, which stay as they are before the panel
moves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import InputError, ModelError
from panelfem.shell.complementarity import push_only
from panelfem.shell.held import HeldState, HeldSystem, solve_many
from panelfem.shell.touch import TouchRows

FIRST, MORE = 12, 24
"""Places that join in the first round and at most in a later one (or half as many as are known, if that is more)."""

ENTERED = 1e-9
"""A place counts as entered below this share of the deepest entry without contact forces."""

STIFF = 1e-10
"""A place that gives less than this share of the softest known one is a rigid fixing."""

CLASH = 1e5
"""A shape that meets more than so many times the stiffness of the softest known place is pushed at a rigid fixing.

Measured for the worst there is, a flat on a flat panel with its fasteners under it: 200, 800 and 20 000 times with
fasteners of 5e5, 2e6 and 5e7 N/m along their normals; with rigid ones it grows with every place that joins.
"""


FURTHER = 2.5
"""Times the advance since the first touch that the next trial of a force may have."""


class ClashError(ModelError):
    """A shape and a rigid fixing want the same place: no finite force keeps them apart."""


class Pusher:
    """A shape on one factored system, with the displacement columns (n_total,) of unit forces at its places.

    Columns stay in the blocks in which they were solved for, so that learning more copies none of them.
    """

    def __init__(self, held: HeldSystem, touch: TouchRows) -> None:
        if len(touch.gap) == 0:
            raise InputError(
                "the shape does not meet the panel at all",
                where="contact",
                do="check the place, the direction and the line of travel",
            )
        self.held, self.touch = held, touch
        self.known: list[int] = []
        self._blocks: list[FloatArray] = []

    def learn(self, places: Sequence[int]) -> None:
        """Solve for the columns of those of `places` that are not known yet."""
        known = set(self.known)
        new = [p for p in places if p not in known]
        if new:
            self._blocks.append(solve_many(self.held.system, self.touch.rows[new]))
            self.known += new
            self.held.back_solves += len(new)

    def blocks(self, start: int = 0) -> Iterator[tuple[slice, FloatArray]]:
        """What was learnt after the first `start` known places, as it came: which of them, with their base
        displacements (n_total, n) under unit forces."""
        end = 0
        for block in self._blocks:
            which = slice(end, end + block.shape[1])
            end = which.stop
            if which.start >= start:
                yield which, block


@dataclass(frozen=True)
class Free:
    """What the panel does under its other loads, without contact: base displacement (n_total,) and motion at
    places (m,).

    Adds and scales like the loads: ``held.plus(factor, scaled)``.
    """

    base: FloatArray
    motion: FloatArray
    gaps: FloatArray | None = None

    def plus(self, factor: float, other: Free) -> Free:
        """This one and `factor` times `other`, whose fixings pull nothing (misfit stays with the held part)."""
        return Free(self.base + factor * other.base, self.motion + factor * other.motion, self.gaps)


@dataclass(frozen=True)
class ContactSolution:
    """Contact found: per place (m,), in the order of the problem's shapes, and per shape.

    `force` N ≥ 0 and `pressure` Pa at each place, `gap` m left; `advance` (shapes,) m that each shape really
    moved (the car having lifted), `total` (shapes,) N along each shape's direction, `area` (shapes,) m² that
    touches.
    `error`: greatest violation of "force or gap is zero, both are ≥ 0", relative to the deepest entry and
    greatest force;
    `rounds` of the search; `slope` N/m: growth of the first shape's total with its advance.
    """

    problem: ContactProblem = field(repr=False)
    state: HeldState = field(repr=False)
    free: Free = field(repr=False)
    force: FloatArray
    pressure: FloatArray
    gap: FloatArray
    advance: FloatArray
    total: FloatArray
    area: FloatArray
    error: float
    rounds: int
    slope: float

    @property
    def touching(self) -> BoolArray:
        """Places that carry force, (m,)."""
        return self.force > 0

    def base(self) -> FloatArray:
        """Base displacement (n_total,): loads and contact forces on the factored system."""
        return self.free.base + self.problem.pushed(self.force)

    def displacement(self) -> FloatArray:
        """Displacement (n_total,) with the fasteners as they are."""
        return self.state.displacement(self.base(), self.free.gaps)

    def reactions(self) -> FloatArray:
        """What the skin puts on the fasteners, (nf, 6), as `HeldState.reactions`."""
        return self.state.reactions(self.base(), self.free.gaps)

    def load(self) -> FloatArray:
        """The load (n_total,) of the contact forces."""
        return np.asarray(self.problem.rows.T @ self.force)


class ContactProblem:
    """One or more rigid shapes against a held panel, at the same time.

    `pushers`: the shapes; `car` (one each, N/m or None): stiffness in series, so that a shape given the
    advance δ really moves s = δ − F / car.
    """

    def __init__(self, held: HeldSystem, pushers: Sequence[Pusher], car: Sequence[float | None] = ()) -> None:
        self.held, self.pushers = held, tuple(pushers)
        self.car = tuple(car) or (None,) * len(self.pushers)
        if len(self.car) != len(self.pushers) or any(c is not None and not c > 0 for c in self.car):
            raise InputError("a car stiffness is wrong", allowed="one for each shape: above zero, or none")
        touches = [p.touch for p in self.pushers]
        sizes = [len(t.gap) for t in touches]
        self.starts = np.concatenate([[0], np.cumsum(sizes)])
        self.shape_of = np.repeat(np.arange(len(touches)), sizes)
        self.rows = sparse.csr_array(sparse.vstack([t.rows for t in touches], format="csr"))
        self.near = sparse.csr_array(sparse.block_diag([t.near for t in touches], format="csr"))
        self.gap, self.share, self.area = (
            np.concatenate([getattr(t, name) for t in touches]) for name in ("gap", "share", "area")
        )
        self.place = np.concatenate([t.place for t in touches])
        self._motions = [np.empty((len(self.gap), 0)) for _ in touches]
        self._state_rows: dict[int, tuple[HeldState, FloatArray]] = {}
        self._touching = np.zeros(len(self.gap), bool)

    def free(self, base: FloatArray, k: FloatArray | None = None, gaps: FloatArray | None = None) -> Free:
        """The base displacement (n_total,) of the other loads, made ready for stiffnesses k and misfits (nf, 6)."""
        return Free(base, self.rows @ self.held.at(k).displacement(base, gaps), gaps)

    def pushed(self, force: FloatArray) -> FloatArray:
        """Base displacement (n_total,) of forces (m,) at places, zero at places without a known column."""
        out = np.zeros(self.held.n_total)
        for pusher, start in zip(self.pushers, self.starts[:-1], strict=True):
            amounts = force[start + np.asarray(pusher.known, np.int64)]
            for which, block in pusher.blocks():
                out += block @ amounts[which]
        return out

    def at(self, free: Free, advance: Sequence[float], k: FloatArray | None = None) -> ContactSolution:
        """Contact at given advances (one a shape, m): the car's included, if it has a stiffness.

        Raises ModelError if a shape would have to enter a rigid fixing.
        """
        if len(advance) != len(self.pushers):
            raise InputError("one advance for each shape is needed", where="contact")
        state = self.held.at(k)
        delta = np.asarray(advance, float)
        gap = self.gap - self.share * delta[self.shape_of] + free.motion
        deepest = max(0.0, -float(gap.min()))
        force, left, rounds = np.zeros(len(gap)), gap, 0
        known = np.empty(0, np.int64)
        C = np.empty((len(gap), 0))
        while deepest > 0:
            entered = np.flatnonzero(left < -ENTERED * deepest)
            entered = entered[~np.isin(entered, known)]
            if rounds and not len(entered):
                break
            known = self._known()
            if rounds or not len(known):
                self._learn(self._choose(entered, left, max(MORE, len(known) // 2) if len(known) else FIRST))
                known = self._known()
            C = self._compliance(state, known)
            give = C[known, np.arange(len(known))]
            soft = give > STIFF * give.max()
            small = np.zeros(len(known))
            small[soft], _ = push_only(C[np.ix_(known[soft], soft)], gap[known[soft]], self._touching[known[soft]])
            force = np.zeros(len(gap))
            force[known] = small
            left = gap + C @ small
            self._check_rigid(known[~soft], left, deepest)
            if -float(force @ gap) * float(give.max()) > CLASH * deepest**2:
                raise self._clash(int(force.argmax()), deepest)
            rounds += 1
        self._touching = force > 0
        return self._solution(state, free, delta, force, left, C, known, deepest, rounds)

    def _solution(
        self,
        state: HeldState,
        free: Free,
        delta: FloatArray,
        force: FloatArray,
        left: FloatArray,
        C: FloatArray,
        known: IntArray,
        deepest: float,
        rounds: int,
    ) -> ContactSolution:
        n = len(self.pushers)
        total = np.bincount(self.shape_of, force * self.share, n).astype(float)
        area = np.bincount(self.shape_of, np.where(force > 0, self.area, 0.0), n).astype(float)
        lift = np.array([0.0 if c is None else t / c for c, t in zip(self.car, total, strict=True)])
        error, slope = 0.0, 0.0
        if deepest > 0 and force.any():
            error = float(np.abs(np.minimum(force / force.max(), left / deepest)).max())
            touch = np.flatnonzero(force[known] > 0)
            share = np.where(self.shape_of == 0, self.share, 0.0)[known[touch]]
            slope = float(share @ np.linalg.solve(C[np.ix_(known[touch], touch)], share))
        return ContactSolution(
            self, state, free, force, force / self.area, left, delta - lift, total, area, error, rounds, slope
        )

    def force(
        self, free: Free, amount: float, others: Sequence[float] = (), k: FloatArray | None = None
    ) -> ContactSolution:
        """Contact with a given total force `amount` (N ≥ 0) of the first shape along its direction.

        `others`: advances of the other shapes.  The total grows with the advance, piecewise linearly, so
        Newton steps inside a bracket find it; none goes more than `FURTHER` times as far as the shape has come
        since it first touched, because the few places that touch then tell too little of those that will.  Raises
        ModelError if it is not found, or if a rigid fixing is in the way.
        """
        if not amount >= 0:
            raise InputError(f"contact force {amount:g} N", allowed="zero or more: a shape only pushes")
        mine = self.shape_of == 0
        first = float(((self.gap + free.motion)[mine] / self.share[mine]).min())
        low, high = first, np.inf
        advance, total, slope = first, 0.0, 0.0
        refused: ClashError | None = None
        for _ in range(200):
            try:
                found = self.at(free, (advance, *others), k)
                total, slope = float(found.total[0]), found.slope
                miss = amount - total
                if abs(miss) <= 1e-10 * amount:
                    return found
            except ClashError as clash:  # too far: beyond any finite force
                refused, miss, slope = clash, -np.inf, 0.0
            if miss > 0:
                low = advance
            else:
                high = advance
            step = advance + miss / slope if slope > 0 else np.nan
            if step > (furthest := self._further(first, advance)):
                step = furthest
            if not low < step < high:
                step = 0.5 * (low + high) if np.isfinite(high) else self._further(first, advance)
            if step in (low, high):
                break
            advance = step
        if refused is not None:
            raise refused
        if abs(total - amount) <= 1e-6 * amount:
            return found
        raise ModelError(
            f"no advance gives the contact force {amount:g} N",
            where=f"got {total:g} N",
            do="check the force and what the panel is held by",
        )

    def _further(self, first: float, advance: float) -> float:
        """How far the next step may go; from the first touch on, a little, for no slope is known there."""
        size = float(np.ptp(self.place, axis=0).max())
        return first + max(FURTHER * (advance - first), 1e-6 * size)

    def _known(self) -> IntArray:
        return np.concatenate(
            [s + np.asarray(p.known, np.int64) for p, s in zip(self.pushers, self.starts[:-1], strict=True)]
        )

    def _learn(self, places: IntArray) -> None:
        for number, pusher in enumerate(self.pushers):
            pusher.learn((places[self.shape_of[places] == number] - self.starts[number]).tolist())

    def _choose(self, entered: IntArray, gap: FloatArray, count: int) -> IntArray:
        """The deepest of the places entered, (≤ count,), no two of them next to each other."""
        chosen: list[int] = []
        blocked: set[int] = set()
        for place in entered[np.argsort(gap[entered], kind="stable")].tolist():
            if place in blocked:
                continue
            chosen.append(place)
            blocked.update(self.near.indices[self.near.indptr[place] : self.near.indptr[place + 1]].tolist())
            if len(chosen) == count:
                break
        return np.array(chosen, np.int64)

    def _compliance(self, state: HeldState, known: IntArray) -> FloatArray:
        """C (m, known): gap opened at every place by a unit force at each known one, cars included."""
        for number, pusher in enumerate(self.pushers):
            new = [self.rows @ block for _, block in pusher.blocks(self._motions[number].shape[1])]
            self._motions[number] = np.hstack([self._motions[number], *new])
        C = np.hstack(self._motions)
        if len(state.rows):
            moved = self._response(state)
            C = C - moved @ state.solve_small(moved[known].T)
        for number, stiffness in enumerate(self.car):
            if stiffness is not None:
                share = np.where(self.shape_of == number, self.share, 0.0)
                C = C + np.outer(share, share[known]) / stiffness
        square = C[known]
        C[known] = 0.5 * (square + square.T)
        return C

    def _response(self, state: HeldState) -> FloatArray:
        """P R (m, changed rows) of a state, kept."""
        key = id(state)
        if key not in self._state_rows:
            if len(self._state_rows) > 64:
                self._state_rows.clear()
            self._state_rows[key] = (state, self.rows @ self.held.responses(state.rows))
        return self._state_rows[key][1]

    def _check_rigid(self, rigid: IntArray, left: FloatArray, deepest: float) -> None:
        """ModelError if the shape enters places that do not give."""
        entered = rigid[left[rigid] < -ENTERED * deepest]
        if len(entered):
            raise self._clash(int(entered[0]), deepest)

    def _clash(self, place: int, deepest: float) -> ClashError:
        """What to raise where the shape and a rigid fixing want the same place."""
        return ClashError(
            "the shape is pushed against a place of the panel that cannot give",
            where=f"near ({', '.join(f'{1e3 * c:.0f}' for c in self.place[place])}) mm, {1e3 * deepest:.2g} mm deep",
            do="place the shape clear of rigid fixings and clamped edges, or give them a stiffness",
        )
