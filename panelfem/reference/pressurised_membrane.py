"""The long strip (cylindrical bending) between immovable edges under pressure: exact, with the pull it makes itself.

:class:`PressurisedStrip`, moderate rotations.  Per width: N = A e + B k, M = B e + D k, e = u' + ½w'², k = −w'', and
N' = 0, M'' + N w'' + q = 0.  With D* = D − B²/A, z² = N L²/(4D*), ξ = 2x/L from the middle and s = q L³/(8D*):

    clamped    w' = s (sinh zξ/sinh z − ξ)/z²
    supported  w' = s (sinh zξ/(z cosh z) − ξ)/z² + (2B/(A L)) z sinh zξ/cosh z          (from M = 0 at the edges)

and u = 0 at both edges asks N L/A + (B/A)[w'] = ½∫w'² dx, one equation for N.

:class:`FiniteStrip`, finite rotations θ and stretch λ, B = 0: T = A (λ − 1), M = D θ', M' + λ Q = 0, forces in balance
on the deformed shape; the pressure either stays along +z per unit of the flat strip ("dead") or stays normal to the
strip per unit of the stretched one ("follower").  A strain measure other than stretch − 1 changes it by a share of the
order of the strain.

Both leave shear out: its share in the deflection, linear and with factor 5/6 and ν = 0.3, is 14 (h/L)² clamped and
3 (h/L)² supported, less where the pull carries; below 1e-3 at h/L = 1/120.  The two agree to (w/L)² and (h/L)².

Source: S. P. Timoshenko & S. Woinowsky-Krieger, *Theory of Plates and Shells*, ch. 1 (B = 0; recalled); B and the
finite rotations are derived here (planar extensible elastica, textbook).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import factorial
from typing import Literal

import numpy as np
from numpy.polynomial import legendre
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

_WHERE = "pressurised strip"
_SERIES = 0.5
"""Below this z the differences of hyperbolic functions are summed as power series."""


@dataclass(frozen=True)
class PressurisedStrip:
    """`D` N·m, `A` N/m and `B` N of the strip (D11, A11, B11: no strain along it), `length` m, `q` ≥ 0 Pa along +z.

    Raises :class:`ModelError` where B makes the strip push on its edges (a negative B with supported edges).

    >>> strip = PressurisedStrip(1e-6 / 12, 1e-2, 1.0, 1e-5, "clamped")          # h = 0.01
    >>> round(strip.pull * 1e4, 6), round(strip.deflection(0.0) * 100, 6)
    (0.290216, 3.3841)
    """

    D: float
    A: float
    length: float
    q: float
    edge: Literal["clamped", "supported"]
    B: float = 0.0

    def __post_init__(self) -> None:
        if not (self.D > 0 and self.A > 0 and self.length > 0 and self.q >= 0 and self.A * self.D > self.B**2):
            raise ModelError("stiffness, length and pressure must be positive", where=_WHERE)

    @property
    def _bending(self) -> float:
        """D*."""
        return self.D - self.B**2 / self.A

    def _slope(self, xi: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
        """w' and w'' (n,) at ξ (n,) for the pull z."""
        s, L = self.q * self.length**3 / (8 * self._bending), self.length
        xi = np.asarray(xi, float)
        cosh, sinh = _hyperbolic(xi, z)
        clamped = self.edge == "clamped"
        if z < _SERIES:
            value, slope = np.zeros_like(xi), np.zeros_like(xi)
            for n in range(1, 10):
                odd, even = 1 / factorial(2 * n + 1), 1 / factorial(2 * n)
                outer = odd if clamped else even
                power = z ** (2 * n - 2)
                value = value + power * xi * (odd * xi ** (2 * n) - outer)
                slope = slope + power * (even * xi ** (2 * n) - outer)
            below = (np.sinh(z) / z if z > 0 else 1.0) if clamped else np.cosh(z)
            value, slope = s * value / below, s * slope / below
        elif clamped:
            over = np.tanh(z)
            value, slope = s * (sinh / over - xi) / z**2, s * (z * cosh / over - 1) / z**2
        else:
            value, slope = s * (sinh / z - xi) / z**2, s * (cosh - 1) / z**2
        if not clamped:
            twist = 2 * self.B / (self.A * L) * z
            value, slope = value + twist * sinh, slope + twist * z * cosh
        return value, slope * 2 / L

    @cached_property
    def _z(self) -> float:
        """z."""
        x, w = _panels(-1.0, 1.0)
        L = self.length

        def excess(z: float) -> float:
            slope, _ = self._slope(x, z)
            ends, _ = self._slope(np.array([-1.0, 1.0]), z)
            share = 4 * self._bending * z**2 / (self.A * L)  # N L/A
            return float(w @ slope**2 * L / 4 - share - self.B / self.A * (ends[1] - ends[0]))

        if self.q == 0:
            return 0.0
        if excess(0.0) <= 0:
            raise ModelError("the strip pushes on its edges", where=_WHERE, do="turn the stack or raise the pressure")
        high = 1.0
        while excess(high) > 0:
            high *= 2
            if high > 1e3:
                raise ModelError("the strip is a membrane: bending is lost in its edges", where=_WHERE)
        return float(brentq(excess, 0.0, high, xtol=1e-15, rtol=1e-13))

    @property
    def pull(self) -> float:
        """N, N/m."""
        return 4 * self._bending * self._z**2 / self.length**2

    def deflection(self, x: float) -> float:
        """Deflection at x from the middle, m."""
        at, w = _panels(-1.0, 2 * x / self.length)
        return float(w @ self._slope(at, self._z)[0] * self.length / 2)

    def strains(self, x: float) -> FloatArray:
        """[e11 0 0 | k11 0 0] (6,) at x from the middle."""
        k = -float(self._slope(np.array([2 * x / self.length]), self._z)[1][0])
        return np.array([(self.pull - self.B * k) / self.A, 0, 0, k, 0, 0])


