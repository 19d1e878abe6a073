"""Strains of given displacements at given points, and the surface there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.shell.geometry import cross, frame, to_frame
from panelfem.shell.layout import Layout
from panelfem.shell.reference_triangle import reference_triangle
from panelfem.shell.strain import directors


@dataclass(frozen=True)
class PointTables:
    """Bases of order k at p points: `value` (p, nu), `slope` (2, p, nu), `rotation` (p, nr), `turn` (2, p, nr).

    `membrane` (3p, samples) and `shear` (2p, samples) take samples at the ties' edge points and the rule to the
    tied covariant components at the points.
    """

    value: FloatArray
    slope: FloatArray
    rotation: FloatArray
    turn: FloatArray
    membrane: FloatArray
    shear: FloatArray


def point_tables(k: int, points: FloatArray) -> PointTables:
    """Tables at reference points (2, p), made once for each set of points."""
    return _point_tables(k, np.ascontiguousarray(points, float).tobytes())


@lru_cache(maxsize=256)
def _point_tables(k: int, raw: bytes) -> PointTables:
    triangle, points = reference_triangle(k), np.frombuffer(raw).reshape(2, -1)
    membrane = triangle.membrane(points) @ triangle.membrane.functionals
    shear = triangle.shear(points) @ triangle.shear.functionals
    return PointTables(
        *triangle.displacement(points),
        *triangle.rotation(points),
        membrane.reshape(-1, membrane.shape[2]),
        shear.reshape(-1, shear.shape[2]),
    )


def surface_at(
    layout: Layout, points: FloatArray, elements: IntArray | slice = slice(None)
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions (n, p, 3) m, unit normals (n, p, 3) and area factors (n, p) at reference points (2, p)."""
    tables = point_tables(layout.mesh.order, points)
    x = layout.x[elements]
    across = cross(tables.slope[0] @ x, tables.slope[1] @ x)
    area = np.sqrt(np.einsum("epc,epc->ep", across, across))
    return tables.value @ x, across / area[..., None], area


class StrainField:
    """Strains of n elements at p reference points (2, p), for any displacements.

    Membrane and shear are sampled where their tie samples them and interpolated; bending is taken at the points.
    `axes` (n, p, 2, 3) are t1, t2 there, `normal` (n, p, 3).
    """

    def __init__(
        self, layout: Layout, axis: FloatArray, points: FloatArray, elements: IntArray | slice = slice(None)
    ) -> None:
        triangle = layout.tables.triangle
        self.layout, self.elements, self.n_points = layout, elements, points.shape[1]
        sampled = np.hstack([triangle.edge_points, triangle.points])
        self._sample = point_tables(layout.mesh.order, sampled)
        self._here = point_tables(layout.mesh.order, points)
        x = layout.x[elements]
        self._directors = directors(layout.tables, x)
        self._a1, self._a2 = self._sample.slope[0] @ x, self._sample.slope[1] @ x
        self._d = self._sample.rotation @ self._directors
        self._b1, self._b2 = self._here.slope[0] @ x, self._here.slope[1] @ x
        self._d1, self._d2 = self._here.turn[0] @ self._directors, self._here.turn[1] @ self._directors
        area, self.normal, self.axes = frame(self._b1, self._b2, axis)
        self._tensors, self._vectors = to_frame(self._b1, self._b2, area, self.axes)

    def __call__(self, u: FloatArray) -> FloatArray:
        """Strains (n, p, 8) of u (n_total,), or (m, n, p, 8) of (n_total, m)."""
        layout, triangle = self.layout, self.layout.tables.triangle
        columns = u.reshape(len(u), -1)
        m, n_edge = columns.shape[1], len(triangle.tangents)
        moved = columns[layout.displacement_unknowns[self.elements]]
        turned = columns[layout.rotation_unknowns[self.elements]]
        n = len(moved)
        d = self._directors[..., None]
        tilt = np.empty_like(turned)
        for c, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
            tilt[:, :, c] = turned[:, :, i] * d[:, :, j] - turned[:, :, j] * d[:, :, i]
        moved, tilt = moved.reshape(n, -1, 3 * m), tilt.reshape(n, -1, 3 * m)
        p = self.n_points

        def at(table: FloatArray, nodal: FloatArray) -> FloatArray:
            return (table @ nodal).reshape(n, -1, 3, m)

        sample, here = self._sample, self._here
        u1, u2 = at(sample.slope[0], moved), at(sample.slope[1], moved)
        delta = at(sample.rotation, tilt)
        a1, a2 = self._a1, self._a2
        e11, e22, e12 = _dot(a1, u1), _dot(a2, u2), _dot(a1, u2) + _dot(a2, u1)
        g1, g2 = _dot(self._d, u1) + _dot(a1, delta), _dot(self._d, u2) + _dot(a2, delta)
        r, s = triangle.tangents[:, 0, None], triangle.tangents[:, 1, None]
        edge = slice(0, n_edge)
        tangential = r * r * e11[:, edge] + s * s * e22[:, edge] + r * s * e12[:, edge]
        inside = np.stack([e11[:, n_edge:], e22[:, n_edge:], e12[:, n_edge:]], axis=2).reshape(n, -1, m)
        out = np.empty((n, p, 8, m))
        membrane = (here.membrane @ np.concatenate([tangential, inside], axis=1)).reshape(n, p, 3, m)
        out[:, :, :3] = self._tensors @ membrane
        tangential = r * g1[:, edge] + s * g2[:, edge]
        inside = np.stack([g1[:, n_edge:], g2[:, n_edge:]], axis=2).reshape(n, -1, m)
        shear = (here.shear @ np.concatenate([tangential, inside], axis=1)).reshape(n, p, 2, m)
        out[:, :, 6:] = self._vectors @ shear

        u1, u2 = at(here.slope[0], moved), at(here.slope[1], moved)
        w1, w2 = at(here.turn[0], tilt), at(here.turn[1], tilt)
        a1, a2, d1, d2 = self._b1, self._b2, self._d1, self._d2
        bending = np.empty((n, p, 3, m))
        bending[:, :, 0] = _dot(d1, u1) + _dot(a1, w1)
        bending[:, :, 1] = _dot(d2, u2) + _dot(a2, w2)
        bending[:, :, 2] = _dot(d2, u1) + _dot(d1, u2) + _dot(a1, w2) + _dot(a2, w1)
        out[:, :, 3:6] = self._tensors @ bending
        return out[..., 0] if u.ndim == 1 else np.ascontiguousarray(np.moveaxis(out, 3, 0))


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Products (n, p, m) over components of a (n, p, 3) and b (n, p, 3, m)."""
    product: FloatArray = np.einsum("epc,epcm->epm", a, b)
    return product
