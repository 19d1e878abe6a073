"""Classic closed forms of lap joints: Volkersen (shear lag), Goland & Reissner (bending, peel), Hart-Smith (yield).

All take the adhesive as independent shear and peel springs, constant through its thickness; neither meets
the free end of the adhesive, where the true shear falls to zero within a bond thickness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"{name.replace('_', ' ')} is {value}", where="bonded joint", allowed="more than 0")


def volkersen(
    load: float,
    overlap: float,
    axial_1: float,
    axial_2: float,
    shear_modulus: float,
    bond_thickness: float,
    x: FloatArray | None = None,
) -> FloatArray:
    """Adhesive shear (n,) Pa of a lap without bending, at `x` (n,) m from the loaded end of adherend 1
    (default: ends).

    `load` N/m enters by adherend 1 at x = 0 and leaves by adherend 2 at x = `overlap`; `axial` stiffness E
    t, N/m. With ω² = (G/η)(1/A1 + 1/A2): τ = C1 cosh ωx + C2 sinh ωx, τ'(0) = −(G/η) P/A1, τ'(L) = (G/η)
    P/A2.

    Source: Volkersen 1938 (recalled; derived here).  Equal adherends: τmax/τmean = (ωL/2) coth(ωL/2).

    >>> tau = volkersen(1e5, 0.02, 1e8, 1e8, 1e9, 2e-4)
    >>> half = math.sqrt(1e9 / 2e-4 * 2e-8) * 0.01
    >>> round(float(tau[0]) / (1e5 / 0.02), 6) == round(half / math.tanh(half), 6)
    True
    """
    _positive(
        overlap=overlap,
        axial_stiffness=min(axial_1, axial_2),
        shear_modulus=shear_modulus,
        bond_thickness=bond_thickness,
    )
    k = shear_modulus / bond_thickness
    omega = math.sqrt(k * (1 / axial_1 + 1 / axial_2))
    x = np.array([0.0, overlap]) if x is None else np.asarray(x, float)
    # written with exponentials of negative arguments so that long overlaps do not overflow
    decay = 1 - math.exp(-2 * omega * overlap)

    def from_start(s: FloatArray) -> FloatArray:  # cosh(ω(L − s))/sinh(ωL)
        return np.asarray((np.exp(-omega * s) + np.exp(-omega * (2 * overlap - s))) / decay)

    return k * load / omega * (from_start(x) / axial_1 + from_start(overlap - x) / axial_2)


@dataclass(frozen=True)
class LapStress:
    """Shear and peel (n,) Pa at `x` (n,) m from the middle of the overlap; `moment` N and `shear_force` N/m
    at the overlap's ends, and the moment factor `k` = 2 moment/(load × adherend thickness)."""

    x: FloatArray
    shear: FloatArray
    peel: FloatArray
    moment: float
    shear_force: float
    k: float


def goland_reissner(
    load: float,
    overlap: float,
    thickness: float,
    young: float,
    poisson: float,
    adhesive_young: float,
    adhesive_shear: float,
    bond_thickness: float,
    x: FloatArray | None = None,
    k: float | None = None,
) -> LapStress:
    """Single lap of two equal isotropic adherends pulled by `load` N/m, wide (plane strain) joint.

    `x` (n,) m from the middle (default: middle and end).  `k`: edge moment factor; by default Goland &
    Reissner's k = 1/(1 + 2√2 tanh(uc)), u = √(3(1 − ν²) load/(2 E))/t^1.5, of long adherends that
    straighten under load. Valid for bonds soft beside the adherends (their second case).

    Source: Goland & Reissner 1944, *J. Appl. Mech.* 11:A17 (recalled); the adhesive equations
    τ''' = (8G/(ηE't)) τ', σ'''' + (24 E_a/(ηE't³)) σ = 0 with E' = E/(1 − ν²) are solved here for the end
    loads N = load, M = k load t/2 and, in peel, the shear force V = M √(load/D) outside.

    >>> lap = goland_reissner(1e5, 0.02, 2e-3, 70e9, 0.3, 3e9, 1.1e9, 2e-4)
    >>> 0 < lap.k < 1 and bool(lap.shear[1] > lap.shear[0])
    True
    """
    _positive(
        load=load,
        overlap=overlap,
        thickness=thickness,
        young=young,
        adhesive_young=adhesive_young,
        adhesive_shear=adhesive_shear,
        bond_thickness=bond_thickness,
    )
    c, t = overlap / 2, thickness
    plane = young / (1 - poisson**2)
    if k is None:
        u = math.sqrt(1.5 * load / plane / t) / t
        k = 1 / (1 + 2 * math.sqrt(2) * math.tanh(u * c))
    x = np.array([0.0, c]) if x is None else np.asarray(x, float)
    beta = math.sqrt(8 * adhesive_shear * t / (plane * bond_thickness))  # times 1/t is the decay rate
    bend = beta * c / t
    shear = load / (8 * c) * (bend * (1 + 3 * k) * np.cosh(beta * x / t) / math.sinh(bend) + 3 * (1 - k))
    moment = k * load * t / 2
    # σ = a cosh cosh-cos + b sinh sinh-sin with the moment and the shear force of the two adherends at x = ±c
    rate = (6 * adhesive_young / (plane * bond_thickness * t**3)) ** 0.25
    lam = rate * c
    ch, sh, co, si = math.cosh(lam), math.sinh(lam), math.cos(lam), math.sin(lam)
    D = plane * t**3 / 12
    spring = adhesive_young / bond_thickness
    # σ = spring (w2 − w1): at the loaded end σ'' = spring M/D and σ''' = −spring V/D (x runs outwards there), with
    # V = M √(load/D) the shear force of a long adherend that straightens under the load
    shear_force = moment * math.sqrt(load / D)
    second = 2 * rate**2 * np.array([-sh * si, ch * co])
    third = 2 * rate**3 * np.array([-(ch * si + sh * co), sh * co - ch * si])
    a, b = np.linalg.solve(np.stack([second, third]), np.array([1, -1]) * spring / D * [moment, shear_force])
    y = rate * x
    peel = a * np.cosh(y) * np.cos(y) + b * np.sinh(y) * np.sin(y)
    return LapStress(x, np.asarray(shear), np.asarray(peel), moment, shear_force, k)


