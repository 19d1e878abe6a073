"""The search for the smallest sufficient patch: along the whole line on a small panel, and its rules."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from panelfem.assess import assess
from panelfem.assess import smallest as search
from panelfem.assess.records import Assessment
from panelfem.assess.smallest import AHEAD, Candidate, Search, Verified, _proposed, _suffices, smallest
from panelfem.case import Case
from panelfem.cli import main
from panelfem.disposition import Outcome
from panelfem.errors import CaseError, InputError, ModelError
from panelfem.material import library
from panelfem.report import trade

CASE = """
[case]
title = "plate with a hole"
invented = true
consequence = "debris"
minutes_left = 60

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0_3/45_3/45_3/0_3]"
material = "carbon-twill"

[panel.outline]
corners_mm = [[0, 0], [240, 0], [240, 160], [0, 160]]

[[panel.edges]]
name = "left"
hold = "clamped"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 161], [-1, 161]] }

[[panel.edges]]
name = "right"
hold = "clamped"
area = { shape = "polygon", corners_mm = [[239, -1], [241, -1], [241, 161], [239, 161]] }

[[damage]]
kind = "hole"
name = "H"
area = { shape = "disc", centre_mm = [120, 80], diameter_mm = 40 }

[[option]]
name = "patch"
minutes = 30
permitted = true

[[option.actions]]
kind = "patch"
name = "P"
over = "H"
overlap_mm = 25
stack = "[0/45]"
material = "carbon-twill-wet"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = 0.8

[settings]
vibrations = false
lose_each_fastener = false
large_displacements = false
element_size_mm = 60
element_order = 2

[[load]]
kind = "handling"
name = "hand"
area = { shape = "disc", centre_mm = [60, 80], diameter_mm = 40 }
force_N = 200
direction = [0, 0, -1]
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("smallest") / "case.toml"
    path.write_text(CASE)
    return path


def linear(case: Case) -> Assessment:
    """The provisional assessment: all states, loads and rules, by linear theory without bars."""
    early: list[Assessment] = []

    class EnoughError(Exception):
        """The rest is not wanted."""

    def stop(provisional: Assessment) -> None:
        early.append(provisional)
        raise EnoughError

    with pytest.raises(EnoughError):
        assess(case, None, stop)
    return early[0]


@pytest.fixture(scope="module")
def found(file: Path) -> Search:
    with pytest.MonkeyPatch.context() as patch:  # little to search, and the linear assessment for the full one: quick
        patch.setattr(search, "TURNINGS", {"fabric": ((0, 0),)})
        patch.setattr(search, "assess", linear)
        return smallest(file, "patch", (15.0,), 4)


def test_what_is_found_suffices_and_nothing_lighter_does(found: Search) -> None:
    assert found.lightest is not None
    assert found.quickest is not None
    assert found.lightest.outcome in (Outcome.MEETS, Outcome.MEETS_IF)
    tried = {v.candidate: v for v in found.verified}
    lighter = [look for look in found.looks if look.added < found.lightest.candidate.added - 1e-12]
    assert lighter
    for look in lighter:
        assert not tried[look].sufficient if look in tried else not _suffices(look, found.verified)
    assert found.verified[0].outcome is Outcome.CANNOT_TELL, "two plies are too near their buckling load"
    assert found.lightest.candidate.plies == 3
    names = [c.name for c in found.assessment.configurations]
    assert names[:3] == ["undamaged", "as found", "patch"]
    assert found.lightest.name in names


def test_mass_and_minutes_by_hand(found: Search) -> None:
    """A disc of radius 20 + 15 mm: wet plies and their bond over all but the hole, which they span; 3 min a ply."""
    ply, glue = library()["carbon-twill-wet"], library()["wet-resin"]
    for c in found.looks:
        plies = math.pi * 0.035**2 * c.plies * ply.thickness * ply.density
        bond = math.pi * (0.035**2 - 0.02**2) * 0.2e-3 * glue.density
        assert c.added == pytest.approx(plies + bond, rel=0.03)
        assert c.minutes == 30.0 + 3.0 * (c.plies - 2)


