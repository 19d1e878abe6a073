"""Boundary lines and creases of a triangulated surface as smooth curves through its vertices."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.closest import on_segment
from panelfem.mesh.topology import edges_of, unit

CORNER_TURN = np.radians(35.0)
"""A line that turns by more than this at a vertex has a corner there (a choice, for lines of finite edges)."""


class FeatureRim:
    """Lines of edges (boundary or `sharp`): between corners a C1 blend of parabolas through three vertices each."""

    def __init__(self, vertices: FloatArray, triangles: IntArray, sharp: BoolArray) -> None:
        edges = edges_of(triangles)
        self.ends: IntArray = edges.ends[(edges.count == 1) | sharp]
        self._a, self._b = vertices[self.ends[:, 0]], vertices[self.ends[:, 1]]
        self._before, self._after = self._continue(vertices)
        self.corners: FloatArray = vertices[self._corner_numbers(vertices)]
        n = len(self.ends)
        self._tree = cKDTree(0.5 * (self._a + self._b)) if n else None
        self._half = 0.5 * np.linalg.norm(self._b - self._a, axis=1)

    def _continue(self, vertices: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The vertex before the start and after the end of each edge; mirrored through the end at a corner."""
        n = len(self.ends)
        at: dict[int, list[int]] = {}
        for edge, (a, b) in enumerate(self.ends.tolist()):
            at.setdefault(a, []).append(edge)
            at.setdefault(b, []).append(edge)
        result = (np.full((n, 3), np.nan), np.full((n, 3), np.nan))
        self._turned: list[int] = []
        for v, around in at.items():
            smooth = False
            if len(around) == 2:
                far = [int(self.ends[e].sum()) - v for e in around]
                d = unit(vertices[far] - vertices[v])
                smooth = float(-(d[0] @ d[1])) > np.cos(CORNER_TURN)
                if smooth:
                    for e, other in zip(around, reversed(far), strict=True):
                        result[0 if self.ends[e, 0] == v else 1][e] = vertices[other]
            if not smooth:
                self._turned.append(v)
        return result

    def _corner_numbers(self, vertices: FloatArray) -> IntArray:
        return np.array(sorted(self._turned), np.int64)

    def _nearest(self, x: FloatArray) -> tuple[IntArray, FloatArray]:
        assert self._tree is not None
        k = min(8, len(self.ends))
        far, index = self._tree.query(x, k=k)
        far, index = np.asarray(far).reshape(len(x), k), np.asarray(index).reshape(len(x), k)
        t = on_segment(x[:, None], self._a[index], self._b[index])
        gap = np.linalg.norm(x[:, None] - self._a[index] - t[..., None] * (self._b - self._a)[index], axis=2)
        pick = np.argmin(gap, axis=1)
        rows = np.arange(len(x))
        edge, place, best = index[rows, pick], t[rows, pick], gap[rows, pick]
        doubt = np.flatnonzero(far[:, -1] < best + self._half.max()) if k < len(self.ends) else np.zeros(0, int)
        for i in doubt:
            t_all = on_segment(x[i], self._a, self._b)
            gap_all = np.linalg.norm(x[i] - self._a - t_all[:, None] * (self._b - self._a), axis=1)
            edge[i] = np.argmin(gap_all)
            place[i] = t_all[edge[i]]
        return edge, place

    def _curve(self, edge: IntArray, t: FloatArray) -> FloatArray:
        """Points of the smooth curve at parameter t of each edge."""
        a, b = self._a[edge], self._b[edge]
        chord = np.linalg.norm(b - a, axis=1)
        flat = a + t[:, None] * (b - a)
        shift, weight = np.zeros_like(flat), np.zeros(len(t))
        for end, beyond in enumerate((self._before[edge], self._after[edge])):
            there = np.isfinite(beyond[:, 0])
            # parabola through the vertex beyond, a and b in chord-length parameter: its departure from the chord is
            # t (1 − t) · chord² · (−second divided difference)
            reach = np.linalg.norm(beyond - (a if end == 0 else b), axis=1)
            with np.errstate(invalid="ignore"):
                outer = ((a if end == 0 else b) - beyond) / reach[:, None]
                inner = (b - a) / chord[:, None]
                second = (inner - outer if end == 0 else -(inner + outer)) / (reach + chord)[:, None]
            bulge = -(t * (1 - t) * chord**2)[:, None] * second
            w = np.where(there, (1 - t) if end == 0 else t, 0.0)
            shift += np.where(there[:, None], w[:, None] * bulge, 0.0)
            weight += w
        # with a corner at one end the other parabola serves the whole edge
        scale = np.where(weight > 1e-12, 1.0 / np.where(weight > 1e-12, weight, 1.0), 0.0)
        return np.asarray(flat + shift * scale[:, None])

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The points of the smooth lines over the closest points of the edges, which are the feet."""
        if self._tree is None:
            return x.copy(), x.copy()
        edge, t = self._nearest(x)
        return self._curve(edge, t), self._a[edge] + t[:, None] * (self._b - self._a)[edge]

    def radius(self, x: FloatArray) -> FloatArray:
        """Radius of curvature of the lines, from three vertices."""
        if self._tree is None:
            return np.full(len(x), np.inf)
        edge, t = self._nearest(x)
        chord = np.linalg.norm(self._b[edge] - self._a[edge], axis=1)
        middle = self._curve(edge, np.full(len(t), 0.5)) - 0.5 * (self._a[edge] + self._b[edge])
        sagitta = np.linalg.norm(middle, axis=1)
        return np.asarray(np.where(sagitta > 1e-6 * chord, chord**2 / (8 * np.maximum(sagitta, 1e-300)), np.inf))
