"""Exact natural frequencies of slender beams (tension, a mass at the tip) and of stretched membranes.

Bernoulli beams: EI w'''' − T w'' = m ω² w; no shear, no rotary inertia.  EI and the mass are per metre of beam: for a
strip of unit width EI is N·m and the mass kg/m², which is D11 of a wide plate bent to a cylinder.

Source: Rayleigh, *The Theory of Sound*, ch. 8 and 9 (recalled); the equations follow from the edge conditions named.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError


def _positive(where: str, **values: float) -> None:
    wrong = [name for name, value in values.items() if not value > 0]
    if wrong:
        raise ModelError(f"{' and '.join(wrong)} must be positive", where=where)


def supported_beam(n: int, EI: float, mass: float, length: float, tension: float = 0.0) -> FloatArray:
    """The `n` lowest circular frequencies, rad/s, of a beam supported at both ends under axial `tension` N.

    Exact: m ω² = EI κ⁴ + T κ², κ = kπ/L.  Raises :class:`ModelError` from Euler's load −π² EI/L² down.

    >>> supported_beam(2, 1.0, 1.0, np.pi).round(9).tolist(), supported_beam(1, 1.0, 1.0, np.pi, 3.0).round(9).tolist()
    ([1.0, 4.0], [2.0])
    """
    _positive("beam", EI=EI, mass=mass, length=length)
    wave = np.arange(1, n + 1) * np.pi / length
    square = (EI * wave**4 + tension * wave**2) / mass
    if square[0] <= 0:
        raise ModelError("the beam buckles", where="beam", allowed=f"tension above {-EI * wave[0] ** 2:.6g} N")
    return np.asarray(np.sort(np.sqrt(square)))


def cantilever(n: int, EI: float, mass: float, length: float, tip: float = 0.0) -> FloatArray:
    """The `n` lowest circular frequencies, rad/s, of a cantilever with a point mass of `tip` kg at its free end.

    Exact: 1 + cos β cosh β + μ β (cos β sinh β − sin β cosh β) = 0, μ = tip/(mass L), ω = (β/L)² √(EI/mass), from
    w = w' = 0 at the root, w'' = 0 and EI w''' = −tip ω² w at the end.  A mass lowers every root, none below that of
    the beam held there (tan β = tanh β), so one root lies between each of the latter and the next multiple of π.
    Without mass β = 1.8751, 4.6941, 7.8548; with the beam's own 1.2479, 4.0311 (Blevins, *Formulas for Natural
    Frequency and Mode Shape*, 1979; recalled).

    >>> np.sqrt(cantilever(3, 1.0, 1.0, 1.0)).round(4).tolist()
    [1.8751, 4.6941, 7.8548]
    >>> np.sqrt(cantilever(2, 1.0, 1.0, 1.0, tip=1.0)).round(4).tolist()
    [1.2479, 4.0311]
    """
    _positive("cantilever", EI=EI, mass=mass, length=length)
    if tip < 0:
        raise ModelError("the mass at the tip is negative", where="cantilever", allowed="0 kg and more")
    ratio = tip / (mass * length)

    def held(beta: float) -> float:  # all over cosh β, so that nothing overflows
        return float(np.cos(beta) * np.tanh(beta) - np.sin(beta))

    def both(beta: float) -> float:
        return float(1 / np.cosh(beta) + np.cos(beta) + ratio * beta * held(beta))

    roots = []
    for k in range(n):
        low = brentq(held, k * np.pi, (k + 0.5) * np.pi, xtol=1e-15, rtol=1e-14) if k else 0.0
        roots.append(brentq(both, low, (k + 1) * np.pi, xtol=1e-15, rtol=1e-14))
    return np.asarray((np.array(roots) / length) ** 2 * np.sqrt(EI / mass))


def membrane(n: int, tension: Sequence[float], mass: float, a: float, b: float) -> FloatArray:
    """The `n` lowest circular frequencies, rad/s, of a rectangular membrane a × b m held all round.

    `tension` (Tx, Ty) N/m, `mass` kg/m².  Exact: mass ω² = Tx (jπ/a)² + Ty (kπ/b)².

    >>> membrane(4, (1.0, 1.0), 1.0, np.pi, np.pi).round(4).tolist()
    [1.4142, 2.2361, 2.2361, 2.8284]
    """
    tx, ty = tension
    _positive("membrane", tension=min(tx, ty), mass=mass, a=a, b=b)
    j, k = np.meshgrid(*[np.arange(1, n + 1) * np.pi] * 2, indexing="ij")
    square = (tx * (j / a) ** 2 + ty * (k / b) ** 2) / mass
    return np.asarray(np.sqrt(np.sort(square.ravel())[:n]))
