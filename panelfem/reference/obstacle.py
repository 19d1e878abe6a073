"""Beams and plates pressed on a rigid flat or a rigid cylinder, frictionless, thin (Bernoulli/Kirchhoff)
theory.

`EI` is the bending stiffness: per unit width it is D11 of a wide plate bent to a cylinder.  Where such a
strip lies on the obstacle its curvature is the obstacle's, so its moment there is known; the moment is
continuous at lift-off, the shear force jumps.  All closed forms below are derived from that and from EI
w'''' = q; no source beyond elementary beam theory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError


@dataclass(frozen=True)
class FlatContact:
    """`free` m from the support to lift-off; `concentrated` N (per width) at lift-off; `pressure` carried
    beyond it; `support` N: the force the support carries, along the load's direction negative."""

    free: float
    concentrated: float
    pressure: float
    support: float


def beam_on_flat(
    EI: float, q: float, gap: float, length: float, end: Literal["supported", "clamped"] = "supported"
) -> FlatContact:
    """A strip held at x = 0, symmetric about x = `length` (m), pressed by q N/m² towards a parallel flat
    `gap` away.

    Free part 0 < x < c: w'''' = q/EI with w(0) = 0, w''(0) = 0 (supported) or w'(0) = 0 (clamped), and w =
    gap, w' = 0, w'' = 0 at c.  The five conditions give c⁴ = 24 EI gap/q (supported), 72 EI gap/q
    (clamped); the shear at lift-off is concentrated there: q c/2 (supported) or q c/3 (clamped); beyond,
    the flat carries q.

    >>> touch = beam_on_flat(1.0, 24.0, 1e-4, 1.0)
    >>> round(touch.free, 6), round(touch.concentrated, 4), round(touch.support, 4)
    (0.1, 1.2, -1.2)
    """
    factor, share = {"supported": (24.0, 1 / 2), "clamped": (72.0, 1 / 3)}[end]
    free = float((factor * EI * gap / q) ** 0.25)
    if free >= length:
        raise ModelError(
            "the strip does not lie flat over any length",
            where="beam on a flat",
            allowed=f"q of at least {factor * EI * gap / length**4:.4g}",
            do="press harder or widen the strip",
        )
    return FlatContact(free, share * q * free, q, -(1 - share) * q * free)


@dataclass(frozen=True)
class CylinderContact:
    """`force` N (per width) of the cylinder; `wrapped` m: half length in contact (0: a line); `moment` at
    mid-span."""

    force: float
    wrapped: float
    moment: float


def beam_on_cylinder(EI: float, half_span: float, radius: float, rise: float) -> CylinderContact:
    """A strip supported at both ends, span 2 `half_span`, with a cylinder (axis across) pushed `rise` into
    its middle.

    Line contact while the moment F L/2 (F = 6 EI rise/L³) stays below EI/radius, i.e. rise ≤ L²/(3 radius).
     Beyond, the strip wraps over ±c at curvature 1/radius, the contact forces sit at lift-off only
     (constant moment: no shear), each free
    part ℓ = L − c is a cantilever with M = EI/radius at its root, so F = 2 EI/(radius ℓ) and
    rise = c²/(2 R) + (c/R) ℓ + ℓ²/(3 R) in small slopes.

    >>> touch = beam_on_cylinder(1.0, 1.0, 10.0, 0.045)
    >>> round(touch.wrapped, 4), round(touch.force, 4), touch.moment
    (0.4523, 0.3651, 0.1)
    >>> beam_on_cylinder(1.0, 1.0, 10.0, 0.01).force
    0.06
    """
    L, R = half_span, radius
    if rise <= L * L / (3 * R):
        force = 6 * EI * rise / L**3
        return CylinderContact(force, 0.0, force * L / 2)
    if rise >= L * L / (2 * R):
        raise ModelError(
            "the strip would wrap to its supports",
            where="beam on a cylinder",
            allowed=f"rise below {L * L / (2 * R):.4g} m",
            do="lower the rise or use a larger radius",
        )
    # c²/2 + c(L − c) + (L − c)²/3 = rise R, so c L/3 − c²/6 = rise R − L²/3
    c = L - float(np.sqrt(L * L - 6 * (rise * R - L * L / 3)))
    return CylinderContact(2 * EI / (R * (L - c)), c, EI / R)


def cantilever_on_cylinder(EI: float, length: float, radius: float, tip_force: float) -> CylinderContact:
    """A cantilever bent down by `tip_force` N over a cylinder that touches it, tangentially, at the clamp.

    It wraps until the moment left, P(L − c), is EI/radius; before that it lifts off at the clamp.

    >>> touch = cantilever_on_cylinder(1.0, 1.0, 10.0, 0.2)
    >>> touch.wrapped, touch.force
    (0.5, 0.2)
    """
    c = max(0.0, length - EI / (radius * tip_force))
    return CylinderContact(tip_force if c > 0 else 0.0, c, min(EI / radius, tip_force * length))


@dataclass(frozen=True)
class DiscOnFlat:
    """A circular thin plate, radius `a`, held at its rim, pressed by `q` Pa on a flat `gap` m away;
    isotropic.

    In the free ring w = q r⁴/64D + C1 r² ln r + C2 r² + C3 ln r + C4; at lift-off r = c: w = gap, w' = 0,
    w'' = 0.
    """

    D: float
    nu: float
    a: float
    q: float
    gap: float
    rim: Literal["clamped", "supported"] = "clamped"

    def _ring(self, c: float) -> tuple[FloatArray, float]:
        """Constants from the rim and w' = w'' = 0 at c, and the deflection at c (r in units of a)."""
        q = self.q * self.a**4 / self.D

        def rows(r: float) -> FloatArray:  # value, first, second derivative of r² ln r, r², ln r, 1, r⁴/64
            ln = np.log(r)
            return np.array(
                [
                    [r * r * ln, r * r, ln, 1, r**4 / 64],
                    [2 * r * ln + r, 2 * r, 1 / r, 0, r**3 / 16],
                    [2 * ln + 3, 2, -1 / r**2, 0, 3 * r * r / 16],
                ]
            )

        rim, lift = rows(1.0), rows(c)
        second = rim[1] if self.rim == "clamped" else rim[2] + self.nu * rim[1]
        eq = np.stack([rim[0], second, lift[1], lift[2]])
        constants = np.linalg.solve(eq[:, :4], -q * eq[:, 4])
        return constants, float(lift[0, :4] @ constants + q * lift[0, 4])

    def lift_off(self) -> float:
        """Radius of the flat part, m.

        >>> disc = DiscOnFlat(1.0, 0.3, 1.0, 64.0, 0.2)
        >>> 0 < disc.lift_off() < 1
        True
        """
        if self._ring(1e-9)[1] <= self.gap:
            raise ModelError("the plate does not lie flat over any area", where="disc on a flat", do="press harder")
        return self.a * float(brentq(lambda c: self._ring(c)[1] - self.gap, 1e-9, 1 - 1e-6, xtol=1e-14))

    def rim_force(self) -> float:
        """Total force carried by the rim, N: what the flat does not carry of q π a²."""
        c = self.lift_off() / self.a
        constants, _ = self._ring(c)
        # Q(r) = −D (∇²w)': of r⁴/64 it is q r/2, of C1 r² ln r it is 4 C1/r
        shear = self.D / self.a**3 * (self.q * self.a**4 / self.D / 2 + 4 * constants[0])
        return float(2 * np.pi * self.a * shear)
