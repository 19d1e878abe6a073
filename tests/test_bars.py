"""The bars of a load case's numbers: from two made-up results, and from real ones against a much finer solution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panelfem.accuracy.bars import FLOOR
from panelfem.disposition import Consequence, Outcome, judge_load
from panelfem.reserve.bars import BLIND, aims, averaged_doubt, barred, rescaled
from panelfem.reserve.records import Deflection, FixingLoad, LoadResult, ModeReserve, PlyRow, TheoryCheck

HERE = np.zeros(3)


def mode(name: str, factor: float, **more: object) -> ModeReserve:
    return replace(ModeReserve(name, "maximum stress", "release", factor, place=HERE), **more)


def result(scale: float, *modes: ModeReserve) -> LoadResult:
    """A result whose numbers are all `scale` times those of scale 1."""
    ply = PlyRow(1, "carbon", 0.0, "top", 1e-3, scale * np.array([1e-3, 0, 0]), scale * np.ones(3), np.zeros(3))
    return LoadResult(
        "push", "air load", "pressure", 1e3, Deflection(1e-3 * scale, HERE, "", np.array([0, 0, 1.0])),
        modes[0], modes[0], modes, TheoryCheck(0, 0, 0),
        fixings=(FixingLoad("F1", 10 * scale, 100 * scale, None, None), FixingLoad("F2", 0.1, 0.2, None, None)),
        plies=(ply,),
    )  # fmt: skip


def test_numbers_are_those_of_the_higher_order_and_bars_their_step() -> None:
    low, high = result(0.98, mode("a", 2.1), mode("b", 3.0)), result(1.0, mode("a", 2.0), mode("b", 3.0))
    found = barred(low, high, low.plies, lambda m: 0.0)
    assert (found.release.factor, found.first_ply.factor) == (2.0, 2.0)
    assert found.release.bar == pytest.approx(0.1) == found.first_ply.bar
    assert found.modes[1].bar == pytest.approx(3.0 * FLOOR)
    assert found.deflection.bar == pytest.approx(2e-5)
    assert found.fixings[0].bar == pytest.approx((0.2, 2.0))
    assert found.plies[0].strain_bar[0] == pytest.approx(2e-5)


def test_doubt_and_layer_widen_a_bar() -> None:
    low = high = result(1.0, mode("a", 2.0))
    plain = barred(low, high, low.plies, lambda m: 0.0)
    doubted = barred(low, high, low.plies, lambda m: 0.05)
    layered = barred(low, high, low.plies, lambda m: 0.0, layer=0.01)
    assert plain.release.bar < layered.release.bar < doubted.release.bar
    assert layered.deflection.bar == pytest.approx(0.01 * 1e-3)
    assert doubted.plies[0].strain_bar[0] > plain.plies[0].strain_bar[0]


def test_a_mode_the_lower_order_reached_at_zero_load_is_all_doubt() -> None:
    low = result(1.0, mode("a", np.nan, status="zero load"))
    assert barred(low, result(1.0, mode("a", 2.0)), low.plies, lambda m: 0.0).release.bar == 2.0


def test_a_mode_the_lower_order_does_not_know_is_all_doubt() -> None:
    low = result(1.0, mode("b", 3.0))
    assert barred(low, result(1.0, mode("a", 2.0)), low.plies, lambda m: 0.0).release.bar == 2.0


def test_bounds_have_no_bar() -> None:
    far = mode("a", 5.0, status="beyond search")
    found = barred(result(1.0, far), result(1.0, far), result(1.0, far).plies, lambda m: 0.0)
    assert np.isnan(found.release.bar)
    assert [aim.what for aim in aims(found)] == ["deflection", "load of F1"]


def test_aims_are_shares_and_small_fixing_loads_are_measured_on_the_greatest() -> None:
    low, high = result(0.98, mode("a", 2.1)), result(1.0, mode("a", 2.0))
    high = replace(high, fixings=(high.fixings[0], replace(high.fixings[1], pull=0.4)))
    found = {aim.what: aim.share for aim in aims(barred(low, high, low.plies, lambda m: 0.0))}
    assert found["a"] == pytest.approx(0.05)
    assert found["deflection"] == pytest.approx(0.02)
    assert found["ply strain"] == pytest.approx(0.02)
    assert found["load of F1"] == pytest.approx(0.02)  # that F2 doubled is 0.2 N of 100 N


def test_an_end_of_a_band_is_moved_by_what_the_order_changes_of_the_same_mode() -> None:
    low, whole = result(1.0, mode("a", 2.0), mode("b", 3.0)), result(1.0, mode("a", 2.2), mode("b", 2.4))
    end = result(1.0, mode("a", 1.0), mode("b", 1.1))
    moved = rescaled(end, low, whole)
    assert {m.mode: m.factor for m in moved.modes} == pytest.approx({"a": 1.1, "b": 0.88})


def test_a_place_that_may_hide_a_lower_reserve_widens_the_governing_bar_only() -> None:
    low = high = result(1.0, mode("a", 2.0), mode("b", 3.0))
    hidden = mode("ply failure", 1.2, where="at the corner")
    found = barred(low, high, low.plies, lambda m: 0.0, hidden=hidden)
    assert found.release.bar == pytest.approx(0.8) == found.modes[0].bar
    assert found.modes[1].bar == pytest.approx(3.0 * FLOOR)
    assert found.doubtful is hidden
    assert found.notes == ("the elements at the corner are too coarse to rule out a factor of 1.2 there",)
    assert next(a for a in aims(found) if a.what == "a").mode is hidden
    assert judge_load(found, Consequence("cosmetic", 1.5, "a test")).outcome is Outcome.CANNOT_TELL
    harmless = barred(low, high, low.plies, lambda m: 0.0, hidden=mode("ply failure", 2.5))
    assert harmless.doubtful is None
    assert harmless.notes == ()
    assert harmless.release.bar == pytest.approx(2.0 * FLOOR)


def test_a_bound_is_none_where_a_place_may_hide_a_lower_reserve() -> None:
    far = mode("a", 5.0, status="beyond search")
    low = high = result(1.0, far)
    found = barred(low, high, low.plies, lambda m: 0.0, hidden=mode("ply failure", 0.0, where="at the corner"))
    assert found.release.bar == 5.0
    assert "what may govern" in [a.what for a in aims(found)]
    assert judge_load(found, Consequence("cosmetic", 1.5, "a test")).outcome is Outcome.CANNOT_TELL


def test_a_place_that_cannot_govern_within_the_search_changes_nothing() -> None:
    far = mode("a", 5.0, status="beyond search")
    low = high = result(1.0, far)
    found = barred(low, high, low.plies, lambda m: 0.0, hidden=mode("ply failure", 40.0))
    assert np.isnan(found.release.bar)
    assert found.doubtful is None
    assert all(aim.share >= 0.0 for aim in aims(found))


def test_averages_on_long_elements_say_little_and_on_very_long_ones_nothing() -> None:
    sizes = np.linspace(0.05, 12.0, 200)
    strong, weak = (averaged_doubt(sizes, np.full(200, flag)) for flag in (False, True))
    assert (np.diff(strong[np.isfinite(strong)]) >= 0).all()
    assert (np.diff(weak) >= 0).all()
    assert (weak <= strong).all()
    assert np.isinf(strong[sizes > BLIND]).all()


def test_the_step_of_a_bond_is_that_at_its_places() -> None:
    """The greatest of two orders may agree while the places of either do not: the step there counts."""
    low = high = result(1.0, mode("bond peel", 2.0))
    assert barred(low, high, low.plies, lambda m: 0.0).release.bar < 0.01
    found = barred(low, high, low.plies, lambda m: 0.0, steps=[{"bond shear": 0.3, "bond peel": 0.25}])
    assert found.release.bar == pytest.approx(0.25 * 2.0)
