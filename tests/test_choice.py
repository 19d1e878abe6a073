"""The choice between options: the step each leaves, what each will not take, a spare that is damaged itself."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import synthetic
from test_cases import spoken
from test_damage_repair import LIB, PARENT, PATCH, panel, patch  # noqa: F401
from test_report import visible

from panelfem.assess.plan import Inputs, plans
from panelfem.assess.sweep import swept
from panelfem.case import Sweep, load_case
from panelfem.cli.summary import summary
from panelfem.damage import SOFT, STIFF, Hole, MissingFastener, Softened
from panelfem.disposition.records import Part
from panelfem.disposition.uncertainty import combined
from panelfem.errors import CaseError
from panelfem.repair import Option, Refit, ScarfRepair, Spare, StepHeight, Tape, step_height
from panelfem.report import choice, wording
from panelfem.report.limit import limits, strike, strikes

BOND = 0.2e-3


@pytest.fixture(scope="module")
def made() -> Any:
    return synthetic.barred(synthetic.assessment(resolution=(12, 8)))


# ---- the step


def test_a_patch_stands_out_by_its_plies_and_its_bond(panel: Any) -> None:  # noqa: F811
    """By hand: two plies of 0.125 mm and 0.2 mm of bond."""
    one = step_height(panel, [patch()])
    assert one.height == pytest.approx(0.45e-3)
    assert one.face == "last ply"
    assert step_height(panel, [patch(side=-1)]).face == "first ply"
    both = step_height(panel, [replace(patch(), both_sides=True)])
    assert (both.height, both.face) == (pytest.approx(0.45e-3), "either")


def test_a_scarf_is_flush_but_for_what_is_thicker_than_the_old_skin(panel: Any) -> None:  # noqa: F811
    """By hand: its bond alone with like plies; nothing if fewer plies than were there, and bond, are as thick."""
    like = ScarfRepair("S", "patch", PARENT, LIB["film-epoxy"], BOND, 1, 0.7, None, "hole", 30.0)  # type: ignore[arg-type]
    assert step_height(panel, [like]).height == pytest.approx(BOND)
    more = replace(like, laminate=replace(PARENT, plies=(*PARENT.plies, PARENT.plies[0])))
    assert step_height(panel, [more]).height == pytest.approx(BOND + 0.125e-3)
    assert step_height(panel, [replace(like, laminate=PATCH)]) == StepHeight()


def test_what_lies_on_each_other_adds_up_and_tape_says_what_it_does_not_know(panel: Any) -> None:  # noqa: F811
    tape = Tape("T", "hole", 0.3)
    assert step_height(panel, [tape]) == StepHeight(unstated=("T",))
    known = replace(tape, thickness=0.3e-3)
    assert step_height(panel, [known]) == StepHeight(0.3e-3, "either")
    assert step_height(panel, [patch(), known]).height == pytest.approx(0.75e-3)
    beside = step_height(panel, [patch(), tape])
    assert (beside.height, beside.unstated) == (pytest.approx(0.45e-3), ("T",))
    assert "and more: not stated: give the thickness of T" in wording.step_text(beside)
    assert step_height(panel, [Refit("R", "F1")]) == StepHeight()


# ---- what it will not take


def test_the_load_that_governs_comes_first_with_all_that_is_uncertain_but_its_severity(made: Any) -> None:
    """The severity at which release is lost does not depend on the severity that is expected."""
    conf = made.configurations[3]
    total = conf.disposition.uncertainty
    first = next(limit for limit in limits(conf) if limit.result.load == total.load)
    rest = [part for part in total.parts if part.name != "load severity" and part.basis != "not computed"]
    assert len(rest) < len(total.parts) - 1
    low = 1.0 - math.sqrt(sum((1.0 - part.low) ** 2 for part in rest))
    assert first.low == pytest.approx(low * total.factor)
    assert total.low * total.factor < first.low < first.mode.factor < first.high < total.high * total.factor
    said = strikes(conf)
    amount = 420.0 * first.mode.factor
    assert said[0].startswith(f"wall contact from {amount:.0f} N ({420.0 * first.low:.0f} to ")
    assert any(s.startswith("kerb strike from 2.62 mm of interference (±0.026 mm of mesh error): ") for s in said)
    assert "air load: not reached up to 14.4 kPa suction, 6 times what is expected" in said


def test_parts_that_are_left_out_leave_the_ends_at_one() -> None:
    assert combined([Part("x", "x", math.nan, math.nan, "not computed")]) == (1.0, 1.0)
    assert combined([Part("x", "x", 0.7, 1.3, "bound"), Part("y", "y", 0.6, 1.0, "bound")]) == pytest.approx((0.5, 1.3))


def test_what_has_no_number_has_none(made: Any) -> None:
    conf = made.configurations[1]
    (limit, *_) = limits(conf)
    held = replace(limit.mode, factor=math.nan, status="zero load")
    assert strike(replace(limit, mode=held)).startswith("kerb strike at all: what stays reaches fibre compression")
    assert strike(replace(limit, mode=replace(limit.mode, factor=math.inf))) == "kerb strike: no limit found"
    assert "outside linear theory" in next(s for s in strikes(conf) if s.startswith("wall contact"))


def test_a_card_holds_all_that_is_weighed_and_the_terminal_says_what_is_not_taken(made: Any) -> None:
    text = visible(choice.section(made, {})).replace("\u00a0", " ")
    cards = text.split("Reserve\n")[1:]
    assert len(cards) == len(made.configurations) - 1
    for words in ("Governs", "Will not take", "Restores", "Minutes", "Mass", "Re-inspection", "Permitted"):
        assert all(words in card for card in cards), words
    assert "0.9 mm on the face of the last ply" in cards[0]
    assert "not stated: give the thickness of tape over H1" in text
    said = [str(part) for part in summary(made)]
    assert sum(line.startswith("Will not take, ") for line in said) == len(cards)


# ---- the sentence


def test_the_sentence_of_the_recommended_option_is_read_aloud_in_ten_seconds(made: Any) -> None:
    spoken(made)
    spoken(replace(made, minutes_left=None))
    assert wording.winner_sentence(replace(made, recommendation=None)) == ""


# ---- a spare that is damaged itself


def test_a_damaged_spare_is_the_undamaged_panel_with_its_own_damage(panel: Any) -> None:  # noqa: F811
    dull = Softened("D", "patch", 1e-3, 0.5)
    sound, worn = Spare("sound"), Spare("worn", (dull,))
    inputs = Inputs(panel, (Hole("H", "hole", 3.8e-3), MissingFastener("M", "F1")),
                    (Option("a", (sound,), 5.0), Option("b", (worn,), 5.0)), ())  # fmt: skip
    _, _, whole, other = plans(inputs)
    assert [s.key for s in whole.states] == [("undamaged",)]
    assert [s.name for s in other.states] == [STIFF, SOFT]
    stiff, soft = (s.panel for s in other.states)
    assert not stiff.removed.any(), "the hole is in the panel on the car"
    assert stiff.fasteners[0].fitted
    assert (soft.slack == panel.mesh.inside["patch"]).all()
    assert other.left == (dull,)
    assert other.damaged
    assert not whole.damaged
    weaker = swept(inputs, Sweep("softened strength", "D", 0.5, 1.0, dull_key()), 0.5).inputs
    assert weaker.options[1].actions[0].damage[0].strength == pytest.approx(0.25)  # type: ignore[union-attr]


def dull_key() -> str:
    """What a case calls the strength left of a softened area."""
    from panelfem.damage.keys import keys_of

    return keys_of(Softened)["strength"].name


SPARE = """
[[option]]
name = "spare"
minutes = 20
permitted = true

