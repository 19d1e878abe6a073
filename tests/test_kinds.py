"""Every kind of damage and repair has a case with expected numbers, a mark of its own in the pictures, a test of its
own and a line on the work card; the cases of ``cases/kinds`` hold them all.
"""

from __future__ import annotations

import tomllib
from itertools import chain
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from test_cases import CASES, compare, expected

from panelfem import damage, repair
from panelfem.assess import Assessment, assess
from panelfem.assess.records import Marked
from panelfem.case import load_case
from panelfem.case.schema_option import ActionKeys
from panelfem.marks import Mark
from panelfem.papers.card import work_card
from panelfem.papers.files import papers_of
from panelfem.report import pictures, write
from panelfem.report.view3d import data

FILES = sorted((CASES / "kinds").glob("*.toml"))
#: Kind -> its mark, of damage and repair.
MARKS: dict[str, Mark] = {w: getattr(d, "mark", Mark("?")) for w, d in damage.KINDS.items()} | {
    w: k.mark for w, k in repair.KINDS.items()
}


def kinds_in(path: Path) -> set[str]:
    """The kinds a case file names, as the registries call them."""
    read = tomllib.loads(path.read_text("utf-8"))
    actions = [action for option in read.get("option", []) for action in option["actions"]]
    named = {f"{action['method']} insert" if action["kind"] == "insert" else action["kind"] for action in actions}
    return named | {found["kind"] for found in read.get("damage", [])}


def drawn(assessment: Assessment, monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """The figures of the panel and of the repairs, not yet pictures."""
    monkeypatch.setattr(pictures, "png", lambda figure, dpi=150: figure)
    return [pictures.panel_picture(assessment), pictures.repairs_picture(assessment)]  # type: ignore[list-item]


def is_drawn(mark: Marked, figure: Figure) -> bool:
    """Whether a figure shows a mark as its kind is marked, and names it."""
    every = list(chain.from_iterable(axes.get_children() for axes in figure.axes))
    patches = [artist for artist in every if isinstance(artist, PathPatch)]
    named = any(text.get_text().replace("\n", " ") == mark.label for axes in figure.axes for text in axes.texts)
    if mark.place is not None:
        lines = [line for axes in figure.axes for line in axes.lines]
        return named and any(line.get_marker() == mark.mark.symbol for line in lines)
    hatched = not mark.mark.hatch or any(patch.get_hatch() == 2 * mark.mark.hatch for patch in patches)
    return named and hatched and any(patch.get_linestyle() == mark.mark.line for patch in patches)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_case_of_kinds(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once assessed: the numbers written down, the report, the pictures and the work cards."""
    case = load_case(path)
    found = assess(case)
    assert isinstance(found, Assessment)
    compare(found, expected("kinds")[path.stem])
    assert {mark.kind for mark in found.marked} == kinds_in(path)
    written = {p.name: p for p in write(found, tmp_path)}
    assert {"report.html", "panel.png", "repairs.png"} <= set(written)
    assert "What each option does" in written["report.html"].read_text("utf-8")
    panel, repairs = drawn(found, monkeypatch)
    for mark in found.marked:
        assert is_drawn(mark, repairs if mark.option else panel), mark.label
    turning = data(found)
    for state in turning["states"]:
        names = {turning["marks"][i]["name"] for i in state["marks"]}
        ours = {mark.label for mark in found.marked if mark.option == state["configuration"]}
        anew = any(mark.anew for mark in found.marked if mark.option == state["configuration"])
        sound = state["configuration"] == "undamaged" or anew
        assert names == ours | {mark.label for mark in found.marked if not mark.option and not sound}
    for option in case.options:
        card = work_card(papers_of(case, option.name), {}).decode()
        checks = card[card.index("Checks to sign") :]
        assert all(action.name in checks for action in option.actions)
        assert all(d.name in card and d.word in card for d in case.damage)


@pytest.mark.parametrize("word", sorted(MARKS))
def test_every_kind_has_a_case_with_numbers_and_a_mark(word: str) -> None:
    cases = [path for path in FILES if word in kinds_in(path)]
    assert cases, "no case of cases/kinds has it"
    numbers = expected("kinds")
    for path in cases:
        options = [option["name"] for option in tomllib.loads(path.read_text("utf-8"))["option"]]
        assert list(numbers[path.stem]["configurations"]) == ["undamaged", "as found", *options]
    mark = MARKS[word]
    assert [other for other, its in MARKS.items() if its == mark] == [word], "its mark is that of another kind"
    record = damage.KINDS[word] if word in damage.KINDS else repair.KINDS[word].record
    area = "region" in record.__dataclass_fields__ or "over" in record.__dataclass_fields__
    assert bool(mark.symbol) == (not area and word != "spare")


@pytest.mark.parametrize("word", sorted(repair.KINDS))
def test_every_repair_has_a_test_of_its_own(word: str) -> None:
    tests = "".join(p.read_text("utf-8") for p in Path(__file__).parent.glob("test_*.py"))
    own = f"def test_{word.replace(' ', '_').replace('-', '_')}_"
    assert own in tests, f"no test of its own: {own}…"


def test_the_registry_of_repairs_is_whole() -> None:
    """It holds every record and every word a case has for one, and no kind twice."""
    assert {kind.record for kind in repair.KINDS.values()} == set(get_args(repair.Action))
    words = {get_args(keys.model_fields["kind"].annotation)[0] for keys in get_args(ActionKeys)}
    assert {w for w in repair.KINDS if not w.endswith(" insert")} == words - {"insert"}
    methods = next(keys for keys in get_args(ActionKeys) if "method" in keys.model_fields).model_fields["method"]
    assert {w for w in repair.KINDS if w.endswith(" insert")} == {f"{m} insert" for m in get_args(methods.annotation)}
    assert not set(repair.KINDS) & set(damage.KINDS)


def test_both_ways_of_laying_up_have_a_case() -> None:
    """Plies cured under heat on a film, and plies laid wet in their own resin."""
    seen = set()
    for path in FILES:
        read = tomllib.loads(path.read_text("utf-8"))
        for action in (action for option in read["option"] for action in option["actions"] if "adhesive" in action):
            plies = read["materials"][action.get("material", read["panel"]["material"])]["like"]
            seen.add((plies, read["materials"][action["adhesive"]]["like"]))
    assert seen >= {("T300-5208", "film-epoxy"), ("carbon-twill-wet", "wet-resin")}


def test_a_mark_that_is_not_drawn_is_seen() -> None:
    """The look at the figures tells a mark that is not there."""
    assert not is_drawn(Marked("T", "toy", Mark("-+"), inside=np.ones(1, bool)), Figure())
