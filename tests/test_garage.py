"""Prepared files read as one, and the case that a finding and they make."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from panelfem.case import load_case, parse
from panelfem.case.inputs import input_rows
from panelfem.case.read import check
from panelfem.cli import main
from panelfem.errors import CaseError
from panelfem.garage import Composed, Library, compose
from panelfem.garage.keys import prepared_markdown

ROOT = Path(__file__).parents[1]
Edit = Callable[[str, str, str], None]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo library."""
    shutil.copytree(ROOT / "cases" / "garage", tmp_path / "garage")
    return tmp_path / "garage"


@pytest.fixture
def edit(folder: Path) -> Edit:
    """Replaces text that is there in a file of the copy; an empty old text appends."""

    def change(name: str, old: str, new: str) -> None:
        path = folder / f"{name}.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1) if old else text + new, encoding="utf-8")

    return change


def made(folder: Path, finding: str = "corner-torn") -> Composed:
    """The composition of a finding of the copy."""
    return compose(Library.open(folder), folder / "findings" / f"{finding}.toml")


def faults(act: Callable[[], object]) -> list[str]:
    """The faults an act is refused for, each as printed."""
    with pytest.raises(CaseError) as caught:
        act()
    return [str(fault) for fault in caught.value.faults]


def load(composed: Composed, name: str) -> dict[str, object]:
    """A load of the composed case."""
    return next(x for x in composed.document["load"] if x["name"] == name)


@pytest.mark.parametrize("finding", ["corner-torn", "lid-hole"])
def test_text_is_the_document_and_a_sound_case(folder: Path, finding: str, tmp_path: Path) -> None:
    """The TOML reads back as the document, passes the checks of a case, and is the same to the byte when made again."""
    composed = made(folder, finding)
    assert tomllib.loads(composed.text) == composed.document
    check(composed.document, tmp_path / "case.toml")
    assert made(folder, finding) == composed
    assert composed.document["case"]["invented"] is True


def test_kerb_strike_by_hand(folder: Path) -> None:
    """Clearance on the line between the ride heights, interference from all ends of bands, stiffness by the lever."""
    strike = load(made(folder), "exit kerb at kerb line")
    b = 2450 / 3000
    clear = 33 + b * (65 - 33) + 4
    deep = strike["interference_mm"]
    assert isinstance(deep, dict)
    assert deep["value"] == pytest.approx(50 + 17 - clear, abs=1e-3)
    assert deep["band"] == pytest.approx([49 + 16.5 - (clear + 1), 51 + 18 - (clear - 1)], abs=1e-3)
    stiffness = strike["car_stiffness_N_per_mm"]
    assert isinstance(stiffness, dict)
    assert stiffness["value"] == pytest.approx(1 / ((1 - b) ** 2 / 180 + b**2 / 150), abs=1e-3)
    assert stiffness["basis"] == "assumed"
    assert strike["place_mm"] == [260, 175]
    assert strike["limits"] == made(folder).document["load"][-1]["limits"]


def test_compression_meets_the_road_at_what_clearance_is_left(folder: Path, edit: Edit) -> None:
    """Gap: clearance less travel; a car that goes down farther than that pushes the panel onto the road as well."""
    clear = 33 + 2450 / 3000 * 32 + 4
    assert load(made(folder), "dip before the bridge")["road"] == {
        "gap_mm": pytest.approx(clear - 40, abs=1e-3), "direction": [0, 0, 1],
    }  # fmt: skip
    assert len(made(folder).document["load"]) == 4
    edit("cars/car-seven", "travel_rear_mm = 45", "travel_rear_mm = 90")
    edit("circuits/harbour", "{ value = 40,", "{ value = 70,")
    edit("circuits/harbour", "band = [36, 44]", "band = [66, 74]")
    composed = made(folder)
    assert load(composed, "dip before the bridge")["road"]["gap_mm"] == 0  # type: ignore[index]
    road = load(composed, "road in dip before the bridge at kerb line")
    assert road["kind"] == "wall contact"
    assert road["interference_mm"]["value"] == pytest.approx(70 - clear, abs=1e-3)  # type: ignore[index]


