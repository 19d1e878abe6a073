"""Exact plane elasticity of a curved bar in pure bending: hoop stress, and the radial stress that opens its layers.

The bar is a piece of a ring, the same moment on both ends, its material isotropic or orthotropic with one axis along
the ring.  The stress function depends on the radius only, so both stresses are powers of it (with a logarithm in the
isotropic case).  Per unit width; the moment is positive where it opens the bar (straightens it): the inner side is
then in tension along the ring, and the layers are pulled apart.

Source: S. G. Lekhnitskii 1968, Anisotropic Plates, chapter 3 (curved rod with cylindrical anisotropy in pure bending);
S. P. Timoshenko & J. N. Goodier, Theory of Elasticity, 3rd ed., chapter 4 (isotropic, Golovin's solution); both
recalled, and held in the tests against equilibrium, free faces, the moment and compatibility.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray

_ISOTROPIC = 1e-6
"""A root this near to one is taken as one, where the powers turn into a logarithm."""


@dataclass(frozen=True)
class CurvedBeam:
    """Bar of `inner` and `outer` radius, m, and `ratio` = modulus along the ring over modulus along the radius.

    >>> bar = CurvedBeam(9.5, 10.5)
    >>> round(float(bar.radial(np.array([10.0]), 1.0)[0]), 3), round(1.5 / (10.0 * 1.0), 3)
    (0.15, 0.15)
    """

    inner: float
    outer: float
    ratio: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 < self.inner < self.outer or not self.ratio > 0.0:
            raise ValueError("a curved bar needs 0 < inner < outer radius and a positive ratio of moduli")

    def radial(self, r: FloatArray, moment: float) -> FloatArray:
        """Radial stress (n,), Pa, at radii `r` (n,), m, under `moment` N (N·m per m of width); tension positive."""
        return moment * self._stresses(r)[0]

    def hoop(self, r: FloatArray, moment: float) -> FloatArray:
        """Stress along the ring (n,), Pa, at radii `r` (n,), m, under `moment` N; tension positive."""
        return moment * self._stresses(r)[1]

    def _stresses(self, r: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b, k = self.inner, self.outer, math.sqrt(self.ratio)
        r = np.asarray(r, float)
        if abs(k - 1.0) < _ISOTROPIC:
            span = math.log(b / a)
            scale = -4.0 / ((b * b - a * a) ** 2 - (2.0 * a * b * span) ** 2)
            common = b * b * np.log(r / b) + a * a * np.log(a / r)
            pole = (a * b / r) ** 2 * span
            return scale * (common + pole), scale * (common - pole + b * b - a * a)
        c, x = a / b, r / b
        rise = (1.0 - c ** (k + 1.0)) / (1.0 - c ** (2.0 * k))
        fall = (1.0 - c ** (k - 1.0)) / (1.0 - c ** (2.0 * k)) * c ** (k + 1.0)
        g = (1.0 - c * c) / 2.0 - k / (k + 1.0) * rise * (1.0 - c ** (k + 1.0))
        g += k * c * c / (k - 1.0) * (1.0 - c ** (k - 1.0)) ** 2 / (1.0 - c ** (2.0 * k))
        scale = -1.0 / (b * b * g)
        up, down = rise * x ** (k - 1.0), fall * x ** (-k - 1.0)
        return scale * (1.0 - up - down), scale * (1.0 - k * up + k * down)
