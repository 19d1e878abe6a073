"""A triangulation cut along the border of a region."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.mesh.layout import Layout
from panelfem.mesh.region import Cornered

NEAR = 0.3
"""A vertex nearer to the border than this share of its mean edge is moved onto it rather than cut round."""
ON_EDGE = 0.1
"""A new vertex whose least area coordinate is below this splits the edge beside it, not its triangle alone (choice)."""
COINCIDE = 0.02
"""Lines nearer to each other than this share of the mean edge are one line to the mesh (told if it shows)."""


def pin_corners(layout: Layout, region: Cornered) -> Layout:
    """A vertex pinned at each corner of the region's border: one moved there, or a new one where none can be moved."""
    points, axes = region.corners_and_axes()
    for point, axis in zip(points, axes, strict=True):
        spot = _meet(layout, point, axis)
        if spot is None:
            continue
        x, pinned = layout.vertices.copy(), layout.pinned.copy()
        gap = np.linalg.norm(x - spot, axis=1)
        rim, held = layout.vertex_rim, pinned
        near = np.argsort(gap)[:12]
        v = int(near[0])
        if gap[v] < 1e-7 * layout.diagonal:
            pinned[v] = True
            x[v] = spot
            layout = replace(layout, vertices=x, pinned=pinned)
            continue
        # a vertex of the rim serves only a corner on the rim
        on_rim = np.linalg.norm(layout.surface.rim.carry(spot[None])[0][0] - spot) < 1e-6 * layout.diagonal
        fit = [int(i) for i in near if not held[i] and (not rim[i] or on_rim)]
        fit.sort(key=lambda i: gap[i] - (layout.sizes[i] if on_rim and rim[i] else 0.0))
        for i in fit[:6]:
            around = np.flatnonzero((layout.triangles == i).any(axis=1))
            corner = layout.triangles[around]
            trial = x.copy()
            trial[i] = spot
            old = np.cross(x[corner[:, 1]] - x[corner[:, 0]], x[corner[:, 2]] - x[corner[:, 0]])
            new = np.cross(trial[corner[:, 1]] - trial[corner[:, 0]], trial[corner[:, 2]] - trial[corner[:, 0]])
            if (np.einsum("ij,ij->i", old, new) > 0.1 * np.einsum("ij,ij->i", old, old)).all():
                pinned[i] = True
                layout = replace(layout, vertices=trial, pinned=pinned)
                break
        else:
            layout = _with_vertex(layout, spot)
    return layout


def _with_vertex(layout: Layout, spot: FloatArray) -> Layout:
    """A new pinned vertex at `spot` (3,): the triangle it lies in, or the two at the edge it all but lies on, split."""
    from panelfem.mesh.closest import TriangleSearch

    element, bary = TriangleSearch(layout.vertices, layout.triangles).nearest(spot[None])
    split, edge = element, np.zeros(0, np.int64)
    opposite = int(np.argmin(bary[0]))
    if bary[0, opposite] < ON_EDGE:
        edge = np.delete(layout.triangles[element[0]], opposite)
        split = np.flatnonzero(np.isin(layout.triangles, edge).sum(axis=1) == 2)
    tri = layout.triangles[split]
    sides = np.stack([tri, np.roll(tri, -1, axis=1)], axis=2).reshape(-1, 2)
    outer = ~np.isin(sides, edge).all(axis=1)
    parts = np.column_stack([sides[outer], np.full(outer.sum(), len(layout.vertices))])
    kept = np.setdiff1d(np.arange(len(layout.triangles)), split)
    source = np.concatenate([kept, np.repeat(split, 3)[outer]])
    return replace(
        layout,
        vertices=np.vstack([layout.vertices, spot]),
        triangles=np.vstack([layout.triangles[kept], parts]),
        inside=layout.inside[source],
        tags=layout.tags[source],
        pinned=np.append(layout.pinned, True),
    )


