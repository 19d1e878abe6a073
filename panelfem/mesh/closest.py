"""Closest points on triangles and on segments, for many points at once."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from panelfem.arrays import FloatArray, IntArray


def on_segment(points: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Parameter in [0, 1] of the closest point of a + t (b − a); points, a and b broadcast to (..., 3)."""
    run = b - a
    length = np.einsum("...i,...i->...", run, run)
    return np.asarray(np.clip(np.einsum("...i,...i->...", points - a, run) / np.where(length > 0, length, 1), 0, 1))


def to_segments(point: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Distances (n,) of a point (3,) from the segments between a and b (n, 3).

    >>> to_segments(np.array([0.5, 2.0, 0.0]), np.zeros((1, 3)), np.array([[1.0, 0, 0]])).tolist()
    [2.0]
    """
    t = on_segment(point, a, b)
    return np.asarray(np.linalg.norm(a + t[:, None] * (b - a) - point, axis=1))


def on_triangle(points: FloatArray, corners: FloatArray) -> FloatArray:
    """Barycentric coordinates (..., 3) of the closest point of triangles `corners` (..., 3, 3) to `points` (..., 3).

    >>> triangle = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> on_triangle(np.array([[0.25, 0.25, 1.0], [2.0, -1.0, 0.0]]), triangle).tolist()
    [[0.5, 0.25, 0.25], [0.0, 1.0, 0.0]]
    """
    shape = np.broadcast_shapes(points.shape[:-1], corners.shape[:-2])
    points, corners = np.broadcast_to(points, (*shape, 3)), np.broadcast_to(corners, (*shape, 3, 3))
    a, b, c = corners[..., 0, :], corners[..., 1, :], corners[..., 2, :]
    u, v, w = b - a, c - a, points - a
    uu, uv, vv = (np.einsum("...i,...i->...", p, q) for p, q in ((u, u), (u, v), (v, v)))
    wu, wv = np.einsum("...i,...i->...", w, u), np.einsum("...i,...i->...", w, v)
    det = uu * vv - uv * uv
    safe = np.where(det > 0.0, det, 1.0)
    s, t = (vv * wu - uv * wv) / safe, (uu * wv - uv * wu) / safe
    best = np.stack([1 - s - t, s, t], axis=-1)
    outside = (best.min(axis=-1) < 0.0) | (det <= 0.0)
    if outside.any():
        p, q = points[outside], corners[outside]
        choices, distances = [], []
        for i in range(3):
            j = (i + 1) % 3
            r = on_segment(p, q[:, i], q[:, j])
            bary = np.zeros((len(p), 3))
            bary[:, i], bary[:, j] = 1 - r, r
            choices.append(bary)
            distances.append(np.linalg.norm(np.einsum("ni,nij->nj", bary, q) - p, axis=1))
        pick = np.argmin(np.stack(distances), axis=0)
        best[outside] = np.stack(choices)[pick, np.arange(len(p))]
    return np.asarray(best)


class TriangleSearch:
    """Finds the closest point of a triangle mesh; exact, because candidates are bounded by the largest circumsphere."""

    def __init__(self, vertices: FloatArray, triangles: IntArray) -> None:
        self.corners = vertices[triangles]
        self.centroids = self.corners.mean(axis=1)
        self.reach = np.linalg.norm(self.corners - self.centroids[:, None], axis=2).max(axis=1)
        self.tree = cKDTree(self.centroids)

    def nearest(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Element (n,) and barycentric coordinates (n, 3) of the closest point of the mesh."""
        points = np.atleast_2d(np.asarray(points, float))
        ne, n = len(self.corners), len(points)
        element, bary, best = np.zeros(n, np.int64), np.zeros((n, 3)), np.full(n, np.inf)
        pending, done = np.arange(n), 0
        longest = float(self.reach.max())
        width = min(8, ne)
        while len(pending):
            distance, index = self.tree.query(points[pending], k=width)
            distance = np.asarray(distance).reshape(len(pending), -1)
            index = np.asarray(index).reshape(len(pending), -1)
            index, last = index[:, done:], distance[:, -1]
            lam = on_triangle(points[pending][:, None, :], self.corners[index])
            place = np.einsum("nki,nkij->nkj", lam, self.corners[index])
            gap = np.linalg.norm(place - points[pending][:, None], axis=2)
            pick = np.argmin(gap, axis=1)
            rows = np.arange(len(pending))
            better = gap[rows, pick] < best[pending]
            chosen = pending[better]
            element[chosen] = index[rows, pick][better]
            bary[chosen] = lam[rows, pick][better]
            best[chosen] = gap[rows, pick][better]
            if width == ne:
                break
            # a triangle whose centroid lies farther than best + its reach cannot be closer
            pending = pending[last < best[pending] + longest]
            done, width = width, min(4 * width, ne)
        return element, bary
