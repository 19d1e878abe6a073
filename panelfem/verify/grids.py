"""Structured meshes of a parameter rectangle, lifted onto exact surfaces, and what hangs on their edges."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import Delaunay

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh
from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports

#: components of a node: displacement, then rotation vector
DOF = {"ux": 0, "uy": 1, "uz": 2, "rx": 3, "ry": 4, "rz": 5}
ALL = ("ux", "uy", "uz", "rx", "ry", "rz")


@dataclass(frozen=True)
class Grid:
    """A curved mesh of order k with the parameters (nn, 2) in [0, 1]² of all its nodes."""

    mesh: CurvedMesh
    par: FloatArray

    @classmethod
    def lift(
        cls, s: FloatArray, t: FloatArray, k: int, surface: Callable[[FloatArray, FloatArray], FloatArray]
    ) -> Grid:
        """Cells between grid lines s (m,) and t (n,), each cut in two, diagonals alternating; on
        `surface`(s, t).

        >>> grid = Grid.lift(np.linspace(0, 1, 3), np.linspace(0, 1, 2), 2, lambda s, t: np.stack([s, t, 0 * s], 1))
        >>> len(grid.mesh.triangles), grid.mesh.nb
        (4, 15)
        """
        m, n = len(s), len(t)
        points = np.stack(np.meshgrid(s, t, indexing="ij"), axis=-1).reshape(-1, 2)
        triangles = []
        for i in range(m - 1):
            for j in range(n - 1):
                a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
                triangles += [(a, b, c), (a, c, d)] if (i + j) % 2 == 0 else [(a, b, d), (b, c, d)]
        plain = CurvedMesh.straight(points, np.array(triangles, np.int64), k)
        par = plain.x[:, :2]
        return cls(plain.moved(surface(par[:, 0], par[:, 1])), par)

    @classmethod
    def even(cls, m: int, n: int, k: int, surface: Callable[[FloatArray, FloatArray], FloatArray]) -> Grid:
        """m × n equal cells."""
        return cls.lift(np.linspace(0, 1, m + 1), np.linspace(0, 1, n + 1), k, surface)

    @classmethod
    def shaken(
        cls, m: int, n: int, k: int, surface: Callable[[FloatArray, FloatArray], FloatArray], share: float, seed: int
    ) -> Grid:
        """m × n cells whose inner corners are moved by up to `share` of a cell, and triangulated anew (Delaunay).

        The middle of the rectangle and of its sides stay corners if m and n are even.
        """
        x, y = np.meshgrid(np.linspace(0, 1, m + 1), np.linspace(0, 1, n + 1), indexing="ij")
        p = np.column_stack([x.ravel(), y.ravel()])
        rim: BoolArray = np.asarray((p < 1e-9) | (p > 1 - 1e-9))
        keep: BoolArray = np.asarray((rim | (np.abs(p - 0.5) < 1e-9)).all(axis=1))
        step = np.random.default_rng(seed).uniform(-share, share, p.shape) / [m, n] * ~rim
        p = np.where(keep[:, None], p, p + step)
        t = np.asarray(Delaunay(p * [m, n]).simplices, np.int64)
        e1, e2 = p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]]
        area = e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0]
        t[area < 0] = t[area < 0][:, [0, 2, 1]]
        plain = CurvedMesh.straight(p, t[np.abs(area) * m * n > 1e-6], k)
        par = plain.x[:, :2]
        return cls(plain.moved(surface(par[:, 0], par[:, 1])), par)

    @classmethod
    def over(cls, mesh: PanelMesh, k: int, corner: tuple[float, float], sides: tuple[float, float]) -> Grid:
        """A panel's own mesh at order k; its parameters are the place in the plan from `corner`, over `sides` (m)."""
        curved = mesh.curved(k)
        return cls(curved, (curved.x[:, :2] - corner) / np.asarray(sides))

    def vertex(self, s: float, t: float) -> int:
        """The vertex nearest to parameters (s, t)."""
        d = np.linalg.norm(self.par[: int(self.mesh.triangles.max()) + 1] - (s, t), axis=1)
        return int(d.argmin())

    def within(self, s: tuple[float, float], t: tuple[float, float]) -> BoolArray:
        """Elements (ne,) whose middle lies between the parameters s and t."""
        middle = self.par[self.mesh.triangles].mean(axis=1)
        return np.asarray(((middle > (s[0], t[0])) & (middle < (s[1], t[1]))).all(axis=1))

    @cached_property
    def edges(self) -> Mapping[str, IntArray]:
        """Boundary nodes on the lines s = 0, s = 1, t = 0, t = 1."""
        s, t = self.par[: self.mesh.nb].T
        on = {"s0": s, "s1": 1 - s, "t0": t, "t1": 1 - t}
        return {name: np.flatnonzero(np.abs(d) < 1e-9) for name, d in on.items()}

    def node(self, s: float, t: float) -> int:
        """The boundary node at parameters (s, t)."""
        d = np.abs(self.par[: self.mesh.nb] - (s, t)).max(axis=1)
        best = int(d.argmin())
        if d[best] > 1e-9:
            raise ValueError(f"no node at ({s}, {t})")
        return best

    def supports(
        self, held: Mapping[str, tuple[str, ...]], points: Mapping[tuple[float, float], tuple[str, ...]] | None = None
    ) -> Supports:
        """Edges ("s0", "s1", "t0", "t1", "everywhere") and single nodes with the components of :data:`DOF`
        they hold."""
        fixed: BoolArray = np.zeros((self.mesh.nb, 6), bool)
        for edge, names in held.items():
            rows = np.arange(self.mesh.nb) if edge == "everywhere" else self.edges[edge]
            fixed[rows[:, None], [DOF[name] for name in names]] = True
        for place, names in (points or {}).items():
            fixed[self.node(*place), [DOF[name] for name in names]] = True
        return Supports(fixed)

    def line_load(self, shell: Shell, edge: str, force: FloatArray | Callable[[FloatArray], FloatArray]) -> FloatArray:
        """Load (n_total,) of a force per length `force` N/m, (3,) or a function (m, 3) -> (m, 3), along an
        edge, nodes on the true curve."""
        k = self.mesh.order
        nodes = self.edges[edge]
        nodes = nodes[np.argsort(self.par[nodes, 1 if edge[0] == "s" else 0])]
        along = np.stack([nodes[start : start + k + 1] for start in range(0, len(nodes) - 1, k)])
        return line_load(shell, along, force)


