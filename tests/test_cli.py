"""The command line: what it prints, where, and with which exit code, above all when something is wrong."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import synthetic

import panelfem.assess
import panelfem.case
import panelfem.verify
from panelfem.cli import build_parser, main
from panelfem.errors import CaseError, Fault, ModelError
from panelfem.report import json_out

CASE = SimpleNamespace()


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The command with a made-up assessment in place of the solver; `found` is what it finds (an error is raised)."""
    state = SimpleNamespace(found=synthetic.assessment(resolution=(12, 8)), stages=[])

    def assess(case: Any, progress: Any = None, early: Any = None) -> Any:
        assert case is CASE
        for stage, share in (("undamaged", 0.0), ("as found", 0.5), ("disposition", 1.0)):
            state.stages.append(stage)
            progress(stage, share)
        if isinstance(state.found, BaseException):
            raise state.found
        return state.found

    monkeypatch.setattr(panelfem.case, "load_case", lambda path: CASE, raising=False)
    monkeypatch.setattr(panelfem.assess, "assess", assess, raising=False)
    return state


def python(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """A fresh interpreter."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1"}
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, timeout=60, check=False, cwd=cwd, env=environment
    )


# ---- help


def test_help_needs_nothing_heavy() -> None:
    heavy = ("numpy", "scipy", "skfem", "meshio", "pydantic", "rich", "matplotlib", "plotly", "shapely", "mmgpy")
    code = "import sys, panelfem.cli as c; c.build_parser().format_help(); "
    code += f"print([m for m in {heavy} if m in sys.modules])"
    found = python("-c", code)
    assert found.stdout.strip() == "[]", found.stderr


def test_the_module_runs() -> None:
    found = python("-m", "panelfem", "--help")
    assert found.returncode == 0
    for command in ("assess", "finding", "laminate", "materials", "verify"):
        assert f"\n    {command}" in found.stdout
    assert "never a release" in " ".join(found.stdout.split())


def test_no_command_prints_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    assert "COMMAND" in capsys.readouterr().out


def test_every_option_has_help() -> None:
    for action in build_parser()._actions:
        for parser in getattr(action, "choices", None) or ():
            for option in action.choices[parser]._actions:  # type: ignore[index]
                assert option.help, (parser, option.dest)


@pytest.mark.parametrize(
    "arguments",
    [
        ["assess"],
        ["assess", "a.toml"],
        ["laminate"],
        ["nonsense"],
        ["laminate", "[0]", "--thickness", "0"],
        ["laminate", "[0]", "--thickness", "thin"],
        ["laminate", "[0]", "--load", "1", "2"],
        ["laminate", "[0]", "--load", "nan", "0", "0", "0", "0", "0"],
        ["laminate", "[0]", "--material", "a", "--case", "b.toml"],
    ],
)
def test_wrong_arguments_exit_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(arguments)
    assert stop.value.code == 2
    assert "Traceback" not in capsys.readouterr().err


# ---- assess


def test_assess_prints_the_table_and_the_sentence(
    engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["assess", "case.toml", "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    words = " ".join(said.out.split())
    assert "wall contact 663 N" in words
    governs = "wall contact governs, margin +58 %, +50 % asked, 30 of 80 min."
    assert f"Wet patch, two plies: meets it with conditions; {governs}" in words
    assert "meets the factor asked for, for the listed loads, if:" in words
    assert "released by ____." in words
    assert "as found: does not meet the factor asked for." in words
    assert "Invented scenario" in words
    assert "426 N (!)" in words
    assert "(!) outside linear theory: the number is not to be relied on" in words
    assert "reached at" in words
    assert "zero load" in words
    assert str(tmp_path / "out" / "report.html") in said.out.replace("\n", "")
    for stage in engine.stages:
        assert stage in said.err
    assert json_out.read(tmp_path / "out" / "result.json")["recommendation"] == "wet patch, two plies"


def test_assess_prints_the_total_uncertainty_and_an_accuracy_that_is_not_met(
    engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    engine.found = synthetic.barred(engine.found, met=False)
    assert main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    unmet = "The accuracy asked for, 2 %, is NOT met after 2 meshes: the worst is pull on F2, ram test, with ±3.1 %"
    assert words.index(unmet) < words.index("Governing load")
    assert "Governing factor: 1.6 (wall contact), between 1.2 and 1.9 with everything that is uncertain;" in words
    assert "the largest part is the load severity." in words
    engine.found = synthetic.barred(synthetic.assessment(resolution=(12, 8)))
    assert main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"]) == 0
    assert "NOT met" not in capsys.readouterr().out


def test_quiet_says_nothing_on_stderr(engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "released by ____" in said.out


def test_nothing_is_written_outside_the_folder(
    engine: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    assert main(["assess", "case.toml", "--out", str(tmp_path / "out")]) == 0
    assert list((tmp_path / "work").iterdir()) == []
    assert [p.name for p in tmp_path.iterdir() if p.name not in ("work", "out")] == []


def test_no_control_codes_reach_a_pipe(engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["assess", "case.toml", "--out", str(tmp_path)])
    said = capsys.readouterr()
    assert "\x1b" not in said.out + said.err
    assert "\r" not in said.out + said.err


def test_names_are_not_read_as_markup(engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from dataclasses import replace

    conf = replace(engine.found.configurations[1], name="[red]F1[/red] :warning:")
    engine.found = replace(engine.found, configurations=(conf,), recommendation=None)
    assert main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"]) == 0
    assert "[red]F1[/red] :warning:" in " ".join(capsys.readouterr().out.split())


def test_a_declined_part_says_who_decides(engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    engine.found = synthetic.declined()
    assert main(["assess", "case.toml", "--out", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Declined: It is part of a front impact structure. Refer to: Its manufacturer")


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (ModelError("the panel is free to move", do="hold it"), 2, "the panel is free to move. Do: hold it."),
        (CaseError("a.toml", (Fault("x.y", "is missing"), Fault("z", "is 3"))), 2, "2. is 3 (z)."),
        (OSError(28, "No space left on device", "/tmp/x"), 2, "No space left on device (/tmp/x)"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
)
def test_what_goes_wrong_is_one_message(
    engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], error: BaseException, code: int, said: str
) -> None:
    engine.found = error
    assert main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"]) == code
    heard = capsys.readouterr()
    assert said in heard.err
    assert heard.err.startswith("panelfem: ")
    assert "Traceback" not in heard.err
    assert heard.out == ""


def test_a_mistake_of_our_own_is_not_hidden(engine: Any, tmp_path: Path) -> None:
    engine.found = ZeroDivisionError("a defect")
    with pytest.raises(ZeroDivisionError):
        main(["assess", "case.toml", "--out", str(tmp_path), "--quiet"])


def test_a_missing_case_is_one_message(tmp_path: Path) -> None:
    found = python("-m", "panelfem", "assess", "nowhere.toml", "--out", "out", cwd=tmp_path)
    assert found.returncode == 2
    assert "nowhere.toml" in found.stderr
    assert "no such file" in found.stderr
    assert "Traceback" not in found.stderr


def test_a_folder_of_somebody_else_is_refused_before_anything_runs(
    engine: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.txt").write_text("x")
    assert main(["assess", "case.toml", "--out", str(tmp_path)]) == 2
    assert "not a result of this tool" in capsys.readouterr().err
    assert engine.stages == []


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder nobody can write to")
def test_an_unwritable_folder_is_one_message(engine: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", "case.toml", "--out", "/proc/self/nothing"]) == 2
    assert "cannot write to the output folder" in capsys.readouterr().err


# ---- laminate and materials


def test_laminate_prints_stiffness_with_units(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["laminate", "[0/90]s", "--material", "T300-5208"]) == 0
    out = capsys.readouterr().out
    for words in ("A, N/mm", "D, N·mm", "GPa", "1e-6/K", "B, N (zero"):
        assert words in out
    # (Q11 + Q22)/2 · 0.5 mm with Q of T300/5208: 181.8 and 10.35 GPa
    assert re.search(r"A, N/mm\s+(\d+)", out)[1] == "48039"  # type: ignore[index]


def test_laminate_under_a_load_gives_the_reserve_of_a_hand_calculation(capsys: pytest.CaptureFixture[str]) -> None:
    # one 0° ply of 0.125 mm with 1500 MPa along the fibre: 93.75 N/mm is half of what it takes
    assert main(["laminate", "[0]", "--material", "T300-5208", "--load", "93.75", "0", "0", "0", "0", "0"]) == 0
    out = capsys.readouterr().out
    row = next(line for line in out.splitlines() if line.startswith("maximum stress"))
    assert "×2 " in row
    assert "+100 %" in row
    assert "fibre tension (release)" in row
    assert "750.0" in out


def test_laminate_says_when_heat_alone_fails_it(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = [
        "laminate",
        "[0/90]s",
        "--material",
        "T300-5208",
        "--change",
        "-400",
        "--load",
        "1",
        "0",
        "0",
        "0",
        "0",
        "0",
    ]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert "reached at zero load" in out
    assert "no number" in out


def test_laminate_says_what_it_does_not_judge(capsys: pytest.CaptureFixture[str]) -> None:
    stack = "[0/foam-pvc-80:5mm/0]"
    assert main(["laminate", stack, "--material", "carbon-twill", "--load", "-50", "0", "0", "0", "0", "0"]) == 0
    assert "core shear, wrinkling, dimpling and crimping are judged by 'panelfem assess'" in capsys.readouterr().out


def test_laminate_says_which_plies_are_held(capsys: pytest.CaptureFixture[str]) -> None:
    """Yt of the inner plies 1.12 √2 times 40 MPa by hand; the outer ones stay, and by default so do all."""
    load = ["--load", "50", "0", "0", "0", "0", "0"]
    assert main(["laminate", "[0/90]s", "--material", "T300-5208", *load, "--in-situ"]) == 0
    said = capsys.readouterr().out
    assert "ply 2: Yt 40 → 63.4 MPa, S 68 → 68 MPa; ply 3" in said
    assert "ply 1: Yt" not in said
    assert main(["laminate", "[0/90]s", "--material", "T300-5208", *load]) == 0
    assert "in situ" not in capsys.readouterr().out


def test_laminate_takes_the_thickness_in_millimetres(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["laminate", "[0]", "--material", "carbon-ud", "--thickness", "0.2"]) == 0
    assert "monolithic, 0.2 mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["laminate", "[0/45"], "'[0/45'"),
        (["laminate", "[0]", "--material", "carbon-udd"], "carbon-udd"),
        (["laminate", "[0]", "--case", "nowhere.toml"], "nowhere.toml"),
        (["materials", "carbon-udd"], "did you mean 'carbon-ud'"),
        (["verify", "--topic", "astrology"], "astrology"),
    ],
)
def test_wrong_names_are_one_message(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    heard = capsys.readouterr()
    assert said in heard.err
    assert heard.err.startswith("panelfem: ")


def test_materials_give_basis_and_source_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    from panelfem.material import library

    assert main(["materials"]) == 0
    out = capsys.readouterr().out
    assert all(name in out for name in library())
    assert "assumed" in out
    assert "Tsai" in out


def test_one_material_in_full(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["materials", "T300-5208"]) == 0
    lines = {line.split()[0]: line for line in capsys.readouterr().out.splitlines() if line.strip()}
    assert re.search(r"181 GPa\s+typical", lines["E1"])
    assert re.search(r"0\.28 ", lines["nu12"])


# ---- verify


def row(ours: float) -> Any:
    from panelfem.verify import Row

    return Row("plates", "square plate", "w", "a table", 1.0, 1.0, "series", ours, "mm", 0.01)


@pytest.mark.parametrize(("values", "code"), [([1.0, 1.001], 0), ([1.0, 1.2], 1), ([], 1), ([float("nan")], 1)])
def test_verify_fails_if_a_check_fails(
    values: list[float], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(panelfem.verify, "rows", lambda *groups: iter([row(v) for v in values]))
    assert main(["verify", "--topic", "plates"]) == code
    out = capsys.readouterr().out
    assert ("FAILS" in out) == (code == 1 and bool(values))


def test_verify_runs_the_topic_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(panelfem.verify, "rows", lambda *groups: asked.extend(groups) or iter([row(1.0)]))
    assert main(["verify", "--topic", "plates", "--topic", "shells"]) == 0
    assert asked == ["plates", "shells"]
