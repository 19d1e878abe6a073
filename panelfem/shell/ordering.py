"""The order in which unknowns are eliminated: geometric nested dissection of the elements.

Elements are halved again and again across their longest extent; a node is eliminated with the smallest part that holds
all its elements, parts from the leaves to the root.  Source: George 1973, SIAM J. Numer. Anal. 10:345 (recalled).
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import FloatArray, IntArray

LEAF = 2
"""Elements in a part that is not halved further."""


def halving_codes(centroids: FloatArray) -> IntArray:
    """Leaf number (ne,) of each element: binary digits say which half it fell into at each level."""
    ne = len(centroids)
    levels = max(0, int(np.ceil(np.log2(ne / LEAF)))) if ne else 0
    code = np.zeros(ne, np.int64)
    parts = [(np.arange(ne), 0, levels)]
    while parts:
        elements, prefix, level = parts.pop()
        if level == 0 or len(elements) < 2:
            code[elements] = prefix << level
            continue
        x = centroids[elements]
        along = x[:, np.argmax(x.max(axis=0) - x.min(axis=0))]
        half = len(elements) // 2
        split = np.argpartition(along, half)
        parts.append((elements[split[:half]], 2 * prefix, level - 1))
        parts.append((elements[split[half:]], 2 * prefix + 1, level - 1))
    return code


def nested_dissection(nodes: IntArray, centroids: FloatArray, n_nodes: int) -> IntArray:
    """Rank (n_nodes,) in the elimination order of the nodes (ne, m) of elements with `centroids` (ne, 3).

    >>> strip = np.array([[i, i + 1] for i in range(4)])
    >>> places = np.array([[i + 0.5, 0, 0] for i in range(4)])
    >>> int(nested_dissection(strip, places, 5)[2])          # the node between the halves comes last
    4
    """
    code = np.repeat(halving_codes(centroids), nodes.shape[1])
    lowest = np.full(n_nodes, np.iinfo(np.int64).max)
    highest = np.zeros(n_nodes, np.int64)
    np.minimum.at(lowest, nodes.ravel(), code)
    np.maximum.at(highest, nodes.ravel(), code)
    lowest = np.minimum(lowest, highest)  # nodes of no element
    levels = np.frexp((lowest ^ highest).astype(float))[1].astype(np.int64)
    last_leaf = (((highest >> levels) + 1) << levels) - 1
    rank = np.empty(n_nodes, np.int64)
    rank[np.lexsort((levels, last_leaf))] = np.arange(n_nodes)
    return rank
