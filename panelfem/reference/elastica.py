"""Plane elastica of a cantilever, straight at rest along x, clamped at x = 0, z across: finite rotations, exact.

EI θ'' gives the turn θ(s) of the tangent (cos θ, sin θ) towards z.  The bar neither stretches nor shears: for a bar of
depth h the share left out is of the order (h/L)²/4 in the deflection (shear, factor 5/6, ν = 0: E I/(k G A L²)·3 = 0.6
(h/L)²) and P/(EA) in length; at h/L = 1/100 about 6e-5.  For a wide strip put the plate's D times the width for EI.

- End moment M: an arc of a circle, θ = M s/EI.
- End force P along z that keeps its direction: ½EI θ'² = P (sin θ0 − sin θ), θ0 the turn of the tip, so with
  k² = ½(1 + sin θ0), sin θ0 = sin²φ/(1 + cos²φ), α = L √(P/EI):  α = F(φ, k),
  z = L − 2L (E(φ, k) − k sin φ/√2)/α, x = L √(2 sin θ0)/α  (the usual complete minus incomplete integrals, turned by
  their addition theorem, so that small forces lose no digits to it).
- End force P that turns with the tip and stays normal to it: with ψ = θ0 − θ and σ from the tip, EI ψ'' = P cos ψ,
  ψ(0) = ψ'(0) = 0 (a pendulum let go at rest from the horizontal), ½EI ψ'² = P sin ψ; Jacobi's functions at k² = ½
  give ψ(L) = θ0 for any P, and the tip follows by ∫cos ψ = EI ψ'/P, ∫sin ψ from E.

Displacements are right to about 1e-14 of the length.

Source: textbook (S. P. Timoshenko & J. M. Gere, *Theory of Elastic Stability*; K. E. Bisshopp & D. C. Drucker 1945,
recalled); the follower force is derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ellipe, ellipeinc, ellipj, ellipk, ellipkinc

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

#: Cantilever under end shear: P/Pmax, tip −u, tip w; E = 1.2e6, ν = 0, L = 10, b = 1, h = 0.1, Pmax = 4.
#: Source: K. Y. Sze, X. H. Liu & S. H. Lo 2004, Finite Elem. Anal. Des. 40:1551 (recalled).  They were computed on a
#: mesh: at full load the exact bar goes to 3.2894 and 6.6996, 0.10 % and 0.02 % further; hold an element to the exact.
END_SHEAR: tuple[tuple[float, float, float], ...] = (
    (0.05, 0.026, 0.663),
    (0.10, 0.103, 1.309),
    (0.15, 0.224, 1.922),
    (0.20, 0.381, 2.493),
    (0.25, 0.563, 3.015),
    (0.30, 0.763, 3.488),
    (0.35, 0.971, 3.912),
    (0.40, 1.184, 4.292),
    (0.45, 1.396, 4.631),
    (0.50, 1.604, 4.933),
    (0.55, 1.807, 5.202),
    (0.60, 2.002, 5.444),
    (0.65, 2.190, 5.660),
    (0.70, 2.370, 5.855),
    (0.75, 2.541, 6.031),
    (0.80, 2.705, 6.190),
    (0.85, 2.861, 6.335),
    (0.90, 3.010, 6.467),
    (0.95, 3.151, 6.588),
    (1.00, 3.286, 6.698),
)


@dataclass(frozen=True)
class Tip:
    """Displacement u along the bar and w across it, m, and turn of the tip, rad (towards +w positive)."""

    u: float
    w: float
    turn: float


def _check(EI: float, length: float) -> None:
    if not (EI > 0 and length > 0):
        raise ModelError("a bar needs a positive stiffness and length", where="elastica")


def end_moment(EI: float, length: float, moment: float) -> Tip:
    """Tip under an end moment, N·m, of a bar of `EI` N·m² and `length` m.

    >>> tip = end_moment(1.0, 2.0, np.pi)                                        # a full circle
    >>> round(tip.u, 9), round(abs(tip.w), 9)
    (-2.0, 0.0)
    """
    _check(EI, length)
    turn = moment * length / EI
    half = turn / 2
    chord = length * float(np.sinc(half / np.pi))
    return Tip(chord * math.cos(half) - length, chord * math.sin(half), turn)


def end_force(EI: float, length: float, force: float) -> Tip:
    """Tip under an end force, N, across the bar at rest, that keeps its direction.

    >>> tip = end_force(100.0, 10.0, 4.0)                                        # printed: 3.286, 6.698
    >>> round(-tip.u, 4), round(tip.w, 4)
    (3.2894, 6.6996)
    """
    _check(EI, length)
    if force == 0:
        return Tip(0.0, 0.0, 0.0)
    alpha = length * math.sqrt(abs(force) / EI)

    def modulus(phi: float) -> float:
        return 1 / (1 + math.cos(phi) ** 2)

    most = math.pi / 2 - 1e-7
    if float(ellipkinc(most, modulus(most))) < alpha:
        raise ModelError("the tip points along the force to rounding", where="elastica", do="lower the force")
    phi = float(brentq(lambda p: float(ellipkinc(p, modulus(p))) - alpha, 0.0, most, xtol=1e-15, rtol=1e-14))
    m, sin, cos = modulus(phi), math.sin(phi), math.cos(phi)
    w = length - 2 * length * (float(ellipeinc(phi, m)) - math.sqrt(m / 2) * sin) / alpha
    x = length * sin * math.sqrt(2 * m) / alpha
    return Tip(x - length, math.copysign(w, force), math.copysign(math.atan2(sin**2, 2 * cos), force))


def follower_force(EI: float, length: float, force: float) -> Tip:
    """Tip under an end force, N, that turns with the tip and stays normal to it.

    >>> tip = follower_force(1.0, 1.0, 1e-3)                                     # P L³/3EI, P L²/2EI
    >>> round(tip.w * 3e3, 6), round(tip.turn * 2e3, 6)
    (1.0, 1.0)
    """
    _check(EI, length)
    if force == 0:
        return Tip(0.0, 0.0, 0.0)
    beat = math.sqrt(abs(force) / EI)
    m = 0.5
    quarter = float(ellipk(m))
    # χ = ψ − π/2 swings as sin ½χ = −√m cd(βσ) = √m sn(βσ − K), from rest at χ = −π/2
    sn, cn, _, am = (float(v) for v in ellipj(beat * length - quarter, m))
    turn = math.pi / 2 + 2 * math.asin(math.sqrt(m) * sn)
    slope = 2 * math.sqrt(m) * cn * beat  # ψ'
    # sin ψ = cos χ = 2 dn² − 1, integrated from the tip
    lift = 2 * (float(ellipeinc(am, m)) + float(ellipe(m))) / beat - length
    along = slope / beat**2  # ∫cos ψ
    c, s = math.cos(turn), math.sin(turn)  # θ = turn − ψ
    x, z = c * along + s * lift, s * along - c * lift
    sign = math.copysign(1.0, force)
    return Tip(x - length, sign * z, sign * turn)


def arc(EI: float, length: float, moment: float, s: FloatArray) -> FloatArray:
    """Places (n, 2) [x, z] m of the points s (n,) m of the bar under an end moment.

    >>> arc(1.0, np.pi, 1.0, np.array([np.pi])).round(9).tolist()                # half a circle of radius 1
    [[0.0, 2.0]]
    """
    _check(EI, length)
    half = moment / EI * np.asarray(s, float) / 2
    chord = s * np.sinc(half / np.pi)
    return np.stack([chord * np.cos(half), chord * np.sin(half)], axis=1)
