"""The stacking notation: what it reads, and what it refuses and where."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.errors import StackError
from panelfem.laminate import Laminate, Ply, describe, parse_stack
from panelfem.material import library


def angles(text: str, default: str = "carbon-ud") -> list[float]:
    return [round(math.degrees(ply.angle), 6) for ply in parse_stack(text, library(), default)]


# The laminate orientation code of ASTM D6507 and MIL-HDBK-17 (recalled)
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[0/90]", [0, 90]),
        ("0/90", [0, 90]),
        ("[0/45/-45/90]s", [0, 45, -45, 90, 90, -45, 45, 0]),
        ("[0/45/-45/90]_s", [0, 45, -45, 90, 90, -45, 45, 0]),
        ("[0_2/90]2s", [0, 0, 90, 0, 0, 90, 90, 0, 0, 90, 0, 0]),
        ("[0₂/90]₂ₛ", [0, 0, 90, 0, 0, 90, 90, 0, 0, 90, 0, 0]),
        ("[0_{2}/90]_{2s}", [0, 0, 90, 0, 0, 90, 90, 0, 0, 90, 0, 0]),
        ("[0/90]3", [0, 90, 0, 90, 0, 90]),
        ("[0/90]T", [0, 90]),
        ("[±45/0]s", [45, -45, 0, 0, -45, 45]),
        ("[+-45]", [45, -45]),
        ("[∓30]", [-30, 30]),
        ("[-+30]", [-30, 30]),
        ("[(0/60/-60)_2/90]", [0, 60, -60, 0, 60, -60, 90]),
        ("[(0/±45)2]", [0, 45, -45, 0, 45, -45]),
        ("[0/90̅]s", [0, 90, 0]),
        ("[0/9̅0̅]s", [0, 90, 0]),
        (" [ 0 / +22.5 / -22.5 ] s ", [0, 22.5, -22.5, -22.5, 22.5, 0]),
        ("[45°/−45°]".replace("°", ""), [45, -45]),
    ],
)
def test_notation(text: str, expected: list[float]) -> None:
    assert angles(text) == expected


def test_materials_thicknesses_and_cores() -> None:
    plies = parse_stack("[0/45:carbon-twill/90:0.2mm/foam-pvc-80:5mm]s", library(), "carbon-ud", thickness=0.125e-3)
    names = [ply.material.name for ply in plies]
    assert names == ["carbon-ud", "carbon-twill", "carbon-ud", "foam-pvc-80", "carbon-ud", "carbon-twill", "carbon-ud"]
    assert [round(1e3 * ply.thickness, 6) for ply in plies] == [0.125, 0.25, 0.2, 5.0, 0.2, 0.25, 0.125]
    assert sum(name.startswith("foam") for name in names) == 1, "an innermost core stands once"


def test_adhesive_between_skin_and_core_stands_on_both_sides() -> None:
    plies = parse_stack("[0/film-epoxy:0.1mm/honeycomb-aramid-48:10mm]s", library(), "carbon-twill")
    assert [ply.material.name.split("-")[0] for ply in plies] == ["carbon", "film", "honeycomb", "film", "carbon"]


def test_a_core_turned_and_repeats_at_either_place() -> None:
    plies = parse_stack("[90:honeycomb-aramid-48:8mm/0_2:carbon-twill/45:carbon-twill_2]", library(), "carbon-ud")
    assert [round(math.degrees(ply.angle)) for ply in plies] == [90, 0, 0, 45, 45]


@pytest.mark.parametrize(
    ("text", "says", "at"),
    [
        ("", "is empty", 1),
        ("[]", "a ply is missing", 2),
        ("[0//90]", "a ply is missing", 4),
        ("[0/90", "closing ']' is missing", 6),
        ("0/90]", "stands where a ply has ended", 5),
        ("[0/9O]s", "'O' cannot follow the ply '9'", 5),
        ("[0,90]", "',' cannot follow", 3),
        ("[0 90]", "'9' cannot follow", 4),
        ("[0.5.5]", "is not a number", 2),
        ("[1e3]", "'e' cannot follow", 3),
        ("[200]", "beyond half a turn", 2),
        ("[0]x", "'x' after the bracket", 4),
        ("[0]2.5s", "after the bracket", 4),
        ("[0]0s", "repeat of 0", 4),
        ("[0_0]", "repeat of 0", 5),
        ("[0_]", "no whole number follows '_'", 3),
        ("[0_501]", "too many", 2),
        ("[0]501", "too many", 4),
        ("[±]", "no angle follows '±'", 2),
        ("[±45_2]", "two ways", 5),
        ("[(0/45)/90]", "no repeat", 2),
        ("[0̅/90]s", "overbar marks the ply at mid-plane", 2),
        ("[0/90̅]", "overbar marks the ply at mid-plane", 4),
        ("[0/90̅]2s", "two ways", 4),
        ("[(0/45̅)_2]s", "inside a group", 2),
        ("[±45̅]s", "an overbar marks one ply", 2),
        ("[0:5]", "has no unit", 5),
        ("[0:0.1mm:0.2mm]", "a colon too many", 9),
        ("[0:carbon-ud:carbon-ud]", "a colon too many", 13),
        ("[0:100mm]", "100 mm thick", 2),
        ("[0:0mm]", "0 mm thick", 2),
        ("[carbon-ud]", "has no angle", 2),
        ("[0/foam-pvc-80/0]", "has no thickness", 4),
        ("[0/foam-pvc-80:5mm]2s", "two ways", 4),
        ("[0/foam-pvc-80:5mm/foam-pvc-80:5mm]s", "two core layers", 20),
        ("[0/foam-pvc-80_2:5mm]s", "two core layers", 4),
        ("[0/45:carbon-udd]", "'carbon-udd' is unknown", 7),
        ("[0/core:5mm]", "'core' is unknown", 4),
        ("[0/?]", "cannot start", 4),
        ("[±45:carbon-twill]", "one woven ply or two", 2),
        ("[(0:carbon-twill/90:carbon-twill)_2]", "one woven ply or two", 2),
    ],
)
def test_refusals_say_where(text: str, says: str, at: int) -> None:
    with pytest.raises(StackError) as caught:
        parse_stack(text, library(), "carbon-ud")
    assert says in str(caught.value)
    assert f"character {at})" in str(caught.value)


def test_unknown_names_get_the_nearest() -> None:
    with pytest.raises(StackError, match="nearest: carbon-twill"):
        parse_stack("[0:carbon-twil]", library(), "carbon-ud")
    with pytest.raises(StackError, match="default material"):
        parse_stack("[0]", library(), "carbon")


def test_a_name_that_may_be_a_repeat_is_refused() -> None:
    materials = {"core": library()["foam-pvc-80"], "core_2": library()["foam-pvc-80"], "ud": library()["carbon-ud"]}
    with pytest.raises(StackError, match="may be a material or 2 plies"):
        parse_stack("[0/core_2:5mm/0]", materials, "ud")


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.integers(-90, 90), min_size=1, max_size=6),
    st.integers(1, 4),
    st.booleans(),
    st.sampled_from(["", " ", "  "]),
)
def test_what_is_written_is_read(plies: list[int], repeat: int, symmetric: bool, space: str) -> None:
    text = f"[{space}{f'{space}/{space}'.join(map(str, plies))}{space}]{repeat}{'s' if symmetric else ''}"
    expected = plies * repeat
    assert angles(text) == (expected + expected[::-1] if symmetric else expected)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(-90, 90), min_size=1, max_size=5), st.sampled_from(["]s", "]2s", "/foam-pvc-80:6mm]s"]))
def test_a_symmetric_stack_does_not_couple(plies: list[int], end: str) -> None:
    lam = Laminate(parse_stack("[" + "/".join(map(str, plies)) + end, library(), "carbon-ud"))
    assert np.abs(lam.B).max() <= 1e-12 * np.abs(lam.A).max() * lam.thickness


@settings(deadline=None, max_examples=200)
@given(st.text(alphabet="[]()/_:±+-45 90mmsT̅₂{}.cufo", max_size=14))
def test_any_text_is_read_or_refused_with_words(text: str) -> None:
    said = ""
    plies: tuple[Ply, ...] = ()
    try:
        plies = parse_stack(text, library(), "carbon-ud")
    except StackError as error:
        said = str(error)
    assert plies or "character" in said


def test_describe_lists_from_the_top() -> None:
    lam = Laminate(parse_stack("[0/90/foam-pvc-80:5mm/45]", library(), "carbon-ud"))
    lines = describe(lam)
    assert lines[0].split() == ["4", "carbon-ud", "45°", "0.15", "mm"]
    assert lines[-1].split() == ["1", "carbon-ud", "0°", "0.15", "mm"]
    assert lines[1].split()[1:] == ["foam-pvc-80", "0°", "5", "mm"]
