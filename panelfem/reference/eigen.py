"""The lowest eigenvalues of a pair of symmetric matrices: load factors of buckling, squares of circular frequencies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, eigh, solve_triangular

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


@dataclass(frozen=True)
class Shares:
    """What share of its buckling load a prestress is, for a prestress that is not one set of forces times a factor.

    `driving` (m, 3, n, n): of each of m independent families of shapes, minus the stiffness of a unit Nx, Ny, Nxy
    against an elastic stiffness of one.  The share is convex in the prestress and proportional to it; it is 1 where the
    plate buckles.
    """

    driving: FloatArray

    @classmethod
    def of(cls, bent: FloatArray, slope: FloatArray) -> Shares:
        """From rows (m, r, n), whose square is the elastic energy of n functions, and the slopes (m, 2, p, n) of w
        along x and y at p points, times the root of their weight.

        Rows rather than their squares, because functions of high degree are nearly dependent.

        >>> one = Shares.of(np.array([[[1.0], [1.0]]]), np.array([[[[1.0]], [[0.0]]]]))
        >>> round(one(np.array([-1.0, 5.0, 0.0]))[0], 12)
        0.5
        """
        scale = 1 / np.linalg.norm(bent, axis=1)
        out = np.empty((len(bent), 3, bent.shape[2], bent.shape[2]), bent.dtype)
        for k, upper in enumerate(np.linalg.qr(bent * scale[:, None, :], mode="r")):
            x, y = (solve_triangular(upper, (s * scale[k]).T, trans="T").T for s in slope[k])
            both = x.conj().T @ y
            out[k] = -x.conj().T @ x, -y.conj().T @ y, -both - both.conj().T
        return cls(out)

    def __call__(self, prestress: FloatArray) -> tuple[float, FloatArray]:
        """The share and its derivatives (3,) by (Nx, Ny, Nxy), for a prestress (3,) N/m, tension positive.

        Below 0 where no shape can buckle.
        """
        matrices = np.einsum("c,mcij->mij", prestress, self.driving)
        k = int(np.argmax(np.linalg.eigvalsh(matrices)[:, -1])) if len(matrices) > 1 else 0
        n = matrices.shape[-1]
        value, shape = eigh(matrices[k], subset_by_index=[n - 1, n - 1])
        slope = np.einsum("i,cij,j->c", shape[:, 0].conj(), self.driving[k], shape[:, 0], optimize=True)
        return float(value[0]), np.asarray(slope.real, np.float64)
