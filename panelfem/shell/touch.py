"""Where a rigid shape may press on the skin: rows for the mean motion under hat functions.

The contact pressure is piecewise linear between the nodes of a lattice on each triangle, and the shape may
not enter the skin in the mean weighted with the same hat functions φ: with n(x) the outward normal of the
shape under the point x,

    P u = ∫ φ n·u dA / ∫ φ dA ≥ −gap,     load of the force λ:  Pᵀ λ,     pressure  λ / ∫ φ dA.

Next to the edge of the panel, where a hat lies to one side of its node, 4 φ − 1 takes the place of φ on each
lattice triangle: its mean of a linear field is the value at the node itself, so a shape that meets a sloping
free edge meets the edge and not a point a third of an element inside (the dual basis of mortar methods,
Wohlmuth 2000, from memory).

Rows and loads are transposes of each other, so the compliance of the places is symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from skfem import ElementTriP1
from skfem.quadrature import get_quadrature

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import number_nodes
from panelfem.mesh.lattice import barycentric, lattice
from panelfem.shell.shell import Shell

LEAST_SHARE = 0.02
"""A hat of which the shape covers less than this share of the area is left out (it would be a needle)."""


@dataclass(frozen=True)
class SurfacePoints:
    """Points of the active elements at which a shape is looked at.

    `elements` (n,) numbers; `place` (n, q, 3) m; `area` (n, q) m² of each point; `local` (2, q) reference
    points;
    `division`: lattice of the hats (1: the vertices of the mesh only).
    """

    elements: IntArray
    place: FloatArray
    area: FloatArray
    local: FloatArray
    division: int


@dataclass(frozen=True)
class TouchRows:
    """m places at which a shape may press.

    `rows` csr (m, n_total): mean displacement along the shape's outward normal; `gap` (m,) m before the shape
    advances;
    `share` (m,): the gap closes by share · advance (the mean of normal · direction); `area` (m,) m² of each
    place;
    `place` (m, 3) m; `near` csr (m, m): places whose hats overlap.
    """

    rows: sparse.csr_array
    gap: FloatArray
    share: FloatArray
    area: FloatArray
    place: FloatArray
    near: sparse.csr_array


def split_rule(division: int) -> tuple[FloatArray, FloatArray]:
    """Reference points (2, q) and weights (q,) of a rule on each of the division² triangles of the lattice.

    >>> round(float(split_rule(3)[1].sum()), 12)
    0.5
    """
    # all weights of these rules are positive, so a part of an element that a shape covers has a positive area
    points, weights = get_quadrature(ElementTriP1, {1: 5, 2: 4}.get(division, 2))
    d = division
    starts = [(i, j, 1.0) for i in range(d) for j in range(d - i)]
    starts += [(i + 1, j + 1, -1.0) for i in range(d - 1) for j in range(d - 1 - i)]
    parts = [(np.array([[i], [j]]) + sign * points) / d for i, j, sign in starts]
    return np.hstack(parts), np.tile(weights, len(parts)) / d**2


def surface_points(shell: Shell, division: int = 1, elements: BoolArray | None = None) -> SurfacePoints:
    """Points of the active elements (of those marked in `elements` (ne,)) for hats on a lattice of `division`."""
    chosen = np.flatnonzero(shell.active if elements is None else shell.active & elements)
    local, weights = split_rule(division)
    values, slopes = shell.layout.tables.triangle.displacement(local)
    x = shell.layout.x[chosen]
    area = np.linalg.norm(np.cross(slopes[0] @ x, slopes[1] @ x), axis=2) * weights
    return SurfacePoints(chosen, values @ x, area, local, division)


def sample_places(shell: Shell, count: int = 6) -> FloatArray:
    """Places (n, 3) on a lattice of order `count` of every active element, corners and edges included, m."""
    values = shell.layout.tables.triangle.displacement(np.hstack(lattice(count)))[0]
    return np.asarray((values @ shell.layout.x[shell.active]).reshape(-1, 3))


def hats(division: int, local: FloatArray) -> FloatArray:
    """Values (q, n) at reference points (2, q) of the piecewise linear hats of the lattice's n nodes.

    >>> hats(2, np.array([[0.25], [0.0]])).tolist()
    [[0.5, 0.0, 0.0, 0.5, 0.0, 0.0]]
    """
    nodes = np.rint(division * np.hstack(lattice(division))).T
    number = {(int(i), int(j)): n for n, (i, j) in enumerate(nodes)}
    out = np.zeros((local.shape[1], len(nodes)))
    for q, (r, s) in enumerate(division * local.T):
        i, j = min(int(r), division - 1), min(int(s), division - 1)
        a, b = r - i, s - j
        if a + b <= 1:
            corners = (((i, j), 1 - a - b), ((i + 1, j), a), ((i, j + 1), b))
        else:
            corners = (((i + 1, j + 1), a + b - 1), ((i + 1, j), 1 - b), ((i, j + 1), 1 - a))
        for corner, value in corners:
            if value > 0:
                out[q, number[corner]] += value
    return out


def touch_rows(
    shell: Shell, points: SurfacePoints, clearance: FloatArray, normal: FloatArray, direction: FloatArray
) -> TouchRows:
    """Rows of the places that a shape can reach.

    `clearance` (n, q) m: way of the shape along `direction` (3,) until it meets each point, inf where there
    is no shape;
    `normal` (n, q, 3): the shape's outward normal there.
    """
    there = np.isfinite(clearance)
    phi = hats(points.division, points.local)
    weight = np.where(there, points.area, 0.0)
    along = normal @ direction
    gap = np.where(there, clearance, 0.0) * along
    every = _lattice_nodes(shell, points.division)
    nodes = every[points.elements]
    m = int(nodes.max(initial=-1)) + 1
    tilted = _rim_points(shell, points, every, phi) & there.all(axis=1, keepdims=True)
    tilt = 3 * phi - (phi > 0)  # from a hat φ to 4 φ − 1, whose mean of a linear field is its value at the node

    def total(value: FloatArray) -> FloatArray:
        """Sums (m,) of `value` (n, q) weighted with each node's hat, tilted next to free edges."""
        parts = value @ phi + np.where(tilted, value, 0.0) @ tilt
        return np.bincount(nodes.ravel(), parts.ravel(), m).astype(float)

    covered = total(weight)
    whole = np.bincount(nodes.ravel(), (points.area @ phi).ravel(), m)
    kept = np.flatnonzero((covered > LEAST_SHARE * whole) & (covered > 0))
    number = np.full(m, -1)
    number[kept] = np.arange(len(kept))
    area = covered[kept]
    gap, share = (total(weight * value)[kept] / area for value in (gap, along))
    place = np.stack([total(weight * points.place[..., c])[kept] / area for c in range(3)], axis=1).reshape(-1, 3)
    touched = np.flatnonzero(there.any(axis=1))
    shapes = shell.layout.tables.triangle.displacement(points.local)[0]
    push = (weight[..., None] * normal)[touched]
    block = np.einsum("eqd,qv,qi->evid", push, phi, shapes, optimize=True)
    rim = np.flatnonzero(tilted[touched].any(axis=1))
    push = np.where(tilted[touched[rim], :, None], push[rim], 0.0)
    block[rim] += np.einsum("eqd,qv,qi->evid", push, tilt, shapes, optimize=True)
    row = number[nodes[touched]]
    column = shell.layout.displacement_unknowns[points.elements[touched]]
    index = np.broadcast_to(row[:, :, None, None], block.shape)
    used = index >= 0
    rows = sparse.csr_array(
        (block[used], (index[used], np.broadcast_to(column[:, None], block.shape)[used])),
        shape=(len(kept), shell.n_total),
    )
    rows = sparse.csr_array(sparse.diags_array(1.0 / area) @ rows) if len(kept) else rows
    return TouchRows(rows, gap, share, area, place, _overlap(row, phi.shape[1], len(kept)))