def test_every_place_that_meets_the_road_is_pushed_by_it(folder: Path, edit: Edit) -> None:
    """Not only the lowest of them."""
    edit("cars/car-seven", "travel_rear_mm = 45", "travel_rear_mm = 90")
    edit("circuits/harbour", "{ value = 40,", "{ value = 70,")
    edit("circuits/harbour", "band = [36, 44]", "band = [66, 74]")
    file = folder / "panels" / "floor-corner.toml"
    text = file.read_text(encoding="utf-8")
    first = text[text.index("[[exposure]]") : text.index("[[limit]]")]
    more = (
        first.replace('"kerb line"', '"front edge"')
        .replace("place_mm = [260, 175]", "place_mm = [100, 175]")
        .replace("2450", "2290")
    )
    file.write_text(text.replace(first, first + more.replace("height_mm = 4", "height_mm = 5"), 1), encoding="utf-8")
    names = [x["name"] for x in made(folder).document["load"]]
    assert "road in dip before the bridge at kerb line" in names
    assert "road in dip before the bridge at front edge" in names


def test_kerbs_that_do_not_reach_are_said_and_doubtful_ones_are_taken_at_the_top(folder: Path, edit: Edit) -> None:
    """Nothing is dropped silently, and a kerb that may reach at the end of its band is assessed there."""
    edit("findings/corner-torn", '"harbour"', '"airfield"')
    composed = made(folder)
    assert any("'painted kerb' at exposure 'kerb line' does not reach" in what for what in composed.left_out)
    assert not any("painted" in x["name"] for x in composed.document["load"])
    assert "Left out: kerb 'painted kerb'" in composed.text
    edit("circuits/airfield", "height_mm = 25", "height_mm = { value = 50, band = [45, 52] }")
    deep = load(made(folder), "painted kerb at kerb line")["interference_mm"]
    assert isinstance(deep, dict)
    clear = 33 + 2450 / 3000 * 32 + 4
    assert 50 + 12 - clear < 0 < 52 + 20 - clear
    assert deep["value"] == pytest.approx(52 + 20 - (clear - 1), abs=1e-3)
    assert deep["basis"] == "assumed"
    assert "top of its band" in str(deep["source"])


def test_walls_and_stated_severities(folder: Path, edit: Edit) -> None:
    """A wall pushes where the panel is exposed to it; a kerb given by force leaves the car's stiffness out."""
    exposure = (
        '\n[[exposure]]\nname = "outer edge"\nmeets = ["wall"]\nplace_mm = [260, 349]\npush_direction = [0, -1, 0.2]\n'
        "travel_direction = [1, 0, 0]\nbehind_front_axle_mm = 2450\nheight_mm = 4\n"
    )
    edit("panels/floor-corner", "", exposure)
    edit("circuits/harbour", "suspension_travel_mm = { value = 17,", "force_N = { value = 1700,")
    edit("circuits/harbour", "band = [16.5, 18]", "band = [1500, 1900]")
    composed = made(folder)
    assert load(composed, "wall at the swimming pool at outer edge")["force_N"] == {
        "value": 900, "basis": "assumed", "source": "a graze, like contacts", "band": [300, 1500],
    }  # fmt: skip
    strike = load(composed, "exit kerb at kerb line")
    assert "car_stiffness_N_per_mm" not in strike
    assert strike["force_N"]["value"] == 1700  # type: ignore[index]


