"""Open hole in an orthotropic plate, a quarter of it, with Lekhnitskii's own tractions on the outer arc."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference.hole import OpenHole, concentration
from panelfem.shell import Shell
from panelfem.verify.barred import ORDER, barred
from panelfem.verify.grids import Grid
from panelfem.verify.row import STRESS, Row


def plywood(order: int = ORDER) -> Iterator[Row]:
    """Stress at the edge, and ahead of the hole."""
    Ex, Ey, G, nu = 1.2, 0.6, 0.07, 0.071
    S = np.array([[1 / Ex, -nu / Ex, 0], [-nu / Ex, 1 / Ey, 0], [0, 0, 1 / G]])
    A = np.linalg.inv(S)
    outer = 4.0

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        r, g = outer**s, np.pi / 2 * t  # the hole has radius 1
        return np.stack([r * np.cos(g), r * np.sin(g), 0 * s], axis=1)

    hole = OpenHole(A, 1.0, 1.0, (1.0, 0.0, 0.0))

    def traction(x: FloatArray) -> FloatArray:
        n = x[:, :2] / np.linalg.norm(x[:, :2], axis=1, keepdims=True)
        f = hole.resultants(x[:, 0], x[:, 1])
        return np.stack(
            [f[:, 0] * n[:, 0] + f[:, 2] * n[:, 1], f[:, 2] * n[:, 0] + f[:, 1] * n[:, 1], 0 * n[:, 0]], axis=1
        )

    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = A, A / 12, 0.05 * np.eye(2)
    # finer towards the edge of the hole, its side and its pole
    graded = np.linspace(0, 1, 9)
    across = np.concatenate([0.35 * graded**1.6, 1 - 0.65 * (1 - graded[1:]) ** 1.6])
    line = np.linspace(0, 1, 13) ** 1.6
    grid = Grid.lift(line, across, order, surface)
    shell = Shell(grid.mesh, C, np.array([1.0, 0, 0]))
    held = {"t0": ("uy",), "t1": ("ux",), "everywhere": ("uz", "rx", "ry")}
    u = shell.factor(grid.supports(held)).solve(grid.line_load(shell, "s1", traction))
    found = shell.recovery(np.zeros(len(grid.mesh.triangles), np.int64))
    strain = found.strains(u)
    source = "Lekhnitskii, Anisotropic Plates, 1968, plywood (recalled)"
    for s, t, component, what, printed in (
        (0.0, 1.0, 0, "hoop stress at the side", 5.45),
        (0.0, 0.0, 1, "hoop stress at the pole", -0.707),
        (float(line[4]), 1.0, 0, "σx ahead of the hole", None),
        (float(line[6]), 1.0, 0, "σx ahead of the hole", None),
        (float(line[8]), 1.0, 0, "σx ahead of the hole", None),
    ):
        x, y, _ = surface(np.array([s]), np.array([t]))[0]
        reference = float(hole.resultants(np.array([x]), np.array([y]))[0, component])
        at = int(np.flatnonzero(found.node == grid.node(s, t))[0])
        ours = float((A @ strain[at, :3])[component])
        how = "complex potentials"
        if (s, t) == (0.0, 1.0):
            reference, how = concentration(Ex, Ey, G, nu), "closed form"
        yield Row(
            "open hole",
            "plywood, circular hole, pulled along x",
            f"{what}, r = {outer**s:.3f} a, over the far stress",
            source,
            printed,
            reference,
            how,
            ours,
            "-",
            STRESS,
            "wide plate: exact tractions on the outer arc, r = 4 a",
        )


def rows() -> Iterator[Row]:
    """All rows of open holes."""
    yield from barred(plywood)
