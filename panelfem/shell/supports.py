"""What holds the skin: rows for the mean motion under a washer, fixed nodes, and springs along edges.

Nodes and springs along edges are about boundary nodes (vertices and nodes on edges) of a `CurvedMesh`; node i owns
the unknowns 6i … 6i+5: displacement x y z, then rotation vector x y z.  The rows of a washer are about all unknowns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import EDGES
from panelfem.shell.fields import surface_at

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell

ROW_NAMES = ("along t1", "along t2", "along its normal", "about t1", "about t2", "about its normal")
"""The six motions of a fastener, in the order of its rows."""


@dataclass(frozen=True)
class FastenerRows:
    """The mean motion of the skin under each of nf washers, as rows on all unknowns.

    `rows` csr (6 nf, n_total): mean displacement along t1, t2, n (m) and mean rotation about t1, t2, n (rad),
    exact for every rigid motion.  `place` (nf, 3) m: the centroid of the area, about which the rotations turn and
    moments are counted; `frame` (nf, 3, 3): t1, t2, n as rows; `area` (nf,) m² under each washer, zero where
    nothing is left of the skin (its rows are zero then, and it holds nothing).
    """

    rows: sparse.csr_array
    place: FloatArray
    frame: FloatArray
    area: FloatArray


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


def fastener_rows(shell: Shell, washers: Sequence[BoolArray], normals: FloatArray) -> FastenerRows:
    """The mean motion of the skin under each washer; `washers` marks its elements (ne,), `normals` (nf, 3)
    point out of them; t1 is the shell's axis on the washer's plane.

    Means are over the true area, by the element's own rule, of the active elements.  So the load of a force on a
    displacement row is that of an even pressure under the washer, at every order.  Rotations about t1 and t2 are means
    of the rotation vector, so of the director.  The rotation about n is taken from the displacements (the moment of the
    motion over the moment of inertia of the area), because a shell gives its own rotation about the normal next to no
    stiffness.  Where the area is a line that rotation is not defined and its row is zero.
    """
    nf = len(washers)
    frame = tangent_frames(np.asarray(normals, float).reshape(nf, 3), shell.axis)
    place, area, blocks = np.zeros((nf, 3)), np.zeros(nf), []
    for f, washer in enumerate(washers):
        elements = np.flatnonzero(washer & shell.active)
        if not len(elements):
            blocks.append(sparse.csr_array((6, shell.n_total)))
            continue
        x, _, factor = surface_at(shell.layout, shell.layout.tables.triangle.points, elements)
        share = factor * shell.layout.tables.triangle.weights
        area[f] = share.sum()
        share /= area[f]
        place[f] = np.einsum("eq,eqc->c", share, x)
        blocks.append(_six_rows(shell, elements, share, x - place[f], frame[f]))
    rows = sparse.vstack(blocks, format="csr") if blocks else sparse.csr_array((0, shell.n_total))
    return FastenerRows(sparse.csr_array(rows), place, frame, area)


def _six_rows(
    shell: Shell, elements: IntArray, share: FloatArray, arm: FloatArray, frame: FloatArray
) -> sparse.csr_array:
    """The rows (6, n_total) of one washer: shares (ne, nq) of its area, arms (ne, nq, 3) from its place."""
    layout, tables = shell.layout, shell.layout.tables
    moved, turned = share @ tables.displacement, share @ tables.rotation
    by_u, by_t = (np.zeros((6, len(elements), nodes, 3)) for nodes in (tables.nu, tables.nr))
    by_u[:3] = moved[..., None] * frame[:, None, None]
    by_t[3:5] = turned[..., None] * frame[:2, None, None]
    inertia = np.einsum("eq,eqi,eqj->ij", share, arm, arm)
    inertia = np.trace(inertia) * np.eye(3) - inertia
    if np.linalg.eigvalsh(inertia)[0] > 1e-9 * np.trace(inertia):
        turning = np.cross(np.linalg.solve(inertia, frame[2]), arm)
        by_u[5] = tables.displacement.T @ (share[..., None] * turning)
    unknowns = layout.displacement_unknowns[elements], layout.rotation_unknowns[elements]
    columns = np.concatenate([part.ravel() for part in unknowns])
    values = np.concatenate([by_u.reshape(6, -1), by_t.reshape(6, -1)], axis=1)
    at = np.repeat(np.arange(6), len(columns)), np.tile(columns, 6)
    rows = sparse.coo_array((values.ravel(), at), shape=(6, shell.n_total)).tocsr()
    rows.eliminate_zeros()
    return sparse.csr_array(rows)


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