def test_options_come_with_their_task_clock(folder: Path) -> None:
    """Tape, the patch, the fixings, the spare; minutes are the sum of the steps, by hand from the kit."""
    composed = made(folder)
    minutes = {o["name"]: o["minutes"] for o in composed.document["option"]}
    assert minutes == {
        "tape": 5 + 2 + 2 + 2 * 2 + 6 + 5,
        "cold-bonded patch": 5 + 5 + 4 + 2 + 6 + 30 + 5 + 3 + 2 * 2 + 6 + 5,
        "refit": 5 + 2 * 2 + 6 + 5,
        "spare": 5 + 12 + 5,
    }
    for name, steps in composed.steps.items():
        assert sum(step.minutes for step in steps) == minutes[name]
    assert [s.name for s in composed.steps["cold-bonded patch"]] == [
        "access", "dry", "abrade", "clean", "bond", "cure", "cool", "tap", "fixing × 2", "refit", "scrutineer",
    ]  # fmt: skip
    cool = next(s for s in composed.steps["cold-bonded patch"] if s.name == "cool")
    assert (cool.basis, cool.source) == ("assumed", "like blanket")


def test_credit_for_the_cure(folder: Path, edit: Edit) -> None:
    """Inside the table, with its scatter; outside, and on a panel too hot in use, no patch and a reason."""
    patch = made(folder).document["option"][1]["actions"][0]
    assert patch["cured_share"]["value"] == 0.8
    assert patch["cured_share"]["band"] == [0.72, 0.88]
    assert any("overnight patch" in what and "not extrapolated" in what for what in made(folder).left_out)
    edit("kits/lorry", "serves_to_C = 70", "serves_to_C = 42")  # 40 °C by the panel file, 45 °C by the finding
    composed = made(folder)
    assert "cold-bonded patch" not in composed.steps
    assert any("serves to 42 °C" in what for what in composed.left_out)


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        (
            "panels/floor-corner",
            "stress_free_temperature_C = 120",
            "stress_free_temperature_C = 35",
            "hotter than the pan",
        ),
        ("kits/lorry", "largest_mm = 200", "largest_mm = 90", "100 mm are needed, 90 mm can be cut"),
        ("kits/lorry", "fixings = 6", "fixings = 1", "2 are missing, the kit holds 1"),
    ],
)
def test_what_is_not_offered_is_said(folder: Path, edit: Edit, name: str, old: str, new: str, said: str) -> None:
    """Too hot for the panel, too small for the damage, not enough fixings."""
    before = made(folder)
    edit(name, old, new)
    composed = made(folder)
    assert any(said in what for what in composed.left_out)
    assert composed.document["option"] != before.document["option"]


def test_tape_is_for_holes(folder: Path, edit: Edit) -> None:
    """It keeps air out: on a dull area it does nothing, so there is no such option."""
    edit("findings/lid-hole", 'kind = "hole"', 'kind = "softened"\nstrength_share = 0.5')
    assert [o["name"] for o in made(folder, "lid-hole").document["option"]] == ["cold-bonded patch"]


def test_heat_on_a_panel_of_unknown_cure_is_asked_first(folder: Path, edit: Edit) -> None:
    """A lid that says only what it stands in use: a cure above that needs the supplier's word."""
    assert made(folder, "lid-hole").document["option"][1]["permitted"] is True
    edit("panels/access-lid", "service_temperature_C = 45", "service_temperature_C = 30")
    option = made(folder, "lid-hole").document["option"][1]
    assert option["permitted"] == "ask"
    assert "stands 40 °C" in option["note"]


@pytest.mark.parametrize(
    ("rule_book", "supplier", "expected"),
    [("true", "true", True), ("true", '"ask"', "ask"), ('"ask"', "false", False), ("false", "true", False)],
)
def test_the_stricter_of_rule_book_and_supplier_counts(
    folder: Path, edit: Edit, rule_book: str, supplier: str, expected: object
) -> None:
    """Both are named in the note."""
    edit("panels/floor-corner", "repair = true", f"repair = {rule_book}")
    edit("panels/floor-corner", 'repair = "ask"', f"repair = {supplier}")
    option = made(folder).document["option"][1]
    assert option["permitted"] == expected
    assert "issue 3" in option["note"]
    assert "revision B" in option["note"]


