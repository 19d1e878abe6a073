"""Failure criteria: published values, an independent search along the load path, and properties.

The independent check writes each criterion's printed formula out for one stress, in plain arithmetic, and looks for the
first factor at which it is reached by stepping and halving: no quadratic is solved.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.errors import InputError
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.hashin import Hashin
from panelfem.failure.puck import Puck
from panelfem.failure.tsai_wu import TsaiWu
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import PlyMaterial, library

INF, NAN = math.inf, math.nan
ZERO = np.zeros(3)
Stress = tuple[float, float, float]


def ply(name: str, **changes: object) -> PlyMaterial:
    material = library()[name]
    assert isinstance(material, PlyMaterial)
    return replace(material, **changes)  # type: ignore[arg-type]


def ply_for(name: str) -> PlyMaterial:
    fabric = "unidirectional" not in CRITERIA[name].applies_to
    return ply("carbon-twill" if fabric else "AS4-3501-6")


# the printed formulas, one stress at a time ------------------------------------------------------------------------


def stresses_over_strengths(m: PlyMaterial, s: Stress) -> list[float]:
    """Jones 1999, section 2.9.1."""
    return [s[0] / m.Xt, -s[0] / m.Xc, s[1] / m.Yt, -s[1] / m.Yc, abs(s[2]) / m.S]


def strains_over_limits(m: PlyMaterial, s: Stress) -> list[float]:
    """Jones 1999, section 2.9.2."""
    assert m.strain_limits is not None
    e1, e2 = (s[0] - m.nu12 * s[1]) / m.E1, s[1] / m.E2 - m.nu12 * s[0] / m.E1
    t1, c1, t2, c2, g = m.strain_limits
    return [e1 / t1, -e1 / c1, e2 / t2, -e2 / c2, abs(s[2]) / m.G12 / g]


def tsai_hill(m: PlyMaterial, s: Stress) -> list[float]:
    """Azzi & Tsai 1965 with the strength of each stress's own sign."""
    X, Y = (m.Xt if s[0] >= 0 else m.Xc), (m.Yt if s[1] >= 0 else m.Yc)
    return [(s[0] / X) ** 2 - s[0] * s[1] / X**2 + (s[1] / Y) ** 2 + (s[2] / m.S) ** 2]


def tsai_wu(m: PlyMaterial, s: Stress) -> list[float]:
    """Tsai & Wu 1971, F12 = −½ √(F11 F22)."""
    F1, F2 = 1 / m.Xt - 1 / m.Xc, 1 / m.Yt - 1 / m.Yc
    F11, F22, F66 = 1 / (m.Xt * m.Xc), 1 / (m.Yt * m.Yc), 1 / m.S**2
    linear = F1 * s[0] + F2 * s[1]
    return [linear + F11 * s[0] ** 2 + F22 * s[1] ** 2 + F66 * s[2] ** 2 - math.sqrt(F11 * F22) * s[0] * s[1]]


def hashin(m: PlyMaterial, s: Stress) -> list[float]:
    """Hashin 1980, plane stress, transverse shear strength Yc/2."""
    shear, St = (s[2] / m.S) ** 2, m.Yc / 2 if m.S23 is None else m.S23
    compressed = (s[1] / (2 * St)) ** 2 + ((m.Yc / (2 * St)) ** 2 - 1) * s[1] / m.Yc + shear
    return [
        (s[0] / m.Xt) ** 2 + shear if s[0] >= 0 else 0.0,
        (s[0] / m.Xc) ** 2 if s[0] < 0 else 0.0,
        (s[1] / m.Yt) ** 2 + shear if s[1] >= 0 else 0.0,
        compressed if s[1] < 0 else 0.0,
    ]


def hoffman(m: PlyMaterial, s: Stress) -> list[float]:
    """Hoffman 1967 in three dimensions, C1 … C9, strengths across equal in 2 and 3, then plane stress."""
    a, b = 1 / (m.Xt * m.Xc), 1 / (m.Yt * m.Yc)
    c1, c2, c3 = b - a / 2, a / 2, a / 2
    s1, s2, s3 = s[0], s[1], 0.0
    value = c1 * (s2 - s3) ** 2 + c2 * (s3 - s1) ** 2 + c3 * (s1 - s2) ** 2
    value += (1 / m.Xt - 1 / m.Xc) * s1 + (1 / m.Yt - 1 / m.Yc) * s2
    return [value + (s[2] / m.S) ** 2]