def _meet(layout: Layout, point: FloatArray, axis: FloatArray) -> FloatArray | None:
    """Where the line through `point` along `axis` meets the surface; None if it misses it."""
    x = point.copy()
    onto = np.eye(3) - np.outer(axis, axis)
    aside = (layout.vertices - point) @ onto
    near = np.argsort(np.linalg.norm(aside, axis=1))[:3]
    if np.linalg.norm(aside[near[0]]) > layout.longest:
        return None
    best = near[np.argmin(np.abs((layout.vertices[near] - point) @ axis))]
    x = point + axis * float((layout.vertices[best] - point) @ axis)
    foot = x
    for _ in range(60):
        spots, feet = layout.surface.carry(foot[None])
        spot, foot = spots[0], feet[0]
        gap = onto @ (spot - point)
        if np.linalg.norm(gap) < 1e-12 * layout.diagonal:
            return _if_on_panel(layout, spot)
        # the foot goes back across the line by what is missing, in the tangent plane
        normal = layout.normals[np.argmin(np.linalg.norm(layout.vertices - spot, axis=1))]
        slant = float(normal @ axis)
        if abs(slant) < 0.05:
            return None
        foot = foot - gap + axis * float(gap @ normal) / slant
    return None


def _if_on_panel(layout: Layout, spot: FloatArray) -> FloatArray | None:
    """The spot, unless it lies beyond the rim of the panel."""
    from panelfem.mesh.closest import TriangleSearch

    element, bary = TriangleSearch(layout.vertices, layout.triangles).nearest(spot[None])
    tri = layout.triangles[element[0]]
    foot = bary[0] @ layout.vertices[tri]
    normal = layout.normals[tri].mean(axis=0)
    off = spot - foot
    aside = np.linalg.norm(off - (off @ normal) * normal / (normal @ normal))
    return spot if aside < 0.02 * layout.sizes[tri].mean() else None


def cut(layout: Layout) -> Layout:
    """Cut along the border of the next region: move near vertices onto it, split the crossed triangles.

    Every triangle of the result lies wholly inside or wholly outside; `inside` gains a column.
    """
    region = layout.regions[layout.inside.shape[1]]
    if isinstance(region, Cornered):
        layout = pin_corners(layout, region)
    ne, done = layout.inside.shape
    value = region.distance(layout.vertices)
    # on the way the layout counts the region as cut, with no element inside yet
    trial = replace(layout, inside=np.column_stack([layout.inside, np.zeros(ne, bool)]))
    near = np.abs(value) < NEAR * layout.sizes
    on = np.column_stack([layout.vertex_on, near & ~layout.pinned])
    moved, arrived = trial.snapped(on, share=0.45, only=near)
    took = near & ~layout.pinned & arrived
    # a move that leaves a flat element is not worth it: that vertex is cut round instead
    value = region.distance(moved.vertices)
    exact = np.abs(value) < 1e-6 * layout.sizes
    value[took | exact] = 0.0
    # a vertex held by another line and all but on this border counts as on it: the two lines are one there
    held = layout.pinned | layout.vertex_rim | layout.vertex_on.any(axis=1)
    value[held & (np.abs(value) < COINCIDE * layout.sizes)] = 0.0
    sign = np.sign(value).astype(np.int64)
    return _split(moved, sign, value, done)


