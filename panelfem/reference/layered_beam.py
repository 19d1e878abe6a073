"""A straight layered beam by elementary beam theory: axial stress, shear from equilibrium, deflection with
shear.

Each layer has a Young's modulus E and a shear modulus G along the beam; width effects are left out (Poisson
free), which is what a narrow strip does.

Source: Jourawski's shear formula for a layered section, τ(z) b = Q ∫ E z dz / EI; shear flexibility from
the energy of that stress.  Problem: NAFEMS R0031/1 (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class LayeredBeam:
    """Layers (E Pa, G Pa, thickness m) from the bottom, per unit width; symmetric about mid-height.

    >>> solid = LayeredBeam(((12.0, 5.0, 0.5), (12.0, 5.0, 0.5)))
    >>> solid.EI, round(solid.shear_stiffness, 9), round(solid.shear(0.0, 1.0), 9)
    (1.0, 4.166666667, 1.5)
    """

    layers: tuple[tuple[float, float, float], ...]

    @cached_property
    def heights(self) -> FloatArray:
        """Interfaces from −h/2 up, m."""
        t = np.array([layer[2] for layer in self.layers])
        return np.asarray(np.concatenate([[0.0], np.cumsum(t)]) - t.sum() / 2)

    @cached_property
    def EI(self) -> float:
        """Bending stiffness per width, N·m."""
        z = self.heights
        return float(sum(e * (z[i + 1] ** 3 - z[i] ** 3) / 3 for i, (e, _, _) in enumerate(self.layers)))

    def stress(self, z: float, layer: int, moment: float) -> float:
        """Axial stress, Pa, in `layer` at height z under `moment` N (per width)."""
        return self.layers[layer][0] * z * moment / self.EI

    def shear(self, z: float, force: float) -> float:
        """Shear stress, Pa, at height z under a shear `force` N/m."""
        zs, first = self.heights, 0.0
        for i, (e, _, _) in enumerate(self.layers):
            top = min(max(z, zs[i]), zs[i + 1])
            first += e * (zs[i] ** 2 - top**2) / 2
        return float(force * first / self.EI)

    @cached_property
    def shear_stiffness(self) -> float:
        """Q²/(2 S) = ∫ τ²/(2 G) dz, N/m per width; three-point Gauss in each layer is exact (τ is
        quadratic)."""
        g, w = np.polynomial.legendre.leggauss(3)
        total = 0.0
        for i, (_, G, t) in enumerate(self.layers):
            z = self.heights[i] + t * (g + 1) / 2
            total += sum(wi * t / 2 * self.shear(float(zi), 1.0) ** 2 / G for zi, wi in zip(z, w, strict=True))
        return float(1 / total)

    def three_point(self, span: float, load: float) -> float:
        """Mid-span deflection, m, of a simply supported beam under a central `load` N/m of width."""
        return load * span**3 / (48 * self.EI) + load * span / (4 * self.shear_stiffness)
