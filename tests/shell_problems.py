"""Meshes, stiffnesses and fixings shared by the tests of the shell; the package's own laminates are not used."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.spatial import Delaunay

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports, System

X_AXIS = np.array([1.0, 0.0, 0.0])


def grid(nx: int, ny: int, distort: float = 0.0, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of the unit square; `distort` moves inner points by up to this share of a cell, with new diagonals.

    The middle of the square and of its sides stay nodes if nx and ny are even.
    """
    x, y = np.meshgrid(np.linspace(0, 1, nx + 1), np.linspace(0, 1, ny + 1), indexing="ij")
    p = np.column_stack([x.ravel(), y.ravel()])
    if distort == 0.0:
        i, j = (v.ravel() for v in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
        a = i * (ny + 1) + j
        b, c, d = a + ny + 1, a + ny + 2, a + 1
        return p, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    rim = (p < 1e-9) | (p > 1 - 1e-9)
    halves = np.abs(p - 0.5) < 1e-9
    moved = p + np.random.default_rng(seed).uniform(-distort, distort, p.shape) / [nx, ny] * ~rim
    keep = (halves | rim).all(axis=1)
    moved[keep] = p[keep]
    t = Delaunay(moved * [nx, ny]).simplices.astype(np.int64)
    e1, e2 = moved[t[:, 1]] - moved[t[:, 0]], moved[t[:, 2]] - moved[t[:, 0]]
    area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
    t[area < 0] = t[area < 0][:, [0, 2, 1]]
    return moved, t[np.abs(area) * nx * ny > 1e-6]


def flat(p: np.ndarray) -> np.ndarray:
    """Parameters (n, 2) as points of the plane z = 0."""
    return np.column_stack([p, np.zeros(len(p))])


def orthotropic(E1: float, E2: float, nu12: float, G12: float) -> np.ndarray:
    """Plane-stress stiffness (3, 3)."""
    q = 1.0 - nu12**2 * E2 / E1
    return np.array([[E1 / q, nu12 * E2 / q, 0.0], [nu12 * E2 / q, E2 / q, 0.0], [0.0, 0.0, G12]])


def turned(law: np.ndarray, shear: np.ndarray, degrees: float) -> tuple[np.ndarray, np.ndarray]:
    """Plane and transverse shear stiffness of a ply at an angle from the 0° axis."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
    rotate = np.array([[c, s], [-s, c]])
    return turn.T @ law @ turn, rotate.T @ shear @ rotate


def stiffness(
    plies: Sequence[tuple[np.ndarray, np.ndarray, float]], factor: float = 5 / 6, bottom: float | None = None
) -> np.ndarray:
    """First-order stiffness (8, 8) of plies (plane law, shear law, thickness) from the bottom up."""
    out = np.zeros((8, 8))
    z = -sum(t for _, _, t in plies) / 2 if bottom is None else bottom
    for law, shear, t in plies:
        top = z + t
        out[:3, :3] += law * t
        out[:3, 3:6] += law * (top**2 - z**2) / 2
        out[3:6, 3:6] += law * (top**3 - z**3) / 3
        out[6:, 6:] += factor * shear * t
        z = top
    out[3:6, :3] = out[:3, 3:6].T
    return out


def isotropic(E: float, nu: float, t: float, bottom: float | None = None) -> np.ndarray:
    """First-order stiffness (8, 8) of a sheet, shear factor 5/6."""
    G = E / 2 / (1 + nu)
    return stiffness([(orthotropic(E, E, nu, G), G * np.eye(2), t)], bottom=bottom)


def marks(shell: Shell, *holds: tuple[np.ndarray, Sequence[int]]) -> np.ndarray:
    """Fixed components (nb, 6) from pairs (mask or numbers of boundary nodes, components)."""
    out = np.zeros((shell.mesh.nb, 6), bool)
    for nodes, components in holds:
        for c in components:
            out[nodes, c] = True
    return out


def at(shell: Shell, place: Sequence[float], tolerance: float = 1e-6) -> int:
    """The boundary node at a place."""
    d = np.linalg.norm(shell.mesh.x[: shell.mesh.nb] - np.asarray(place), axis=1)
    node = int(np.argmin(d))
    assert d[node] < tolerance, f"no node at {place}"
    return node


def plate(
    k: int,
    n: int,
    law: np.ndarray,
    edges: str,
    load: float | Callable[..., np.ndarray],
    sides: tuple[float, float] = (1.0, 1.0),
    distort: float = 0.0,
) -> tuple[Shell, System, np.ndarray]:
    """Rectangular plate with its edges 'clamped', 'supported' (hard: no turn along the edge; the edge may move across
    itself, not along: the series of cross-ply laminates) or 'angle' (it may move along itself, not across)."""
    p, t = grid(n, n, distort)
    shell = Shell(CurvedMesh.lift(p * np.array(sides), t, k, flat), law, X_AXIS)
    x = shell.mesh.x[: shell.mesh.nb] / np.array([*sides, 1.0])
    bx, by = ((x[:, i] < 1e-9) | (x[:, i] > 1 - 1e-9) for i in (0, 1))
    if edges == "clamped":
        fixed = marks(shell, (bx | by, range(6)))
    elif edges == "supported":
        fixed = marks(shell, (bx, [1, 2, 3]), (by, [0, 2, 4]))
    elif edges == "angle":  # the series of antisymmetric angle-ply laminates
        fixed = marks(shell, (bx, [0, 2, 3]), (by, [1, 2, 4]))
    else:
        raise ValueError(edges)
    if callable(load):
        f = shell.traction(lambda x, n: np.stack([0 * x[..., 0], 0 * x[..., 0], load(x)], axis=-1))
    else:
        f = shell.traction(np.array([0.0, 0.0, load]))
    system = shell.factor(Supports(fixed))
    return shell, system, system.solve(f)
