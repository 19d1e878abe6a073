"""Mass, centre of mass and ballast, held to hand statics: levers about an axle, and exact centroids."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.balance import Ballast, Body, Car, Station, changed, placed, restore, together
from panelfem.cli import main
from panelfem.errors import InputError
from panelfem.garage.rebalance import read_car, rebalanced
from panelfem.laminate import Laminate, Ply
from panelfem.material import library
from panelfem.mesh import PanelMesh
from panelfem.panel import Panel

CAR = Car(700.0, 0.0, 3.0, 0.46)


def at(x: float, y: float = 0.0, z: float = 0.0) -> np.ndarray:
    return np.array([x, y, z])


def station(name: str, place: np.ndarray, mass: float = 5.0, least: float = 0.0, most: float = 9.0) -> Station:
    return Station(name, place, mass, least, most)


def changes(found: Ballast) -> dict[str, float]:
    return {move.station: move.change for move in found.moves}


def levers(car: Car, bodies: list[tuple[float, float]]) -> tuple[float, float]:
    """Load of the front and the rear axle in kg, by moments about the other one: bodies are (mass, x)."""
    front = car.mass * car.front_share + sum(m * (car.rear_axle - x) / car.wheelbase for m, x in bodies)
    rear = car.mass * (1 - car.front_share) + sum(m * (x - car.front_axle) / car.wheelbase for m, x in bodies)
    return front, rear


# ---- the panel


def strip(bottom: float | None, fold: bool) -> Panel:
    """Two unit squares side by side, flat or folded up at right angles, of one ply 2 mm thick."""
    flat = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [2, 0, 0], [2, 1, 0]], float)
    if fold:
        flat[4], flat[5] = [1, 0, 1], [1, 1, 1]
    mesh = PanelMesh(flat, np.array([[0, 1, 2], [0, 2, 3], [1, 4, 5], [1, 5, 2]]))
    ply = Ply(library()["carbon-twill"], 2e-3, 0.0)
    return Panel("strip", mesh, (Laminate((ply,), bottom=bottom),), np.zeros(4, np.int64), at(1.0))


@pytest.mark.parametrize(
    ("bottom", "fold", "expected"),
    [
        (None, False, (1.0, 0.5, 0.0)),
        (0.0, False, (1.0, 0.5, 1e-3)),
        # by hand: squares at (0.5, 0.5, 0) and (1, 0.5, 0.5); normals z and −x; the ply lies 1 mm along each
        (None, True, (0.75, 0.5, 0.25)),
        (0.0, True, (0.75 - 0.5e-3, 0.5, 0.25 + 0.5e-3)),
    ],
)
def test_the_centre_of_mass_is_that_of_areas_at_the_height_of_their_plies(
    bottom: float | None, fold: bool, expected: tuple[float, ...]
) -> None:
    panel = strip(bottom, fold)
    assert panel.centre_of_mass() == pytest.approx(expected, abs=1e-12)
    assert replace(panel, extra_mass=0.3).centre_of_mass()[1] == pytest.approx(0.5)


def test_a_hole_moves_the_centre_of_mass_away_from_it() -> None:
    panel = strip(None, False)
    holed = replace(panel, removed=np.array([True, True, False, False]))
    assert holed.centre_of_mass() == pytest.approx((1.5, 0.5, 0.0))
    gone = changed(placed(panel.mass(), panel.centre_of_mass()), placed(holed.mass(), holed.centre_of_mass()))
    assert gone.mass == pytest.approx(-panel.mass() / 2)
    assert gone.place == pytest.approx((0.5, 0.5, 0.0))
    nothing = replace(panel, removed=np.ones(4, bool))
    assert nothing.centre_of_mass() == pytest.approx((0.0, 0.0, 0.0))


def test_a_thing_moved_has_a_moment_without_mass() -> None:
    moved = changed(placed(2.0, at(0.0)), placed(2.0, at(1.0)))
    assert (moved.mass, moved.place) == (0.0, None)
    assert moved.moment == pytest.approx((2.0, 0.0, 0.0))


# ---- ballast


def test_what_is_added_between_two_stations_is_taken_out_by_levers() -> None:
    found = restore(CAR, [station("front", at(0.0)), station("rear", at(3.0))], placed(0.3, at(1.0)))
    # moments about the front axle: 3 rear = 0.3 · 1
    assert changes(found) == pytest.approx({"front": -0.2, "rear": -0.1}, abs=1e-7)
    assert found.restored
    assert found.moved == pytest.approx(0.3)
    assert levers(CAR, [(0.3, 1.0), (-0.2, 0.0), (-0.1, 3.0)]) == pytest.approx((322.0, 378.0))
    assert (found.after.mass, found.after.front_share) == pytest.approx((700.0, 0.46))
    assert found.before.front_share == pytest.approx((322.0 + 0.2) / 700.3)


def test_what_is_added_behind_the_stations_moves_ballast_forward() -> None:
    # moments about the front axle: 3 rear = −0.6 · 4, and front = −0.6 − rear
    found = restore(CAR, [station("front", at(0.0)), station("rear", at(3.0))], placed(0.6, at(4.0)))
    assert changes(found) == pytest.approx({"front": 0.2, "rear": -0.8}, abs=1e-7)


def test_left_and_right_are_restored_too() -> None:
    tray = [station("nose", at(-0.5)), station("left", at(2.0, -0.5)), station("right", at(2.0, 0.5))]
    # y: right = left + 0.2 · 0.8 / 0.5 … by hand: left + right + nose = −0.2; 2 (left + right) − 0.5 nose = −0.2 · 1.5;
    # 0.5 (right − left) = 0.2 · 0.8 with 0.8 m to the left
    found = restore(CAR, tray, placed(0.2, at(1.5, -0.8)))
    both = -0.2 * 2.0 / 2.5
    assert changes(found) == pytest.approx(
        {"nose": -0.2 - both, "left": both / 2 - 0.16, "right": both / 2 + 0.16}, abs=1e-7
    )
    assert found.restored
    assert found.after.side == pytest.approx(0.0, abs=1e-9)


def test_of_many_moves_the_least_is_taken() -> None:
    tray = [station(n, at(x)) for n, x in (("nose", -0.5), ("here", 1.0), ("tail", 3.5))]
    found = restore(CAR, tray, placed(0.4, at(1.0)))
    assert changes(found) == pytest.approx({"nose": 0.0, "here": -0.4, "tail": 0.0}, abs=1e-7)
    assert found.moved == pytest.approx(0.4)


def test_what_was_cut_out_is_put_back_and_the_height_is_told() -> None:
    tray = [station("front", at(0.0, z=0.1)), station("rear", at(3.0, z=0.1))]
    found = restore(CAR, tray, placed(-0.3, at(1.0, z=0.5)))
    assert changes(found) == pytest.approx({"front": 0.2, "rear": 0.1}, abs=1e-7)
    assert found.raised == pytest.approx(0.3 * (0.1 - 0.5) / 700.0)


def test_a_limit_that_stops_it_is_named_and_the_rest_is_told() -> None:
    tray = [station("front", at(0.0), 0.15), station("rear", at(3.0), 5.0)]
    found = restore(CAR, tray, placed(0.3, at(1.0)))
    # the mass comes first: front gives 0.15, rear the other 0.15; about the centre of gravity at 1.62 m
    assert changes(found) == pytest.approx({"front": -0.15, "rear": -0.15}, abs=1e-7)
    (rest,) = found.remainders
    assert (rest.aim, rest.limits) == ("front to rear", ("front: at least 0 kg",))
    assert rest.amount == pytest.approx(0.3 * 1.0 - 0.15 * 3.0), "kg·m; negative: too far to the front"
    assert found.after.front_share == pytest.approx(levers(CAR, [(0.3, 1.0), (-0.15, 0.0), (-0.15, 3.0)])[0] / 700.0)
    assert not found.restored


def test_a_mass_that_cannot_be_taken_out_is_told_first() -> None:
    tray = [station("front", at(0.0), 0.1), station("rear", at(3.0), 0.05, 0.02)]
    found = restore(CAR, tray, placed(0.3, at(1.0)))
    mass = found.remainders[0]
    assert (mass.aim, set(mass.limits)) == ("mass", {"front: at least 0 kg", "rear: at least 0.02 kg"})
    assert mass.amount == pytest.approx(0.3 - 0.13)
    assert found.raised is None
    assert found.after.mass == pytest.approx(700.17)


def test_stations_on_the_middle_line_stop_left_and_right_without_a_limit() -> None:
    found = restore(CAR, [station("front", at(0.0)), station("rear", at(3.0))], placed(0.3, at(1.0, 0.6)))
    (rest,) = found.remainders
    assert (rest.aim, rest.limits) == ("left to right", ())
    assert rest.amount == pytest.approx(0.3 * 0.6)
    assert found.after.side == pytest.approx(0.18 / 700.0)


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda: restore(CAR, [], placed(1.0, at(0.0))), "no ballast station"),
        (lambda: restore(CAR, [station("a", at(0.0)), station("a", at(1.0))], placed(1.0, at(0.0))), "one name"),
        (lambda: station("a", at(0.0), 9.5), "outside its limits"),
        (lambda: station("a", at(0.0), 1.0, -1.0), "outside its limits"),
        (lambda: station("a", at(np.nan)), "not a number"),
        (lambda: Car(700.0, 0.0, 0.0, 0.5), "no such mass, share or axles"),
        (lambda: Car(700.0, 0.0, 3.0, 46.0), "no such mass, share or axles"),
        (lambda: CAR.with_added(placed(-800.0, at(0.0))), "no such mass, share or axles"),
    ],
)
def test_what_is_wrong_is_said(make: object, what: str) -> None:
    with pytest.raises(InputError, match=what):
        make()  # type: ignore[operator]


places = st.tuples(st.floats(-1, 4), st.floats(-0.9, 0.9), st.floats(0, 1)).map(np.array)
grams = st.integers(0, 4000).map(lambda g: 1e-3 * g)


@st.composite
def trays(draw: st.DrawFn) -> list[Station]:
    made = []
    for i in range(draw(st.integers(1, 6))):
        least, now, most = sorted(draw(st.tuples(grams, grams, grams)))
        made.append(Station(f"s{i}", draw(places), now, least, most))
    return made


@settings(max_examples=60, deadline=None)
@given(trays(), st.integers(-3000, 3000), places, st.floats(0.3, 0.7), st.floats(-0.05, 0.05))
def test_moves_stay_within_limits_and_the_named_limits_are_what_stops_them(
    tray: list[Station], gram: int, place: np.ndarray, share: float, side: float
) -> None:
    car, added = Car(700.0, 0.2, 3.3, share, side), placed(1e-3 * gram, place)
    found = restore(car, tray, added)
    for move, s in zip(found.moves, tray, strict=True):
        assert s.least - 1e-6 <= move.after <= s.most + 1e-6
    # statics by levers, from the moves alone
    bodies = [(added.mass, place), *((m.change, s.place) for m, s in zip(found.moves, tray, strict=True))]
    front, rear = levers(car, [(m, x[0]) for m, x in bodies])
    right = car.mass * side + sum(m * x[1] for m, x in bodies)
    amounts = {r.aim: r.amount for r in found.remainders}
    assert front + rear - car.mass == pytest.approx(amounts.get("mass", 0.0), abs=1e-5)
    behind = rear * car.wheelbase - (front + rear) * (1 - share) * car.wheelbase
    assert behind == pytest.approx(amounts.get("front to rear", 0.0), abs=1e-5)
    assert right - side * (front + rear) == pytest.approx(amounts.get("left to right", 0.0), abs=1e-5)
    assert found.after.front_share == pytest.approx(front / (front + rear))
    if not found.remainders:
        return
    first = found.remainders[0]

    def widened(which: bool) -> tuple[list[Station], bool]:
        """The stations with those limits wide open that are named (or not), and whether one was moved by that."""
        wide = []
        for s in tray:
            least = f"{s.name}: at least {s.least:g} kg" in first.limits
            most = f"{s.name}: at most {s.most:g} kg" in first.limits
            wide.append(replace(s, least=0.0 if least is which else s.least, most=50.0 if most is which else s.most))
        return wide, any((w.least, w.most) != (s.least, s.most) for w, s in zip(wide, tray, strict=True))

    def again(stations: list[Station]) -> float:
        return next((abs(r.amount) for r in restore(car, stations, added).remainders if r.aim == first.aim), 0.0)

    others, _ = widened(False)
    assert again(others) >= abs(first.amount) - 1e-5, "nothing that is not named stops it"
    named, moved = widened(True)
    if moved and first.aim == "mass":
        assert again(named) < abs(first.amount) - 1e-7, "what is named does stop it"


def test_together_nothing_is_nothing() -> None:
    empty = together([])
    assert isinstance(empty, Body)
    assert (empty.mass, empty.place) == (0, None)


# ---- the car file and the command

CAR_FILE = """
[car]
front_axle_mm = 500
rear_axle_mm = 3500
ride_height_front_mm = 30
ride_height_rear_mm = 60
stiffness_front_N_per_mm = 200
stiffness_rear_N_per_mm = 200
travel_front_mm = 25
travel_rear_mm = 40
mass_kg = 700
front_share_percent = 46

