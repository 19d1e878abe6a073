"""The node lattice of a triangle of order k, in coordinates of the reference triangle (0,0), (1,0), (0,1)."""

from __future__ import annotations

from functools import cache

import numpy as np

from panelfem.arrays import FloatArray

CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
"""Corners of the reference triangle, one row each."""

EDGES = ((0, 1), (1, 2), (2, 0))
"""Its edges as pairs of corners, in the direction in which their nodes are counted."""


@cache
def lattice(k: int) -> tuple[FloatArray, FloatArray]:
    """Boundary nodes (2, 3k) and inner nodes (2, (k−1)(k−2)/2) of the lattice of order k ≥ 1.

    Order: the three corners; the k−1 nodes inside edge 0→1, then 1→2, then 2→0; then the inner nodes (i/k, j/k),
    row by row for j = 1 … k−2, i = 1 … k−j−1.

    >>> boundary, inner = lattice(3)
    >>> boundary.shape, inner.T.round(3).tolist()
    ((2, 9), [[0.333, 0.333]])
    """
    step = np.arange(1, k)[:, None] / k
    boundary = np.vstack([CORNERS] + [CORNERS[a] + step * (CORNERS[b] - CORNERS[a]) for a, b in EDGES])
    inner = np.array([(i / k, j / k) for j in range(1, k) for i in range(1, k - j)]).reshape(-1, 2)
    boundary.flags.writeable = inner.flags.writeable = False
    return boundary.T, inner.T


def barycentric(points: FloatArray) -> FloatArray:
    """Barycentric coordinates (n, 3) of reference points (2, n).

    >>> barycentric(np.array([[0.25], [0.5]])).tolist()
    [[0.25, 0.25, 0.5]]
    """
    return np.stack([1.0 - points[0] - points[1], points[0], points[1]], axis=1)
