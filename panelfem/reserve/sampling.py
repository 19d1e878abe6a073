"""Where strength is checked: at the vertices, but averaged ahead of a notch.

At the edge of a hole the strain peak says little: what fails a notched laminate is the stress averaged over a
characteristic length ahead of the edge.  Within that length of an edge the vertices are therefore replaced by
averages along rays that leave the edge at right angles.

Source: J. M. Whitney and R. J. Nuismer 1974, J. Compos. Mater. 8:253, average-stress criterion (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh
from panelfem.shell import Recovery

#: Points of the Gauss–Legendre rule along a ray.
_RAY = 6


@dataclass(frozen=True)
class Notch:
    """The border of an area `inside` (ne,) where material ends; stress is averaged over `length` m ahead of it."""

    inside: BoolArray
    length: float


@dataclass(frozen=True)
class Sampling:
    """Sampling points (ns, 3) with their laminate number `group` (ns,), and `rows` (ns, np): values there from values
    at the recovery points.  `length` (ns,) m: over which the values are averaged, 0 for point values.
    """

    points: FloatArray
    group: IntArray
    rows: csr_matrix
    length: FloatArray


@dataclass(frozen=True)
class Border:
    """Border between an area and the rest: its vertices (n,), and the unit direction (n, 3) in the surface that
    leaves the area at right angles there.
    """

    vertices: IntArray
    outward: FloatArray


def border(mesh: PanelMesh, inside: BoolArray, outside: BoolArray) -> Border:
    """The border between elements `inside` (ne,) and elements `outside` (ne,).

    The direction at a vertex is the length-weighted mean of those of its border edges.
    """
    tri = mesh.triangles
    edges = np.stack([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]], 1).reshape(-1, 2)
    owner = np.repeat(np.arange(len(tri)), 3)
    key = np.sort(edges, 1) @ np.array([len(mesh.vertices), 1])
    inner, outer = inside[owner], outside[owner]
    at = np.isin(key, key[inner]) & outer & ~inner
    a, b, e = edges[at, 0], edges[at, 1], owner[at]
    along = mesh.vertices[b] - mesh.vertices[a]
    into = np.cross(mesh.normals[e], along)  # left of the edge: into the outside element, length-weighted
    vertices = np.unique(np.concatenate([a, b])).astype(np.int64)
    total = np.zeros((len(mesh.vertices), 3))
    np.add.at(total, a, into)
    np.add.at(total, b, into)
    outward = total[vertices]
    size = np.linalg.norm(outward, axis=1, keepdims=True)
    return Border(vertices, outward / np.where(size > 0, size, 1.0))


def sampling(
    mesh: PanelMesh, recovery: Recovery, laminate_of: IntArray, active: BoolArray, notches: Sequence[Notch]
) -> Sampling:
    """Sampling points of a model whose elements `active` (ne,) are there, with `laminate_of` (ne,) as recovery
    groups.
    """
    keep = (recovery.node < len(mesh.vertices)) & active[recovery.element]
    points, groups, rows, columns, weights, lengths = [], [], [], [], [], []
    vertex_point = VertexPoints(recovery, len(mesh.vertices))
    count = 0
    for notch in notches:
        edge = border(mesh, notch.inside, active & ~notch.inside)
        if not len(edge.vertices):
            continue
        near, _ = cKDTree(mesh.vertices[edge.vertices]).query(recovery.points)
        keep &= (near > notch.length) | notch.inside[recovery.element]
        gauss, weight = np.polynomial.legendre.leggauss(_RAY)
        depth, weight = notch.length * (gauss + 1.0) / 2.0, weight / 2.0
        start = mesh.vertices[edge.vertices]
        x = start[:, None] + depth[None, :, None] * edge.outward[:, None]
        element, bary = mesh.nearest(x.reshape(-1, 3))
        element, bary = element.reshape(len(start), _RAY), bary.reshape(len(start), _RAY, 3)
        lost = ~active[element] | notch.inside[element]
        group = laminate_of[element]
        share = np.where(lost, 0.0, weight[None])
        for ray in range(len(start)):
            # one average per laminate the ray crosses, over the stretch that lies in it
            for g in np.unique(group[ray][~lost[ray]]).tolist():
                mine = (group[ray] == g) & ~lost[ray]
                total = share[ray][mine].sum()
                if total < 0.2:
                    continue
                nodes = mesh.triangles[element[ray][mine]]
                where = vertex_point.find(nodes, np.full(nodes.shape, g))
                w = share[ray][mine][:, None] * bary[ray][mine] / total
                points.append(start[ray])
                groups.append(g)
                lengths.append(notch.length)
                rows.append(np.full(where.size, count))
                columns.append(where.ravel())
                weights.append(w.ravel())
                count += 1
    index = np.flatnonzero(keep)
    n = len(index)
    rows_all = np.concatenate([np.arange(n), *[r + n for r in rows]])
    columns_all = np.concatenate([index, *columns])
    weights_all = np.concatenate([np.ones(n), *weights])
    operator = csr_matrix((weights_all, (rows_all, columns_all)), shape=(n + count, len(recovery.points)))
    extra = np.array(points, float).reshape(-1, 3)
    return Sampling(
        np.vstack([recovery.points[index], extra]),
        np.concatenate([recovery.group[index], np.array(groups, np.int64)]),
        operator,
        np.concatenate([np.zeros(n), np.array(lengths, float)]),
    )


class VertexPoints:
    """Finds the recovery point of a vertex and a group."""

    def __init__(self, recovery: Recovery, vertices: int) -> None:
        at_vertex = np.flatnonzero(recovery.node < vertices)
        self._groups = int(recovery.group.max()) + 1
        key = recovery.node[at_vertex] * self._groups + recovery.group[at_vertex]
        order = np.argsort(key)
        self._key, self._point = key[order], at_vertex[order]

    def find(self, vertex: IntArray, group: IntArray) -> IntArray:
        """Recovery point numbers, in the shape of `vertex`; −1 where that vertex has no point of that group."""
        wanted = vertex * self._groups + group
        at = np.minimum(np.searchsorted(self._key, wanted), len(self._key) - 1)
        return np.where(self._key[at] == wanted, self._point[at], -1)
