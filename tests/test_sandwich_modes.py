"""Wrinkling, dimpling, crimping, core and interlaminar shear against their formulas and an independent minimum."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from panelfem.errors import InputError
from panelfem.failure.sandwich import (
    WRINKLING,
    allen,
    allen_factor,
    compression,
    core_shear,
    crimping,
    crimping_thin_skins,
    dimpling,
    hoff_mautner,
    interlaminar_shear,
    isotropic_hoff_factor,
    wrinkling,
)
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.material import CoreMaterial, PlyMaterial, library
from panelfem.reserve.plies import Residual
from panelfem.reserve.through_thickness import _compressions


def core(name: str) -> CoreMaterial:
    material = library()[name]
    assert isinstance(material, CoreMaterial)
    return material


FOAM, HONEYCOMB = core("foam-pvc-80"), core("honeycomb-aramid-48")


def test_allen_factor() -> None:
    """H. G. Allen 1969, Analysis and Design of Structural Sandwich Panels (recalled): .5753 at nu = .25; .781 in the
    form of Hoff & Mautner."""
    assert allen_factor(0.25) == pytest.approx(0.5753, rel=1e-4)
    assert isotropic_hoff_factor(0.25) == pytest.approx(0.781, rel=1e-3)
    E, nu = 100e6, 0.25
    assert hoff_mautner(70e9, E, E / (2 * (1 + nu))) * 0.781 / 0.5 == pytest.approx(allen(70e9, E, nu), rel=1e-3)


@pytest.mark.parametrize("nu", [0.0, 0.25, 0.4])
def test_allen_is_the_least_over_all_wavelengths(nu: float) -> None:
    """Independent: a thin skin waving sinusoidally on an elastic half-space in plane strain of Allen's core.

    The foundation per amplitude is a m, a = 2 E /((1 + nu)(3 − nu)) for a skin that only moves normal to itself
    (Airy stress function, no in-plane strain of the skin), so N(m) = D m² + a/m with D = Ef t³/12; its least over m.
    """
    Ef, Ec, t = 70e9, 100e6, 0.5e-3
    a = 2 * Ec / ((1 + nu) * (3 - nu))
    best = minimize_scalar(
        lambda x: Ef * t**3 / 12 * math.exp(2 * x) + a / math.exp(x),
        bounds=(3, 12),
        method="bounded",
        options={"xatol": 1e-10},
    )
    assert best.fun / t == pytest.approx(float(allen(Ef, Ec, nu)), rel=1e-6)


def test_hoff_and_mautner_by_hand() -> None:
    """N. J. Hoff & S. E. Mautner 1945 (recalled), arithmetic: 0.5 (64e9 · 125e6 · 8e6)^⅓ = 0.5 · 4e3 · 500 · 200 Pa."""
    assert hoff_mautner(64e9, 125e6, 8e6) == pytest.approx(0.5 * 4e3 * 500 * 200, rel=1e-12)


def test_wrinkling_by_core_type() -> None:
    """Both formulas and the core types are stated, and foam takes the lesser."""
    assert set(WRINKLING) == {"foam", "honeycomb"}
    assert "Hoff & Mautner" in WRINKLING["honeycomb"]
    assert "Allen" in WRINKLING["foam"]
    assert wrinkling(60e9, HONEYCOMB) == pytest.approx(float(hoff_mautner(60e9, HONEYCOMB.E, HONEYCOMB.G23)))
    assert wrinkling(60e9, HONEYCOMB, 0.0) == pytest.approx(float(hoff_mautner(60e9, HONEYCOMB.E, HONEYCOMB.G13)))
    assert wrinkling(60e9, FOAM) == pytest.approx(float(hoff_mautner(60e9, FOAM.E, FOAM.G13)))
    stiff_in_shear = replace(FOAM, G13=10 * FOAM.G13, G23=10 * FOAM.G23)
    assert wrinkling(60e9, stiff_in_shear) == pytest.approx(float(allen(60e9, FOAM.E, FOAM.nu)))
    assert wrinkling(np.array([30e9, 60e9]), FOAM).shape == (2,)


def test_dimpling_by_hand() -> None:
    """MIL-HDBK-23 (recalled), arithmetic: 2 · 45.5e9/0.91 · (1/8)² = 1.5625 GPa."""
    assert dimpling(45.5e9, 0.3, 0.4e-3, 3.2e-3) == pytest.approx(1.5625e9, rel=1e-12)


def test_crimping() -> None:
    """The shear stiffness of the sandwich; Gc d²/c for thin stiff skins (MIL-HDBK-23, Zenkert, recalled)."""
    skin = replace(_ply("carbon-twill"), E1=70e9, E2=70e9)
    lam = Laminate((Ply(skin, 0.2e-3), Ply(HONEYCOMB, 12e-3), Ply(skin, 0.2e-3)))
    for direction, G in ((0.0, HONEYCOMB.G13), (math.pi / 2, HONEYCOMB.G23)):
        assert crimping(lam, direction) == pytest.approx(crimping_thin_skins(G, 12e-3, 12.2e-3), rel=2e-3)
    between = crimping(lam, np.radians([0.0, 45.0, 90.0]))
    assert between[1] == pytest.approx(0.5 * (between[0] + between[2]), rel=1e-9)


def test_crimping_is_the_short_wave_limit_of_buckling() -> None:
    """Independent: a simply supported sandwich strip buckles at P = D m²/(1 + D m²/S), which tends to S."""
    lam = Laminate(parse_stack("[0/foam-pvc-80:10mm]s", library(), "carbon-twill"))
    D, S = lam.D[0, 0], lam.shear[0, 0]
    waves = math.pi / np.array([0.5, 0.05, 0.001])
    loads = D * waves**2 / (1 + D * waves**2 / S)
    assert (np.diff(loads) > 0).all()
    assert loads[-1] == pytest.approx(crimping(lam, 0.0), rel=2e-2)
    assert (loads < crimping(lam, 0.0)).all()


def _ply(name: str) -> PlyMaterial:
    material = library()[name]
    assert isinstance(material, PlyMaterial)
    return material


def test_core_shear() -> None:
    applied = np.array([[0.5e6, 0.0], [0.0, -0.325e6], [0.0, 0.0]])
    assert core_shear(applied, np.zeros(2), HONEYCOMB) == pytest.approx([2.3, 2.0, math.inf])
    both = np.array([HONEYCOMB.shear_strength_13, HONEYCOMB.shear_strength_23]) / math.sqrt(2)
    assert core_shear(both, np.zeros(2), HONEYCOMB) == pytest.approx(1.0)
    held = np.array([0.15e6, 0.0])
    assert core_shear(np.array([0.5e6, 0.0]), held, HONEYCOMB) == pytest.approx(2.0), "1.15 = 0.15 + 2 · 0.5"
    assert core_shear(np.array([-0.5e6, 0.0]), held, HONEYCOMB) == pytest.approx(2.6), "first unloads"
    assert math.isnan(float(core_shear(np.array([0.5e6, 0.0]), 8 * held, HONEYCOMB)))
    assert core_shear(applied, np.zeros(2), HONEYCOMB, 0.5) == pytest.approx([1.15, 1.0, math.inf])


def test_interlaminar_shear() -> None:
    ply = _ply("carbon-twill")
    assert interlaminar_shear(np.array([[30e6, 40e6]]), np.zeros(2), ply) == pytest.approx([ply.Sil / 50e6])
    for bad in (0.0, -1.0, math.nan):
        with pytest.raises(InputError, match="shear strength is not positive"):
            interlaminar_shear(np.zeros(2), np.zeros(2), ply, bad)
    with pytest.raises(InputError, match="shape"):
        interlaminar_shear(np.zeros(3), np.zeros(3), ply)


def test_core_shear_of_a_loaded_sandwich_by_hand() -> None:
    """Q / distance of the skin middles, thin skins, against the strength: 6 kN/m over 12.2 mm (Zenkert, recalled)."""
    skin = replace(_ply("carbon-twill"), E1=70e9, E2=70e9)
    lam = Laminate((Ply(skin, 0.2e-3), Ply(HONEYCOMB, 12e-3), Ply(skin, 0.2e-3)))
    tau = lam.transverse_shear(np.array([6e3, 0.0]))
    assert core_shear(tau[1], np.zeros(2), HONEYCOMB).min() == pytest.approx(1.15e6 / (6e3 / 12.2e-3), rel=3e-3)


def test_compression_holds_the_residual() -> None:
    factor = compression(np.array([-1.0, -1.0, 1.0, -1.0, math.nan]), np.array([0.5, -0.5, 0.0, -2.0, 0.0]), 1.5)
    assert factor == pytest.approx([2.0, 1.0, math.inf, math.nan, math.nan], nan_ok=True)
    assert compression(np.full((2, 1), -1.0), np.zeros(3), np.array([1.0, 2.0, 3.0])) == pytest.approx(
        np.array([[1.0, 2.0, 3.0]] * 2)
    )
    with pytest.raises(InputError, match="not positive"):
        compression(-1.0, 0.0, 0.0)  # type: ignore[arg-type]


def test_dimpling_is_checked_over_honeycomb_only() -> None:
    """By hand: 2 · 12 D/t³ (t/s)² of an isotropic skin; a skin of one ply takes the same along its fibre as
    across it; foam, or a cell size not told, has none."""
    E, nu, t, s = 70e9, 0.3, 0.2e-3, 3.2e-3
    plain = replace(_ply("carbon-twill"), E1=E, E2=E, nu12=nu, G12=E / (2 * (1 + nu)))

    def found(material: PlyMaterial, inside: CoreMaterial) -> dict[str, np.ndarray]:
        lam = Laminate((Ply(material, t), Ply(inside, 10e-3), Ply(material, t)))
        return {c.mode: c.allowed for c in _compressions(lam, Residual()) if "dimpling" in c.mode}

    honeycomb = replace(HONEYCOMB, cell_size=s)
    both = found(plain, honeycomb)
    assert set(both) == {"skin dimpling, bottom skin", "skin dimpling, top skin"}
    for allowed in both.values():
        assert allowed == pytest.approx(np.full(12, float(dimpling(E, nu, t, s))))
    ud = _ply("carbon-ud")
    allowed = found(ud, honeycomb)["skin dimpling, top skin"]
    along = 2 * math.sqrt(ud.E1 * ud.E2) / (1 - ud.nu12**2 * ud.E2 / ud.E1) * (t / s) ** 2
    assert allowed[[0, 6]] == pytest.approx([along, along])
    assert not found(plain, FOAM)
    assert not found(plain, replace(HONEYCOMB, cell_size=None))
