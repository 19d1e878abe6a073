"""From the areas of a case to mesh regions, each with the element size wanted at its border."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.ground import Ground
from panelfem.case.schema_area import Area, EllipseArea, Oval, Polygon, Rectangle, SlotArea
from panelfem.case.schema_area import Disc as DiscArea
from panelfem.errors import InputError
from panelfem.mesh import Disc, Ellipse, PlanPolygon, Region, Slot

Triple = tuple[float, float, float]


def region_of(area: Area, name: str, ground: Ground, path: str, size: float, grown: float = 0.0) -> Region:
    """The mesh region of an area grown by `grown` m all round; `size` m is the element size at its border."""
    if isinstance(area, Polygon):
        corners = 1e-3 * np.array(area.corners_mm, float)
        between = (
            None if area.heights_mm is None else (1e-3 * area.heights_mm[0] - grown, 1e-3 * area.heights_mm[1] + grown)
        )
        return PlanPolygon(name, _grown(corners, grown), size, between=between)
    place, normal = ground.put(area.centre_mm, f"{path}.centre_mm")
    match area:
        case DiscArea(diameter_mm=diameter):
            return Disc(name, place, 5e-4 * diameter + grown, size)
        case EllipseArea(length_mm=length, width_mm=width, along=along):
            axes = (5e-4 * length + grown, 5e-4 * width + grown)
            return Ellipse(name, place, normal, np.array(along, float), axes, size)
        case SlotArea(length_mm=length, width_mm=width, along=along):
            half_length, half_width = 5e-4 * length + grown, 5e-4 * width + grown
            return Slot(name, place, normal, np.array(along, float), half_length, half_width, size)
        case Rectangle(length_mm=length, width_mm=width, along=along):
            half = np.array([5e-4 * length + grown, 5e-4 * width + grown])
            return rectangle(name, place, normal, np.array(along, float), half, size)


def rectangle(
    name: str, place: FloatArray, normal: FloatArray, along: FloatArray, half: FloatArray, size: float
) -> PlanPolygon:
    """A rectangle with half lengths `half` (2,) m in the plane at `place` with `normal`; its length runs
    `along` (3,).

    It reaches its larger half length above and below that plane, so that the far side of a deep panel does
    not belong to it.
    """
    first = _laid(along, normal)
    second = np.cross(normal, first)
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    reach = float(half.max())
    return PlanPolygon(
        name,
        corners,
        size,
        cast(Triple, tuple(place)),
        cast(Triple, tuple(first)),
        cast(Triple, tuple(second)),
        (-reach, reach),
    )


def _laid(along: FloatArray, normal: FloatArray) -> FloatArray:
    """The unit direction (3,) across `normal` nearest to `along`; any, where that is the normal itself."""
    first = along - (along @ normal) * normal
    if np.linalg.norm(first) < 1e-6 * np.linalg.norm(along):
        first = np.cross(normal, [0.0, 1.0, 0.0] if abs(normal[1]) < 0.9 else [1.0, 0.0, 0.0])
    return np.asarray(first / np.linalg.norm(first))


def oval_of(
    area: Oval, ground: Ground, path: str, grown: float = 0.0
) -> tuple[FloatArray, FloatArray, tuple[float, float]]:
    """Centre (3,) m, unit direction (3,) of the first axis and semi-axes (m) of the ellipse an area, grown by `grown` m
    all round, counts as where it buckles: of a rectangle the one through its corners.

    A clamped plate buckles before any that it holds, so that ellipse is on the safe side: the rectangle takes 1.4 to
    1.9 times as much (measured: isotropic to E1/E2 = 20, 1 to 3 times as long as wide, pushed, pulled and sheared).
    """
    place, normal = ground.put(area.centre_mm, f"{path}.centre_mm")
    match area:
        case DiscArea(diameter_mm=diameter):
            along, axes = [1.0, 0.0, 0.0], (5e-4 * diameter + grown,) * 2
        case EllipseArea(length_mm=length, width_mm=width, along=along):
            axes = (5e-4 * length + grown, 5e-4 * width + grown)
        case Rectangle(length_mm=length, width_mm=width, along=along):
            axes = (np.sqrt(2.0) * (5e-4 * length + grown), np.sqrt(2.0) * (5e-4 * width + grown))
    return place, _laid(np.array(along, float), normal), (float(axes[0]), float(axes[1]))


def _grown(corners: FloatArray, by: float) -> FloatArray:
    if by == 0.0:
        return corners
    import shapely

    grown = shapely.Polygon(corners).buffer(by, join_style="mitre", mitre_limit=5.0)
    if grown.is_empty or not isinstance(grown, shapely.Polygon):
        raise InputError(f"nothing, or more than one piece, is left of a polygon whose border moves by {1e3 * by:g} mm")
    return np.array(grown.exterior.coords)[:-1]


def smallest_half_width(area: Area, grown: float = 0.0) -> float:
    """Half the smaller width of an area, m: what the mesh has to see.

    >>> smallest_half_width(DiscArea(shape="disc", centre_mm=[0.0, 0.0], diameter_mm=30.0))
    0.015
    """
    match area:
        case DiscArea(diameter_mm=diameter):
            return 5e-4 * diameter + grown
        case (
            EllipseArea(length_mm=length, width_mm=width)
            | Rectangle(length_mm=length, width_mm=width)
            | SlotArea(length_mm=length, width_mm=width)
        ):
            return 5e-4 * min(length, width) + grown
        case Polygon(corners_mm=corners):
            return 0.5 * _width(1e-3 * np.array(corners, float)) + grown


def _width(corners: FloatArray) -> float:
    """The least width of a polygon's convex hull over the directions of its sides, m."""
    sides = np.roll(corners, -1, axis=0) - corners
    sides = sides[np.linalg.norm(sides, axis=1) > 0]
    across = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.linalg.norm(sides, axis=1)[:, None]
    return float(np.ptp(corners @ across.T, axis=0).min())


def size_at(half_width: float, coarse: float, share: float = 0.75) -> float:
    """Element size at the border of a feature: a share of its half width, not below 1.5 mm, not above
    `coarse` m.

    >>> size_at(0.01, 0.05), size_at(0.001, 0.05), size_at(1.0, 0.05)
    (0.0075, 0.0015, 0.05)
    """
    return min(coarse, max(1.5e-3, share * half_width))


def centre_of(region: Region, inside_centroids: FloatArray) -> FloatArray:
    """A place (3,) m to name a region by: its centre, or the mean of its elements' centroids (n, 3)."""
    if isinstance(region, Disc | Ellipse | Slot):
        return np.asarray(region.centre, float)
    return np.asarray(inside_centroids.mean(axis=0))


__all__: Sequence[str] = ("centre_of", "oval_of", "rectangle", "region_of", "size_at", "smallest_half_width")
