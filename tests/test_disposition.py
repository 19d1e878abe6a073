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
    uncertainty,
)
from panelfem.disposition.judge import _ORDER, mode_words
from panelfem.errors import PathEndsError
from panelfem.reserve.records import Deflection, LinearAnswer, LoadResult, ModeReserve, TheoryCheck
from panelfem.reserve.search import _giving_way

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


def barred(result, bar):
    """The result with `bar` on its release mode."""
    release = replace(result.release, bar=bar)
    return replace(result, release=release, modes=tuple(release if m is result.release else m for m in result.modes))


def test_a_factor_above_what_is_asked_by_less_than_its_bar_cannot_be_told():
    load = judge_load(barred(result(1.52), 0.05), DEBRIS)
    assert load.outcome is Outcome.CANNOT_TELL
    assert load.factor == 1.52
    assert load.reason == (
        "kerb: fibre compression 12 mm from F3 is reached at 1.52 ± 0.05 times the expected severity; 1.5 is asked "
        "for, and the mesh does not settle which"
    )
    d = judge(Findings("x", (barred(result(1.52), 0.05), result(3.0, name="hand"))), DEBRIS)
    assert d.outcome is Outcome.CANNOT_TELL
    assert "smaller `accuracy`" in d.inspect[0]
    assert not any("known weight" in i for i in d.inspect)


@pytest.mark.parametrize(
    ("factor", "bar", "outcome"),
    [
        (1.56, 0.05, Outcome.MEETS),
        (1.52, 0.0, Outcome.MEETS),
        (1.52, float("nan"), Outcome.MEETS),
        (1.49, 0.05, Outcome.DOES_NOT),
        (1.49, float("nan"), Outcome.DOES_NOT),
    ],
)
def test_a_bar_only_takes_from_what_meets(factor, bar, outcome):
    assert judge_load(barred(result(factor), bar), DEBRIS).outcome is outcome


def test_the_mode_the_mesh_leaves_open_need_not_be_the_one_reached_first():
    wide = replace(mode(1.7, name="core shear"), bar=0.3)
    load = judge_load(barred(result(1.6, extra=(wide,)), 0.02), DEBRIS)
    assert load.outcome is Outcome.CANNOT_TELL
    assert "core shear" in load.reason
    cracks = replace(mode(1.7, "inspection", "matrix tension"), bar=0.3)
    assert judge_load(barred(result(1.6, extra=(cracks,)), 0.02), DEBRIS).outcome is Outcome.MEETS


def test_a_bound_that_a_place_may_undercut_is_said_to_be_one():
    """Nothing is found up to three times; the bar is that of a place too coarsely meshed to rule it out."""
    none = replace(mode(3.0), status="beyond search", bar=3.0)
    load = judge_load(replace(result(3.0), release=none, modes=(none,)), DEBRIS)
    assert load.outcome is Outcome.CANNOT_TELL
    assert "is not reached up to 3 times the expected severity; 1.5 is asked for" in load.reason
    assert load.reason.endswith("the mesh is too coarse to rule out that a place fails before")
    assert "±" not in load.reason


def test_what_survives_by_less_than_its_bar_survives():
    gone = barred(result(1.01), 0.2)
    assert judge(Findings("x", (result(),), contingencies=(("patch gone", gone),)), DEBRIS).outcome is Outcome.MEETS


def test_outside_linear_theory_comes_before_the_mesh():
    outside = barred(result(1.52, reasons=("rotation",)), 0.05)
    d = judge(Findings("x", (outside,)), DEBRIS)
    assert "outside linear theory" in d.reason
    assert "known weight" in d.inspect[0]
    assert not any("accuracy" in i for i in d.inspect)


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
        ({"left": ("tap the dull area",)}, "tap the dull area"),
        ({"left": ("tap the delaminated area",)}, "tap the delaminated area"),
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


# ---- loads followed with large displacements


