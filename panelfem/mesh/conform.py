"""The mesher: a first triangulation, a true surface and regions in, a conforming `PanelMesh` out.

Sizes first, then cuts: the surface is remeshed until it follows the size field, cut along the border of every region,
and remeshed once more with the borders kept; then the vertices go back onto borders, rim and surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import InputError, MeshError
from panelfem.mesh.cut import cut
from panelfem.mesh.fitted import FittedSurface
from panelfem.mesh.importing import SurfaceMesh
from panelfem.mesh.layout import Layout
from panelfem.mesh.lift import FlatLift, Lift
from panelfem.mesh.outline import Outline, OutlineRim
from panelfem.mesh.panelmesh import PanelMesh
from panelfem.mesh.region import Region
from panelfem.mesh.remesh import GROWTH, border_size, remesh, wanted_sizes
from panelfem.mesh.repair import improve
from panelfem.mesh.surface import LiftedSurface, Surface
from panelfem.mesh.topology import edge_lengths, edges_of

SMALLEST_SHARE = 2e-4
"""Smallest edge the mesher works with, as a share of the panel's diagonal (0.14 mm on a panel of 0.7 m)."""
MOST_ELEMENTS = 200_000
OFF_BORDER = 5e-3
"""Border vertices farther off than this share of the element size are told (a corner rounded off, crossings)."""


def mesh_outline(
    outline: Outline, lift: Lift | None = None, size: float = 0.03, regions: Sequence[Region] = ()
) -> PanelMesh:
    """Mesh an outline lifted to a surface: edge length `size` m, finer at the borders of `regions` and where it curves.

    Raises InputError or MeshError if the size does not suit the panel, or a region lies outside it or is too small.

    >>> from panelfem.mesh import Ring
    >>> plate = Outline(Ring.polygon([(0, 0), (0.4, 0), (0.4, 0.2), (0, 0.2)]))
    >>> mesh = mesh_outline(plate, FlatLift(), 0.05)
    >>> round(float(mesh.areas.sum()), 9), mesh.euler
    (0.08, 1)
    """
    shape = lift or FlatLift()
    _check_size(size, outline.width, outline.diagonal)
    rim = OutlineRim(outline, shape)
    surface = LiftedSurface(shape, rim, outline.diagonal)
    plan, triangles = plan_mesh(outline, size)
    vertices = surface.carry(np.column_stack([plan, np.zeros(len(plan))]))[0]
    return conform(vertices, triangles, np.zeros(len(triangles), np.int64), surface, size, regions)


def mesh_surface(surface: SurfaceMesh, size: float = 0.03, regions: Sequence[Region] = ()) -> PanelMesh:
    """Mesh an imported surface: edge length `size` m, finer at the borders of `regions` and where it curves.

    The true surface is fitted to the imported triangles once.  Raises as `mesh_outline` does.
    """
    _check_size(size, np.sqrt(surface.area), surface.diagonal)
    fitted = FittedSurface(surface.vertices, surface.triangles)
    return conform(surface.vertices, surface.triangles, surface.tags, fitted, size, regions, surface.notes)


def plan_mesh(outline: Outline, size: float) -> tuple[FloatArray, IntArray]:
    """A first triangulation of the outline in the plan: vertices (nv, 2) and triangles, anticlockwise."""
    import shapely
    from mmgpy import MmgMesh2D

    from panelfem.mesh.topology import compact

    points, ends, offset = [], [], 0
    for ring in outline.rings:
        plan = ring.divided(size)
        number = offset + np.arange(len(plan))
        points.append(plan)
        ends.append(np.stack([number, np.roll(number, -1)], axis=1))
        offset += len(plan)
    edges = np.concatenate(ends)
    mesh = MmgMesh2D()
    mesh.set_mesh_size(vertices=offset, edges=len(edges))
    mesh.set_vertices(np.concatenate(points))
    mesh.set_edges(edges.astype(np.int32))
    try:
        mesh.remesh(hmax=size, hausd=1e3 * outline.diagonal, verbose=-1, nosurf=1)
    except RuntimeError as error:
        raise MeshError(
            f"the outline could not be meshed: {error}", do="check for points that nearly coincide"
        ) from error
    x, triangles = mesh.get_vertices().copy(), mesh.get_triangles().astype(np.int64)
    centre = x[triangles].mean(axis=1)
    # the mesher fills cut-outs: what lies in them is dropped
    for i, corners in enumerate(points):
        within = shapely.contains_xy(shapely.Polygon(corners), centre[:, 0], centre[:, 1])
        kept = within if i == 0 else ~within
        triangles, centre = triangles[kept], centre[kept]
    x, triangles = compact(x, triangles)
    a, b, c = x[triangles[:, 0]], x[triangles[:, 1]], x[triangles[:, 2]]
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[area < 0] = triangles[area < 0][:, [0, 2, 1]]
    return x, triangles


