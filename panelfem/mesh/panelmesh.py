"""The mesh of a panel: triangles, which regions and tags they belong to, and the true surface behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import MeshError
from panelfem.mesh.bend import bend
from panelfem.mesh.closest import TriangleSearch
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.fitted import FittedSurface
from panelfem.mesh.layout import Layout
from panelfem.mesh.region import Region
from panelfem.mesh.surface import Surface
from panelfem.mesh.topology import (
    Edges,
    angles,
    cross_products,
    directed_boundary,
    edge_lengths,
    edges_of,
    pieces,
    unit,
    vertex_normals,
)


@dataclass(frozen=True)
class Quality:
    """How good the triangles are: `smallest_angle` rad and at which element, how many angles are below 10 and 20°,
    shortest and longest edge (m)."""

    elements: int
    smallest_angle: float
    worst: int
    below_10: int
    below_20: int
    shortest: float
    longest: float

    def __str__(self) -> str:
        return (
            f"{self.elements} triangles, edges {self.shortest * 1e3:.3g} to {self.longest * 1e3:.3g} mm, "
            f"smallest angle {np.degrees(self.smallest_angle):.1f}° "
            f"({self.below_20} triangles below 20°, {self.below_10} needles below 10°)"
        )


@dataclass(frozen=True, eq=False)
class PanelMesh:
    """A meshed panel.

    `vertices` (nv, 3) m; `triangles` (ne, 3), normal by the right-hand rule; `inside` tells for each region which
    elements lie in it, (ne,), exactly: element edges run along every border; `tags` (ne,) are those of the imported
    surface (0 if none); `notes` say what was found and done.  `surface` and `regions` are the true shapes that
    `curved` puts nodes on; without a surface one is fitted to the mesh itself.

    >>> mesh = PanelMesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    >>> float(mesh.areas.sum()), len(mesh.edges), len(mesh.boundary_edges), mesh.normals[0].tolist()
    (1.0, 5, 4, [0.0, 0.0, 1.0])
    """

    vertices: FloatArray
    triangles: IntArray
    inside: Mapping[str, BoolArray] = field(default_factory=dict)
    tags: IntArray = field(default_factory=lambda: np.zeros(0, np.int64))
    notes: tuple[str, ...] = ()
    surface: Surface | None = field(default=None, repr=False)
    regions: tuple[Region, ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        x = np.ascontiguousarray(self.vertices, float)
        triangles = np.ascontiguousarray(self.triangles, np.int64)
        if x.ndim != 2 or x.shape[1] != 3 or triangles.ndim != 2 or triangles.shape[1] != 3 or not len(triangles):
            raise MeshError("no mesh", allowed="vertices (nv, 3) and at least one triangle (ne, 3)")
        if triangles.min() < 0 or triangles.max() >= len(x):
            raise MeshError("a triangle names a vertex that is not there", allowed=f"0 to {len(x) - 1}")
        tags = np.zeros(len(triangles), np.int64) if np.size(self.tags) == 0 else np.asarray(self.tags, np.int64)
        for name, flags in {"tags": tags, **self.inside}.items():
            if np.shape(flags) != (len(triangles),):
                raise MeshError(f"'{name}' has shape {np.shape(flags)}", allowed=f"({len(triangles)},)")
        for key, value in (("vertices", x), ("triangles", triangles), ("tags", tags)):
            object.__setattr__(self, key, value)

    @cached_property
    def topology(self) -> Edges:
        """Numbered edges and their elements."""
        return edges_of(self.triangles)

    @property
    def edges(self) -> IntArray:
        """Edges as sorted vertex pairs, (n, 2)."""
        return self.topology.ends

    @cached_property
    def boundary_edges(self) -> IntArray:
        """Boundary edges (nb, 2), each in the direction of its element: the panel lies to the left of it."""
        return directed_boundary(self.triangles)

    @cached_property
    def areas(self) -> FloatArray:
        """Areas of the flat triangles, (ne,), m²."""
        return np.asarray(0.5 * np.linalg.norm(cross_products(self.vertices, self.triangles), axis=1))

    @cached_property
    def normals(self) -> FloatArray:
        """Unit normals of the elements, (ne, 3)."""
        return unit(cross_products(self.vertices, self.triangles))

    @cached_property
    def centroids(self) -> FloatArray:
        """Centroids of the elements, (ne, 3), m."""
        return np.asarray(self.vertices[self.triangles].mean(axis=1))

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """Unit normals at the vertices, weighted with the angle, (nv, 3)."""
        return vertex_normals(self.vertices, self.triangles)

    @cached_property
    def components(self) -> IntArray:
        """Number of the edge-connected piece of each element, (ne,)."""
        return pieces(self.triangles)

    @property
    def euler(self) -> int:
        """Vertices − edges + triangles: 1 for a disc, one less for each cut-out."""
        return len(np.unique(self.triangles)) - len(self.edges) + len(self.triangles)

    @property
    def diagonal(self) -> float:
        """Diagonal of the box round the mesh, m."""
        return float(np.linalg.norm(np.ptp(self.vertices, axis=0)))

    @cached_property
    def _search(self) -> TriangleSearch:
        return TriangleSearch(self.vertices, self.triangles)

    def nearest(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Element (n,) and barycentric coordinates (n, 3) of the closest point of the flat triangles to points (n, 3).

        >>> mesh = PanelMesh(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]]))
        >>> mesh.nearest(np.array([[0.25, 0.25, 0.1]]))[1].tolist()
        [[0.5, 0.25, 0.25]]
        """
        return self._search.nearest(points)

    @cached_property
    def quality(self) -> Quality:
        """Angles and edge lengths of the flat triangles."""
        smallest = angles(self.vertices, self.triangles).min(axis=1)
        length = edge_lengths(self.vertices, self.edges)
        return Quality(
            len(self.triangles), float(smallest.min()), int(np.argmin(smallest)),
            int((smallest < np.radians(10.0)).sum()), int((smallest < np.radians(20.0)).sum()),
            float(length.min()), float(length.max()),
        )  # fmt: skip

    @cached_property
    def _curves(self) -> dict[int, tuple[CurvedMesh, tuple[str, ...]]]:
        return {}

    def curved(self, k: int) -> CurvedMesh:
        """The mesh with nodes of order k (2 to 6) on the true surface, its rim and the borders of the regions.

        Edges that lie on a curve follow it; where that would turn an element over, the edge stays straight across the
        surface and `curve_notes(k)` says so.  Made once for each order.
        """
        return self._curved(k)[0]

    def curve_notes(self, k: int) -> tuple[str, ...]:
        """What `curved(k)` could not do."""
        return self._curved(k)[1]

    def _curved(self, k: int) -> tuple[CurvedMesh, tuple[str, ...]]:
        if k not in self._curves:
            self._curves[k] = bend(self.layout(), k)
        return self._curves[k]

    def layout(self) -> Layout:
        """The mesh with what its vertices and edges belong to."""
        surface = self.surface if self.surface is not None else FittedSurface(self.vertices, self.triangles)
        regions = tuple(region for region in self.regions if region.name in self.inside)
        columns = [np.asarray(self.inside[region.name], bool) for region in regions]
        ne = len(self.triangles)
        return Layout(
            vertices=self.vertices,
            triangles=self.triangles,
            inside=np.stack(columns, axis=1) if columns else np.zeros((ne, 0), bool),
            tags=self.tags,
            pinned=np.zeros(len(self.vertices), bool),
            surface=surface,
            regions=regions,
            diagonal=self.diagonal,
        )
