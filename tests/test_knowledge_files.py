"""Layup files, readings files and the three commands: what they say, and what they refuse."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from panelfem.assess.stiffness import judged, modelled
from panelfem.case.layup import load_layup
from panelfem.case.stiffness import load_check
from panelfem.cli import main
from panelfem.errors import CaseError, InputError

DEMO = Path(__file__).parents[1] / "cases" / "knowledge"
CASE, READINGS, LAYUP = (DEMO / name for name in ("plate.toml", "plate_readings.toml", "lid_layup.toml"))

#: A case and readings that are solved in a second: a hole, no option, large elements.
OPTION = re.compile(r"\[\[option\]\].*?(?=\[\[load\]\])", re.DOTALL)
SMALL = (
    OPTION.sub("", CASE.read_text("utf-8"))
    .replace('kind = "softened"', 'kind = "hole"')
    .replace("strength_share = 0.6\n", "")
    .replace("element_size_mm = 60", "element_size_mm = 120")
)
SIZED = 'name = "D1"\nleast_mm = 0\nmost_mm = 120\n'


def changed(text: str, changes: dict[str, str]) -> str:
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    return text


def written(folder: Path, text: str, name: str) -> Path:
    file = folder / name
    file.write_text(text, "utf-8")
    return file


@pytest.fixture
def small(tmp_path: Path) -> Path:
    return written(tmp_path, SMALL, "case.toml")


# ---- stiffness


def test_readings_made_with_the_model_are_found_as_what_they_were_made_with(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("panelfem.case.stiffness.SIZES", 3)  # for time
    few = changed(READINGS.read_text("utf-8"), {SIZED: 'name = "D1"\nleast_mm = 30\nmost_mm = 100\n'})
    check = load_check(small, written(tmp_path, few, "readings.toml"))
    assert check.measured == pytest.approx(0.062)  # 60 mm and its tolerance of 1 mm all round
    assert check.sizes == pytest.approx([0.03, 0.062, 0.1])  # the middle one is the damage itself
    assert [d.name for d in check.sized if d] == ["D1 at 30 mm", "D1", "D1 at 100 mm"]
    model = modelled(check)
    found = judged(check, model)
    assert {fit.state for fit in found.fits} == {"undamaged", "as found"}
    assert found.error < 0.05
    # what the case says of the panel as found, read without error
    told = [f"{1e3 * row.expected['as found']:.6f}" for row in found.rows]
    lines = iter(told)
    exact = re.sub(r"deflection_mm = [\d.]+", lambda m: f"deflection_mm = {next(lines)}", few)
    again = judged(load_check(small, written(tmp_path, exact, "exact.toml")), model)
    skin, springs = again.own.posterior.of("skin stiffness"), again.own.posterior.of("fixing stiffness")
    assert skin is not None
    assert springs is not None
    assert skin.low < 1.0 < skin.high
    assert springs.low < 1.0 < springs.high
    assert again.own.posterior.misfit < 1.0
    assert again.verdict.sentence.startswith("As stiff as the model says for the panel as found, within ±")


def test_the_command_prints_the_sentence_and_what_must_be_known(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = changed(READINGS.read_text("utf-8"), {"[damage]": "[damage_]"})
    text = re.sub(r"\[damage_\].*?(?=\[prior\])", "", text, flags=re.DOTALL)
    assert main(["stiffness", str(small), str(written(tmp_path, text, "r.toml")), "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "Invented readings" in out
    assert "skin stiffness" in out or "fit no state" in out
    assert "damage size" not in out
    assert "no reading proves a bond" in out


@pytest.mark.parametrize(
    ("changes", "where", "what"),
    [
        ({'state = "as found"': 'state = "tape"'}, "check.state", "no state 'tape'"),
        ({'name = "D1"': 'name = "D7"'}, "damage.name", "no damage 'D7'"),
        ({"least_mm = 0": "least_mm = 150"}, "damage.most_mm", "150 to 120 mm"),
        ({'{ dial = "left", deflection_mm': '{ dial = "lft", deflection_mm'}, "weight[0].readings[0].dial", "'lft'"),
        ({'name = "right"': 'name = "left"'}, "dial[2].name", "is called"),
        ({"repeatability_mm = 0.01": "repeatability_mm = 0"}, "gauge.repeatability_mm", "out of range"),
        ({"mass_kg = 1": "mass_lb = 1"}, "weight[0].mass_lb", "mass_lb"),
        ({"place_mm = [310, 150]": "place_mm = [310, 150, 90]"}, "dial[2].place_mm", "90"),
    ],
)
def test_readings_that_contradict_are_refused_where_they_do(
    changes: dict[str, str], where: str, what: str, tmp_path: Path
) -> None:
    with pytest.raises(CaseError) as refused:
        load_check(CASE, written(tmp_path, changed(READINGS.read_text("utf-8"), changes), "r.toml"))
    assert any(fault.path.startswith(where) and what in str(fault) for fault in refused.value.faults), refused.value


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        (
            'area = { shape = "disc", centre_mm = [230, 150], diameter_mm = 60 }',
            'area = { shape = "polygon", corners_mm = [[200, 120], [260, 120], [230, 180]] }',
            "polygon",
        ),
        (
            'kind = "hole"\nname = "D1"\narea = { shape = "disc", centre_mm = [230, 150], diameter_mm = 60 }',
            'kind = "missing fastener"\nname = "D1"\nfastener = "F1"',
            "no size that changes the stiffness",
        ),
        ('protects_people = "no"', 'protects_people = "is one"', "protects people"),
    ],
)
def test_a_case_whose_damage_has_no_size_is_refused(old: str, new: str, what: str, tmp_path: Path) -> None:
    case = written(tmp_path, changed(SMALL, {old: new}), "case.toml")
    with pytest.raises(CaseError, match=what):
        load_check(case, READINGS)


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"place_mm = [230, 225]": "place_mm = [230, 190]"}, "gauge 'above'"),
        ({"place_mm = [230, 235]": "place_mm = [230, 210]"}, "weight 'above'"),
    ],
)
def test_what_stands_on_the_damage_is_refused(changes: dict[str, str], what: str, small: Path, tmp_path: Path) -> None:
    text = changed(READINGS.read_text("utf-8"), changes)
    with pytest.raises(InputError, match=rf"carries nothing \({what}\)"):
        modelled(load_check(small, written(tmp_path, text, "r.toml")))


# ---- layup


def test_the_demo_of_a_layup_says_what_fits(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["layup", str(LAYUP), "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "4 of 18 stacks fit" in out
    assert "[0/45/foam-pvc-80:5mm]s" in out
    assert "factor at first ply failure" in out
    assert "core shear, wrinkling and crimping" in out


def test_a_layup_that_nothing_fits_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = changed(LAYUP.read_text("utf-8"), {"value = 236": "value = 480"})
    assert main(["layup", str(written(tmp_path, text, "l.toml")), "--quiet"]) == 0
    out = capsys.readouterr().out
    assert "None of 18 stacks fits" in out
    assert "A11" not in out


def test_a_layup_file_is_taken_to_si() -> None:
    unknown = load_layup(LAYUP)
    mass, noise = unknown.measured.areal_mass or (math.nan, math.nan)
    assert mass == pytest.approx(0.236 / 0.12)
    assert noise / mass == pytest.approx(math.hypot(3 / 236, 12 / 1200) / 1.96)
    assert unknown.measured.bent[0].deflection == pytest.approx(0.29e-3)
    assert unknown.load == pytest.approx(np.array([0, 0, 0, 40.0, 0, 0]))


@pytest.mark.parametrize(
    ("changes", "where", "what"),
    [
        ({"area_cm2 = { value = 1200, plus_minus = 12 }\n": ""}, "piece.area_cm2", "is missing"),
        ({"least_plies = 4": "least_plies = 5"}, "seen.most_plies", "5 to 4"),
        ({'"carbon-twill", "carbon-ud"': '"carbon-twil"'}, "candidates.plies[0]", "did you mean 'carbon-twill'"),
        ({'"carbon-ud"]': '"foam-pvc-80"]'}, "candidates.plies[1]", "no ply"),
        ({'material = "foam-pvc-80"': 'material = "carbon-ud"'}, "candidates.core[0].material", "no core"),
        ({"pad_mm = 40": "pad_mm = 200"}, "bent[0].pad_mm", "over half"),
        ({"moment_N = [40, 0, 0]": "moment_N = [0, 0, 0]"}, "load", "zero"),
        ({"plus_minus = 3": "plus_minus = 0"}, "piece.mass_g.plus_minus", "out of range"),
        ({"deflection_mm = { value = 0.29, plus_minus = 0.02 }": "deflection_mm = 0.29"}, "bent[0].deflection_mm", ""),
    ],
)
def test_layup_files_that_contradict_are_refused_where_they_do(
    changes: dict[str, str], where: str, what: str, tmp_path: Path
) -> None:
    with pytest.raises(CaseError) as refused:
        load_layup(written(tmp_path, changed(LAYUP.read_text("utf-8"), changes), "l.toml"))
    assert any(fault.path.startswith(where) and what in str(fault) for fault in refused.value.faults), refused.value


# ---- experience


def test_the_command_of_experience_says_before_and_after(capsys: pytest.CaptureFixture[str]) -> None:
    flags = ["--reserve", "1", "--uncertainty", "20", "--scatter", "20", "--survived", "8"]
    assert main(["experience", *flags]) == 0
    out = capsys.readouterr().out
    # Laplace's rule of succession: 9 of 10
    assert (
        "After 8 strikes survived, the next of the same kind is survived in 90.0 of 100 cases, before it was 50.0"
        in out
    )
    assert "never lifts an outcome" in out


def test_experience_that_cannot_be_gets_one_message(capsys: pytest.CaptureFixture[str]) -> None:
    flags = ["--reserve", "1", "--uncertainty", "20", "--scatter", "900", "--survived", "8"]
    assert main(["experience", *flags]) == 2
    assert "900 % is not taken (scatter)" in capsys.readouterr().err
