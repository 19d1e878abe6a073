"""The outline in plan: whether a place or an area lies on the panel.  Lengths in mm, as in the file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from panelfem.case.schema_area import Area, Polygon
from panelfem.case.schema_panel import Outline
from panelfem.errors import Fault

if TYPE_CHECKING:
    import shapely

Point = tuple[float, float]


def arc_points(start: Point, through: Point, end: Point, step: float = math.radians(3.0)) -> list[Point]:
    """Points of the arc from `start` over `through` to just before `end`, `start` included; the chord if
    they are in line.

    >>> [(round(x, 6), round(y, 6)) for x, y in arc_points((1, 0), (0, 1), (-1, 0), math.radians(90))]
    [(1.0, 0.0), (0.0, 1.0)]
    """
    (ax, ay), (bx, by), (cx, cy) = start, through, end
    d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    if abs(d) < 1e-9 * max(math.dist(start, end), 1e-12) ** 2:
        return [start]
    a2, b2, c2 = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
    ux = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / d
    uy = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / d
    radius = math.dist((ux, uy), start)
    first = math.atan2(ay - uy, ax - ux)
    middle = (math.atan2(by - uy, bx - ux) - first) % (2 * math.pi)
    last = (math.atan2(cy - uy, cx - ux) - first) % (2 * math.pi)
    sweep = last if middle < last else last - 2 * math.pi
    n = max(2, math.ceil(abs(sweep) / step - 1e-9))
    turns = [first + sweep * i / n for i in range(n)]
    return [(ux + radius * math.cos(t), uy + radius * math.sin(t)) for t in turns]


def ring(outline: Outline) -> list[Point]:
    """The outline as a polygon, arcs cut into chords of 3°."""
    corners: list[Point] = [(c[0], c[1]) for c in outline.corners_mm]
    arcs = {arc.after_corner: (arc.through_mm[0], arc.through_mm[1]) for arc in outline.arcs}
    points: list[Point] = []
    for i, corner in enumerate(corners, 1):
        after = corners[i % len(corners)]
        points += arc_points(corner, arcs[i], after) if i in arcs else [corner]
    return points


def polygon_faults(corners: Sequence[Sequence[float]], path: str) -> Iterator[Fault]:
    """A fault if a polygon crosses itself or has no area."""
    import shapely
    from shapely.validation import explain_validity

    shape = shapely.Polygon(corners)
    if not shape.is_valid or shape.area == 0:
        what = f"the polygon crosses itself or has no area ({explain_validity(shape)})"
        yield Fault(path, what, "corners in order round the border", "put the corners in order")


def plan_of(outline: Outline) -> shapely.Polygon | None:
    """The panel in plan with its cut-outs; None if the outline is no polygon."""
    import shapely

    outer = shapely.Polygon(ring(outline))
    if not outer.is_valid or outer.area == 0:
        return None
    for hole in outline.cut_outs:
        if hole.corners_mm is not None and (inner := shapely.Polygon(hole.corners_mm)).is_valid:
            outer = outer.difference(inner)
        elif hole.centre_mm is not None and hole.diameter_mm is not None:
            outer = outer.difference(shapely.Point(hole.centre_mm).buffer(hole.diameter_mm / 2))
    return outer


def place_outside(plan: shapely.Polygon, place: Sequence[float], path: str) -> Iterator[Fault]:
    """A fault if a place is off the panel in plan by more than 0.1 mm."""
    import shapely

    if (far := plan.distance(shapely.Point(place[:2]))) > 0.1:
        x0, y0, x1, y1 = plan.bounds
        what = f"({place[0]:g}, {place[1]:g}) is {far:.3g} mm off the panel (or in a cut-out)"
        allowed = f"inside the outline, which spans x {x0:g} to {x1:g} and y {y0:g} to {y1:g} mm"
        yield Fault(path, what, allowed, "measure the place again, or mend the outline")


def area_outside(plan: shapely.Polygon, area: Area, path: str) -> Iterator[Fault]:
    """A fault if an area has its centre off the panel, or touches none of it."""
    import shapely

    if not isinstance(area, Polygon):
        yield from place_outside(plan, area.centre_mm, f"{path}.centre_mm")
    elif (shape := shapely.Polygon(area.corners_mm)).is_valid and plan.intersection(shape).area == 0:
        x0, y0, x1, y1 = plan.bounds
        allowed = f"an area over the outline, which spans x {x0:g} to {x1:g} and y {y0:g} to {y1:g} mm"
        yield Fault(
            f"{path}.corners_mm",
            "the area lies off the panel",
            allowed,
            "measure it again, or mend the outline",
        )
