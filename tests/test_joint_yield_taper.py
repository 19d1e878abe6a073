"""Bonds that yield, scarfs and steps: closed forms, another solver, equilibrium, what must hold, what is refused."""

import math

import numpy as np
import pytest

from panelfem.errors import InputError, ModelError
from panelfem.joint import (
    Bond,
    Ductile,
    Strip,
    greatest_load,
    overlap_advice,
    patch_edge,
    scarf,
    scarf_advice,
    solve,
    solve_plastic,
    step_advice,
    stepped,
    tapered,
)
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.verify.joints import tapering, yielding

GLUE = Ductile(2e-4, 40e6, 0.2)
SPRINGS = Bond(5e12, 1.5e13)
PLANE = 70e9 / 0.91
PAIR = [Strip(PLANE * 2e-3, 0.0, PLANE * 2e-3**3 / 12, math.inf, side * 1e-3) for side in (1, -1)]


@pytest.mark.parametrize("row", [*yielding(), *tapering()], ids=lambda r: f"{r.name}, {r.quantity}")
def test_against_closed_forms(row):
    """Hart-Smith's greatest loads, uniform and unbalanced scarf, Volkersen, scipy's collocation."""
    assert row.ours == pytest.approx(row.reference, rel=5e-3)


def test_below_yield_it_is_the_elastic_overlap():
    start = np.array([1e5, 1e3, 20.0, 0, 0, 0])
    elastic = solve(*PAIR, SPRINGS, 0.02, start, "cut 1")
    found = solve_plastic(*PAIR, SPRINGS, Ductile(2e-4, 1e9, 1.0), 0.02, start, "cut 1")
    assert found.shear[[0, -1]] == pytest.approx(elastic.shear[[0, -1], 0], rel=1e-8)
    assert found.peel.max() == pytest.approx(elastic.peel.max(), rel=1e-6)


def test_yielding_caps_the_shear_keeps_balance_and_spreads_the_peel():
    start = np.array([4e5, 0.0, 0.0, 0, 0, 0])
    elastic = solve(*PAIR, SPRINGS, 0.03, start, "cut 1")
    found = solve_plastic(*PAIR, SPRINGS, GLUE, 0.03, start, "cut 1")
    assert np.abs(elastic.shear).max() > 1.2 * GLUE.yields
    assert np.abs(found.shear).max() == pytest.approx(GLUE.yields)
    carried = float(((found.shear[1:] + found.shear[:-1]) / 2 * np.diff(found.s)).sum())
    assert carried == pytest.approx(4e5, rel=2e-3)
    assert np.abs(found.strain).max() > GLUE.yields / SPRINGS.shear / GLUE.thickness


def test_a_fully_yielded_lap_carries_its_area():
    pair = [Strip(1e8, 0.0, 1e3, math.inf, 0.0)] * 2
    pull = np.array([1.0, 0, 0, 0, 0, 0])
    assert greatest_load(*pair, SPRINGS, GLUE, 4e-3, pull, "cut 1") == pytest.approx(40e6 * 4e-3, rel=1e-3)
    with pytest.raises(ModelError, match="yields all along"):
        solve_plastic(*pair, SPRINGS, GLUE, 4e-3, 1.1 * 40e6 * 4e-3 * pull, "cut 1")
    brittle = Ductile(2e-4, 40e6, 0.01)
    elastic = solve(*pair, SPRINGS, 4e-3, pull, "cut 1")
    load = greatest_load(*pair, SPRINGS, brittle, 4e-3, pull, "cut 1")
    assert load * elastic.shear.max() == pytest.approx(0.01 * 1e9, rel=1e-6)


def test_a_thicker_patch_raises_the_peak_shear():
    """Fixed remote load, long overlap, elastic shear lag: τ at the edge is λ P A2/(A1 + A2), λ² = k (1/A1 + 1/A2), so
    it goes as √(A2/(A1 (A1 + A2))): up with A2 (Volkersen's closed form).  With bending, through the patch function."""
    parent = Strip(1e8, 0.0, 1e3, math.inf, 0.0)
    pull = np.array([1e5, 0, 0, 0, 0, 0])
    peaks = []
    for plies in (1, 2, 4, 8, 16):
        a = 1e7 * plies
        shear = solve(parent, Strip(a, 0.0, 1e3, math.inf, 0.0), SPRINGS, 0.1, pull).shear[0, 0]
        assert shear == pytest.approx(1e5 * math.sqrt(5e12 * a / (1e8 * (1e8 + a))), rel=1e-3)
        peaks.append(shear)
    assert (np.diff(peaks) > 0).all()
    book = library()
    laminate = Laminate(parse_stack("[0/45/-45/90]s", book, "T300-5208"))
    real = [
        patch_edge(
            laminate, Laminate(parse_stack(f"[0]{n}", book, "T300-5208")), book["paste-epoxy"], 2e-4, 0.08,
            np.array([1e5]), np.zeros(1), np.zeros(1),
        )[0][0]
        for n in (1, 2, 4, 8)
    ]  # fmt: skip
    assert (np.diff(real) > 0).all()


