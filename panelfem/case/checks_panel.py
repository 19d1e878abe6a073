"""Contradictions in ``[panel]``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from panelfem.case.draft import Names, no_such_file, one_of
from panelfem.case.faults import nearest
from panelfem.case.plan import area_outside, place_outside, polygon_faults, ring
from panelfem.case.schema_area import Area, Polygon
from panelfem.case.schema_panel import Edge, Fastener, Outline, Panel, RadiiLift, Zone
from panelfem.errors import Fault

if TYPE_CHECKING:
    import shapely

_SPRINGS = ("in_plane_N_per_mm", "out_of_plane_N_per_mm", "tilt_Nm_per_rad", "twist_Nm_per_rad")
#: Endings of surface mesh files that can be read.
MESH_ENDINGS = (".vtu", ".vtk", ".msh", ".stl", ".obj", ".ply")


def unknown_fastener(name: str, names: Names, path: str) -> Iterator[Fault]:
    """A fault if the panel has no fastener of that name."""
    if name not in names.fasteners:
        what = f"the panel has no fastener {name!r}"
        yield Fault(path, what, ", ".join(names.fasteners) or "no fastener is given", nearest(name, names.fasteners))


def area_faults(area: Area | None, path: str, plan: shapely.Polygon | None, on_mesh: bool) -> Iterator[Fault]:
    """Faults of an area: it crosses itself, lies off the outline, or lacks its height on a mesh."""
    if area is None:
        return
    if isinstance(area, Polygon):
        yield from polygon_faults(area.corners_mm, f"{path}.corners_mm")
        if area.heights_mm is not None and area.heights_mm[0] >= area.heights_mm[1]:
            yield Fault(f"{path}.heights_mm", "runs from high to low", "[low, high]", "swap the two")
    elif on_mesh:
        yield from _height(area.centre_mm, f"{path}.centre_mm")
    if plan is not None:
        yield from area_outside(plan, area, path)


def place_faults(place: Sequence[float], path: str, plan: shapely.Polygon | None, on_mesh: bool) -> Iterator[Fault]:
    """Faults of a place: off the outline, or without its height on a mesh."""
    if on_mesh:
        yield from _height(place, path)
    if plan is not None:
        yield from place_outside(plan, place, path)


def _height(place: Sequence[float], path: str) -> Iterator[Fault]:
    if len(place) == 2:
        yield Fault(
            path,
            "has no height",
            "[x, y, z] on a panel given by a mesh file",
            "measure or read off z as well",
        )


def panel_faults(panel: Panel, names: Names, plan: shapely.Polygon | None, folder: Path) -> Iterator[Fault]:
    """Faults of a panel that is sound key by key."""
    on_mesh = panel.mesh is not None
    yield from one_of(panel, "panel", (("outline",), ("mesh",)), "what shape the panel has")
    if panel.outline is not None:
        yield from _outline(panel.outline)
    elif panel.lift is not None:
        what = "a lift without an outline: a mesh file has its own shape"
        yield Fault("panel.lift", what, "outline with lift, or mesh alone", "take the lift out")
    if isinstance(panel.lift, RadiiLift) and panel.lift.radius_x_mm is None and panel.lift.radius_y_mm is None:
        what = "neither radius is given"
        yield Fault("panel.lift.radius_x_mm", what, "radius_x_mm, radius_y_mm or both", 'give one, or kind = "flat"')
    if panel.mesh is not None:
        yield from no_such_file(
            panel.mesh.file, folder, "panel.mesh.file", "a surface mesh: " + ", ".join(MESH_ENDINGS)
        )
        if Path(panel.mesh.file).suffix.lower() not in MESH_ENDINGS:
            what = f"files ending in {Path(panel.mesh.file).suffix!r} are not read"
            yield Fault("panel.mesh.file", what, ", ".join(MESH_ENDINGS), "export the surface in one of these")
    if not (panel.fasteners or panel.edges or panel.held_areas):
        what = "nothing holds the panel: no load can be answered"
        yield Fault("panel.fasteners", what, "fasteners, edges or held_areas", "say what holds it")
    for i, zone in enumerate(panel.zones):
        yield from _zone(zone, f"panel.zones[{i}]", names, plan, on_mesh)
    for i, fastener in enumerate(panel.fasteners):
        yield from _fastener(fastener, f"panel.fasteners[{i}]", plan, on_mesh)
    for i, edge in enumerate(panel.edges):
        yield from _edge(edge, f"panel.edges[{i}]", plan, on_mesh)
    for i, held in enumerate(panel.held_areas):
        yield from area_faults(held.area, f"panel.held_areas[{i}].area", plan, on_mesh)
    for i, mass in enumerate(panel.masses):
        yield from area_faults(mass.area, f"panel.masses[{i}].area", plan, on_mesh)


def _outline(outline: Outline) -> Iterator[Fault]:
    corners = len(outline.corners_mm)
    for i, arc in enumerate(outline.arcs):
        if arc.after_corner > corners:
            what = f"there is no corner {arc.after_corner}"
            yield Fault(f"panel.outline.arcs[{i}].after_corner", what, f"1 to {corners}", "count the corners from 1")
        if arc.after_corner in [a.after_corner for a in outline.arcs[:i]]:
            what = f"the side after corner {arc.after_corner} is an arc already"
            yield Fault(f"panel.outline.arcs[{i}].after_corner", what, "one arc a side", "take one of the two out")
    yield from polygon_faults(ring(outline), "panel.outline.corners_mm")
    for i, hole in enumerate(outline.cut_outs):
        path = f"panel.outline.cut_outs[{i}]"
        yield from one_of(hole, path, (("corners_mm",), ("centre_mm", "diameter_mm")), "where the opening is")
        if hole.corners_mm is not None:
            yield from polygon_faults(hole.corners_mm, f"{path}.corners_mm")
        if (hole.centre_mm is None) != (hole.diameter_mm is None):
            lacking = "centre_mm" if hole.centre_mm is None else "diameter_mm"
            yield Fault(f"{path}.{lacking}", "is missing", "centre_mm with diameter_mm", f"write {lacking}")


def _zone(zone: Zone, path: str, names: Names, plan: shapely.Polygon | None, on_mesh: bool) -> Iterator[Fault]:
    ways = (("area",), ("near_edge_mm",), ("near_fasteners_mm",), ("mesh_tag",))
    yield from one_of(zone, path, ways, "where the zone is")
    yield from area_faults(zone.area, f"{path}.area", plan, on_mesh)
    if zone.mesh_tag is not None and not on_mesh:
        yield Fault(
            f"{path}.mesh_tag",
            "an outline has no tags",
            "with a mesh file",
            "say where the zone is in another way",
        )
    if zone.fasteners is not None and zone.near_fasteners_mm is None:
        yield Fault(f"{path}.fasteners", "means nothing here", "with near_fasteners_mm", "take it out")
    if zone.near_fasteners_mm is not None and not names.fasteners:
        what = "the panel has no fastener"
        yield Fault(f"{path}.near_fasteners_mm", what, "with panel.fasteners", "say where the zone is in another way")
    for name in zone.fasteners or ():
        yield from unknown_fastener(name, names, f"{path}.fasteners")


def _fastener(fastener: Fastener, path: str, plan: shapely.Polygon | None, on_mesh: bool) -> Iterator[Fault]:
    yield from place_faults(fastener.place_mm, f"{path}.place_mm", plan, on_mesh)
    yield from _hole(fastener, path, plan)
    stiffness = {key: getattr(fastener, key) for key in _SPRINGS}
    if fastener.hold != "springs":
        for key, value in stiffness.items():
            if value is not None:
                what = f'contradicts hold = "{fastener.hold}"'
                yield Fault(f"{path}.{key}", what, 'with hold = "springs"', 'take it out, or write hold = "springs"')
        return
    for key in _SPRINGS[:2]:
        if stiffness[key] is None:
            yield Fault(f"{path}.{key}", 'is missing with hold = "springs"', "0 to 1000000 N/mm", f"write {key}")
    if all(value is None or value.value == 0.0 for value in stiffness.values()) and stiffness[_SPRINGS[0]] is not None:
        yield Fault(f"{path}.hold", "all its stiffnesses are zero: it holds nothing", "one above zero", "state them")


def _hole(fastener: Fastener, path: str, plan: shapely.Polygon | None) -> Iterator[Fault]:
    """Faults of the hole of a fastener: half stated, larger than its washer, running into the edge."""
    hole = fastener.hole_diameter_mm
    if (hole is None) != (fastener.bearing_strength_MPa is None):
        key, other = ("hole_diameter_mm", "bearing_strength_MPa")[:: 1 if hole is None else -1]
        yield Fault(f"{path}.{key}", "is missing", f"with {other}", f"state both, or take {other} out")
    if hole is None:
        return
    if hole >= 2 * fastener.washer_radius_mm:
        what = "is no smaller than the washer over it"
        yield Fault(f"{path}.hole_diameter_mm", what, f"below {2 * fastener.washer_radius_mm:g} mm", "measure it again")
    if plan is not None:
        import shapely

        edge = plan.boundary.distance(shapely.Point(fastener.place_mm[:2]))
        if edge <= hole / 2:
            what = f"runs into the edge, which is {edge:.3g} mm from its middle"
            yield Fault(f"{path}.hole_diameter_mm", what, f"below {2 * edge:.3g} mm", "measure it again")


def _edge(edge: Edge, path: str, plan: shapely.Polygon | None, on_mesh: bool) -> Iterator[Fault]:
    yield from area_faults(edge.area, f"{path}.area", None if isinstance(edge.area, Polygon) else plan, on_mesh)
    if edge.area is not None and isinstance(edge.area, Polygon) and plan is not None:
        import shapely

        shape = shapely.Polygon(edge.area.corners_mm)
        if shape.is_valid and not plan.boundary.intersects(shape):
            what = "no part of the edge lies in this area"
            yield Fault(f"{path}.area.corners_mm", what, "an area over the edge", "measure it again")
    springs = edge.translation_N_per_mm2 > 0.0 or edge.rotation_Nm_per_rad_per_m > 0.0
    if edge.hold == "elastic" and not springs:
        what = 'is zero with hold = "elastic"'
        yield Fault(
            f"{path}.translation_N_per_mm2",
            what,
            "one stiffness above zero",
            "state it, or choose another hold",
        )
    if edge.hold != "elastic" and springs:
        key = "translation_N_per_mm2" if edge.translation_N_per_mm2 > 0.0 else "rotation_Nm_per_rad_per_m"
        what = f'contradicts hold = "{edge.hold}"'
        yield Fault(f"{path}.{key}", what, 'with hold = "elastic"', 'take it out, or write hold = "elastic"')
