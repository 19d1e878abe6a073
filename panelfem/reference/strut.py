"""Buckling of straight struts: elastic ends, an elastic prop, and ends held by washers of some length.

Equilibrium of the bent strut, EI φ″ = S (w′ + φ) and S (w′ + φ) = P w′ + const (rotation φ of the section, first-order
shear of stiffness S, compression P on the slope), so that φ is harmonic with β² = P/(EI (1 − P/S)).

Source: Timoshenko & Gere, *Theory of Elastic Stability*, ch. 2 (recalled); the transcendental equations and the washers
are derived here; shear as by Engesser 1889 (recalled).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.linalg import block_diag, null_space
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.reference.eigen import lowest
from panelfem.reference.ritz import hierarchic


def sprung_ends(bending: float, length: float, spring: float, shear: float = math.inf) -> float:
    """Least buckling load, N, of a strut on hinges with rotational springs `spring` N·m/rad at both ends.

    `bending` N·m², `length` m, `shear` N.  With y = βL/2: tan y = −2 y EI/(c L), π/2 (hinged) ≤ y < π (clamped).

    >>> round(sprung_ends(1.0, 1.0, 0.0) / math.pi**2, 9), round(sprung_ends(1.0, 1.0, 1e9) / math.pi**2, 6)
    (1.0, 4.0)
    """

    def miss(y: float) -> float:
        return spring * length * math.sin(y) + 2 * y * bending * math.cos(y)

    y = brentq(miss, math.pi / 2, math.pi, xtol=1e-14)
    load = bending * (2 * y / length) ** 2
    return load / (1 + load / shear)


def propped(bending: float, length: float, spring: float) -> float:
    """Least buckling load, N, of a hinged strut with a lateral spring `spring` N/m at its middle; no shear.

    With y = βL/2: k (sin y − y cos y) = −2 EI β³ cos y, until at k = 16 π² EI/L³ the prop stays at rest (y = π).

    >>> round(propped(1.0, 1.0, 0.0) / math.pi**2, 9), round(propped(1.0, 1.0, 16.1 * math.pi**2) / math.pi**2, 9)
    (1.0, 4.0)
    """
    if spring >= 16 * math.pi**2 * bending / length**3:
        return 4 * math.pi**2 * bending / length**2

    def miss(y: float) -> float:
        beta = 2 * y / length
        return spring * (math.sin(y) - y * math.cos(y)) + 2 * bending * beta**3 * math.cos(y)

    y = brentq(miss, math.pi / 2, math.pi, xtol=1e-14)
    return float(bending * (2 * y / length) ** 2)


def washered(
    n: int,
    bending: float,
    shear: float,
    length: float,
    washer: float,
    lateral: float = math.inf,
    tilt: float = 0.0,
    degree: int = 10,
) -> FloatArray:
    """The `n` least loads, N, of a strut pushed through two washers of length `washer` m at its ends.

    A washer spreads its force evenly along itself: the compression rises in a straight line there.  It holds the mean
    deflection under it by a spring `lateral` N/m and the mean rotation by a spring `tilt` N·m/rad (inf: rigid).
    By Ritz with polynomials of three pieces; exact but for rounding.

    >>> round(float(washered(1, 1.0, 1e12, 1.0, 1e-4)[0]) / math.pi**2, 3)
    1.0
    """
    ends = np.array([0.0, washer, length - washer, length])
    t, weight = np.polynomial.legendre.leggauss(degree + 2)
    value, slope = hierarchic(degree, (t + 1) / 2)
    m = degree + 1
    # continuous functions: 4 at the joints, then the inner ones of each piece
    count = 4 + 3 * (degree - 1)
    stretch = np.zeros((2 * count, 2 * count))
    driving = np.zeros((2 * count, 2 * count))
    means = np.zeros((2, count))
    for piece in range(3):
        size = float(ends[piece + 1] - ends[piece])
        at = np.concatenate([[piece, piece + 1], 4 + piece * (degree - 1) + np.arange(degree - 1)])
        w = weight * size / 2
        v, d = value, slope / size
        force = {0: (t + 1) / 2, 1: np.ones(len(t)), 2: (1 - t) / 2}[piece]
        bend = d.T @ (w[:, None] * d) * bending
        rows = np.hstack([d, v])  # w′ + φ
        slip = rows.T @ (w[:, None] * rows) * shear
        both = np.concatenate([at, count + at])
        stretch[np.ix_(both, both)] += slip + block_diag(np.zeros((m, m)), bend)
        driving[np.ix_(at, at)] += d.T @ ((w * force)[:, None] * d)
        if piece != 1:
            means[piece // 2, at] += w @ v / size
    rigid = []
    for column, spring in ((0, lateral), (count, tilt)):
        rows = np.zeros((2, 2 * count))
        rows[:, column : column + count] = means
        if math.isinf(spring):
            rigid.append(rows)
        else:
            stretch += spring * rows.T @ rows
    free = null_space(np.vstack(rigid)) if rigid else np.eye(2 * count)
    return lowest(free.T @ stretch @ free, free.T @ driving @ free, n, "strut on washers")
