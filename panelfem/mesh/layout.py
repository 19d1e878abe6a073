"""A mesh under construction: triangles, what they lie in, and where its vertices belong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.fitted import CREASE, FittedSurface
from panelfem.mesh.region import Region
from panelfem.mesh.snap import settle
from panelfem.mesh.surface import Surface
from panelfem.mesh.topology import Edges, cross_products, edge_lengths, edges_of, unit, vertex_normals, vertex_sizes


@dataclass(frozen=True, eq=False)
class Layout:
    """`inside` (ne, number of regions cut so far); `tags` (ne,) of the input surface; `pinned` (nv,) must not move."""

    vertices: FloatArray
    triangles: IntArray
    inside: BoolArray
    tags: IntArray
    pinned: BoolArray
    surface: Surface
    regions: tuple[Region, ...]
    diagonal: float

    @cached_property
    def edges(self) -> Edges:
        """Topology of the edges."""
        return edges_of(self.triangles)

    @cached_property
    def edge_on(self) -> BoolArray:
        """Which edges lie on the border of which region, (n_edges, number of regions)."""
        first, second = self.edges.sides.T
        differ = self.inside[first] != self.inside[np.maximum(second, 0)]
        return np.asarray(differ & (second >= 0)[:, None])

    @cached_property
    def edge_rim(self) -> BoolArray:
        """Which edges lie on the rim: boundary edges, and creases of an imported surface."""
        rim: BoolArray = np.asarray(self.edges.count == 1)
        if isinstance(self.surface, FittedSurface) and self.surface.has_creases:
            inner = np.flatnonzero(self.edges.count == 2)
            normal = unit(cross_products(self.vertices, self.triangles))
            a, b = normal[self.edges.sides[inner, 0]], normal[self.edges.sides[inner, 1]]
            bent = inner[np.einsum("ij,ij->i", a, b) < np.cos(0.75 * CREASE)]
            ends = self.vertices[self.edges.ends[bent]]
            gap = np.stack([np.linalg.norm(self.surface.rim.carry(p)[0] - p, axis=1) for p in (ends[:, 0], ends[:, 1])])
            near = gap.max(axis=0) < 0.1 * np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) if len(bent) else bent > 0
            rim[bent[near]] = True
        return rim

    @cached_property
    def edge_tags(self) -> BoolArray:
        """Which edges lie between elements of different tags, (n_edges,)."""
        first, second = self.edges.sides.T
        return np.asarray((second >= 0) & (self.tags[first] != self.tags[np.maximum(second, 0)]))

    @property
    def deviation(self) -> float:
        """How far a remesh may leave the surface before its vertices are put back, m.

        Tight enough not to lose features an imported surface is found again by; a lift is found from anywhere.
        """
        return (3e-3 if isinstance(self.surface, FittedSurface) else 3e-2) * self.diagonal

    def _at_ends(self, flags: BoolArray) -> BoolArray:
        result = np.zeros((len(self.vertices), *flags.shape[1:]), bool)
        np.logical_or.at(result, self.edges.ends[:, 0], flags)
        np.logical_or.at(result, self.edges.ends[:, 1], flags)
        return result

    @cached_property
    def vertex_on(self) -> BoolArray:
        """Which vertices lie on the border of which region, (nv, number of regions)."""
        return self._at_ends(self.edge_on)

    @cached_property
    def vertex_rim(self) -> BoolArray:
        """Which vertices lie on the rim, (nv,)."""
        return self._at_ends(self.edge_rim)

    @cached_property
    def normals(self) -> FloatArray:
        """Vertex normals, (nv, 3)."""
        return vertex_normals(self.vertices, self.triangles)

    @cached_property
    def directions(self) -> FloatArray:
        """Surface normal at each vertex; on the rim its tangent."""
        result = self.normals.copy()
        ends = self.edges.ends[self.edge_rim]
        run = unit(self.vertices[ends[:, 1]] - self.vertices[ends[:, 0]])
        tangent = np.zeros_like(result)
        reference = np.zeros_like(result)
        reference[ends[:, 0]] = run
        reference[ends[:, 1]] = run
        for end in (0, 1):
            sign = np.where(np.einsum("ij,ij->i", reference[ends[:, end]], run) < 0, -1.0, 1.0)
            np.add.at(tangent, ends[:, end], sign[:, None] * run)
        rim = self.vertex_rim
        result[rim] = unit(tangent[rim])
        return result

    @cached_property
    def sizes(self) -> FloatArray:
        """Mean edge length at each vertex, (nv,)."""
        return vertex_sizes(self.vertices, self.edges)

    @cached_property
    def longest(self) -> float:
        """Longest edge, m."""
        return float(edge_lengths(self.vertices, self.edges.ends).max())

    def snapped(
        self, on: BoolArray | None = None, share: float = 0.5, only: BoolArray | None = None
    ) -> tuple[Layout, BoolArray]:
        """Vertices put where they belong (pinned ones stay), each at most `share` of its edges away.

        `on` (nv, regions cut) replaces the borders the topology tells; `only` (nv,) restricts it to some vertices.  A
        vertex whose move would turn an element over goes back to where it was.  Returns the layout and which vertices
        arrived.
        """
        wanted = self.vertex_on if on is None else on
        free = ~self.pinned if only is None else ~self.pinned & only
        x = self.vertices.copy()
        arrived = np.ones(len(x), bool)
        x[free], arrived[free] = settle(
            x[free], wanted[free], self.vertex_rim[free], self.directions[free], share * self.sizes[free],
            self.surface, self.regions[: self.inside.shape[1]], self.diagonal,
        )  # fmt: skip
        before = cross_products(self.vertices, self.triangles)
        for _ in range(10):
            after = cross_products(x, self.triangles)
            bad = np.einsum("ij,ij->i", before, after) < 0.05 * np.einsum("ij,ij->i", before, before)
            back = np.unique(self.triangles[bad])
            back = back[np.any(x[back] != self.vertices[back], axis=1)]
            if not len(back):
                break
            x[back] = self.vertices[back]
            arrived[back] &= ~wanted[back].any(axis=1)
        return replace(self, vertices=x), arrived