def followed(release=2.0, end=None, linear=1.1, reasons=(), **more):
    """A result of large displacements; `end`: where its path ends, as the search says it."""
    r = result(release, first=release, **more)
    modes, reasons = r.modes, tuple(reasons)
    governs = r.release
    if end is not None:
        modes = tuple(
            m if m.factor < end.factor else replace(m, factor=end.factor, status="beyond search") for m in modes
        )
        modes = (*modes, _giving_way(end))
        governs = min((m for m in modes if m.grade == "release"), key=lambda m: m.rank)
        if not end.snaps and end.factor < DEBRIS.factor:  # as `Subject.theory` says it
            reasons += (f"no equilibrium found beyond {end.factor} times the expected severity ({end.why})",)
    return replace(
        r,
        modes=modes,
        release=governs,
        first_ply=next(m for m in modes if m.grade == "inspection"),
        theory=TheoryCheck(3.0, 0.2, 0.5, reasons, large=True),
        linear=LinearAnswer(5.6e-3, mode(linear), mode(linear, "inspection"), ("rotation 0.3 rad, limit 0.1 rad",)),
    )


def snap(factor):
    return PathEndsError(factor, True, "the panel gives way and snaps to another shape")


def lost(factor):
    return PathEndsError(factor, False, "the equations did not settle in small steps")


def test_large_displacements_decide_and_the_outcome_by_the_linear_numbers_is_kept():
    load = judge_load(followed(2.4, linear=1.1), DEBRIS)
    assert (load.outcome, load.linear) == (Outcome.MEETS, Outcome.DOES_NOT)
    assert (
        load.reason
        == "kerb: fibre compression 12 mm from F3 is reached at 2.4 times the expected severity; 1.5 "
        + ("is asked for")
    )
    load = judge_load(followed(1.2, linear=3.0), DEBRIS)
    assert (load.outcome, load.linear) == (Outcome.DOES_NOT, Outcome.MEETS)
    assert judge_load(result(2.0), DEBRIS).linear is None


def test_the_linear_numbers_are_judged_by_what_is_asked_of_their_mode():
    limit = mode(1.2, name="limit 'load test'", criterion="deflection limit", ply=None)
    for kind, outcome in (("load test", Outcome.MEETS), ("handling", Outcome.DOES_NOT)):
        r = followed(2.4, kind=kind)
        assert judge_load(replace(r, linear=replace(r.linear, release=limit)), DEBRIS).linear is outcome
    r = followed(2.4)
    open_one = replace(r, linear=replace(r.linear, release=replace(mode(1.52), bar=0.05)))
    assert judge_load(open_one, DEBRIS).linear is Outcome.CANNOT_TELL
    zero = replace(r, linear=replace(r.linear, release=mode(float("nan"), status="zero load")))
    assert judge_load(zero, DEBRIS).linear is Outcome.DOES_NOT


def test_what_snaps_through_below_what_is_asked_does_not_meet():
    load = judge_load(followed(2.0, snap(0.62), linear=1.9), DEBRIS)
    assert (load.outcome, load.factor, load.linear) == (Outcome.DOES_NOT, 0.62, Outcome.MEETS)
    assert load.reason == "kerb: the panel snaps through at 0.62 times the expected severity; 1.5 is asked for"


def test_a_mode_reached_before_the_panel_snaps_through_is_named():
    load = judge_load(followed(0.5, snap(0.62)), DEBRIS)
    assert load.factor == 0.5
    assert "fibre compression" in load.reason
    load = judge_load(followed(2.0, snap(1.7)), DEBRIS)
    assert load.outcome is Outcome.MEETS
    assert load.reason == "kerb: the panel snaps through at 1.7 times the expected severity; 1.5 is asked for"


def test_a_snap_through_the_mesh_may_bring_below_what_is_asked_is_open():
    r = followed(2.0, snap(1.52))
    end = replace(r.modes[-1], bar=0.05)
    load = judge_load(replace(r, modes=(*r.modes[:-1], end)), DEBRIS)
    assert load.outcome is Outcome.CANNOT_TELL
    assert "the panel snaps through at 1.52 ± 0.05 times" in load.reason


def test_a_path_that_ends_before_what_is_asked_cannot_be_told_and_does_not_blame_the_panel():
    d = judge(Findings("x", (followed(2.0, lost(0.83)),)), DEBRIS)
    assert d.outcome is Outcome.CANNOT_TELL
    assert d.reason == (
        "kerb: no equilibrium was found beyond 0.83 times the expected severity; 1.5 is asked for, and the "
        "computation, not the panel, may be what gave up"
    )
    assert "known weight" in d.inspect[0]
    assert not any("matrix cracks" in i for i in d.inspect), "no mode is reached before the path ends"


