"""Time from mesh to strains against accuracy: roof, supported laminate, clamped plate with a patch load.

Run: OMP_NUM_THREADS=1 python tests/benchmarks/time_to_accuracy.py [p1] [p2] [roof] [--checks]
Prints CPU milliseconds (best and median) and relative errors of deflection and greatest fibre strain.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import lattice
from panelfem.shell import Shell, Supports

X_AXIS = np.array([1.0, 0.0, 0.0])
MESHES = {2: (2, 4, 8, 12), 3: (2, 4, 8), 4: (1, 2, 4, 6), 5: (1, 2, 3), 6: (1, 2, 3)}


def cells(x: np.ndarray, y: np.ndarray, one_way: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of a tensor grid, diagonals all one way or mirrored about the middle (corners are cut across)."""
    nx, ny = len(x) - 1, len(y) - 1
    i, j = (v.ravel() for v in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    quads = np.stack([i, i + 1, i + 1, i]) * (ny + 1) + np.stack([j, j, j + 1, j + 1])
    points = np.stack(np.meshgrid(x, y, indexing="ij"), -1).reshape(-1, 2)
    if not one_way:
        turned = (2 * i < nx) == (2 * j < ny)
        quads = np.where(turned, np.roll(quads, -1, 0), quads)
    return points, np.concatenate([quads[[0, 1, 2]].T, quads[[0, 2, 3]].T])


def laminate(E1: float, E2: float, nu12: float, G12: float, G13: float, G23: float, plies: list) -> np.ndarray:
    """First-order stiffness (8, 8) of plies (angle in degrees, thickness), shear factor 5/6."""
    q = 1.0 - nu12**2 * E2 / E1
    Q = np.array([[E1 / q, nu12 * E2 / q, 0], [nu12 * E2 / q, E2 / q, 0], [0, 0, G12]])
    out, z = np.zeros((8, 8)), -sum(t for _, t in plies) / 2
    for angle, t in plies:
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        turn = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
        law, top = turn.T @ Q @ turn, z + t
        out[:3, :3] += law * t
        out[:3, 3:6] += law * (top**2 - z**2) / 2
        out[3:6, 3:6] += law * (top**3 - z**3) / 3
        shear = np.array(
            [[G13 * c * c + G23 * s * s, (G13 - G23) * c * s], [(G13 - G23) * c * s, G13 * s * s + G23 * c * c]]
        )
        out[6:, 6:] += shear * t * 5 / 6
        z = top
    out[3:6, :3] = out[:3, 3:6].T
    return out


def fixed(nb: int, *pairs: tuple[np.ndarray, list[int]]) -> np.ndarray:
    """Marks (nb, 6) of the components held at nodes."""
    out = np.zeros((nb, 6), bool)
    for nodes, components in pairs:
        out[np.ix_(nodes, components)] = True
    return out


def greatest(shell: Shell, u: np.ndarray, z: float) -> float:
    """Greatest |e11 ± z k11| over the nodes, averaged over the elements at a node."""
    strain = shell.strains(u, np.hstack(lattice(shell.mesh.order)))
    nodes = shell.mesh.nodes.ravel()
    count = np.bincount(nodes)
    found = 0.0
    for face in (z, -z):
        nodal = np.bincount(nodes, (strain[..., 0] + face * strain[..., 3]).ravel()) / count
        found = max(found, float(np.abs(nodal).max()))
    return found


def flat(p: np.ndarray) -> np.ndarray:
    return np.column_stack([p, np.zeros(len(p))])


def p1(k: int, n: int, checks: bool) -> tuple[float, float]:
    """Square [0/90/90/0], a/h = 100, supported, uniform load; exact first-order series for w and strain."""
    h, e = 0.01, 1e-9
    law = laminate(25.0, 1.0, 0.25, 0.5, 0.5, 0.2, [(a, h / 4) for a in (0, 90, 90, 0)])
    x = np.linspace(0, 1, n + 1)
    points, triangles = cells(x, x)
    shell = Shell(CurvedMesh.lift(points, triangles, k, flat), law, X_AXIS)
    X, Y = shell.mesh.x[: shell.mesh.nb, :2].T
    load = shell.traction(np.array([0, 0, 1.0]))
    bx, by = np.flatnonzero((e > X) | (1 - e < X)), np.flatnonzero((e > Y) | (1 - e < Y))
    held = fixed(shell.mesh.nb, (bx, [1, 2, 3]), (by, [0, 2, 4]))
    u = shell.factor(Supports(held), checks).solve(load)
    c = np.flatnonzero(abs(X - 0.5) + abs(Y - 0.5) < e)[0]
    return u[6 * c + 2] / 6833.077638481603 - 1, greatest(shell, u, h / 2) / 325.5069365319283 - 1


def p2(k: int, n: int, checks: bool) -> tuple[float, float]:
    """Clamped square plate of one ply with a patch load at the middle; converged values of this element at order 6."""
    L, h, e = 300.0, 1.2, 1e-6
    law = laminate(181e3, 10.3e3, 0.28, 7.17e3, 7.17e3, 3.6e3, [(0.0, h)])
    g = np.linspace(0, 130, n + 1)
    x = np.r_[g, 150.0, 300 - g[::-1]]
    points, triangles = cells(x, x)
    shell = Shell(CurvedMesh.lift(points, triangles, k, flat), law, X_AXIS)
    X, Y = shell.mesh.x[: shell.mesh.nb, :2].T
    on = (abs(points[triangles].mean(1) - 150) < 20).all(1)
    load = shell.traction(np.array([0, 0, 100.0 / 1600]), on)
    edge = np.flatnonzero((e > X) | (L - e < X) | (e > Y) | (L - e < Y))
    u = shell.factor(Supports(fixed(shell.mesh.nb, (edge, [0, 1, 2, 3, 4, 5]))), checks).solve(load)
    c = np.flatnonzero(abs(X - 150) + abs(Y - 150) < e)[0]
    return u[6 * c + 2] / 5.27552077 - 1, greatest(shell, u, h / 2) / 8.8618161e-4 - 1


def roof(k: int, n: int, checks: bool) -> tuple[float, float]:
    """The Scordelis–Lo roof in the limit of no transverse shear; series values of thin-shell theory."""
    R, a = 25.0, np.radians(40)
    law = laminate(4.32e8, 4.32e8, 0.0, 2.16e8, 2.16e8, 2.16e8, [(0.0, 0.25)])
    law[6:, 6:] *= 1e4
    x = np.linspace(0, 1, n + 1)
    points, triangles = cells(x, x, one_way=True)
    mesh = CurvedMesh.lift(
        points,
        triangles,
        k,
        lambda p: np.column_stack([p[:, 1] * 25.0, R * np.sin(a * p[:, 0]), R * np.cos(a * p[:, 0])]),
    )
    shell, nb = Shell(mesh, law, X_AXIS), mesh.nb
    X, Y = np.arctan2(mesh.x[:nb, 1], mesh.x[:nb, 2]) / a, mesh.x[:nb, 0] / 25.0
    crown, middle, end = (np.flatnonzero(v < 1e-9) for v in (X, Y, 1 - Y))
    held = fixed(nb, (middle, [0, 4, 5]), (end, [1, 2, 3]), (crown, [1, 3, 5]))
    u = shell.factor(Supports(held), checks).solve(shell.traction(np.array([0, 0, -90.0])))
    c = np.flatnonzero(abs(X - 1) + Y < 1e-9)[0]
    return -u[6 * c + 2] / 0.300592457 - 1, greatest(shell, u, 0.125) / 8.444758e-4 - 1


CASES: dict[str, Callable[[int, int, bool], tuple[float, float]]] = {"p1": p1, "p2": p2, "roof": roof}


def timed(
    case: Callable[[int, int, bool], tuple[float, float]], k: int, n: int, checks: bool, repeat: int = 20
) -> tuple[float, float, tuple[float, float]]:
    """Best and median CPU milliseconds of `repeat` runs after a first one, and the errors."""
    result = case(k, n, checks)
    times = []
    for _ in range(repeat):
        start = time.process_time()
        case(k, n, checks)
        times.append(1e3 * (time.process_time() - start))
    return min(times), float(np.median(times)), result


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cases", nargs="*", choices=[*CASES, []], help="p1, p2, roof; all if none is named")
    parser.add_argument("--checks", action="store_true", help="with every check of the solver on")
    options = parser.parse_args()
    for name in options.cases or CASES:
        for k, meshes in MESHES.items():
            for n in meshes:
                best, median, (w, strain) = timed(CASES[name], k, n, options.checks)
                print(
                    f"{name:5} k={k} n={n:2} best {best:7.1f} median {median:7.1f} ms",
                    f" w {w:+.1e} strain {strain:+.1e}",
                )
