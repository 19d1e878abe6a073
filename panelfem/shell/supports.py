"""What holds the skin: rows for the mean motion under a washer, fixed nodes, and springs along edges.

Everything here is about boundary nodes (vertices and nodes on edges) of a `CurvedMesh`; node i owns the
unknowns 6i … 6i+5: displacement x y z, then rotation vector x y z.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import EDGES, lattice

ROW_NAMES = ("along t1", "along t2", "along its normal", "about t1", "about t2", "about its normal")
"""The six motions of a fastener, in the order of its rows."""


@dataclass(frozen=True)
class FastenerRows:
    """The mean motion of the skin under each of nf washers, as rows on the unknowns of the boundary nodes.

    `rows` csr (6 nf, 6 nb): mean displacement along t1, t2, n (m) and mean rotation about t1, t2, n (rad),
    exact for every rigid motion.  `place` (nf, 3) m: the mean place, about which the rotations turn and
    moments are counted; `frame` (nf, 3, 3): t1, t2, n as rows; `area` (nf,) m² under each washer, zero where
    nothing is left of the skin (its rows are zero then, and it holds nothing).
    """

    rows: sparse.csr_array
    place: FloatArray
    frame: FloatArray
    area: FloatArray


@cache
def boundary_weights(k: int) -> FloatArray:
    """Weights (3k,) on the boundary nodes of a triangle of order k ≥ 2 for a mean over it, exact for
    quadratics.

    Of all such weights the ones with the least sum of squares; they sum to one (those of the vertices are slightly
    negative from k = 3).  No inner node is needed: quadratics are fixed by their values on the border, because
    the first polynomial that vanishes there is the cubic bubble.

    >>> boundary_weights(2).round(12).tolist()
    [0.0, 0.0, 0.0, 0.333333333333, 0.333333333333, 0.333333333333]
    """
    r, s = lattice(k)[0]
    moments = np.array([1.0, 1 / 3, 1 / 3, 1 / 6, 1 / 12, 1 / 6])  # means of 1, r, s, r², rs, s²
    weights: FloatArray = np.linalg.lstsq(np.array([r**0, r, s, r * r, r * s, s * s]), moments, rcond=None)[0]
    weights[np.abs(weights) < 1e-14] = 0.0
    weights.flags.writeable = False
    return weights


def tangent_frames(normals: FloatArray, axis: FloatArray) -> FloatArray:
    """Frames (n, 3, 3) with rows t1, t2, n: t1 is `axis` projected on the plane across each normal (n, 3).

    Where the axis is along the normal, the coordinate axis most across it takes its place.

    >>> tangent_frames(np.array([[0.0, 0, 2]]), np.array([1.0, 0, 1])).tolist()
    [[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]]
    """
    n = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    t1 = axis - (n @ axis)[:, None] * n
    lost = np.linalg.norm(t1, axis=1) < 1e-6 * np.linalg.norm(axis)
    if lost.any():
        other = np.eye(3)[np.abs(n[lost]).argmin(axis=1)]
        t1[lost] = other - np.sum(n[lost] * other, axis=1, keepdims=True) * n[lost]
    t1 /= np.linalg.norm(t1, axis=1, keepdims=True)
    return np.stack([t1, np.cross(n, t1), n], axis=1)


def fastener_rows(
    mesh: CurvedMesh, washers: Sequence[BoolArray], normals: FloatArray, axis: FloatArray
) -> FastenerRows:
    """The mean motion of the skin under each washer; `washers` marks its elements (ne,), `normals` (nf, 3)
    point out of them.

    Displacements are area-weighted means.  Rotations about t1 and t2 are means of the rotation vector, so of
    the director.  The rotation about n is taken from the displacements (the moment of the motion over the
    moment of inertia of the weights), because a shell gives its own rotation about the normal next to no
    stiffness.  Where the elements under a washer lie on one line that rotation is not defined and its row is
    zero.
    """
    nf = len(washers)
    frame = tangent_frames(np.asarray(normals, float).reshape(nf, 3), np.asarray(axis, float))
    place, area = np.zeros((nf, 3)), np.zeros(nf)
    v = mesh.x[mesh.triangles]
    areas = 0.5 * np.linalg.norm(np.cross(v[:, 1] - v[:, 0], v[:, 2] - v[:, 0]), axis=1)
    local = boundary_weights(mesh.order)
    blocks = []
    for f, washer in enumerate(washers):
        elements = np.flatnonzero(washer)
        if not len(elements):
            blocks.append(sparse.csr_array((6, 6 * mesh.nb)))
            continue
        share = areas[elements] / areas[elements].sum()
        nodes, where = np.unique(mesh.boundary[elements], return_inverse=True)
        weights = np.bincount(where.ravel(), (share[:, None] * local).ravel(), len(nodes)).astype(float)
        x = mesh.x[nodes]
        area[f], place[f] = areas[elements].sum(), weights @ x
        blocks.append(_six_rows(nodes, weights, x - place[f], frame[f], mesh.nb))
    rows = sparse.vstack(blocks, format="csr") if blocks else sparse.csr_array((0, 6 * mesh.nb))
    return FastenerRows(sparse.csr_array(rows), place, frame, area)


def _six_rows(nodes: IntArray, weights: FloatArray, arm: FloatArray, frame: FloatArray, nb: int) -> sparse.csr_array:
    """The rows of one washer: nodes (m,), weights (m,) that sum to one, arms (m, 3) from their mean place."""
    rows = np.zeros((6, len(nodes), 6))
    rows[:3, :, :3] = weights[None, :, None] * frame[:, None, :]
    rows[3:5, :, 3:] = weights[None, :, None] * frame[:2, None, :]
    inertia = np.einsum("m,mi,mj->ij", weights, arm, arm)
    inertia = np.trace(inertia) * np.eye(3) - inertia
    if np.linalg.eigvalsh(inertia)[0] > 1e-9 * np.trace(inertia):
        rows[5, :, :3] = weights[:, None] * np.cross(np.linalg.solve(inertia, frame[2]), arm)
    columns = 6 * nodes[:, None] + np.arange(6)
    index = np.broadcast_to(np.arange(6)[:, None, None], rows.shape)
    flat = sparse.coo_array(
        (rows.ravel(), (index.ravel(), np.broadcast_to(columns, rows.shape).ravel())), shape=(6, 6 * nb)
    )
    dense = flat.tocsr()
    dense.eliminate_zeros()
    return sparse.csr_array(dense)


def springs(rows: sparse.csr_array, stiffness: FloatArray) -> sparse.csr_array:
    """Σ gᵀ k g for rows g (nr, n) with finite stiffnesses k (nr,): what springs on those motions add to the matrix."""
    k = sparse.diags_array(np.asarray(stiffness, float).ravel())
    return sparse.csr_array(rows.T @ (k @ rows))


def moderate_stiffness(stiffness: FloatArray, area: float, rows: FastenerRows) -> FloatArray:
    """Stiffnesses (nf, 6), N/m and N·m/rad, of the order of the skin's own at a washer.

    `stiffness` (8, 8) is a typical laminate's; `area` m² of the panel.  A panel on springs of this size can
    have any of them stiffened, made rigid or taken away by a small update without loss of digits (see
    `held`).  In plane the skin gives about A66; along the normal about 16 π D / L² with L² the area per
    fastener (a plate clamped at radius L under a point force: Timoshenko & Woinowsky-Krieger, article 19,
    from memory); a tilt about D; a twist about A66 r².
    """
    nf = len(rows.area)
    membrane, bending = stiffness[2, 2], 0.5 * (stiffness[3, 3] + stiffness[4, 4])
    base = np.empty((nf, 6))
    base[:, :2] = membrane
    base[:, 2] = 16 * np.pi * bending * max(nf, 1) / area
    base[:, 3:5] = 4 * np.pi * bending
    base[:, 5] = membrane * np.maximum(rows.area, 1e-12)
    return base


def nodes_of(mesh: CurvedMesh, elements: BoolArray) -> IntArray:
    """Boundary nodes of the marked elements (ne,), each once."""
    return np.asarray(np.unique(mesh.boundary[elements]), np.int64)


def edge_nodes(mesh: CurvedMesh, edges: IntArray, active: BoolArray | None = None) -> IntArray:
    """Nodes (m, k+1) along those of the given edges (vertex pairs (n, 2)) that belong to an active element.

    Each row runs from one vertex to the other; an edge of no active element is left out, so m ≤ n.
    """
    k = mesh.order
    keep = np.flatnonzero(active) if active is not None else np.arange(len(mesh.triangles))
    pairs = np.concatenate([mesh.triangles[keep][:, [a, b]] for a, b in EDGES])
    inner = mesh.nodes[:, 3 : 3 * k].reshape(len(mesh.nodes), 3, k - 1)[keep]
    ends = mesh.triangles[keep]
    along = np.concatenate([np.column_stack([ends[:, a], inner[:, e], ends[:, b]]) for e, (a, b) in enumerate(EDGES)])
    big = int(mesh.triangles.max()) + 1
    key = pairs.min(axis=1) * big + pairs.max(axis=1)
    wanted = np.asarray(edges, np.int64).reshape(-1, 2)
    wanted_key = np.unique(wanted.min(axis=1) * big + wanted.max(axis=1))
    unique, first = np.unique(key, return_index=True)
    return np.asarray(along[first[np.isin(unique, wanted_key)]], np.int64)


def edge_springs(
    mesh: CurvedMesh,
    along: IntArray,
    *,
    translation: float | FloatArray = 0.0,
    rotation: float | FloatArray = 0.0,
    normals: FloatArray | None = None,
) -> sparse.csr_array:
    """Springs spread along edges, integrated with the element's own shape functions: csr (6 nb, 6 nb).

    `along` (m, k+1) from `edge_nodes`; `translation` N/m per m and `rotation` N·m/rad per m of edge (one
    value, or one an edge (m,)).  Translation acts in all directions, or along `normals` (m, 3) only; rotation
    acts about the edge.
    """
    m, k = along.shape[0], mesh.order
    size = 6 * mesh.nb
    if m == 0:
        return sparse.csr_array((size, size))
    points, weights = np.polynomial.legendre.leggauss(k + 1)
    values, slopes = _line_shapes(k, 0.5 * (points + 1))
    tangent = np.einsum("qi,mid->mqd", slopes, mesh.x[along])
    length = np.linalg.norm(tangent, axis=2)
    tangent /= length[:, :, None]
    ds = 0.5 * weights * length
    if normals is None:
        push = np.broadcast_to(np.eye(3), (m, len(points), 3, 3))
    else:
        push = np.broadcast_to(np.einsum("md,me->mde", normals, normals)[:, None], (m, len(points), 3, 3))
    turn = np.einsum("mqd,mqe->mqde", tangent, tangent)
    blocks = np.zeros((m, k + 1, 6, k + 1, 6))
    for start, tensor, amount in ((0, push, translation), (3, turn, rotation)):
        per = ds * np.broadcast_to(np.asarray(amount, float), (m,))[:, None]
        blocks[:, :, start : start + 3, :, start : start + 3] = np.einsum(
            "mq,qi,qj,mqde->midje", per, values, values, tensor, optimize=True
        )
    dofs = (6 * along[:, :, None] + np.arange(6)).reshape(m, -1)
    row = np.repeat(dofs, dofs.shape[1], axis=1).ravel()
    column = np.tile(dofs, (1, dofs.shape[1])).ravel()
    total = sparse.coo_array((blocks.ravel(), (row, column)), shape=(size, size)).tocsr()
    total.eliminate_zeros()
    return sparse.csr_array(total)


def _line_shapes(k: int, xi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values and slopes (q, k+1) at xi (q,) of the shape functions of k+1 equally spaced nodes on 0 … 1."""
    nodes = np.arange(k + 1) / k
    coefficients = np.linalg.inv(np.vander(nodes, increasing=True))
    powers = np.vander(xi, k + 1, increasing=True)
    derivative = np.zeros_like(powers)
    derivative[:, 1:] = powers[:, :-1] * np.arange(1, k + 1)
    return powers @ coefficients, derivative @ coefficients
