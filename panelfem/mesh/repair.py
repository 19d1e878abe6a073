"""Last touches to a finished layout: edges swapped, vertices moved, needles taken out where that opens small angles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.collapse import collapse
from panelfem.mesh.layout import Layout
from panelfem.mesh.snap import settle
from panelfem.mesh.topology import angles, cross_products, unit

POOR = np.radians(28.0)
"""Elements with a smaller angle than this have their vertices moved, if that helps (choice)."""
OPEN = np.radians(110.0)
"""Two border edges of one element that meet at more than this are taken for parts of one smooth line (choice)."""
ROUNDS = 6


def improve(layout: Layout) -> Layout:
    """Swap edges, move vertices and take needles out where it raises the smallest angle around them.

    Borders, rim and tags stay: their edges are not swapped, their vertices move along them.
    """
    for _ in range(ROUNDS):
        layout, swaps = _swap(layout)
        layout, moves = _move(layout)
        layout, collapses = collapse(layout)
        if not swaps and not moves and not collapses:
            break
    return _relieve(layout)


def _lines(layout: Layout) -> BoolArray:
    """Edges that are bent to a curve, (n_edges,)."""
    return np.asarray(layout.edge_on.any(axis=1) | layout.edge_rim)


def _relieve(layout: Layout) -> Layout:
    """Elements with two edges on one smooth line that no swap could part: split into three at their middle.

    Bent to the line, the two edges would meet at 180° and the element would have no area there.
    """
    flat = np.flatnonzero(_flattened(layout, layout.triangles, angles(layout.vertices, layout.triangles)))
    if not len(flat):
        return layout
    tri = layout.triangles[flat]
    middle, _ = layout.surface.carry(layout.vertices[tri].mean(axis=1))
    new = len(layout.vertices) + np.arange(len(flat))
    kept = np.ones(len(layout.triangles), bool)
    kept[flat] = False
    parts = [np.stack([tri[:, i], tri[:, (i + 1) % 3], new], axis=1) for i in range(3)]
    source = np.concatenate([np.flatnonzero(kept), flat, flat, flat])
    return replace(
        layout,
        vertices=np.vstack([layout.vertices, middle]),
        triangles=np.vstack([layout.triangles[kept], *parts]),
        inside=layout.inside[source],
        tags=layout.tags[source],
        pinned=np.concatenate([layout.pinned, np.zeros(len(flat), bool)]),
    )


def _flattened(layout: Layout, triangles: IntArray, at: FloatArray) -> BoolArray:
    """Triangles with two edges on lines that meet at more than `OPEN`, (n,); `at` (n, 3) are their angles."""
    n = len(layout.vertices)
    bound = np.zeros(at.shape, bool)
    # the angle at corner i lies between edge i and the edge before it
    wide = np.flatnonzero((at > OPEN).any(axis=1))
    sides, lines = triangles[wide][:, [[0, 1], [1, 2], [2, 0]]], layout.edges.ends[_lines(layout)]
    bound[wide] = np.isin(_keys(sides, n), _keys(lines, n))
    return np.asarray((bound & np.roll(bound, 1, axis=1) & (at > OPEN)).any(axis=1))


def _keys(ends: IntArray, n: int) -> IntArray:
    """A number for each pair (..., 2) of n vertices, in whichever order."""
    return np.asarray(ends.min(axis=-1) * n + ends.max(axis=-1))


def _move(layout: Layout) -> tuple[Layout, int]:
    """Vertices of poor elements moved half way and wholly to the middle of their neighbours, if that helps."""
    tri, x, edges = layout.triangles, layout.vertices.copy(), layout.edges
    poor = _worst(x, tri) < POOR
    bound = layout.edge_on.any(axis=1) | layout.edge_rim | layout.edge_tags
    line = np.zeros(len(x), bool)
    line[edges.ends[bound]] = True
    movable = np.zeros(len(x), bool)
    movable[tri[poor]] = True
    movable &= ~layout.pinned
    # a vertex where lines meet or end stays; so does one on a tag border, whose true line is not known
    degree = np.bincount(edges.ends[bound].ravel(), minlength=len(x))
    movable &= ~line | (degree == 2)
    movable[edges.ends[layout.edge_tags]] = False
    at = np.flatnonzero(movable)
    if not len(at):
        return layout, 0
    total, count = np.zeros_like(x), np.zeros(len(x))
    for i, j in ((0, 1), (1, 0)):
        a, b = edges.ends[:, i], edges.ends[:, j]
        use = ~line[a] | bound
        np.add.at(total, a[use], x[b[use]])
        count += np.bincount(a[use], minlength=len(x))
    middle = total[at] / np.maximum(count[at], 1.0)[:, None]
    worst, moves = _worst(x, tri), 0
    for share in (1.0, 0.4):
        wanted = x.copy()
        wanted[at] += share * (middle - x[at])
        pending = np.zeros(len(x), bool)
        wanted[at], pending[at] = settle(
            wanted[at], layout.vertex_on[at], layout.vertex_rim[at], layout.directions[at], 0.7 * layout.sizes[at],
            layout.surface, layout.regions[: layout.inside.shape[1]], layout.diagonal,
        )  # fmt: skip
        while pending.any():
            # in the order of their numbers; together all that have no neighbour before them still to come
            ready = pending.copy()
            ready[edges.ends[pending[edges.ends[:, 0]], 1]] = False
            pending &= ~ready
            element, corner = np.nonzero(ready[tri])
            vertex = tri[element, corner]
            moved = np.where(ready[:, None], wanted, x)
            after = _worst(moved, tri[element])
            normal = unit(cross_products(moved, tri[element]))
            upright = np.einsum("ij,ij->i", normal, layout.normals[vertex]) > 0.3
            least = np.full((2, len(x)), np.inf)
            np.minimum.at(least[0], vertex, worst[element])
            np.minimum.at(least[1], vertex, np.where(upright, after, -np.inf))
            better = ready & (least[1] > least[0] + np.radians(0.3))
            x[better] = wanted[better]
            worst[element] = np.where(better[vertex], after, worst[element])
            moves += int(better.sum())
    return (replace(layout, vertices=x) if moves else layout), moves


def _swap(layout: Layout) -> tuple[Layout, int]:
    """One round of swaps that do not touch each other."""
    x, tri, edges = layout.vertices, layout.triangles.copy(), layout.edges
    free = (edges.count == 2) & ~layout.edge_rim & ~layout.edge_on.any(axis=1)
    first, second = edges.sides.T
    free &= ~layout.edge_tags
    at = np.flatnonzero(free)
    first, second = first[at], second[at]
    a, b = edges.ends[at].T
    c = tri[first].sum(axis=1) - a - b
    d = tri[second].sum(axis=1) - a - b
    # orient so that the first element runs a → b
    forward = ((tri[first] == a[:, None]) & (np.roll(tri[first], -1, axis=1) == b[:, None])).any(axis=1)
    a, b = np.where(forward, a, b), np.where(forward, b, a)

    def worst(*triangles: IntArray) -> FloatArray:
        rated = [(t, angles(x, t)) for t in triangles]
        return np.asarray(np.min([np.where(_flattened(layout, t, at), 0.0, _least(at)) for t, at in rated], axis=0))

    one, two = np.stack([a, d, c], 1), np.stack([d, b, c], 1)
    old = worst(np.stack([a, b, c], 1), np.stack([b, a, d], 1))
    normal = unit(cross_products(x, np.stack([a, b, c], 1))) + unit(cross_products(x, np.stack([b, a, d], 1)))
    upright = np.ones(len(at), bool)
    for pair in (one, two):
        upright &= np.einsum("ij,ij->i", unit(cross_products(x, pair)), unit(normal)) > 0.8
    gain = np.where(upright, worst(one, two) - old, -1.0)
    wishes = np.argsort(-gain, kind="stable")
    wishes = wishes[gain[wishes] >= np.radians(1.0)]
    # a new edge may not exist already
    new = _keys(np.stack([c, d], axis=1), len(x))
    known = np.isin(new, _keys(edges.ends, len(x)))
    touched = np.zeros(len(tri), bool)
    made: set[int] = set()
    for i in wishes[~known[wishes]]:
        if touched[first[i]] or touched[second[i]] or new[i] in made:
            continue
        tri[first[i]], tri[second[i]] = one[i], two[i]
        made.add(int(new[i]))
        touched[[first[i], second[i]]] = True
    return (replace(layout, triangles=tri) if made else layout), len(made)


def _worst(x: FloatArray, triangles: IntArray) -> FloatArray:
    """Smallest angle of triangles; one that is nearly 180° counts as what it lacks to that."""
    return _least(angles(x, triangles))


def _least(at: FloatArray) -> FloatArray:
    """As `_worst`, of the angles (n, 3)."""
    return np.asarray(np.minimum(at.min(axis=1), np.pi - at.max(axis=1)))
