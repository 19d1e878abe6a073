"""``[[option]]``: what could be done about the damage."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from panelfem.case.fields import Quantity, Section, choice, items, number, quantity, section, text
from panelfem.case.schema_area import AreaTable
from panelfem.case.schema_found import DamageTable
from panelfem.case.schema_repair import RepairAction


class TapeAction(Section):
    """Tape over an area: keeps air out, carries nothing."""

    kind: Literal["tape"] = choice("Tape.")
    name: str = text("What it is called.")
    over: str | None = text("The damage it covers,", default=None, needed="this or area")
    overlap_mm: float | None = number("and how far it reaches beyond it;", 0.0, 300.0, default=None, needed="with over")
    area: AreaTable | None = section("or its own area.", default=None, needed="this or over")
    areal_mass_g_per_m2: float = number(
        "Mass per area of the tape (300: cloth tape, common practice, no source).",
        10.0,
        3000.0,
        default=300.0,
    )
    thickness_mm: Quantity | None = quantity(
        "Thickness of the tape: the step it leaves (0.3: cloth tape, common practice, no source); absent: not stated.",
        0.01,
        5.0,
        default=None,
        measure="a caliper on a piece of the tape",
    )


class RefitAction(Section):
    """A missing fastener put back."""

    kind: Literal["refit"] = choice("A missing fastener put back.")
    name: str = text("What it is called.")
    fastener: str = text("Which fastener of the panel.")


class SpareAction(Section):
    """The spare panel goes on."""

    kind: Literal["spare"] = choice("The spare panel goes on.")
    name: str = text("What it is called.")
    damage: list[DamageTable] = items("What is found on the spare itself, as for the panel; absent: it is undamaged.")


ActionKeys = RepairAction | TapeAction | RefitAction | SpareAction
ActionTable = Annotated[ActionKeys, Field(discriminator="kind")]


class OptionKeys(Section):
    """One way out of the garage."""

    name: str = text("What it is called.")
    minutes: float = number(
        "Minutes it takes, all told: access, cutting, drying, abrading, cleaning, bonding, cure, cooling, "
        "tapping, refitting, "
        "scrutineering.",
        0.0,
        10000.0,
    )
    permitted: bool | Literal["ask"] = choice(
        'Whether the rules permit it: true, false, or "ask" if nobody has asked yet.'
    )
    note: str = text("Anything to remember.", default="none")
    actions: list[ActionTable] = items("What is done, in order.", default=..., min_length=1)