def _return(layout: Layout, edges: IntArray, sign: IntArray, column: int) -> FloatArray:
    """Where edges with one end on the border cross it once more: parameter from the lower vertex, nan if nowhere."""
    a, b = layout.edges.ends[edges].T
    other = np.where(sign[a] == 0, sign[b], sign[a])
    share = np.arange(1, 8) / 8.0
    run = layout.vertices[b] - layout.vertices[a]
    points = layout.vertices[a][:, None] + share[:, None] * run[:, None]
    value = layout.regions[column].distance(points.reshape(-1, 3)).reshape(points.shape[:2])
    wrong = value * other[:, None] < -COINCIDE * np.linalg.norm(run, axis=1)[:, None]
    away = np.where((sign[a] == 0)[:, None], share, 1.0 - share)
    last = np.argmax(np.where(wrong, away, -1.0), axis=1)
    rows = np.arange(len(edges))
    beyond = last + np.where(sign[a] == 0, 1, -1)
    # between the last wrong sample and the next one towards the far end, by the secant
    ends = np.column_stack([np.zeros(len(edges)), value, np.zeros(len(edges))])
    places = np.concatenate([[0.0], share, [1.0]])
    far = layout.regions[column].distance(np.where((sign[a] == 0)[:, None], layout.vertices[b], layout.vertices[a]))
    ends[rows, np.where(sign[a] == 0, 8, 0)] = far
    p, q = ends[rows, last + 1], ends[rows, beyond + 1]
    gap = np.where(p == q, 1.0, p - q)
    t = places[last + 1] + (places[beyond + 1] - places[last + 1]) * p / gap
    return np.where(wrong.any(axis=1), t, np.nan)


def _split(layout: Layout, sign: IntArray, value: FloatArray, column: int) -> Layout:
    """Split all triangles whose vertices lie on both sides; `sign` (nv,) is −1, 0, 1."""
    tri, edges = layout.triangles, layout.edges
    start, end = edges.ends.T
    t = np.full(len(start), np.nan)
    opposite = sign[start] * sign[end] < 0
    t[opposite] = value[start[opposite]] / (value[start[opposite]] - value[end[opposite]])
    # an edge that leaves the border on one side may still come back through it: it cuts off a corner of the region
    leaving = np.flatnonzero((sign[start] == 0) != (sign[end] == 0))
    t[leaving] = _return(layout, leaving, sign, column)
    at = np.flatnonzero(np.isfinite(t))
    number = np.full(len(edges.ends), -1, np.int64)
    number[at] = len(layout.vertices) + np.arange(len(at))
    a, b = edges.ends[at].T
    cuts = layout.vertices[a] + t[at, None] * (layout.vertices[b] - layout.vertices[a])
    x = np.vstack([layout.vertices, cuts])
    sign = np.concatenate([sign, np.zeros(len(at), np.int64)])
    middle = number[edges.of]
    count = (middle >= 0).sum(axis=1)
    parts: list[IntArray] = [tri[count == 0]]
    origin: list[IntArray] = [np.flatnonzero(count == 0)]
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        # one crossed edge i→j, the vertex k on the border
        one = np.flatnonzero((count == 1) & (middle[:, i] >= 0))
        m = middle[one, i]
        parts += [np.stack([tri[one, i], m, tri[one, k]], 1), np.stack([m, tri[one, j], tri[one, k]], 1)]
        origin += [one, one]
        # edges i→j and k→i crossed: vertex i alone on its side
        two = np.flatnonzero((count == 2) & (middle[:, i] >= 0) & (middle[:, k] >= 0))
        m, n = middle[two, i], middle[two, k]
        v, p, q = tri[two, i], tri[two, j], tri[two, k]
        parts.append(np.stack([v, m, n], 1))
        short = np.linalg.norm(x[m] - x[q], axis=1) <= np.linalg.norm(x[n] - x[p], axis=1)
        parts.append(np.where(short[:, None], np.stack([m, p, q], 1), np.stack([m, p, n], 1)))
        parts.append(np.where(short[:, None], np.stack([m, q, n], 1), np.stack([n, p, q], 1)))
        origin += [two, two, two]
    triangles, source = np.concatenate(parts), np.concatenate(origin)
    inside = layout.inside[source]
    total = sign[triangles].sum(axis=1)
    flat = total == 0
    inside[:, column] = total < 0
    if flat.any():
        region = layout.regions[column]
        inside[flat, column] = region.distance(x[triangles[flat]].mean(axis=1)) < 0.0
    pinned = np.concatenate([layout.pinned, np.zeros(len(at), bool)])
    result = replace(layout, vertices=x, triangles=triangles, inside=inside, tags=layout.tags[source], pinned=pinned)
    new = np.arange(len(x)) >= len(layout.vertices)
    return result.snapped(share=0.3, only=new)[0]
