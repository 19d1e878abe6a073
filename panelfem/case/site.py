"""The surface of a case and the regions its mesh must carry, collected before it is meshed once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.ground import Ground, LiftedGround, MeshedGround
from panelfem.case.regions import region_of, size_at, smallest_half_width
from panelfem.case.schema import CaseFile
from panelfem.case.schema_area import Area
from panelfem.case.schema_panel import FormulaLift, Panel, RadiiLift
from panelfem.case.schema_panel import Outline as OutlineKeys
from panelfem.errors import CaseError, Fault, InputError
from panelfem.mesh import (
    Arc,
    FlatLift,
    Formula,
    Lift,
    Line,
    Outline,
    PanelMesh,
    Region,
    Ring,
    TwoRadii,
    mesh_outline,
    mesh_surface,
    read_surface,
)

#: Element size away from detail, as a share of the square root of the area (a choice).
SHARE = 0.13


@dataclass
class Site:
    """A surface, and the regions gathered so far; `coarse` m is the element size away from detail."""

    ground: Ground
    coarse: float
    edge_lines: tuple[FloatArray, ...]
    mesher: Callable[[tuple[Region, ...], float], PanelMesh]
    middle: FloatArray
    regions: dict[str, Region] = field(default_factory=dict)

    def add(self, region: Region) -> str:
        """Keep a region for the mesh; its name.  Raises InputError if there is one of that name."""
        if region.name in self.regions:
            raise InputError("two regions of the mesh have this name", where=region.name, do="rename one of them")
        self.regions[region.name] = region
        return region.name

    def area(
        self, area: Area, name: str, path: str, grown: float = 0.0, share: float = 0.75, least: float = 0.0
    ) -> str:
        """Keep the region of an area grown by `grown` m, with elements a `share` of its half width at its
        border.
        """
        size = max(size_at(smallest_half_width(area, grown), self.coarse, share), least)
        return self.add(region_of(area, name, self.ground, path, size, grown))

    def mesh(self, file: str) -> PanelMesh:
        """The mesh with all regions; raises CaseError for places off the surface, and for regions that cover
        no element.
        """
        if self.ground.faults:
            raise CaseError(file, tuple(dict.fromkeys(self.ground.faults)))
        mesh = self.mesher(tuple(self.regions.values()), self.coarse)
        empty = [name for name in self.regions if not mesh.inside[name].any()]
        if empty:
            what = "covers no part of the panel"
            raise CaseError(
                file, tuple(Fault(name, what, "an area on the panel", "measure it again") for name in empty)
            )
        return mesh


def site_of(model: CaseFile, file: Path) -> Site:
    """The surface of a case; raises CaseError for a formula or a mesh file that cannot be used."""
    panel = model.panel
    wanted = model.settings.element_size_mm
    if panel.outline is not None:
        try:
            lift, outline = lift_of(panel), outline_of(panel.outline)
            lines = outline.edge_lines(lift, outer_only=False)
        except InputError as error:
            path = "panel.lift" if panel.lift is not None else "panel.outline"
            what = f"{error.what} ({error.where})" if error.where else error.what
            fault = Fault(path, what, error.allowed or "a surface over the whole outline", error.do or "mend it")
            raise CaseError(str(file), (fault,)) from error
        coarse = 1e-3 * wanted if wanted else SHARE * float(np.sqrt(outline.area))
        middle = np.concatenate(lines[:1]).mean(axis=0)
        return Site(
            LiftedGround(lift), coarse, lines,
            lambda regions, size: mesh_outline(outline, lift, size, regions),
            middle,
        )  # fmt: skip
    return _meshed(panel, file, wanted)


def _meshed(panel: Panel, file: Path, wanted: float | None) -> Site:
    if panel.mesh is None:
        raise CaseError(str(file), (Fault("panel", "has neither outline nor mesh", "one of the two", "write one"),))
    surface = read_surface(file.parent / panel.mesh.file, panel.mesh.unit, panel.mesh.normals_towards)
    coarse = 1e-3 * wanted if wanted else SHARE * float(np.sqrt(surface.area))
    return Site(
        MeshedGround(surface.vertices, surface.triangles), coarse, surface.edge_lines(),
        lambda regions, size: mesh_surface(surface, size, regions), surface.vertices.mean(axis=0),
    )  # fmt: skip


def lift_of(panel: Panel) -> Lift:
    """The lift of an outline, m."""
    match panel.lift:
        case RadiiLift(radius_x_mm=rx, radius_y_mm=ry, apex_mm=apex):
            x, y = (np.inf if radius is None else 1e-3 * radius for radius in (rx, ry))
            return TwoRadii(x, y, (1e-3 * apex[0], 1e-3 * apex[1]))
        case FormulaLift(z_mm=text):
            return Formula(text, 1e-3)
    return FlatLift()


def outline_of(keys: OutlineKeys) -> Outline:
    """The outline with its arcs and openings, m."""
    corners = [(1e-3 * c[0], 1e-3 * c[1]) for c in keys.corners_mm]
    arcs = {arc.after_corner: (1e-3 * arc.through_mm[0], 1e-3 * arc.through_mm[1]) for arc in keys.arcs}
    steps: list[Line | Arc] = []
    for i in range(1, len(corners) + 1):
        end = corners[i % len(corners)]
        steps.append(Arc(arcs[i], end) if i in arcs else Line(end))
    openings = []
    for hole in keys.cut_outs:
        if hole.corners_mm is not None:
            openings.append(Ring.polygon([(1e-3 * x, 1e-3 * y) for x, y in hole.corners_mm], hole.name))
        elif hole.centre_mm is not None and hole.diameter_mm is not None:
            centre = (1e-3 * hole.centre_mm[0], 1e-3 * hole.centre_mm[1])
            openings.append(Ring.circle(centre, 5e-4 * hole.diameter_mm, hole.name))
    return Outline(Ring(corners[0], tuple(steps)), tuple(openings))
