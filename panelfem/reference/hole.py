"""Stresses round an open elliptical or circular hole in a wide anisotropic plate, and Kirsch's for an
isotropic one.

Complex potentials φk(zk) = Ck/ζk, zk = x + μk y, with ζk the map of the outside of the hole onto the
outside of the unit circle; μ are the roots of a11 μ⁴ − 2 a16 μ³ + (2 a12 + a66) μ² − 2 a26 μ + a22 = 0
(compliance a).
 σx = 2Re Σ μ² φ', σy = 2Re Σ φ', τxy = −2Re Σ μ φ', added to the far stress.

Source: Lekhnitskii, *Anisotropic Plates*, 1968, ch. VI (coefficients derived here from the free edge);
Kirsch 1898.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError


def concentration(Ex: float, Ey: float, Gxy: float, nu_xy: float) -> float:
    """Largest hoop stress over the far stress along x, circular hole, orthotropic plate: 1 + √(2(√(Ex/Ey) −
    ν) + Ex/G).

    Source: Lekhnitskii 1968; his plywood Ex 1.2, Ey .6, ν .071, G .07 gives 5.45 (recalled).

    >>> round(concentration(1.2, 0.6, 0.07, 0.071), 2), concentration(2.6, 2.6, 1.0, 0.3)
    (5.45, 3.0)
    """
    return float(1 + np.sqrt(2 * (np.sqrt(Ex / Ey) - nu_xy) + Ex / Gxy))


def kirsch(radius: float, x: FloatArray, y: FloatArray, stress: float) -> FloatArray:
    """(σx, σy, τxy) (n, 3) of an isotropic plate under `stress` along x, at points outside a circular hole.

    >>> kirsch(1.0, np.array([0.0]), np.array([1.0]), 1.0).round(9)[0, :1].tolist()
    [3.0]
    """
    r, t = np.hypot(x, y), np.arctan2(y, x)
    k = (radius / r) ** 2
    rr = stress / 2 * ((1 - k) + (1 - 4 * k + 3 * k * k) * np.cos(2 * t))
    tt = stress / 2 * ((1 + k) - (1 + 3 * k * k) * np.cos(2 * t))
    rt = -stress / 2 * (1 + 2 * k - 3 * k * k) * np.sin(2 * t)
    c, s = np.cos(t), np.sin(t)
    return np.stack(
        [
            rr * c * c + tt * s * s - 2 * rt * c * s,
            rr * s * s + tt * c * c + 2 * rt * c * s,
            (rr - tt) * c * s + rt * (c * c - s * s),
        ],
        axis=1,
    )


@dataclass(frozen=True)
class OpenHole:
    """Ellipse with semi-axes `a` along x and `b` along y (m) in a plate of membrane stiffness `A` (3, 3)
    N/m, B = 0.

    Far resultants `far` = (N11, N22, N12) N/m; every result is in N/m (divide by the thickness for mean
    stress). The isotropic plate has a double root; its answer is Kirsch's and the class refuses it.

    >>> S = np.array([[1 / 1.2, -.071 / 1.2, 0], [-.071 / 1.2, 1 / .6, 0], [0, 0, 1 / .07]])
    >>> hole = OpenHole(np.linalg.inv(S), 1.0, 1.0, (1.0, 0.0, 0.0))
    >>> hole.resultants(np.array([0.0, 1.0]), np.array([1.0, 0.0])).round(3)[[0, 1], [0, 1]].tolist()
    [5.453, -0.707]
    """

    A: FloatArray
    a: float
    b: float
    far: tuple[float, float, float]

    @cached_property
    def roots(self) -> NDArray[np.complex128]:
        """The two roots with positive imaginary part."""
        s = np.linalg.inv(self.A)
        mu = np.roots([s[0, 0], -2 * s[0, 2], 2 * s[0, 1] + s[2, 2], -2 * s[1, 2], s[1, 1]])
        mu = mu[mu.imag > 0]
        if len(mu) != 2 or abs(mu[0] - mu[1]) < 1e-6 * abs(mu[0]):
            raise ModelError(
                "the two complex roots coincide: the plate is isotropic in its plane",
                where="Lekhnitskii's hole",
                do="use Kirsch's solution",
            )
        return np.asarray(mu)

    @cached_property
    def coefficients(self) -> NDArray[np.complex128]:
        """C1, C2 from the free edge: U,x and U,y of the stress function constant round the hole."""
        n11, n22, n12 = self.far
        right = np.array([-self.a * n22 + 1j * self.b * n12, self.a * n12 - 1j * self.b * n11]) / 2
        return np.asarray(np.linalg.solve(np.stack([np.ones(2), self.roots]), right))

    def resultants(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """(N11, N22, N12) (n, 3) at points on or outside the edge of the hole."""
        out = np.tile(np.asarray(self.far, float), (len(x), 1))
        for mu, c in zip(self.roots, self.coefficients, strict=True):
            z = x + mu * y
            root = np.sqrt(z * z - self.a**2 - (mu * self.b) ** 2)
            scale = self.a - 1j * mu * self.b
            other = np.abs(z - root) > np.abs(z + root)  # the branch that maps outside to outside
            root = np.where(other, -root, root)
            slope = -c * scale / ((z + root) * root)  # dφ/dz = −C/(ζ √…), ζ = (z + √…)/scale
            out += 2 * np.stack([mu**2 * slope, slope, -mu * slope], axis=1).real
        return out

    def hoop(self, angle: FloatArray) -> FloatArray:
        """Resultant along the edge (n,) at points (a cos t, b sin t), t = `angle` (n,) rad."""
        x, y = self.a * np.cos(angle), self.b * np.sin(angle)
        n = self.resultants(x, y)
        t = np.stack([-self.a * np.sin(angle), self.b * np.cos(angle)], axis=1)
        t /= np.linalg.norm(t, axis=1, keepdims=True)
        return np.asarray(n[:, 0] * t[:, 0] ** 2 + n[:, 1] * t[:, 1] ** 2 + 2 * n[:, 2] * t[:, 0] * t[:, 1])
