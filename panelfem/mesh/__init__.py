"""Surfaces of panels as curved triangles: outlines, imported surfaces, regions, and the true surface behind them."""

from panelfem.mesh.adapt import adapt, expected_elements
from panelfem.mesh.conform import mesh_outline, mesh_surface
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.importing import SurfaceMesh, clean_surface, read_surface
from panelfem.mesh.lift import FlatLift, Formula, Lift, TwoRadii
from panelfem.mesh.outline import Arc, Line, Outline, Ring
from panelfem.mesh.panelmesh import PanelMesh, Quality
from panelfem.mesh.region import Disc, EdgeBand, Ellipse, PlanPolygon, Region, Slot

__all__ = [
    "Arc",
    "CurvedMesh",
    "Disc",
    "EdgeBand",
    "Ellipse",
    "FlatLift",
    "Formula",
    "Lift",
    "Line",
    "Outline",
    "PanelMesh",
    "PlanPolygon",
    "Quality",
    "Region",
    "Ring",
    "Slot",
    "SurfaceMesh",
    "TwoRadii",
    "adapt",
    "clean_surface",
    "expected_elements",
    "mesh_outline",
    "mesh_surface",
    "read_surface",
]
