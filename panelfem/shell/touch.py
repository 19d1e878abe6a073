"""Where a rigid shape may press on the skin: rows for the mean motion around the nodes of a lattice.

At each node of a lattice on the triangles the shape may not enter the skin in the mean with a weight ψ; with
n(x) the outward normal of the shape under the point x,

    P u = ∫ ψ n·u dA / ∫ ψ dA ≥ −gap,     load of the force λ:  Pᵀ λ.

Rows and loads are transposes of each other, so the compliance of the places is symmetric.  With the hat φ of
the node (linear on each lattice triangle):

- inside the panel ψ = (5 φ − 1)/2: the weights sum to one everywhere, so that equal pressures give a uniform
one, and the
  mean of a quadratic field is its value at the node (for a regular lattice; the mean with φ itself sees a
  circle of radius R about h²/12R too far away);
- next to an edge of the panel ψ = 2 − 20 φ + 30 φ²: the mean of any quadratic field is its value at the node,
so that a shape
  that meets a sloping free edge meets the edge, not a point a third of an element inside;
- where the hat reaches an end of the shape, ψ = φ over what is covered: no negative lobe meets its steep side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from skfem import ElementTriP1
from skfem.quadrature import get_quadrature

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import number_nodes
from panelfem.mesh.lattice import lattice
from panelfem.shell.shell import Shell

LEAST_SHARE = 0.02
"""A hat of which the shape covers less than this share of the area is left out (it would be a needle)."""

SLANT = 0.5
"""A hat reaches an end of the shape where the normal has less than this share along the direction of pushing (60°)."""


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
    `place` (m, 3) m; `near` csr (m, m): places whose hats overlap; `over` (k, 2): each place with every element
    its hat reaches.
    """

    rows: sparse.csr_array
    gap: FloatArray
    share: FloatArray
    area: FloatArray
    place: FloatArray
    near: sparse.csr_array
    over: IntArray


def split_rule(division: int) -> tuple[FloatArray, FloatArray]:
    """Reference points (2, q) and weights (q,) of a rule on each of the division² triangles of the lattice.

    >>> round(float(split_rule(3)[1].sum()), 12)
    0.5
    """
    # all weights of these rules are positive, so a part of an element that a shape covers has a positive area
    points, weights = get_quadrature(ElementTriP1, 5 if division == 1 else 4)
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
    support = phi > 0
    weight = np.where(there, points.area, 0.0)
    along = np.where(there, normal @ direction, 0.0)
    gap = np.where(there, clearance, 0.0) * along
    every = _lattice_nodes(shell, points.division)
    nodes = every[points.elements]
    m = int(nodes.max(initial=-1)) + 1
    rim = _rim_points(shell, points, every, support)
    cut = np.zeros(m, bool)
    cut[nodes[(along < SLANT) @ support]] = True
    cut = cut[nodes]
    inside, edge = 2.5 * phi - 0.5 * support, 2.0 * support - 20 * phi + 30 * phi**2
    kinds = ((cut, np.ones_like(rim), phi), (~cut, ~rim, inside), (~cut, rim, edge))

    def total(value: FloatArray) -> FloatArray:
        """Sums (m,) of `value` (n, q) with each node's weight."""
        parts = np.zeros(nodes.shape)
        for which, where, psi in kinds:
            parts += np.where(which, np.where(where, value, 0.0) @ psi, 0.0)
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
    block = np.zeros((len(touched), phi.shape[1], shapes.shape[1], 3))
    for which, where, psi in kinds:
        some = np.flatnonzero(which[touched].any(axis=1) & where[touched].any(axis=1))
        part = np.where(where[touched[some], :, None], push[some], 0.0)
        added = np.einsum("eqd,qv,qi->evid", part, psi, shapes, optimize=True)
        block[some] += np.where(which[touched[some], :, None, None], added, 0.0)
    row = number[nodes[touched]]
    column = shell.layout.displacement_unknowns[points.elements[touched]]
    index = np.broadcast_to(row[:, :, None, None], block.shape)
    used = (index >= 0) & (block != 0)
    rows = sparse.csr_array(
        (block[used], (index[used], np.broadcast_to(column[:, None], block.shape)[used])),
        shape=(len(kept), shell.n_total),
    )
    rows = sparse.csr_array(sparse.diags_array(1.0 / area) @ rows) if len(kept) else rows
    rows.data[np.abs(rows.data) < 1e-12] = 0.0  # rounding, where a node is its own place
    rows.eliminate_zeros()
    over = np.column_stack([row.ravel(), np.repeat(points.elements[touched], row.shape[1])])
    return TouchRows(rows, gap, share, area, place, _overlap(row, phi.shape[1], len(kept)), over[over[:, 0] >= 0])


def _rim_points(shell: Shell, points: SurfacePoints, every: IntArray, support: BoolArray) -> BoolArray:
    """Which points (n, q) lie in a triangle of the lattice that has a corner on a free or held edge of the panel."""
    d = points.division
    ends = shell.mesh.triangles[shell.active][:, [[0, 1], [1, 2], [2, 0]]]
    key = np.sort(ends, axis=2) @ np.array([int(shell.mesh.triangles.max()) + 1, 1])
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    element, side = np.nonzero(count[inverse.reshape(key.shape)] == 1)
    along = np.column_stack([side, (side + 1) % 3, 3 + side[:, None] * (d - 1) + np.arange(d - 1)])
    on_rim = np.zeros(int(every.max()) + 1, bool)
    on_rim[every[np.flatnonzero(shell.active)[element]][np.arange(len(element))[:, None], along]] = True
    return np.asarray(on_rim[every[points.elements]] @ support.T)


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
