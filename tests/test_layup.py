"""Unknown layups: 200 synthetic panels whose truth is worked out by other means; the notation; bending by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from panelfem.errors import InputError
from panelfem.knowledge.bending import Plate, Strip
from panelfem.knowledge.layup import Bank, Bent, Layups, Measured, fit, relative
from panelfem.knowledge.stacks import UNSYMMETRIC, Candidates, Stack, stacks
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import CoreMaterial, PlyMaterial, library
from panelfem.reference.navier import Navier, patch

LIB = library()
TWILL, UD, FOAM = LIB["carbon-twill"], LIB["carbon-ud"], LIB["foam-pvc-80"]
assert isinstance(TWILL, PlyMaterial)
assert isinstance(UD, PlyMaterial)
assert isinstance(FOAM, CoreMaterial)
RIGHT = (0.0, math.pi / 2)
AMONG = Candidates((TWILL, UD), RIGHT, (None,), 3, 5)
PLATE = Plate(0.3, 0.25, 0.04, 10.0)


def truth(stack: Stack, rng: np.random.Generator) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Mass per area, thickness, A and D of a stack with its factors drawn, ply by ply by hand (angles 0° and 90°).

    Source: Tsai & Hahn 1980, chapters 4 and 5 (recalled); nothing of the package's laminate is used.
    """
    factor = {
        m.name: np.exp(rng.normal(0, [relative(m, name, 0.0) for name in ("thickness", "density", "E1")]))
        for m in (TWILL, UD)
    }
    z, mass, a, d = 0.0, 0.0, np.zeros((3, 3)), np.zeros((3, 3))
    thickness = sum(ply.material.thickness * factor[ply.material.name][0] for ply in stack.plies)
    for ply in stack.plies:
        m = ply.material
        f = factor[m.name]
        e1, e2 = (m.E1, m.E2) if abs(ply.angle) < 1e-9 else (m.E2, m.E1)
        nu12 = m.nu12 if abs(ply.angle) < 1e-9 else m.nu12 * m.E2 / m.E1
        q = f[2] * np.array([[e1, nu12 * e2, 0], [nu12 * e2, e2, 0], [0, 0, m.G12 * (1 - nu12**2 * e2 / e1)]])
        q /= 1 - nu12**2 * e2 / e1
        t = m.thickness * f[0]
        low, high = z - thickness / 2, z + t - thickness / 2
        a, d, mass, z = a + q * t, d + q * (high**3 - low**3) / 3, mass + m.density * f[1] * t, z + t
    return mass, thickness, a, d


def deflection(a: np.ndarray, d: np.ndarray) -> float:
    """Middle of the plate by Navier's series without transverse shear; source: see panelfem.reference.navier."""
    stiffness = np.zeros((8, 8))
    stiffness[:3, :3], stiffness[3:6, 3:6] = a, d
    stiffness[6, 6] = stiffness[7, 7] = 1e6  # not used by thin theory
    side = PLATE.pad * math.sqrt(math.pi) / 2
    load = patch(PLATE.force / side**2, (PLATE.a / 2, PLATE.b / 2), (side, side), PLATE.a, PLATE.b, 60)
    return float(
        Navier(stiffness, PLATE.a, PLATE.b, load, thin=True).deflection(*np.array([[PLATE.a], [PLATE.b]]) / 2)[0]
    )


def entries(a: np.ndarray, d: np.ndarray) -> list[float]:
    return [float(m[i, j]) for m in (a, d) for i, j in ((0, 0), (1, 1), (0, 1), (2, 2))]


def told(found: Layups) -> list:
    return [s for s in found.spreads if s.name not in ("A16", "A26", "D16", "D26")]


def test_on_200_panels_the_interval_holds_the_truth_and_is_narrow() -> None:
    rng, among = np.random.default_rng(11), stacks(AMONG)
    bank, share = Bank(among), np.array([s.share for s in among])
    holds, widths, fits = [], [], []
    for i in rng.choice(len(among), 200, p=share / share.sum()):
        mass, thickness, a, d = truth(among[i], rng)
        w = deflection(a, d)
        read = np.array([mass, thickness, w]) * (1 + np.array([0.01, 0.01, 0.02]) * rng.normal(size=3))
        found = fit(
            bank,
            Measured((read[0], 0.01 * mass), (read[1], 0.01 * thickness), (Bent(PLATE, read[2], 0.02 * w),)),
        )
        holds.append([s.low <= v <= s.high for s, v in zip(told(found), entries(a, d), strict=True)])
        widths.append([s.share for s in told(found)])
        fits.append(found.fits)
    assert (np.mean(holds, axis=0) >= 0.90).all()
    assert np.median(widths, axis=0).max() <= 0.5
    assert np.mean(fits) > 0.95


# ---- stacks


