"""The rules of the disposition, each against a case made to hit it.  (The rules are this tool's own: see job words in
the README; no outside source exists for them, so each is tested as a statement.)
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelfem.disposition import (
    Assumption,
    Candidate,
    Consequence,
    Findings,
    Outcome,
    judge,
    judge_load,
    lowered,
    recommend,
)
from panelfem.disposition.judge import _ORDER
from panelfem.reserve.records import Deflection, LoadResult, ModeReserve, TheoryCheck

DEBRIS = Consequence("debris", 1.5, "common practice, no source")
HERE = np.zeros(3)


def mode(factor, grade="release", name="fibre compression", criterion="Hashin", status="found", ply=1):
    return ModeReserve(name, criterion, grade, factor, status, HERE, "12 mm from F3", ply, "tape", "top")


def result(release=2.0, first=1.8, name="kerb", kind="kerb strike", reasons=(), extra=()):
    a, b = mode(release), mode(first, "inspection", "matrix tension")
    return LoadResult(
        name,
        kind,
        "interference",
        0.005,
        Deflection(1e-3, HERE, "at F3", HERE),
        b,
        a,
        (a, b, *extra),
        TheoryCheck(0.1, 0.01, 0.1, tuple(reasons)),
    )


def test_meets_when_every_release_mode_stands_the_factor():
    d = judge(Findings("as found", (result(1.6), result(3.0, name="hand"))), DEBRIS)
    assert d.outcome is Outcome.MEETS
    assert d.governing_load == "kerb"
    assert "1.6 times the expected severity; 1.5 is asked for" in d.reason


def test_does_not_meet_below_the_factor():
    d = judge(Findings("as found", (result(1.49), result(3.0, name="hand"))), DEBRIS)
    assert d.outcome is Outcome.DOES_NOT
    assert d.conditions == ()


def test_a_matrix_mode_alone_never_fails_a_panel_but_asks_for_inspection():
    d = judge(Findings("as found", (result(2.0, first=0.8),)), DEBRIS)
    assert d.outcome is Outcome.MEETS_IF
    assert any("matrix cracks" in c for c in d.conditions)
    mild = judge(Findings("as found", (result(2.0, first=1.2),)), DEBRIS)
    assert mild.outcome is Outcome.MEETS
    assert any("matrix cracks" in i for i in mild.inspect)


def test_outside_linear_theory_cannot_be_told_whatever_the_number():
    for factor in (0.5, 5.0):
        load = judge_load(result(factor, reasons=("deflection 0.9 times the thickness, limit 0.3",)), DEBRIS)
        assert load.outcome is Outcome.CANNOT_TELL
        assert "outside linear theory" in load.reason


def test_a_load_that_fails_outranks_one_that_cannot_be_told():
    d = judge(Findings("x", (result(0.5), result(3.0, name="hand", reasons=("rotation",)))), DEBRIS)
    assert d.outcome is Outcome.DOES_NOT


def test_reached_at_zero_load_fails():
    r = result()
    zero = mode(float("nan"), status="zero load")
    d = judge(Findings("x", (replace(r, release=zero, modes=(zero, *r.modes)),)), DEBRIS)
    assert d.outcome is Outcome.DOES_NOT
    assert "before the load is applied" in d.reason


def test_a_prescribed_deflection_test_is_passed_without_a_factor_on_top():
    limit = mode(1.2, name="limit 'load test'", criterion="deflection limit", ply=None)
    r = result(2.0, kind="load test", extra=(limit,))
    assert judge_load(replace(r, release=limit), DEBRIS).outcome is Outcome.MEETS
    assert judge_load(replace(r, release=limit, kind="handling"), DEBRIS).outcome is Outcome.DOES_NOT
    failed = replace(limit, factor=0.9)
    assert judge_load(replace(r, modes=(failed,), release=failed), DEBRIS).outcome is Outcome.DOES_NOT


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"contingencies": (("patch gone", result(0.7)),)}, "patch gone"),
        ({"contingencies": (("patch gone", result(3.0, reasons=("rotation",))),)}, "outside linear theory"),
        ({"lost": {"F3": (0.8, "kerb")}}, "F3 is locked"),
        ({"dull": True}, "tap the dull area"),
        ({"fastened_to_protective_part": True}, "manufacturer's procedure"),
        ({"over_high_voltage": True}, "authorised person confirms isolation"),
        ({"permitted": None}, "ask the scrutineers"),
    ],
)
def test_each_condition_caps_the_outcome(change, words):
    d = judge(Findings("x", (result(),), **change), DEBRIS)
    assert d.outcome is Outcome.MEETS_IF
    assert any(words in c for c in d.conditions)
    worse = judge(Findings("x", (result(0.5),), **change), DEBRIS)
    assert worse.outcome is Outcome.DOES_NOT


def test_what_is_survived_without_the_patch_is_no_condition():
    assert (
        judge(Findings("x", (result(),), contingencies=(("patch gone", result(1.01)),)), DEBRIS).outcome
        is Outcome.MEETS
    )


def assumption(low, high, key="damage[0].strength"):
    return Assumption(
        key, "strength left", "0.5", "assumed", ("0.3", "0.7"), (low, high), (0.8, 2.0), low is not high, "cut a coupon"
    )


def test_an_assumption_that_flips_names_the_measurement():
    d = judge(Findings("x", (result(),)), DEBRIS)
    out = lowered(d, [assumption(Outcome.DOES_NOT, Outcome.MEETS)])
    assert out.outcome is Outcome.CANNOT_TELL
    assert "cut a coupon" in out.reason
    assert out.inspect[0] == "cut a coupon"


def test_an_assumption_that_does_not_flip_changes_nothing():
    d = judge(Findings("x", (result(),)), DEBRIS)
    assert lowered(d, [assumption(Outcome.MEETS, Outcome.MEETS)]).outcome is Outcome.MEETS


OUTCOMES = st.sampled_from(list(Outcome))


@given(st.floats(0.2, 5.0), OUTCOMES, OUTCOMES, st.booleans())
def test_nothing_ever_lifts_an_outcome(factor, low, high, dull):
    plain = judge(Findings("x", (result(factor),)), DEBRIS)
    capped = judge(Findings("x", (result(factor),), dull=dull), DEBRIS)
    swept = lowered(capped, [assumption(low, high)])
    assert _ORDER.index(plain.outcome) <= _ORDER.index(capped.outcome) <= _ORDER.index(swept.outcome)


def candidate(name, factor, minutes, permitted=True, **change):
    return Candidate(name, minutes, permitted, judge(Findings(name, (result(factor),), **change), DEBRIS))


def test_recommends_what_meets_before_what_meets_with_conditions():
    name, why = recommend([candidate("as found", 2.0, 0, dull=True), candidate("patch", 2.0, 30)], 60)
    assert name == "patch"
    assert "quicker but meets only with conditions" in why


def test_what_does_not_fit_in_the_minutes_is_not_recommended():
    name, why = recommend([candidate("as found", 1.0, 0), candidate("patch", 2.0, 90)], 60)
    assert name is None
    assert "60 min" in why
    assert "90 min" in why


def test_what_is_forbidden_is_not_recommended():
    assert recommend([candidate("patch", 2.0, 10, permitted=False)], 60)[0] is None
