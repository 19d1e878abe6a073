"""Plates and dishes that the tests of natural frequencies share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shell_problems import X_AXIS, flat, grid, isotropic, marks

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.mass import Mass
from panelfem.shell.modes import Modes
from panelfem.shell.vibration import unloaded, vibration

HOLDS = {"C": "clamped", "S": "supported", "F": "free"}
SIDES = ((0, 0.0), (0, 1.0), (1, 0.0), (1, 1.0))
SLAB = np.array([1.0, 0.0, 1.0 / 12.0])
"""Moments of a sheet over (m0, -, m0 h²)."""


def square(
    k: int,
    n: int,
    law: np.ndarray,
    code: str,
    distort: float = 0.1,
    in_plane: Sequence[Sequence[int]] = ((), (), (), ()),
) -> tuple[Shell, np.ndarray]:
    """Unit square with edges x = 0, x = 1, y = 0, y = 1 held as `code` says, and (nb, 6) what is fixed."""
    p, t = grid(n, n, distort)
    shell = Shell(CurvedMesh.lift(p, t, k, flat), law, X_AXIS)
    x = shell.mesh.x[: shell.mesh.nb]
    holds = []
    for (axis, value), hold, plane in zip(SIDES, code, in_plane, strict=True):
        on = np.abs(x[:, axis] - value) < 1e-9
        components = {"C": range(6), "S": (2, 3 + axis, *plane), "F": ()}[hold]
        holds.append((on, components))
    return shell, marks(shell, *holds)


def sheet(h: float) -> np.ndarray:
    """Moments of a sheet of density 1."""
    return SLAB * [h, 1.0, h**3]


def frequency(k: int, n: int, h: float, code: str, count: int = 1) -> Modes:
    law = isotropic(1.0, 0.3, h)
    shell, fixed = square(k, n, law, code)
    return vibration(unloaded(shell, Supports(fixed)), Mass(shell, sheet(h)), count)


def dish(k: int, n: int) -> Shell:
    p, t = grid(n, n, 0.2)
    mesh = CurvedMesh.lift(p, t, k, lambda q: np.column_stack([q, 0.3 * q[:, 0] ** 2 - 0.1 * q[:, 0] * q[:, 1]]))
    return Shell(mesh, isotropic(1.0, 0.3, 0.05), X_AXIS)
