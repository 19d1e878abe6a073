"""Surface triangulations remeshed to a size field (through mmgpy), and the size field itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import MeshError
from panelfem.mesh.fitted import CREASE
from panelfem.mesh.region import Narrow, Region
from panelfem.mesh.surface import Surface

GROWTH = 0.35
"""Growth of the wanted size with the distance from a border (choice: about 1.4 from element to element)."""
CURVE_TURN = 0.6
"""Most an element edge may turn with the surface or its rim, rad (choice: 10 edges round a circle)."""
NARROW_SHARE = 0.5
"""Largest size at a border as a share of the region's radius or half-width (choice: about 12 edges round a hole)."""


def border_size(region: Region) -> float:
    """Size wanted at the border of a region, m, never too large to follow it."""
    limit = NARROW_SHARE * region.half_width if isinstance(region, Narrow) else np.inf
    return float(min(region.size, limit))


def wanted_sizes(
    x: FloatArray, size: float, smallest: float, surface: Surface, regions: Sequence[Region]
) -> FloatArray:
    """Edge length wanted at points x (n, 3) on the surface, m, (n,)."""
    h = np.full(len(x), size)
    floor = max(smallest, size / 12)
    with np.errstate(divide="ignore"):
        h = np.minimum(h, np.maximum(CURVE_TURN / surface.curvature(x), floor))
    foot = surface.rim.carry(x)[0]
    rim = np.maximum(CURVE_TURN * surface.rim.radius(x), floor)
    h = np.minimum(h, rim + GROWTH * np.linalg.norm(foot - x, axis=1))
    for region in regions:
        h = np.minimum(h, border_size(region) + GROWTH * np.abs(region.distance(x)))
    return np.maximum(h, smallest)


def remesh(
    vertices: FloatArray, triangles: IntArray, marks: IntArray, sizes: FloatArray, pinned: BoolArray, deviation: float
) -> tuple[FloatArray, IntArray, IntArray]:
    """Remesh: new vertices, triangles and marks.

    Borders between different `marks` (ne,) and `pinned` vertices (nv,) are kept; `sizes` (nv,) edge lengths wanted;
    `deviation` m allowed between the old and the new surface.
    """
    from mmgpy import MmgMeshS

    mesh = MmgMeshS()
    mesh.set_mesh_size(vertices=len(vertices), triangles=len(triangles))
    mesh.set_vertices(np.ascontiguousarray(vertices))
    mesh.set_triangles(np.ascontiguousarray(triangles, np.int32), np.ascontiguousarray(marks, np.int64) + 1)
    held = np.flatnonzero(pinned).astype(np.int32)
    if len(held):
        mesh.set_corners(held)
        mesh.set_required_vertices(held)
    mesh["metric"] = np.ascontiguousarray(sizes[:, None])
    try:
        mesh.remesh(
            hgrad=1.0 + GROWTH, hausd=deviation, ar=float(np.degrees(CREASE)), verbose=-1,
            hmin=0.4 * float(sizes.min()), hmax=1.5 * float(sizes.max()),
        )  # fmt: skip
    except RuntimeError as error:
        raise MeshError(
            f"the surface could not be remeshed: {error}",
            allowed="one clean surface whose elements are not much smaller than its details",
            do="ask for smaller elements, or mend the surface file",
        ) from error
    result, reference = mesh.get_triangles_with_refs()
    return mesh.get_vertices().copy(), result.astype(np.int64), np.asarray(reference, np.int64) - 1