def test_overrides_replace_and_are_listed(folder: Path, edit: Edit) -> None:
    """A key of a section, an entry by its name, a new load, another way of saying how hard: each is said."""
    edit(
        "findings/corner-torn",
        "",
        '\n[[panel.fasteners]]\nname = "F9"\nrating_pull_N = 1200\n'
        '\n[[load]]\nname = "exit kerb at kerb line"\nforce_N = 900\n'
        '\n[[load]]\nname = "knee"\nkind = "handling"\narea.shape = "disc"\n'
        "area.centre_mm = [250, 120]\narea.diameter_mm = 60\nforce_N = 500\ndirection = [0, 0, -1]\n"
        '\n[[option]]\nname = "tape"\nminutes = 9\n\n[settings]\naccuracy = 0.05\n',
    )
    composed = made(folder)
    assert composed.overrides == (
        "panel.service_temperature_C", "panel.fasteners[8].rating_pull_N", "settings.accuracy", "load[2].force_N",
        "load[4]", "option[0].minutes",
    )  # fmt: skip
    assert composed.document["panel"]["fasteners"][8]["hold"] == "springs"
    strike = load(composed, "exit kerb at kerb line")
    assert strike["force_N"] == 900
    assert not {"interference_mm", "car_stiffness_N_per_mm"} & set(strike)
    assert [(s.name, s.minutes) for s in composed.steps["tape"]] == [("all told", 9)]
    for path in composed.overrides:
        assert composed.origins[path] == "corner-torn.toml"
        assert f"corner-torn.toml replaces {path}" in composed.text


@pytest.mark.parametrize(
    "words", ['[safety]\nprotects_people = "no"', '[case]\nconsequence = "cosmetic"', "[case]\nrequired_factor = 1"]
)
def test_a_finding_cannot_lift_an_outcome(folder: Path, edit: Edit, words: str) -> None:
    """Safety answers, consequence and factor belong to the panel file."""
    edit("findings/corner-torn", "", f"\n{words}\n")
    (fault,) = faults(lambda: made(folder))
    assert words.split("]")[0].strip("[") in fault


def test_inputs_say_which_file_they_came_from(folder: Path, tmp_path: Path) -> None:
    """The rows of the report name panel, circuit, kit and finding; without origins, the case file."""
    composed = made(folder)
    out = tmp_path / "out"
    out.mkdir()
    path = composed.write(out)
    rows = {row.key: row for row in input_rows(parse(path), (), composed.origins)}
    assert rows["panel.stack"].source == "panels/floor-corner.toml"
    assert rows["case.consequence"].source == "panels/floor-corner.toml"
    assert rows["case.minutes_left"].source == "corner-torn.toml"
    assert rows["load[2].place_mm"].source == "panels/floor-corner.toml"
    assert rows["load[2].shape.radius_mm"].source == "circuits/harbour.toml"
    assert rows["option[0].minutes"].source == "kits/lorry.toml"
    assert rows["option[0].permitted"].source == "panels/floor-corner.toml"
    assert "cars/car-seven.toml" in rows["load[2].car_stiffness_N_per_mm"].source
    assert rows["panel.down"].source == "default of the program"
    plain = input_rows(parse(path), ())
    assert {row.key: row.shown for row in plain} == {key: row.shown for key, row in rows.items()}
    assert "panels/floor-corner.toml" not in {row.source for row in plain}