def puck(m: PlyMaterial, s: Stress) -> list[float]:
    """Puck & Schürmann 1998, table of the plane modes, slopes 0.35 and 0.30."""
    p_t, p_c = 0.35, 0.30
    RA = m.S / (2 * p_c) * (math.sqrt(1 + 2 * p_c * m.Yc / m.S) - 1)
    p_across = p_c * RA / m.S
    corner = m.S * math.sqrt(1 + 2 * p_across)
    a = b = c = 0.0
    if s[1] >= 0:
        a = math.sqrt((s[2] / m.S) ** 2 + (1 - p_t * m.Yt / m.S) ** 2 * (s[1] / m.Yt) ** 2) + p_t * s[1] / m.S
    elif abs(s[2]) > 0 and abs(s[1] / s[2]) <= RA / corner:
        b = (math.sqrt(s[2] ** 2 + (p_c * s[1]) ** 2) + p_c * s[1]) / m.S
    else:
        c = ((s[2] / (2 * (1 + p_across) * m.S)) ** 2 + (s[1] / m.Yc) ** 2) * m.Yc / -s[1]
    return [s[0] / m.Xt, -s[0] / m.Xc, a, b, c]


PRINTED: dict[str, Callable[[PlyMaterial, Stress], list[float]]] = {
    "Hashin": hashin,
    "maximum stress": stresses_over_strengths,
    "maximum stress by direction": stresses_over_strengths,
    "maximum strain": strains_over_limits,
    "maximum strain by direction": strains_over_limits,
    "Tsai-Hill": tsai_hill,
    "Tsai-Wu": tsai_wu,
    "Hoffman": hoffman,
    "Puck": puck,
}


def test_every_criterion_is_checked_against_something_outside() -> None:
    assert set(PRINTED) == set(CRITERIA)


def searched(value: Callable[[Stress], float], a: Stress, r: Stress) -> float:
    """First factor at which `value` is 1 or more, by stepping and halving; nan if so at zero; inf past the search."""

    def at(f: float) -> bool:
        return value((r[0] + f * a[0], r[1] + f * a[1], r[2] + f * a[2])) >= 1.0

    if at(0.0):
        return NAN
    low = 0.0
    for high in np.concatenate([np.linspace(0, 4, 1601)[1:], np.geomspace(4, 1e4, 2500)[1:]]).tolist():
        if at(high):
            for _ in range(60):
                middle = 0.5 * (low + high)
                low, high = (low, middle) if at(middle) else (middle, high)
            return high
        low = high
    return INF


@pytest.mark.parametrize("name", CRITERIA)
@pytest.mark.parametrize("held", [0.0, 0.3, 0.9], ids=["no residual", "residual", "much residual"])
def test_reserve_against_a_search_along_the_path(name: str, held: float) -> None:
    m, criterion = ply_for(name), CRITERIA[name]
    rng = np.random.default_rng(sum(map(ord, name)))
    size = np.array([m.Xt, m.Yc, m.S])
    applied, residual = rng.normal(size=(25, 3)) * size, held * rng.normal(size=(25, 3)) * size * [0.5, 0.3, 0.5]
    applied[0], residual[1], applied[2, 2], residual[2, 2] = [0, 0, m.S], 0, 0, 0
    ours = criterion.reserve(applied, residual, m)
    assert ours.shape == (25, len(criterion.modes))
    if held == 0.9:
        assert np.isnan(ours).any(), "some are reached at zero load"
    for i in range(25):
        for mode in range(len(criterion.modes)):
            a, r = tuple(applied[i].tolist()), tuple(residual[i].tolist())
            theirs = searched(lambda s, mode=mode: PRINTED[name](m, s)[mode], a, r)  # type: ignore[misc]
            if math.isinf(theirs):
                assert ours[i, mode] > 9e3
            else:
                assert ours[i, mode] == pytest.approx(theirs, rel=1e-9, nan_ok=True)


