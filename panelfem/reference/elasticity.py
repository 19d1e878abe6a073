"""Exact three-dimensional elasticity of simply supported cross-ply plates under a sinusoidal pressure on
the top face.

In each layer the six quantities that must be continuous (U, V, W, σz, τxz, τyz) follow a linear
differential equation in z with constant coefficients; its matrix exponential carries them from face to
face, so any number of layers is exact.
 u = U cos px sin qy, v = V sin px cos qy, w = W sin sin, σz = Z sin sin, τxz = X cos sin, τyz = Y sin cos.

Source: the problem of Pagano 1970, *J. Compos. Mater.* 4:20; solved here by state space instead of his
characteristic roots.  Values held against: his table (recalled).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class Orthotropic:
    """Nine constants of a ply in its own axes, Pa."""

    E1: float
    E2: float
    E3: float
    nu12: float
    nu13: float
    nu23: float
    G12: float
    G13: float
    G23: float

    def stiffness(self, degrees: float) -> FloatArray:
        """C (6, 6) for [11, 22, 33, 23, 13, 12] at 0 or 90 degrees."""
        s = np.zeros((6, 6))
        s[0, 0], s[1, 1], s[2, 2] = 1 / self.E1, 1 / self.E2, 1 / self.E3
        s[0, 1] = s[1, 0] = -self.nu12 / self.E1
        s[0, 2] = s[2, 0] = -self.nu13 / self.E1
        s[1, 2] = s[2, 1] = -self.nu23 / self.E2
        s[3, 3], s[4, 4], s[5, 5] = 1 / self.G23, 1 / self.G13, 1 / self.G12
        c = np.linalg.inv(s)
        if degrees == 90:
            swap = [1, 0, 2, 4, 3, 5]
            c = c[np.ix_(swap, swap)]
        elif degrees != 0:
            raise ValueError(f"layers at 0 or 90 degrees only, not {degrees}")
        return np.asarray(c)


@dataclass(frozen=True)
class CrossPlyBlock:
    """Plate a × b of `layers` (degrees 0 or 90, thickness m), bottom first, σz = q sin(πx/a) sin(πy/b) on
    the top.

    Source: Pagano 1970, [0/90/0] square, S = a/h = 4: σx = .801 q S² on the top face (recalled).

    >>> ply = Orthotropic(25., 1., 1., .25, .25, .25, .5, .5, .2)
    >>> block = CrossPlyBlock(ply, ((0, 1/3), (90, 1/3), (0, 1/3)), 4.0, 4.0, 1.0)
    >>> round(float(block.stress(0.5, layer=2)[0]) / 16, 3)
    0.801
    """

    ply: Orthotropic
    layers: tuple[tuple[float, float], ...]
    a: float
    b: float
    q: float

    def _system(self, degrees: float) -> FloatArray:
        """M of S' = M S for S = (U, V, W, Z, X, Y)."""
        c, p, q = self.ply.stiffness(degrees), math.pi / self.a, math.pi / self.b
        m = np.zeros((6, 6))
        m[0, 4], m[0, 2] = 1 / c[4, 4], -p
        m[1, 5], m[1, 2] = 1 / c[3, 3], -q
        m[2, 3], m[2, 0], m[2, 1] = 1 / c[2, 2], c[0, 2] * p / c[2, 2], c[1, 2] * q / c[2, 2]
        m[3, 4], m[3, 5] = p, q
        sx, sy, t = self._in_plane(degrees)
        m[4] = -p * sx + q * t
        m[5] = -q * sy + p * t
        return m

    def _in_plane(self, degrees: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rows giving the amplitudes of σx, σy, τxy from S."""
        c, p, q = self.ply.stiffness(degrees), math.pi / self.a, math.pi / self.b
        wz = np.array([c[0, 2] * p, c[1, 2] * q, 0, 1, 0, 0]) / c[2, 2]
        sx = np.array([-c[0, 0] * p, -c[0, 1] * q, 0, 0, 0, 0]) + c[0, 2] * wz
        sy = np.array([-c[0, 1] * p, -c[1, 1] * q, 0, 0, 0, 0]) + c[1, 2] * wz
        return sx, sy, np.array([c[5, 5] * q, c[5, 5] * p, 0, 0, 0, 0])

    def _bottom(self) -> FloatArray:
        """S on the bottom face, from free faces but for σz = q on the top."""
        through = np.eye(6)
        for degrees, t in self.layers:
            through = expm(self._system(degrees) * t) @ through
        s = np.zeros(6)
        s[:3] = np.linalg.solve(through[3:, :3], [self.q, 0, 0])
        return s

    def state(self, z: float, layer: int) -> FloatArray:
        """(U, V, W, σz, τxz, τyz) amplitudes at height z (m, from the mid-plane), taken inside `layer` (0
        the lowest)."""
        s, at = self._bottom(), -sum(t for _, t in self.layers) / 2
        for degrees, t in self.layers[:layer]:
            s, at = expm(self._system(degrees) * t) @ s, at + t
        return np.asarray(expm(self._system(self.layers[layer][0]) * (z - at)) @ s)

    def stress(self, z: float, layer: int) -> FloatArray:
        """Amplitudes of (σx, σy, τxy, σz, τxz, τyz), Pa, each at the place where its sine term is one."""
        s = self.state(z, layer)
        sx, sy, t = self._in_plane(self.layers[layer][0])
        return np.array([sx @ s, sy @ s, t @ s, s[3], s[4], s[5]])

    def deflection(self) -> float:
        """Deflection at the centre of the mid-plane, m."""
        half, at = sum(t for _, t in self.layers) / 2, 0.0
        for layer, (_, t) in enumerate(self.layers):
            at += t
            if at >= half * (1 - 1e-12):
                return float(self.state(0.0, layer)[2])
        raise AssertionError("the mid-plane lies in a layer")
