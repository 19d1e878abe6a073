"""Curved layered strip in pure bending, exact: what a straight section is held against.

A strip bent to a radius closes on itself with u_r = f(r), u_θ = c r θ (no shear, no change along θ) and no strain along
the axis of the bend.  In a layer with stiffness C11 (θ), C33 (r), C13, equilibrium σr' + (σr − σθ)/r = 0 gives

    C33 (f'' + f'/r) − C11 f/r² = (C11 − C13) c/r,     f = A r^κ + B r^−κ + c p r,    κ = √(C11/C33),

p = (C11 − C13)/(C33 − C11); with C11 = C33 the last term is (C11 − C13)/(2 C33) c r ln r.  σr is zero on both faces,
and f and σr pass from layer to layer.

Source: derived here; one layer is S. G. Lekhnitskii 1968, Anisotropic Plates, chapter 3, whose closed form
(:mod:`panelfem.reference.curved_beam`) the tests hold it to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference.elasticity import Layer, stress_turn

#: Nearer to 1 than this, κ is taken as 1: there the two particular solutions agree to the digits that are left.
_EQUAL = 1e-7
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class CurvedStrip:
    """A laminate bent about an axis square to `direction` rad (from its 0° axis), under `moment` N per width.

    `layers` from the inside, at radius `inner` m, out; `moment` is positive where it opens the bend: tension on the
    inside.

    >>> from panelfem.reference.elasticity import Orthotropic
    >>> ply = Orthotropic(1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.5, 0.5, 0.5)
    >>> strip = CurvedStrip((Layer(ply, 0.0, 1.0),), 1.0, 0.0, 1.0)
    >>> [round(float(strip.stress(r, 0)[0]), 2) for r in (1.0, 2.0)]
    [7.76, -4.92]
    """

    layers: tuple[Layer, ...]
    inner: float
    direction: float
    moment: float

    @cached_property
    def radii(self) -> FloatArray:
        """(layers + 1,) m: faces and interfaces, from the inside."""
        return np.asarray(self.inner + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in self.layers])]))

    @cached_property
    def _laws(self) -> FloatArray:
        """(layers, 6, 6) Pa: stiffness [θθ, zz, rr, zr, θr, θz]."""
        return np.stack([layer.ply.turned(layer.angle - self.direction) for layer in self.layers])

    def _terms(self, j: int, r: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """[εθ, εr] (2, 3, ...) and [f, σr] (2, 3, ...) at r (...) in layer j, per A, B (of r over its middle) and c."""
        c11, c33, c13 = self._laws[j][0, 0], self._laws[j][2, 2], self._laws[j][0, 2]
        kappa, ref = math.sqrt(c11 / c33), float(self.radii[j : j + 2].mean())
        x = np.asarray(r) / ref
        f = [x**kappa, x**-kappa]
        slope = [kappa * x ** (kappa - 1) / ref, -kappa * x ** (-kappa - 1) / ref]
        if abs(kappa - 1.0) < _EQUAL:
            p = (c11 - c13) / (2 * c33)
            f.append(p * r * np.log(x))
            slope.append(p * (np.log(x) + 1.0))
        else:
            p = (c11 - c13) / (c33 - c11)
            f.append(p * np.asarray(r))
            slope.append(np.full_like(x, p))
        strain = np.array([[f[0] / r, f[1] / r, 1.0 + f[2] / r], slope])
        return strain, np.array([f, c13 * strain[0] + c33 * strain[1]])

    @cached_property
    def _amplitudes(self) -> FloatArray:
        """(layers, 3): A, B, c."""
        n, r = len(self.layers), self.radii
        matrix, right = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
        middle = float(r.mean())
        scale = np.array([1.0 / middle, 1.0 / float(self._laws[:, 0, 0].max())])

        def put(row: int, j: int, at: float, sign: float, first: int = 0) -> None:
            """Rows of f (from `first` 0) and σr of layer j at radius `at`."""
            terms = (scale[:, None] * self._terms(j, at)[1])[first:]
            rows = slice(row, row + len(terms))
            matrix[rows, 2 * j : 2 * j + 2] += sign * middle * terms[:, :2]
            right[rows] -= sign * terms[:, 2]

        put(0, 0, float(r[0]), 1.0, first=1)
        for j in range(n - 1):
            put(2 * j + 1, j, float(r[j + 1]), 1.0)
            put(2 * j + 1, j + 1, float(r[j + 1]), -1.0)
        put(2 * n - 1, n - 1, float(r[n]), 1.0, first=1)
        found = np.column_stack([middle * np.linalg.solve(matrix, right).reshape(n, 2), np.ones(n)])
        return found * (self.moment / self._moment(found))

    def _moment(self, amplitudes: FloatArray) -> float:
        """−∫ σθ (r − middle) dr, N: positive with tension on the inside."""
        middle, total = float(self.radii.mean()), 0.0
        for j, (low, high) in enumerate(zip(self.radii[:-1], self.radii[1:], strict=True)):
            r = 0.5 * (low + high) + 0.5 * (high - low) * _POINTS
            strain = np.einsum("itn,t->in", self._terms(j, r)[0], amplitudes[j])
            hoop = self._laws[j][0, [0, 2]] @ strain
            total -= 0.5 * (high - low) * float((_WEIGHTS * hoop) @ (r - middle))
        return total

    def stress(self, r: float, layer: int) -> FloatArray:
        """(6,) Pa at radius r m, taken inside `layer` (0 the innermost): [θθ, zz, rr, zr, θr, θz]."""
        strain = self._terms(layer, r)[0] @ self._amplitudes[layer]
        return np.asarray(self._laws[layer][:, [0, 2]] @ strain)

    @cached_property
    def ply_stresses(self) -> FloatArray:
        """(layers, 2, 3) Pa: inner and outer face of each layer, [11, 22, 12] in its own axes."""
        found = np.empty((len(self.layers), 2, 3))
        for j, layer in enumerate(self.layers):
            turn = stress_turn(self.direction - layer.angle)[[0, 1, 5]]
            for face, r in enumerate(self.radii[j : j + 2].tolist()):
                found[j, face] = turn @ self.stress(r, j)
        return found
