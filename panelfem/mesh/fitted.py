"""The true surface behind a triangulation: quadrics fitted at its vertices, blended over its triangles.

Each vertex lies on its quadric; the fit looks at two rings of neighbours and does not look across a crease.  The
surface is fitted once, to the first triangulation; every later mesh is projected onto it, so nothing drifts.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.closest import TriangleSearch
from panelfem.mesh.rim import FeatureRim
from panelfem.mesh.topology import angles, basis, cross_products, edges_of, scatter, unit

CREASE = np.radians(40.0)
"""Edges that bend by more than this are creases; the coarsest usual tessellation of a fillet bends by less (choice)."""
NEEDED = 7
"""Neighbours a quadric of five coefficients is fitted to at least; otherwise a further ring is taken."""


def crease_edges(vertices: FloatArray, triangles: IntArray, limit: float = CREASE) -> tuple[IntArray, BoolArray]:
    """Edges (n, 2) of the mesh and which of them bend by more than `limit` rad."""
    edges = edges_of(triangles)
    normal = unit(cross_products(vertices, triangles))
    inner = edges.count == 2
    bend = np.zeros(len(edges.ends))
    a, b = normal[edges.sides[inner, 0]], normal[edges.sides[inner, 1]]
    bend[inner] = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.einsum("ij,ij->i", a, b))
    return edges.ends, bend > limit


def split_corners(triangles: IntArray, sharp: BoolArray) -> IntArray:
    """Corner numbers (ne, 3): a vertex gets one number for each fan of triangles not parted by a crease."""
    from scipy.sparse.csgraph import connected_components

    edges = edges_of(triangles)
    ne = len(triangles)
    rows: list[IntArray] = []
    joined = np.flatnonzero((edges.count == 2) & ~sharp)
    first, second = edges.sides[joined].T
    for end in (0, 1):
        v = edges.ends[joined, end]
        i = 3 * first + np.argmax(triangles[first] == v[:, None], axis=1)
        j = 3 * second + np.argmax(triangles[second] == v[:, None], axis=1)
        rows.append(np.stack([i, j]))
    i, j = np.concatenate(rows, axis=1)
    graph = csr_array((np.ones(len(i)), (i, j)), shape=(3 * ne, 3 * ne))
    return np.asarray(connected_components(graph, directed=False)[1], np.int64).reshape(ne, 3)


class FittedSurface:
    """A smooth surface through the vertices (nv, 3) of a triangulation (ne, 3)."""

    def __init__(self, vertices: FloatArray, triangles: IntArray) -> None:
        self.vertices, self.triangles = vertices, triangles
        self.search = TriangleSearch(vertices, triangles)
        _, sharp = crease_edges(vertices, triangles)
        self.rim = FeatureRim(vertices, triangles, sharp)
        self.has_creases = bool(sharp.any())
        self._corner = split_corners(triangles, sharp)
        n = int(self._corner.max()) + 1
        self._at = np.zeros(n, np.int64)
        self._at[self._corner.ravel()] = triangles.ravel()
        normal = unit(cross_products(vertices, triangles))
        weighted = angles(vertices, triangles)[:, :, None] * normal[:, None]
        self._frame = basis(unit(scatter(self._corner, weighted, n)))
        self._fit(n)

    def _neighbours(self, n: int) -> csr_array:
        """Which vertices the quadric of each corner looks at, (corners, vertices)."""
        ne, nv = len(self.triangles), len(self.vertices)
        element = np.repeat(np.arange(ne), 3)
        ones = np.ones(3 * ne)
        touches = csr_array((ones, (self._corner.ravel(), element)), shape=(n, ne))
        has = csr_array((ones, (element, self.triangles.ravel())), shape=(ne, nv))
        ring = (touches @ touches.T).tocsr()
        reach = touches
        result = (reach @ has).tocsr()
        for _ in range(2):
            few = (np.diff(result.indptr) < NEEDED + 1).astype(float)
            if not few.any():
                break
            reach = (ring @ reach).tocsr()
            wider = reach @ has
            result = (csr_array((few, (np.arange(n), np.arange(n))), shape=(n, n)) @ wider + result).tocsr()
        result.sort_indices()
        return result

    def _fit(self, n: int) -> None:
        near = self._neighbours(n)
        owner = np.repeat(np.arange(n), np.diff(near.indptr))
        seen, at = near.indices, self._at[owner]
        kept = seen != at
        owner, seen, at = owner[kept], seen[kept], at[kept]
        local = np.einsum("pab,pb->pa", self._frame[owner], self.vertices[seen] - self.vertices[at])
        start = np.searchsorted(owner, np.arange(n))
        self._scale = np.maximum.reduceat(np.linalg.norm(local[:, :2], axis=1), start)
        local /= self._scale[owner][:, None]
        a, b, z = local.T
        terms = np.stack([a, b, a * a, a * b, b * b], axis=1)
        weight = 1.0 / (1e-2 + a * a + b * b) ** 2
        matrix = np.add.reduceat(weight[:, None, None] * terms[:, :, None] * terms[:, None], start, axis=0)
        right = np.add.reduceat((weight * z)[:, None] * terms, start, axis=0)
        ridge = 1e-9 * np.trace(matrix, axis1=1, axis2=2)
        matrix[:, range(5), range(5)] += ridge[:, None]
        self._coefficient = np.linalg.solve(matrix, right[..., None])[..., 0]
        c = self._coefficient
        mean, half = c[:, 2] + c[:, 4], np.hypot(c[:, 2] - c[:, 4], c[:, 3])
        self._curvature = (np.abs(mean) + half) / self._scale

    def _blend(self, element: IntArray, bary: FloatArray) -> FloatArray:
        """Points of the smooth surface over points of the triangles."""
        flat = np.einsum("ni,nij->nj", bary, self.vertices[self.triangles[element]])
        weight = bary**2 * (3 - 2 * bary) + 2 * bary * np.prod(bary, axis=1, keepdims=True) * 3
        weight /= weight.sum(axis=1, keepdims=True)
        x = flat.copy()
        corner = self._corner[element]
        for i in range(3):
            k = corner[:, i]
            local = np.einsum("nab,nb->na", self._frame[k], flat - self.vertices[self._at[k]])
            a, b = local[:, 0] / self._scale[k], local[:, 1] / self._scale[k]
            terms = np.stack([a, b, a * a, a * b, b * b], axis=1)
            rise = np.einsum("nt,nt->n", terms, self._coefficient[k]) * self._scale[k] - local[:, 2]
            limit = 0.3 * self.search.reach[element]
            x += (weight[:, i] * np.clip(rise, -limit, limit))[:, None] * self._frame[k, 2]
        return np.asarray(x)

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The points of the smooth surface over the closest points of the triangulation, which are the feet."""
        element, bary = self.search.nearest(x)
        return self._blend(element, bary), np.einsum("ni,nij->nj", bary, self.search.corners[element])

    def curvature(self, x: FloatArray) -> FloatArray:
        """Largest principal curvature of the quadrics near x, averaged over the corners."""
        element, bary = self.search.nearest(x)
        return np.asarray(np.einsum("ni,ni->n", bary, self._curvature[self._corner[element]]))
