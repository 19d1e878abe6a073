"""Pressure on a core under the skin a rigid shape strikes: a plate on an elastic layer.

The skin is a plate of bending stiffness D on a core of thickness h, whose far face is held and whose near one the skin,
stiff in its plane, keeps from moving along itself.  A pattern of deflection of wave number s meets the stiffness K(s)
of the core, so a point force P presses on the core with P G(r),

    G(r) = 1/2π ∫ K/(D s⁴ + K) J0(s r) s ds,

and a force q per length along a straight line with q/π ∫ K/(D s⁴ + K) ds under it.  On springs, K = k, these are
−kei(r/l)/(2π l²) with the peak P/(8 l²), l = (D/k)^¼, and q/(2√2 l).  A core is stiffer than springs where the
pattern is short: k = E/h alone, or 0.28 E (E/D)^⅓ for deep cores, which is made for lines, tells a fifth too little
under a line and half under a point.

Sources: plate on springs, H. Hertz 1884 and S. Timoshenko & S. Woinowsky-Krieger 1959, Theory of Plates and Shells,
chapter 8; the spring of deep cores, H. G. Allen 1969 and D. Zenkert 1995 (all from memory); stiffness of the layers
derived here, with displacements of Boussinesq's form, and reproduced in the tests by finite elements through the depth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.special import j0

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate
from panelfem.laminate.skins import core_layers, near_plies, near_skin
from panelfem.material import CoreMaterial

#: Wave numbers are looked at up to so many times 1/l, the pressure up to so many l from the force.
SHORTEST, REACH = 60.0, 12.0
#: Distances at which the pressure of a point force is kept, and points on what a line reaches.
_KEPT, _ON_LINE = 240, 192
#: Directions in which the bending stiffness of a skin is looked at, rad.
_TURNS = np.radians(np.arange(0.0, 180.0, 1.0))


def core_stiffness(core: CoreMaterial, thickness: float, s: FloatArray) -> FloatArray:
    """Pressure per deflection (n,), N/m³, of a core `thickness` m deep under waves of wave number `s` (n,) > 0, 1/m.

    Foam is isotropic, of E and nu; honeycomb has no stiffness in its plane, and the greater of its shear moduli.

    >>> from panelfem.material import library
    >>> (core_stiffness(library()["honeycomb-aramid-48"], 10e-3, np.array([1e-3, 1e9])) * 10e-3 / 1e6).round(1).tolist()
    [130.0, 520.0]
    """
    if core.kind == "honeycomb":
        x = max(core.G13, core.G23) * (s * thickness) ** 2 / (12.0 * core.E)
        return np.asarray(core.E / thickness * (1.0 + 3.0 * x / (1.0 + x)))
    kappa, depth = 3.0 - 4.0 * core.nu, s * thickness
    fade = np.exp(-2.0 * depth)
    over = kappa * (1.0 - fade**2) / 4.0 + depth * fade
    under = kappa**2 * (1.0 - fade) ** 2 / 4.0 - depth**2 * fade
    return np.asarray(2.0 * core.E * (1.0 - core.nu) / (1.0 + core.nu) * s * over / under)


def least_bending(skin: Laminate) -> float:
    """Least stiffness of a skin against bending into waves, over their directions, N·m, with no force in its plane."""
    c, s = np.cos(_TURNS), np.sin(_TURNS)
    wave = np.stack([c * c, s * s, 2.0 * c * s])
    return float(np.einsum("in,ij,jn->n", wave, skin.reduced_bending, wave).min())


def point_pressure(
    bending: float, stiffness: Callable[[FloatArray], FloatArray], r: FloatArray, short: float = 0.0
) -> FloatArray:
    """Pressure G (n,), 1/m², of a unit point force at distances `r` (n,) m.

    `bending` N·m of the plate; `stiffness`: K(s) N/m³ of what it lies on; `short` N/m²: K/s for short waves, 0 where K
    stays finite.  Good to 3e-4 of the peak.

    >>> l = (2.0 / 8e9) ** 0.25
    >>> round(float(point_pressure(2.0, lambda s: np.full_like(s, 8e9), np.zeros(1))[0]) * 8 * l**2, 3)
    1.0
    """
    length = spread_length(bending, stiffness)
    edges = np.concatenate([np.linspace(0.0, 2.0, 9), np.arange(2.4, SHORTEST + 0.4, 0.4)]) / length
    x, w = np.polynomial.legendre.leggauss(6)
    s = (edges[:-1, None] + np.diff(edges)[:, None] * (x + 1.0) / 2.0).ravel()
    weight = (np.diff(edges)[:, None] * w / 2.0).ravel()
    K = stiffness(s)
    # what falls off like 1/s³ is integrated in closed form: ∫ J0(sr) s ds/(s² + a²)^(3/2) = exp(−ar)/a
    tail = short / bending
    rest = K / (bending * s**4 + K) - tail / (s**2 + 1.0 / length**2) ** 1.5
    found = j0(np.outer(r, s)) @ (rest * s * weight) + tail * length * np.exp(-r / length)
    return np.asarray(found / (2.0 * np.pi))


def spread_length(bending: float, stiffness: Callable[[FloatArray], FloatArray]) -> float:
    """The length l (m) a force is spread over: `bending`/l⁴ is the `stiffness` of the core at the wave number 1/l."""
    s = 1e3
    for _ in range(80):
        s = float((stiffness(np.array([s]))[0] / bending) ** 0.25)
    return 1.0 / s


@lru_cache(maxsize=256)
def _spread(bending: float, core: CoreMaterial, thickness: float) -> tuple[FloatArray, FloatArray, float]:
    """Distances (k,) m, the pressure (k,) 1/m² of a unit force there, and the length (m) it is spread over."""

    def stiffness(s: FloatArray) -> FloatArray:
        return core_stiffness(core, thickness, s)

    steep = 1e9  # waves so short that only foam still answers with K ∝ s
    short = float(stiffness(np.array([steep]))[0]) / steep if core.kind == "foam" else 0.0
    length = spread_length(bending, stiffness)
    r = REACH * length * np.linspace(0.0, 1.0, _KEPT) ** 1.5
    return r, point_pressure(bending, stiffness, r, short), length


@dataclass(frozen=True)
class Bed:
    """The skin on one face of a sandwich, of least bending stiffness `bending` N·m (0: the core lies bare), on a `core`
    of `thickness` m that takes the pressure `strength` Pa.
    """

    bending: float
    core: CoreMaterial
    thickness: float
    strength: float

    def pressure(self, at: FloatArray, place: FloatArray, force: FloatArray, ends: FloatArray) -> FloatArray:
        """Pressure (n,) Pa on the core under points `at` (n, 2) m of the skin, along a line and across it.

        `force` (m,) N acts at each `place` (m, 2) m, evenly from the first of its `ends` (m, 2) m to the second,
        measured from the place along the line, and over no width across it: on the safe side.  Infinite under any force
        on a core that lies bare.
        """
        if self.bending <= 0.0:
            return np.full(len(at), np.inf if (force > 0.0).any() else 0.0)
        r, kernel, length = _spread(self.bending, self.core, self.thickness)
        along, across = np.moveaxis(at[:, None] - place[None], 2, 0)
        across = np.abs(across)
        low = np.maximum(ends[:, 0] - along, -REACH * length)
        high = np.minimum(ends[:, 1] - along, REACH * length)
        i, j = np.nonzero((high > low) & (across < REACH * length))
        step = (high[i, j] - low[i, j])[:, None] / _ON_LINE
        t = low[i, j][:, None] + step * (np.arange(_ON_LINE) + 0.5)
        mean = np.interp(np.hypot(t, across[i, j][:, None]), r, kernel, right=0.0).sum(axis=1) * step[:, 0]
        return np.bincount(i, force[j] / np.diff(ends[j])[:, 0] * mean, len(at)).astype(float)


def bed_under(laminate: Laminate, side: Literal[1, -1]) -> Bed | None:
    """What a shape that strikes the face `side` presses on; None for a laminate without a core.

    Layers of core that lie on each other count as one, with the moduli of the stiffest and the least strength.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> bed = bed_under(Laminate(parse_stack("[0/45/foam-pvc-80:5mm/0]", library(), "carbon-twill")), 1)
    >>> bed.core.name, bed.thickness
    ('foam-pvc-80', 0.005)
    """
    layers = core_layers(laminate, side)
    if not layers:
        return None
    cores = [ply.material for ply in layers if isinstance(ply.material, CoreMaterial)]
    bending = least_bending(near_skin(laminate, side)) if near_plies(laminate, side) else 0.0
    stiffest = max(cores, key=lambda core: core.E)
    return Bed(bending, stiffest, sum(p.thickness for p in layers), min(core.crush_strength for core in cores))
