"""Equilibrium paths: Newton at a given factor with steps that shrink and grow, and past limit points by arc length.

A path starts from rest, first with the held loads alone.  Each step sets out along the tangent, no further than nodes
may turn at once; one that does not converge is halved.  Where small steps fail, the way along the path is prescribed
instead of the factor (a plane across the step, turned as it goes): that passes limit points, and where the load falls
the path ends.

Source: Riks 1979, Int. J. Solids Struct. 15:529, with updated planes, Ramm 1981 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.equilibrium import Equilibrium, Point, Tangent, settled
from panelfem.shell.stability import stable

WORK = 1e-12
"""A point is found when the next step would do less than this share of the path's work (its square root in motion)."""

MOST = 14
"""Newton steps to one point."""

FLAT = 1e-3
"""Share of a maximum of the load by which its parabola may still differ from the points found."""

REFINE = 4
"""Points added at most to find a maximum of the load."""

LONGEST = 60
"""Steps to one point of a thrifty search, most of them with a factor of another point."""

SLOW = 0.25
"""Fall of the work left in one step, at least, for which a factor is used again."""

SURE = 0.01
"""The same in the second step to a point, the first that tells whether the factor serves."""

CALM = 0.01
"""Greatest rotation (rad) of a node in a step after which its factor may serve again."""

NEAR = 0.1
"""Change of the factor, as a share of it, up to which the next point starts with the factor of the last one."""

EASY = 5
"""Newton steps up to which the next step may be larger."""

LEAST = 1.0 / 1024.0
"""Least step, as a share of the factor aimed at."""

TIGHT = 1.0 / 32.0
"""Failed step, as a share of the factor aimed at, below which the path is followed by arc length."""

GROWN = 4.0
"""Longest step by arc length over the first, where a maximum may be near: a longer one may jump over it."""

TURN = 1.2
"""Greatest rotation (rad) of a node in one Newton step; more is not trusted."""

QUADRATIC = 1e-3
"""Fall of the work left in one step from which the next is sure to fall by as much."""

RISE = 25.0
"""Rise of the work left over the least so far at which Newton is held to be lost."""

REACH = 0.8
"""Greatest rotation (rad) of a node in the first step towards a factor; the factor is lowered to it."""


@dataclass(frozen=True)
class Ended:
    """Why a path ends at `factor`, in words; `maximum`: the load passes one there."""

    factor: float
    why: str
    maximum: bool = False


@dataclass
class Newton:
    """Finds points of an `equilibrium`; `steps` counts the factorisations, `works` the work left step by step of the
    last point.

    `thrifty`: a factor serves as long as steps with it converge well, also at the next point: many more steps, each of
    which costs a tenth.
    """

    equilibrium: Equilibrium
    tolerance: float = WORK
    thrifty: bool = False
    steps: int = 0
    works: list[float] = field(default_factory=list)
    size: float = 0.0
    _tangent: Tangent | None = field(default=None, init=False)

    def settle(self, start: Point, factor: float) -> tuple[Point, Tangent, int] | None:
        """The point at a factor from a point near it, the last tangent and the number of factorisations; None: not
        found.

        Where nodes would turn by more than `REACH` on the way, the point found lies short of the factor.
        """
        point, works = start, list[float]()
        change = factor - start.factor
        near = start.predicted is None and 0.0 < abs(change) <= NEAR * abs(factor)
        before, stale = self.steps, False
        for step in range(LONGEST if self.thrifty else MOST):
            try:
                before_stale, stale = stale, self.next(point, works, near)
                tangent = self.last
                change = self._within(tangent, change)
                after, left = self.equilibrium.stepped(point, tangent, change)
            except ModelError:
                self.forget()
                return None
            moved, change = change != 0.0, 0.0
            if before_stale and not stale:  # what is left is still of the old factor's making
                works = []
            tried = stale and not before_stale and len(works) == 1 and not left <= SURE * works[0]
            works.append(left)
            self.works = works
            turned = self.turned(point, after)
            near, wild = turned <= CALM, not math.isfinite(left) or turned > TURN
            if stale and (tried or wild or _lost(works)):  # not the panel's fault: once more with its own tangent
                self.forget()
                change = factor - point.factor if moved else 0.0
                works = works[:-1]
                continue
            if wild:
                self.forget()
                return None
            same = bool((after.touching == point.touching).all())
            if step and same and self.done(works, tangent, stale):
                return settled(after), tangent, self.steps - before
            if _lost(works) or self.steps - before > MOST:
                self.forget()
                return None
            point = after
        self.forget()
        return None

    def next(self, point: Point, works: list[float], near: bool, same: bool = False) -> bool:
        """Makes the tangent for the next step; whether its factor is that of a point before.

        A thrifty search keeps a factor while the work left falls fast, and for the first steps to or from a point that
        is `near`; with `same` only if the places that touch at the point have rows in it.
        """
        old = self._tangent
        fast = works[-1] <= SLOW * works[-2] if len(works) > 1 else near
        if self.thrifty and old is not None and fast and not (same and (old.touching != point.touching).any()):
            self._tangent = self.equilibrium.tangent(point, old)
            return True
        self._tangent = None  # let go of the factor before another is made
        del old
        self._tangent = self.equilibrium.tangent(point)
        self.steps += 1
        return False

    def forget(self) -> None:
        """Nothing was found with it: the next step has a tangent of its own."""
        self._tangent = None

    @property
    def last(self) -> Tangent:
        """The tangent of the next step, as `next` made it."""
        assert self._tangent is not None
        return self._tangent

    def _within(self, tangent: Tangent, change: float) -> float:
        """A change of factor, lowered until no node turns by more than `REACH` by the first order."""
        if not change:
            return change
        u, _, _ = tangent.factor.solve(tangent.rate, tangent.row_rate, tangent.tail_rate)
        most = float(np.linalg.norm(u[self.equilibrium.large.rotation_unknowns], axis=1).max())
        return math.copysign(min(abs(change), REACH / most), change) if most > 0.0 else change

    def done(self, works: list[float], tangent: Tangent, stale: bool = False) -> bool:
        """Whether what is left after the step just taken is less than the tolerance."""
        size = max(self.size, tangent.work)
        left, allowed = works[-1], self.tolerance * max(size, 1e-300)
        fall = left / works[-2] if len(works) > 1 and 0.0 < works[-2] < math.inf else 1.0
        done = left <= allowed or (not stale and fall < QUADRATIC and fall * left <= allowed)
        if done:
            self.size = size
        return done

    def turned(self, a: Point, b: Point) -> float:
        """Greatest rotation (rad) of a node from a to b."""
        spun = b.pose.turned @ a.pose.turned.swapaxes(1, 2)
        trace = np.trace(spun, axis1=1, axis2=2)
        return float(np.arccos(np.clip((trace.min() - 1.0) / 2.0, -1.0, 1.0)))