def _hyperbolic(xi: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
    """cosh zξ/cosh z and sinh zξ/cosh z without overflow."""
    up, down = np.exp(z * (xi - 1)), np.exp(-z * (xi + 1))
    below = 1 + np.exp(-2 * z)
    return (up + down) / below, (up - down) / below


def _panels(start: float, end: float) -> tuple[FloatArray, FloatArray]:
    """Gauss points and weights, (n,), from start to end, on panels that shrink towards ±1."""
    t, w = legendre.leggauss(16)
    marks = np.cos(np.linspace(np.pi, 0.0, 41))
    marks = np.concatenate([[start], marks[(marks > start) & (marks < end)], [end]])
    mid, half = (marks[1:] + marks[:-1]) / 2, (marks[1:] - marks[:-1]) / 2
    return (mid[:, None] + half[:, None] * t).ravel(), (half[:, None] * w).ravel()


@dataclass(frozen=True)
class FiniteStrip:
    """As :class:`PressurisedStrip` with B = 0, rotations of any size, and a dead or follower pressure.

    >>> strip = FiniteStrip(1e-6 / 12, 1e-2, 1.0, 1e-5, "clamped", "follower")
    >>> round(strip.deflection * 100, 4)
    3.3905
    """

    D: float
    A: float
    length: float
    q: float
    edge: Literal["clamped", "supported"]
    pressure: Literal["dead", "follower"]

    @cached_property
    def _edge_to_middle(self) -> tuple[FloatArray, FloatArray]:
        """[x z θ M H V] scaled by L, 1, D/L and A at the edge and at the middle, (6,) each."""
        L, flat = self.length, PressurisedStrip(self.D, self.A, self.length, self.q, self.edge)
        load, thin = self.q * L / self.A, self.D / (self.A * L**2)  # unit of moment: D/L

        def rates(s: FloatArray, y: FloatArray) -> FloatArray:
            _, _, turn, moment, along, across = y
            c, si = np.cos(turn), np.sin(turn)
            stretch = 1 + along * c + across * si
            shear = across * c - along * si
            if self.pressure == "dead":
                px, pz = np.zeros_like(turn), np.full_like(turn, load)
            else:
                px, pz = -load * stretch * si, load * stretch * c
            return np.stack([stretch * c, stretch * si, moment, -stretch * shear / thin, -px, -pz])

        def ends(one: FloatArray, two: FloatArray) -> FloatArray:
            hold = one[2] if self.edge == "clamped" else one[3]
            return np.array([one[0], one[1], hold, two[0] - 0.5, two[2], two[5]])

        s = (1 - np.cos(np.linspace(0, np.pi / 2, 81))) / 2
        w = np.array([flat.deflection((x - 0.5) * L) / L for x in s])
        slope, bend = flat._slope(2 * s - 1, flat._z)
        start = np.stack([s, w, slope, bend * L, np.full_like(s, flat.pull / self.A), load * (0.5 - s)])
        found = solve_bvp(rates, ends, s, start, tol=1e-9, max_nodes=20000)
        if not found.success:
            raise ModelError(f"no equilibrium found: {found.message}", where=_WHERE)
        return np.asarray(found.y[:, 0]), np.asarray(found.y[:, -1])

    @property
    def deflection(self) -> float:
        """Deflection of the middle, m."""
        return float(self._edge_to_middle[1][1] * self.length)

    @property
    def pull(self) -> float:
        """Pull along x at the edges, N/m."""
        return float(self._edge_to_middle[0][4] * self.A)

    @property
    def edge_moment(self) -> float:
        """Moment at the edges as D times curvature −θ', N: negative where clamped."""
        return float(-self._edge_to_middle[0][3] * self.D / self.length)
