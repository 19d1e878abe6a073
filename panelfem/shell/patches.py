"""Least-squares patches at orders 2 and 3: weights that turn strains inside the elements into nodal strains.

Each vertex inside a group fits a polynomial of degree k to the strains at interior points of the elements around it.
A node on an edge or inside an element takes the fits of the vertices of its element, each in proportion to how near it
is (its barycentric coordinate).  Where no vertex is fitted, on the border of a group, each element's strains are
extended by its own polynomial of degree k − 1 and averaged.

Components are fitted as they are, each in the frame of its own point.  Where these frames turn from place to place, on
doubly curved surfaces, that is off by their turn over one element (1 to 2 % of derivatives on a dish of 10 × 10 cells).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.lattice import EDGES, barycentric, lattice
from panelfem.shell.reference_triangle import displacement_basis

_FAR, _NEAR = 0.816847572980459, 0.108103018168070
_TURN = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1]])
INTERIOR: Mapping[int, FloatArray] = {
    2: np.array([[1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]) / 6.0,
    3: np.hstack([((x * _TURN + (1 - x) / 2 * (1 - _TURN))[:, 1:]).T for x in (_FAR, _NEAR)]),
}
"""Points (2, p) of an element of each order at which strains are taken, where they are most accurate: those of the
Gauss rules of degree 2 and 4 (recalled)."""

FEWEST = 4
"""Elements around a vertex needed for a fit (12 values for 6 coefficients, 24 for 10)."""


def powers(x: FloatArray, degree: int) -> FloatArray:
    """1, x, y, x², xy, y² … up to a degree at plane points (..., 2).

    >>> powers(np.array([2.0, 3.0]), 2).tolist()
    [1.0, 2.0, 3.0, 4.0, 6.0, 9.0]
    """
    a, b = x[..., 0], x[..., 1]
    return np.stack([a ** (n - j) * b**j for n in range(degree + 1) for j in range(n + 1)], axis=-1)


@cache
def extension(k: int) -> FloatArray:
    """Weights (nodes, points) that extend a polynomial of degree k − 1 from the interior points to all nodes.

    >>> extension(2).shape, extension(3).shape, bool(np.allclose(extension(3).sum(axis=1), 1.0))
    ((6, 3), (10, 6), True)
    """
    nodes, points = np.hstack(lattice(k)), INTERIOR[k]
    out: FloatArray = powers(nodes.T, k - 1) @ np.linalg.inv(powers(points.T, k - 1))
    return out


def patch_weights(k: int, x: FloatArray, pair: IntArray, border: BoolArray, frame: FloatArray) -> csr_array:
    """Weights (m, p·n) of recovered values at m nodes on the samples (element, interior point) of n elements.

    `k` the order, x (n, nodes, 3) nodes of the elements; `pair` (n, nodes) number of each, 0 … m−1; `border` (m,) marks
    those on the border of their group; `frame` (m, 3, 3) rows t1, t2, normal.
    """
    number, n, p = len(border), len(x), INTERIOR[k].shape[1]
    share = barycentric(np.hstack(lattice(k)))
    samples = displacement_basis(k)(INTERIOR[k])[0] @ x
    corners = pair[:, :3].ravel()
    order = np.argsort(corners, kind="stable")
    start = np.searchsorted(corners[order], np.arange(number + 1))
    size = np.diff(start)
    fitted = (size >= FEWEST) & ~border
    rows: list[IntArray] = []
    columns: list[IntArray] = []
    values: list[FloatArray] = []
    total = np.zeros(number)

    def add(row: IntArray, column: IntArray, value: NDArray[np.floating], weight: FloatArray) -> None:
        rows.append(np.broadcast_to(row[:, None], column.shape).ravel())
        columns.append(column.ravel())
        values.append(np.asarray(value * weight[:, None], float).ravel())
        total[:] += np.bincount(row, weight, number)

    # inside a group every edge at a vertex leaves it in exactly one of its elements: local nodes 3 + edge·(k−1) …
    reached = np.array([[3 + i * (k - 1) + j for j in range(k - 1)] for i, _ in enumerate(EDGES)])
    inner = np.broadcast_to(np.arange(3 * k, len(share)), (3, len(share) - 3 * k))
    reached = np.hstack([reached, inner])
    for count in np.unique(size[fitted]).tolist():
        vertex = np.flatnonzero(fitted & (size == count))
        around = order[start[vertex][:, None] + np.arange(count)]
        element, corner = np.divmod(around, 3)
        centre = x[element[:, 0], corner[:, 0]]
        plane = frame[vertex, :2].swapaxes(1, 2)
        cloud = (samples[element].reshape(len(vertex), -1, 3) - centre[:, None]) @ plane
        reach = np.sqrt((cloud * cloud).sum(axis=2)).max(axis=1)[:, None, None]
        fit = np.linalg.pinv(powers(cloud / reach, k))
        column = (p * element[:, :, None] + np.arange(p)).reshape(len(vertex), -1)
        add(vertex, column, fit[:, 0], np.ones(len(vertex)))
        for i in range(count):
            for node in reached[corner[:, i]].T:
                place = (x[element[:, i], node] - centre)[:, None] @ plane
                value = (powers(place / reach, k) @ fit)[:, 0]
                add(pair[element[:, i], node], column, value, share[node, corner[:, i]])
    element, node = np.nonzero(total[pair] == 0.0)
    add(pair[element, node], p * element[:, None] + np.arange(p), extension(k)[node], np.ones(len(node)))
    every = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    weights = csr_array(every, shape=(number, p * n))
    weights.data /= np.repeat(total, np.diff(weights.indptr))
    return weights
