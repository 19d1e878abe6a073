"""The factor with rows inside: digits it keeps on thin plates, and what its pivots count."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csr_array
from shell_problems import X_AXIS, flat, grid, isotropic, marks

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.bordered import Bordered, Rows
from panelfem.shell.large import LargeShell


def held_plate(k: int, n: int, thickness: float) -> tuple[Shell, np.ndarray, np.ndarray]:
    """Clamped square, the stiffness of its elements (ne, n, n), its fixed unknowns (nb, 6)."""
    p, t = grid(n, n, 0.2)
    shell = Shell(CurvedMesh.lift(p, t, k, flat), isotropic(1.0, 0.3, thickness), X_AXIS)
    x = shell.mesh.x[: shell.mesh.nb]
    rim = ((x[:, :2] < 1e-9) | (x[:, :2] > 1 - 1e-9)).any(axis=1)
    large = LargeShell(shell)
    full = np.zeros((shell.layout.ne, *[large.unknowns.shape[1]] * 2))
    for chunk in large.chunks:
        rows = large.operator(chunk, large.at(chunk, large.rest()))
        full[chunk.es] = rows.swapaxes(1, 2) @ chunk.law(rows)
    return shell, 0.5 * (full + full.swapaxes(1, 2)), marks(shell, (rim, range(6)))


@pytest.mark.parametrize(
    ("k", "n", "thickness", "within"), [(3, 4, 1e-4, 1e-6), (4, 4, 1e-4, 1e-6), (4, 4, 1e-5, 1e-4)]
)
def test_thin_plates_keep_their_digits(k, n, thickness, within):
    """Against the factor by Cholesky."""
    shell, full, fixed = held_plate(k, n, thickness)
    load = shell.traction(np.array([0, 0, 1.0]))
    expected = shell.factor(Supports(fixed)).solve(load)
    got = Bordered(shell.layout, full, fixed.ravel(), None, Rows.none(shell.n_total)).solve(load)[0]
    assert abs(got - expected).max() < within * abs(expected).max()


@pytest.mark.parametrize("shift", [-3.0, 1.0, 10.0, 100.0])
def test_negative_pivots_count_eigenvalues_with_rows_of_every_sign(shift):
    """Rigid, elastic and taken-away rows on boundary and inner unknowns, against dense eigenvalues of the same."""
    shell, full, fixed = held_plate(3, 2, 0.05)
    unknowns = LargeShell(shell).unknowns
    bending = shell.stiffness[0, 3, 3]
    whole = np.zeros((shell.n_total, shell.n_total))
    shifted = full / bending - shift * np.eye(full.shape[1])
    for where, part in zip(unknowns, shifted, strict=True):
        whole[np.ix_(where, where)] += part
    rng = np.random.default_rng(3)
    rows = np.zeros((4, shell.n_total))
    for row in rows:
        row[rng.choice(unknowns[rng.integers(len(unknowns))], 5, replace=False)] = rng.normal(size=5)
    give = np.array([0.0, 1e-2, -1e-3, -1e-2])
    free = np.ones(shell.n_total, bool)
    free[: shell.n_boundary] = ~fixed.ravel()
    rows[:, ~free] = 0.0
    elastic = whole + (rows[1:].T / give[1:]) @ rows[1:]
    kept = np.linalg.svd(rows[:1, free])[2][1:]
    expected = int((np.linalg.eigvalsh(kept @ elastic[np.ix_(free, free)] @ kept.T) < 0).sum())
    factor = Bordered(shell.layout, shifted, fixed.ravel(), None, Rows.of(csr_array(rows), give))
    assert factor.negatives == expected
    assert expected >= (2 if shift > 0 else 0)
    load = rng.normal(size=shell.n_total) * free
    u = factor.solve(load)[0]
    assert rows[0] @ u == pytest.approx(0.0, abs=1e-9 * abs(u).max())
    assert kept @ (elastic @ u - load)[free] == pytest.approx(0.0, abs=1e-7 * abs(load).max())