@pytest.mark.parametrize("joint", ["scarf", "stepped"])
def test_what_a_taper_carries_is_the_load_and_peaks_at_stiff_ends(joint):
    plies = [3e7, 3e6, 3e6, 3e7]
    if joint == "scarf":
        found, ends = scarf(plies, plies, [2e-4] * 4, 30.0, SPRINGS, 1e5), [0.0, 6e-3, 18e-3, 24e-3]
    else:
        found, ends = stepped(plies, plies, 6e-3, SPRINGS, 1e5), [0.0, 6e-3, 18e-3, 24e-3]
    carried = float(((found.shear[1:] + found.shear[:-1]) / 2 * np.diff(found.s)).sum())
    assert carried == pytest.approx(1e5, rel=1e-3)
    # the 0° plies are the outer two: on the 90° ones between them the shear is less
    mean = 1e5 / found.s[-1]
    at = found.s[np.argmax(np.abs(found.shear))]
    assert found.peak > 1.2 * mean
    assert min(abs(at - e) for e in ends) < 6.1e-3
    assert np.abs(found.shear[(found.s > 11e-3) & (found.s < 13e-3)]).max() < mean


def test_turned_round_it_is_the_same_joint():
    parent, patch, thick = [3e7, 3e6, 1e7], [2e7, 1e7, 4e6], [2e-4, 1e-4, 2e-4]
    one = scarf(parent, patch, thick, 25.0, SPRINGS)
    other = scarf(patch[::-1], parent[::-1], thick[::-1], 25.0, SPRINGS)
    assert one.peak == pytest.approx(other.peak, rel=1e-6)


def test_a_flatter_scarf_and_a_yielding_bond_lower_the_peak():
    plies, thick = [3e7, 3e6, 3e6, 3e7], [2e-4] * 4
    peaks = [scarf(plies, plies, thick, n, SPRINGS).peak for n in (10.0, 20.0, 40.0)]
    assert peaks[0] > peaks[1] > peaks[2]
    elastic = scarf(plies, plies, thick, 20.0, SPRINGS, 1e5)
    soft = Ductile(2e-4, 0.9 * elastic.peak, 1.0)
    found = scarf(plies, plies, thick, 20.0, SPRINGS, 1e5, adhesive=soft)
    assert found.peak == pytest.approx(soft.yields)
    with pytest.raises(ModelError, match="yields all along"):
        scarf(plies, plies, thick, 20.0, SPRINGS, 1e5, adhesive=Ductile(2e-4, 1e5 / 0.017, 1.0))


def test_the_rules_of_the_trade_name_their_source():
    assert "CMH-17" in scarf_advice(10.0)[0]
    assert "flatter" in scarf_advice(80.0)[0]
    assert not scarf_advice(20.0)
    assert not step_advice(12.7e-3)
    assert "no source" in step_advice(6e-3)[0]
    assert "Hart-Smith" in overlap_advice(5e-3, 300.0)[0]
    assert not overlap_advice(20e-3, 300.0)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Ductile(2e-4, 0.0, 0.1), "yields is 0.0"),
        (lambda: scarf([1e7], [1e7], [2e-4], 0.0, SPRINGS), "slope is 1:0"),
        (lambda: scarf([1e7, 1e7], [1e7], [2e-4], 20.0, SPRINGS), "differ in plies"),
        (lambda: stepped([1e7], [-1e7], 6e-3, SPRINGS), "without stiffness"),
        (lambda: stepped([1e7], [1e7], 0.0, SPRINGS), "step is 0 m"),
        (lambda: tapered([1e7], [1e7], [0.0], SPRINGS), "without length"),
    ],
)
def test_what_cannot_be_is_refused(make, message):
    with pytest.raises(InputError, match=message):
        make()
