"""A panel's outline in the plan: rings of straight lines and arcs, cut-outs included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError, MeshError
from panelfem.mesh.closest import on_segment
from panelfem.mesh.lift import FlatLift, Lift

Point = tuple[float, float]
CORNER_TURN = np.radians(15.0)
"""A ring that turns by more than this at a joint has a corner there (a choice: a 24-gon still passes for a circle)."""


@dataclass(frozen=True)
class Line:
    """A straight stretch from where the ring has got to, to `end`."""

    end: Point


@dataclass(frozen=True)
class Arc:
    """A circular arc from where the ring has got to, through `through`, to `end`."""

    through: Point
    end: Point


def _circle(a: FloatArray, b: FloatArray, c: FloatArray) -> tuple[FloatArray, float] | None:
    """Centre and radius of the circle through three points; None if they lie on a line."""
    u, v = b - a, c - a
    det = 2.0 * (u[0] * v[1] - u[1] * v[0])
    if abs(det) < 1e-9 * (u @ u + v @ v):
        return None
    uu, vv = u @ u, v @ v
    off = np.array([v[1] * uu - u[1] * vv, u[0] * vv - v[0] * uu]) / det
    return a + off, float(np.hypot(off[0], off[1]))


@dataclass(frozen=True)
class Ring:
    """A closed line: `start`, then lines and arcs one after the other; the last must end at `start`.

    >>> half_round = Ring((0.0, 0.0), (Line((1.0, 0.0)), Arc((0.5, 0.5), (0.0, 0.0))))
    >>> round(half_round.area, 12) == round(np.pi / 8, 12)
    True
    """

    start: Point
    steps: tuple[Line | Arc, ...]
    name: str = "outline"

    def __post_init__(self) -> None:
        _ = self.arcs
        _ = self.sampled

    @classmethod
    def polygon(cls, corners: Sequence[Point], name: str = "outline") -> Ring:
        """A ring of straight lines through `corners`, closed by itself."""
        if len(corners) < 3:
            raise InputError("fewer than three corners", where=name, allowed="three or more corners")
        points = [(float(x), float(y)) for x, y in corners]
        if points[0] == points[-1]:
            points.pop()
        return cls(points[0], tuple(Line(p) for p in (*points[1:], points[0])), name)

    @classmethod
    def circle(cls, centre: Point, radius: float, name: str = "outline") -> Ring:
        """A full circle, of two half circles."""
        if not (np.isfinite(radius) and radius > 0.0):
            raise InputError(f"the radius is {radius:g}", where=name, allowed="a finite length above 0")
        (x, y), r = centre, radius
        return cls((x + r, y), (Arc((x, y + r), (x - r, y)), Arc((x, y - r), (x + r, y))), name)

    @cached_property
    def arcs(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """All steps as arrays: starts (n, 2), ends (n, 2), centres (n, 2; nan for a line), radii (n,), sweeps (n,)."""
        at = np.array(self.start, float)
        rows: list[tuple[FloatArray, FloatArray, FloatArray, float, float]] = []
        for number, step in enumerate(self.steps, 1):
            end = np.array(step.end, float)
            if not (np.isfinite(at).all() and np.isfinite(end).all()):
                raise InputError("a point is not a number", where=f"{self.name}, step {number}")
            centre, radius, sweep = np.full(2, np.nan), np.inf, 0.0
            if isinstance(step, Arc):
                through = np.array(step.through, float)
                circle = _circle(at, through, end)
                if circle is None:
                    raise InputError(
                        "an arc's three points lie on a line or coincide",
                        where=f"{self.name}, step {number}",
                        allowed="a point off the chord (a full circle takes two arcs)",
                        do="use a line, or move the middle point",
                    )
                centre, radius = circle
                a0, a1, a2 = (np.arctan2(*(p - centre)[::-1]) for p in (at, through, end))
                sweep = (a2 - a0) % (2 * np.pi)
                if (a1 - a0) % (2 * np.pi) > sweep:
                    sweep -= 2 * np.pi
            elif np.hypot(*(end - at)) == 0.0:
                raise InputError(
                    "a line has no length", where=f"{self.name}, step {number}", do="remove the repeated point"
                )
            rows.append((at, end, centre, radius, float(sweep)))
            at = end
        if len(rows) < 2 or np.hypot(*(at - np.array(self.start))) > 1e-9:
            raise InputError(
                f"the ring does not close: it ends at ({at[0]:.6g}, {at[1]:.6g}) m",
                where=self.name,
                allowed=f"the last step ends at the start ({self.start[0]:.6g}, {self.start[1]:.6g}) m",
                do="add the closing line or arc",
            )
        columns = list(zip(*rows, strict=True))
        return (
            np.array(columns[0]), np.array(columns[1]), np.array(columns[2]), np.array(columns[3]), np.array(columns[4])
        )  # fmt: skip

    def _points(self, step: int, count: int) -> FloatArray:
        """`count` equal stretches of a step: their start points (count, 2)."""
        start, end, centre, radius, sweep = (column[step] for column in self.arcs)
        t = np.arange(count) / count
        if np.isinf(radius):
            return np.asarray(start + (end - start) * t[:, None])
        angle = np.arctan2(start[1] - centre[1], start[0] - centre[0]) + sweep * t
        return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))

    def divided(self, size: float, turn: float = np.radians(30.0)) -> FloatArray:
        """Points (n, 2) round the ring, no farther apart than `size` m, nor by more than `turn` rad on an arc."""
        start, end, _, radius, sweep = self.arcs
        chord = np.hypot(*(end - start).T)
        arc = np.isfinite(radius)
        length = np.where(arc, np.abs(sweep) * np.where(arc, radius, 0.0), chord)
        count = np.maximum(np.ceil(length / size - 1e-9), np.ceil(np.abs(sweep) / turn - 1e-9)).astype(int)
        return np.concatenate([self._points(i, max(int(n), 1)) for i, n in enumerate(count)])

    @cached_property
    def sampled(self) -> FloatArray:
        """The ring as a fine polygon (n, 2): arcs by 2°."""
        return self.divided(np.inf, np.radians(2.0))

    @cached_property
    def area(self) -> float:
        """Area inside, m², exact."""
        start, end, _, radius, sweep = self.arcs
        polygon = 0.5 * np.sum(start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0])
        arc = np.isfinite(radius)
        return float(abs(polygon + 0.5 * np.sum(radius[arc] ** 2 * (sweep[arc] - np.sin(sweep[arc])))))

    @cached_property
    def corners(self) -> FloatArray:
        """Joints (m, 2) at which the ring turns by more than `CORNER_TURN`."""
        start, end, _, radius, sweep = self.arcs
        chord = np.arctan2(*(end - start).T[::-1])
        half = np.where(np.isfinite(radius), sweep / 2, 0.0)
        turn = (chord - half) - np.roll(chord + half, 1)
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        return np.asarray(start[np.abs(turn) > CORNER_TURN])


@dataclass(frozen=True)
class Outline:
    """An outer ring and the rings of cut-outs in it, m.

    >>> plate = Outline(Ring.polygon([(0, 0), (0.4, 0), (0.4, 0.2), (0, 0.2)]), (Ring.circle((0.2, 0.1), 0.05, "cut"),))
    >>> round(plate.area, 9)
    0.072146018
    """

    outer: Ring
    cutouts: tuple[Ring, ...] = ()

    def __post_init__(self) -> None:
        from shapely import Polygon
        from shapely.validation import explain_validity

        solid: list[tuple[str, Polygon]] = []
        for ring in self.rings:
            polygon = Polygon(ring.sampled)
            if not polygon.is_valid or polygon.area == 0.0:
                raise MeshError(
                    f"the ring crosses or touches itself: {explain_validity(polygon)} (m)",
                    where=ring.name,
                    allowed="a ring that meets itself only where it closes",
                    do="check the order of its points",
                )
            solid.append((ring.name, polygon))
        outer = solid[0][1]
        for number, (name, hole) in enumerate(solid[1:], 1):
            if not outer.contains_properly(hole):
                raise MeshError(
                    "the cut-out reaches the edge of the outline or lies outside it",
                    where=name,
                    allowed="a cut-out wholly inside the outline",
                    do="draw the notch as part of the outline",
                )
            for other, polygon in solid[1:number]:
                if not hole.disjoint(polygon):
                    raise MeshError(f"the cut-out meets cut-out '{other}'", where=name, do="join the two into one ring")

    @property
    def rings(self) -> tuple[Ring, ...]:
        """The outer ring first."""
        return (self.outer, *self.cutouts)

    @property
    def area(self) -> float:
        """Plan area without the cut-outs, m²."""
        return self.outer.area - sum(ring.area for ring in self.cutouts)

    @property
    def width(self) -> float:
        """The smaller side of the box round the outline, m."""
        return float(np.ptp(self.outer.sampled, axis=0).min())

    @property
    def diagonal(self) -> float:
        """The diagonal of the box round the outline, m."""
        return float(np.hypot(*np.ptp(self.outer.sampled, axis=0)))

    def edge_lines(self, lift: Lift | None = None, *, outer_only: bool = True) -> tuple[FloatArray, ...]:
        """The boundary as closed polylines (m, 3) on the surface, finely divided, for an `EdgeBand`."""
        surface = lift or FlatLift()
        size = np.inf if isinstance(surface, FlatLift) else self.diagonal / 200
        lines = []
        for ring in self.rings[:1] if outer_only else self.rings:
            plan = ring.divided(size, np.radians(2.0))
            plan = np.vstack([plan, plan[:1]])
            lines.append(np.column_stack([plan, surface.height(plan)]))
        return tuple(lines)


class OutlineRim:
    """The boundary of a lifted outline: points are brought to the nearest line or arc in the plan, then lifted."""

    def __init__(self, outline: Outline, lift: Lift) -> None:
        self._lift = lift
        parts = [ring.arcs for ring in outline.rings]
        self._start, self._end, self._centre, self._radius, self._sweep = (
            np.concatenate([part[i] for part in parts]) for i in range(5)
        )
        plan = np.concatenate([ring.corners for ring in outline.rings])
        self.corners: FloatArray = np.column_stack([plan, lift.height(plan)])

    def _nearest(self, plan: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Nearest points (n, 2) and the radius (n,) there."""
        t = on_segment(plan[:, None], self._start, self._end)
        foot = self._start + t[..., None] * (self._end - self._start)
        for i in np.flatnonzero(np.isfinite(self._radius)):
            centre, radius, sweep = self._centre[i], self._radius[i], self._sweep[i]
            d = plan - centre
            first = np.arctan2(*(self._start[i] - centre)[::-1])
            angle = np.sign(sweep) * (np.arctan2(d[:, 1], d[:, 0]) - first) % (2 * np.pi)
            over = angle - abs(sweep)
            on = centre + radius * d / np.maximum(np.linalg.norm(d, axis=1), 1e-300)[:, None]
            ends = np.where((over > 2 * np.pi - angle)[:, None], self._start[i], self._end[i])
            foot[:, i] = np.where((over <= 0.0)[:, None], on, ends)
        gap = np.linalg.norm(foot - plan[:, None], axis=2)
        pick = np.argmin(gap, axis=1)
        return foot[np.arange(len(plan)), pick], self._radius[pick]

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The closest points in the plan, on the surface; they are their own feet."""
        plan = self._nearest(x[:, :2])[0]
        point = np.column_stack([plan, self._lift.height(plan)])
        return point, point

    def radius(self, x: FloatArray) -> FloatArray:
        """Radius in the plan."""
        return self._nearest(x[:, :2])[1]