[[carries]]
panel = "lid"
origin_mm = [1500, 100, 300]
x_axis = [0, 1, 0]
y_axis = [-1, 0, 0]

[[station]]
name = "front"
place_mm = [500, 0, 50]
mass_kg = 5
most_kg = 9

[[station]]
name = "left"
place_mm = [3500, -500, 50]
mass_kg = 0.5
least_kg = 0.4
most_kg = 9

[[station]]
name = "right"
place_mm = [3500, 500, 50]
mass_kg = 5
most_kg = 9
"""


@pytest.fixture
def car_file(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(CAR_FILE, encoding="utf-8")
    return path


def test_a_repaired_panel_is_balanced_by_its_centre_of_mass_on_the_car(car_file: Path) -> None:
    before, after = synthetic.assessment(resolution=(6, 4)).configurations[:2]
    before = replace(before, mass=1.0, centre_of_mass=at(0.1, 0.2))
    after = replace(after, mass=1.3, centre_of_mass=at(0.1, 0.2))
    found = rebalanced(read_car(car_file), "lid", before, after)
    assert found is not None
    # the panel's x runs along the car's y and its y along −x: 0.3 kg at x = 1500 − 200, y = 100 + 100 mm.
    # About the front axle: 3 (left + right) = −0.3 · 0.8; about the middle: 0.5 (right − left) = −0.3 · 0.2
    both, apart = -0.3 * 0.8 / 3, -0.3 * 0.2 / 0.5
    assert changes(found) == pytest.approx(
        {"front": -0.3 - both, "left": (both - apart) / 2, "right": (both + apart) / 2}, abs=1e-7
    )
    assert found.restored
    assert rebalanced(read_car(car_file), "door", before, after) is None
    assert rebalanced(read_car(car_file), "lid", before, replace(after, centre_of_mass=None)) is None


def told(capsys: pytest.CaptureFixture[str]) -> str:
    return " ".join(capsys.readouterr().out.split())


def test_the_command_tells_the_move(car_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ballast", str(car_file), "--added", "300", "--at", "1500", "0", "250"]) == 0
    words = told(capsys)
    assert "x rearward, y to the right, z up" in words
    assert "front 5.0000 kg −200.0 g 4.8000 kg 0 to 9 kg" in words
    assert "right 5.0000 kg −50.0 g 4.9500 kg 0 to 9 kg" in words
    assert "with what was added 700.300 kg" in words
    assert "Mass, front share and side are restored: 300.0 g taken out and put in, together." in words
    assert "0.09 mm higher than before" in words, "0.3 kg · (250 − 50) mm / 700 kg"
    assert main(["ballast", str(car_file), "--added", "300", "--at", "1500", "0", "250"]) == 0
    assert told(capsys) == words


def test_the_command_takes_places_of_a_panel_and_several_bodies(
    car_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    two = ["--added", "300", "--at", "0", "200", "0", "--added", "-300", "--at", "100", "200", "0"]
    assert main(["ballast", str(car_file), *two, "--panel", "lid"]) == 0
    words = told(capsys)
    assert "Added: 300.0 g at x 1300, y 100, z 300 mm" in words
    assert "Added: −300.0 g at x 1300, y 200, z 300 mm" in words
    # 0.3 kg moved by 0.1 m to the left: 0.5 (right − left) = 0.03, right + left = 0
    assert "left 0.5000 kg −30.0 g 0.4700 kg" in words
    assert "right 5.0000 kg +30.0 g 5.0300 kg" in words


def test_the_command_tells_what_stops_it(car_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ballast", str(car_file), "--added", "600", "--at", "3500", "-500", "0"]) == 0
    words = told(capsys)
    assert "NOT restored in full" in words
    assert "mm too far to the left; stopped by left: at least 0.4 kg." in words


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["--added", "300"], "required: --at"),
        (["--added", "300", "--at", "1", "2", "x"], "is not a number"),
        (["--added", "300", "--at", "1", "2", "3", "--added", "4"], "2 masses and 1 places"),
        (["--added", "300", "--at", "1", "2", "3", "--panel", "door"], "does not carry this panel"),
        (["--added", "-800000", "--at", "1", "2", "3"], "--added). Allowed: up to 100000 g"),
        (["--added", "1e300", "--at", "1", "2", "3"], "--added"),
        (["--added", "1", "--at", "9e7", "2", "3"], "--at). Allowed: up to 20000 mm"),
    ],
)
def test_wrong_uses_of_the_command(
    car_file: Path, arguments: list[str], what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        code = main(["ballast", str(car_file), *arguments])
    except SystemExit as stop:
        code = stop.code  # type: ignore[assignment]
    assert code == 2
    said = capsys.readouterr().err
    assert what in said
    assert "Traceback" not in said


def test_a_wrong_car_file_gets_one_message(car_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = car_file.read_text(encoding="utf-8")
    for change, what in (
        (("mass_kg = 700", "mass_g = 700000"), "write mass_kg = 700"),
        (("rear_axle_mm = 3500", "rear_axle_mm = 400"), "rear axle behind the front one"),
        (("mass_kg = 0.5\n", "mass_kg = 0.3\n"), "outside its limits"),
        ((text[text.index("[[station]]") :], ""), "no ballast station"),
    ):
        assert change[0] in text
        car_file.write_text(text.replace(*change, 1), encoding="utf-8")
        assert main(["ballast", str(car_file), "--added", "1", "--at", "1", "2", "3"]) == 2
        said = capsys.readouterr().err
        assert what in said, said
        assert "Traceback" not in said