def test_a_mode_reached_before_the_path_ends_does_not_meet():
    load = judge_load(followed(0.7, lost(0.83)), DEBRIS)
    assert (load.outcome, load.factor) == (Outcome.DOES_NOT, 0.7)
    assert "fibre compression" in load.reason


def test_a_path_followed_beyond_what_is_asked_meets_it():
    load = judge_load(followed(2.0, lost(1.6)), DEBRIS)
    assert load.outcome is Outcome.MEETS
    assert load.reason == (
        "kerb: nothing is reached up to 1.6 times the expected severity, where the path ends; 1.5 is asked for"
    )


def test_other_doubts_of_large_displacements_are_not_called_linear():
    load = judge_load(followed(2.4, reasons=("laminate 1 is too thick for its bay",)), DEBRIS)
    assert load.outcome is Outcome.CANNOT_TELL
    assert load.reason == "kerb: laminate 1 is too thick for its bay, so the number cannot be trusted"
    both = judge_load(followed(0.7, lost(0.83), reasons=("laminate 1 is too thick",)), DEBRIS)
    assert both.outcome is Outcome.CANNOT_TELL


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        (followed(2.0, snap(0.62)), "the panel snaps through at 0.62 times"),
        (followed(2.0, lost(0.62)), "what happens then cannot be told"),
        (followed(0.4, lost(0.62)), "fibre compression is reached at 0.4 times"),
        (followed(2.0, reasons=("too thick",)), "what happens then cannot be told"),
        (followed(2.0, lost(1.1)), ""),
    ],
)
def test_what_happens_with_the_patch_gone_is_said_as_it_is_known(gone, words):
    d = judge(Findings("x", (result(),), contingencies=(("patch gone", gone),)), DEBRIS)
    assert d.outcome is (Outcome.MEETS_IF if words else Outcome.MEETS)
    assert all(words in c and "linear" not in c for c in d.conditions)


def test_the_end_of_a_path_that_is_a_bound_has_no_uncertainty():
    r = followed(2.0, lost(1.6))
    assert uncertainty([judge_load(r, DEBRIS)], (r,), 1.5, [], {"as measured": 1.6}) is None


