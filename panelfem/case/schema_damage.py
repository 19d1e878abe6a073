"""``[[damage]]``: what was found; ``[[option]]``: what could be done about it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from panelfem.case.fields import Quantity, Section, choice, flag, items, number, quantity, section, text
from panelfem.case.schema_area import AreaTable, OvalTable
from panelfem.case.schema_repair import RepairAction, cure_temperature, cured_share

#: Average-stress length of Whitney & Nuismer, J. Compos. Mater. 8 (1974) 253: a0 = 3.8 mm fitted their
#: open-hole tests (recalled); laminates since have been fitted with roughly 2 to 6 mm (assumed band).
NOTCH_LENGTH = Quantity(
    value=3.8,
    basis="assumed",
    source="Whitney & Nuismer, J. Compos. Mater. 8 (1974) 253, average stress (recalled); band assumed",
    band=[2.0, 6.0],
)


class HoleDamage(Section):
    """Material that is gone, edges clean."""

    kind: Literal["hole"] = choice("A hole, slot or edge notch.")
    name: str = text("What it is called.")
    area: AreaTable = section("Where it is and how big, as measured.")
    tolerance_mm: float = number(
        "Uncertainty of the measured border; the damage is taken that much larger all round.",
        0.0,
        50.0,
        default=1.0,
    )
    characteristic_length_mm: Quantity = quantity(
        "Length over which the stress at the border is averaged before it is compared with the strength.",
        0.1,
        20.0,
        default=NOTCH_LENGTH,
        sweep="characteristic length",
        measure="open-hole coupons of the same laminate with two hole sizes",
    )


class SoftenedDamage(Section):
    """An area that sounds dull: delaminated, disbonded or crushed, depth unknown."""

    kind: Literal["softened"] = choice("A soft or dull-sounding area.")
    name: str = text("What it is called.")
    area: AreaTable = section("Where it is and how big, as tapped out.")
    tolerance_mm: float = number(
        "Uncertainty of the tapped border; the damage is taken that much larger all round (a tap test "
        "finds an edge to "
        "about ±5 mm: common practice, no source).",
        0.0,
        50.0,
        default=5.0,
    )
    strength_share: Quantity = quantity(
        "Share of the strength that is left if the stiffness is still all there.",
        0.01,
        1.0,
        sweep="softened strength",
        measure="ultrasonic or thermographic inspection of the area: depth and extent",
    )
    remaining_stiffness_share: Quantity = quantity(
        "Share of the stiffness at the other end of the bracket, where the area carries next to nothing.",
        1e-6,
        0.5,
        default=Quantity(value=1e-3, basis="assumed", source="near zero, so that the load goes round the area"),
    )


class DelaminationDamage(Section):
    """Two plies that have come apart, at a known depth: the plies over it may buckle.  The panel stays as stiff as
    before, since the parts lie on each other; that no shear is carried between them, and growth, are not computed.
    """

    kind: Literal["delamination"] = choice("Plies that have come apart at a known depth.")
    name: str = text("What it is called.")
    area: OvalTable = section(
        "Where it is and how big. What buckles is an ellipse clamped at its rim: a disc or an ellipse as it is, of a "
        "rectangle the ellipse through its corners, which is on the safe side."
    )
    interface: int = number(
        "After which ply it is, counted from 1 at the face of the first ply: 2 is between plies 2 and 3.", 1, 500
    )
    tolerance_mm: float = number(
        "Uncertainty of the tapped border; the damage is taken that much larger all round (a tap test finds an edge to "
        "about ±5 mm: common practice, no source).",
        0.0,
        50.0,
        default=5.0,
    )


class MissingFastenerDamage(Section):
    """A fixing that is gone or does not hold."""

    kind: Literal["missing fastener"] = choice("A fixing that is gone or does not hold.")
    name: str = text("What the finding is called.")
    fastener: str = text("Which fastener of the panel.")


DamageKeys = HoleDamage | SoftenedDamage | DelaminationDamage | MissingFastenerDamage
DamageTable = Annotated[DamageKeys, Field(discriminator="kind")]


class PatchAction(Section):
    """A patch bonded on one face."""

    kind: Literal["patch"] = choice("A patch of plies bonded on one face.")
    name: str = text("What it is called.")
    over: str | None = text(
        "The damage it covers, reaching beyond it by the overlap,", default=None, needed="this or area"
    )
    overlap_mm: float | None = number(
        "how far the patch reaches beyond the damage;", 2.0, 300.0, default=None, needed="with over"
    )
    area: AreaTable | None = section("or its own area.", default=None, needed="this or over")
    stack: str = text("Stack of the patch alone, first ply first (in the order of the panel's plies).")
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bond: an adhesive (the wet resin of a wet patch).")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    side: Literal["first ply", "last ply"] = choice(
        "The face it is bonded on: that of the first or of the last ply of the stack."
    )
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()
    cut_out: bool = flag("Whether the damaged area is cut out clean first.", default=False)


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


class RefitAction(Section):
    """A missing fastener put back."""

    kind: Literal["refit"] = choice("A missing fastener put back.")
    name: str = text("What it is called.")
    fastener: str = text("Which fastener of the panel.")


class SpareAction(Section):
    """The spare panel goes on."""

    kind: Literal["spare"] = choice("The spare panel goes on, undamaged.")
    name: str = text("What it is called.")


ActionKeys = PatchAction | RepairAction | TapeAction | RefitAction | SpareAction
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
