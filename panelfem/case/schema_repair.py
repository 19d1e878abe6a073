"""``[[option.actions]]`` beyond a plain patch: other bonded repairs, inserts, and what gets no credit."""

from __future__ import annotations

from typing import Any, Literal

from panelfem.case.fields import Quantity, Section, choice, flag, number, quantity, section, text
from panelfem.case.schema_area import AreaTable


def cured_share() -> Any:
    """The key of the share of strength a cure gives."""
    return quantity(
        "Share of the book strength this cure gives, for plies and bond alike.",
        0.01,
        1.0,
        sweep="cured",
        measure="a lap-shear coupon cured beside the patch, pulled before release",
    )


def cure_temperature() -> Any:
    """The key of the temperature of a cure."""
    return number(
        "Temperature it is cured at: checked against what the panel stands, where that is known.",
        -20.0,
        250.0,
        default=None,
    )


class TwoSidedAction(Section):
    """Like patches bonded on both faces; what gap is between them is filled."""

    kind: Literal["two-sided patch"] = choice("Like patches on both faces.")
    name: str = text("What it is called.")
    over: str | None = text(
        "The damage it covers, reaching beyond it by the overlap,", default=None, needed="this or area"
    )
    overlap_mm: float | None = number(
        "how far the patch reaches beyond the damage;", 2.0, 300.0, default=None, needed="with over"
    )
    area: AreaTable | None = section("or its own area.", default=None, needed="this or over")
    stack: str = text("Stack of each patch, the ply at the bond first.")
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bonds, and of the filling if no plug is named.")
    bond_thickness_mm: float = number("Thickness of each bond.", 0.02, 3.0)
    plug: str | None = text("Core material that fills the gap between the patches; absent: adhesive.", default=None)
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()
    cut_out: bool = flag("Whether the damaged area is cut out clean first.", default=False)


class DoublerAction(Section):
    """A precured laminate bonded on one face: its plies have their full strength, only its bond the cured share."""

    kind: Literal["doubler"] = choice("A precured laminate bonded on one face.")
    name: str = text("What it is called.")
    over: str | None = text(
        "The damage it covers, reaching beyond it by the overlap,", default=None, needed="this or area"
    )
    overlap_mm: float | None = number(
        "how far it reaches beyond the damage;", 2.0, 300.0, default=None, needed="with over"
    )
    area: AreaTable | None = section("or its own area.", default=None, needed="this or over")
    stack: str = text("Stack of the doubler, the ply at the bond first.")
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bond.")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    side: Literal["first ply", "last ply"] = choice(
        "The face it is bonded on: that of the first or of the last ply of the stack."
    )
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()
    cut_out: bool = flag("Whether the damaged area is cut out clean first.", default=False)


class CorePlugAction(Section):
    """The skin and the core of a sandwich cut out over the damage, a plug of core put in, and a new skin over it."""

    kind: Literal["core plug"] = choice("A plug of core with a new skin over it; the far skin stays.")
    name: str = text("What it is called.")
    over: str = text("The damage that is cut out: skin and core, on one side.")
    overlap_mm: float = number("How far the new skin reaches beyond it.", 2.0, 300.0)
    plug: str = text("Core material of the plug.")
    stack: str = text("Stack of the new skin, the ply at the core first.")
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bonds.")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    side: Literal["first ply", "last ply"] = choice(
        "The face it is done from: that of the first or of the last ply of the stack."
    )
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()


class ScarfAction(Section):
    """The laminate, or one skin of a sandwich, ground to a taper and laid up anew, ply by ply."""

    kind: Literal["scarf patch"] = choice("Plies let in along a scarf.")
    name: str = text("What it is called.")
    over: str = text("The damage it is ground down to; the taper begins where the scarf ratio puts it.")
    scarf_ratio: float = number(
        "Length of the taper over its depth, n of 1:n (1:20 to 1:50: CMH-17 vol. 3, recalled).", 3.0, 200.0
    )
    stack: str | None = text(
        "Stack of the new plies, from the bottom of the taper outwards; absent: like the old ones.", default=None
    )
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bond: an adhesive, or the resin of a wet lay-up.")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    side: Literal["first ply", "last ply"] = choice(
        "The face it is ground from: that of the first or of the last ply of the stack."
    )
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()


class SteppedAction(Section):
    """The laminate, or one skin of a sandwich, cut down in steps and laid up anew, ply by ply."""

    kind: Literal["stepped patch"] = choice("Plies let in along steps.")
    name: str = text("What it is called.")
    over: str = text("The damage it is cut down to; the steps begin where their length puts them.")
    step_mm: float = number("Length of a step, one a ply (12.7: common practice, no source).", 1.0, 100.0)
    stack: str | None = text(
        "Stack of the new plies, from the bottom outwards; absent: like the old ones.", default=None
    )
    material: str | None = text("Material of plies the stack does not name; absent: that of the panel.", default=None)
    adhesive: str = text("Material of the bond: an adhesive, or the resin of a wet lay-up.")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    side: Literal["first ply", "last ply"] = choice(
        "The face it is cut from: that of the first or of the last ply of the stack."
    )
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()


class InsertAction(Section):
    """An insert set anew."""

    kind: Literal["insert"] = choice("An insert set anew: a larger one, or potted again.")
    name: str = text("What it is called.")
    fastener: str = text("Which fastener of the panel it is for.")
    method: Literal["oversize", "re-potted"] = choice("A larger insert, or the old place potted again.")
    rating_shear_N: float | None = number(
        "What it takes along the skin, fully cured; absent: not known, not checked.", 1.0, 1e6, default=None
    )
    rating_pull_N: float | None = number(
        "What it takes along the normal, fully cured; absent: not known, not checked.", 1.0, 1e6, default=None
    )
    stiffness_share: float = number("Its stiffness over that of the fixing as it was.", 0.05, 2.0, default=1.0)
    cured_share: Quantity = cured_share()
    cure_temperature_C: float | None = cure_temperature()


class InjectionAction(Section):
    """Resin injected into a delamination or disbond: recorded, with no strength credit."""

    kind: Literal["resin injection"] = choice("Resin injected: recorded, no strength is counted for it.")
    name: str = text("What it is called.")
    over: str = text("The damage it goes into.")


class StopDrillAction(Section):
    """The end of a crack drilled: recorded, with no strength credit."""

    kind: Literal["stop-drilling"] = choice("A crack's end drilled: recorded, no strength is counted for it.")
    name: str = text("What it is called.")
    over: str = text("The damage whose end is drilled.")


LaidOn = TwoSidedAction | DoublerAction
LetIn = ScarfAction | SteppedAction
NoCreditAction = InjectionAction | StopDrillAction
RepairAction = LaidOn | CorePlugAction | LetIn | InsertAction | NoCreditAction