def _check_size(size: float, width: float, diagonal: float) -> None:
    allowed = f"{1e3 * diagonal / 400:.3g} to {1e3 * width:.3g} mm"
    if not (np.isfinite(size) and size > 0.0):
        raise InputError(f"the element size is {size:g}", where="mesh", allowed=allowed)
    if size > width:
        raise InputError(
            f"the element size of {size * 1e3:.4g} mm is larger than the panel", where="mesh", allowed=allowed,
            do="give a smaller element size",
        )  # fmt: skip
    if size < diagonal / 400:
        raise InputError(
            f"the element size of {size * 1e3:.4g} mm would give a huge mesh", where="mesh", allowed=allowed,
            do="give a larger element size; regions have their own",
        )  # fmt: skip


def _check_regions(regions: Sequence[Region], vertices: FloatArray, smallest: float, longest: float) -> None:
    names = [region.name for region in regions]
    double = sorted({name for name in names if names.count(name) > 1})
    if double:
        raise InputError(f"two regions are called '{double[0]}'", where="mesh", do="give each its own name")
    for region in regions:
        where = f"region '{region.name}'"
        wanted = border_size(region)
        if not wanted > 0.0:
            raise InputError(f"its element size is {region.size:g}", where=where, allowed="a length above 0")
        if wanted < smallest:
            raise MeshError(
                f"the mesh cannot hold it: its border needs elements of {wanted * 1e3:.3g} mm", where=where,
                allowed=f"{smallest * 1e3:.3g} mm or more on this panel",
                do="make the region or its element size larger",
            )  # fmt: skip
        gap = float(region.distance(vertices).min())
        if gap > 2.0 * longest:
            raise MeshError(
                f"it lies outside the panel, {gap * 1e3:.4g} mm from the nearest point of it", where=where,
                allowed="a region that covers some of the panel", do="check its place and the axes it is given in",
            )  # fmt: skip


def conform(
    vertices: FloatArray,
    triangles: IntArray,
    tags: IntArray,
    surface: Surface,
    size: float,
    regions: Sequence[Region],
    notes: tuple[str, ...] = (),
) -> PanelMesh:
    """Mesh a surface known by a triangulation and its true shape.

    Borders of `tags` (ne,) are kept as lines of edges; those of `regions` lie exactly on the regions' borders.
    """
    diagonal = float(np.linalg.norm(np.ptp(vertices, axis=0)))
    smallest = SMALLEST_SHARE * diagonal
    longest = float(edge_lengths(vertices, edges_of(triangles).ends).max())
    _check_regions(regions, vertices, smallest, longest)
    layout = Layout(
        vertices=vertices,
        triangles=triangles,
        inside=np.zeros((len(triangles), 0), bool),
        tags=tags,
        pinned=pinned_corners(vertices, surface, diagonal),
        surface=surface,
        regions=tuple(regions),
        diagonal=diagonal,
    )
    layout = sized(layout, size, smallest)
    for region in regions:
        layout = cut(layout)
        if not layout.inside[:, -1].any():
            raise MeshError(
                "no element lies inside it: it is outside the panel or smaller than the mesh can hold",
                where=f"region '{region.name}'",
                allowed="a region that covers some of the panel",
                do="check its place and size",
            )
    return finished(settled(_renewed(layout, size, smallest)), notes)