def hart_smith_double(
    inner: float, outer: float, shear_modulus: float, bond_thickness: float, yields: float, strain: float
) -> float:
    """Greatest load N/m of a long double lap whose adhesive yields: the lesser of its two ends.

    `inner`, `outer`: axial stiffness E t (N/m) of the middle adherend and of one cover; `yields` Pa, `strain` the
    adhesive's greatest shear strain, elastic part included.  With X = η τp (γ − τp/(2 G)), the energy to break an area
    of bond: at the loaded end of the inner P² = 4 X Ei (1 + Ei/(2 Eo)), at that of the covers P² = 8 X Eo (1 + 2
    Eo/Ei).

    Source: Hart-Smith 1973, NASA CR-112235, equations for the double lap without thermal mismatch (recalled); the same
    follows from the energy freed at either end.

    >>> balanced = hart_smith_double(2e8, 1e8, 1e9, 2e-4, 40e6, 0.2)
    >>> round(balanced / math.sqrt(8 * 2e-4 * 40e6 * (0.2 - 0.02) * 2e8), 9)
    1.0
    """
    _positive(
        inner=inner, outer=outer, shear_modulus=shear_modulus, bond_thickness=bond_thickness, yields=yields,
        strain=strain,
    )  # fmt: skip
    elastic = yields / shear_modulus
    area = yields * (strain - elastic / 2) if strain > elastic else shear_modulus * strain**2 / 2
    x = bond_thickness * area
    return math.sqrt(min(4 * x * inner * (1 + inner / (2 * outer)), 8 * x * outer * (1 + 2 * outer / inner)))


def hart_smith_balanced(
    axial: float, overlap: float, shear_modulus: float, bond_thickness: float, yields: float, strain: float
) -> float:
    """Greatest load N/m of one bond line of any length between equal adherends of axial stiffness `axial` N/m.

    With λ² = 2 G/(η E t), plastic zones of length p at both ends of an elastic trough of length d = L − 2p: the strain
    at the ends is γe (1 + λp tanh(λd/2) + (λp)²/2), the load τp (2p + (2/λ) tanh(λd/2)).  A bond that yields all along
    before it breaks carries τp L.

    Source: Hart-Smith 1973, NASA CR-112235, balanced joint (recalled; derived here).

    >>> hart_smith_balanced(1e8, 1e-3, 1e9, 2e-4, 40e6, 0.2) == 40e6 * 1e-3
    True
    """
    from scipy.optimize import brentq

    _positive(
        axial=axial, overlap=overlap, shear_modulus=shear_modulus, bond_thickness=bond_thickness, yields=yields,
        strain=strain,
    )  # fmt: skip
    rate, elastic = math.sqrt(2 * shear_modulus / bond_thickness / axial), yields / shear_modulus
    if strain <= elastic:
        return shear_modulus * strain * 2 / rate * math.tanh(rate * overlap / 2)

    def at_end(p: float) -> float:
        trough = math.tanh(rate * (overlap / 2 - p))
        return float(elastic * (1 + rate * p * trough + (rate * p) ** 2 / 2) - strain)

    if at_end(overlap / 2) <= 0:
        return yields * overlap
    p = float(brentq(at_end, 0.0, overlap / 2, xtol=1e-15))
    return yields * (2 * p + 2 / rate * math.tanh(rate * (overlap / 2 - p)))
