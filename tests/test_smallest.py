"""The search for the smallest sufficient repair: along the whole line on a small panel, and its rules."""

from __future__ import annotations

import json
import math
import weakref
from pathlib import Path

import numpy as np
import pytest

from panelfem.assess import assess
from panelfem.assess import smallest as search
from panelfem.assess.records import Assessment
from panelfem.assess.smallest import (
    AHEAD,
    SIZINGS,
    Candidate,
    Search,
    Verified,
    _Bench,
    _lightness,
    _looks,
    _Minutes,
    _Offered,
    _outdone,
    _proposed,
    _quickness,
    _suffices,
    smallest,
)
from panelfem.case import Case
from panelfem.case.builder import build
from panelfem.case.read import check, read
from panelfem.cli import main
from panelfem.disposition import Outcome
from panelfem.errors import CaseError, InputError, ModelError, PathEndsError
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

_ACTION = CASE.index('kind = "patch"'), CASE.index("[settings]")


def with_action(kind: str, *keys: str) -> str:
    """The case with another repair of the hole."""
    common = ('name = "P"', 'over = "H"', 'adhesive = "wet-resin"', "bond_thickness_mm = 0.2", "cured_share = 0.8")
    return CASE[: _ACTION[0]] + "\n".join((f'kind = "{kind}"', *common, *keys, "", CASE[_ACTION[1] :]))


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