@dataclass
class LoadPath:
    """Points of one equilibrium path by factor, found when asked for.

    `first`: the first step's factor.  `ended`: why no larger factor can be reached; None so far.  `told` is called with
    each point found.
    """

    newton: Newton
    first: float = 0.25
    ended: Ended | None = None
    points: list[Point] = field(default_factory=list)
    told: Callable[[Point], None] | None = None

    @property
    def equilibrium(self) -> Equilibrium:
        """The problem."""
        return self.newton.equilibrium

    def held(self, stops: Sequence[float] = ()) -> Point:
        """The point with the held loads alone; with `stops`, shares of these, they are put on step by step."""
        if not self.points:
            rest = self.equilibrium.rest()
            loads = self.equilibrium.loads[0]
            quiet = not loads.dead.any() and not loads.elements.any and not self.equilibrium.fixings.gap.any()
            if quiet and not (self.equilibrium.motions(rest) < 0.0).any():
                self.keep(rest)
            else:
                at_once = None if stops else self.newton.settle(rest, 0.0)
                found = at_once or self._in_steps(stops)
                if found is None:
                    raise ModelError(
                        "the panel does not come to rest under its held loads alone",
                        where="large deflection",
                        do="check the held loads and the fixings",
                    )
                self.keep(found[0])
        return self.points[0]

    def _in_steps(self, stops: Sequence[float]) -> tuple[Point, Tangent, int] | None:
        """The point with the held loads alone, put on step by step; None: not found, or with shapes in the way."""
        eq, rest = self.equilibrium, self.equilibrium.rest()
        if eq.shapes:
            return None
        try:
            path = LoadPath(Newton(eq.of_held()), self.first)
            last = [path.at(share) for share in (*stops, 1.0)][-1]
        except ModelError:
            return None
        return self.newton.settle(replace(rest, pose=last.pose, mu=last.mu), 0.0)

    def at(self, factor: float) -> Point:
        """The point at a factor ≥ 0.  Raises ModelError, naming the factor reached, where the path ends before it."""
        if self.ended is not None and factor > self.ended.factor:
            raise self._short(factor)
        here = max((p for p in (self.held(), *self.points) if p.factor <= factor), key=lambda p: p.factor)
        step = min(factor - here.factor, max(self.first * max(1.0, factor), here.factor * 0.75))
        tried: Point | None = None
        while here.factor < factor:
            step = min(step, factor - here.factor)
            if factor - here.factor < 1.3 * step:
                step = factor - here.factor
            found = self.newton.settle(here, factor if step == factor - here.factor else here.factor + step)
            if found is not None:
                here, _, count = found
                self.keep(here)
                if count <= EASY:
                    step *= 2.0
                continue
            step /= 2.0
            if step < LEAST * max(factor, 0.1):
                self.ended = Ended(here.factor, "no equilibrium was found beyond it in small steps")
                raise self._short(factor)
            if step < TIGHT * max(factor, here.factor) and here is not tried:
                tried = here
                here = self.along(here, step, factor)
                if self.ended is not None:
                    raise self._short(factor)
        return here

    def along(self, here: Point, step: float, factor: float) -> Point:
        """A point further on by arc length, no further than `factor`, where steps of the factor fail.

        Where the load falls, and the panel gives, the path has `ended`; where nothing is found it is `here`.
        """

        def enough(points: list[Point]) -> bool:
            last = points[-1].factor
            return last > min(here.factor + 4.0 * step, factor) or (len(points) > 1 and last < points[-2].factor)

        try:
            points = arc_length(self.newton, here, step, enough, most=30, longest=GROWN)
        except ModelError:
            return here
        *rising, last = points
        if rising and last.factor < rising[-1].factor:
            if not stable(self.equilibrium, last):  # beyond a maximum it gives: this is another part of the path
                self._keep_rising(rising[1:])
                return rising[-1]
            height, top = peak(self.newton, points)
            self._keep_rising(rising[1:-1])
            if all(top is not p for p in (here, *self.points)):
                self.keep(top)
            self.ended = Ended(height, "the load passes a maximum there", True)
            return here
        self._keep_rising(rising[1:])
        if last.factor > factor:
            found = self.newton.settle(last, factor)
            if found is None or found[0].factor != factor:
                return here
            last = found[0]
        self.keep(last)
        return last

    def _keep_rising(self, points: list[Point]) -> None:
        """Keeps points found by arc length that lie beyond all known ones."""
        for point in points:
            if point.factor > max(p.factor for p in self.points):
                self.keep(point)

    def _short(self, factor: float) -> ModelError:
        assert self.ended is not None
        return ModelError(
            f"the path ends at {self.ended.factor:.3g} of the load: {self.ended.why}",
            where=f"large deflection, asked for {factor:.3g}",
            do="expect the panel to snap there, or hold it better",
        )

    def keep(self, point: Point) -> None:
        """Adds a point to those known."""
        self.points.append(point)
        self.points.sort(key=lambda p: p.factor)
        if self.told is not None:
            self.told(point)


