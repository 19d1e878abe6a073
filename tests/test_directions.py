"""Stiffness by direction, coupling and envelopes, against closed forms and definitions."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from panelfem.failure import CRITERIA
from panelfem.failure.envelope import families, first_factors, judged, of_laminate, of_ply
from panelfem.laminate import Laminate, parse_stack
from panelfem.laminate.directions import coupling, polar
from panelfem.material import PlyMaterial, library


def ply(name: str = "T300-5208", **changes: object) -> PlyMaterial:
    material = library()[name]
    assert isinstance(material, PlyMaterial)
    return replace(material, **changes)  # type: ignore[arg-type]


def laminate(stack: str, material: str = "T300-5208", **changes: object) -> Laminate:
    return Laminate(parse_stack(stack, {**library(), material: ply(material, **changes)}, material))


@pytest.mark.parametrize("own", [0.0, 30.0])
def test_polar_of_a_unidirectional_ply(own: float) -> None:
    """The transformation in closed form (Jones 1999, section 2.8; recalled): 1/Ex = c⁴/E1 + (1/G12 − 2 ν12/E1) c² s² +
    s⁴/E2, 1/Gxy = 2 (2/E1 + 2/E2 + 4 ν12/E1 − 1/G12) c² s² + (c⁴ + s⁴)/G12, and νxy and ηx."""
    m, found = ply(), polar(laminate(f"[{own}]"), 25)
    turn = math.radians(own) - found.angle  # of the fibre from the axis looked along
    c, s = np.cos(turn), np.sin(turn)
    Ex = 1 / (c**4 / m.E1 + (1 / m.G12 - 2 * m.nu12 / m.E1) * c**2 * s**2 + s**4 / m.E2)
    mixed = 2 * (2 / m.E1 + 2 / m.E2 + 4 * m.nu12 / m.E1 - 1 / m.G12)
    G = 1 / (mixed * c**2 * s**2 + (c**4 + s**4) / m.G12)
    nu = Ex * (m.nu12 / m.E1 * (c**4 + s**4) - (1 / m.E1 + 1 / m.E2 - 1 / m.G12) * c**2 * s**2)
    along = 2 / m.E1 + 2 * m.nu12 / m.E1 - 1 / m.G12
    across = 2 / m.E2 + 2 * m.nu12 / m.E1 - 1 / m.G12
    assert np.array([found.E, found.G]) == pytest.approx(np.array([Ex, G]), rel=1e-12)
    assert found.nu == pytest.approx(nu, rel=1e-10)
    assert found.shear == pytest.approx(Ex * (along * s * c**3 - across * s**3 * c), rel=1e-10, abs=1e-12)


def test_polar_of_a_quasi_isotropic_stack_is_a_circle_and_agrees_with_the_constants() -> None:
    found = polar(laminate("[0/60/-60]s"))
    assert np.ptp(found.E) < 1e-9 * found.E[0]
    assert np.allclose(found.G, found.E / (2 * (1 + found.nu)), rtol=1e-9)
    lopsided = laminate("[0/30/90]")
    constants, turned = lopsided.engineering_constants(), polar(lopsided, 5)
    assert (turned.E[0], turned.E[1]) == pytest.approx((constants.Ex, constants.Ey))
    assert turned.G[0] == pytest.approx(constants.Gxy)


def test_coupling_by_hand_and_by_symmetry() -> None:
    """Two layers without contraction pulled along x: thickness · curvature per strain = 3 (E1 − E2)/(E1 + E2), as of
    two strips bonded together; symmetric stacks do not bend, balanced ones do not shear, cross-plies do not twist."""
    m = ply()
    found = coupling(laminate("[0/90]", nu12=0.0))
    assert found.bend_by_pull == pytest.approx(3 * (m.E1 - m.E2) / (m.E1 + m.E2))
    assert pytest.approx(-(m.E1 - m.E2) * (2 * m.thickness) ** 2 / 8) == -abs(found.B)
    assert (found.shear_by_pull, found.twist_by_bending) == (0, 0)
    assert found.bow_by_heat[0] == pytest.approx(-found.bow_by_heat[1])
    assert found.bow_by_heat[0] != 0
    balanced = coupling(laminate("[45/-45]s"))
    assert (balanced.B, balanced.A16, balanced.shear_by_pull, balanced.bend_by_pull) == (0, 0, 0, 0)
    assert balanced.D16 != 0
    assert balanced.twist_by_bending != 0
    assert balanced.bow_by_heat == (0, 0, 0)
    one = laminate("[30]")
    assert coupling(one).shear_by_pull == pytest.approx(polar(one, 2).shear[0])
    assert coupling(one).twist_by_bending == pytest.approx(polar(one, 2).shear[0]), "one ply: bending like pulling"


@pytest.mark.parametrize("name", CRITERIA)
def test_envelopes_are_where_the_reserve_is_one(name: str) -> None:
    """By the reserve of the criterion itself and by its index: 1 on the curve, more inside."""
    criterion = CRITERIA[name]
    kind = "AS4-3501-6" if "unidirectional" in criterion.applies_to else "carbon-twill"
    m = ply(kind, strain_limits=(0.013, 0.011, 0.006, 0.02, 0.02))
    for axes in ((0, 1), (1, 2)):
        points = of_ply(criterion, m, axes, 48)
        stress = np.zeros((48, 3))
        stress[:, axes] = points
        assert criterion.reserve(stress, np.zeros(3), m).min(1) == pytest.approx(np.ones(48))
        assert criterion.index(stress, m).max(1) == pytest.approx(np.ones(48))
    lam = Laminate(parse_stack("[0/45/90]s", {kind: m}, kind))
    points = of_laminate([criterion], lam, (0, 1), -60.0, 24)
    loads = np.zeros((24, 6))
    loads[:, :2] = points
    assert first_factors([criterion], lam, loads, -60.0) == pytest.approx(np.ones(24))


def test_envelope_where_nothing_is_reached_or_heat_alone_does() -> None:
    """Maximum stress knows no limit of a stress that is not there: inf; a ply burst by cooling has none: nan."""
    lam = laminate("[0/90]s")
    assert np.isnan(of_laminate([CRITERIA["Hashin"]], lam, (0, 1), -2000.0, 8)).all()
    assert np.isinf(first_factors([CRITERIA["maximum stress by direction"]], lam, np.eye(6)[:1])).all()


def test_every_ply_of_a_mixed_stack_is_judged_once() -> None:
    """Each family covers all plies; with the outer twill weakened, its failure is in every envelope."""
    names = {**library(), "weak": ply("carbon-twill", Xt=1e6, Yt=1e6)}
    lam = Laminate(parse_stack("[0:weak/90/0]s", names, "T300-5208"))
    found = families(lam)
    assert next(iter(found)) == "maximum stress by direction and Hashin"
    assert {"Tsai-Wu", "maximum stress and maximum stress by direction"} <= set(found)
    for name, criteria in found.items():
        counted = [i for criterion in criteria for i, _ in judged(criterion, lam)]
        assert sorted(counted) == list(range(6)), name
        assert of_laminate(criteria, lam, count=4)[0, 0] < 0.1 * of_laminate(criteria, lam, count=4)[2, 0] * -1, name
    assert "maximum strain and maximum strain by direction" not in found, "the unidirectional ply states no limits"