@pytest.fixture(scope="module")
def scarfs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Search]:
    """A scarf with a poor cure; of three ratios the first is too short, and for the last there is no room."""
    path = tmp_path_factory.mktemp("scarf") / "case.toml"
    keys = ("scarf_ratio = 10", 'side = "last ply"')
    path.write_text(with_action("scarf patch", *keys).replace("cured_share = 0.8", "cured_share = 0.35"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "TURNINGS", {"fabric": ((45,),)})
        patch.setattr(search, "assess", linear)
        return path, smallest(path, "patch", most_plies=13, scarf_ratios=(6.0, 10.0, 30.0))


def test_a_scarf_is_sized(scarfs: tuple[Path, Search]) -> None:
    """By brute force over the same candidates; minutes by hand: 4 for 10 mm of taper."""
    path, found = scarfs
    assert found.lightest is not None
    assert found.quickest is not None
    assert found.lightest.sufficient
    offered, every = _Offered.of(read(path), path, "patch"), []
    for ratio in (6.0, 10.0):
        bench = _Bench(offered, build(check(offered.document(ratio), path), path), ratio, _Minutes(3.0, 4.0))
        every += [bench.look(c) for turning in ((), (45,)) for c in bench.family(turning, 13)]
    assert len(every) == 4
    enough = [c for c in every if _suffices(c, found.verified)]
    assert 0 < len(enough) < len(every)
    assert min(enough, key=_lightness) == found.lightest.candidate
    assert min(enough, key=_quickness) == found.quickest.candidate
    depth = 12 * library()["carbon-twill"].thickness
    for c in every:
        assert c.minutes == pytest.approx(30.0 + 3.0 * (c.plies - 12) + 4.0 * (c.reach - 10.0) * depth / 10e-3)
    # new plies take the place of old ones, so that the hole alone is filled, at its radius with the tolerance of 1 mm
    ply = library()["carbon-twill"]
    assert found.lightest.candidate.plies == 12
    assert found.lightest.candidate.added == pytest.approx(math.pi * 0.021**2 * depth * ply.density, rel=0.03)


def test_a_size_without_room_is_said_and_the_others_are_searched(scarfs: tuple[Path, Search]) -> None:
    _, found = scarfs
    (why,) = found.left_out
    assert why.startswith("scarf 1:30: the taper of 'P' runs over an edge")
    assert f"Not looked at: {why}." in list(trade.sentences(found))
    document = json.loads(trade.document(found))
    assert {look["scarf_ratio"] for look in document["looks"]} == {6.0, 10.0}
    assert document["kind"] == "scarf patch"
    assert trade.picture(found) == trade.picture(found)


@pytest.mark.parametrize(
    ("kind", "keys", "faces"),
    [
        ("two-sided patch", ("overlap_mm = 25", 'stack = "[0/45]"'), 2),
        ("doubler", ("overlap_mm = 25", 'stack = "[0/45]"', 'side = "last ply"'), 0),
        ("stepped patch", ("step_mm = 4", 'side = "last ply"', 'stack = "[0_3/45_3/45_3/0_3/film-epoxy:0.1mm]"'), 1),
    ],
)
def test_mass_and_minutes_of_the_other_kinds(tmp_path: Path, kind: str, keys: tuple[str, ...], faces: int) -> None:
    """A ply more adds its disc once a face, and its minutes on each face; a doubler is cured before."""
    path = tmp_path / "case.toml"
    path.write_text(with_action(kind, *keys))
    offered = _Offered.of(read(path), path, "patch")
    bench = _Bench(offered, build(check(offered.document(4.0), path), path), 4.0, _Minutes(3.0, 4.0))
    first, second, *_ = bench.family((45,), 14)
    assert second.plies == first.plies + 1
    assert second.minutes - first.minutes == pytest.approx(3.0 * faces)
    ply = library()["carbon-twill"]
    radius = 0.024 if faces != 1 else 0.02 + 12 * 4e-3
    disc = math.pi * radius**2 * ply.thickness * ply.density
    assert second.added - first.added == pytest.approx(max(faces, 1) * disc, rel=0.03)
    if kind == "stepped patch":  # one ply, the film, more than it replaces as offered; the old ones keep their places
        assert first.stack == "[0/0/0/45/45/45/45/45/45/0/0/0/45]"
        assert first.minutes == 30.0


class Table:
    """A bench whose factors are written down: (turning, plies) -> factor; of three sizes each heavier and slower."""

    def __init__(self, reach: float, factors: dict[tuple[int, ...], list[float]], weight: float) -> None:
        self.reach, self.factors, self.weight = reach, factors, weight
        self.turnings, self.size, self.like = tuple(factors), f"{reach:g}", None
        self.seen: list[Candidate] = []

    def family(self, turning: tuple[int, ...], most: int) -> list[Candidate]:
        count = range(1, min(most, len(self.factors[turning])) + 1)
        # wide ones are heavy and, since the others are cut to shape, quick
        return [Candidate(self.reach, turning, n, n * self.weight, 9 * n - self.reach, math.nan, "") for n in count]

    def knows(self, c: Candidate) -> bool:
        return c in self.seen

    def look(self, c: Candidate) -> Candidate:
        self.seen.append(c)
        return Candidate(c.reach, c.turning, c.plies, c.added, c.minutes, self.factors[c.turning][c.plies - 1], "")


def test_few_looks_find_the_lightest_and_the_quickest_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """By brute force, over families whose factor rises ever less, or falls, with the plies: nothing is missed."""
    monkeypatch.setattr(search.gc, "collect", lambda: 0)  # slow among everything the tests hold
    rng, looked, least = np.random.default_rng(7), 0, 0
    for _ in range(40):
        tables = []
        for reach in (2.0, 3.0, 5.0):
            families = {}
            for turning in ((0,), (45,)):
                steps = np.sort(rng.uniform(-0.1, 0.4, 7))[::-1]
                families[turning] = (rng.uniform(0.2, 1.1) + np.concatenate([[0.0], np.cumsum(steps)])).tolist()
            tables.append(Table(reach, families, rng.uniform(0.5, 2.0)))
        every = [t.look(c) for t in tables for turning in t.turnings for c in t.family(turning, 8)]
        enough = [c for c in every if c.factor >= 1.0]
        for table in tables:
            table.seen.clear()
        found = _looks(tables, 8, [], lambda stage: None)  # type: ignore[arg-type]
        assert {c.reach for c in found} == {2.0, 3.0, 5.0}
        if enough:
            assert set(_proposed(found, [])) == {min(enough, key=_lightness), min(enough, key=_quickness)}
        looked, least = looked + len(found), least + len(every)
    assert looked < 0.5 * least


def test_what_leaves_linear_theory_is_set_aside(tmp_path: Path) -> None:
    """One wet ply over the hole bends out of linear theory at 1.2 times the 1.5 looked at, and the undamaged plate does
    not; two plies are pressed over the hand measure, but as computed do not buckle.
    """
    path = tmp_path / "case.toml"
    path.write_text(CASE.replace("large_displacements = false", "large_displacements = true"))
    offered = _Offered.of(read(path), path, "patch")
    bench = _Bench(offered, build(check(offered.document(15.0), path), path), 15.0, _Minutes(3.0, 4.0))
    one, two = (bench.look(c) for c in bench.family((0,), 2))
    assert one.factor > two.factor > 1.0
    assert one.leaves.startswith("hand: deflection 0.38 times the thickness")
    assert two.leaves == ""
    assert _proposed([one, two], []) == [two]
    assert _proposed([one], []) == [one], "nothing else suffices"
    assert _proposed([one], [full(two, 0.5, Outcome.DOES_NOT)]) == []


def made(plies: int, added: float, factor: float, minutes: float | None = None) -> Candidate:
    return Candidate(20.0, (0,), plies, added, 10.0 + plies if minutes is None else minutes, factor, "load: mode")


def full(c: Candidate, factor: float, outcome: Outcome) -> Verified:
    return Verified(c, "name", factor, outcome, "")


def test_the_lightest_and_the_quickest_are_proposed() -> None:
    light, quick, weak = made(3, 1.0, 1.1), made(2, 2.0, 1.2), made(1, 0.5, 0.9)
    assert _proposed([weak, light, quick], []) == [light, quick]
    assert _proposed([weak], []) == [weak]
    assert _proposed([weak], [full(weak, 0.9, Outcome.DOES_NOT)]) == []


def test_what_is_both_heavier_and_slower_is_outdone() -> None:
    light, quick = made(3, 1.0, 1.1, 20.0), made(2, 2.0, 1.2, 10.0)
    assert _outdone(made(4, 3.0, math.nan, 15.0), [light, quick])
    assert not _outdone(made(4, 3.0, math.nan, 5.0), [light, quick])
    assert not _outdone(made(4, 0.5, math.nan, 30.0), [light, quick])
    assert not _outdone(light, [])


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


_TWO = """
[[option.actions]]
kind = "doubler"
name = "D"
over = "H"
overlap_mm = 10
stack = "[0]"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "first ply"
cured_share = 0.8

[settings]"""
_PLUG = with_action("core plug", "overlap_mm = 20", 'plug = "foam-pvc-80"', 'stack = "[0]"', 'side = "last ply"')
_AREA = 'area = { shape = "disc", centre_mm = [120, 80], diameter_mm = 80 }'


@pytest.mark.parametrize(
    ("case", "option", "what"),
    [
        (CASE, "spare", "there is no option 'spare'"),
        (CASE.replace('over = "H"\noverlap_mm = 25', _AREA), "patch", "the patch has an area of its own"),
        (CASE.replace('protects_people = "no"', 'protects_people = "is one"'), "patch", "protects people"),
        (CASE.replace("[settings]", _TWO), "patch", "there is more than one to size: P, D"),
        (_PLUG, "patch", "there is nothing to size .*Allowed: one patch, .* or stepped patch, over a damage"),
        (CASE.replace('stack = "[0/45]"', 'stack = "[foam-pvc-80:2mm]"'), "patch", "there is no ply of fibre"),
    ],
)  # fmt: skip
def test_what_cannot_be_sized_is_said(tmp_path: Path, case: str, option: str, what: str) -> None:
    path = tmp_path / "case.toml"
    path.write_text(case)
    with pytest.raises(InputError, match=what):
        smallest(path, option)


def test_sizes_of_another_kind_are_refused(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["smallest", str(file), "--option", "patch", "--out", str(tmp_path / "out"), "--quiet"]
    assert main([*words, "--scarf-ratios", "20"]) == 2
    assert "scarf ratios mean nothing to a patch" in capsys.readouterr().err


def test_minutes_that_come_to_nothing_are_refused(file: Path) -> None:
    with pytest.raises(InputError, match="1 plies, overlap 25 mm, would take -10 min"):
        smallest(file, "patch", (25.0,), ply_minutes=40.0)


def test_the_help_names_the_usual_sizes_and_minutes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["smallest", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    for sizing in SIZINGS.values():
        assert f"(default: {' '.join(f'{x:g}' for x in sizing.usual)})" in said
    for default in (search.MOST_PLIES, search.PLY_MINUTES, search.TAPER_MINUTES):
        assert f"(default: {default:g}" in said


def test_an_overlap_off_the_panel_is_a_fault_of_the_case(file: Path) -> None:
    with pytest.raises(CaseError):
        smallest(file, "patch", (400.0,))


def test_the_command_refuses_in_one_message(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["smallest", str(file), "--option", "none", "--out", str(tmp_path / "out"), "--quiet"]) == 2
    assert "there is no option 'none'" in capsys.readouterr().err


def test_a_proposal_without_an_answer_does_not_end_the_search(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first full assessment finds no equilibrium; the next proposal has more plies, and suffices.  What the first
    had made is let go of by then.
    """
    held: list[weakref.ref[np.ndarray]] = []

    def breaks_first(case: Case) -> Assessment:
        if not held:
            model = np.zeros(9)
            held.append(weakref.ref(model))
            try:
                raise PathEndsError(0.5, False, "no step is short enough")
            except PathEndsError as error:
                raise ModelError("no equilibrium") from error
        assert held[0]() is None
        return linear(case)

    monkeypatch.setattr(search, "TURNINGS", {"fabric": ((0, 0, 0),)})
    monkeypatch.setattr(search, "assess", breaks_first)
    found = smallest(file, "patch", (15.0,), 4)
    assert found.verified[0].reason.startswith("no equilibrium")
    assert found.lightest is not None
    assert found.lightest.candidate.plies == 4
