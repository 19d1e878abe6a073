"""The whole case file."""

from __future__ import annotations

from typing import Literal

from panelfem.case.fields import Section, choice, flag, items, number, section, text
from panelfem.case.schema_found import DamageTable
from panelfem.case.schema_loads import Held, LoadTable
from panelfem.case.schema_materials import MaterialTable
from panelfem.case.schema_option import OptionKeys
from panelfem.case.schema_panel import Panel

#: What happens if the panel comes off, and the factor then asked for on force-like parameters
#: (common practice, no source).
CLASS_FACTORS = {"cosmetic": 1.0, "aerodynamic": 1.25, "debris": 1.5, "high voltage": 2.0}


class Stakes(Section):
    """What is lost if the panel comes off, and the factor that asks for."""

    consequence: Literal["cosmetic", "aerodynamic", "debris", "high voltage"] = choice(
        "What happens if the panel comes off; sets the factor asked for: cosmetic 1.0, aerodynamic 1.25, "
        "debris (or a "
        "mandatory stop) 1.5, high voltage 2.0 (common practice, no source)."
    )
    required_factor: float | None = number(
        "A factor of your own, not below that of the class.",
        1.0,
        10.0,
        default=None,
        needed="to ask for more",
    )
    required_factor_source: str | None = text("Who asks for it.", default=None, needed="with required_factor")


class CaseHead(Stakes):
    """What the case is about."""

    title: str = text("One line: which panel, what happened.")
    invented: bool = flag("True if the case is made up (a demonstration); the report then says so.", default=False)
    minutes_left: float | None = number(
        "Minutes until the car must be ready; absent: no clock.", 0.0, 100000.0, default=None
    )


class Safety(Section):
    """Three questions; none has a default."""

    protects_people: Literal[
        "no", "is one", "bonded into one", "holds occupant protection in place", "counts in its approval"
    ] = choice(
        "Is the panel a part that protects people (survival cell, roll and head protection, impact "
        "structures, suspension, "
        'wheel tethers, belts, and the mountings of all these)? Anything but "no" is declined.'
    )
    fastened_to_such_a_part: bool = flag("Is it fastened to such a part?")
    such_a_part: str | None = text("Which one.", default=None)
    covers_high_voltage: bool = flag('Does it cover high voltage? Then the consequence is "high voltage".')


class Settings(Section):
    """How the assessment is made."""

    unidirectional_criterion: str | None = text(
        "Criterion that governs unidirectional plies; absent: Hashin's plane modes.", default=None
    )
    fabric_criterion: str | None = text(
        "Criterion that governs fabric plies; absent: maximum stress by direction.", default=None
    )
    criteria_without_mode_govern: bool = flag(
        "Whether criteria that name no mode (Tsai-Hill, Tsai-Wu, Hoffman) may govern release.", default=False
    )
    in_situ_strength: bool = flag(
        "Whether unidirectional plies held between plies of other directions are judged by their in-situ strength "
        "across the fibres (Camanho et al. 2006), which is greater than a coupon's.",
        default=False,
    )
    lose_each_fastener: bool = flag("Whether each fastener is lost in turn.", default=True)
    large_displacements: bool = flag(
        "Whether loads under which linear theory does not hold are followed with large displacements; without, what "
        "they do cannot be told.",
        default=True,
    )
    vibrations: bool = flag(
        "Whether the lowest natural vibrations at rest of every state that must meet the factor are found.",
        default=True,
    )
    flip_sizes: bool = flag(
        "Whether damage is judged at measured size too, and not at size plus tolerance only, the worse ruling; and "
        "whether it is looked for, with linear looks, at which size each damage would change the outcome, as found and "
        "under the recommended option if that leaves it in.",
        default=True,
    )
    accuracy: float = number(
        "Accuracy asked of deflection, ply strain, reserve factor and fixing loads, as a share; the mesh is adapted "
        "until it is met or a stated limit is reached. Not with element_size_mm.",
        0.002,
        0.2,
        default=0.02,
    )
    accuracy_near_governing_only: bool = flag(
        "Whether the accuracy is asked only of reserves up to 2.5 times what is asked, and of the strain there (and of "
        "deflection and fixing loads, as always); others stand with the bars they then have.",
        default=False,
    )
    element_size_mm: float | None = number(
        "Element size away from detail; given, the mesh is not adapted; absent: adapted to the accuracy.",
        2.0,
        500.0,
        default=None,
    )
    element_order: int | None = number(
        "Order of the elements; absent: the default. The bars come from elements of one order more.", 2, 5, default=None
    )
    imperfection_mm: float | None = number(
        "Height of the initial shape that a panel which buckles is followed from; absent: a tenth of the thickness "
        "there or a thousandth of the width of the bay, the greater of the two (common practice, no source).",
        0.001,
        50.0,
        default=None,
    )


class CaseFile(Section):
    """A case file."""

    case: CaseHead = section("What the case is about.")
    safety: Safety = section("Three questions; none has a default.")
    materials: dict[str, MaterialTable] = section(
        "Plies, cores and adhesives by the names used in stacks; names of the built-in library need no entry.",
        default={},
    )
    panel: Panel = section("The panel as designed.")
    damage: list[DamageTable] = items("What was found.")
    option: list[OptionKeys] = items("What could be done.")
    held: Held = section("What is on the panel under every load that has no `held` of its own.", default=Held())
    load: list[LoadTable] = items("What hits it.", default=..., min_length=1)
    settings: Settings = section("How the assessment is made.", default=Settings())