def _rim_points(shell: Shell, points: SurfacePoints, every: IntArray, phi: FloatArray) -> BoolArray:
    """Which points (n, q) lie in a triangle of the lattice that has a corner on a free or held edge of the panel."""
    d = points.division
    ends = shell.mesh.triangles[shell.active][:, [[0, 1], [1, 2], [2, 0]]]
    key = np.sort(ends, axis=2) @ np.array([int(shell.mesh.triangles.max()) + 1, 1])
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    element, side = np.nonzero(count[inverse.reshape(key.shape)] == 1)
    along = np.column_stack([side, (side + 1) % 3, 3 + side[:, None] * (d - 1) + np.arange(d - 1)])
    on_rim = np.zeros(int(every.max()) + 1, bool)
    on_rim[every[np.flatnonzero(shell.active)[element]][np.arange(len(element))[:, None], along]] = True
    return np.asarray(on_rim[every[points.elements]] @ (phi > 0).T)


def _lattice_nodes(shell: Shell, division: int) -> IntArray:
    """Numbers of the hats of each element, (ne, n)."""
    triangles = shell.mesh.triangles
    if division == 1:
        return triangles
    return number_nodes(triangles, int(triangles.max()) + 1, division)[0]


def _overlap(row: IntArray, n: int, m: int) -> sparse.csr_array:
    """Which of m places share an element: csr (m, m) of ones."""
    a = np.repeat(row, n, axis=1).ravel()
    b = np.tile(row, (1, n)).ravel()
    used = (a >= 0) & (b >= 0)
    near = sparse.csr_array((np.ones(int(used.sum())), (a[used], b[used])), shape=(m, m))
    return near


def nearest_point(points: SurfacePoints, place: FloatArray) -> tuple[int, FloatArray]:
    """Element and barycentric coordinates (3,) of the looked-at point nearest to `place` (3,)."""
    distance = np.linalg.norm(points.place - place, axis=2)
    e, q = np.unravel_index(int(distance.argmin()), distance.shape)
    return int(points.elements[e]), barycentric(points.local[:, [q]])[0]
