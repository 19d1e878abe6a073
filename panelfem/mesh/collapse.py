"""Short edges of needles taken out: one end is drawn into the other, borders and rim kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.layout import Layout
from panelfem.mesh.topology import angles, compact, cross_products, unit

NEEDLE = np.radians(15.0)
"""Elements with a smaller angle than this lose their shortest edge, if that helps (choice)."""
ONE_LINE = 0.05
"""Two borders nearer than this share of the edge length may be drawn together there (choice; told if it shows)."""
OFF = 0.02
"""A vertex farther off its border than this share of its edges is drawn into a neighbour that is on it (choice)."""


def collapse(layout: Layout) -> tuple[Layout, int]:
    """One round of collapses that do not touch each other, and how many there were.

    A vertex is drawn into a neighbour only along every border and rim it lies on, or if the neighbour is as good as on
    those borders; no element may turn over, and the smallest angle around must grow unless the vertex was off its
    border.
    """
    regions = layout.regions[: layout.inside.shape[1]]
    x, tri = layout.vertices, layout.triangles.copy()
    distance = np.stack([r.distance(x) for r in regions], axis=1) if regions else np.zeros((len(x), 0))
    share = np.where(layout.vertex_on, np.abs(distance), 0.0).max(axis=1, initial=0.0) / layout.sizes
    order = np.argsort(tri.ravel(), kind="stable")
    start = np.searchsorted(tri.ravel()[order], np.arange(len(x) + 1))

    def star(v: int) -> IntArray:
        return np.asarray(order[start[v] : start[v + 1]] // 3, np.int64)

    touched = np.zeros(len(x), bool)
    gone = np.zeros(len(tri), bool)
    count = 0
    for u, v, lost in _wishes(layout, share):
        if touched[u] or touched[v] or layout.pinned[u] or not _may(layout, u, v, distance):
            continue
        around = star(u)
        shared = around[(tri[around] == v).any(axis=1)]
        ring_u, ring_v = np.unique(tri[around]), np.unique(tri[star(v)])
        if touched[ring_u].any() or len(np.intersect1d(ring_u, ring_v)) != len(shared) + 2:
            continue
        rest = around[~np.isin(around, shared)]
        if not len(rest) or not len(shared):
            continue
        before = tri[rest]
        after = np.where(before == u, v, before)
        turned = np.einsum("ij,ij->i", unit(cross_products(x, before)), unit(cross_products(x, after))) < 0.5
        if turned.any() or (not lost and _worst(x, after) <= _worst(x, tri[around])):
            continue
        tri[rest] = after
        gone[shared] = True
        touched[ring_u] = touched[ring_v] = True
        count += 1
    if not count:
        return layout, 0
    kept = ~gone
    used = np.unique(tri[kept])
    x, triangles = compact(x, tri[kept])
    return (
        replace(
            layout,
            vertices=x,
            triangles=triangles,
            inside=layout.inside[kept],
            tags=layout.tags[kept],
            pinned=layout.pinned[used],
        ),
        count,
    )


def _wishes(layout: Layout, share: FloatArray) -> list[tuple[int, int, bool]]:
    """What might be drawn into what: vertices off their border first, then the ends of needles' shortest edges."""
    x, tri = layout.vertices, layout.triangles
    wishes: list[tuple[int, int, bool]] = []
    for u in np.flatnonzero(share > OFF).tolist():
        at = np.flatnonzero((layout.edges.ends == u).any(axis=1))
        around = layout.edges.ends[at].sum(axis=1) - u
        near = np.argsort(np.linalg.norm(x[around] - x[u], axis=1), kind="stable")
        wishes += [(u, int(v), True) for v in around[near]]
    smallest = angles(x, tri).min(axis=1)
    for e in np.argsort(smallest, kind="stable"):
        if smallest[e] > NEEDLE:
            break
        corner = tri[e]
        length = np.linalg.norm(x[corner] - x[np.roll(corner, -1)], axis=1)
        i = int(np.argmin(length))
        u, v = int(corner[i]), int(corner[(i + 1) % 3])
        wishes += [(u, v, False), (v, u, False)]
    return wishes


def _may(layout: Layout, u: int, v: int, distance: FloatArray) -> bool:
    """Whether u may be drawn into v without taking a line off its place."""
    at = np.flatnonzero((layout.edges.ends == min(u, v))[:, 0] & (layout.edges.ends == max(u, v))[:, 1])
    if not len(at):
        return False
    edge = int(at[0])
    if layout.vertex_rim[u] and not layout.edge_rim[edge]:
        return False
    first, second = layout.edges.sides[edge]
    ends = layout.edges.ends
    lines: BoolArray = np.asarray(layout.edge_on.any(axis=1) | layout.edge_rim | layout.edge_tags)
    if lines[(ends == u).any(axis=1)].sum() > 2:
        return False
    if layout.edge_tags[(ends == u).any(axis=1)].any() and not (second >= 0 and layout.edge_tags[edge]):
        return False
    along = layout.edge_on[edge] | ~layout.vertex_on[u]
    near = np.abs(distance[v]) < ONE_LINE * layout.sizes[u]
    return bool((along | near).all()) and first >= 0


def _worst(x: FloatArray, triangles: IntArray) -> float:
    return float(angles(x, triangles).min())