def names(of: Candidates) -> list[str]:
    return [s.name for s in stacks(of)]


@pytest.mark.parametrize("cores", [(None,), ((FOAM, 5e-3),), (None, (FOAM, 5e-3))])
@pytest.mark.parametrize("unsymmetric", [False, True])
def test_a_name_is_read_by_a_case_as_the_stack_it_names(cores: tuple, unsymmetric: bool) -> None:
    found = stacks(Candidates((TWILL, UD), (0.0, math.pi / 4), cores, 1, 4, unsymmetric))
    assert len({s.plies for s in found}) == len(found)
    assert len({s.name for s in found}) == len(found)
    for stack in found:
        assert parse_stack(stack.name, LIB, "carbon-twill") == stack.plies
    assert sum(s.share for s in found) == pytest.approx(1.0)


def test_a_balanced_fabric_turned_by_a_right_angle_is_one_ply() -> None:
    assert names(Candidates((TWILL,), RIGHT, (None,), 2, 2)) == ["[0]s"]
    assert len(names(Candidates((UD,), RIGHT, (None,), 2, 2))) == 2


def test_unsymmetric_stacks_share_a_tenth() -> None:
    found = stacks(Candidates((UD,), RIGHT, (None,), 3, 3, True))
    apart = [s for s in found if s.plies != s.plies[::-1]]
    assert sum(s.share for s in apart) == pytest.approx(UNSYMMETRIC)
    assert len(found) == 8


def test_what_was_seen_leaves_out_what_does_not_agree() -> None:
    of = Candidates(
        (TWILL, UD), (0.0, math.pi / 4), (None,), 4, 4, outer="unidirectional", outer_angle=math.radians(40)
    )
    assert all(s.plies[-1].material == UD and s.plies[-1].angle == math.pi / 4 for s in stacks(of))
    with pytest.raises(InputError, match="no stack agrees"):
        stacks(Candidates((TWILL,), (0.0, math.pi / 4), (None,), 4, 4, outer="unidirectional"))


def test_what_was_seen_is_asked_before_the_rest_is_counted_up() -> None:
    """Ten angles and sixteen plies of which none agrees: told at once, not after all of them."""
    angles = tuple(math.radians(a) for a in range(0, 90, 9))
    with pytest.raises(InputError, match="no stack agrees"):
        stacks(Candidates((TWILL,), angles, (None,), 16, 16, True, outer="unidirectional"))


def test_too_many_stacks_are_refused_with_a_way_out() -> None:
    angles = tuple(math.radians(a) for a in range(0, 180, 15))
    with pytest.raises(InputError, match="count the plies at a cut edge"):
        stacks(Candidates((UD,), angles, (None,), 2, 12))


# ---- bending


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_a_strip_of_one_ply_bends_as_its_modulus_says(angle: float) -> None:
    # off-axis modulus, Tsai & Hahn 1980, chapter 3 (recalled): a strip that may curl has 1/Ex and no more
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    give = c**4 / UD.E1 + (1 / UD.G12 - 2 * UD.nu12 / UD.E1) * c**2 * s**2 + s**4 / UD.E2
    shear = c**2 / UD.G13 + s**2 / UD.G23
    laminate, t = Laminate(parse_stack("[0_8]", LIB, "carbon-ud")), 8 * UD.thickness
    length, width, force = 0.2, 0.02, 5.0
    inertia, area = width * t**3 / 12, 5 / 6 * width * t
    beam = force * length**3 * give / (48 * inertia) + force * length * shear / (4 * area)
    ours = Strip("two supports", length, width, math.radians(angle), force).deflection(laminate)
    assert ours == pytest.approx(beam, rel=2e-3)
    built_in = Strip("built in", length, width, math.radians(angle), force).deflection(laminate)
    assert built_in == pytest.approx(force * length**3 * give / (3 * inertia) + force * length * shear / area, rel=2e-3)


@pytest.mark.parametrize("stack", ["[0/90]s", "[0_2/90_2]s", "[90/0/90]"])
def test_a_plate_bends_as_by_navier(stack: str) -> None:
    laminate = Laminate(parse_stack(stack, LIB, "carbon-ud"))
    assert PLATE.deflection(laminate) == pytest.approx(deflection(laminate.A, laminate.D), rel=5e-3)


def test_a_plate_of_an_unsymmetric_stack_is_softer_than_its_d_says() -> None:
    # cross-ply [0/90], in-plane free at the edges: pure bending of B-coupled strips, exact in the limit of D*
    coupled = Laminate(parse_stack("[0_2/90_2]", LIB, "carbon-ud"))
    reduced = coupled.D - coupled.B @ np.linalg.solve(coupled.A, coupled.B)
    low, high = deflection(coupled.A, coupled.D), deflection(coupled.A, reduced)
    assert low < PLATE.deflection(coupled) <= 1.02 * high