def _lost(works: list[float]) -> bool:
    """Whether the works left step by step after the first no longer fall."""
    past, left = works[1:-1], works[-1]
    return bool(past) and (left > RISE * min(past) or (len(past) > 3 and left > 0.5 * max(past[-3:])))


def _distance(a: Point, b: Point) -> float:
    """Length of the way of all displacements from a to b."""
    return float(np.linalg.norm(b.pose.u - a.pose.u))


def _parabola(a: Point, b: Point, c: Point) -> tuple[float, float]:
    """Greatest factor of the parabola over the way through three points, and the way there from a; bent downwards."""
    back, on = _distance(a, b), _distance(b, c)
    before, after = (b.factor - a.factor) / back, (c.factor - b.factor) / on
    bend = (after - before) / (back + on)
    slope = before - bend * back  # at a
    return a.factor - slope**2 / (4.0 * bend), -slope / (2.0 * bend)


def peak(newton: Newton, points: list[Point]) -> tuple[float, Point]:
    """The greatest factor of a path whose last three points go over it, and the nearest point found.

    Points are added where the parabola has its top until that moves by less than `FLAT`.
    """
    near = points[-3:]
    if len(near) < 3:
        return near[0].factor, near[0]
    top = max(near, key=lambda p: p.factor)
    for _ in range(REFINE):
        height, way = _parabola(*near)
        if abs(height - top.factor) <= FLAT * height:
            break
        start = near[0] if way < _distance(near[0], near[1]) else near[1]
        length = way if start is near[0] else way - _distance(near[0], near[1])
        arc = Arc(newton, start, near[1].pose.u - near[0].pose.u)
        try:
            found = arc.advance(max(length, 0.05 * _distance(near[0], near[2])))
        except ModelError:
            break
        before = top
        four = sorted([*near, found], key=lambda p: _distance(near[0], p))
        top = max(four, key=lambda p: p.factor)
        i = min(max(next(j for j, p in enumerate(four) if p is top), 1), 2)
        near = four[i - 1 : i + 2]
        if top is before:
            break
    return max(_parabola(*near)[0], top.factor), top


