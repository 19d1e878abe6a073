"""The lowest eigenvalues of a pair of symmetric matrices: load factors of buckling, squares of circular frequencies."""

from __future__ import annotations

import numpy as np
from scipy.linalg import LinAlgError, eigh

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

ZERO = 1e-11
"""Eigenvalues of F below this share of its greatest one, both against K, are taken for rounding."""


def lowest(stiffness: FloatArray, driving: FloatArray, n: int, where: str) -> FloatArray:
    """The `n` lowest positive λ of K x = λ F x, K = `stiffness` (m, m) positive definite, F = `driving` symmetric.

    Buckling: F = −(stiffness of the prestress), λ its factor.  Vibration: F = mass, λ = ω².  F may be singular or
    indefinite: the problem is solved as F x = (1/λ) K x.  Raises :class:`ModelError` if K is not positive definite
    or there are fewer than `n` positive λ.

    >>> lowest(np.diag([6.0, 2.0, 1.0]), np.diag([3.0, 0.0, -1.0]), 1, "here").round(12).tolist()
    [2.0]
    """
    scale = np.diag(stiffness)
    if scale.min() <= 0:
        raise ModelError("it is not stable before the load or the motion is added", where=where)
    scale = 1 / np.sqrt(scale)
    pair = (driving * scale * scale[:, None], stiffness * scale * scale[:, None])
    try:
        mu = eigh(*pair, eigvals_only=True)[::-1]
    except LinAlgError:
        raise ModelError(
            "it is not stable before the load or the motion is added",
            where=where,
            do="hold its rigid motions, and keep a given prestress below buckling",
        ) from None
    found = int((mu > ZERO * np.abs(mu).max()).sum())
    if found < n:
        raise ModelError(
            f"{n} eigenvalues are asked for and {found} are positive", where=where, do="ask for fewer, raise the degree"
        )
    return np.asarray(1 / mu[:n])
