"""``panelfem prepare``: undamaged assessments made, kept, and dropped when an input changes."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.cli import main
from panelfem.garage import Library, cached
from panelfem.garage.undamaged import UndamagedLoad, combinations, place, state

ROOT = Path(__file__).parents[1]
NAMES = ("plate", "cart", "yard")

PANEL = """
[prepared]
invented = true
consequence = "aerodynamic"
mass_g = 700

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[rule_book]
repair = true
source = "rules (invented)"
edition = "1"

[supplier]
repair = true
source = "manual (invented)"
edition = "1"

[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0/45/foam-pvc-80:8mm]s"
material = "carbon-twill"
outline = { corners_mm = [[0, 0], [400, 0], [400, 300], [0, 300]] }
edges = [{ name = "rim", hold = "hinged" }]

[held]
air_file = "air.csv"

[[exposure]]
name = "middle"
meets = ["kerb"]
place_mm = [200, 150]
push_direction = [0, 0, 1]
travel_direction = [1, 0, 0]
behind_front_axle_mm = 1500
height_mm = 0

[settings]
element_size_mm = 60
vibrations = false
large_displacements = false
"""
CAR = """
[car]
rear_axle_mm = 3000
ride_height_front_mm = 40
ride_height_rear_mm = 60
stiffness_front_N_per_mm = 200
stiffness_rear_N_per_mm = 200
travel_front_mm = 30
travel_rear_mm = 30
mass_kg = 700
front_share_percent = 45

[[carries]]
panel = "plate"
origin_mm = [1300, 0, 0]
"""
CIRCUIT = """
[[kerb]]
name = "kerb"
shape = { form = "half-round", radius_mm = 60 }
height_mm = 40
suspension_travel_mm = 12
dynamic_factor = 1