@pytest.mark.parametrize("name", CRITERIA)
def test_index_is_the_printed_formula(name: str) -> None:
    m = ply_for(name)
    stress = np.random.default_rng(2).normal(size=(20, 3)) * np.array([m.Xt, m.Yt, m.S])
    ours = CRITERIA[name].index(stress, m)
    for row, s in zip(ours, stress.tolist(), strict=True):
        assert row == pytest.approx(np.maximum(PRINTED[name](m, tuple(s)), 0.0), rel=1e-12, abs=1e-12)
    assert CRITERIA[name].index(stress, m, 0.5) == pytest.approx(CRITERIA[name].index(2 * stress, m))


# published values --------------------------------------------------------------------------------------------------

KAW = np.array([1.714, -2.714, -4.165]) * 1e6


def test_kaw_off_axis_ply() -> None:
    """A. K. Kaw 2006, Mechanics of Composite Materials, 2nd ed., 60° ply of T300/5208 under 2, −3, 4 MPa times R:
    16.33 maximum stress, 16.06 Tsai–Hill with signed strengths, 22.39 Tsai–Wu (recalled)."""
    m = ply("T300-5208")
    lam = Laminate(parse_stack("[60]", library(), "T300-5208"))
    strain = np.linalg.solve(lam.ABD, np.concatenate([np.array([2e6, -3e6, 4e6]) * lam.thickness, ZERO]))
    local = lam.ply_stresses(strain)[0, 1]
    assert local == pytest.approx(KAW, rel=1e-3)
    for name, printed in (("maximum stress", 16.33), ("Tsai-Hill", 16.06), ("Tsai-Wu", 22.39)):
        assert CRITERIA[name].reserve(local, ZERO, m).min() == pytest.approx(printed, rel=1e-3), name


def test_kaw_tsai_hill_with_one_transverse_strength() -> None:
    """A. K. Kaw 2006, as above with Yt throughout: 10.94 (recalled).  Ours gives it if the ply is made so."""
    assert CRITERIA["Tsai-Hill"].reserve(KAW, ZERO, ply("T300-5208", Yc=40e6))[0] == pytest.approx(10.94, rel=1e-3)


def test_kaw_maximum_strain() -> None:
    """A. K. Kaw 2006, the same ply by maximum strain, limits = strength/modulus: 16.33, as shear decides (recalled)."""
    m = ply("T300-5208", strain_limits=(1500 / 181e3, 1500 / 181e3, 40 / 10.3e3, 246 / 10.3e3, 68 / 7.17e3))
    assert CRITERIA["maximum strain"].reserve(KAW, ZERO, m).min() == pytest.approx(16.33, rel=1e-3)


def test_kaw_first_ply_failure() -> None:
    """A. K. Kaw 2006, [0/90/0], 5 mm plies, T300/5208, Tsai–Wu: Nx = 7.277e6 N/m (recalled)."""
    lam = Laminate(parse_stack("[0/90/0]", library(), "T300-5208", 5e-3))
    strain = np.linalg.solve(lam.ABD, [1.0, 0, 0, 0, 0, 0])
    reserve = CRITERIA["Tsai-Wu"].reserve(lam.ply_stresses(strain), ZERO, ply("T300-5208"))
    assert reserve.min() == pytest.approx(7.277e6, rel=1e-3)
    assert np.unravel_index(reserve.argmin(), reserve.shape)[0] == 1, "in the 90° ply"


