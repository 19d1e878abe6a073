"""Circular isotropic plates under a pressure on a central disc, bending and shear; and the clamped ellipse.

Mindlin's axisymmetric plate is statically determinate: the shear force Q(r) follows from the load inside r.  The turn
ψ of the normal and the deflection w follow by integration: D (1/r (r ψ)')' = Q, w' = ψ − Q/S, with w and the pressure
along +z; curvatures are k_r = −ψ', k_θ = −ψ/r.  Three constants come from the border of the disc and from the edge.
With S infinite this is Kirchhoff's plate.

Source: Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*, ch. 3 (thin, recalled); the part of shear is
derived here.  Ellipse: clamped elliptical plate there, and Lekhnitskii, *Anisotropic Plates*, for anisotropic plates
(both recalled); derived here from D11 w,1111 + 2(D12 + 2D66) w,1122 + D22 w,2222 = q: the terms in D16 and D26 vanish
for the deflection given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError


@dataclass(frozen=True)
class CircularPlate:
    """Plate of `radius` m, bending stiffness `D` N·m, `poisson`, shear stiffness `S` N/m (inf: thin).

    Pressure `q` Pa along +z on the disc r ≤ `loaded` ≤ radius.  `edge`: clamped, or supported (free to turn).
    Raises :class:`ModelError` for a loaded disc that is not on the plate.

    >>> round(CircularPlate(1.0, 1.0, 0.3, np.inf, "clamped", 64.0, 1.0).deflection(0.0), 9)
    1.0
    >>> round(CircularPlate(1.0, 1.0, 0.3, np.inf, "supported", 64.0, 1.0).deflection(0.0) * 1.3 / 5.3, 9)
    1.0
    """

    radius: float
    D: float
    poisson: float
    S: float
    edge: Literal["clamped", "supported"]
    q: float
    loaded: float

    def __post_init__(self) -> None:
        if not 0 < self.loaded <= self.radius:
            raise ModelError("the loaded disc is not on the plate", where="circular plate", allowed="up to its radius")

    @property
    def _pull(self) -> float:
        """r Q outside the disc, N per radian."""
        return self.q * self.loaded**2 / 2

    @cached_property
    def _constants(self) -> tuple[float, float, float]:
        """(A, B, C): D ψ = q r³/16 + A r inside, P r (2 ln r − 1)/4 + B r + C/r outside, P = r Q."""
        c, a, p, nu = self.loaded, self.radius, self._pull, self.poisson
        rows = [[c, -c, -1 / c], [1, -1, 1 / c**2]]  # ψ and ψ' continuous at c
        right = [
            p * c * (2 * np.log(c) - 1) / 4 - self.q * c**3 / 16,
            p * (2 * np.log(c) + 1) / 4 - 3 * self.q * c**2 / 16,
        ]
        if self.edge == "clamped":  # ψ = 0
            rows.append([0, a, 1 / a])
            right.append(-p * a * (2 * np.log(a) - 1) / 4)
        else:  # ψ' + ν ψ/r = 0
            rows.append([0, 1 + nu, -(1 - nu) / a**2])
            right.append(-p * ((2 * np.log(a) + 1) + nu * (2 * np.log(a) - 1)) / 4)
        one, two, three = np.linalg.solve(np.array(rows, float), np.array(right))
        return float(one), float(two), float(three)

    def turn(self, r: float) -> tuple[float, float]:
        """ψ rad and ψ' rad/m at r > 0 m."""
        inner, b, c = self._constants
        p = self._pull
        if r <= self.loaded:
            return (self.q * r**3 / 16 + inner * r) / self.D, (3 * self.q * r**2 / 16 + inner) / self.D
        value = p * r * (2 * np.log(r) - 1) / 4 + b * r + c / r
        slope = p * (2 * np.log(r) + 1) / 4 + b - c / r**2
        return float(value / self.D), float(slope / self.D)

    def deflection(self, r: float) -> float:
        """Deflection at r, m."""
        inner, b, c = self._constants
        p = self._pull

        def outside(x: float) -> float:
            bending = p * x**2 * (np.log(x) - 1) / 4 + b * x**2 / 2 + c * np.log(x)
            return float(bending / self.D - p * np.log(x) / self.S)

        def inside(x: float) -> float:
            return (self.q * x**4 / 64 + inner * x**2 / 2) / self.D - self.q * x**2 / (4 * self.S)

        rim = self.loaded
        w = outside(max(r, rim)) - outside(self.radius)
        return float(w + (inside(r) - inside(rim) if r < rim else 0.0))

    def strains(self, x: float, y: float) -> FloatArray:
        """[0 0 0 | k11 k22 2k12 | 0 0] (8,) at a point, 1/m; the shear strain is left out."""
        r = float(np.hypot(x, y))
        if r < 1e-12 * self.radius:
            k = -self._constants[0] / self.D
            return np.array([0, 0, 0, k, k, 0, 0, 0])
        value, slope = self.turn(r)
        c, s, kr, kt = x / r, y / r, -slope, -value / r
        return np.array([0, 0, 0, kr * c * c + kt * s * s, kr * s * s + kt * c * c, 2 * (kr - kt) * c * s, 0, 0])


@dataclass(frozen=True)
class ClampedEllipse:
    """Thin clamped plate x²/a² + y²/b² ≤ 1 of bending stiffness `D` (3, 3) N·m, B = 0, uniform pressure `q` Pa:
    w = w0 (1 − x²/a² − y²/b²)², exact for any anisotropy.

    >>> D = np.array([[1, .3, 0], [.3, 1, 0], [0, 0, .35]])
    >>> round(ClampedEllipse(D, 1.0, 1.0, 64.0).deflection(0.0, 0.0), 9)
    1.0
    """

    D: FloatArray
    a: float
    b: float
    q: float

    @cached_property
    def peak(self) -> float:
        """w0, m."""
        D, a, b = self.D, self.a, self.b
        mixed = D[0, 1] + 2 * D[2, 2]
        return float(self.q / (24 * D[0, 0] / a**4 + 16 * mixed / (a * b) ** 2 + 24 * D[1, 1] / b**4))

    def deflection(self, x: float, y: float) -> float:
        """Deflection at a point, m."""
        return float(self.peak * (1 - (x / self.a) ** 2 - (y / self.b) ** 2) ** 2)

    def strains(self, x: float, y: float) -> FloatArray:
        """[0 0 0 | k11 k22 2k12 | 0 0] (8,) at a point, 1/m."""
        a, b = self.a, self.b
        f = 1 - (x / a) ** 2 - (y / b) ** 2
        k11 = 4 * self.peak * (f / a**2 - 2 * x**2 / a**4)
        k22 = 4 * self.peak * (f / b**2 - 2 * y**2 / b**4)
        return np.array([0, 0, 0, k11, k22, -16 * self.peak * x * y / (a * b) ** 2, 0, 0])
