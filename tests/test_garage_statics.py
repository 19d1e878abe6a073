"""Clearance and stiffness of a car at a place, credit for a cure, and documents written as TOML."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from panelfem.garage import Library
from panelfem.garage.cure import cured_share
from panelfem.garage.on_car import balance_car, carried, on_car, stations
from panelfem.garage.schema_car import CarHead, Carried
from panelfem.garage.schema_kit import CureTable
from panelfem.garage.statics import clearance, stiffness
from panelfem.garage.toml import toml_text


def car(**more: Any) -> CarHead:
    """A car of 3 m wheelbase."""
    keys: dict[str, Any] = {
        "front_axle_mm": 0.0, "rear_axle_mm": 3000.0,
        "ride_height_front_mm": {"value": 33.0, "band": [32.0, 34.0]},
        "ride_height_rear_mm": {"value": 65.0, "band": [63.0, 66.0]},
        "stiffness_front_N_per_mm": {"value": 180.0, "band": [150.0, 210.0], "basis": "assumed"},
        "stiffness_rear_N_per_mm": {"value": 150.0, "band": [125.0, 185.0]},
        "travel_front_mm": 28.0, "travel_rear_mm": 45.0, "mass_kg": 742.0, "front_share_percent": 45.8,
    }  # fmt: skip
    return CarHead.model_validate(keys | more)


@pytest.mark.parametrize("behind", [-700.0, 0.0, 800.0, 1500.0, 2450.0, 3000.0, 3600.0])
def test_stiffness_is_that_of_a_rigid_bar_on_two_springs(behind: float) -> None:
    """Heave and pitch of a rigid bar under a unit force, from its two equations of equilibrium."""
    kf, kr, base = 180.0, 150.0, 3000.0
    matrix = np.array([[kf + kr, kr * base], [kr * base, kr * base**2]])
    heave, pitch = np.linalg.solve(matrix, [1.0, behind])
    assert stiffness(car(), behind).value == pytest.approx(1.0 / (heave + pitch * behind), rel=1e-12)


def test_stiffness_at_the_axles_and_half_way() -> None:
    """At an axle its own stiffness, half way between equal ones their sum."""
    even = car(stiffness_front_N_per_mm=160.0, stiffness_rear_N_per_mm=160.0)
    assert stiffness(car(), 0.0).value == pytest.approx(180.0)
    assert stiffness(car(), 3000.0).value == pytest.approx(150.0)
    assert stiffness(even, 1500.0).value == pytest.approx(320.0)


def test_stiffness_does_not_depend_on_the_datum() -> None:
    """Only distances from the front axle count."""
    moved = car(front_axle_mm=-400.0, rear_axle_mm=2600.0)
    assert stiffness(moved, 2450.0) == stiffness(car(), 2450.0)


@pytest.mark.parametrize("behind", [-700.0, 1200.0, 3500.0])
def test_bands_are_the_extremes_over_their_corners(behind: float) -> None:
    """Clearance and stiffness at all corners of the bands of their inputs lie in the band, and reach its ends."""
    heights = list(itertools.product((32.0, 33.0, 34.0), (63.0, 65.0, 66.0)))
    found = clearance(car(), behind, 4.0)
    by_hand = [f + (r - f) * behind / 3000.0 + 4.0 for f, r in heights]
    assert (found.low, found.high) == pytest.approx((min(by_hand), max(by_hand)))
    assert found.value == pytest.approx(33.0 + 32.0 * behind / 3000.0 + 4.0)
    springs = list(itertools.product((150.0, 210.0), (125.0, 185.0)))
    corners = [stiffness(car(stiffness_front_N_per_mm=f, stiffness_rear_N_per_mm=r), behind).value for f, r in springs]
    band = stiffness(car(), behind)
    assert (band.low, band.high) == pytest.approx((min(corners), max(corners)))
    assert band.basis == "assumed"


TABLE = CureTable(
    material="paste",
    temperatures_C=[20.0, 40.0, 60.0],
    times_min=[20.0, 30.0, 60.0, 240.0],
    shares=[[0.05, 0.10, 0.25, 0.70], [0.60, 0.80, 0.90, 1.00], [0.85, 0.95, 1.00, 1.00]],
    scatter_percent=10.0,
    basis="assumed",
    source="made up",
)


@given(st.floats(20.0, 60.0), st.floats(20.0, 240.0))
def test_cure_is_interpolated_as_scipy_does(temperature: float, minutes: float) -> None:
    """scipy.interpolate.RegularGridInterpolator, linear, on the same table."""
    reference = RegularGridInterpolator((TABLE.temperatures_C, TABLE.times_min), np.array(TABLE.shares))
    found = cured_share(TABLE, temperature, minutes)
    assert found == pytest.approx(float(reference((temperature, minutes))), abs=1e-12)


@pytest.mark.parametrize(("temperature", "minutes"), [(19.9, 60.0), (60.1, 60.0), (40.0, 19.0), (40.0, 241.0)])
def test_cure_is_never_extrapolated(temperature: float, minutes: float) -> None:
    """Outside the table there is no credit, not even that of its border."""
    assert cured_share(TABLE, temperature, minutes) is None


SCALAR = st.one_of(
    st.booleans(),
    st.integers(-(2**60), 2**60),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
)
KEY = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8)
VALUE = st.recursive(
    SCALAR,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEY, inner, max_size=3)),
    max_leaves=12,
)
TABLES = st.dictionaries(KEY, VALUE, max_size=5)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(KEY, st.one_of(TABLES, st.lists(TABLES, min_size=1, max_size=3)), min_size=1, max_size=4))
def test_any_document_survives_as_toml(document: dict[str, Any]) -> None:
    """The standard library's reader gives back what was written, whatever keys and text hold."""
    comments = {f"{name}[0]": "a\x00b\nc\x7f\r] [x" for name in document} | dict.fromkeys(document, "x\ty")
    assert tomllib.loads(toml_text(document, comments, "head\x0b\nmore")) == document