def test_the_page_says_it_and_the_trade_is_the_same_each_time(found: Search) -> None:
    assert found.lightest is not None
    said = " ".join(trade.sentences(found))
    assert found.lightest.candidate.words in said
    assert "Lightest sufficient" in said
    document = json.loads(trade.document(found))
    assert document["lightest"]["stack"] == found.lightest.candidate.stack
    assert len(document["looks"]) == len(found.looks) == len(trade.rows(found))
    assert trade.picture(found) == trade.picture(found)


def made(plies: int, added: float, factor: float, minutes: float | None = None) -> Candidate:
    return Candidate(20.0, (0,), plies, added, 10.0 + plies if minutes is None else minutes, factor, "load: mode")


def full(c: Candidate, factor: float, outcome: Outcome) -> Verified:
    return Verified(c, "name", factor, outcome, "")


def test_the_lightest_and_the_quickest_are_proposed() -> None:
    light, quick, weak = made(3, 1.0, 1.1), made(2, 2.0, 1.2), made(1, 0.5, 0.9)
    assert _proposed([weak, light, quick], []) == [light, quick]
    assert _proposed([weak], []) == [weak]
    assert _proposed([weak], [full(weak, 0.9, Outcome.DOES_NOT)]) == []


def test_what_was_short_in_full_takes_the_looks_down() -> None:
    first, second, third = made(1, 1.0, 1.05), made(2, 2.0, 1.1), made(3, 3.0, 1.4)
    short = full(first, 0.84, Outcome.DOES_NOT)  # 0.8 of the look
    assert not _suffices(second, [short])
    assert _proposed([first, second, third], [short]) == [third]
    good = full(third, 1.2, Outcome.MEETS)
    assert _proposed([first, second, third], [short, good]) == []


def test_where_it_cannot_be_told_more_plies_or_more_factor_is_asked() -> None:
    untold = full(made(2, 1.0, 1.5), 1.5, Outcome.CANNOT_TELL)
    assert not _suffices(made(2, 2.0, 1.5 * AHEAD - 0.01), [untold])
    assert _suffices(made(2, 2.0, 1.5 * AHEAD + 0.01), [untold])
    assert _suffices(made(3, 2.0, 1.01), [untold])
    assert not _suffices(made(3, 2.0, 0.99), [untold])


@pytest.mark.parametrize(
    ("change", "option", "what"),
    [
        (("", ""), "spare", "there is no option 'spare'"),
        (('over = "H"\noverlap_mm = 25', 'area = { shape = "disc", centre_mm = [120, 80], diameter_mm = 80 }'), "patch",
         "the patch has an area of its own"),
        (('protects_people = "no"', 'protects_people = "is one"'), "patch", "protects people"),
    ],
)  # fmt: skip
def test_what_cannot_be_sized_is_said(tmp_path: Path, change: tuple[str, str], option: str, what: str) -> None:
    path = tmp_path / "case.toml"
    path.write_text(CASE.replace(*change) if change[0] else CASE)
    with pytest.raises(InputError, match=what):
        smallest(path, option)


def test_an_overlap_off_the_panel_is_a_fault_of_the_case(file: Path) -> None:
    with pytest.raises(CaseError):
        smallest(file, "patch", (400.0,))


def test_the_command_refuses_in_one_message(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["smallest", str(file), "--option", "none", "--out", str(tmp_path / "out"), "--quiet"]) == 2
    assert "there is no option 'none'" in capsys.readouterr().err


def test_a_proposal_without_an_answer_does_not_end_the_search(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first full assessment finds no equilibrium; the next proposal has more plies, and suffices."""
    calls: list[Case] = []

    def breaks_first(case: Case) -> Assessment:
        calls.append(case)
        if len(calls) == 1:
            raise ModelError("no equilibrium")
        return linear(case)

    monkeypatch.setattr(search, "TURNINGS", {"fabric": ((0, 0, 0),)})
    monkeypatch.setattr(search, "assess", breaks_first)
    found = smallest(file, "patch", (15.0,), 4)
    assert found.verified[0].reason.startswith("no equilibrium")
    assert found.lightest is not None
    assert found.lightest.candidate.plies == 4
