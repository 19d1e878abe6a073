"""From ``[panel]`` to the undamaged panel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.case.fields import Quantity
from panelfem.case.ground import unit
from panelfem.case.regions import region_of, size_at
from panelfem.case.schema_panel import Fastener as FastenerKeys
from panelfem.case.schema_panel import Panel as PanelKeys
from panelfem.case.site import Site
from panelfem.errors import CaseError, Fault
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Material
from panelfem.mesh import Disc, EdgeBand, PanelMesh
from panelfem.panel import EdgeSupport, Fastener, HeldArea, Panel, PointMass


@dataclass
class PanelPlan:
    """What of a panel is known before it is meshed."""

    zones: list[tuple[tuple[str, ...], int | None]] = field(default_factory=list)
    fasteners: list[tuple[FastenerKeys, FloatArray]] = field(default_factory=list)
    edges: list[EdgeSupport] = field(default_factory=list)
    held: list[HeldArea] = field(default_factory=list)
    masses: list[PointMass] = field(default_factory=list)


def plan_panel(keys: PanelKeys, site: Site) -> PanelPlan:
    """Gather the regions of the panel itself: washers, zones, held areas, masses, supported stretches of the
    edge.
    """
    plan = PanelPlan()
    for i, fastener in enumerate(keys.fasteners):
        place, _ = site.ground.put(fastener.place_mm, f"panel.fasteners[{i}].place_mm")
        plan.fasteners.append((fastener, place))
        radius = 1e-3 * fastener.washer_radius_mm
        site.add(Disc(f"washer {fastener.name}", place, radius, size_at(radius, site.coarse)))
    for i, zone in enumerate(keys.zones):
        name, path, names = f"zone {zone.name}", f"panel.zones[{i}]", []
        if zone.area is not None:
            names = [site.area(zone.area, name, f"{path}.area", least=site.coarse / 3)]
        elif zone.near_edge_mm is not None:
            width = 1e-3 * zone.near_edge_mm
            names = [site.add(EdgeBand(name, site.edge_lines, width, size_at(width, site.coarse, 1.0)))]
        elif zone.near_fasteners_mm is not None:
            radius = 1e-3 * zone.near_fasteners_mm
            for fastener, place in plan.fasteners:
                if zone.fasteners is None or fastener.name in zone.fasteners:
                    names.append(site.add(Disc(f"{name} {fastener.name}", place, radius, size_at(radius, site.coarse))))
        plan.zones.append((tuple(names), zone.mesh_tag))
    for i, edge in enumerate(keys.edges):
        region = None
        if edge.area is not None:
            path = f"panel.edges[{i}].area"
            region = region_of(edge.area, f"edge {edge.name}", site.ground, path, site.coarse)
        stiffness = (1e6 * edge.translation_N_per_mm2, edge.rotation_Nm_per_rad_per_m)
        plan.edges.append(EdgeSupport(edge.name, edge.hold, region, *stiffness))
    for i, held in enumerate(keys.held_areas):
        plan.held.append(HeldArea(held.name, site.area(held.area, f"held {held.name}", f"panel.held_areas[{i}].area")))
    for i, mass in enumerate(keys.masses):
        name = site.area(mass.area, f"mass {mass.name}", f"panel.masses[{i}].area")
        plan.masses.append(PointMass(mass.name, name, 1e-3 * mass.mass_g))
    return plan


def finish_panel(
    keys: PanelKeys, plan: PanelPlan, mesh: PanelMesh, materials: Mapping[str, Material], file: str
) -> Panel:
    """The undamaged panel on its mesh; raises CaseError for a zone whose tag no triangle has."""
    laminates = [Laminate(parse_stack(keys.stack, materials, keys.material))]
    laminate_of = np.zeros(len(mesh.triangles), np.int64)
    faults = []
    for i, (zone, (names, tag)) in enumerate(zip(keys.zones, plan.zones, strict=True)):
        inside: BoolArray = mesh.tags == tag if tag is not None else np.any([mesh.inside[n] for n in names], axis=0)
        if tag is not None and not inside.any():
            tags = ", ".join(str(t) for t in np.unique(mesh.tags)[:20])
            faults.append(
                Fault(
                    f"panel.zones[{i}].mesh_tag",
                    f"no triangle has the tag {tag}",
                    tags,
                    "choose one of these",
                )
            )
        laminate_of[inside] = len(laminates)
        laminates.append(Laminate(parse_stack(zone.stack, materials, zone.material or keys.material)))
    middles = mesh.vertices[mesh.boundary_edges].mean(axis=1)
    for i, edge in enumerate(plan.edges):
        if edge.region is not None and not (edge.region.distance(middles) < 0.0).any():
            what = "no stretch of the edge as long as an element lies in this area"
            faults.append(Fault(f"panel.edges[{i}].area", what, "an area over the edge", "make it larger"))
    if faults:
        raise CaseError(file, tuple(faults))
    return Panel(
        keys.name, mesh, tuple(laminates), laminate_of, unit(keys.zero_direction),
        tuple(_fastener(fastener, place, mesh) for fastener, place in plan.fasteners),
        tuple(plan.edges), tuple(plan.held), tuple(plan.masses),
    )  # fmt: skip


def _fastener(keys: FastenerKeys, place: FloatArray, mesh: PanelMesh) -> Fastener:
    """A fastener on the mesh: its normal is the mean of the skin's under the washer, by area."""
    under = mesh.inside[f"washer {keys.name}"]
    normal = mesh.areas[under] @ mesh.normals[under]
    match keys.hold:
        case "rigid":
            stiffness = (math.inf, math.inf, math.inf, math.inf)
        case "pinned":
            stiffness = (math.inf, math.inf, 0.0, 0.0)
        case "springs":
            stiffness = (
                1e3 * _value(keys.in_plane_N_per_mm), 1e3 * _value(keys.out_of_plane_N_per_mm),
                _value(keys.tilt_Nm_per_rad), _value(keys.twist_Nm_per_rad),
            )  # fmt: skip
    return Fastener(
        keys.name, place, normal / np.linalg.norm(normal), 1e-3 * keys.washer_radius_mm, *stiffness,
        rating_shear=keys.rating_shear_N, rating_pull=keys.rating_pull_N,
        hole_diameter=None if keys.hole_diameter_mm is None else 1e-3 * keys.hole_diameter_mm,
        bearing_strength=None if keys.bearing_strength_MPa is None else 1e6 * keys.bearing_strength_MPa.value,
    )  # fmt: skip


def _value(quantity: Quantity | None) -> float:
    return 0.0 if quantity is None else quantity.value
