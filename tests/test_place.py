"""Places by tape measure, against geometry done by hand and against the tape itself."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.case import parse
from panelfem.case.schema_panel import Panel
from panelfem.errors import InputError
from panelfem.garage.place import MISS, Spot, find
from panelfem.garage.skin import Skin, nearest_edge, skin_of

CASES = Path(__file__).parent.parent / "cases"
FIXINGS = {"F1": [100, 100], "F2": [400, 100], "F3": [400, 300], "rear left": [100, 300]}


def panel(lift: dict[str, object] | None = None, fixings: dict[str, list[float]] = FIXINGS) -> Panel:
    """500 × 400 mm with a round opening of 80 mm about (250, 200)."""
    return Panel.model_validate(
        {
            "name": "tray", "zero_direction": [1, 0, 0], "stack": "[0]", "material": "carbon-ud",
            "outline": {
                "corners_mm": [[0, 0], [500, 0], [500, 400], [0, 400]],
                "cut_outs": [{"name": "duct", "centre_mm": [250, 200], "diameter_mm": 80}],
            },
            **({"lift": lift} if lift else {}),
            "fasteners": [
                {"name": n, "place_mm": p, "washer_radius_mm": 8, "hold": "pinned"} for n, p in fixings.items()
            ],
        }
    )  # fmt: skip


@cache
def tray(kind: str = "flat") -> Skin:
    lifts: dict[str, dict[str, object] | None] = {
        "flat": None,
        "dished": {"kind": "two radii", "radius_x_mm": -1500, "radius_y_mm": 900, "apex_mm": [250, 200]},
    }
    if kind == "arch":
        return skin_of(parse(CASES / "wheel_arch_tyre.toml").panel, CASES)
    return skin_of(panel(lifts[kind]), CASES)


def only(text: str, skin: Skin | None = None) -> Spot:
    spots = find(text, skin or tray())
    assert len(spots) == 1, [s.words for s in spots]
    return spots[0]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("210, 95", [210, 95]),
        ("210,95", [210, 95]),
        ("210 95", [210, 95]),
        ("210 mm, 95.5 mm", [210, 95.5]),
        ("210; 95; 0", [210, 95]),
        ("F2", [400, 100]),
        ("f2", [400, 100]),
        ("rear left", [100, 300]),
        ("F2 + 40, -20", [440, 80]),
        ("F2 - 40, 20", [360, 120]),
        ("F2−40, −20", [360, 80]),
        ("Rear Left + 0, 50", [100, 350]),
        # right triangles 3-4-5 and 5-12-13 over the side of 300 mm between F1 and F2; the twin below is off the panel
        ("240 from F1, 180 from F2", [292, 244]),
        ("240 mm from f1 and 180 mm from f2", [292, 244]),
        ("0 from F3, 200 from F2", [400, 300]),
    ],
)  # fmt: skip
def test_a_place_by_hand(text: str, place: list[float]) -> None:
    # (292, 244): x = 100 + 240²/(2·300) + (300² − 180²)/(2·300), y = 100 + √(240² − 192²)
    assert only(text).place_mm[:2] == pytest.approx(place, abs=0.01)


def test_two_places_are_told_apart_by_the_fixing_next_to_them() -> None:
    # 130² = 120² + 50²: 50 mm to either side of x = 100, 120 mm above F1 and 80 mm below the fixing 'rear left'
    spots = find("130 from F1, 94.3398 from rear left", tray())
    assert sorted(s.place_mm[0] for s in spots) == pytest.approx([50, 150], abs=0.05)
    assert all(s.place_mm[1] == pytest.approx(220, abs=0.05) for s in spots)
    assert all(s.words.startswith("near F3, ") for s in spots)
    nearer = only("130 from F1, 94.3398 from rear left, near F3")
    assert nearer.place_mm[0] == pytest.approx(150, abs=0.05)
    assert "from it (at 150.0, 220.0, 0.0 mm)" in nearer.words


def test_near_a_fixing_in_the_mirror_tells_nothing() -> None:
    with pytest.raises(InputError, match="as near to F1 as each other"):
        find("50 from F1, 80 from edge, near F1", tray())


def test_a_fixing_and_the_edge() -> None:
    # 26² = 24² + 10²: 90 mm from the edge is 10 mm below F1, or left of it
    spots = find("26 from F1, 90 from edge", tray())
    found = sorted((round(s.place_mm[0], 1), round(s.place_mm[1], 1)) for s in spots)
    assert found == [(90.0, 124.0), (124.0, 90.0)]


def test_the_edge_of_an_opening_is_an_edge() -> None:
    # on the line from F1 to the middle of the opening, 20 mm short of it
    length = math.hypot(150, 100)
    spots = find(f"{length - 60} from F1, 20 from the edge", tray())
    at = np.array([100, 100]) + (length - 60) / length * np.array([150, 100])
    assert min(float(np.hypot(*(np.array(s.place_mm[:2]) - at))) for s in spots) < 0.5


def test_tapes_that_nearly_meet_are_taken_and_said() -> None:
    spot = only("150 from F1, 149 from F2")
    assert spot.place_mm[1] == pytest.approx(100, abs=1.0)
    assert spot.miss == pytest.approx(1e-3, abs=1e-5)
    assert spot.spread > 10
    assert only("240 from F1, 180 from F2").spread == pytest.approx(1.0)
    assert only("240 from F1, 180 from F2").miss == 0.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "nothing says where"),
        ("somewhere", "'somewhere' says no place"),
        ("210", "says no place"),
        ("1e2, 5", "says no place"),
        ("inf, 5", "says no place"),
        ("60 from F9, 85 from F2", "no fixing 'F9'"),
        ("60 from F1, 85 from F1", "both tapes start at F1"),
        ("60 from edge, 85 from edge", "both tapes start at the edge"),
        ("100 from F1, 100 from F2", "300 mm apart"),
        ("-60 from F1, 85 from F2", "a tape reads -60 mm"),
        ("600, 100", "100 mm off the panel"),
        ("250, 200", "in a cut-out"),
        ("F2 + 140, 0", "off the panel"),
        ("210, 95, 40", "40 mm off the surface"),
        ("F8 + 1, 2", "no fixing 'F8'"),
        ("5 from F1, 150 from edge", "no place of the panel"),
    ],
)
def test_what_is_no_place_is_one_message(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        find(text, tray())


def test_names_that_differ_only_in_case_are_not_mixed_up() -> None:
    skin = skin_of(panel(fixings={"a1": [100, 100], "A1": [400, 100], "b": [400, 300]}), CASES)
    assert only("A1", skin).place_mm[:2] == [400, 100]
    assert only("a1", skin).place_mm[:2] == [100, 100]


def test_a_fixing_called_edge_is_refused_as_an_edge() -> None:
    skin = skin_of(panel(fixings={"edge": [100, 100], "F2": [400, 100]}), CASES)
    with pytest.raises(InputError, match="'edge' is a fixing of this panel"):
        find("100 from F2, 50 from edge", skin)
    assert only("edge", skin).place_mm[:2] == [100, 100]


@pytest.mark.parametrize("kind", ["flat", "dished", "arch"])
@settings(max_examples=12, deadline=None, derandomize=True)
@given(at=st.tuples(st.floats(0.02, 0.98), st.floats(0.02, 0.98)), pick=st.tuples(st.integers(0, 9), st.integers(1, 9)))
def test_distances_from_the_place_are_those_entered(kind: str, at: tuple[float, float], pick: tuple[int, int]) -> None:
    skin = tray(kind)
    point = somewhere(skin, kind, at)
    if point is None:
        return
    names = list(skin.fixings)
    a = names[pick[0] % len(names)]
    others = [n for n in names if n != a]
    b = others[pick[1] % len(others)]
    one, two = (float(np.linalg.norm(skin.fixings[n] - point)) for n in (a, b))
    spots = find(f"{1e3 * one:.9f} from {a}, {1e3 * two:.9f} from {b}", skin)
    for spot in spots:
        assert np.linalg.norm(skin.fixings[a] - spot.place) == pytest.approx(one, abs=1e-7)
        assert abs(np.linalg.norm(skin.fixings[b] - spot.place) - two) == pytest.approx(spot.miss, abs=1e-6)
        assert spot.miss <= MISS
    assert min(float(np.linalg.norm(s.place - point)) for s in spots if s.miss == 0.0) < 2e-3


@pytest.mark.parametrize("kind", ["flat", "dished", "arch"])
@settings(max_examples=8, deadline=None, derandomize=True)
@given(at=st.tuples(st.floats(0.02, 0.98), st.floats(0.02, 0.98)), pick=st.integers(0, 9))
def test_the_distance_from_the_edge_is_that_entered(kind: str, at: tuple[float, float], pick: int) -> None:
    skin = tray(kind)
    point = somewhere(skin, kind, at)
    if point is None:
        return
    name = list(skin.fixings)[pick % len(skin.fixings)]
    one = float(np.linalg.norm(skin.fixings[name] - point))
    two = float(np.linalg.norm(nearest_edge(skin, point[None])[0] - point))
    spots = find(f"{1e3 * one:.9f} from {name}, {1e3 * two:.9f} from edge", skin)
    for spot in spots:
        assert np.linalg.norm(skin.fixings[name] - spot.place) == pytest.approx(one, abs=1e-7)
        foot = nearest_edge(skin, spot.place[None])[0]
        assert abs(np.linalg.norm(foot - spot.place) - two) == pytest.approx(spot.miss, abs=1e-6)
    assert min(float(np.linalg.norm(s.place - point)) for s in spots) < 2e-3


def somewhere(skin: Skin, kind: str, at: tuple[float, float]) -> np.ndarray | None:
    """A point of the skin, None in the opening."""
    if kind == "arch":
        corners = skin.corners[int(at[0] * (len(skin.corners) - 1))]  # type: ignore[attr-defined]
        weights = np.array([at[1], 1 - at[1], 1.0])
        return np.asarray(weights / weights.sum() @ corners)
    try:
        return skin.at((0.5 * at[0], 0.4 * at[1]))[0]
    except InputError:
        return None


def test_x_and_y_may_mean_two_places_of_a_deep_mesh() -> None:
    from panelfem.garage.skin import MeshedSkin
    from panelfem.mesh.closest import TriangleSearch

    # a wedge: two triangles above each other
    corners = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 0, 0.2], [1, 0, 0.2], [0, 1, 0.2]]], float)
    search = TriangleSearch(corners.reshape(-1, 3), np.arange(6).reshape(2, 3))
    skin = MeshedSkin(search.corners, (np.array([[0.0, 0, 0], [1, 0, 0]]),), {"T": np.array([0.9, 0, 0.2])}, search)
    assert sorted(s.place_mm[2] for s in find("200, 300", skin)) == [0, 200]
    assert only("200, 300, near T", skin).place_mm[2] == 200
    assert only("200, 300, 195", skin).place_mm[2] == 200
    with pytest.raises(InputError, match="no part of the panel is at"):
        find("900, 900", skin)
    with pytest.raises(InputError, match="100 mm off the surface"):
        find("200, 300, 100", skin)
