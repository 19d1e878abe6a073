"""The finding form from the first question to the papers: scripts, flags, mistakes, and a disk that refuses."""

from __future__ import annotations

import errno
import io
import os
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import garage_library
import pytest

import panelfem.files
from panelfem.case import parse
from panelfem.cli import main
from panelfem.cli.finding_form import LEFT, Form, damages
from panelfem.cli.form import Talk, fill
from panelfem.errors import InputError
from panelfem.garage import Library
from panelfem.report import json_out

#: A declined part takes every step but the assessment, at once.
SHELL = ["--panel", "shell", "--circuit", "plain", "--by", "A. N.", "--minutes", "80"]
HOLE = ["--damage", "hole", "--at", "100, 80", "--size", "20", "--tolerance", "1"]


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return garage_library.write(tmp_path_factory.mktemp("garage"))


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Lines on stdin; `terminal`: from somebody at a terminal, who can answer again."""

    def lines(text: str, terminal: bool = False) -> None:
        stream = io.StringIO(text)
        stream.isatty = lambda: terminal  # type: ignore[method-assign]
        monkeypatch.setattr(sys, "stdin", stream)

    lines("")
    return lines


def finding(library: Path, out: Path, *arguments: str) -> int:
    return main(["finding", str(library), "--out", str(out), "--quiet", *arguments])


def document(out: Path) -> dict[str, Any]:
    return tomllib.loads((out / "finding.toml").read_text(encoding="utf-8"))


# ---- one assessment, to the papers


@pytest.fixture(scope="module")
def refitted(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A tray with a fixing gone, by answers on a pipe; exit code, folder, log and what was printed."""
    from contextlib import redirect_stderr, redirect_stdout

    root = tmp_path_factory.mktemp("finding")
    out, err, heard = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = io.StringIO("tray\nhill\nfixing gone\nF1\n\n80\nA. N.\n")
    try:
        with redirect_stdout(out), redirect_stderr(err):
            log = str(root / "team.log")
            code = main(["finding", str(library), "--out", str(root / "out"), "--log", log, "--part", "tray 7"])
    finally:
        sys.stdin = heard
    return code, root / "out", root / "team.log", out.getvalue(), err.getvalue()


def test_answers_lead_to_the_report_and_the_papers(refitted: Any) -> None:
    code, out, _, printed, said = refitted
    assert code == 0
    words = " ".join(printed.split())
    assert "refit: meets the factor asked for" in words
    assert "as found: does not meet the factor asked for" in words
    # refitted, the tray weighs what it weighed
    assert "Ballast to restore mass and balance: none." in words
    assert f"Report: {out / 'report.html'}" in printed
    assert f"Papers, to print at 100 %: {out / 'papers'}" in printed
    assert {"work-card.html", "sign-off.html", "damage-grid.pdf"} <= {p.name for p in (out / "papers").iterdir()}
    assert {"finding.toml", "case.toml", "result.json", "report.html"} <= {p.name for p in out.iterdir()}
    result = json_out.read(out / "result.json")
    assert result["recommendation"] == "refit"
    assert all(c["ballast"]["restored"] for c in result["configurations"] if c["name"] in ("undamaged", "refit"))
    assert "reading the case and meshing" in said
    assert "\x1b" not in printed + said
    assert "A. N." in (out / "papers" / "work-card.html").read_text(encoding="utf-8")


def test_the_finding_and_the_case_say_what_was_answered(refitted: Any) -> None:
    out = refitted[1]
    assert document(out) == {
        "finding": {
            "panel": "tray", "car": "seven", "circuit": "hill", "kit": "box", "minutes_left": 80.0, "who": "A. N.",
        },
        "damage": [{"kind": "missing fastener", "name": "F1 gone", "fastener": "F1"}],
    }  # fmt: skip
    model = parse(out / "case.toml")
    assert model.case.title == "tray, left: F1 gone"
    assert [option.name for option in model.option] == ["refit"]


