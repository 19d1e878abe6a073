"""A surface mesh file read, cleaned and checked: welded, oriented, its gaps and folds told.

Reads what meshio reads: VTU, VTK, Gmsh, STL, OBJ, PLY.  A surface that is not one clean sheet is refused with places.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import InputError, MeshError
from panelfem.mesh.topology import compact, cross_products, directed_boundary, edges_of, loops, pieces, unit

WELD = 1e-6
"""Vertices nearer than this share of the diagonal are one (choice: single precision of an STL file is about 1e-7)."""
GAP = 2e-3
"""Boundary edges nearer to each other than this share of the diagonal are told as a gap (choice)."""
FOLD = np.radians(150.0)
"""Neighbouring triangles turned against each other by more than this are told as a fold (choice)."""
UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "inch": 25.4e-3}
"""Length of each unit, m (the inch by definition)."""
SUFFIXES = (".vtu", ".vtk", ".msh", ".stl", ".obj", ".ply")
_TAGS = ("gmsh:physical", "tag", "tags", "CellEntityIds", "medit:ref", "obj:group_ids")


@dataclass(frozen=True, eq=False)
class SurfaceMesh:
    """One clean, oriented sheet: `vertices` (nv, 3) m, `triangles` (ne, 3), `tags` (ne,), `notes` on what was found."""

    vertices: FloatArray
    triangles: IntArray
    tags: IntArray
    notes: tuple[str, ...] = ()

    @cached_property
    def diagonal(self) -> float:
        """Diagonal of the box round it, m."""
        return float(np.linalg.norm(np.ptp(self.vertices, axis=0)))

    @cached_property
    def area(self) -> float:
        """Area of the flat triangles, m²."""
        return float(0.5 * np.linalg.norm(cross_products(self.vertices, self.triangles), axis=1).sum())

    def edge_lines(self) -> tuple[FloatArray, ...]:
        """The boundary as closed polylines (m, 3), for an `EdgeBand`; none for a closed surface."""
        return tuple(self.vertices[np.append(loop, loop[0])] for loop in loops(directed_boundary(self.triangles)))


def read_surface(path: str | Path, unit: str = "mm", towards: ArrayLike | None = None) -> SurfaceMesh:
    """Read a surface mesh file whose coordinates are in `unit` (mm, cm, m, inch); the result is in metres.

    The sheet is turned so that its normals point `towards` (3,) on the whole; if None, the way most triangles of the
    file face.  Raises InputError if it cannot be read, MeshError if it is not one sheet that can be oriented.
    """
    import meshio

    file = Path(path)
    allowed = "a mesh file of triangles or quads: " + ", ".join(SUFFIXES)
    if unit not in UNITS:
        raise InputError(f"the unit '{unit}' is not known", where=str(file), allowed=", ".join(UNITS))
    if not file.is_file():
        raise InputError("there is no such surface file", where=str(file), allowed=allowed, do="check the path")
    if file.suffix.lower() not in SUFFIXES:
        raise InputError(f"surface files of kind '{file.suffix}' are not read", where=str(file), allowed=allowed)
    try:
        mesh = meshio.read(file)
    except SystemExit as error:
        raise InputError("the surface file cannot be read", where=str(file), allowed=allowed) from error
    except (meshio.ReadError, OSError, ValueError, KeyError, IndexError, AssertionError, TypeError) as error:
        raise InputError(
            f"the surface file cannot be read: {error or type(error).__name__}", where=str(file), allowed=allowed,
            do="export it again from the program it came from",
        ) from error  # fmt: skip
    triangles, tags, skipped = [], [], set()
    names = [name for name in _TAGS if name in mesh.cell_data]
    quads = 0
    for number, block in enumerate(mesh.cells):
        data = np.asarray(block.data, np.int64)
        kind = block.type
        tag = np.zeros(len(data), np.int64)
        if names:
            tag = np.asarray(mesh.cell_data[names[0]][number], float).reshape(len(data), -1)[:, 0].astype(np.int64)
        if kind.startswith("triangle"):
            triangles.append(data[:, :3])
            tags.append(tag)
        elif kind.startswith("quad"):
            quads += len(data)
            triangles.append(_split_quads(np.asarray(mesh.points, float), data[:, :4]))
            tags.append(np.repeat(tag, 2))
        elif kind not in ("vertex", "line", "line3"):
            skipped.add(kind)
    if not triangles:
        found = ", ".join(sorted(skipped)) or "none"
        raise MeshError(
            f"the file holds no triangles or quads (cells found: {found})", where=str(file), allowed=allowed
        )
    points = np.asarray(mesh.points, float)
    if points.shape[1] == 2:
        points = np.column_stack([points, np.zeros(len(points))])
    notes = [f"surface file {file.name}: {sum(map(len, triangles))} triangles read"]
    if quads:
        notes.append(f"{quads} quadrilaterals were split into triangles")
    if skipped:
        notes.append(f"cells of kind {', '.join(sorted(skipped))} were left out")
    if names:
        notes.append(f"tags were taken from '{names[0]}'")
    clean = clean_surface(
        points * UNITS[unit], np.concatenate(triangles), np.concatenate(tags), towards, where=str(file)
    )
    return SurfaceMesh(clean.vertices, clean.triangles, clean.tags, (*notes, *clean.notes))


def _split_quads(points: FloatArray, quads: IntArray) -> IntArray:
    """Two triangles a quad, along its shorter diagonal."""
    a, b, c, d = (points[quads[:, i]] for i in range(4))
    short = np.linalg.norm(c - a, axis=1) <= np.linalg.norm(d - b, axis=1)
    one = np.where(short[:, None], quads[:, [0, 1, 2]], quads[:, [0, 1, 3]])
    two = np.where(short[:, None], quads[:, [0, 2, 3]], quads[:, [1, 2, 3]])
    return np.asarray(np.stack([one, two], axis=1).reshape(-1, 3))


def _at(point: FloatArray) -> str:
    return "({:.1f}, {:.1f}, {:.1f}) mm".format(*(1e3 * point))


def clean_surface(
    vertices: FloatArray,
    triangles: IntArray,
    tags: IntArray | None = None,
    towards: ArrayLike | None = None,
    *,
    where: str = "surface",
) -> SurfaceMesh:
    """Weld, drop, orient (see `read_surface`) and check a triangle soup; vertices (nv, 3) in m.

    Raises MeshError for points that are no numbers, edges with three or more triangles, a sheet that cannot be
    oriented, and more than one piece.
    """
    marks = np.zeros(len(triangles), np.int64) if tags is None else tags
    if not np.isfinite(vertices[np.unique(triangles)]).all():
        raise MeshError("a vertex is no number", where=where, do="export the surface again")
    diagonal = float(np.linalg.norm(np.ptp(vertices[np.unique(triangles)], axis=0)))
    notes: list[str] = []
    vertices, triangles, welded = _weld(vertices, triangles, WELD * diagonal)
    if welded:
        notes.append(f"{welded} duplicate vertices were welded (nearer than {WELD * diagonal * 1e3:.2g} mm)")
    triangles, marks, dropped, twins = _drop(vertices, triangles, marks, WELD * diagonal)
    if dropped:
        notes.append(f"{dropped} triangles without area were dropped")
    if twins:
        notes.append(f"{twins} triangles that were there twice were dropped")
    if not len(triangles):
        raise MeshError("no triangle has any area", where=where, do="export the surface again")
    vertices, triangles = compact(vertices, triangles)
    _refuse_branches(vertices, triangles, where)
    triangles, flipped = _orient(vertices, triangles, where)
    if flipped:
        notes.append(f"{flipped} triangles were turned to face the way of the others")
    _refuse_pieces(vertices, triangles, where, diagonal)
    if towards is not None:
        facing = float(cross_products(vertices, triangles).sum(axis=0) @ np.asarray(towards, float))
        if facing < 0.0:
            triangles = triangles[:, [0, 2, 1]]
            notes.append("the whole sheet was turned to face the way asked for")
    vertices, triangles, parted = _part_pinches(vertices, triangles)
    if parted:
        notes.append(f"{parted} vertices at which the sheet only touched itself were parted")
    surface = SurfaceMesh(vertices, triangles, marks)
    notes += _gaps(surface) + _folds(surface)
    rings = len(loops(directed_boundary(triangles)))
    notes.append(f"one sheet of {len(triangles)} triangles, {surface.area:.4g} m², {rings} boundary lines")
    return SurfaceMesh(vertices, triangles, marks, tuple(notes))


def _weld(vertices: FloatArray, triangles: IntArray, tolerance: float) -> tuple[FloatArray, IntArray, int]:
    """Vertices nearer than the tolerance become the first of them."""
    pairs = cKDTree(vertices).query_pairs(tolerance, output_type="ndarray")
    if not len(pairs):
        return vertices, triangles, 0
    n = len(vertices)
    graph = csr_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    first = np.full(count, n)
    np.minimum.at(first, label, np.arange(n))
    return vertices, first[label][triangles], n - int(count)


def _drop(
    vertices: FloatArray, triangles: IntArray, tags: IntArray, tolerance: float
) -> tuple[IntArray, IntArray, int, int]:
    """Without triangles that have a repeated vertex or no height, and without second copies."""
    a, b, c = triangles.T
    distinct = (a != b) & (b != c) & (c != a)
    area = np.linalg.norm(cross_products(vertices, triangles), axis=1)
    corner = vertices[triangles]
    longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
    kept = distinct & (area > tolerance * 1e-2 * longest)
    dropped = int((~kept).sum())
    triangles, tags = triangles[kept], tags[kept]
    _, first = np.unique(np.sort(triangles, axis=1), axis=0, return_index=True)
    twins = len(triangles) - len(first)
    first = np.sort(first)
    return triangles[first], tags[first], dropped, twins


def _refuse_branches(vertices: FloatArray, triangles: IntArray, where: str) -> None:
    edges = edges_of(triangles)
    many = np.flatnonzero(edges.count > 2)
    if len(many):
        at = vertices[edges.ends[many[0]]].mean(axis=0)
        raise MeshError(
            f"{len(many)} edges have three or more triangles, the first at {_at(at)}", where=where,
            allowed="a single sheet: every edge has one or two triangles",
            do="export one skin only, without ribs, flanges or the second face of a thick solid",
        )  # fmt: skip


def _orient(vertices: FloatArray, triangles: IntArray, where: str) -> tuple[IntArray, int]:
    """All triangles the same way round as the greater part of them."""
    edges = edges_of(triangles)
    pairs = triangles[:, [[0, 1], [1, 2], [2, 0]]]
    forward = pairs[:, :, 0] < pairs[:, :, 1]
    inner = np.flatnonzero(edges.count == 2)
    order = np.argsort(edges.of.ravel(), kind="stable")
    start = np.searchsorted(edges.of.ravel()[order], inner)
    i, j = order[start], order[start + 1]
    agree = forward.ravel()[i] != forward.ravel()[j]
    e, f = i // 3, j // 3
    ne = len(triangles)
    # each triangle twice, as it is and turned: neighbours connect the copies that agree
    turn = np.where(agree, 0, ne)
    rows = np.concatenate([e, e + ne])
    columns = np.concatenate([f + turn, np.where(agree, f + ne, f)])
    graph = csr_array((np.ones(len(rows)), (rows, columns)), shape=(2 * ne, 2 * ne))
    label = connected_components(graph, directed=False)[1]
    both = np.flatnonzero(label[:ne] == label[ne:])
    if len(both):
        at = vertices[triangles[both[0]]].mean(axis=0)
        raise MeshError(
            f"the sheet has one side only (like a Möbius band), seen at {_at(at)}", where=where,
            allowed="a surface with two sides", do="cut or mend the surface where it is joined to itself",
        )  # fmt: skip
    piece = pieces(triangles)
    flip = np.zeros(ne, bool)
    for number in range(int(piece.max()) + 1):
        own = np.flatnonzero(piece == number)
        turned = label[own] != label[own[0]]
        if 2 * turned.sum() > len(own):
            turned = ~turned
        flip[own] = turned
    result = triangles.copy()
    result[flip] = result[flip][:, [0, 2, 1]]
    return result, int(flip.sum())


def _refuse_pieces(vertices: FloatArray, triangles: IntArray, where: str, diagonal: float) -> None:
    piece = pieces(triangles)
    n = int(piece.max()) + 1
    if n == 1:
        return
    area = np.bincount(piece, np.linalg.norm(cross_products(vertices, triangles), axis=1))
    small = int(np.argsort(-area)[1])
    at = vertices[triangles[piece == small]].mean(axis=(0, 1))
    big = triangles[piece == int(np.argmax(area))]
    gap = np.asarray(cKDTree(vertices[np.unique(big)]).query(vertices[np.unique(triangles[piece == small])])[0])
    raise MeshError(
        f"the surface is in {n} pieces; the second largest lies about {_at(at)}, "
        f"{gap.min() * 1e3:.3g} mm from the largest",
        where=where, allowed="one connected sheet (vertices within "
        f"{WELD * diagonal * 1e3:.2g} mm of each other are joined)",
        do="join the pieces, or give each panel its own file",
    )  # fmt: skip


def _part_pinches(vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray, int]:
    """A vertex at which fans of triangles meet without sharing an edge becomes one vertex a fan."""
    from panelfem.mesh.fitted import split_corners

    edges = edges_of(triangles)
    corner = split_corners(triangles, np.zeros(len(edges.ends), bool))
    n = int(corner.max()) + 1
    extra = n - len(np.unique(triangles))
    if not extra:
        return vertices, triangles, 0
    at = np.zeros(n, np.int64)
    at[corner.ravel()] = triangles.ravel()
    return vertices[at], corner, extra


def _gaps(surface: SurfaceMesh) -> list[str]:
    """Boundary edges that run close to other boundary edges they share no vertex with."""
    boundary = directed_boundary(surface.triangles)
    if len(boundary) < 2:
        return []
    middle = surface.vertices[boundary].mean(axis=1)
    a, b = surface.vertices[boundary[:, 0]], surface.vertices[boundary[:, 1]]
    limit = GAP * surface.diagonal
    k = min(6, len(boundary))
    _, near = cKDTree(middle).query(middle, k=k)
    from panelfem.mesh.closest import on_segment

    t = on_segment(middle[:, None], a[near], b[near])
    gap = np.linalg.norm(middle[:, None] - a[near] - t[..., None] * (b - a)[near], axis=2)
    shared = (boundary[:, None, :, None] == boundary[near][:, :, None, :]).any(axis=(2, 3))
    gap[shared] = np.inf
    close = np.flatnonzero(gap.min(axis=1) < limit)
    if not len(close):
        return []
    return [
        f"gap: {len(close)} boundary edges have another boundary within {limit * 1e3:.2g} mm, the first at "
        f"{_at(middle[close[0]])}; if the panel is whole there, mend the surface"
    ]


def _folds(surface: SurfaceMesh) -> list[str]:
    edges = edges_of(surface.triangles)
    inner = np.flatnonzero(edges.count == 2)
    normal = unit(cross_products(surface.vertices, surface.triangles))
    a, b = (normal[edges.sides[inner, i]] for i in (0, 1))
    folded = inner[np.einsum("ij,ij->i", a, b) < np.cos(FOLD)]
    if not len(folded):
        return []
    at = surface.vertices[edges.ends[folded[0]]].mean(axis=0)
    return [f"fold: {len(folded)} edges turn back by more than {np.degrees(FOLD):.0f}°, the first at {_at(at)}"]
