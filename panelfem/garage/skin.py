"""The undamaged skin of a panel as a tape measure meets it: points of it, its fixings, its edge.  Lengths in m."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import Fault, InputError
from panelfem.mesh.closest import TriangleSearch, on_segment, on_triangle

if TYPE_CHECKING:
    import shapely

    from panelfem.case.schema_panel import Panel
    from panelfem.mesh import Lift

#: A stretch of a curve on the skin: parameters (n,) from 0 to 1 to points (n, 3).
Arc = Callable[[FloatArray], FloatArray]


class Skin(Protocol):
    """What places are measured on."""

    @property
    def fixings(self) -> Mapping[str, FloatArray]:
        """The places (3,) of the fixings, by name."""

    @property
    def lines(self) -> tuple[FloatArray, ...]:
        """The edge and the edges of openings as polylines (m, 3)."""

    @property
    def middle(self) -> FloatArray:
        """A point of the panel near its middle, as `at` takes it."""

    def at(self, place: Sequence[float]) -> tuple[FloatArray, ...]:
        """The points (3,) of the skin at x, y or x, y, z; InputError if there is none."""

    def ring(self, centre: FloatArray, distance: float) -> tuple[Arc, ...]:
        """The points so far from a point of the skin, measured straight."""

    def holds(self, points: FloatArray) -> BoolArray:
        """Which of the points (n, 3) of the surface lie on the panel."""


def nearest_edge(skin: Skin, points: FloatArray) -> FloatArray:
    """The points (n, 3) of the edge, openings of the design included, nearest to `points` (n, 3)."""
    start = np.concatenate([line[:-1] for line in skin.lines])
    end = np.concatenate([line[1:] for line in skin.lines])
    t = on_segment(points[:, None], start, end)
    foot = start + t[..., None] * (end - start)
    pick = np.argmin(np.linalg.norm(foot - points[:, None], axis=2), axis=1)
    return np.asarray(foot[np.arange(len(points)), pick])


def _refuse(fault: Fault) -> InputError:
    return InputError(fault.what, where=fault.path, allowed=fault.allowed, do=fault.do)


@dataclass(frozen=True, eq=False)
class LiftedSkin:
    """An outline raised by its lift; `plan` is the panel in plan in mm, its openings left out."""

    lift: Lift
    plan: shapely.Polygon
    lines: tuple[FloatArray, ...]
    fixings: Mapping[str, FloatArray]

    def _raised(self, xy: FloatArray) -> FloatArray:
        """Points (n, 3) over plan points (n, 2); off the panel with the height of the edge, where lifts may end."""
        import shapely

        flat = np.array(xy, float)
        outside = ~shapely.contains_xy(self.plan, 1e3 * flat)
        if outside.any():
            edge = self.plan.boundary
            feet = shapely.line_interpolate_point(
                edge, shapely.line_locate_point(edge, shapely.points(1e3 * flat[outside]))
            )
            flat[outside] = 1e-3 * shapely.get_coordinates(feet)
        return np.column_stack([xy, self.lift.height(flat)])

    @property
    def middle(self) -> FloatArray:
        """The centroid in plan, or a point beside an opening that it lies in; x, y to 1 mm."""
        centre = self.plan.centroid if self.plan.contains(self.plan.centroid) else self.plan.representative_point()
        return 1e-3 * np.round([centre.x, centre.y])

    def at(self, place: Sequence[float]) -> tuple[FloatArray, ...]:
        """The one point over x and y; a stated z must agree with the surface."""
        from panelfem.case.ground import LiftedGround
        from panelfem.case.plan import place_outside

        stated = [1e3 * c for c in place]
        for fault in place_outside(self.plan, stated, "the place"):
            raise _refuse(fault)
        point = self._raised(np.array([place[:2]]))[0]
        if len(place) == 3:
            ground = LiftedGround(self.lift)
            ground.put(stated, "the place")
            for fault in ground.faults:
                raise _refuse(fault)
        return (point,)

    def _bisected(self, centre: FloatArray, distance: float, way: FloatArray) -> FloatArray:
        """Distances in plan (n,) along directions (n, 2) at which a steep skin is so far from a point of it."""
        low, high = np.zeros(len(way)), np.full(len(way), distance)
        for _ in range(48):
            middle = (low + high) / 2
            short = np.linalg.norm(self._raised(centre[:2] + middle[:, None] * way) - centre, axis=1) < distance
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        return high

    def ring(self, centre: FloatArray, distance: float) -> tuple[Arc, ...]:
        """One turn about the centre in plan, from +x anticlockwise."""

        def points(t: FloatArray) -> FloatArray:
            way = np.column_stack([np.cos(2 * np.pi * t), np.sin(2 * np.pi * t)])
            reach = np.full(len(t), distance)
            for _ in range(40):
                rise = self._raised(centre[:2] + reach[:, None] * way)[:, 2] - centre[2]
                now = np.sqrt(np.maximum(distance**2 - rise**2, 0.0))
                if np.abs(now - reach).max() < 1e-13:
                    return self._raised(centre[:2] + now[:, None] * way)
                reach = now
            return self._raised(centre[:2] + self._bisected(centre, distance, way)[:, None] * way)

        return (points,)

    def holds(self, points: FloatArray) -> BoolArray:
        """Inside the outline to 0.1 mm, and not in an opening."""
        import shapely

        return np.asarray(shapely.dwithin(self.plan, shapely.points(1e3 * points[:, :2]), 0.1))


@dataclass(frozen=True, eq=False)
class MeshedSkin:
    """A surface mesh; `corners` (ne, 3, 3) of its triangles."""

    corners: FloatArray
    lines: tuple[FloatArray, ...]
    fixings: Mapping[str, FloatArray]
    search: TriangleSearch

    @property
    def middle(self) -> FloatArray:
        """The point nearest to the mean of the triangles; x, y, z to 1 mm."""
        element, bary = self.search.nearest(self.corners.mean(axis=(0, 1))[None])
        return np.asarray(1e-3 * np.round(1e3 * (bary[0] @ self.corners[element[0]])))

    def at(self, place: Sequence[float]) -> tuple[FloatArray, ...]:
        """The nearest point to x, y, z, within `case.ground.SNAP`; all points over x, y."""
        from panelfem.case.ground import SNAP

        if len(place) == 3:
            element, bary = self.search.nearest(np.array([place]))
            point = bary[0] @ self.corners[element[0]]
            if (gap := float(np.linalg.norm(point - place))) > SNAP:
                raise InputError(
                    f"({', '.join(f'{1e3 * c:g}' for c in place)}) mm lies {1e3 * gap:.3g} mm off the surface",
                    where="the place", allowed=f"within {1e3 * SNAP:g} mm of the surface", do="measure it again",
                )  # fmt: skip
            return (point,)
        a, u, v = self.corners[:, 0], *(self.corners[:, i] - self.corners[:, 0] for i in (1, 2))
        w = np.array(place) - a[:, :2]
        det = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / det
            t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / det
            hit = (det != 0) & (s >= -1e-9) & (t >= -1e-9) & (s + t <= 1 + 1e-9)
        points = a[hit] + s[hit, None] * u[hit] + t[hit, None] * v[hit]
        if not len(points):
            low, high = 1e3 * self.corners.min(axis=(0, 1)), 1e3 * self.corners.max(axis=(0, 1))
            raise InputError(
                f"no part of the panel is at x, y = {1e3 * place[0]:g}, {1e3 * place[1]:g} mm", where="the place",
                allowed=f"x {low[0]:.4g} to {high[0]:.4g} and y {low[1]:.4g} to {high[1]:.4g} mm, on the surface",
                do="measure the place again, or give x, y, z",
            )  # fmt: skip
        return tuple(points)

    def ring(self, centre: FloatArray, distance: float) -> tuple[Arc, ...]:
        """The arcs in which a sphere cuts the triangles."""
        span = np.linalg.norm(self.corners - centre, axis=2)
        foot = np.einsum("ni,nij->nj", on_triangle(np.broadcast_to(centre, (len(span), 3)), self.corners), self.corners)
        met = (np.linalg.norm(foot - centre, axis=1) <= distance) & (span.max(axis=1) >= distance)
        return tuple(arc for triangle in self.corners[met] for arc in _arcs(triangle, centre, distance))

    def holds(self, points: FloatArray) -> BoolArray:
        """All of them: they come from the triangles."""
        return np.ones(len(points), bool)


def _arcs(triangle: FloatArray, centre: FloatArray, distance: float) -> list[Arc]:
    """The arcs inside a triangle (3, 3) of its circle at a distance from a point."""
    normal = np.cross(triangle[1] - triangle[0], triangle[2] - triangle[0])
    normal /= np.linalg.norm(normal)
    middle = centre - (centre - triangle[0]) @ normal * normal
    radius = np.sqrt(max(distance**2 - float((centre - middle) @ (centre - middle)), 0.0))
    u = (triangle[1] - triangle[0]) / np.linalg.norm(triangle[1] - triangle[0])
    v = np.cross(normal, u)
    flat = np.column_stack([(triangle - middle) @ u, (triangle - middle) @ v])
    cuts = [0.0]
    for p, q in zip(flat, np.roll(flat, -1, axis=0), strict=True):
        run = q - p
        roots = np.roots([run @ run, 2 * p @ run, p @ p - radius**2])
        for t in roots[np.isreal(roots)].real:
            if 0.0 <= t <= 1.0:
                x, y = p + t * run
                cuts.append(float(np.arctan2(y, x)) % (2 * np.pi))
    turns = np.array(sorted(cuts))
    ends = np.append(turns[1:], turns[0] + 2 * np.pi)
    half = (turns + ends) / 2
    inside = _within(flat, radius * np.column_stack([np.cos(half), np.sin(half)]))

    def arc(first: float, last: float) -> Arc:
        def points(t: FloatArray) -> FloatArray:
            angle = first + t[:, None] * (last - first)
            return np.asarray(middle + radius * (np.cos(angle) * u + np.sin(angle) * v))

        return points

    return [arc(a, b) for a, b, kept in zip(turns, ends, inside, strict=True) if kept]


def _within(triangle: FloatArray, points: FloatArray) -> BoolArray:
    """Which points (n, 2) lie inside an anticlockwise triangle (3, 2)."""
    inside = np.ones(len(points), bool)
    for p, q in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        run, way = q - p, points - p
        inside &= run[0] * way[:, 1] - run[1] * way[:, 0] >= 0.0
    return inside


def skin_of(panel: Panel, folder: Path) -> Skin:
    """The skin of the keys of a panel; a mesh file is looked for beside `folder`.

    Raises InputError (CaseError, MeshError) for a surface that cannot be used.
    """
    from panelfem.case.ground import LiftedGround, MeshedGround

    ground: LiftedGround | MeshedGround
    if panel.outline is not None:
        from panelfem.case.plan import plan_of
        from panelfem.case.site import lift_of, outline_of

        lift, plan = lift_of(panel), plan_of(panel.outline)
        if plan is None:
            raise InputError("the outline is no polygon", where=panel.name, do="mend the panel file")
        lines = outline_of(panel.outline).edge_lines(lift, outer_only=False)
        ground = LiftedGround(lift)
        fixings = {f.name: ground.put(f.place_mm, f.name)[0] for f in panel.fasteners}
        return LiftedSkin(lift, plan, lines, fixings)
    if panel.mesh is None:
        raise InputError("the panel has neither outline nor mesh", where=panel.name, do="mend the panel file")
    from panelfem.mesh import read_surface

    surface = read_surface(folder / panel.mesh.file, panel.mesh.unit, panel.mesh.normals_towards)
    ground = MeshedGround(surface.vertices, surface.triangles)
    fixings = {f.name: ground.put(f.place_mm, f.name)[0] for f in panel.fasteners}
    search = TriangleSearch(surface.vertices, surface.triangles)
    return MeshedSkin(search.corners, surface.edge_lines(), fixings, search)
