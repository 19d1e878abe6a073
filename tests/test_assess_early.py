"""A provisional assessment comes first, and says what it leaves out; what was screened out is listed."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from panelfem import report
from panelfem.assess import Assessment, assess
from panelfem.assess.ends import LOST_ANYWAY, outdone, screened_out
from panelfem.case import load_case
from panelfem.disposition import Outcome
from panelfem.reserve.bars import FAR_OFF

CASE = """
[case]
title = "Small floor corner: hole"
consequence = "debris"
[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false
[panel]
name = "floor corner"
zero_direction = [1, 0, 0]
stack = "[0/45/0/foam-pvc-80:10mm]s"
material = "carbon-twill"
[panel.outline]
corners_mm = [[0, 0], [300, 0], [300, 200], [0, 200]]
[[panel.edges]]
name = "rim"
hold = "clamped"
area = { shape = "rectangle", centre_mm = [0, 100], length_mm = 220, width_mm = 10, along = [0, 1, 0] }
[[panel.fasteners]]
name = "F1"
place_mm = [280, 20]
washer_radius_mm = 10
hold = "pinned"
rating_pull_N = 200
[[damage]]
kind = "hole"
name = "hole"
area = { shape = "disc", centre_mm = [150, 100], diameter_mm = 27 }
tolerance_mm = 0
[[load]]
kind = "air load"
name = "suction"
pressure_kPa = -5
[[load]]
kind = "air load"
name = "whisper"
pressure_kPa = -0.2
[settings]
element_size_mm = 50
flip_sizes = false
vibrations = false
"""


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Assessment, Assessment, Path]:
    """What came early, what came last, and a folder with the early page."""
    folder = tmp_path_factory.mktemp("early")
    file = folder / "case.toml"
    file.write_text(CASE, encoding="utf-8")
    seen: list[Assessment] = []
    last = assess(load_case(file), early=seen.append)
    assert isinstance(last, Assessment)
    (first,) = seen
    report.write_early(first, folder / "out")
    return first, last, folder / "out"


def test_the_early_one_says_what_it_leaves_out(both):
    first, last, _ = both
    for word in ("mesh", "linear theory", "fixing", "band"):
        assert word in first.provisional
    assert last.provisional == ""
    assert first.meshing is None
    assert first.case_hash == last.case_hash
    assert all(math.isnan(c.result(load).release.bar) for c in first.configurations for load in c.governing)


def test_the_early_numbers_are_those_of_the_lower_order(both):
    """Within the bars that the last one finds: nothing else differs for a panel that linear theory holds for."""
    first, last, _ = both
    for a, b in zip(first.configurations, last.configurations, strict=True):
        for load in b.governing:
            x, y = a.result(load), b.result(load)
            assert x.deflection.value == pytest.approx(y.deflection.value, abs=y.deflection.bar)
            assert x.release.rank == pytest.approx(y.release.rank, abs=max(y.release.bar, 1e-9))


def test_page_one_is_marked_and_replaced(both):
    first, last, folder = both
    page = (folder / "report.html").read_text("utf-8")
    assert "PROVISIONAL" in page
    assert json.loads((folder / "result.json").read_text("utf-8"))["provisional"] == first.provisional
    report.write(last, folder)
    page = (folder / "report.html").read_text("utf-8")
    assert "PROVISIONAL" not in page
    assert "Taken no further" in page


def test_what_is_far_from_governing_is_screened_out_and_listed(both):
    _, last, _ = both
    assert {s.load for s in last.screened} == {"whisper"}
    assert {s.configuration for s in last.screened} == {c.name for c in last.configurations}
    for s in last.screened:
        assert s.factor / last.required > FAR_OFF
        assert "times what is asked for" in s.reason
    near = last.configurations[0].result("suction")
    assert not screened_out(near, last.required)
    at_the_line = replace(near, release=replace(near.release, factor=FAR_OFF * last.required))
    assert not screened_out(at_the_line, last.required)


def test_only_a_load_that_is_failed_for_certain_stands_for_the_others(both):
    _, last, _ = both
    result, asked = last.configurations[0].result("suction"), last.required

    def at(share, **other):
        return replace(result, release=replace(result.release, factor=share * asked, status="found"), **other)

    close, lost, short = at(1.1), at(0.3, load="blast"), at(0.8, load="blast")
    assert "with bands change no outcome" in outdone((close, lost), close, asked)
    # three half widths of 8.3 % take 0.8 to what is asked: 1 / (1 + 3 * 0.0833) = 0.8
    assert "bands narrower than 8.3 % either way" in outdone((close, short), close, asked)
    doubtful = replace(lost, theory=replace(lost.theory, reasons=("it turns too far",)))
    for others, of in (
        ((close, lost), lost),
        ((close, doubtful), close),
        ((close,), close),
        ((at(9.0), lost), at(9.0)),
    ):
        assert outdone(others, of, asked) == ""


PATCHED = """
[[option]]
name = "patch"
minutes = 30
permitted = true
[[option.actions]]
kind = "patch"
name = "P"
over = "hole"
overlap_mm = 25
stack = "[0/45]"
material = "carbon-twill-wet"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = 0.8
"""


def test_a_lost_bond_that_is_survived_by_far_is_only_looked_at(tmp_path):
    """With the accuracy asked near what is asked only; what was left out is listed, and the outcome is the same."""
    whole, text = [], CASE.replace("[settings]", f"{PATCHED}[settings]").replace("-5", "-2")
    for more in ("", "accuracy_near_governing_only = true\n"):
        file = tmp_path / "case.toml"
        file.write_text(text + more, encoding="utf-8")
        found = assess(load_case(file))
        assert isinstance(found, Assessment)
        whole.append(found)
    full, near = (next(c for c in found.configurations if c.name == "patch") for found in whole)
    assert near.disposition.outcome is full.disposition.outcome
    assert {v.name for v in near.contingencies} == {"patch gone", "patch half bonded"}
    half, same = (next(v for v in c.contingencies if v.name == "patch half bonded") for c in (near, full))
    for a, b in zip(half.loads, same.loads, strict=True):
        assert math.isnan(a.deflection.bar)
        assert a.deflection.value == pytest.approx(b.deflection.value, rel=0.02)
        assert b.deflection.bar > 0.0
    listed = [s for s in whole[1].screened if s.configuration == "patch, patch half bonded"]
    assert {s.load for s in listed} == {"suction", "whisper"}
    assert not [s for s in whole[0].screened if "half bonded" in s.configuration]


def test_what_changes_no_outcome_beside_a_load_that_is_failed_by_far_is_left_out_and_listed(tmp_path):
    """With a weak fixing nothing meets the factor under suction: no narrow band is swept, no lost bond assessed."""
    text = CASE.replace("[settings]", f"{PATCHED}[settings]").replace("rating_pull_N = 200", "rating_pull_N = 20")
    text = text.replace("-5", "-2").replace("-0.2", "-0.5") + "accuracy_near_governing_only = true\n"
    file = tmp_path / "case.toml"
    file.write_text(text, encoding="utf-8")
    found = assess(load_case(file))
    assert isinstance(found, Assessment)
    patch = next(c for c in found.configurations if c.name == "patch")
    assert patch.disposition.outcome is Outcome.DOES_NOT
    assert patch.result("suction").release.factor < found.required / FAR_OFF < patch.result("whisper").release.factor
    half = next(v for v in patch.contingencies if v.name == "patch half bonded")
    assert all(math.isnan(r.deflection.bar) for r in half.loads)
    why = {(s.configuration, s.load): s.reason for s in found.screened}
    assert why["patch, patch half bonded", "suction"] == LOST_ANYWAY
    assert "under suction the reserve is only" in why["patch", "whisper"]
    assert not [a.key for a in patch.disposition.assumptions if a.outcomes is not None]