[[compression]]
name = "dip"
acceleration_gee = 3
suspension_travel_mm = 20
dynamic_factor = 1
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small library, prepared."""
    root = tmp_path_factory.mktemp("small")
    for name, text in (("panels/plate", PANEL), ("cars/cart", CAR), ("circuits/yard", CIRCUIT)):
        (root / name).parent.mkdir()
        (root / f"{name}.toml").write_text(text, encoding="utf-8")
    (root / "panels" / "air.csv").write_text("x_mm,y_mm,pressure_kPa\n100,100,-2\n300,200,-3\n300,100,-1\n")
    shutil.copytree(ROOT / "cases" / "garage" / "kits", root / "kits")
    assert main(["prepare", str(root), "--quiet"]) == 0
    return root


def test_what_is_kept_is_what_the_composed_case_gives(folder: Path, tmp_path: Path) -> None:
    """A finding without damage, composed, written and assessed from its file: the same numbers to the digit."""
    from panelfem.garage import compose

    found = cached(Library.open(folder), *NAMES)
    assert found is not None
    finding = tmp_path / "finding.toml"
    finding.write_text(
        '[finding]\npanel = "plate"\ncar = "cart"\ncircuit = "yard"\nkit = "lorry"\nwho = "nobody"\n', encoding="utf-8"
    )
    out = tmp_path / "out"
    out.mkdir()
    case = load_case(compose(Library.open(folder), finding).write(out))
    assessed = assess(case)
    whole = assessed.configurations[0]  # type: ignore[union-attr]
    by_name = {r.load: r for r in whole.variants[0].loads}
    assert {x.load for x in found.loads} == set(by_name) == {"kerb at middle", "dip"}
    for kept in found.loads:
        result = by_name[kept.load]
        assert kept.deflection_mm == 1e3 * result.deflection.value
        assert kept.factor == result.release.factor
        assert kept.mode == result.release.mode
    assert found.mass_g == 1e3 * whole.mass
    assert found.weighed_g == 700
    assert found.outcome == whole.disposition.outcome.value


def test_the_same_library_gives_the_same_file(folder: Path) -> None:
    """To the byte, when it is assessed again."""
    path = place(Library.open(folder), *NAMES)
    before = path.read_bytes()
    path.unlink()
    assert main(["prepare", str(folder), "--panel", "plate", "--quiet"]) == 0
    assert path.read_bytes() == before


def test_up_to_date_results_are_kept(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is assessed again; the table says so, with the masses and the patch that gets no credit."""
    path = place(Library.open(folder), *NAMES)
    stamp = path.stat().st_mtime_ns
    assert main(["prepare", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "up to date" in said
    assert "the scale said 700 g" in said
    assert "patch 'overnight patch'" in said
    assert path.stat().st_mtime_ns == stamp


@pytest.mark.parametrize(
    ("name", "old", "new", "stale"),
    [
        ("panels/plate.toml", "[prepared]", "# a remark\n[prepared]", False),
        ("panels/plate.toml", "mass_g = 700", "mass_g = 701", False),
        ("panels/plate.toml", ":8mm", ":9mm", True),
        ("panels/air.csv", "-3", "-4", True),
        ("cars/cart.toml", "ride_height_rear_mm = 60", "ride_height_rear_mm = 61", True),
        ("circuits/yard.toml", "radius_mm = 60", "radius_mm = 61", True),
        ("circuits/yard.toml", "acceleration_gee = 3", "acceleration_gee = 3.1", True),
    ],
)
def test_a_changed_input_makes_it_stale(
    folder: Path, tmp_path: Path, name: str, old: str, new: str, stale: bool
) -> None:
    """Anything the numbers depend on, in any file; nothing else."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    text = (copy / name).read_text(encoding="utf-8")
    assert old in text
    (copy / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    found, why = state(Library.open(copy), *NAMES)
    assert (found is None) == stale
    assert why.startswith("stale") == stale


@pytest.mark.parametrize("content", ["", "{}", "[1]", '{"format": "other"}', "\x00"])
def test_a_broken_file_is_made_again(folder: Path, tmp_path: Path, content: str) -> None:
    """It is never trusted, and never a traceback."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    library = Library.open(copy)
    place(library, *NAMES).write_text(content)
    assert state(library, *NAMES) == (None, "cannot be read: assess it again")
    place(library, *NAMES).unlink()
    assert state(library, *NAMES) == (None, "not assessed yet")


def test_a_panel_that_protects_people_is_not_assessed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is checked, and declined."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    path = copy / "panels" / "plate.toml"
    path.write_text(path.read_text().replace('protects_people = "no"', 'protects_people = "is one"'))
    place(Library.open(copy), *NAMES).unlink()
    assert main(["prepare", str(copy), "--quiet"]) == 0
    assert "not assessed: declined" in capsys.readouterr().out
    assert not place(Library.open(copy), *NAMES).exists()


def test_a_folder_in_the_way(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One message, exit code 2, before anything is computed."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    shutil.rmtree(copy / "prepared")
    (copy / "prepared").write_text("a file")
    assert main(["prepare", str(copy), "--quiet"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "cannot write to the folder of undamaged assessments" in said


def test_a_full_disk_leaves_no_half_file(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The move to its place fails: one message, and neither the file nor its part is there."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    path = place(Library.open(copy), *NAMES)
    path.unlink()

    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("panelfem.files.os.replace", full)
    assert main(["prepare", str(copy), "--quiet"]) == 2
    assert "No space left on device" in capsys.readouterr().err
    assert list(path.parent.iterdir()) == []


def test_an_unknown_panel(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest name."""
    assert main(["prepare", str(folder), "--panel", "plat"]) == 2
    assert 'write "plate"' in capsys.readouterr().err


def test_every_panel_meets_every_circuit_on_the_cars_that_carry_it() -> None:
    """The demo library: two panels, one car, two circuits; each panel has loads at both."""
    library = Library.open(ROOT / "cases" / "garage")
    assert len(list(combinations(library))) == 4
    assert list(combinations(library, "access-lid")) == [
        ("access-lid", "car-seven", "airfield"), ("access-lid", "car-seven", "harbour"),
    ]  # fmt: skip


def test_what_is_written_names_every_field(folder: Path) -> None:
    """The file is JSON with the fields of the record, no number that JSON does not know."""
    raw = json.loads(place(Library.open(folder), *NAMES).read_text(encoding="utf-8"))
    assert raw["format"] == "panelfem-undamaged/1"
    assert set(raw["loads"][0]) == set(UndamagedLoad.__dataclass_fields__)