def test_the_log_holds_finding_and_assessment(refitted: Any) -> None:
    from panelfem.log import Log

    out, log, printed = refitted[1], refitted[2], refitted[3]
    with Log.open(log, only_read=True) as opened:
        entries = opened.life("tray 7").entries
    assert [(e.kind, e.who) for e in entries] == [("finding", "A. N."), ("assessment", "A. N.")]
    assert entries[0].document == (out / "finding.toml").read_text(encoding="utf-8")
    assert f"Log: entry {entries[1].number} in {log}" in printed


def test_another_finding_replaces_the_result_and_takes_the_papers_away(
    refitted: Any, library: Path, tmp_path: Path, typed: Any
) -> None:
    import shutil

    shutil.copytree(refitted[1], tmp_path / "out")
    assert finding(library, tmp_path / "out", *SHELL, *HOLE) == 0
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"finding.toml", "case.toml", "result.json", "report.html"}
    assert document(tmp_path / "out")["finding"]["panel"] == "shell"


def test_the_composed_case_is_assessed_again_in_its_folder_and_stays(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert finding(library, out, *SHELL, *HOLE) == 0
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    said = capsys.readouterr().out
    assert main(["assess", str(out / "case.toml"), "--out", str(out), "--quiet"]) == 0
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before
    assert capsys.readouterr().out == said
    # another case takes the place of all of it
    (tmp_path / "mine.toml").write_bytes(before["case.toml"])
    assert main(["assess", str(tmp_path / "mine.toml"), "--out", str(out), "--quiet"]) == 0
    assert {p.name for p in out.iterdir()} == {"result.json", "report.html"}


# ---- questions


def test_ten_answers_are_enough_from_the_chosen_panel_on(library: Path) -> None:
    # the longest way: a place that needs telling apart, a direction, and a depth are one more each
    for lines, longest in (
        ("hill\nhole\n100, 80\n60 x 12\n30\n2\nno\n80\nA. N.\n", 10),
        ("hill\ndull area\n60 from F1, 25 from edge\n1\n60 x 12 at 30\n\n\n80\nA. N.\n", 10),
        ("hill\ndelamination\n100, 80\n60 x 12\n30\n\n2\n\n80\nA. N.\n", 10),
        ("hill\nfixing gone\nF2\n\n80\nA. N.\n", 6),
    ):
        talk = Talk(io.StringIO(lines), io.StringIO(), live=True)
        values = fill(Form(Library.open(library)), {"panel": "tray"}, talk)
        assert talk.answers == lines.count("\n") <= longest
        assert values["who"] == "A. N."


def test_a_whole_session_with_mistakes_help_and_the_way_back(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    session = """\
        tray
        <
        shell
        moon
        ?
        plain
        hole
        60 from F9, 10 from F2
        here
        500, 10
        100, 80
        large
        60 x 12 at towards F2
        <
        60 x 12
        towards F1
        99
        2
        yes
        fixing gone
        F3
        maybe
        no
        soon
        80 min
        A. N."""
    typed("\n".join(line.strip() for line in session.splitlines()) + "\n", terminal=True)
    assert finding(library, tmp_path / "out") == 0
    said = capsys.readouterr().err
    for words in (
        "'moon' is none of these. Allowed: hill, plain",
        "Which of the prepared circuit files",
        "there is no fixing 'F9'",
        "'here' says no place",
        "260 mm off the panel",
        "'large' is no size",
        "'99' is out of range. Allowed: 0 to 50 mm",
        "'maybe' is neither. Allowed: yes, no",
        "'soon' is not a number",
    ):
        assert words in said, words
    found = document(tmp_path / "out")
    hole, gone = found["damage"]
    assert hole["area"]["centre_mm"] == [100, 80]
    # from (100, 80) to F1 at (225, 15)
    assert hole["area"]["along"] == pytest.approx([125 / 140.89, -65 / 140.89, 0], abs=1e-4)
    assert (hole["area"]["length_mm"], hole["area"]["width_mm"], hole["tolerance_mm"]) == (60, 12, 2)
    assert gone == {"kind": "missing fastener", "name": "F3 gone", "fastener": "F3"}
    assert found["finding"]["minutes_left"] == 80


def test_the_place_is_said_back_and_one_of_two_is_asked_for(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    # 50² = 40² + 30²: 40 mm to the left of F3 and 30 mm below it, or 40 mm to its right
    typed("50 from F3, 45 from edge\nnear F2\n", terminal=True)
    assert finding(library, tmp_path / "out", *SHELL, "--damage", "hole", "--size", "20", "--tolerance", "1") == 0
    said = capsys.readouterr().err
    assert "2 places fit." in said
    assert document(tmp_path / "out")["damage"][0]["area"]["centre_mm"] == pytest.approx([160, 115], abs=0.02)


def test_tapes_in_line_are_warned_of(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ["--damage", "hole", "--at", "52 from F3, 53 from F2", "--size", "9", "--tolerance", "1"]
    assert finding(library, tmp_path / "out", *SHELL, *place) == 0
    assert "the tapes lie nearly in line: 1 mm on one moves the place" in capsys.readouterr().err


def test_only_cars_that_carry_the_panel_are_asked_for(library: Path, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(library, tmp_path / "garage")
    other = garage_library.CAR.replace('panel = "tray"', 'panel = "shell"', 1).split("\n[[carries]]")
    (tmp_path / "garage" / "cars" / "eight.toml").write_text("\n[[carries]]".join(other[:2]), encoding="utf-8")
    form = Form(Library.open(tmp_path / "garage"))
    assert form({"panel": "tray"}).key == "circuit"  # type: ignore[union-attr]
    question = form({"panel": "shell"})
    assert question is not None
    assert question.choices == ("eight", "seven")


def test_a_circuit_that_the_car_cannot_meet_is_refused_at_once(library: Path, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(library, tmp_path / "garage")
    (tmp_path / "garage" / "circuits" / "pit.toml").write_text(garage_library.DEEP, encoding="utf-8")
    said = io.StringIO()
    lines = "pit\nhill\nfixing gone\nF1\n\n\nA. N.\n"
    values = fill(Form(Library.open(tmp_path / "garage")), {"panel": "tray"}, Talk(io.StringIO(lines), said, live=True))
    assert values["circuit"] == "hill"
    assert "80 mm is more than either axle of cars/seven.toml can go down" in said.getvalue()


def test_what_is_known_of_the_undamaged_panel_is_said(
    library: Path, tmp_path: Path, typed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from types import SimpleNamespace

    from panelfem.garage import undamaged

    assert finding(library, tmp_path / "a", *SHELL, *HOLE) == 0
    assert "Undamaged" not in capsys.readouterr().err
    known = SimpleNamespace(outcome="meets the factor asked for", reason="suction: reached at 2.6 times")
    asked: list[tuple[Any, ...]] = []
    monkeypatch.setattr(undamaged, "cached", lambda *names: asked.append(names[1:]) or known)
    assert finding(library, tmp_path / "b", *SHELL, *HOLE) == 0
    said = capsys.readouterr().err
    assert "Undamaged, as assessed before: meets the factor asked for. suction: reached at 2.6 times." in said
    assert asked == [("shell", "seven", "plain")]


def test_the_ballast_move_makes_up_for_the_repair(library: Path) -> None:
    from dataclasses import replace

    import synthetic

    from panelfem.cli.finding import _ballast
    from panelfem.report import figures, json_out, wording

    car = Library.open(library).cars["seven"]
    made = synthetic.assessment(resolution=(12, 8))
    whole, repaired = (
        next(c for c in made.configurations if test(c))
        for test in (lambda c: c.kind == "undamaged", lambda c: c.name == made.recommendation)
    )
    centre = [0.1, 0.1, 0.0]
    found = replace(
        made,
        configurations=(
            replace(whole, mass=0.100, centre_of_mass=synthetic.np.array(centre)),
            replace(repaired, mass=0.160, centre_of_mass=synthetic.np.array(centre)),
        ),
    )
    ballast = _ballast(found, car, "tray")
    assert all(m.change == 0 for m in ballast["undamaged"].moves)
    document = json_out.document(found, ballast)["configurations"][1]["ballast"]
    assert document["restored"]
    moves = {move["station"]: move["change_g"] for move in document["moves"]}
    said = wording.ballast_text(ballast[repaired.name])
    assert all(f"{name} {figures.grams(1e-3 * x, True)}" in said for name, x in moves.items())
    # by hand: 60 g at x = 2100, y = 500 mm in the axes of the car, taken out again at the stations
    x, y = {"nose": -400, "left": 1500, "gearbox": 3200}, {"nose": 0, "left": -500, "gearbox": 100}
    assert sum(moves.values()) == pytest.approx(-60, abs=0.2)
    assert sum(m * x[n] for n, m in moves.items()) == pytest.approx(-60 * 2100, abs=400)
    assert sum(m * y[n] for n, m in moves.items()) == pytest.approx(-60 * 500, abs=60)


# ---- flags


def test_with_all_flags_nothing_is_asked(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    code = finding(
        library, tmp_path / "out", "--panel", "shell", "--car", "seven", "--circuit", "plain", "--kit", "box",
        "--damage", "hole", "--at", "F3 - 20, -60", "--size", "30 x 8 rectangle", "--direction", "0, 1, 0",
        "--tolerance", "0.5",
        "--damage", "dull area", "--at", "60, 60", "--size", "40", "--tolerance", "5",
        "--damage", "delamination", "--at", "150 60", "--size", "30 x 20 at 45", "--tolerance", "4", "--after-ply", "1",
        "--damage", "missing fastener", "--fixing", "f2",
        "--minutes", "no clock", "--by", "A. N.", "--title", "Nose: four findings",
    )  # fmt: skip
    assert code == 0
    assert "1." not in capsys.readouterr().err
    found = document(tmp_path / "out")
    assert "minutes_left" not in found["finding"]
    assert found["finding"]["title"] == "Nose: four findings"
    assert found["damage"] == [
        {
            "kind": "hole", "name": "hole", "tolerance_mm": 0.5,
            "area": {
                "shape": "rectangle", "centre_mm": [100, 85], "length_mm": 30, "width_mm": 8, "along": [0, 1, 0],
            },
        },
        {
            "kind": "softened", "name": "dull area", "tolerance_mm": 5, "strength_share": LEFT,
            "area": {"shape": "disc", "centre_mm": [60, 60], "diameter_mm": 40},
        },
        {
            "kind": "delamination", "name": "delamination", "tolerance_mm": 4, "interface": 1,
            "area": {
                "shape": "ellipse", "centre_mm": [150, 60], "length_mm": 30, "width_mm": 20,
                "along": [0.707107, 0.707107, 0],
            },
        },
        {"kind": "missing fastener", "name": "F2 gone", "fastener": "F2"},
    ]  # fmt: skip


def test_damages_of_a_kind_get_names_of_their_own(library: Path, tmp_path: Path, typed: Any) -> None:
    other = ["--damage", "hole", "--at", "60, 60", "--size", "20", "--tolerance", "1"]
    assert finding(library, tmp_path / "out", *SHELL, *HOLE, *other) == 0
    assert [d["name"] for d in document(tmp_path / "out")["damage"]] == ["hole", "hole 2"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (["--panel", "trey"], "--panel 'trey'"),
        (["--circuit", "moon"], "--circuit 'moon'"),
        (["--car", "eight"], "--car 'eight'"),
        (["--kit", "bag"], "--kit 'bag'"),
        (["--damage", "scratch"], "--damage 'scratch'"),
        (["--at", "9, 9 from"], "--at '9, 9 from'"),
        (["--size", "wide"], "--size 'wide'"),
        (["--size", "0.2"], "--size '0.2'"),
        (["--size", "20 x 5", "--direction", "up"], "--direction 'up'"),
        (["--size", "20 x 5", "--direction", "towards F7"], "no fixing 'F7'"),
        (["--tolerance", "-1"], "--tolerance '-1'"),
        (["--damage", "delamination", "--after-ply", "1.5"], "--after-ply '1.5'"),
        (["--damage", "fixing gone", "--fixing", "F7"], "--fixing 'F7'"),
        (["--after-ply", "2"], "--after-ply says nothing about damage 1, hole"),
        (["--direction", "30"], "--direction says nothing about damage 1, hole"),
        (["--damage", "fixing gone", "--fixing", "F1"], "--at says nothing about damage 1, fixing gone"),
        (["--minutes", "long"], "--minutes 'long'"),
        (["--by", "A\x07"], r"the answer holds the character '\x07' (--by)"),
        (["--title", "A\nB"], r"'\n'"),
    ],
)
def test_every_wrong_flag_is_one_message_and_nothing_is_written(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str], change: list[str], said: str
) -> None:
    given = {
        "--panel": "tray", "--car": "seven", "--circuit": "hill", "--kit": "box", "--damage": "hole", "--at": "100, 80",
        "--size": "20", "--tolerance": "1", "--minutes": "80", "--by": "A. N.",
    }  # fmt: skip
    given |= dict(zip(change[::2], change[1::2], strict=True))
    assert finding(library, tmp_path / "a" / "out", *(f"{k}={v}" for k, v in given.items())) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("panelfem: ") == 1
    assert "Traceback" not in error
    assert list(tmp_path.iterdir()) == []


def test_flags_that_contradict_are_refused(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], typed: Any
) -> None:
    with pytest.raises(SystemExit) as stop:
        finding(library, tmp_path / "out", "--at", "1, 2", "--at", "3, 4")
    assert stop.value.code == 2
    assert "given twice for one damage" in capsys.readouterr().err
    assert finding(library, tmp_path / "out", "--from", "x.toml", "--panel", "tray") == 2
    assert "--panel contradicts --from" in capsys.readouterr().err
    assert finding(library, tmp_path / "out", "--from", "x.toml", *HOLE) == 2
    assert "--damage contradicts --from" in capsys.readouterr().err


def test_yes_takes_defaults_but_no_unseen_place(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["--panel", "shell", "--circuit", "hill", "--yes"]
    assert finding(library, tmp_path / "out", *given) == 2
    assert "(--at)" in capsys.readouterr().err
    assert finding(library, tmp_path / "out", "--panel", "shell", "--yes") == 2
    assert "(--circuit). Allowed: hill, plain" in capsys.readouterr().err
    assert finding(library, tmp_path / "out", *given, "--at", "100, 80", "--size", "20") == 0
    said = capsys.readouterr().err
    for words in ("Damage: hole (default)", "Minutes left: no clock (default)", "Who found it: not stated (default)"):
        assert words in said
    assert document(tmp_path / "out")["damage"][0]["tolerance_mm"] == 1


def test_the_same_answers_give_the_same_files(library: Path, tmp_path: Path, typed: Any) -> None:
    for name in ("a", "b"):
        assert finding(library, tmp_path / name, *SHELL, *HOLE) == 0
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes(), path.name


# ---- the end of input, interruptions, refusals


@pytest.mark.parametrize(("lines", "flag"), [("", "--panel"), ("tray\n", "--circuit"), ("tray\nhill\nhole\n", "--at")])
def test_the_end_of_input_writes_nothing_and_names_the_flag(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str], lines: str, flag: str
) -> None:
    typed(lines)
    assert finding(library, tmp_path / "deep" / "out", "--log", str(tmp_path / "team.log")) == 2
    error = capsys.readouterr().err
    assert "nothing was written" in error
    assert f"{flag})" in error
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_writes_nothing(
    library: Path, tmp_path: Path, typed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(self: Talk) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(Talk, "line", interrupted)
    assert finding(library, tmp_path / "out") == 130
    assert "interrupted; what was not finished was not written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_while_assessing_keeps_the_finding(
    library: Path, tmp_path: Path, typed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import panelfem.assess

    def interrupted(case: Any, progress: Any = None, early: Any = None) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(panelfem.assess, "assess", interrupted)
    assert finding(library, tmp_path / "out", *SHELL, *HOLE) == 130
    assert f"The finding is kept in {tmp_path / 'out' / 'finding.toml'}" in capsys.readouterr().err
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"finding.toml", "case.toml"}
    monkeypatch.undo()
    assert finding(library, tmp_path / "out", "--from", str(tmp_path / "out" / "finding.toml")) == 0
    assert (tmp_path / "out" / "result.json").is_file()


def test_a_finding_that_is_refused_is_kept_and_taken_up_again(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    apart = ["--damage", "delamination", "--at", "100, 80", "--size", "30", "--tolerance", "5", "--after-ply", "400"]
    tray = ["--panel", "tray", "--circuit", "hill", "--by", "A. N.", "--minutes", "80"]
    out = tmp_path / "out"
    assert finding(library, out, *tray, *apart) == 2
    error = capsys.readouterr().err
    assert "interface" in error
    assert f"The finding is kept in {out / 'finding.toml'}; --from takes it up again" in error
    text = (out / "finding.toml").read_text(encoding="utf-8").replace("interface = 400", "interface = 1")
    text = text.replace('panel = "tray"', 'panel = "shell"')
    (out / "finding.toml").write_text(text, encoding="utf-8")
    assert finding(library, out, "--from", str(out / "finding.toml")) == 0
    assert (out / "finding.toml").read_text(encoding="utf-8") == text


def test_a_finding_from_elsewhere_is_checked_and_kept(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text('[finding]\npanel = "shell"\ncar = "seven"\ncircuit = "hill"\nkit = "box"\nwho = "B. C."\n')
    assert finding(library, tmp_path / "out", "--from", str(mine)) == 0
    assert document(tmp_path / "out")["finding"]["who"] == "B. C."
    mine.write_text("[finding\n")
    assert finding(library, tmp_path / "new", "--from", str(mine)) == 2
    assert "is not TOML" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
    assert finding(library, tmp_path / "new", "--from", str(tmp_path / "none.toml")) == 2
    assert "no such file" in capsys.readouterr().err


def test_a_log_needs_a_name_and_is_looked_at_before_the_assessment(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    log = ["--log", str(tmp_path / "team.log")]
    nameless = [a for a in SHELL if a not in ("--by", "A. N.")]
    assert finding(library, tmp_path / "out", *nameless, *HOLE, *log, "--yes") == 2
    assert "(--by)" in capsys.readouterr().err
    (tmp_path / "team.log").write_text("not a log")
    assert finding(library, tmp_path / "out", *SHELL, *HOLE, *log) == 2
    error = capsys.readouterr().err
    assert "not a log of this tool" in error
    assert "The finding is kept" in error
    assert not (tmp_path / "out" / "result.json").exists()


def test_somebody_elses_folder_is_refused_before_anything_is_asked(
    library: Path, tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in (("mine.txt", "x"), ("finding.toml", '[finding]\npanel = "mine"\n')):
        folder = tmp_path / name.replace(".", "-")
        folder.mkdir()
        (folder / name).write_text(text)
        assert finding(library, folder) == 2
        error = capsys.readouterr().err
        assert "not a result of this tool" in error
        assert "1." not in error
        assert (folder / name).read_text() == text


def test_a_missing_library_is_one_message(tmp_path: Path, typed: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert finding(tmp_path / "none", tmp_path / "out") == 2
    assert "there is no such folder" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder nobody can write to")
def test_an_unwritable_folder_is_said_before_anything_is_asked(
    library: Path, typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    assert finding(library, Path("/proc/self/nothing")) == 2
    error = capsys.readouterr().err
    assert "cannot write to the output folder" in error
    assert "1." not in error


@pytest.mark.parametrize("full", ["finding.toml", "case.toml", "result.json", "report.html"])
def test_a_full_disk_is_one_message_and_loses_no_answer(
    library: Path, tmp_path: Path, typed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    full: str,
) -> None:  # fmt: skip
    real = os.replace

    def replace(source: Any, target: Any) -> None:
        if Path(target).name == full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(source, target)

    monkeypatch.setattr(panelfem.files.os, "replace", replace)
    assert finding(library, tmp_path / "out", *SHELL, *HOLE) == 2
    error = capsys.readouterr().err
    assert f"panelfem: cannot write {full}: No space left on device" in error
    left = {p.name for p in (tmp_path / "out").iterdir()} if (tmp_path / "out").exists() else set()
    assert full not in left
    assert not any(name.endswith(".part") for name in left)
    if full == "finding.toml":
        shown = error.partition("Here it is:\n")[2].partition("panelfem: ")[0]
        assert tomllib.loads(shown)["damage"][0]["area"]["centre_mm"] == [100, 80]
    else:
        assert document(tmp_path / "out")["damage"][0]["area"]["centre_mm"] == [100, 80]


@pytest.mark.parametrize("name", ["a b;c", "[red]x", "-out", "ü漢", "a\x1b[2Jb", "new\nline", "x\udcff", "%s{0}"])
def test_hostile_names_of_the_folder(
    library: Path, tmp_path: Path, typed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    name: str,
) -> None:  # fmt: skip
    try:
        (tmp_path / name).mkdir()
    except (OSError, UnicodeError):
        pytest.skip("this file system has no such name")
    assert main(["finding", str(library), f"--out={tmp_path / name}", "--quiet", *SHELL, *HOLE]) == 0
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    assert "Report: " in said.out
    assert (tmp_path / name / "report.html").is_file()


def test_hostile_answers_stay_text(library: Path, tmp_path: Path, typed: Any) -> None:
    who = "A \"N\" \\ [red] # {x} '''"
    typed(f"{who}\n")
    given = [a for a in SHELL if a not in ("--by", "A. N.")]
    assert finding(library, tmp_path / "out", *given, *HOLE, "--title", '"; x = 1 #') == 0
    found = document(tmp_path / "out")["finding"]
    assert (found["who"], found["title"]) == (who, '"; x = 1 #')


# ---- a mesh


def test_places_on_a_mesh_have_their_height() -> None:
    garage = Library.open(Path(__file__).parent.parent / "cases" / "garage")
    form = Form(garage)
    values = fill(
        form, {"panel": "access-lid", "circuit": "airfield", "0.kind": "hole", "0.place": "60 from L3, 60 from edge, "
        "near L1", "0.size": "20", "0.tolerance": "1", "0.more": "no", "minutes": "60", "who": "A. N."},
        Talk(io.StringIO(), io.StringIO()),
    )  # fmt: skip
    flat, deep = (damages(values, spatial)[0]["area"]["centre_mm"] for spatial in (False, True))
    assert deep[:2] == flat
    x, y = flat
    # the formula of the lid
    assert deep[2] == pytest.approx(-((x - 210) ** 2) / 4000 - (y - 150) ** 2 / 5000, abs=0.01)
    with pytest.raises(InputError, match="no fixing"):
        fill(form, {"panel": "access-lid", "circuit": "airfield", "0.kind": "hole", "0.place": "60 from X, 60 from L1"},
             Talk(io.StringIO(), io.StringIO()))  # fmt: skip
