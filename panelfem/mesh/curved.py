"""Triangles of order k on a surface: who owns which node, and where the nodes lie."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import MeshError
from panelfem.mesh.lattice import barycentric, lattice

ORDERS = (2, 3, 4, 5, 6)
"""Orders the shell element is offered in (order 1 locks)."""


@dataclass(frozen=True)
class CurvedMesh:
    """A surface of triangles of order k.

    `order` k; `triangles` (ne, 3) vertex numbers, normal by the right-hand rule; `nodes` (ne, n_k) node numbers
    in the order of `lattice(k)`; `nb` number of boundary nodes (vertices and nodes on edges), which come first:
    the vertices keep their numbers, then k−1 nodes for each edge (edges sorted by lower, then higher vertex;
    nodes run from the lower to the higher vertex), then the inner nodes element by element; `x` (nn, 3)
    positions, m.
    """

    order: int
    triangles: IntArray
    nodes: IntArray
    nb: int
    x: FloatArray

    @classmethod
    def straight(cls, vertices: FloatArray, triangles: IntArray, k: int) -> CurvedMesh:
        """Triangles (ne, 3) with straight edges between vertices (nv, 3).

        Use `moved` to put the nodes on the surface.  Raises MeshError for an order that is not offered.

        >>> mesh = CurvedMesh.straight(np.eye(3), np.array([[0, 1, 2]]), 2)
        >>> mesh.nodes.tolist(), mesh.nb
        ([[0, 1, 2, 3, 5, 4]], 6)
        """
        triangles = np.asarray(triangles, np.int64)
        nodes, nb = number_nodes(triangles, len(vertices), k)
        return cls(k, triangles, nodes, nb, _spread(np.asarray(vertices, float), triangles, nodes, k))

    @classmethod
    def lift(
        cls, points: FloatArray, triangles: IntArray, k: int, fn: Callable[[FloatArray], FloatArray]
    ) -> CurvedMesh:
        """Nodes on an exact surface: `fn` maps parameters (n, 2) to positions (n, 3), m.

        `points` (nv, 2) are the parameters of the vertices.

        >>> corners = np.array([[0.0, 0], [1, 0], [0, 1]])
        >>> dish = lambda p: np.column_stack([p, p[:, 0] ** 2])
        >>> mesh = CurvedMesh.lift(corners, np.array([[0, 1, 2]]), 2, dish)
        >>> mesh.x[3].tolist()
        [0.5, 0.0, 0.25]
        """
        flat = cls.straight(points, triangles, k)
        return flat.moved(fn(flat.x))

    def moved(self, x: FloatArray) -> CurvedMesh:
        """The same triangles with nodes at x (nn, 3)."""
        return replace(self, x=np.ascontiguousarray(x, float))

    @cached_property
    def boundary(self) -> IntArray:
        """Boundary nodes of each element, (ne, 3k)."""
        return np.ascontiguousarray(self.nodes[:, : 3 * self.order])

    @cached_property
    def centroids(self) -> FloatArray:
        """Mean of the three vertices of each element, (ne, 3), m."""
        corners: FloatArray = self.x[self.triangles].mean(axis=1)
        return corners


def number_nodes(triangles: IntArray, n_vertices: int, k: int) -> tuple[IntArray, int]:
    """Node numbers (ne, n_k) of triangles (ne, 3), as at CurvedMesh, and the number of boundary nodes."""
    if k not in ORDERS:
        raise MeshError(f"element order {k} is not offered", allowed="2 to 6", do="choose another order")
    ne = len(triangles)
    start, end = triangles, triangles[:, [1, 2, 0]]
    key = np.minimum(start, end) * n_vertices + np.maximum(start, end)
    edges, edge = np.unique(key, return_inverse=True)
    along = np.arange(k - 1)
    along = np.where((start > end)[:, :, None], along[::-1], along)
    on_edge = n_vertices + edge.reshape(ne, 3)[:, :, None] * (k - 1) + along
    nb = n_vertices + len(edges) * (k - 1)
    n_inner = (k - 1) * (k - 2) // 2
    inner = nb + np.arange(ne * n_inner).reshape(ne, n_inner)
    return np.hstack([triangles, on_edge.reshape(ne, -1), inner]), nb


def _spread(vertices: FloatArray, triangles: IntArray, nodes: IntArray, k: int) -> FloatArray:
    """Positions (nn, d) of all nodes on the flat triangles between vertices (nv, d)."""
    weights = barycentric(np.hstack(lattice(k)))
    x = np.zeros((max(int(nodes.max()) + 1, len(vertices)), vertices.shape[1]))
    x[: len(vertices)] = vertices
    x[nodes] = weights @ vertices[triangles]
    return x
