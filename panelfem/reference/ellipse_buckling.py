"""Buckling and vibration of a thin clamped elliptical plate of any stiffness: a sublaminate over a delamination.

Ritz with w = (1 − ξ² − η²)² Σ c_ij P_i(ξ) P_j(η), ξ = x/a, η = y/b, i + j ≤ degree, which meets w = 0 and zero slope at
the rim; all integrals are exact.  The uniform prestress (N/m, tension positive) is given.  Factors and frequencies fall
to the exact ones with the degree.  B = 0: the plate's own mid-plane stays in its plane until it buckles.

Source: Rayleigh-Ritz with Kirchhoff's energy.  Circle, isotropic: N a²/D = 14.682, the square of the first zero of J1
(Timoshenko & Gere, *Theory of Elastic Stability*; recalled; exact), ω a² √(m/D) = 10.2158 (Leissa; recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.eigen import Shares, lowest


@dataclass(frozen=True)
class ClampedEllipseModes:
    """Plate x²/a² + y²/b² ≤ 1 (m), bending stiffness `D` (3, 3) N·m in the axes of the ellipse, clamped all round.

    Raises :class:`ModelError` if `D` is not positive definite or a semi-axis not positive.

    >>> D = np.array([[1, .3, 0], [.3, 1, 0], [0, 0, .35]])
    >>> disc = ClampedEllipseModes(D, 1.0, 1.0)
    >>> round(float(disc.factors(1, (-1.0, -1.0, 0.0))[0]), 6), round(float(disc.frequencies(1, 1.0)[0]), 4)
    (14.681971, 10.2158)
    """

    D: FloatArray
    a: float
    b: float
    degree: int = 12

    def __post_init__(self) -> None:
        if min(self.a, self.b) <= 0 or np.linalg.eigvalsh(self.D).min() <= 0:
            raise ModelError(
                "an ellipse needs positive semi-axes and a positive definite stiffness", where="clamped ellipse"
            )

    @cached_property
    def _fields(self) -> dict[tuple[int, int], FloatArray]:
        """w and its derivatives (along x, along y) at the points (m, n), times the root of the weight."""
        p = self.degree
        t, weight = legendre.leggauss(p + 6)
        r, turns = (t + 1) / 2, 2 * p + 16
        angle = 2 * np.pi * np.arange(turns) / turns
        x, y = (np.outer(r, f(angle)).ravel() for f in (np.cos, np.sin))
        root = np.sqrt(np.repeat(weight / 2 * r * 2 * np.pi / turns, turns) * self.a * self.b)[:, None]
        i, j = (k.ravel() for k in np.meshgrid(np.arange(p + 1), np.arange(p + 1), indexing="ij"))
        i, j = i[i + j <= p], j[i + j <= p]

        def derivative(at: FloatArray, order: int) -> FloatArray:
            return np.asarray(legendre.legval(at, legendre.legder(np.eye(p + 1), order, axis=0)).T, np.float64)

        f = (1 - x**2 - y**2)[:, None]
        cx, cy = x[:, None], y[:, None]
        rim = {
            (0, 0): f**2,
            (1, 0): -4 * cx * f,
            (0, 1): -4 * cy * f,
            (2, 0): 8 * cx**2 - 4 * f,
            (1, 1): 8 * cx * cy,
            (0, 2): 8 * cy**2 - 4 * f,
        }
        along, across = ([derivative(at, k) for k in range(3)] for at in (x, y))
        out = {}
        for kx, ky in rim:  # Leibniz's rule
            total = np.zeros((len(x), len(i)))
            for sx in range(kx + 1):
                for sy in range(ky + 1):
                    times = (2.0 if (kx, sx) == (2, 1) else 1.0) * (2.0 if (ky, sy) == (2, 1) else 1.0)
                    total += times * rim[sx, sy] * along[kx - sx][:, i] * across[ky - sy][:, j]
            out[kx, ky] = root * total / (self.a**kx * self.b**ky)
        return out

    @cached_property
    def _elastic(self) -> FloatArray:
        w = self._fields
        k = np.stack([-w[2, 0], -w[0, 2], -2 * w[1, 1]])
        return np.asarray(np.einsum("rs,rmi,smj->ij", self.D, k, k, optimize=True))

    def _geometric(self, prestress: tuple[float, float, float]) -> FloatArray:
        nx, ny, nxy = prestress
        slope = np.stack([self._fields[1, 0], self._fields[0, 1]])
        return np.asarray(np.einsum("rs,rmi,smj->ij", np.array([[nx, nxy], [nxy, ny]]), slope, slope, optimize=True))

    def factors(self, n: int, prestress: tuple[float, float, float]) -> FloatArray:
        """The `n` lowest factors on `prestress` (Nx, Ny, Nxy) N/m, tension positive, at which it buckles.

        Raises :class:`ModelError` if nothing does.
        """
        return lowest(self._elastic, -self._geometric(prestress), n, "buckling of a clamped ellipse")

    def shares(self) -> Shares:
        """What share of its buckling load any prestress is; keeps less than the plate itself does.

        >>> disc = ClampedEllipseModes(np.array([[1, .3, 0], [.3, 1, 0], [0, 0, .35]]), 1.0, 1.0)
        >>> round(disc.shares()(np.array([-1.0, -1.0, 0.0]))[0] * 14.681971, 6)
        1.0
        """
        w = self._fields
        bent = np.stack([-w[2, 0], -w[0, 2], -2 * w[1, 1]])
        root = np.einsum("sr,smi->rmi", np.linalg.cholesky(self.D), bent).reshape(1, -1, bent.shape[-1])
        return Shares.of(root, np.stack([w[1, 0], w[0, 1]])[None])

    def frequencies(self, n: int, mass: float, prestress: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> FloatArray:
        """The `n` lowest circular frequencies, rad/s, for `mass` kg/m²; rotary inertia is left out.

        Raises :class:`ModelError` if the prestress buckles it.
        """
        if mass <= 0:
            raise ModelError("a plate has a positive mass", where="vibration of a clamped ellipse")
        w = self._fields[0, 0]
        return np.sqrt(
            lowest(self._elastic + self._geometric(prestress), mass * w.T @ w, n, "vibration of a clamped ellipse")
        )