def test_files_go_beside_the_case(folder: Path, edit: Edit, tmp_path: Path) -> None:
    """A file that a prepared file names is found from there, and is copied beside the composed case."""
    (folder / "panels" / "air.csv").write_text("x_mm,y_mm,pressure_kPa\n100,100,-2\n300,200,-3\n400,100,-1\n")
    old = 'air_pressure_kPa = { value = -2, basis = "assumed", source = "like circuit", band = [-3, -1] }'
    edit("panels/floor-corner", old, 'air_file = "air.csv"')
    composed = made(folder)
    assert composed.document["held"]["air_file"] == "air.csv"
    assert composed.beside == {"air.csv": (folder / "panels" / "air.csv").absolute()}
    assert str(folder) not in composed.text
    out = tmp_path / "out"
    out.mkdir()
    case = load_case(composed.write(out), composed.origins)
    assert case.loads[2].held
    assert "panels/floor-corner.toml" in {row.source for row in case.inputs}


def test_all_faults_of_all_files_at_once(folder: Path, edit: Edit) -> None:
    """Each with its file and key, and with the nearest name."""
    edit("panels/floor-corner", "place_mm = [260, 175]", "place_mm = [760, 175]")
    edit("panels/floor-corner", "push_direction = [0, 0, 1]", "push_direction = [0, 0, -1]")
    edit("panels/access-lid", 'stack = "[0/45]"', 'stack = "[0/45"')
    edit("panels/access-lid", 'consequence = "aerodynamic"', 'consequence = "aerodynamic"\nrequired_factor = 1.1')
    edit("cars/car-seven", 'panel = "access-lid"', 'panel = "acces-lid"')
    edit("cars/car-seven", "origin_mm = [2190, 450, 4]", "origin_mm = [1190, 450, 4]")
    edit("cars/car-seven", "mass_kg = 6", "mass_kg = 16")
    edit("cars/car-seven", "mass_kg = 742", "mass_lb = 742")
    edit("circuits/airfield", 'name = "bump on the back straight"', 'name = "painted kerb"')
    edit("kits/lorry", 'adhesive = "paste-epoxy"', 'adhesive = "paste-epoxi"')
    edit("kits/lorry", "[0.05, 0.10, 0.25, 0.70]", "[0.05, 0.10, 0.25]")
    found = faults(lambda: Library.open(folder))
    for part in (
        "panels/floor-corner.toml: exposure[0].place_mm",
        "panels/floor-corner.toml: exposure[0].push_direction",
        "panels/access-lid.toml: panel.stack",
        "panels/access-lid.toml: prepared.required_factor",
        "cars/car-seven.toml: car.mass_lb",
        "circuits/airfield.toml: compression[0].name",
        "kits/lorry.toml: patch[0].adhesive",
        'write "paste-epoxy"',
        "kits/lorry.toml: cure[0].shares",
    ):
        assert any(part in fault for fault in found), part
    edit("cars/car-seven", "mass_lb = 742", "mass_kg = 742")
    found = faults(lambda: Library.open(folder))
    for part in (
        "there is no panel 'acces-lid' (cars/car-seven.toml: carries[1].panel)",
        'write "access-lid"',
        "cars/car-seven.toml: station[0].mass_kg",
        "where the panel file says 2450 mm",
    ):
        assert any(part in fault for fault in found), part


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"floor-corner"', '"floor-corne"', "there is no panel 'floor-corne' (finding.panel). Allowed: access-lid"),
        ('"car-seven"', '"car-eight"', 'write "car-seven"'),
        ('"lorry"', '"van"', "there is no kit 'van'"),
        ("centre_mm = [385, 100]", "centre_mm = [985, 100]", "corner-torn.toml: damage[0].area.centre_mm"),
        ('fastener = "F4"', 'fastener = "F44"', "corner-torn.toml: damage[2].fastener"),
        ("diameter_mm = 40", "diameter_cm = 4", "write diameter_mm = 40"),
        ("service_temperature_C", "servise_temperature_C", "corner-torn.toml: panel.servise_temperature_C"),
        ("[panel] ", "[panle] ", "write panel"),
    ],
)
def test_faults_of_a_finding(folder: Path, edit: Edit, old: str, new: str, said: str) -> None:
    """Names that do not exist, damage off the panel, keys nobody knows."""
    edit("findings/corner-torn", old, new)
    assert any(said in fault for fault in faults(lambda: made(folder)))


