"""Formulas of sandwich panels against energy or arithmetic done again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.special import kei

from panelfem.failure import sandwich
from panelfem.failure.crush import Bed, core_stiffness
from panelfem.laminate import Laminate, Ply
from panelfem.material import CoreMaterial, PlyMaterial, library
from panelfem.reference.layered_beam import LayeredBeam
from panelfem.verify.row import LAMINATE, STRESS, Row


def half_space_wrinkling(Ef: float, Ec: float, nu: float, t: float) -> float:
    """Least wrinkling stress of a perfect skin on a deep isotropic core, Pa.

    The surface of the core, held along the skin, resists w = sin πx/ℓ with Ec a π/ℓ w: a half-plane in plane stress
    with no motion along its surface, a = 2/((3 − ν)(1 + ν)).  σ = Ef (π t/ℓ)²/12 + a Ec ℓ/(π t), least over ℓ.
    Source: derived here; the half-plane as in Allen 1969 (recalled).
    """
    a = 2 / ((3 - nu) * (1 + nu))

    def stress(log: float) -> float:
        wave = math.exp(log) * t
        return Ef * (math.pi * t / wave) ** 2 / 12 + a * Ec * wave / (math.pi * t)

    best = minimize_scalar(stress, bounds=(0.0, 8.0), method="bounded", options={"xatol": 1e-10})
    return float(best.fun)


def rows() -> Iterator[Row]:
    """All rows of sandwich formulas."""
    Ef, Ec, nu = 60e9, 85e6, 0.25
    Gc = Ec / (2 * (1 + nu))
    yield Row(
        "sandwich",
        "wrinkling, isotropic foam",
        "B1 at ν = .25",
        "Allen 1969 (recalled)",
        0.5753,
        half_space_wrinkling(Ef, Ec, nu, 1e-3) / (Ef ** (1 / 3) * Ec ** (2 / 3)),
        "energy, least over the wavelength",
        sandwich.allen_factor(nu),
        "-",
        LAMINATE,
        "perfect skin on a deep core",
    )
    yield Row(
        "sandwich",
        "wrinkling, isotropic foam",
        "the same in the form (Ef Ec Gc)^⅓",
        "Allen 1969 (recalled)",
        0.781,
        half_space_wrinkling(Ef, Ec, nu, 1e-3) / (Ef * Ec * Gc) ** (1 / 3),
        "energy, least over the wavelength",
        sandwich.isotropic_hoff_factor(nu),
        "-",
        LAMINATE,
        "perfect skin on a deep core",
    )
    yield Row(
        "sandwich",
        "wrinkling, design value",
        "0.5 (Ef Ec Gc)^⅓",
        "Hoff & Mautner 1945 (recalled)",
        None,
        0.5 * math.exp((math.log(Ef) + math.log(Ec) + math.log(Gc)) / 3) / 1e6,
        "arithmetic by logarithms",
        float(sandwich.hoff_mautner(Ef, Ec, Gc)) / 1e6,
        "MPa",
        LAMINATE,
    )
    yield Row(
        "sandwich",
        "dimpling over cells",
        "2 Ef/(1 − ν²) (t/s)², 0.5 mm skin, 6 mm cells",
        "MIL-HDBK-23 (recalled)",
        None,
        2 * 60e3 / 0.91 / 144,
        "arithmetic in MPa and mm",
        float(sandwich.dimpling(Ef, 0.3, 0.5e-3, 6e-3)) / 1e6,
        "MPa",
        LAMINATE,
    )
    yield from crimping()
    yield from crushing()


def crimping() -> Iterator[Row]:
    """Shear crimping and core shear of a sandwich against a layered beam; the thin-skin formulas beside."""
    book = library()
    core, face = book["foam-pvc-80"], book["carbon-ud"]
    if not (isinstance(core, CoreMaterial) and isinstance(face, PlyMaterial)):
        raise AssertionError("foam-pvc-80 is a core and carbon-ud a ply")
    t, depth = 0.2e-3, 10e-3
    angles = (0, 90, None, 90, 0)
    lam = Laminate(tuple(Ply(core, depth) if a is None else Ply(face, t, math.radians(a)) for a in angles))
    layer = {0: (face.E1, face.G13, t), 90: (face.E2, face.G23, t), None: (core.E_plane, core.G13, depth)}
    beam = LayeredBeam(tuple(layer[a] for a in angles))
    distance, force = depth + 2 * t, 1e4
    yield Row(
        "sandwich",
        "shear crimping, foam core",
        "load per width",
        "MIL-HDBK-23, thin stiff skins, G d²/c (recalled)",
        core.G13 * distance**2 / depth / 1e3,
        beam.shear_stiffness / 1e3,
        "energy of Jourawski's shear stress",
        sandwich.crimping(lam, 0.0) / 1e3,
        "N/mm",
        STRESS,
        "the skins' own shear counted in ours and in the reference",
    )
    tau = float(lam.transverse_shear(np.array([[force, 0.0]]))[0, 2, 1, 0])
    yield Row(
        "sandwich",
        "core shear, foam core",
        "τ at mid-depth, Q = 10 N/mm",
        "Q/d (common practice, no source)",
        force / distance / 1e6,
        abs(beam.shear(0.0, force)) / 1e6,
        "layered beam, Jourawski",
        abs(tau) / 1e6,
        "MPa",
        STRESS,
    )


def crushing() -> Iterator[Row]:
    """Pressure on the core under a point and under a line force on the skin: on springs, on deep and on thin foam."""
    book = library()
    foam, comb = book["foam-pvc-80"], book["honeycomb-aramid-48"]
    if not (isinstance(foam, CoreMaterial) and isinstance(comb, CoreMaterial)):
        raise AssertionError("foam-pvc-80 and honeycomb-aramid-48 are cores")
    D, depth, root = 0.5, 5e-3, 3.0 * math.sqrt(3.0)
    bed = Bed(D, replace(comb, G13=1e-3, G23=1e-3), depth, 1.0)
    spread = (D * depth / comb.E) ** 0.25
    name, source = "skin on springs", "Hertz 1884; Timoshenko & Woinowsky-Krieger 1959, chapter 8 (recalled)"
    peak, how = 1.0 / (8.0 * spread**2), "beam on an elastic bed"
    yield _core_pressure(name, "under a point", bed, 0.0, source, peak, peak, "limit of the Kelvin function")
    kelvin = float(-kei(1.5)) / (2.0 * math.pi * spread**2)
    yield _core_pressure(name, "beside a point", bed, 1.5 * spread, source, None, kelvin, "Kelvin function")
    yield _core_pressure(name, "under a line", bed, None, source, None, 1.0 / (2.0 * math.sqrt(2.0) * spread), how)

    bed = Bed(D, foam, 0.2, 1.0)
    steep = 2.0 * foam.E * (1.0 - foam.nu) / ((1.0 + foam.nu) * (3.0 - 4.0 * foam.nu)) / D
    one = 0.28 * foam.E * (foam.E / D) ** (1 / 3) / D
    name, source = "skin on deep foam", "one spring for all waves, 0.28 E (E/D)^⅓, Allen 1969, Zenkert 1995 (recalled)"
    how = "half-space held along its face, by residues"
    yield _core_pressure(name, "under a point", bed, 0.0, source, math.sqrt(one) / 8.0, steep ** (2 / 3) / root, how)
    line = 2.0 * steep ** (1 / 3) / root
    yield _core_pressure(name, "under a line", bed, None, source, (one / 4.0) ** 0.25 / 2.0, line, how)

    def whole(power: int) -> float:
        def share(s: float) -> float:
            core = float(core_stiffness(foam, depth, np.array([s]))[0])
            return core / (D * s**4 + core) * s**power

        return sum(float(quad(share, *ends, limit=400)[0]) for ends in pairwise((1e-6, 2e3, 1e5, 1e7)))

    bed, name, how = Bed(D, foam, depth, 1.0), "skin on 5 mm of foam", "adaptive quadrature over all waves"
    yield _core_pressure(name, "under a point", bed, 0.0, "none", None, whole(1) / (2.0 * math.pi), how)
    yield _core_pressure(name, "under a line", bed, None, "none", None, whole(0) / math.pi, how)


def _core_pressure(
    name: str,
    where: str,
    bed: Bed,
    beside: float | None,
    source: str,
    printed: float | None,
    reference: float,
    how: str,
) -> Row:
    """The row of a unit point force `beside` (m) it, or of a line of 1 N/m (None); values per m² or per m."""
    half = 0.5 if beside is None else 1e-7
    at, force, ends = np.array([[0.0, beside or 0.0]]), 2.0 * half * np.ones(1), np.array([[-half, half]])
    ours = float(bed.pressure(at, np.zeros((1, 2)), force, ends)[0])
    if beside is not None:
        ours /= 2.0 * half
    unit, scale = ("1/mm", 1e-3) if beside is None else ("1/mm²", 1e-6)
    shown = None if printed is None else scale * printed
    note = "a core answers short waves more stiffly than long ones" if "one spring" in source else ""
    return Row(
        "sandwich", f"core pressure, {name}", f"{where}, per unit force", source, shown, scale * reference, how,
        scale * ours, unit, LAMINATE, note,
    )  # fmt: skip
