"""The problems the bars are tried on: they are many, their answers independent, and ours converge to them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest

from panelfem.errors import ModelError
from panelfem.reference import navier
from panelfem.reference.circular import CircularPlate, ClampedEllipse
from panelfem.reference.hole import concentration
from panelfem.reference.kirchhoff import ThinPlate
from panelfem.reference.navier import Navier
from panelfem.reference.on_springs import PlateOnFixings
from panelfem.reference.ritz import SUPPORTED, RitzShell, flat
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.reference.strip import ProppedStrip
from panelfem.verify import coverage
from panelfem.verify.coverage import Pair, Trial, judged, trials
from panelfem.verify.row import Row
from panelfem.verify.statistics import Statistics

#: few seconds each; the whole list is what `panelfem verify --full` is for
SAMPLE = (
    "thin square plate, h/a = 0.001, uniform pressure, regular mesh",
    "plate 2:1, h/a = 0.01, uniform pressure, distorted mesh",
    "[0/90] of modulus ratio 25, h/a = 0.01, uniform pressure, distorted mesh",
    "sandwich, core 10 mm, uniform pressure, regular mesh",
    "clamped square plate, h/a = 0.01, unstructured mesh",
    "clamped circular plate, h/R = 0.02, uniform pressure, unstructured mesh",
    "clamped circular plate, h/R = 0.01, pressure on a central disc, unstructured mesh",
    "clamped ellipse 3:2, [30]4, uniform pressure, unstructured mesh, thin limit",
    "Scordelis-Lo roof, regular mesh",
    "isotropic, circular hole, pulled along x, unstructured mesh",
    "[0/90/0], elliptical hole 2:1 across the pull, cells graded to its tip",
    "propped strip in cylindrical bending, [0/90]2s, distorted mesh",
    "supported [0/90]2s on two springy fixings, regular mesh",
)


@cache
def everything() -> Mapping[str, Trial]:
    return {trial.name: trial for trial in trials()}


@cache
def exact(name: str) -> Mapping[str, float]:
    return everything()[name].reference()


def test_there_are_many_pairs_and_each_has_a_unit() -> None:
    assert len(everything()) == len(trials())  # names are unique
    count = 0
    for name in SAMPLE:
        for quantity in exact(name):
            assert len(quantity.rsplit(", ", 1)) == 2, quantity
            count += 1
    assert count >= 30
    assert len(trials()) >= 40
    for trial in trials():
        assert trial.source
        assert trial.reference_how
        assert trial.order in (2, 3)
        assert 0 < trial.reference_error <= 1e-3


def test_sixty_pairs_in_all() -> None:
    """Counted from the cheap references; every other trial has one pair at least."""
    cheap = [t for t in trials() if "Ritz" not in t.reference_how and "fixing" not in t.name]
    assert sum(len(t.reference()) for t in cheap) + len(trials()) - len(cheap) >= 60


@pytest.mark.parametrize("name", SAMPLE)
def test_ours_converges_with_order(name: str) -> None:
    trial, right = everything()[name], exact(name)
    low, high = trial.solve(2).numbers, trial.solve(5).numbers
    assert set(low) == set(high) == set(right)
    before = max(abs(low[q] / right[q] - 1) for q in right)
    after = max(abs(high[q] / right[q] - 1) for q in right)
    assert after < max(0.2 * before, 2e-5)
    assert after < 5e-3


def test_a_pair_can_miss_and_its_reference_error_counts_openly() -> None:
    trial = everything()[SAMPLE[1]]
    pair = next(iter(judged(trial)))
    assert pair.covered == (abs(pair.ours.value - pair.reference) <= pair.ours.bar + 1e-5 * abs(pair.reference))
    wrong = Pair(trial, pair.quantity, 1.1 * pair.reference, pair.ours)
    assert not wrong.covered
    assert wrong.error == pytest.approx(-1 / 11, abs=1e-3)


def test_tiers() -> None:
    quick, full = coverage.chosen(False), coverage.chosen(True)
    assert quick[0].name == full[0].name
    assert 3 * len(quick) >= len(trials()) > 2 * len(quick)
    assert len(full) == len(trials()) + sum(t.order == 2 for t in trials())
    assert len({t.name for t in full}) == len(full)


def test_no_name_is_bound_late() -> None:
    """A trial made alone and a trial made with all others give the same answer."""
    from panelfem.verify.trials_shells import roofs

    alone = next(roofs())
    assert alone.reference() == exact(alone.name)


# ----------------------------------------------------------------------------------------------- the references
def test_navier_and_ritz_agree() -> None:
    lam = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(0, 0.005), (90, 0.005), (90, 0.005), (0, 0.005)])
    load = navier.patch(1.0, (0.2, 0.1), (0.4, 0.2), 0.4, 0.2)  # the whole plate, by the series of a patch
    series = Navier(lam, 0.4, 0.2, load)
    ritz = RitzShell(flat(0.4, 0.2), lam, (1, 0, 0), 18, SUPPORTED, active=("z", "b1", "b2"))
    v = ritz.solve(ritz.traction(lambda x, n: n))
    x, y = np.array([0.2, 0.1]), np.array([0.1, 0.06])
    for k in range(2):
        w = ritz.displacement(v, x[k] / 0.4, y[k] / 0.2)[2]
        assert series.deflection(x, y)[k] == pytest.approx(w, rel=1e-5)
    strain = ritz.strains(v, x / 0.4, y / 0.2)
    assert series.strains(x, y)[:, 3:5] == pytest.approx(strain[:, 3:5], rel=1e-4)


def test_circular_plate_meets_its_equation_and_edge() -> None:
    D, S, nu = 3.0, 50.0, 0.3
    plate = CircularPlate(0.7, D, nu, S, "supported", 11.0, 0.3)
    h = 1e-4
    for r in (0.1, 0.29, 0.31, 0.6):
        rate = (plate.turn(r + h)[1] - plate.turn(r - h)[1]) / (2 * h)
        psi, slope = plate.turn(r)
        shear = 11.0 * min(r, 0.3) ** 2 / (2 * r)
        assert D * (rate + slope / r - psi / r**2) == pytest.approx(shear, rel=1e-5)
        steep = (plate.deflection(r + h) - plate.deflection(r - h)) / (2 * h)
        assert steep == pytest.approx(psi - shear / S, rel=1e-5)
    psi, slope = plate.turn(0.7)
    assert slope + nu * psi / 0.7 == pytest.approx(0, abs=1e-12)
    assert plate.deflection(0.7) == pytest.approx(0, abs=1e-15)
    assert CircularPlate(0.7, D, nu, S, "clamped", 11.0, 0.3).turn(0.7)[0] == pytest.approx(0, abs=1e-12)
    with pytest.raises(ModelError, match="not on the plate"):
        CircularPlate(0.7, D, nu, S, "clamped", 11.0, 0.8)


def test_circular_plate_under_a_point_force() -> None:
    """Source: Timoshenko & Woinowsky-Krieger, art. 19: P a²/16πD, clamped, thin (recalled); a small disc for it."""
    c = 1e-3
    plate = CircularPlate(1.0, 1.0, 0.3, np.inf, "clamped", 1 / (np.pi * c**2), c)
    assert plate.deflection(0.0) == pytest.approx(1 / (16 * np.pi), rel=1e-4)


def test_ellipse_meets_its_differential_equation() -> None:
    D = np.array([[3.0, 0.4, 0.7], [0.4, 1.0, 0.2], [0.7, 0.2, 0.6]])
    plate = ClampedEllipse(D, 0.5, 0.3, 2.0)
    h = 2e-3

    def moment(x: float, y: float) -> np.ndarray:
        return D @ plate.strains(x, y)[3:6]

    def second(i: int, dx: float, dy: float) -> float:
        return float((moment(0.1 + dx, 0.05 + dy) - 2 * moment(0.1, 0.05) + moment(0.1 - dx, 0.05 - dy))[i] / h**2)

    corners = ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
    mixed = sum(s * moment(0.1 + s1 * h, 0.05 + s2 * h)[2] for s1, s2, s in corners)
    assert second(0, h, 0) + second(1, 0, h) + 2 * mixed / (4 * h**2) == pytest.approx(-2.0, rel=1e-6)
    assert plate.deflection(0.5, 0.0) == 0.0


def test_thin_clamped_references_agree() -> None:
    """Clamped square plate by two programs of ours that share nothing: Kirchhoff's Ritz, and first-order Ritz, whose
    shear at h/a = 0.001 adds 2e-5."""
    C = isotropic(12 * 0.91 / 1e-9, 0.3, 1e-3)
    thin = ThinPlate(C[3:6, 3:6], 1.0, 1.0, ("clamped",) * 4, 1.0)
    held = dict.fromkeys(("xi0", "xi1", "eta0", "eta1"), ("x", "y", "z", "b1", "b2"))
    ritz = RitzShell(flat(1, 1), C, (1, 0, 0), 18, held, active=("z", "b1", "b2"))
    w = ritz.displacement(ritz.solve(ritz.traction(lambda x, n: n)), 0.5, 0.5)[2]
    assert w == pytest.approx(thin.deflection(0.5, 0.5), rel=4e-5)


def test_fixings_by_force_method_against_one_stiff_system() -> None:
    """The series with the fixings as penalty springs, solved wave by wave in one go."""
    bare = Navier(isotropic(70e9, 0.3, 2e-3), 0.5, 0.4, navier.uniform(1e3, 20))
    washers = [((0.15, 0.15), (0.05, 0.05)), ((0.35, 0.25), (0.05, 0.05))]
    k = np.array([4e4, 1e4])
    plate = PlateOnFixings(bare, washers, k, terms=40)
    wave = np.arange(1.0, 41)
    m, n = (w.ravel() for w in np.meshgrid(wave, wave, indexing="ij"))
    alpha, beta = m * np.pi / 0.5, n * np.pi / 0.4
    soft = navier.amplitudes(bare.stiffness, alpha, beta, np.ones(len(m)))[:, 2]
    rows = np.array(
        [
            np.sin(alpha * x) * np.sinc(alpha * a / 2 / np.pi) * np.sin(beta * y) * np.sinc(beta * b / 2 / np.pi)
            for (x, y), (a, b) in washers
        ]
    )
    q = np.where((m % 2 == 1) & (n % 2 == 1), 16e3 / (np.pi**2 * m * n), 0.0)
    # W/soft + (4/ab) Σ rows k rows·W = q
    system = np.diag(1 / soft) + 4 / (0.5 * 0.4) * (rows.T * k) @ rows
    W = np.linalg.solve(system, q)
    assert plate.forces == pytest.approx(k * (rows @ W), rel=1e-8)
    assert PlateOnFixings(bare, washers, np.array([4e4, 0.0]), 40).forces[1] == 0.0


def test_propped_strip_meets_its_ends() -> None:
    strip = ProppedStrip(2.0, 30.0, 0.8, 5.0)
    h = 1e-5
    assert strip.deflection(0.8) == pytest.approx(0, abs=1e-12)
    assert strip.deflection(h) / h == pytest.approx((5.0 * 0.8 - strip.reaction) / 30.0, rel=1e-3)
    bend = -(strip.deflection(0.3 + 1e-3) - 2 * strip.deflection(0.3) + strip.deflection(0.3 - 1e-3)) / 1e-6
    assert bend - 5.0 / 30.0 == pytest.approx(strip.strains(0.3)[3], rel=1e-4)


def test_hole_reference_is_the_closed_form() -> None:
    from panelfem.reference.hole import OpenHole

    A = np.linalg.inv(np.array([[1 / 1.2, -0.071 / 1.2, 0], [-0.071 / 1.2, 1 / 0.6, 0], [0, 0, 1 / 0.07]]))
    hole = OpenHole(A, 1.0, 1.0, (1.0, 0.0, 0.0))
    side = hole.resultants(np.array([0.0]), np.array([1.0]))[0, 0]
    assert side == pytest.approx(concentration(1.2, 0.6, 0.07, 0.071), rel=1e-9)


# ----------------------------------------------------------------------------------------------- statistics
def test_a_bar_that_holds_counts_whatever_kind_of_number_it_is() -> None:
    row = Row("error bars", "p", "w", "s", None, 1.0, "series", np.float64(1.01), "m", 0.1, bar=np.float64(0.02))
    assert row.covered is True
    assert Statistics.of([row]).covered == 1


def bar_row(error: float, bar: float) -> Row:
    return Row("error bars", "p", "w", "s", None, 1.0, "series", 1.0 + error, "m", 0.1, bar=bar)


def test_statistics_judge_cover_and_width() -> None:
    good = [bar_row(0.01, 0.02)] * 39 + [bar_row(0.01, 0.005)]
    found = Statistics.of(good)
    assert (found.count, found.covered, found.noticeable) == (40, 39, 40)
    assert found.passed
    assert found.median == pytest.approx(2.0)
    assert not Statistics.of(good + [bar_row(0.01, 0.005)] * 3).passed  # 39 of 43
    assert not Statistics.of([bar_row(0.01, 0.06)] * 50).passed  # median 6
    assert not Statistics.of([bar_row(0.01, 0.02)] * 40 + [bar_row(0.01, 0.3)] * 6).passed  # 90th percentile 30
    assert Statistics.of([bar_row(1e-4, 0.06)] * 50).passed  # too small an error to compare with
    assert Statistics.of([bar_row(0.01, 0.001)] * 5).passed  # too few to judge
    assert "not judged" in Statistics.of([bar_row(0.01, 0.001)] * 5).lines()[-1]
    assert "FAILS" in Statistics.of([bar_row(0.01, 0.06)] * 50).lines()[-1]
    assert Statistics.of([]).lines() == ()
