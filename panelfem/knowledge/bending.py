"""How far a piece of laminate bends under a known weight: a strip on two supports or built in, a plate on its edges.

Strip: w = F l³ / (48 EI) + F l / (4 S) on two supports, F l³ / (3 EI) + F l / S built in at one end, with EI = b / d11
(d: bending block of the inverse of ABD, along the strip; it may curl and stretch) and S = b / s11 of the inverse shear
stiffness.  Source: beam theory, any textbook; Reddy 2004 (see laminate), chapter 4 (recalled).
Plate: first-order theory by Ritz's method, edges held along the normal only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate
from panelfem.laminate.ply import strain_turn, vector_turn

#: Degree of the polynomials of a plate and points of its pad each way, and how much closer they are in the middle:
#: 0.3 % of the deflection or better on a pad a seventh of the plate (measured).
DEGREE, PAD_POINTS, CLOSER = 11, 4, 0.6


@dataclass(frozen=True)
class Strip:
    """A strip `length` m between its supports, or from where it is built in to the weight, `width` m, at `angle` rad
    from the 0° axis; `force` N at the middle or the free end, where it is read.
    """

    kind: Literal["two supports", "built in"]
    length: float
    width: float
    angle: float
    force: float

    def deflection(self, laminate: Laminate) -> float:
        """Deflection under the force, m."""
        turn, slip = strain_turn(self.angle)[0], vector_turn(self.angle)[0]
        along = float(turn @ np.linalg.inv(laminate.ABD)[3:, 3:] @ turn)
        shear = float(slip @ np.linalg.inv(laminate.shear) @ slip)
        bend, slide = (48.0, 4.0) if self.kind == "two supports" else (3.0, 1.0)
        return self.force / self.width * (self.length**3 * along / bend + self.length * shear / slide)


@dataclass(frozen=True)
class Plate:
    """A rectangle `a` × `b` m, `a` along the 0° axis, resting on all edges; `force` N on a pad of diameter `pad` m in
    the middle, where it is read.
    """

    a: float
    b: float
    pad: float
    force: float

    def deflection(self, laminate: Laminate) -> float:
        """Deflection in the middle, m."""
        from panelfem.reference.ritz import COMPONENTS, EDGES, RitzShell

        flatly = bool(np.abs(laminate.B).max() < 1e-9 * np.abs(laminate.A).max() * laminate.thickness)
        plate = RitzShell(
            lambda s, t: np.stack([self.a * _drawn(s), self.b * _drawn(t), 0.0 * s], axis=1),
            laminate.stiffness,
            (1.0, 0.0, 0.0),
            DEGREE,
            dict.fromkeys(EDGES, ("z",)),
            active=COMPONENTS[2:] if flatly else COMPONENTS,
            pins=() if flatly else (("x", 0.0, 0.0), ("y", 0.0, 0.0), ("y", 1.0, 0.0)),
        )
        points, weights = np.polynomial.legendre.leggauss(PAD_POINTS)
        half = 0.25 * math.sqrt(math.pi) * self.pad  # a square of the pad's area
        xi, eta = (
            v.ravel() for v in np.meshgrid(_parameter(half * points / self.a), _parameter(half * points / self.b))
        )
        share = np.outer(weights, weights).ravel() / 4.0
        force = np.zeros((len(share), 3))
        force[:, 2] = self.force * share
        return float(plate.displacement(plate.solve(plate.forces(xi, eta, force)), 0.5, 0.5)[2])


def _drawn(s: FloatArray) -> FloatArray:
    """A map of 0 … 1 on itself that is slow in the middle, where the weight needs the polynomials most.

    >>> _drawn(np.array([0.0, 0.5, 1.0])).round(12).tolist()
    [0.0, 0.5, 1.0]
    """
    return np.asarray(s + CLOSER / (2.0 * np.pi) * np.sin(2.0 * np.pi * s))


def _parameter(off: FloatArray) -> FloatArray:
    """Where `_drawn` is so far off the middle.

    >>> _drawn(_parameter(np.array([-0.1, 0.02]))).round(9).tolist()
    [0.4, 0.52]
    """
    s = np.full(off.shape, 0.5)
    for _ in range(30):
        s -= (_drawn(s) - 0.5 - off) / (1.0 + CLOSER * np.cos(2.0 * np.pi * s))
    return s


Bending = Strip | Plate


def pliancy(laminate: Laminate) -> float:
    """One over the mean bending stiffness of a plate that is free to stretch, 1/(N·m): how a plate's deflection changes
    with small changes of its plies.
    """
    d: FloatArray = laminate.D - laminate.B @ np.linalg.solve(laminate.A, laminate.B)
    return 1.0 / float(3.0 * d[0, 0] + 3.0 * d[1, 1] + 2.0 * d[0, 1] + 4.0 * d[2, 2])