def test_other_modes_of_stability_are_named_as_they_are():
    assert mode_words(ModeReserve("buckling", "stability", "release", 1.2)) == (
        "buckling is reached at 1.2 times the expected severity"
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


def swept(kind, factors=None, ends=None, what=""):
    return Assumption(f"x.{kind}", what or kind, "", "", factors=factors, kind=kind, ends=ends)


def test_total_uncertainty_by_hand():
    """2.0 governs; over it: load 2.5 and 1.6, stiffness 1.9, strength ±10 % at most, mesh ±0.06, dull area 2.2."""
    loads = [judge_load(r, DEBRIS) for r in (barred(result(2.0), 0.06), result(3.0, name="hand"))]
    given = [
        swept("stiffness", (1.9, 2.0)),
        swept("severity", (2.5, 1.6)),
        swept("strength", ends=(0.9, 1.1)),
        swept("fastener stiffness", ends=(0.5, 2.0)),
    ]
    states = {"dull area at full stiffness": 2.2, "dull area carrying nothing": 2.0}
    u = uncertainty(loads, (barred(result(2.0), 0.06), result(3.0, name="hand")), 1.5, given, states)
    assert (u.load, u.factor) == ("kerb", 2.0)
    shown = [(p.name, round(p.low, 9), round(p.high, 9), p.basis) for p in u.parts[:5]]
    assert shown == [
        ("load severity", 0.8, 1.25, "computed"),
        ("strength", 0.9, 1.1, "bound"),
        ("state of the damage", 1.0, 1.1, "computed"),
        ("mesh", 0.97, 1.03, "computed"),
        ("stiffness", 0.95, 1.0, "computed"),
    ]
    assert (u.parts[5].name, u.parts[5].basis) == ("fixing stiffness", "not computed")
    # √(0.20² + 0.10² + 0.03² + 0.05²) and √(0.25² + 0.10² + 0.10² + 0.03²)
    assert u.low == pytest.approx(1.0 - 0.231084, abs=1e-6)
    assert u.high == pytest.approx(1.0 + 0.288791, abs=1e-6)


def test_a_severity_that_was_not_swept_divides_the_factor_at_most():
    loads = [judge_load(result(2.0), DEBRIS)]
    u = uncertainty(loads, (result(2.0),), 1.5, [swept("dynamic", ends=(0.8, 1.25))], {"as measured": 2.0})
    assert u.parts[0].name == "dynamic factor"
    assert (u.parts[0].low, u.parts[0].high, u.parts[0].basis) == (0.8, 1.25, "bound")
    assert [p.basis for p in u.parts] == ["bound", "not computed"], "a bar of nan is no part"
    assert (u.low, u.high) == pytest.approx((0.8, 1.25))


def test_both_ends_on_one_side_count_on_that_side_only():
    loads = [judge_load(result(2.0), DEBRIS)]
    u = uncertainty(loads, (result(2.0),), 1.5, [swept("stiffness", (1.8, 1.9))], {"as measured": 2.0})
    assert (u.low, u.high) == pytest.approx((0.9, 1.0))


def test_an_end_reached_at_zero_load_leaves_nothing():
    loads = [judge_load(result(2.0), DEBRIS)]
    given = [swept("strength", (-1.0, 2.2)), swept("severity", (2.5, 1.6))]
    u = uncertainty(loads, (result(2.0),), 1.5, given, {"as measured": 2.0})
    assert u.low == 0.0


def test_a_load_test_is_scaled_like_the_sweeps():
    """Asked 1.0 of a limit reached at 1.2; the sweeps state it times the factor of the class: 1.8."""
    limit = mode(1.2, name="limit 'load test'", criterion="deflection limit", ply=None)
    r = replace(result(3.0, kind="load test"), release=limit, modes=(limit,))
    u = uncertainty([judge_load(r, DEBRIS)], (r,), 1.5, [swept("stiffness", (1.62, 1.98))], {"as measured": 1.8})
    assert u.factor == 1.2
    assert (u.low, u.high) == pytest.approx((0.9, 1.1))


@pytest.mark.parametrize("found", [mode(float("nan"), status="zero load"), mode(6.0, status="beyond search")])
def test_no_number_has_no_uncertainty(found):
    r = replace(result(), release=found, modes=(found,))
    given = [swept("severity", (7.0, 5.0))]
    assert uncertainty([judge_load(r, DEBRIS)], (r,), 1.5, given, {"as measured": 6.0}) is None


OUTCOMES = st.sampled_from(list(Outcome))


@given(st.floats(0.2, 5.0), OUTCOMES, OUTCOMES, st.booleans(), st.floats(0.0, 1.0))
def test_nothing_ever_lifts_an_outcome(factor, low, high, dull, bar):
    exact = judge(Findings("x", (result(factor),)), DEBRIS)
    plain = judge(Findings("x", (barred(result(factor), bar),)), DEBRIS)
    assert _ORDER.index(exact.outcome) <= _ORDER.index(plain.outcome)
    capped = judge(Findings("x", (barred(result(factor), bar),), left=("tap it",) * dull), DEBRIS)
    ends = lowered(capped, [assumption(low, high)])
    assert _ORDER.index(plain.outcome) <= _ORDER.index(capped.outcome) <= _ORDER.index(ends.outcome)


def candidate(name, factor, minutes, permitted=True, **change):
    return Candidate(name, minutes, permitted, judge(Findings(name, (result(factor),), **change), DEBRIS))


def test_recommends_what_meets_before_what_meets_with_conditions():
    name, why = recommend([candidate("as found", 2.0, 0, left=("tap it",)), candidate("patch", 2.0, 30)], 60)
    assert name == "patch"
    assert "quicker but meets only with conditions" in why


def test_what_does_not_fit_in_the_minutes_is_not_recommended():
    name, why = recommend([candidate("as found", 1.0, 0), candidate("patch", 2.0, 90)], 60)
    assert name is None
    assert "60 min" in why
    assert "90 min" in why


def test_what_is_forbidden_is_not_recommended():
    assert recommend([candidate("patch", 2.0, 10, permitted=False)], 60)[0] is None
