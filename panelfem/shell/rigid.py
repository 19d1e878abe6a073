"""Is every connected piece of the panel held against every rigid motion?  Asked before anything is factored."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.shell.layout import Layout

HELD = 1e-8
"""Share of the strongest hold on a piece, at least, that a fixed unknown must give a motion."""

SPRING = 1e-12
"""Energy of a rigid motion in the springs over that of the skin's stiffest unknown, below which it counts as free
(rounding of the factorisation would outweigh it)."""


def pieces(layout: Layout, active: BoolArray, extra: csr_array | None) -> tuple[int, IntArray]:
    """Number of connected pieces of the active elements and the piece of each boundary node (−1: of no element).

    Two elements that share a node hang together (the node carries rotations too); so do nodes joined by a spring.
    """
    nodes = layout.mesh.boundary[active]
    row, column = np.repeat(nodes[:, 0], nodes.shape[1]), nodes.ravel()
    if extra is not None:
        coo = extra.tocoo()
        row, column = np.append(row, coo.row // 6), np.append(column, coo.col // 6)
    graph = csr_array((np.ones(len(row)), (row, column)), shape=(layout.nb, layout.nb))
    _, label = connected_components(graph, directed=False)
    used = np.zeros(layout.nb, bool)
    used[nodes.ravel()] = True
    names, number = np.unique(label[used], return_inverse=True)
    piece = np.full(layout.nb, -1)
    piece[used] = number
    return len(names), piece


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


def check_held(layout: Layout, active: BoolArray, fixed: BoolArray, extra: csr_array | None, stiffest: float) -> None:
    """Raise ModelError naming the first motion nothing holds.

    `fixed` (nb, 6); `stiffest` N/m the greatest diagonal term of the skin's matrix, to weigh springs against.
    """
    _, own = pieces(layout, active, None)
    count, group = (int(own.max(initial=-1)) + 1, own) if extra is None else pieces(layout, active, extra)
    x = layout.mesh.x
    for number in range(count):
        inside = group == number
        parts = np.unique(own[inside])
        motions = np.zeros((int(inside.sum()), 6, 6 * len(parts)))
        where = np.flatnonzero(inside)
        frames = []
        for i, part in enumerate(parts):
            mine = own[where] == part
            points = x[where[mine]]
            centre = points.mean(axis=0)
            radius = max(float(np.linalg.norm(points - centre, axis=1).max()), 1e-12)
            unit_motion = rigid_motions(points, centre)
            unit_motion[:, :, 3:] /= radius
            unit_motion[:, 3:] *= radius
            motions[mine, :, 6 * i : 6 * i + 6] = unit_motion
            frames.append((centre, radius, int(mine.sum())))
        holds = motions[fixed[where]]
        free = _null_space(holds, 6 * len(parts))
        if free.shape[1] and extra is not None:
            scale = np.array([1.0, 1.0, 1.0] + 3 * [1.0 / frames[0][1]])
            flat = (motions * scale[None, :, None]).reshape(-1, 6 * len(parts)) @ free
            rows = (6 * where[:, None] + np.arange(6)).ravel()
            spring = flat.T @ (extra[rows][:, rows] @ flat)
            energy, vectors = np.linalg.eigh((spring + spring.T) / 2.0)
            free = free @ vectors[:, energy <= SPRING * stiffest]
        if free.shape[1]:
            part = int(np.argmax([np.linalg.norm(free[6 * i : 6 * i + 6]) for i in range(len(parts))]))
            loose = free[6 * part : 6 * part + 6]
            loose = loose @ np.linalg.svd(loose, full_matrices=False)[2].T
            loose = loose[:, np.linalg.norm(loose, axis=0) > 1e-6]
            centre, radius, size = frames[part]
            piece = f"the piece of {size} nodes around {millimetres(centre)}" if own.max() > 0 else ""
            raise ModelError(
                f"the panel is free to {describe(loose, centre, radius)}",
                where=piece or "its fixings",
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
