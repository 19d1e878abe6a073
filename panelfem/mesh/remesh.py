"""Surface triangulations remeshed to a size field (through mmgpy), and the size field itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import MeshError
from panelfem.mesh.fitted import CREASE
from panelfem.mesh.region import Narrow, Region
from panelfem.mesh.snap import gradient
from panelfem.mesh.surface import Surface

GROWTH = 0.35
"""Growth of the wanted size with the distance from a border (choice: about 1.4 from element to element)."""
CURVE_TURN = 0.6
"""Most an element edge may turn with the surface or its rim, rad (choice: 10 edges round a circle)."""
NARROW_SHARE = 0.5
"""Largest size at a border as a share of the region's radius or half-width (choice: about 12 edges round a hole)."""
PARALLEL = 0.85
"""Cosine above which two lines count as running beside each other (choice)."""
GAP_SHARE = (0.03, 0.12)
"""Gaps below the first share of the element size are taken for one line; the second bounds how fine a gap is meshed."""


def border_size(region: Region) -> float:
    """Size wanted at the border of a region, m, never too large to follow it."""
    limit = NARROW_SHARE * region.half_width if isinstance(region, Narrow) else np.inf
    return float(min(region.size, limit))


def surface_sizes(x: FloatArray, size: float, floor: float, surface: Surface) -> FloatArray:
    """Largest edge lengths (n,) m, `floor` to `size`, that follow the surface and its rim at points x (n, 3)."""
    h = np.full(len(x), size)
    with np.errstate(divide="ignore"):
        h = np.minimum(h, np.maximum(CURVE_TURN / surface.curvature(x), floor))
    foot = surface.rim.carry(x)[0]
    rim = np.maximum(CURVE_TURN * surface.rim.radius(x), floor)
    return np.asarray(np.minimum(h, rim + GROWTH * np.linalg.norm(foot - x, axis=1)))


def shape_sizes(x: FloatArray, smallest: float, surface: Surface, regions: Sequence[Region]) -> FloatArray:
    """Largest edge lengths (n,) m that follow the shape at points x (n, 3): surface, rim and narrow regions."""
    h = surface_sizes(x, np.inf, smallest, surface)
    for region in regions:
        if isinstance(region, Narrow):
            h = np.minimum(h, NARROW_SHARE * region.half_width + GROWTH * np.abs(region.distance(x)))
    return np.asarray(np.maximum(h, smallest))


def wanted_sizes(
    x: FloatArray, size: float, smallest: float, surface: Surface, regions: Sequence[Region]
) -> FloatArray:
    """Edge length wanted at points x (n, 3) on the surface, m, (n,)."""
    h = surface_sizes(x, size, max(smallest, size / 12), surface)
    level = [region.distance(x) for region in regions]
    for region, distance in zip(regions, level, strict=True):
        h = np.minimum(h, border_size(region) + GROWTH * np.abs(distance))
    for i in range(len(regions)):
        h = np.minimum(h, _gap_sizes(x, i, level, surface, regions))
    return np.asarray(np.maximum(h, smallest))


def _gap_sizes(
    x: FloatArray, i: int, level: Sequence[FloatArray], surface: Surface, regions: Sequence[Region]
) -> FloatArray:
    """Size wanted at x where the border of region i runs close beside the rim or another border, inf elsewhere.

    Close beside: nearly parallel, with a gap smaller than the element size; lines that cross, or are one, do not count.
    """
    h = np.full(len(x), np.inf)
    size = border_size(regions[i])
    at = np.flatnonzero(np.abs(level[i]) < 2.0 * size)
    if not len(at):
        return h
    step = 1e-3 * size
    slope = step * gradient(regions[i], x[at], step)
    ahead, behind = x[at] + slope, x[at] - slope

    def rim(p: FloatArray) -> FloatArray:
        return np.asarray(np.linalg.norm(surface.rim.carry(p)[0] - p, axis=1))

    others: list[tuple[float, Callable[[FloatArray], FloatArray], FloatArray]] = [(size, rim, rim(x[at]))]
    others += [
        (min(size, border_size(regions[j])), regions[j].distance, level[j][at]) for j in range(i + 1, len(regions))
    ]
    own = level[i][at]
    for least, distance, other in others:
        near = np.abs(other) < 2.0 * least
        if not near.any():
            continue
        rise = np.maximum(np.abs(distance(ahead[near]) - other[near]), np.abs(distance(behind[near]) - other[near]))
        gap = np.minimum(np.abs(own[near] - other[near]), np.abs(own[near] + other[near]))
        beside = (rise > PARALLEL * step) & (gap > GAP_SHARE[0] * least)
        wanted = np.maximum(1.2 * (np.abs(own[near]) + np.abs(other[near])), GAP_SHARE[1] * least)
        rows = at[near][beside]
        h[rows] = np.minimum(h[rows], wanted[beside])
    return h


def remesh(
    vertices: FloatArray,
    triangles: IntArray,
    marks: IntArray,
    sizes: FloatArray,
    pinned: BoolArray,
    deviation: float,
    growth: float = GROWTH,
) -> tuple[FloatArray, IntArray, IntArray]:
    """Remesh: new vertices, triangles and marks.

    Borders between different `marks` (ne,) and `pinned` vertices (nv,) are kept; `sizes` (nv,) edge lengths wanted;
    `deviation` m allowed between the old and the new surface; `growth` of the length from one edge to the next.
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
            hgrad=1.0 + growth, hausd=deviation, ar=float(np.degrees(CREASE)), verbose=-1,
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