def test_strengths_are_reached_at_the_strengths() -> None:
    """By definition: each pure stress at its strength has RF 1 in its own mode (fails if a strength is swapped)."""
    for name, criterion in CRITERIA.items():
        m = ply_for(name)
        if "strain" in name:
            m = replace(m, strain_limits=(m.Xt / m.E1, m.Xc / m.E1, m.Yt / m.E2, m.Yc / m.E2, m.S / m.G12))
        pure = np.array([[m.Xt, 0, 0], [-m.Xc, 0, 0], [0, m.Yt, 0], [0, -m.Yc, 0], [0, 0, m.S], [0, 0, -m.S]])
        least = criterion.reserve(pure, ZERO, m).min(-1)
        expected = np.ones(6)
        if "strain" in name:  # contraction may reach the limit across it first
            least = np.array([criterion.reserve(p, ZERO, m)[k] for p, k in zip(pure, (0, 1, 2, 3, 4, 4), strict=True)])
        assert least == pytest.approx(expected, rel=1e-12), name


def test_hashin_with_a_stated_transverse_shear_strength() -> None:
    m = ply("AS4-3501-6", S23=60e6)
    assert CRITERIA["Hashin"].reserve(np.array([0, -m.Yc, 0]), ZERO, m)[3] == pytest.approx(1.0, rel=1e-12)
    for s in ((1e7, -9e7, 4e7), (1e7, -1.5e8, -2e7)):
        theirs = searched(lambda t: hashin(m, t)[3], s, (0, 0, 0))
        assert CRITERIA["Hashin"].reserve(np.array(s), ZERO, m)[3] == pytest.approx(theirs, rel=1e-9)


def exposure(m: PlyMaterial, s: Stress, degrees: float, p_t: float = 0.35, p_c: float = 0.30) -> float:
    """Puck's exposure of the plane turned by an angle about the fibre, from its tractions; both slopes over their
    resistance alike (Puck, Kopp & Knops 2002, recalled)."""
    RA = m.S / (2 * p_c) * (math.sqrt(1 + 2 * p_c * m.Yc / m.S) - 1)
    c, sn = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    normal, across, along = s[1] * c * c, -s[1] * sn * c, s[2] * c
    shear = (across / RA) ** 2 + (along / m.S) ** 2
    if normal >= 0:
        return math.sqrt(((1 / m.Yt - p_t / m.S) * normal) ** 2 + shear) + p_t / m.S * normal
    return math.sqrt(shear + (p_c / m.S * normal) ** 2) + p_c / m.S * normal


def test_puck_modes_are_the_worst_action_plane() -> None:
    """Independent: the greatest exposure over all planes, by scanning the angle, gives the reserve of modes A, B and C;
    the plane stands upright in A and B, and oblique in C, at Puck's angle for it."""
    m = ply("AS4-3501-6")
    angles = np.linspace(-90, 90, 3601)
    seen = set()
    for direction in np.linspace(0.02, math.pi - 0.02, 41):
        s = (0.0, 90e6 * math.cos(direction), 60e6 * math.sin(direction))
        values = [exposure(m, s, float(d)) for d in angles]
        worst = int(np.argmax(values))
        ours = CRITERIA["Puck"].reserve(np.array(s), ZERO, m)
        assert ours[2:].min() == pytest.approx(1 / values[worst], rel=1e-6)
        mode = int(np.argmin(ours))
        seen.add(mode)
        if mode == 4:  # cos² of the angle = RA/−s22 at failure (Puck & Schürmann 1998, recalled)
            RA = m.S / 0.6 * (math.sqrt(1 + 0.6 * m.Yc / m.S) - 1)
            tilt = math.degrees(math.acos(math.sqrt(RA / -(ours[4] * s[1]))))
            assert abs(angles[worst]) == pytest.approx(tilt, abs=0.2)
        else:
            assert angles[worst] == pytest.approx(0, abs=0.1)
    assert seen == {2, 3, 4}