def settled(layout: Layout) -> Layout:
    """Vertices brought home; one that could not without turning an element over often can once others have moved."""
    for share in (0.5, 0.7, 0.9):
        layout, arrived = layout.snapped(share=share)
        layout = improve(layout)
        if arrived.all():
            break
    return layout


def remesh_layout(layout: Layout, sizes: FloatArray, growth: float = GROWTH) -> Layout:
    """Remeshed to edge lengths `sizes` (nv,) m that grow by `growth` from one edge to the next; borders are kept.

    Raises MeshError if there would be too many elements.
    """
    marks = np.column_stack([layout.tags[:, None], layout.inside])
    kinds, mark = np.unique(marks, axis=0, return_inverse=True)
    held = layout.vertices[layout.pinned]
    x, triangles, mark = remesh(
        layout.vertices, layout.triangles, mark.ravel(), sizes, layout.pinned, layout.deviation, growth
    )
    if len(triangles) > MOST_ELEMENTS:
        raise MeshError(
            f"the mesh would have {len(triangles)} elements", allowed=f"up to {MOST_ELEMENTS}",
            do="give a larger element size to the panel or to its regions",
        )  # fmt: skip
    pinned = np.zeros(len(x), bool)
    if len(held):
        from scipy.spatial import cKDTree

        pinned[cKDTree(x).query(held)[1]] = True
    kind = kinds[mark]
    return replace(
        layout, vertices=x, triangles=triangles, tags=kind[:, 0], inside=kind[:, 1:].astype(bool), pinned=pinned
    )


def pinned_corners(vertices: FloatArray, surface: Surface, diagonal: float) -> BoolArray:
    """The vertices at the corners of the rim."""
    pinned = np.zeros(len(vertices), bool)
    corners = surface.rim.corners
    if len(corners):
        from scipy.spatial import cKDTree

        gap, at = (np.asarray(found) for found in cKDTree(vertices).query(corners))
        pinned[at[gap < 1e-7 * diagonal]] = True
    return pinned


def _renewed(layout: Layout, size: float, smallest: float) -> Layout:
    """Remeshed to the wanted sizes, borders kept."""
    return remesh_layout(layout, wanted_sizes(layout.vertices, size, smallest, layout.surface, layout.regions))


def sized(layout: Layout, size: float, smallest: float) -> Layout:
    """Remeshed until its edges follow the size field: what lies between coarse vertices is only seen on the way."""
    for _ in range(6):
        layout, _ = _renewed(layout, size, smallest).snapped()
        ends = layout.vertices[layout.edges.ends]
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        middle = wanted_sizes(ends.mean(axis=1), size, smallest, layout.surface, layout.regions)
        if (length > 1.7 * middle).sum() <= 0.002 * len(length):
            break
    return layout


def finished(layout: Layout, notes: tuple[str, ...]) -> PanelMesh:
    """The record, with what is worth saying about the mesh."""
    said = list(notes)
    for r, region in enumerate(layout.regions):
        if not layout.inside[:, r].any():
            raise MeshError(
                "the mesh cannot hold it: no element is left inside", where=f"region '{region.name}'",
                allowed="a region larger than its element size", do="give it a smaller element size",
            )  # fmt: skip
        at = layout.vertices[layout.vertex_on[:, r]]
        off = np.abs(region.distance(at))
        missed = off > OFF_BORDER * border_size(region)
        if missed.any():
            gap = float(off.max())
            said.append(
                f"region '{region.name}': {int(missed.sum())} vertices of its border are up to "
                f"{gap * 1e3:.2g} mm off it"
            )
    mesh = PanelMesh(
        layout.vertices,
        layout.triangles,
        {region.name: layout.inside[:, r].copy() for r, region in enumerate(layout.regions)},
        layout.tags,
        surface=layout.surface,
        regions=layout.regions,
    )
    return replace(mesh, notes=(*said, f"mesh: {mesh.quality}"))
