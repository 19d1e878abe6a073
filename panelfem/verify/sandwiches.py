"""Formulas of sandwich panels against energy or arithmetic done again."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy.optimize import minimize_scalar

from panelfem.failure import sandwich
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