def test_puck_passes_the_sectors_without_gap_or_false_start() -> None:
    """On the line between B and C one of them is reached; a load that turns tension into compression through zero
    reaches C at Yc, not at zero; a tough matrix (Yt > S/0.7) keeps Yt."""
    m, criterion = ply("AS4-3501-6"), CRITERIA["Puck"]
    for p in (0.30, 0.25):
        k = Puck(compression=p).slopes(m)
        for f in (0.1, 1.0, 3.7):
            corner = f * np.array([0.0, -k.RA, k.corner])
            assert Puck(compression=p).reserve(corner, ZERO, m).min() == pytest.approx(1 / f, rel=1e-9)
    r = criterion.reserve(np.array([[0, -20e6, 0], [0, -20e6, 0]]), np.array([[0, 40e6, 0], [0, 0, 0]]), m)
    assert r[0, 2:] == pytest.approx([INF, INF, 12.0])
    assert r[1, 2:] == pytest.approx([INF, INF, 10.0])
    tough = ply("AS4-3501-6", Yt=130e6)
    assert criterion.reserve(np.array([0, 65e6, 0]), ZERO, tough)[2] == pytest.approx(2.0)
    assert criterion.index(np.array([0, 65e6, 0]), tough)[2] == pytest.approx(0.5)
    with pytest.raises(InputError, match="slopes"):
        Puck(tension=0.0)


@pytest.mark.parametrize("Yt", [20e6, 48e6, 100e6, 150e6])
def test_what_puck_leaves_whole_is_convex(Yt: float) -> None:
    """Between two stresses on the curve nothing is reached: the plies are looked at on their faces only."""
    m, rng = ply("AS4-3501-6", Yt=Yt), np.random.default_rng(8)
    ends = rng.normal(size=(2, 3000, 3)) * np.array([m.Xt, m.Yc, m.S])
    ends[1, ::2] = ends[0, ::2] * [1, 0.97, 1.03]  # also near to each other, on either side of a corner
    ends *= CRITERIA["Puck"].reserve(ends, ZERO, m).min(-1)[..., None]
    assert (CRITERIA["Puck"].index(ends.mean(0), m) <= 1 + 1e-9).all()


def test_hoffman_between_equal_strengths_is_tsai_hill() -> None:
    """Exact: with Xt = Xc and Yt = Yc both are the same sum.  And with s11 s22 = 0 it is Tsai-Wu, whatever F12."""
    m = ply("AS4-3501-6", Xc=1950e6, Yc=48e6)
    s = np.random.default_rng(3).normal(size=(30, 3)) * np.array([m.Xt, m.Yt, m.S])
    assert CRITERIA["Hoffman"].reserve(s, ZERO, m) == pytest.approx(CRITERIA["Tsai-Hill"].reserve(s, ZERO, m))
    m, s[:, 0] = ply("AS4-3501-6"), 0.0
    assert CRITERIA["Hoffman"].reserve(s, ZERO, m) == pytest.approx(CRITERIA["Tsai-Wu"].reserve(s, ZERO, m))


# properties --------------------------------------------------------------------------------------------------------

SHARE = st.floats(-2.0, 2.0, allow_subnormal=False)
POINT = st.tuples(SHARE, SHARE, SHARE)


@settings(deadline=None, max_examples=60)
@given(st.sampled_from(sorted(CRITERIA)), POINT, POINT, st.floats(0.2, 1.5))
def test_scaling_to_the_reserve_makes_the_index_one(name: str, a: Stress, r: Stress, strength: float) -> None:
    """With the residual held: index(residual + RF·applied) = 1, and below 1 a little before."""
    m, criterion = ply_for(name), CRITERIA[name]
    size = np.array([m.Xt, m.Yc, m.S])
    applied, residual = np.array(a) * size, 0.3 * np.array(r) * size
    reserve = criterion.reserve(applied, residual, m, strength)
    for mode, factor in enumerate(reserve):
        if math.isnan(factor):
            assert criterion.index(residual, m, strength)[mode] >= 1 - 1e-9
        elif factor < 1e6:
            before = criterion.index(residual + factor * (1 - 1e-6) * applied, m, strength)[mode]
            # where a sign changes and the mode starts beyond 1, it is reached at a step
            after = criterion.index(residual + factor * (1 + 1e-6) * applied, m, strength)[mode]
            assert before <= 1 + 1e-9
            assert after >= 1 - 1e-5


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(sorted(CRITERIA)), POINT, POINT, st.floats(0.1, 10.0))
def test_units_of_load_and_of_strength(name: str, a: Stress, r: Stress, k: float) -> None:
    """k times the load has RF/k with the residual held; k times all strengths, applied and residual changes nothing."""
    m, criterion = ply_for(name), CRITERIA[name]
    size = np.array([m.Xt, m.Yc, m.S])
    applied, residual = np.array(a) * size, 0.2 * np.array(r) * size
    base = criterion.reserve(applied, residual, m)
    assert criterion.reserve(k * applied, residual, m) * k == pytest.approx(base, rel=1e-6, nan_ok=True)
    assert criterion.reserve(k * applied, k * residual, m, k) == pytest.approx(base, rel=1e-6, nan_ok=True)


