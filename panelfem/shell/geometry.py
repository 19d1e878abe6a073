"""Base vectors, directors and the laminate's frame on curved triangles.

Arrays run (element, point, component).  a_1, a_2 are the derivatives of position by the reference coordinates; the
director of a rotation node is the element's own unit normal there.
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import FloatArray

_NEXT, _LAST = np.array([1, 2, 0]), np.array([2, 0, 1])


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product over the last axis (numpy's own costs 30 µs a call).

    >>> cross(np.array([1.0, 0, 0]), np.array([0, 1.0, 0])).tolist()
    [0.0, 0.0, 1.0]
    """
    product: FloatArray = a[..., _NEXT] * b[..., _LAST] - a[..., _LAST] * b[..., _NEXT]
    return product


def unit(v: FloatArray) -> FloatArray:
    """Vectors (..., 3) scaled to length one."""
    scaled: FloatArray = v / np.sqrt(np.einsum("...c,...c->...", v, v))[..., None]
    return scaled


def frame(a1: FloatArray, a2: FloatArray, axis: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Area factor (...), unit normal (..., 3) and in-plane axes t1, t2 (..., 2, 3) from base vectors (..., 3).

    t1 is `axis` (3,) projected on the surface, t2 = n × t1.
    """
    normal = cross(a1, a2)
    area = np.sqrt(np.einsum("...c,...c->...", normal, normal))
    normal = normal / area[..., None]
    t1 = unit(axis - normal * (normal @ axis)[..., None])
    axes = np.empty(normal.shape[:-1] + (2, 3))
    axes[..., 0, :], axes[..., 1, :] = t1, cross(normal, t1)
    return area, normal, axes


def to_frame(a1: FloatArray, a2: FloatArray, area: FloatArray, axes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Matrices that turn covariant components into the frame: tensors (..., 3, 3) and vectors (..., 2, 2).

    Tensors are (11, 22, 2·12), strain-like.
    """
    j1, j2 = np.matmul(axes, a1[..., None])[..., 0], np.matmul(axes, a2[..., None])[..., 0]
    p, q = j2[..., 1] / area, -j2[..., 0] / area  # t1·c1, t2·c1 (c the contravariant base)
    u, v = -j1[..., 1] / area, j1[..., 0] / area  # t1·c2, t2·c2
    vectors = np.empty(area.shape + (2, 2))
    vectors[..., 0, 0], vectors[..., 0, 1], vectors[..., 1, 0], vectors[..., 1, 1] = p, u, q, v
    tensors = np.empty(area.shape + (3, 3))
    tensors[..., 0, 0], tensors[..., 0, 1], tensors[..., 0, 2] = p * p, u * u, p * u
    tensors[..., 1, 0], tensors[..., 1, 1], tensors[..., 1, 2] = q * q, v * v, q * v
    tensors[..., 2, 0], tensors[..., 2, 1], tensors[..., 2, 2] = 2 * p * q, 2 * u * v, p * v + q * u
    return tensors, vectors
