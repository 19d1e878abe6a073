"""Strains of given displacements at given points, and the surface there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial.transform import Rotation

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
        self._x = layout.x[elements]
        self._directors = directors(layout.tables, self._x)
        self._rest = self._surface(self._x, self._directors)
        b1, b2 = self._rest.here
        area, self.normal, self.axes = frame(b1, b2, axis)
        self._tensors, self._vectors = to_frame(b1, b2, area, self.axes)

    def _surface(self, x: FloatArray, d: FloatArray) -> _Surface:
        """The surface with nodes x (n, nu, 3) and directors d (n, nr, 3)."""
        sample, here = self._sample, self._here
        return _Surface(
            (sample.slope[0] @ x, sample.slope[1] @ x),
            sample.rotation @ d,
            (here.slope[0] @ x, here.slope[1] @ x),
            (here.turn[0] @ d, here.turn[1] @ d),
        )

    def __call__(self, u: FloatArray) -> FloatArray:
        """Strains (n, p, 8) of u (n_total,), or (m, n, p, 8) of (n_total, m)."""
        columns = u.reshape(len(u), -1)
        moved = columns[self.layout.displacement_unknowns[self.elements]]
        turned = columns[self.layout.rotation_unknowns[self.elements]]
        d = self._directors[..., None]
        tilt = np.empty_like(turned)
        for c, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
            tilt[:, :, c] = turned[:, :, i] * d[:, :, j] - turned[:, :, j] * d[:, :, i]
        out = self._strains(self._rest, moved, tilt)
        return out[..., 0] if u.ndim == 1 else np.ascontiguousarray(np.moveaxis(out, 3, 0))

    def large(self, u: FloatArray) -> FloatArray:
        """Strains at large displacements and rotation vectors, of the shapes of the linear ones.

        Those of the moved surface less those of the undeformed one, in the frame of the undeformed one (Green's).
        """
        columns = u.reshape(len(u), -1)
        found = [self._large(column) for column in columns.T]
        return found[0] if u.ndim == 1 else np.stack(found)

    def _large(self, u: FloatArray) -> FloatArray:
        moved = u[self.layout.displacement_unknowns[self.elements]]
        turned = u[self.layout.rotation_unknowns[self.elements]]
        about = Rotation.from_rotvec(turned.reshape(-1, 3))
        d = about.apply(self._directors.reshape(-1, 3)).reshape(turned.shape)
        tilt = d - self._directors
        halfway = self._surface(self._x + 0.5 * moved, self._directors + 0.5 * tilt)
        return self._strains(halfway, moved[..., None], tilt[..., None])[..., 0]

    def _strains(self, on: _Surface, moved: FloatArray, tilt: FloatArray) -> FloatArray:
        """First-order strains (n, p, 8, m) of displacements (n, nu, 3, m) and changes of directors (n, nr, 3, m)."""
        triangle = self.layout.tables.triangle
        n, m, n_edge, p = len(moved), moved.shape[3], len(triangle.tangents), self.n_points
        moved, tilt = moved.reshape(n, -1, 3 * m), tilt.reshape(n, -1, 3 * m)

        def at(table: FloatArray, nodal: FloatArray) -> FloatArray:
            return (table @ nodal).reshape(n, -1, 3, m)

        sample, here = self._sample, self._here
        u1, u2 = at(sample.slope[0], moved), at(sample.slope[1], moved)
        delta = at(sample.rotation, tilt)
        a1, a2 = on.sampled
        e11, e22, e12 = _dot(a1, u1), _dot(a2, u2), _dot(a1, u2) + _dot(a2, u1)
        g1, g2 = _dot(on.director, u1) + _dot(a1, delta), _dot(on.director, u2) + _dot(a2, delta)
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
        a1, a2 = on.here
        d1, d2 = on.turning
        bending = np.empty((n, p, 3, m))
        bending[:, :, 0] = _dot(d1, u1) + _dot(a1, w1)
        bending[:, :, 1] = _dot(d2, u2) + _dot(a2, w2)
        bending[:, :, 2] = _dot(d2, u1) + _dot(d1, u2) + _dot(a1, w2) + _dot(a2, w1)
        out[:, :, 3:6] = self._tensors @ bending
        return out


@dataclass(frozen=True)
class _Surface:
    """Base vectors and director where the ties sample, base vectors and slopes of the director at the points."""

    sampled: tuple[FloatArray, FloatArray]
    director: FloatArray
    here: tuple[FloatArray, FloatArray]
    turning: tuple[FloatArray, FloatArray]


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Products (n, p, m) over components of a (n, p, 3) and b (n, p, 3, m)."""
    product: FloatArray = np.einsum("epc,epcm->epm", a, b)
    return product