def test_the_residual_is_held() -> None:
    """Matrix tension at 40 of 48 MPa by cure: 8 are left, so RF = 4 on 2 MPa; without holding it, RF would be 1.14."""
    m = ply("AS4-3501-6")
    r = CRITERIA["maximum stress"].reserve(np.array([0, 2e6, 0]), np.array([0, 40e6, 0]), m)
    assert r[2] == pytest.approx(4.0, rel=1e-12)


def test_a_load_that_first_unloads() -> None:
    """Residual tension 40 MPa, applied −20 MPa: tension is never reached, compression at (200 + 40)/20 = 12."""
    m, a, r = ply("AS4-3501-6"), np.array([0, -20e6, 0]), np.array([0, 40e6, 0])
    for name in ("maximum stress", "Hashin"):
        reserve = CRITERIA[name].reserve(a, r, m)
        assert reserve[2] == INF
        assert reserve[3] == pytest.approx(12.0, rel=1e-12)
    assert CRITERIA["Tsai-Hill"].reserve(a, r, m)[0] == pytest.approx(12.0, rel=1e-12)


def test_a_mode_that_starts_past_its_limit() -> None:
    """Shear held beyond S while the fibre is compressed: fibre tension is reached as soon as the fibre is pulled."""
    m = ply("AS4-3501-6")
    reserve = CRITERIA["Hashin"].reserve(np.array([50e6, 0, 0]), np.array([-100e6, -1e6, 1.2 * m.S]), m)
    assert reserve[0] == pytest.approx(2.0, rel=1e-12)
    assert math.isnan(reserve[3]), "matrix compression is reached at zero load"


def test_reached_at_zero_load_is_nan_and_nothing_applied_is_inf() -> None:
    for name, criterion in CRITERIA.items():
        m = ply_for(name)
        assert np.isinf(criterion.reserve(ZERO, ZERO, m)).all(), name
        beyond = np.array([0.0, 0.0, 1.01 * m.S * 2])
        assert np.isnan(criterion.reserve(np.array([1e6, 0, 0]), beyond, m)).any(), name
        assert np.isnan(criterion.reserve(ZERO, beyond, m)).any(), name


@pytest.mark.parametrize("name", CRITERIA)
def test_shapes_blocks_and_no_warnings(name: str) -> None:
    """One big call equals many small ones, with broadcasting, strengths per point, nan, and not one warning."""
    m, criterion = ply_for(name), CRITERIA[name]
    rng = np.random.default_rng(5)
    applied = rng.normal(size=(5000, 2, 3)) * np.array([m.Xt, m.Yt, m.S])
    applied[7, 0] = NAN
    applied[8:12] = 0.0
    residual = 0.2 * rng.normal(size=(2, 3)) * np.array([m.Xt, m.Yt, m.S])
    strength = rng.uniform(0.5, 1.0, size=(5000, 1))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        together = criterion.reserve(applied, residual, m, strength)
    assert together.shape == (5000, 2, len(criterion.modes))
    assert np.isnan(together[7, 0]).all()
    for i in (0, 8, 4097, 4999):
        for j in (0, 1):
            alone = criterion.reserve(applied[i, j], residual[j], m, float(strength[i, 0]))
            assert together[i, j] == pytest.approx(alone, rel=1e-12, nan_ok=True)


