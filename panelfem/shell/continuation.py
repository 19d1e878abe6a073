"""Equilibrium paths: Newton at a given factor with steps that shrink and grow, and past limit points by arc length.

A path starts from rest, first with the held loads alone.  A step that does not converge is halved; below the least step
the path is said to end there.  Past a limit point the way along the path is prescribed instead of the factor (a plane
across the step, turned as it goes).

Source: Riks 1979, Int. J. Solids Struct. 15:529, with updated planes, Ramm 1981 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from panelfem.arrays import FloatArray
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

TURN = 1.2
"""Greatest rotation (rad) of a node in one Newton step; more is not trusted."""


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
        """The point at a factor from a start near it, the last tangent and the number of steps; None: not found."""
        eq, point, works = self.equilibrium, start, list[float]()
        change = factor - start.factor
        worst = 0.0
        for step in range(MOST):
            try:
                tangent = eq.tangent(point)
                self.steps += 1
                after, left = eq.stepped(point, tangent, change if step == 0 else 0.0)
            except ModelError:
                return None
            if not math.isfinite(left) or self._turned(point, after) > TURN:
                return None
            works.append(left)
            self.works = works
            worst = max(worst, left)
            same = bool((after.touching == point.touching).all())
            self.size = max(self.size, tangent.work)
            if step and same and left <= self.tolerance * max(self.size, tangent.work, 1e-300):
                return settled(after), tangent, step + 1
            if step > 6 and left > 0.5 * max(works[-4:-1]) and same:
                return None
            point = after
        return None

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

    def held(self) -> Point:
        """The point with the held loads alone."""
        if not self.points:
            rest = self.equilibrium.rest()
            loads = self.equilibrium.loads[0]
            quiet = not loads.dead.any() and not loads.elements.any and not self.equilibrium.fixings.gap.any()
            if quiet and not (self.equilibrium.motions(rest) < 0.0).any():
                self.keep(rest)
            else:
                found = self.newton.settle(rest, 0.0)
                if found is None:
                    raise ModelError(
                        "the panel does not come to rest under its held loads alone",
                        where="large deflection",
                        do="check the held loads and the fixings",
                    )
                self.keep(found[0])
        return self.points[0]

    def at(self, factor: float) -> Point:
        """The point at a factor ≥ 0.  Raises ModelError, naming the factor reached, where the path ends before it."""
        here = max((p for p in (self.held(), *self.points) if p.factor <= factor), key=lambda p: p.factor)
        step = min(factor - here.factor, max(self.first * max(1.0, factor), here.factor * 0.75))
        while here.factor < factor:
            if self.ended is not None and self.ended.factor < factor and here.factor >= self.ended.factor * (1 - 1e-9):
                raise self._short(factor)
            step = min(step, factor - here.factor)
            if factor - here.factor < 1.3 * step:
                step = factor - here.factor
            target = factor if step == factor - here.factor else here.factor + step
            found = self.newton.settle(self._ahead(here, target), target)
            if found is None:
                step /= 2.0 if step > 4 * LEAST * factor else 2.0
                if step < LEAST * max(factor, 0.1):
                    self.ended = Ended(here.factor, "no equilibrium was found beyond it in small steps")
                    raise self._short(factor)
                continue
            here, _, count = found
            self.keep(here)
            if count <= EASY:
                step *= 2.0
        return here

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

    def _ahead(self, here: Point, factor: float) -> Point:
        """A guess at a factor: on the straight line through the last two points, where they are near enough."""
        eq = self.equilibrium
        before = [p for p in self.points if p.factor < here.factor]
        if not before or here.factor == 0.0:
            return here
        last = before[-1]
        ratio = (factor - here.factor) / (here.factor - last.factor)
        if ratio > 2.0 or not np.array_equal(here.touching, last.touching):
            return here
        step = ratio * eq.large.between(last.pose, here.pose)
        return replace(
            here,
            factor=factor,
            pose=eq.large.moved(here.pose, step),
            mu=here.mu + ratio * (here.mu - last.mu),
            push=np.maximum(here.push + ratio * (here.push - last.push), 0.0),
            way=here.way + ratio * (here.way - last.way),
        )


def arc_length(
    newton: Newton,
    start: Point,
    first: float,
    stop: Callable[[list[Point]], bool],
    most: int = 200,
    longest: float = math.inf,
) -> list[Point]:
    """Points of the path from `start` on, by arc length; the first step adds `first` to the factor.

    Ends when `stop` of the points says so.  Raises ModelError where steps down to a thousandth of the first fail.
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
        if not length:
            length = size = abs(first) * norm
            scale = math.copysign(1.0, first)
        if previous is not None:
            scale = math.copysign(1.0, float(u[moving] @ previous))
        found = None
        while found is None:
            change = scale * length / norm
            found = _plane(newton, here, (change * u, change * mu, change * s), change, moving)
            if found is None:
                length /= 2.0
                if length < 1e-3 * size:
                    raise ModelError(
                        f"the path ends at {here.factor:.3g} of the load: no point of it was found further on",
                        where="large deflection, by arc length",
                    )
        point, count = found
        previous = (point.pose.u - here.pose.u)[moving]
        length = min(length * min(2.0, math.sqrt(EASY / max(count, 1))), longest * size)
        points.append(point)
    return points


def _plane(
    newton: Newton, here: Point, step: tuple[FloatArray, FloatArray, FloatArray], change: float, moving: FloatArray
) -> tuple[Point, int] | None:
    """The point of the path on the plane across a step from `here`, turned with the way come; None: not found."""
    eq = newton.equilibrium
    eq.tangent(here)  # leaves the elements where they are for the first order of the strains
    point = eq.taken(here, *step, here.factor + change)
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
        after = eq.taken(point, whole[0], whole[1], whole[2], point.factor + more)
        if newton._turned(point, after) > TURN or not math.isfinite(left):
            return None
        newton.size = max(newton.size, t.work)
        same = bool((after.touching == point.touching).all())
        if same and left <= newton.tolerance * max(newton.size, 1e-300):
            return settled(after), count
        point = after
    return None
