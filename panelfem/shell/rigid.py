"""Is every connected piece of the panel held against every rigid motion?  Asked before anything is factored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, hstack
from scipy.sparse.csgraph import connected_components

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.layout import Layout

HELD = 1e-8
"""Share of the strongest hold on a piece, at least, that a fixed unknown must give a motion."""

SPRING = 1e-12
"""Energy of a rigid motion in the springs over that of the skin's stiffest unknown, below which it counts as free
(rounding of the factorisation would outweigh it)."""


def rigid_motions(x: FloatArray, centre: FloatArray) -> FloatArray:
    """Unknowns (n, 6, 6) of nodes x (n, 3) under three unit translations and three unit turns about `centre`.

    >>> rigid_motions(np.array([[1.0, 2.0, 0]]), np.zeros(3))[0, :3, 5].tolist()  # turning about z
    [-2.0, 1.0, 0.0]
    """
    r = x - centre
    motions = np.zeros((len(x), 6, 6))
    motions[:, range(6), range(6)] = 1.0
    motions[:, 0, 4], motions[:, 0, 5] = r[:, 2], -r[:, 1]
    motions[:, 1, 3], motions[:, 1, 5] = -r[:, 2], r[:, 0]
    motions[:, 2, 3], motions[:, 2, 4] = r[:, 1], -r[:, 0]
    return motions


def pieces(layout: Layout, active: BoolArray) -> tuple[int, IntArray]:
    """Number of connected pieces of the active elements and the piece of each element (−1: not active).

    Two elements that share a node hang together (the node carries rotations too).
    """
    nodes = layout.mesh.boundary[active]
    row, column = np.repeat(nodes[:, 0], nodes.shape[1]), nodes.ravel()
    graph = csr_array((np.ones(len(row)), (row, column)), shape=(layout.nb, layout.nb))
    _, label = connected_components(graph, directed=False)
    names, number = np.unique(label[nodes[:, 0]], return_inverse=True)
    piece = np.full(layout.ne, -1)
    piece[active] = number
    return len(names), piece


@dataclass(frozen=True)
class RigidMotions:
    """The rigid motions of the pieces of a panel.

    `motion` csr (n_total, 6 pieces): for each piece three shifts of 1 m along x y z, then turns of 1/`radius` about
    axes through its `centre` along x y z.  `centre` (pieces, 3) m, `radius` (pieces,) m, `size` (pieces,) nodes.
    """

    motion: csr_array
    centre: FloatArray
    radius: FloatArray
    size: IntArray

    @classmethod
    def of(cls, layout: Layout, active: BoolArray) -> RigidMotions:
        """Those of the active elements."""
        count, piece = pieces(layout, active)
        centre, radius, size = np.zeros((count, 3)), np.zeros(count), np.zeros(count, np.int64)
        blocks = []
        for i in range(count):
            elements = np.flatnonzero(piece == i)
            points = layout.mesh.x[np.unique(layout.mesh.boundary[elements])]
            size[i], centre[i] = len(points), points.mean(axis=0)
            radius[i] = max(float(np.linalg.norm(points - centre[i], axis=1).max()), 1e-12)
            nodes = layout.x[elements]
            unit = rigid_motions(nodes.reshape(-1, 3), centre[i]).reshape(*nodes.shape[:2], 6, 6)
            unit[..., 3:] /= radius[i]
            motion = np.zeros((layout.n_total, 6))
            motion[layout.displacement_unknowns[elements]] = unit[:, :, :3]
            motion[layout.rotation_unknowns[elements]] = unit[0, 0, 3:]
            blocks.append(csr_array(motion))
        whole = hstack(blocks, format="csr") if blocks else csr_array((layout.n_total, 0))
        return cls(csr_array(whole), centre, radius, size)

    def stops(self, fixed: BoolArray) -> FloatArray:
        """Motion (m, 6 pieces) of the unknowns that are `fixed` (nb, 6), m; turns times the radius."""
        unknown = np.flatnonzero(fixed)
        rows = self.motion[unknown].toarray()
        rows[unknown % 6 >= 3] *= np.repeat(self.radius, 6)
        return rows

    def energy(self, rows: csr_array, stiffness: FloatArray | None = None) -> FloatArray:
        """Twice the energy (6 pieces, 6 pieces), N·m, of springs `stiffness` (m,) on the motions `rows` (m, n), or
        of a matrix of springs (n, n); n ≤ n_total."""
        moved = self.motion[: rows.shape[1]]
        if stiffness is None:
            out = (moved.T @ (rows @ moved)).toarray()
        else:
            seen = (rows @ moved).toarray()
            out = seen.T @ (stiffness[:, None] * seen)
        return np.asarray((out + out.T) / 2.0)


def check_held(motions: RigidMotions, fixed: BoolArray, springs: FloatArray, stiffest: float) -> None:
    """Raise ModelError naming a motion nothing holds.

    `fixed` (nb, 6); `springs` (6 pieces, 6 pieces) the energy of all springs; `stiffest` N/m the greatest diagonal term
    of the skin's matrix, to weigh springs against.
    """
    free = _null_space(motions.stops(fixed), len(springs))
    energy, vectors = np.linalg.eigh(free.T @ springs @ free)
    free = free @ vectors[:, energy <= SPRING * stiffest]
    if not free.shape[1]:
        return
    piece = int(np.argmax(np.linalg.norm(free.reshape(-1, 6 * free.shape[1]), axis=1)))
    loose = free[6 * piece : 6 * piece + 6]
    loose = loose @ np.linalg.svd(loose, full_matrices=False)[2].T
    loose = loose[:, np.linalg.norm(loose, axis=0) > 1e-6]
    centre, size = motions.centre[piece], motions.size[piece]
    raise ModelError(
        f"the panel is free to {describe(loose, centre, float(motions.radius[piece]))}",
        where=f"the piece of {size} nodes around {millimetres(centre)}" if len(motions.size) > 1 else "its fixings",
        allowed="fixings that hold each connected piece against three shifts and three turns",
        do="add or stiffen a fixing, or remove the loose piece",
    )


def _null_space(rows: FloatArray, n: int) -> FloatArray:
    """Orthonormal motions (n, free) that the rows (m, n) do not stop."""
    if len(rows) == 0:
        return np.eye(n)
    energy, vectors = np.linalg.eigh(rows.T @ rows)
    return vectors[:, energy <= HELD**2 * max(float(energy[-1]), 1e-300) + 1e-14 * float(energy[-1])]


def describe(motions: FloatArray, centre: FloatArray, radius: float) -> str:
    """The motions (6, n) in words: shifts per m, turns per 1/`radius` about `centre`.

    >>> describe(np.eye(6)[:, 3:4], np.zeros(3), 1.0)
    'turn about the axis through (0, 0, 0) mm along (1, 0, 0)'
    >>> describe(np.eye(6)[:, [0, 1]], np.zeros(3), 1.0)
    'move along (1, 0, 0) and move along (0, 1, 0)'
    >>> describe(np.eye(6), np.zeros(3), 1.0)
    'move and turn as a whole: nothing holds it'
    """
    if motions.shape[1] == 6:
        return "move and turn as a whole: nothing holds it"
    _, size, vectors = np.linalg.svd(motions[3:], full_matrices=True)
    turning = int((size > 1e-5).sum())
    words = []
    for shift in _tidy((motions @ vectors[turning:].T)[:3]).T:
        words.append(f"move along {_direction(shift)}")
    for motion in (motions @ vectors[:turning].T).T:
        turn, shift = motion[3:] / radius, motion[:3]
        along = turn / np.linalg.norm(turn)
        place = centre + np.cross(turn, shift) / (turn @ turn)
        words.append(f"turn about the axis through {millimetres(place)} along {_direction(along)}")
    return " and ".join(words)


def _tidy(shifts: FloatArray) -> FloatArray:
    """The same space of shifts (3, n) along coordinate axes where it can be."""
    if shifts.shape[1] == 0:
        return shifts
    q, _ = np.linalg.qr(shifts)
    reduced, _ = np.linalg.qr(q @ q.T[:, np.argsort(-(q * q).sum(axis=1), kind="stable")[: shifts.shape[1]]])
    return reduced


def _direction(v: FloatArray) -> str:
    v = v * np.sign(v[np.argmax(np.round(abs(v), 6))])
    return "(" + ", ".join(f"{c:.3g}" for c in np.round(v, 3) + 0.0) + ")"


def millimetres(x: FloatArray) -> str:
    """A place x (3,) m in words, to 0.1 mm."""
    return "(" + ", ".join(f"{c:.4g}" for c in np.round(1e3 * x, 1) + 0.0) + ") mm"