def test_no_residual_takes_the_same_value_as_a_tiny_one() -> None:
    """The way without residual and the general way agree."""
    rng = np.random.default_rng(6)
    for name, criterion in CRITERIA.items():
        m = ply_for(name)
        applied = rng.normal(size=(200, 3)) * np.array([m.Xt, m.Yt, m.S])
        plain = criterion.reserve(applied, np.zeros((200, 3)), m)
        general = criterion.reserve(applied, np.concatenate([np.zeros((199, 3)), [[1e6, 0, 0]]]), m)
        assert general[:199] == pytest.approx(plain[:199], rel=1e-12), name


# words, grades, refusals -------------------------------------------------------------------------------------------


def test_modes_and_grades() -> None:
    for name, criterion in CRITERIA.items():
        assert criterion.name == name
        assert criterion.source.strip()
        for mode in criterion.modes:
            fibre = mode.name.split()[0] in ("fibre", "warp", "fill") or mode.name == "matrix wedge (mode C)"
            assert mode.grade == ("release" if fibre else "inspection"), (name, mode)
    assert [mode.name for mode in CRITERIA["Tsai-Wu"].modes] == ["first ply failure"]
    assert (deciding("unidirectional"), deciding("fabric")) == ("Hashin", "maximum stress by direction")
    for kind in ("unidirectional", "fabric"):
        assert kind in CRITERIA[deciding(kind)].applies_to
    with pytest.raises(InputError, match="'foam' is unknown"):
        deciding("foam")


@pytest.mark.parametrize("name", CRITERIA)
def test_the_wrong_kind_of_ply_is_refused(name: str) -> None:
    criterion = CRITERIA[name]
    for kind, material in (("unidirectional", "carbon-ud"), ("fabric", "carbon-twill")):
        if kind not in criterion.applies_to:
            with pytest.raises(InputError, match=f"does not apply to {kind} plies.*'{material}'"):
                criterion.reserve(ZERO, ZERO, ply(material))
    assert {"Hashin", "Tsai-Hill", "maximum stress"} <= {n for n, c in CRITERIA.items() if "fabric" not in c.applies_to}


def test_missing_data_and_bad_arguments_are_refused() -> None:
    m = ply("T300-5208")
    assert m.strain_limits is None
    with pytest.raises(InputError, match=r"needs strain_limits.*'T300-5208'"):
        CRITERIA["maximum strain"].reserve(ZERO, ZERO, m)
    with pytest.raises(InputError, match=r"shape \(2,\)"):
        CRITERIA["Hashin"].reserve(np.zeros(2), ZERO, m)
    for bad in (0.0, -1.0, NAN):
        with pytest.raises(InputError, match="share of strength"):
            CRITERIA["Hashin"].reserve(ZERO, ZERO, m, bad)
    with pytest.raises(InputError, match="failure surface open"):
        TsaiWu(interaction=1.0)


def test_the_largest_term_is_named() -> None:
    m = ply("AS4-3501-6")
    for name in ("Tsai-Hill", "Tsai-Wu"):
        assert CRITERIA[name].largest_term(np.array([0, 40e6, 10e6]), m) == "stress along 2, tension"
        assert CRITERIA[name].largest_term(np.array([-1400e6, 0, 0]), m) == "stress along 1, compression"
        assert CRITERIA[name].largest_term(np.array([10e6, 0, 70e6]), m) == "in-plane shear"
        total = sum(CRITERIA[name].terms(np.array([1e8, 2e7, 3e7]), m).values())
        assert total == pytest.approx(CRITERIA[name].index(np.array([1e8, 2e7, 3e7]), m)[0], rel=1e-12)


def test_other_interactions_and_own_instances() -> None:
    """F12 is stated, so it may be stated otherwise: with 0, Kaw's ply by hand."""
    m, s = ply("T300-5208"), (1.714e6, -2.714e6, -4.165e6)
    theirs = searched(
        lambda t: tsai_wu(m, t)[0] + math.sqrt(1 / (m.Xt * m.Xc * m.Yt * m.Yc)) * t[0] * t[1], s, (0, 0, 0)
    )
    assert TsaiWu(interaction=0.0).reserve(np.array(s), ZERO, m)[0] == pytest.approx(theirs, rel=1e-9)
    assert Hashin() == CRITERIA["Hashin"]
