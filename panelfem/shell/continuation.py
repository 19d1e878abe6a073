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

WORK = 1e-12
"""A point is found when the next step would do less than this share of the path's work (its square root in motion)."""

MOST = 14
"""Newton steps to one point."""

EASY = 5
"""Newton steps up to which the next step may be larger."""

LEAST = 1.0 / 1024.0
"""Least step, as a share of the factor aimed at."""

TIGHT = 1.0 / 32.0
"""Failed step, as a share of the factor aimed at, below which the path is followed by arc length."""

TURN = 1.2
"""Greatest rotation (rad) of a node in one Newton step; more is not trusted."""

QUADRATIC = 1e-3
"""Fall of the work left in one step from which the next is sure to fall by as much."""

RISE = 4.0
"""Rise of the work left over the least so far at which Newton is held to be lost."""

REACH = 0.8
"""Greatest rotation (rad) of a node in the first step towards a factor; the factor is lowered to it."""


@dataclass(frozen=True)
class Ended:
    """Why a path ends at `factor`, in words."""

    factor: float
    why: str


@dataclass
class Newton:
    """Finds points of an `equilibrium`; `steps` counts the factorisations, `works` the work left step by step of the
    last point.
    """

    equilibrium: Equilibrium
    tolerance: float = WORK
    steps: int = 0
    works: list[float] = field(default_factory=list)
    size: float = 0.0

    def settle(self, start: Point, factor: float) -> tuple[Point, Tangent, int] | None:
        """The point at a factor from a point near it, the last tangent and the number of steps; None: not found.

        Where nodes would turn by more than `REACH` on the way, the point found lies short of the factor.
        """
        eq, point, works = self.equilibrium, start, list[float]()
        change = factor - start.factor
        for step in range(MOST):
            try:
                tangent = eq.tangent(point)
                self.steps += 1
                change = self._within(tangent, change)
                after, left = eq.stepped(point, tangent, change)
            except ModelError:
                return None
            change = 0.0
            works.append(left)
            self.works = works
            if not math.isfinite(left) or self._turned(point, after) > TURN:
                return None
            same = bool((after.touching == point.touching).all())
            if step and same and self._done(works, tangent):
                return settled(after), tangent, step + 1
            if _lost(works):
                return None
            if not same:
                works = [math.inf]
            point = after
        return None

    def _within(self, tangent: Tangent, change: float) -> float:
        """A change of factor, lowered until no node turns by more than `REACH` by the first order."""
        if not change:
            return change
        u, _, _ = tangent.factor.solve(tangent.rate, tangent.row_rate, tangent.tail_rate)
        most = float(np.linalg.norm(u[self.equilibrium.large.rotation_unknowns], axis=1).max())
        return math.copysign(min(abs(change), REACH / most), change) if most > 0.0 else change

    def _done(self, works: list[float], tangent: Tangent) -> bool:
        """Whether what is left after the step just taken is less than the tolerance."""
        size = max(self.size, tangent.work)
        left, allowed = works[-1], self.tolerance * max(size, 1e-300)
        fall = left / works[-2] if len(works) > 1 and 0.0 < works[-2] < math.inf else 1.0
        done = left <= allowed or (fall < QUADRATIC and fall * left <= allowed)
        if done:
            self.size = size
        return done

    def _turned(self, a: Point, b: Point) -> float:
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
    tangents: dict[float, int] = field(default_factory=dict)
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
            if step < TIGHT * factor and here is not tried:
                tried = here
                here = self._along(here, step, factor)
                if self.ended is not None:
                    raise self._short(factor)
        return here

    def _along(self, here: Point, step: float, factor: float) -> Point:
        """A point further on by arc length, no further than `factor`, where steps of the factor fail.

        Where the load falls the path has `ended`; where nothing is found it is `here`.
        """

        def enough(points: list[Point]) -> bool:
            last = points[-1].factor
            return last > min(here.factor + 4.0 * step, factor) or (len(points) > 1 and last < points[-2].factor)

        try:
            points = arc_length(self.newton, here, step, enough, most=30, longest=1.0)
        except ModelError:
            return here
        *rising, last = points
        if rising and last.factor < rising[-1].factor:
            for point in rising[1:-1]:
                self.keep(point)
            self.ended = Ended(_peak(points), "the load passes a maximum there")
            return here
        if last.factor > factor:
            found = self.newton.settle(last, factor)
            if found is None or found[0].factor != factor:
                return here
            last = found[0]
        self.keep(last)
        return last

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


def _peak(points: list[Point]) -> float:
    """Greatest factor of the parabola over the way through the last three points, the last lower than the middle."""
    if len(points) < 3:
        return points[0].factor
    a, b, c = points[-3:]
    back, on = (float(np.linalg.norm(q.pose.u - p.pose.u)) for p, q in ((a, b), (b, c)))
    before, after = (b.factor - a.factor) / back, (c.factor - b.factor) / on
    bend = (after - before) / (back + on)
    slope = before + bend * back
    return b.factor - slope**2 / (4.0 * bend)


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
    eq = newton.equilibrium
    points = [start]
    moving = np.setdiff1d(np.arange(eq.shell.n_total), eq.large.rotation_unknowns.ravel())
    length, previous, size = 0.0, None, 0.0
    while len(points) < most and not stop(points):
        here = points[-1]
        tangent = eq.tangent(here)
        newton.steps += 1
        u, mu, s = tangent.factor.solve(tangent.rate, tangent.row_rate, tangent.tail_rate)
        norm = float(np.linalg.norm(u[moving]))
        turn = float(np.linalg.norm(u[eq.large.rotation_unknowns], axis=1).max())
        if previous is None:
            length = size = abs(first) * norm
            scale = math.copysign(1.0, first)
        else:
            scale = math.copysign(1.0, float(u[moving] @ previous))
        found = None
        while found is None:
            change = scale * min(length / norm, REACH / max(turn, 1e-300))
            found = _plane(newton, here, (change * u, change * mu, change * s), change, moving)
            if found is None:
                length /= 2.0
                if length < 1e-3 * size:
                    raise ModelError(
                        f"the path ends at {here.factor:.3g} of the load: no point of it was found further on",
                        where="large deflection, by arc length",
                    )
                eq.forces(here)  # brings the elements back to where the step starts
        point, count = found
        previous = (point.pose.u - here.pose.u)[moving]
        length = min(length * min(2.0, math.sqrt(EASY / count)), longest * size)
        points.append(point)
    return points


def _plane(
    newton: Newton, here: Point, step: tuple[FloatArray, FloatArray, FloatArray], change: float, moving: IntArray
) -> tuple[Point, int] | None:
    """The point of the path on the plane across a step from `here`, turned with the way come; None: not found.

    The elements must be where the step starts.
    """
    eq = newton.equilibrium
    point = eq.taken(here, *step, here.factor + change)
    works = [math.inf]
    for count in range(1, MOST):
        way = (point.pose.u - here.pose.u)[moving]
        try:
            t = eq.tangent(point)
            newton.steps += 1
            pairs = [
                np.stack(pair, axis=1)
                for pair in (
                    (t.residual, t.rate),
                    (t.row_miss, t.row_rate),
                    (t.tail_miss, t.tail_rate),
                )
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
        if not math.isfinite(left) or newton._turned(point, after) > TURN:
            return None
        same = bool((after.touching == point.touching).all())
        if same and newton._done(works, t):
            return settled(after), count
        if _lost(works):
            return None
        if not same:
            works = [math.inf]
        point = after
    return None
