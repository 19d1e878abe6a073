"""The question engine: defaults, checks, help, the way back, flags, pipes and the end of input."""

from __future__ import annotations

import io
from typing import Any

import pytest

from panelfem.cli.form import LONGEST, Question, Talk, Values, fill, number_of, one_of, yes_or_no
from panelfem.errors import InputError

FRUIT = ("apple", "apricot", "pear")


def following(values: Values) -> Question | None:
    """Which fruit, how much of it, and, of pears only, whether ripe."""
    if "fruit" not in values:
        return Question("fruit", "--fruit", "Fruit", "Which one.", one_of(FRUIT), choices=FRUIT)
    if "mass" not in values:
        return Question("mass", "--mass", "Mass in g", "On the scale.", number_of("g", 1, 500), "100")
    if values["fruit"] == "pear" and "ripe" not in values:
        return Question("ripe", "--ripe", "Ripe", "Press it.", yes_or_no, "no", seen=True, told=lambda v: f"so {v}")
    return None


def asked(lines: str, given: dict[str, str] | None = None, *, live: bool = True, yes: bool = False) -> Any:
    said = io.StringIO()
    talk = Talk(io.StringIO(lines), said, live)
    return fill(following, given or {}, talk, yes), said.getvalue(), talk.answers


def test_answers_in_order_and_the_default_for_nothing() -> None:
    values, said, answers = asked("pear\n\ny\n")
    assert values == {"fruit": "pear", "mass": 100.0, "ripe": True}
    assert answers == 3
    assert "1. Fruit: 2. Mass in g [100]: 3. Ripe [no]:" in said.replace("   1  apple\n   2  apricot\n   3  pear\n", "")
    assert "so True" in said
    assert said.startswith("One answer a line.")


def test_the_way_back_asks_again_and_offers_what_was_said() -> None:
    values, said, _ = asked("pear\n250\n<\n<\napple\n\n")
    assert values == {"fruit": "apple", "mass": 250.0}
    assert "1. Fruit [pear]: " in said
    assert "2. Mass in g [250]: " in said
    values, said, _ = asked("<\npear\n<\n\n5\nno\n")
    assert values == {"fruit": "pear", "mass": 5.0, "ripe": False}
    assert "This is the first question." in said


def test_the_way_back_passes_over_what_a_flag_said() -> None:
    values, said, _ = asked("pear\n<\napple\n", {"mass": "7 g"})
    assert values == {"fruit": "apple", "mass": 7.0}
    assert "Mass" not in said


def test_help_and_a_second_try() -> None:
    values, said, _ = asked("?\nplum\n4\nap\npear\n0\n1e9\nnan\n1_0\nx\n30 g\n\n")
    assert values == {"fruit": "pear", "mass": 30.0, "ripe": False}
    assert "   Which one." in said
    assert "'plum' is none of these. Allowed: apple, apricot, pear" in said
    assert "'ap' is none of these" in said
    assert said.count("is out of range. Allowed: 1 to 500 g") == 2
    assert said.count("is not a number") == 3


def test_a_script_that_answers_wrongly_is_stopped_at_once() -> None:
    # a script would give the answer to the next question to this one
    with pytest.raises(InputError, match=r"'0' is out of range; nothing was written .*'mass in g', --mass"):
        asked("pear\n0\n30\n", live=False)


def test_a_script_gets_help_and_the_way_back_too() -> None:
    values, said, _ = asked("?\npear\n<\napple\n3\n", live=False)
    assert values == {"fruit": "apple", "mass": 3.0}
    assert "Fruit: pear\n" in said, "what was read is shown where no terminal echoes it"


@pytest.mark.parametrize(("lines", "flag"), [("", "--fruit"), ("pear\n", "--mass"), ("pear\n3\n", "--ripe")])
@pytest.mark.parametrize("live", [True, False])
def test_the_end_of_input_names_the_flag(lines: str, flag: str, live: bool) -> None:
    with pytest.raises(InputError, match=f"nothing was written .*{flag}"):
        asked(lines, live=live)


def test_no_default_is_said() -> None:
    _, said, _ = asked("\napple\n\n")
    assert "there is no default here. Allowed: apple, apricot, pear" in said


def test_all_by_flags_asks_nothing() -> None:
    values, said, answers = asked("", {"fruit": "3", "mass": "20", "ripe": "yes"}, live=False)
    assert values == {"fruit": "pear", "mass": 20.0, "ripe": True}
    assert answers == 0
    assert said == "   so True\n"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"fruit": "plum"}, "--fruit 'plum'"),
        ({"fruit": "pear", "mass": "heavy"}, "'heavy' is not a number .--mass 'heavy'"),
        ({"fruit": "pe\x1b[2Jar"}, "--fruit"),
    ],
)
def test_a_wrong_flag_is_one_message(given: dict[str, str], said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        asked("", given)
    assert "\x1b" not in str(caught.value)


def test_defaults_are_taken_only_where_nobody_need_see_them() -> None:
    values, said, _ = asked("", {"fruit": "apple"}, yes=True, live=False)
    assert values["mass"] == 100.0
    assert "Mass in g: 100 (default)" in said
    with pytest.raises(InputError, match=r"no default that --yes may take unseen \(--fruit\)"):
        asked("", yes=True)
    with pytest.raises(InputError, match="--ripe"):
        asked("", {"fruit": "pear"}, yes=True)


def test_what_is_no_text_is_refused() -> None:
    values, said, _ = asked("pe\x1b[31mar\npear\n2\n\n")
    assert values["mass"] == 2.0
    assert r"the answer holds the character '\x1b'" in said
    assert "\x1b" not in said
    with pytest.raises(InputError, match="too long"):
        asked("p" * (LONGEST + 5) + "\n", live=False)
    raw = io.TextIOWrapper(io.BytesIO(b"p\xff\n"), encoding="utf-8")
    with pytest.raises(InputError, match="not text"):
        fill(following, {}, Talk(raw, io.StringIO(), live=False))


def test_a_line_too_long_is_not_split_into_two_answers() -> None:
    values, said, _ = asked("p" * 2000 + "\npear\n2\n\n")
    assert values == {"fruit": "pear", "mass": 2.0, "ripe": False}
    assert said.count("too long") == 1


def test_a_poor_terminal_is_no_fault() -> None:
    said = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    Talk(io.StringIO(), said).say("60 × 12 mm ±1")
    assert said.buffer.getvalue() == b"60 ? 12 mm ?1\n"  # type: ignore[attr-defined]