[[option.actions]]
kind = "spare"
name = "second plate"

[[option.actions.damage]]
kind = "hole"
name = "NAME"
area = { shape = "disc", centre_mm = [PLACE, 80], diameter_mm = 20 }
"""


def case_with_spare(folder: Path, name: str, place: int) -> Any:
    from test_smallest import CASE

    path = folder / "case.toml"
    path.write_text(CASE + SPARE.replace("NAME", name).replace("PLACE", str(place)))
    return load_case(path)


def test_the_damage_of_a_spare_is_read_meshed_and_swept(tmp_path: Path) -> None:
    case = case_with_spare(tmp_path, "nick", 200)
    (spare,) = case.options[1].actions
    assert spare.damage[0].region == "damage nick"
    area = case.panel.mesh.areas[case.panel.mesh.inside["damage nick"]].sum()
    assert area == pytest.approx(math.pi * 0.011**2, rel=0.05), "10 mm and the tolerance of 1 mm"
    targets = {a.sweep.target for a in case.assumed if a.sweep is not None and a.key.startswith("option[1]")}
    assert targets == {"nick"}


@pytest.mark.parametrize(
    ("name", "place", "where"), [("H", 200, "damage[0].name"), ("nick", 900, "damage[0].area.centre_mm")]
)
def test_a_contradiction_in_a_spare_says_where(tmp_path: Path, name: str, place: int, where: str) -> None:
    with pytest.raises(CaseError) as caught:
        case_with_spare(tmp_path, name, place)
    assert [f.path for f in caught.value.faults] == [f"option[1].actions[0].{where}"]