def line_load(shell: Shell, along: IntArray, force: FloatArray | Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Load (n_total,) of a force per length N/m, (3,) or a function (m, 3) -> (m, 3), along element edges whose nodes
    in order are `along` (n, k+1)."""
    k = along.shape[1] - 1
    g, w = np.polynomial.legendre.leggauss(k + 3)
    lattice = np.linspace(-1, 1, k + 1)
    back = np.linalg.inv(np.vander(lattice, k + 1, increasing=True))
    v = np.vander(g, k + 1, increasing=True) @ back
    slope = np.zeros_like(v)
    slope[:, 1:] = np.arange(1, k + 1) * np.vander(g, k, increasing=True)
    slope = slope @ back
    out = np.zeros(shell.n_total)
    for part in along:
        x = shell.mesh.x[part]
        length = np.linalg.norm(slope @ x, axis=1) * w
        per_length = force(v @ x) if callable(force) else force
        value = v.T @ (per_length * length[:, None])
        for c in range(3):
            np.add.at(out, 6 * part + c, value[:, c])
    return out


def at_node(shell: Shell, u: FloatArray, node: int) -> FloatArray:
    """Recovered strains (8,) at a boundary node of a shell with one laminate."""
    found = shell.recovery(np.zeros(len(shell.mesh.triangles), np.int64))
    return np.asarray(found.strains(u)[int(np.flatnonzero(found.node == node)[0])])


def rectangle(a: float, b: float) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """A flat rectangle a × b in the xy plane."""
    return lambda s, t: np.stack([a * s, b * t, 0 * s], axis=1)
