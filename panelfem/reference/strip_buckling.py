"""Buckling of a long clamped strip of any bending stiffness: what an ellipse much longer than wide comes to.

The strip runs along x, −b ≤ y ≤ b.  Ritz with w = Re f(y) exp(iκx), f = (1 − η²)² Σ c_j P_j(η) complex, η = y/b: the
energy per length is a Hermitian form for each wave number κ, and the least load over κ buckles the strip.  A strip
holds every ellipse as wide as itself, so it buckles before it.

Source: Rayleigh-Ritz with Kirchhoff's energy; derived here.  Isotropic, width w = 2b: N w²/(π² D) = 4 across (exact),
6.97 along and 8.98 in shear (Timoshenko & Gere, *Theory of Elastic Stability*; recalled).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.eigen import Shares

#: Wave numbers looked at, times b (D11/D22)^(1/4): the least load is then missed by less than 0.02 %.
WAVES = np.concatenate([[0.0], np.geomspace(0.05, 40.0, 300)])


@dataclass(frozen=True)
class ClampedStrip:
    """Strip along x, `b` m half its width, bending stiffness `D` (3, 3) N·m, clamped along both edges.

    Raises :class:`ModelError` if `D` is not positive definite or the width not positive.

    >>> D = np.array([[1, .3, 0], [.3, 1, 0], [0, 0, .35]])
    >>> strip = ClampedStrip(D, 0.5)                                              # 4, 6.97 and 8.98 π² D/w²
    >>> [round(strip.factor(load) / np.pi**2, 2) for load in ((0.0, -1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0))]
    [4.0, 6.97, 8.98]
    """

    D: FloatArray
    b: float
    degree: int = 12

    def __post_init__(self) -> None:
        if self.b <= 0 or np.linalg.eigvalsh(self.D).min() <= 0:
            raise ModelError(
                "a strip needs a positive width and a positive definite stiffness", where="long clamped strip"
            )

    def shares(self) -> Shares:
        """What share of its buckling load any prestress is."""
        p = self.degree
        y, weight = legendre.leggauss(p + 5)
        values = [np.atleast_2d(legendre.legval(y, legendre.legder(np.eye(p + 1), k, axis=0)).T) for k in range(3)]
        rim = ((1 - y**2) ** 2, -4 * y * (1 - y**2), 12 * y**2 - 4)
        f = [
            sum(c * rim[k - s][:, None] * values[s] for s, c in enumerate(((1,), (1, 1), (1, 2, 1))[k])) / self.b**k
            for k in range(3)
        ]
        kappa = WAVES / self.b * (self.D[1, 1] / self.D[0, 0]) ** 0.25
        ds = np.sqrt(weight * self.b)[:, None]
        wave = kappa[:, None, None]
        bent = np.stack([wave**2 * (ds * f[0]), -ds * f[2] + 0j * wave, -2j * wave * (ds * f[1])], axis=1)
        slope = np.stack([1j * wave * (ds * f[0]), ds * f[1] + 0j * wave], axis=1)
        root = np.einsum("sr,ksmi->krmi", np.linalg.cholesky(self.D), bent).reshape(len(kappa), -1, p + 1)
        return Shares.of(root, slope)

    def factor(self, prestress: tuple[float, float, float]) -> float:
        """The factor on `prestress` (Nx, Ny, Nxy) N/m, tension positive, at which it buckles; inf if it never does."""
        share = self.shares()(np.array(prestress))[0]
        return 1.0 / share if share > 0 else float("inf")
