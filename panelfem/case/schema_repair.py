"""``[[option.actions]]``: bonded repairs, inserts, and what gets no credit."""

from __future__ import annotations

from typing import Any, Literal

from panelfem.case.fields import Quantity, Section, choice, flag, number, quantity, section, text
from panelfem.case.schema_area import AreaTable


def _cured_share() -> Any:
    """The key of the share of strength a cure gives."""
    return quantity(
        "Share of the book strength this cure gives, for plies and bond alike.",
        0.01,
        1.0,
        sweep="cured",
        measure="a lap-shear coupon cured beside the patch, pulled before release",
    )


def _cure_temperature() -> Any:
    """The key of the temperature of a cure."""
    return number(
        "Temperature it is cured at: checked against what the panel stands, where that is known.",
        -20.0,
        250.0,
        default=None,
    )


def ply_material() -> Any:
    """The key of the material of plies a stack of a patch does not name."""
    return text("Material of plies the stack does not name; absent: that of the panel.", default=None)


class _Bonded(Section):
    """What every bonded repair says of its plies, its bond and its cure."""

    name: str = text("What it is called.")
    material: str | None = ply_material()
    adhesive: str = text("Material of the bond: an adhesive, or the resin of a wet lay-up.")
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    cured_share: Quantity = _cured_share()
    cure_temperature_C: float | None = _cure_temperature()


class _OnOneFace(_Bonded):
    """A bonded repair of one face."""

    side: Literal["first ply", "last ply"] = choice(
        "The face it is done on: that of the first or of the last ply of the stack."
    )


class _Covering(_Bonded):
    """A bonded repair that lies on the skin, over a damage or an area of its own."""

    over: str | None = text(
        "The damage it covers, reaching beyond it by the overlap,", default=None, needed="this or area"
    )
    overlap_mm: float | None = number(
        "how far it reaches beyond the damage;", 2.0, 300.0, default=None, needed="with over"
    )
    area: AreaTable | None = section("or its own area.", default=None, needed="this or over")
    cut_out: bool = flag("Whether the damaged area is cut out clean first.", default=False)


class PatchAction(_OnOneFace, _Covering):
    """A patch bonded on one face."""

    kind: Literal["patch"] = choice("A patch of plies bonded on one face.")
    stack: str = text("Stack of the patch alone, the ply at the bond first.")


class TwoSidedAction(_Covering):
    """Like patches bonded on both faces; what gap is between them is filled."""

    kind: Literal["two-sided patch"] = choice("Like patches on both faces.")
    stack: str = text("Stack of each patch, the ply at the bond first.")
    plug: str | None = text("Core material that fills the gap between the patches; absent: adhesive.", default=None)


class DoublerAction(_OnOneFace, _Covering):
    """A precured laminate bonded on one face: its plies have their full strength, only its bond the cured share."""

    kind: Literal["doubler"] = choice("A precured laminate bonded on one face.")
    stack: str = text("Stack of the doubler, the ply at the bond first.")


class CorePlugAction(_OnOneFace):
    """The skin and the core of a sandwich cut out over the damage, a plug of core put in, and a new skin over it."""

    kind: Literal["core plug"] = choice("A plug of core with a new skin over it; the far skin stays.")
    over: str = text("The damage that is cut out: skin and core, on one side.")
    overlap_mm: float = number("How far the new skin reaches beyond it.", 2.0, 300.0)
    plug: str = text("Core material of the plug.")
    stack: str = text("Stack of the new skin, the ply at the core first.")


class _LetInto(_OnOneFace):
    """New plies in the place of old ones that were ground or cut down."""

    over: str = text("The damage it is taken down to; where the taper or the steps begin follows from their length.")
    stack: str | None = text(
        "Stack of the new plies, from the bottom outwards; absent: like the old ones.", default=None
    )


class ScarfAction(_LetInto):
    """The laminate, or one skin of a sandwich, ground to a taper and laid up anew, ply by ply."""

    kind: Literal["scarf patch"] = choice("Plies let in along a scarf.")
    scarf_ratio: float = number(
        "Length of the taper over its depth, n of 1:n (1:20 to 1:50: CMH-17 vol. 3, recalled).", 3.0, 200.0
    )


class SteppedAction(_LetInto):
    """The laminate, or one skin of a sandwich, cut down in steps and laid up anew, ply by ply."""

    kind: Literal["stepped patch"] = choice("Plies let in along steps.")
    step_mm: float = number("Length of a step, one a ply (12.7: common practice, no source).", 1.0, 100.0)


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
    cured_share: Quantity = _cured_share()
    cure_temperature_C: float | None = _cure_temperature()


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


LaidOn = PatchAction | TwoSidedAction | DoublerAction
LetIn = ScarfAction | SteppedAction
NoCreditAction = InjectionAction | StopDrillAction
RepairAction = LaidOn | CorePlugAction | LetIn | InsertAction | NoCreditAction
