"""Regions: parts of a panel with a signed distance, along whose borders the mesh has element edges.

A region is anything with a name, the element size wanted at its border and a distance that is negative inside, zero on
the border and positive outside; near the border it must grow like a length.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.mesh.closest import on_segment


class Region(Protocol):
    """What the mesher asks of a region."""

    @property
    def name(self) -> str:
        """What the region is called in `PanelMesh.inside`."""

    @property
    def size(self) -> float:
        """Element edge length wanted at the border, m."""

    def distance(self, x: FloatArray) -> FloatArray:
        """Signed distance (n,) of points x (n, 3) from the border, m, negative inside."""


@runtime_checkable
class Cornered(Protocol):
    """A region whose border has corners; each is where a straight line meets the surface."""

    def corners_and_axes(self) -> tuple[FloatArray, FloatArray]:
        """A point (m, 3) of each line and its unit direction (m, 3)."""


@runtime_checkable
class Narrow(Protocol):
    """A region that knows its smallest radius or half-width, so that the mesh can follow it whatever `size` says."""

    @property
    def half_width(self) -> float:
        """Smallest radius or half-width, m."""


def _positive(value: float, what: str, region: str) -> None:
    if not (np.isfinite(value) and value > 0.0):
        raise InputError(f"{what} is {value:g}", where=f"region '{region}'", allowed="a finite length above 0")


def _unit(vector: ArrayLike, what: str, region: str) -> FloatArray:
    result = np.asarray(vector, float)
    length = float(np.linalg.norm(result))
    if result.shape != (3,) or not np.isfinite(length) or length == 0.0:
        raise InputError(f"{what} is no direction", where=f"region '{region}'", allowed="three numbers, not all zero")
    return np.asarray(result / length)


def _tangent_frame(normal: FloatArray, direction: FloatArray, region: str) -> FloatArray:
    """Rows: `direction` seen along the normal, the way across it, and the normal, (3, 3)."""
    up = _unit(normal, "the normal", region)
    way = np.asarray(direction, float)
    first = _unit(way - (way @ up) * up, "the direction seen along the normal", region)
    return np.stack([first, np.cross(up, first), up])


@dataclass(frozen=True, eq=False)
class Disc:
    """What lies within `radius` of `centre` (3,), measured straight through space; the centre lies on the surface.

    >>> Disc("hole", np.zeros(3), 0.01, 0.002).distance(np.array([[0.0, 0, 0], [0.03, 0, 0]])).round(6).tolist()
    [-0.01, 0.02]
    """

    name: str
    centre: FloatArray
    radius: float
    size: float

    def __post_init__(self) -> None:
        _positive(self.radius, "the radius", self.name)
        _positive(self.size, "the element size", self.name)

    @property
    def half_width(self) -> float:
        """The radius."""
        return self.radius

    def distance(self, x: FloatArray) -> FloatArray:
        """Signed distance from the sphere about the centre."""
        return np.asarray(np.linalg.norm(x - np.asarray(self.centre, float), axis=-1) - self.radius)


@dataclass(frozen=True, eq=False)
class Ellipse:
    """An ellipse on the tangent plane at `centre` (3,) with `normal` (3,), carried to the surface along the normal.

    `direction` (3,) is the way of the first of the two `semi_axes`, projected on the tangent plane.  Only the near side
    of a deep panel belongs to it: farther than the larger semi-axis from the tangent plane is outside.  The distance is
    the first-order one, f/|grad f|: exact in its zero and sign, close to a length near the border.

    >>> slot = Ellipse("slot", np.zeros(3), np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), (0.02, 0.005), 0.002)
    >>> slot.distance(np.array([[0.02, 0, 0], [0, 0.005, 0], [0, 0, 0]])).round(9).tolist()
    [0.0, 0.0, -0.005]
    """

    name: str
    centre: FloatArray
    normal: FloatArray
    direction: FloatArray
    semi_axes: tuple[float, float]
    size: float

    def __post_init__(self) -> None:
        for axis in self.semi_axes:
            _positive(axis, "a semi-axis", self.name)
        _positive(self.size, "the element size", self.name)
        _ = self._frame

    @property
    def half_width(self) -> float:
        """The smallest radius of curvature of the border, but at least half the smaller semi-axis."""
        low, high = sorted(self.semi_axes)
        return max(low * low / high, 0.5 * low)

    @cached_property
    def _frame(self) -> FloatArray:
        return _tangent_frame(self.normal, self.direction, self.name)

    def distance(self, x: FloatArray) -> FloatArray:
        """Signed first-order distance from the ellipse."""
        local = (x - np.asarray(self.centre, float)) @ self._frame.T
        a, b = self.semi_axes
        level = np.hypot(local[..., 0] / a, local[..., 1] / b)
        slope = np.hypot(local[..., 0] / a**2, local[..., 1] / b**2)
        tiny = slope < 1e-9 / max(a, b)
        plan = np.where(tiny, -min(a, b), (level - 1.0) * level / np.where(tiny, 1.0, slope))
        return np.asarray(np.maximum(plan, np.abs(local[..., 2]) - max(a, b)))


@dataclass(frozen=True, eq=False)
class Slot:
    """A slot with round ends on the tangent plane at `centre` (3,) with `normal` (3,), carried to the surface along it.

    Tip to tip it is 2 `half_length` m long, along `direction` (3,) projected on the tangent plane, and 2 `half_width` m
    wide.  Farther than the half length from the tangent plane is outside.

    >>> slot = Slot("crack", np.zeros(3), np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), 0.02, 0.001, 0.002)
    >>> slot.distance(np.array([[0.02, 0, 0], [0.01, 0.003, 0], [0, 0, 0]])).round(9).tolist()
    [0.0, 0.002, -0.001]
    """

    name: str
    centre: FloatArray
    normal: FloatArray
    direction: FloatArray
    half_length: float
    half_width: float
    size: float

    def __post_init__(self) -> None:
        _positive(self.half_width, "the half width", self.name)
        _positive(self.half_length - 0.999 * self.half_width, "the length without its round ends", self.name)
        _positive(self.size, "the element size", self.name)
        _ = self._frame

    @cached_property
    def _frame(self) -> FloatArray:
        return _tangent_frame(self.normal, self.direction, self.name)

    def distance(self, x: FloatArray) -> FloatArray:
        """Signed distance from the slot in the tangent plane."""
        local = (x - np.asarray(self.centre, float)) @ self._frame.T
        beyond = np.maximum(np.abs(local[..., 0]) - (self.half_length - self.half_width), 0.0)
        plan = np.hypot(beyond, local[..., 1]) - self.half_width
        return np.asarray(np.maximum(plan, np.abs(local[..., 2]) - self.half_length))


@dataclass(frozen=True, eq=False)
class PlanPolygon:
    """What lies inside a polygon when seen along the normal of a plane.

    `corners` (n, 2) m in the plane through `origin` with the unit axes `first` and `second` (default: the xy plane).
    `between` limits it to heights (low, high) m above the plane, so that the other side of a deep panel is not caught.

    >>> square = PlanPolygon("zone", np.array([[0, 0], [0.1, 0], [0.1, 0.1], [0, 0.1]]), 0.01)
    >>> square.distance(np.array([[0.05, 0.02, 3.0], [0.2, 0.05, 0.0]])).round(9).tolist()
    [-0.02, 0.1]
    """

    name: str
    corners: FloatArray
    size: float
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    first: tuple[float, float, float] = (1.0, 0.0, 0.0)
    second: tuple[float, float, float] = (0.0, 1.0, 0.0)
    between: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        corners = np.asarray(self.corners, float)
        where = f"region '{self.name}'"
        _positive(self.size, "the element size", self.name)
        if corners.ndim != 2 or corners.shape[1:] != (2,) or len(corners) < 3 or not np.isfinite(corners).all():
            raise InputError("the polygon has no three corners", where=where, allowed="three or more points (x, y)")
        from shapely import Polygon
        from shapely.validation import explain_validity

        polygon = Polygon(corners)
        if not polygon.is_valid or polygon.area == 0.0:
            raise InputError(
                f"the polygon crosses itself or has no area: {explain_validity(polygon)}",
                where=where,
                allowed="a simple polygon, corners in order round it",
            )
        frame = self._frame
        if abs(frame[0] @ frame[1]) > 1e-9:
            raise InputError("the two axes of the plane are not at right angles", where=where)

    @cached_property
    def _frame(self) -> FloatArray:
        first = _unit(self.first, "the first axis", self.name)
        second = _unit(self.second, "the second axis", self.name)
        return np.stack([first, second, np.cross(first, second)])

    def corners_and_axes(self) -> tuple[FloatArray, FloatArray]:
        """The corners in space and, for each, the normal of the plane."""
        place = np.asarray(self.origin) + np.asarray(self.corners, float) @ self._frame[:2]
        return place, np.tile(self._frame[2], (len(place), 1))

    def distance(self, x: FloatArray) -> FloatArray:
        """Signed distance in the plane, or from the limits of height."""
        local = (x - np.asarray(self.origin)) @ self._frame.T
        flat, height = local[..., :2], local[..., 2]
        start = np.asarray(self.corners, float)
        end = np.roll(start, -1, axis=0)
        t = on_segment(flat[..., None, :], start, end)
        foot = start + t[..., None] * (end - start)
        gap = np.linalg.norm(flat[..., None, :] - foot, axis=-1).min(axis=-1)
        above = (start[:, 1] <= flat[..., 1, None]) != (end[:, 1] <= flat[..., 1, None])
        rise = np.where(end[:, 1] == start[:, 1], 1.0, end[:, 1] - start[:, 1])
        cross = start[:, 0] + (flat[..., 1, None] - start[:, 1]) * (end[:, 0] - start[:, 0]) / rise
        odd = (above & (flat[..., 0, None] < cross)).sum(axis=-1) % 2 == 1
        signed = np.where(odd, -gap, gap)
        if self.between is not None:
            signed = np.maximum(signed, np.maximum(self.between[0] - height, height - self.between[1]))
        return np.asarray(signed)


@dataclass(frozen=True, eq=False)
class EdgeBand:
    """What lies within `width` of the lines of an edge, straight through space.

    `lines`: polylines (m, 3) in m; a closed one repeats its first point.  `Outline.edge_lines` and
    `SurfaceMesh.edge_lines` give those of a whole panel boundary.

    >>> band = EdgeBand("band", (np.array([[0.0, 0, 0], [1.0, 0, 0]]),), 0.03, 0.01)
    >>> band.distance(np.array([[0.5, 0.0, 0.0], [0.5, 0.1, 0.0]])).round(9).tolist()
    [-0.03, 0.07]
    """

    name: str
    lines: tuple[FloatArray, ...]
    width: float
    size: float

    def __post_init__(self) -> None:
        _positive(self.width, "the width", self.name)
        _positive(self.size, "the element size", self.name)
        if not self.lines or any(np.ndim(line) != 2 or np.shape(line)[1] != 3 or len(line) < 2 for line in self.lines):
            raise InputError(
                "the edge has no line", where=f"region '{self.name}'", allowed="polylines of (m, 3) points"
            )

    @property
    def half_width(self) -> float:
        """The width of the band: it has one free border."""
        return self.width

    @cached_property
    def _segments(self) -> tuple[FloatArray, FloatArray, cKDTree]:
        start, end = [], []
        step = self.width
        for line in self.lines:
            for a, b in pairwise(line):
                n = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
                cuts = a + (b - a) * np.linspace(0.0, 1.0, n + 1)[:, None]
                start.append(cuts[:-1])
                end.append(cuts[1:])
        first, last = np.concatenate(start), np.concatenate(end)
        return first, last, cKDTree(0.5 * (first + last))

    def distance(self, x: FloatArray) -> FloatArray:
        """Distance from the lines less the width."""
        first, last, tree = self._segments
        longest = 0.5 * float(np.linalg.norm(last - first, axis=1).max())
        flat = x.reshape(-1, 3)
        k = min(12, len(first))
        far, index = tree.query(flat, k=k)
        far, index = np.asarray(far).reshape(len(flat), k), np.asarray(index).reshape(len(flat), k)
        t = on_segment(flat[:, None], first[index], last[index])
        gap = np.linalg.norm(flat[:, None] - first[index] - t[..., None] * (last - first)[index], axis=2).min(axis=1)
        doubt = np.flatnonzero((far[:, -1] < gap + longest) & (k < len(first)))
        if len(doubt):
            t = on_segment(flat[doubt][:, None], first, last)
            foot = first + t[..., None] * (last - first)
            gap[doubt] = np.linalg.norm(flat[doubt][:, None] - foot, axis=2).min(axis=1)
        return np.asarray(gap.reshape(x.shape[:-1]) - self.width)

    def corners_and_axes(self) -> tuple[FloatArray, FloatArray]:
        """Where the border turns sharply: on the bisector of every corner of the lines, kept if it is on the border."""
        place, axis = [], []
        for line in self.lines:
            closed = np.allclose(line[0], line[-1])
            points = line[:-1] if closed else line
            before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
            for i in range(0 if closed else 1, len(points) if closed else len(points) - 1):
                a, b = before[i] - points[i], after[i] - points[i]
                a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
                half = 0.5 * np.arccos(np.clip(a @ b, -1, 1))
                if half < np.radians(80.0):
                    inward = (a + b) / np.linalg.norm(a + b)
                    place.append(points[i] + self.width / np.sin(half) * inward)
                    axis.append(np.cross(a, b) / np.linalg.norm(np.cross(a, b)) if half > 1e-3 else inward)
        if not place:
            return np.zeros((0, 3)), np.zeros((0, 3))
        spot, way = np.array(place), np.array(axis)
        kept = np.abs(self.distance(spot)) < 0.05 * self.width
        return spot[kept], way[kept]
