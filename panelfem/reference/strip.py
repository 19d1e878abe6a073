"""A strip in cylindrical bending, clamped at x = 0 and propped at x = L, under uniform pressure: bending and shear.

D w_b'' = q(L − x)²/2 − R(L − x), S w_s' = q(L − x) − R, with the prop's force R from w(L) = 0.

Source: Timoshenko's beam by the force method (textbook); derived here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class ProppedStrip:
    """`D` N·m bending and `S` N/m shear stiffness per width, `length` m, pressure `q` Pa along +z.

    >>> round(ProppedStrip(1.0, 1e12, 2.0, 8.0).reaction, 6)                     # 3/8 of the load
    6.0
    """

    D: float
    S: float
    length: float
    q: float

    @property
    def reaction(self) -> float:
        """Force R of the prop on the strip against the load, N per m of width."""
        L = self.length
        sag = self.q * (L**4 / (8 * self.D) + L**2 / (2 * self.S))
        return sag / (L**3 / (3 * self.D) + L / self.S)

    def deflection(self, x: float) -> float:
        """Deflection at x, m."""
        L, q, R = self.length, self.q, self.reaction
        bending = q / 2 * (L**2 * x**2 / 2 - L * x**3 / 3 + x**4 / 12) - R * (L * x**2 / 2 - x**3 / 6)
        return bending / self.D + (q * (L * x - x**2 / 2) - R * x) / self.S

    def strains(self, x: float) -> FloatArray:
        """[0 0 0 | k11 0 0 | g1 0] (8,) at x."""
        left = self.length - x
        moment = self.reaction * left - self.q * left**2 / 2
        return np.array([0, 0, 0, moment / self.D, 0, 0, (self.q * left - self.reaction) / self.S, 0])
