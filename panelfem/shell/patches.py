"""Least-squares patches at order 2: weights that turn strains at the elements' interior points into nodal strains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.lattice import EDGES, barycentric, lattice
from panelfem.shell.reference_triangle import displacement_basis

INTERIOR = np.array([[1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]) / 6.0
"""The three points (2, 3) of an element of order 2 at which strains are taken: there they are most accurate."""

FEWEST = 4
"""Elements around a vertex needed for a quadratic fit (12 values for 6 coefficients)."""


def quadratics(x: FloatArray) -> FloatArray:
    """1, x, y, x², xy, y² at plane points (..., 2).

    >>> quadratics(np.array([2.0, 3.0])).tolist()
    [1.0, 2.0, 3.0, 4.0, 6.0, 9.0]
    """
    a, b = x[..., 0], x[..., 1]
    return np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], axis=-1)


def linear_extension() -> FloatArray:
    """Weights (6, 3) that extend a linear field from the interior points to the nodes.

    >>> bool(np.allclose(linear_extension().sum(axis=1), 1.0))
    True
    """
    extension: FloatArray = barycentric(lattice(2)[0]) @ np.linalg.inv(barycentric(INTERIOR))
    return extension


def patch_weights(x: FloatArray, pair: IntArray, border: BoolArray, frame: FloatArray) -> csr_array:
    """Weights (np, 3n) of recovered values on the samples (element, interior point) of n elements of order 2.

    x (n, 6, 3) nodes; `pair` (n, 6) number of each node of each element, 0 … np−1; `border` (np,) marks pairs on the
    border of their group; `frame` (np, 3, 3) rows t1, t2, normal.
    """
    n_pairs, n = len(border), len(x)
    samples = displacement_basis(2)(INTERIOR)[0] @ x
    corners = pair[:, :3].ravel()
    order = np.argsort(corners, kind="stable")
    start = np.searchsorted(corners[order], np.arange(n_pairs + 1))
    size = np.diff(start)
    fitted = (size >= FEWEST) & ~border
    rows: list[IntArray] = []
    columns: list[IntArray] = []
    values: list[FloatArray] = []
    times = np.zeros(n_pairs)

    def add(row: IntArray, column: IntArray, value: NDArray[np.floating]) -> None:
        rows.append(np.broadcast_to(row[:, None], column.shape).ravel())
        columns.append(column.ravel())
        values.append(np.asarray(value, float).ravel())
        times[:] += np.bincount(row, minlength=n_pairs)

    # the edge node from corner a towards corner b of an element is local node 3 + edge
    leaving = np.array([3 + i for i, _ in enumerate(EDGES)])
    for count in np.unique(size[fitted]).tolist():
        vertex = np.flatnonzero(fitted & (size == count))
        around = order[start[vertex][:, None] + np.arange(count)]
        element, corner = np.divmod(around, 3)
        centre = x[element[:, 0], corner[:, 0]]
        plane = frame[vertex, :2].swapaxes(1, 2)
        cloud = (samples[element].reshape(len(vertex), -1, 3) - centre[:, None]) @ plane
        reach = np.sqrt((cloud * cloud).sum(axis=2)).max(axis=1)[:, None, None]
        fit = np.linalg.pinv(quadratics(cloud / reach))
        column = (3 * element[:, :, None] + np.arange(3)).reshape(len(vertex), -1)
        add(vertex, column, fit[:, 0])
        # inside a group every edge at the vertex leaves it in exactly one of its elements
        for i in range(count):
            node = leaving[corner[:, i]]
            middle = (x[element[:, i], node] - centre)[:, None] @ plane
            add(pair[element[:, i], node], column, (quadratics(middle / reach) @ fit)[:, 0])
    element, node = np.nonzero(times[pair] == 0.0)
    add(pair[element, node], 3 * element[:, None] + np.arange(3), linear_extension()[node])
    every = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    weights = csr_array(every, shape=(n_pairs, 3 * n))
    weights.data /= np.repeat(times, np.diff(weights.indptr))
    return weights