class Arc:
    """A path followed by its own length, from `start` on; `direction` (n_total,): the way come so far, None: upwards in
    the factor.
    """

    def __init__(self, newton: Newton, start: Point, direction: FloatArray | None = None) -> None:
        self.newton, self.points = newton, [start]
        eq = newton.equilibrium
        self._moving = np.setdiff1d(np.arange(eq.shell.n_total), eq.large.rotation_unknowns.ravel())
        self._previous = None if direction is None else direction[self._moving]
        self.length, self.count, self.halved = 0.0, 0, False

    def advance(self, length: float = 0.0, first: float = 0.0) -> Point:
        """The next point, `length` m on at most (or where the tangent adds `first` to the factor), halved where it must
        be.  Raises ModelError where nothing is found a thousandth of it further on.
        """
        newton, eq, here = self.newton, self.newton.equilibrium, self.points[-1]
        newton.next(here, [], False, True)
        tangent = newton.last
        u, mu, s = tangent.factor.solve(tangent.rate, tangent.row_rate, tangent.tail_rate)
        norm = float(np.linalg.norm(u[self._moving]))
        if not norm > 0.0:
            raise ModelError(
                f"at {here.factor:.3g} of the load more of it moves nothing", where="large deflection, by arc length"
            )
        turn = float(np.linalg.norm(u[eq.large.rotation_unknowns], axis=1).max())
        ahead = first or 1.0 if self._previous is None else float(u[self._moving] @ self._previous)
        scale = math.copysign(1.0, ahead)
        self.length = least = length or abs(first) * norm
        self.halved = False
        while True:
            change = scale * min(self.length / norm, REACH / max(turn, 1e-300))
            found = _plane(newton, here, (change * u, change * mu, change * s), change, self._moving)
            if found is not None:
                break
            self.length /= 2.0
            self.halved = True
            if self.length < 1e-3 * least:
                raise ModelError(
                    f"the path ends at {here.factor:.3g} of the load: no point of it was found further on",
                    where="large deflection, by arc length",
                )
            eq.forces(here)  # brings the elements back to where the step starts
        point, self.count = found
        self._previous = (point.pose.u - here.pose.u)[self._moving]
        self.points.append(point)
        return point


def arc_length(
    newton: Newton,
    start: Point,
    first: float,
    stop: Callable[[list[Point]], bool],
    most: int = 200,
    longest: float = math.inf,
) -> list[Point]:
    """Points of the path from `start` on, by arc length; the first step adds `first` to the factor.

    No step is longer than `longest` times the first.  Ends when `stop` of the points says so, or with `most` points.
    Raises ModelError where steps down to a thousandth of the first fail.
    """
    arc = Arc(newton, start)
    length = size = 0.0
    while len(arc.points) < most and not stop(arc.points):
        arc.advance(length, first)
        size = size or arc.length
        growth = 1.0 if arc.halved else min(2.0, math.sqrt(EASY / max(arc.count, 1)))
        length = min(arc.length * growth, longest * size)
    return arc.points


def _plane(
    newton: Newton, here: Point, step: tuple[FloatArray, FloatArray, FloatArray], change: float, moving: IntArray
) -> tuple[Point, int] | None:
    """The point of the path on the plane across a step from `here`, turned with the way come, and the number of
    factorisations; None: not found.

    The elements must be where the step starts.
    """
    eq, before = newton.equilibrium, newton.steps
    point = eq.taken(here, *step, here.factor + change)
    works = [math.inf]
    for _ in range(LONGEST):
        way = (point.pose.u - here.pose.u)[moving]
        try:
            stale = newton.next(point, works[1:], True, True)
            t = newton.last
            pairs = [
                np.stack(pair, axis=1)
                for pair in ((t.residual, t.rate), (t.row_miss, t.row_rate), (t.tail_miss, t.tail_rate))
            ]
            u, mu, s = t.factor.solve(*pairs)
        except ModelError:
            return None
        along = way @ u[moving]
        if along[1] == 0.0 or not np.isfinite(along).all():
            return None
        more = -float(along[0] / along[1])
        whole = [v[:, 0] + more * v[:, 1] for v in (u, mu, s)]
        left = abs(float(whole[0] @ (t.residual + more * t.rate)))
        works.append(left)
        after = eq.taken(point, whole[0], whole[1], whole[2], point.factor + more)
        wild = not math.isfinite(left) or newton.turned(point, after) > TURN
        if stale and (wild or _lost(works)):
            newton.forget()
            works.pop()
            continue
        if wild:
            return None
        same = bool((after.touching == point.touching).all())
        if same and newton.done(works, t, stale):
            return settled(after), newton.steps - before
        if _lost(works) or newton.steps - before >= MOST:
            return None
        if not same:
            works = [math.inf]
        point = after
    return None
