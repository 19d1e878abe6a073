"""A strip of finite width with a hole in its middle, pulled along: a quarter of it, and the width factor against it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure.notched import finite_width
from panelfem.reference.hole import concentration
from panelfem.shell import Shell
from panelfem.verify.grids import Grid
from panelfem.verify.row import STRESS, Row

#: Ex, Ey, G, ν of sheets, and shares of the width.
SHEETS = {"isotropic": (1.0, 1.0, 1 / 2.6, 0.3), "plywood": (1.2, 0.6, 0.07, 0.071)}
_LONG = 3.0


def stiffness(Ex: float, Ey: float, G: float, nu: float) -> FloatArray:
    """(3, 3) of a sheet of thickness 1."""
    return np.linalg.inv(np.array([[1 / Ex, -nu / Ex, 0], [-nu / Ex, 1 / Ey, 0], [0, 0, 1 / G]]))


def edge_stress(A: FloatArray, width: float, order: int) -> float:
    """Stress at the side of a hole of radius 1 in a strip `width` wide, over the far stress."""
    half, end = width / 2, _LONG * width / 2

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        g = np.pi / 2 * t
        x = np.where(t <= 0.5, end, 2 * end * (1 - t))
        y = np.where(t <= 0.5, 2 * half * t, half)
        return np.stack([(1 - s) * np.cos(g) + s * x, (1 - s) * np.sin(g) + s * y, 0 * s], axis=1)

    def pull(x: FloatArray) -> FloatArray:
        on = np.abs(x[:, 0] - end) < 1e-9
        return np.stack([on, 0 * on, 0 * on], axis=1).astype(float)

    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = A, A / 12, 0.05 * np.eye(2)
    across = np.concatenate([0.5 * np.linspace(0, 1, 6), 1 - 0.5 * (1 - np.linspace(0, 1, 8)[1:]) ** 1.6])
    grid = Grid.lift(np.linspace(0, 1, 11) ** 2, across, order, surface)
    shell = Shell(grid.mesh, C, np.array([1.0, 0, 0]))
    held = {"t0": ("uy",), "t1": ("ux",), "everywhere": ("uz", "rx", "ry")}
    u = shell.factor(grid.supports(held)).solve(grid.line_load(shell, "s1", pull))
    found = shell.recovery(np.zeros(len(grid.mesh.triangles), np.int64))
    at = int(np.flatnonzero(found.node == grid.node(0.0, 1.0))[0])
    return float((A @ found.strains(u)[at, :3])[0])


def rows(order: int = 4) -> Iterator[Row]:
    """The width factor for two sheets and three widths."""
    for name, sheet in SHEETS.items():
        wide = concentration(*sheet)
        for share in (0.1, 0.3, 0.5):
            yield Row(
                "notched strength",
                f"{name} strip with a hole {share:g} of its width",
                "edge stress over that in a wide plate",
                "Tan 1988 with Heywood's factor (recalled)",
                None,
                edge_stress(stiffness(*sheet), 2 / share, order) / wide,
                "own shell elements of order 4",
                finite_width(share, wide),
                "-",
                1.5 * STRESS,
                "an approximate formula; beside it the mesh is exact",
            )