def test_a_panel_the_car_does_not_carry(folder: Path, edit: Edit) -> None:
    """It is prepared, but not on this car."""
    edit("cars/car-seven", '[[carries]]\npanel = "access-lid"\norigin_mm = [1850, -150, 780]\n', "")
    (fault,) = faults(lambda: made(folder, "lid-hole"))
    assert "does not carry 'access-lid'" in fault
    assert "Allowed: floor-corner" in fault


def test_a_car_that_cannot_go_down_so_far(folder: Path, edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    """A finding with the two is refused, and so is the library, before anything is computed."""
    edit("circuits/harbour", "{ value = 40,", "{ value = 60,")
    edit("circuits/harbour", "band = [36, 44]", "band = [36, 64]")
    (fault,) = faults(lambda: made(folder))
    assert "circuits/harbour.toml: compression[0].suspension_travel_mm" in fault
    assert "up to 45 mm" in fault
    assert main(["prepare", str(folder)]) == 2
    assert fault in capsys.readouterr().err
    assert not (folder / "prepared").exists()


def test_one_name_may_not_mean_two_materials(folder: Path, edit: Edit) -> None:
    """A patch would silently take the plies of the panel file."""
    edit("panels/floor-corner", "", '\n[materials.carbon-twill]\nlike = "carbon-twill"\nthickness_mm = 0.4\n')
    (fault, *_) = faults(lambda: made(folder))
    assert "means the library's 'carbon-twill' in the kit" in fault
    edit("kits/lorry", "", '\n[materials.carbon-twill]\nlike = "carbon-twill"\nthickness_mm = 0.2\n')
    (fault,) = faults(lambda: made(folder))
    assert "kits/lorry.toml: materials.carbon-twill" in fault


@pytest.mark.parametrize("name", ["a\nb", "-x", "a--b", ".hidden", "[red]x", "x" * 70])
def test_hostile_names_are_refused(folder: Path, name: str) -> None:
    """A file name that could break a message, a path or a page."""
    shutil.copy(folder / "kits" / "lorry.toml", folder / "kits" / f"{name}.toml")
    (fault,) = faults(lambda: Library.open(folder))
    assert "cannot be a name" in fault
    assert "\n" not in fault


def test_a_library_that_is_none(folder: Path, tmp_path: Path) -> None:
    """No folder, a file, an empty folder, a file that is not TOML: each is one message."""
    assert "there is no such folder" in faults(lambda: Library.open(tmp_path / "nowhere"))[0]
    assert "is a file" in faults(lambda: Library.open(folder / "kits" / "lorry.toml"))[0]
    assert len(faults(lambda: Library.open(tmp_path / "garage" / "panels"))) == 4
    (folder / "kits" / "lorry.toml").write_text("x = = 1")
    assert "kits/lorry.toml: line 1" in faults(lambda: Library.open(folder))[0]


def test_the_key_reference_is_up_to_date() -> None:
    """cases/PREPARED.md is what the schema says (python -m panelfem.garage.keys > cases/PREPARED.md)."""
    assert (ROOT / "cases" / "PREPARED.md").read_text(encoding="utf-8") == prepared_markdown()


def test_a_finding_looks_for_sizes_that_flip_only_if_asked(folder: Path, edit: Edit) -> None:
    """Left out where minutes count; the finding may ask for it, and that is listed as an override."""
    composed = made(folder, "corner-hole")
    assert composed.document["settings"]["flip_sizes"] is False
    assert "off where minutes count" in composed.text
    assert "settings.flip_sizes" not in composed.overrides
    edit("findings/corner-hole", "", "\n[settings]\nflip_sizes = true\n")
    asked = made(folder, "corner-hole")
    assert asked.document["settings"]["flip_sizes"] is True
    assert "settings.flip_sizes" in asked.overrides