def test_long_tables_get_headings_of_their_own() -> None:
    """Uncertain numbers stay in line; tables unfold where a line would be too long."""
    long = {"name": "x" * 60, "source": "y" * 60}
    text = toml_text({"panel": {"t": {"value": 1, "source": "z" * 150}, "fasteners": [long, long], "o": long}}, {})
    assert text.count("[[panel.fasteners]]") == 2
    assert "[panel.o]" in text
    assert "\nt = { value = 1" in text


def test_a_car_file_as_mass_and_balance() -> None:
    """The demo car: the station masses and places, the centre of gravity by moments, a panel's place on the car."""
    library = Library.open(Path(__file__).parents[1] / "cases" / "garage")
    file = library.cars["car-seven"]
    whole = balance_car(file)
    assert whole.mass == 742
    assert whole.centre[0] == pytest.approx((1 - 0.458) * 3.0)
    assert [(s.name, s.mass, s.least, s.most) for s in stations(file)] == [
        ("nose", 6, 0, 10), ("left keel", 2, 0, 10), ("right keel", 2, 0, 10), ("gearbox", 1.5, 0.5, 5),
    ]  # fmt: skip
    assert stations(file)[0].place.tolist() == pytest.approx([-0.45, 0, 0.06])
    position = carried(file, "floor-corner")
    assert position is not None
    assert on_car(position, np.array([[0.26, 0.175, 0.0]])).tolist() == [pytest.approx([2.45, 0.625, 0.004])]
    assert carried(file, "nose-cone") is None


def test_turned_axes_keep_lengths() -> None:
    """Any two axes about square make a frame: distances and right-handedness stay (numpy determinant)."""
    position = Carried(panel="lid", origin_mm=[10.0, 20.0, 30.0], x_axis=[0.0, 2.0, 0.0], y_axis=[-1.0, 0.01, 0.5])
    frame = on_car(position, np.vstack([np.zeros(3), np.eye(3)]))
    assert np.linalg.det(frame[1:] - frame[0]) == pytest.approx(1.0)
    assert np.linalg.norm(frame[1:] - frame[0], axis=1) == pytest.approx(np.ones(3))
