"""Thin (Kirchhoff) anisotropic plates by Ritz with polynomials that meet the edge conditions exactly.

Used for clamped plates, where no closed form exists, and for plates with D16 and D26, where Navier's series
does not separate.  The compliance rises to the exact one with the degree.

Source: Ashton & Whitney, *Theory of Laminated Plates*, 1970 (energy; recalled).  Values held against:
Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*, tables 8 and 35 (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.polynomial import legendre
from scipy.linalg import null_space

from panelfem.arrays import FloatArray

Hold = Literal["clamped", "supported", "free"]


def edge_polynomials(degree: int, start: Hold, end: Hold) -> FloatArray:
    """Legendre coefficients (degree + 1, k) of the polynomials on −1 ≤ t ≤ 1 that meet the geometric
    conditions.

    >>> edge_polynomials(5, "clamped", "supported").shape
    (6, 3)
    """
    rows = []
    for t, hold in ((-1.0, start), (1.0, end)):
        if hold != "free":
            rows.append(legendre.legvander(np.array([t]), degree)[0])
        if hold == "clamped":
            rows.append(legendre.legval(t, legendre.legder(np.eye(degree + 1), axis=0)))
    return np.asarray(null_space(np.array(rows))) if rows else np.eye(degree + 1)


@dataclass(frozen=True)
class ThinPlate:
    """Rectangle 0 ≤ x ≤ a, 0 ≤ y ≤ b with bending stiffness `D` (3, 3) N·m, B = 0.

    `edges`: how x = 0, x = a, y = 0, y = b are held.  Uniform pressure `q` Pa, deflection along +z.

    >>> D = np.array([[1, .3, 0], [.3, 1, 0], [0, 0, .35]])
    >>> plate = ThinPlate(D, 1.0, 1.0, ("clamped",) * 4, 1.0)
    >>> round(plate.deflection(0.5, 0.5), 7), round(float(plate.moments(0.0, 0.5)[0]), 4)
    (0.0012653, -0.0513)
    """

    D: FloatArray
    a: float
    b: float
    edges: tuple[Hold, Hold, Hold, Hold]
    q: float
    degree: int = 18

    @cached_property
    def _bases(self) -> tuple[FloatArray, FloatArray]:
        e = self.edges
        return edge_polynomials(self.degree, e[0], e[1]), edge_polynomials(self.degree, e[2], e[3])

    def _tables(self, basis: FloatArray, t: FloatArray, length: float) -> list[FloatArray]:
        """Values, first and second derivatives (points, k) with respect to the coordinate in m."""
        out: list[FloatArray] = []
        c: FloatArray = basis
        for order in range(3):
            out.append(np.asarray(legendre.legval(t, c), np.float64).T.reshape(len(t), -1) * (2 / length) ** order)
            c = np.asarray(legendre.legder(c, axis=0), np.float64)
        return out

    @cached_property
    def coefficients(self) -> FloatArray:
        """Ritz coefficients (k1, k2)."""
        t, w = legendre.leggauss(self.degree + 2)
        X, Y = (self._tables(p, t, s) for p, s in zip(self._bases, (self.a, self.b), strict=True))

        def gram(table: list[FloatArray], i: int, j: int, length: float) -> FloatArray:
            return np.asarray((table[i] * w[:, None]).T @ table[j] * length / 2)

        waves = ((2, 0, -1.0), (0, 2, -1.0), (1, 1, -2.0))  # curvatures −w,xx −w,yy −2w,xy
        k1, k2 = X[0].shape[1], Y[0].shape[1]
        K = np.zeros((k1, k2, k1, k2))
        for r, (i, j, f) in enumerate(waves):
            for s, (m, n, g) in enumerate(waves):
                if self.D[r, s] != 0:
                    pair = gram(X, i, m, self.a), gram(Y, j, n, self.b)
                    K += f * g * self.D[r, s] * np.einsum("ac,bd->abcd", *pair)
        load = self.q * np.outer(w @ X[0], w @ Y[0]) * self.a * self.b / 4
        return np.asarray(np.linalg.solve(K.reshape(k1 * k2, -1), load.ravel()).reshape(k1, k2))

    def _at(self, x: float, y: float) -> tuple[list[FloatArray], list[FloatArray]]:
        return (
            self._tables(self._bases[0], np.array([2 * x / self.a - 1]), self.a),
            self._tables(self._bases[1], np.array([2 * y / self.b - 1]), self.b),
        )

    def deflection(self, x: float, y: float) -> float:
        """Deflection at a point, m."""
        X, Y = self._at(x, y)
        return float(X[0][0] @ self.coefficients @ Y[0][0])

    def moments(self, x: float, y: float) -> FloatArray:
        """[M11, M22, M12] at a point, N: positive moments stretch the face the pressure pushes towards
        (+z)."""
        X, Y = self._at(x, y)
        c = self.coefficients
        k = np.array([-(X[2][0] @ c @ Y[0][0]), -(X[0][0] @ c @ Y[2][0]), -2 * (X[1][0] @ c @ Y[1][0])])
        return np.asarray(self.D @ k)
