"""``kits/NAME.toml``: what can be done in the garage, with what, and how long it takes."""

from __future__ import annotations

from typing import Any, Literal

from panelfem.case.fields import Basis, Quantity, Section, choice, flag, items, number, quantity, row, section, text
from panelfem.case.schema_materials import MaterialTable

_WATCH = "a watch, at the next repair"


class KitHead(Section):
    """What the kit is; its name is that of the file."""

    invented: bool = flag("True if the kit is made up (a demonstration); reports then say so.", default=False)
    fixings: int = number("How many spare fixings it holds.", 0, 1000, default=0)
    tools: str = text("Tools and consumables, for the work card.", default="not listed")


class CureTable(Section):
    """Strength of a resin or adhesive against its cure.

    Between the entries it is interpolated (linear in temperature and in time, on the safe side where strength levels
    off); outside them there is no credit.
    """

    material: str = text("The adhesive, by the name of the kit's materials or of the library.")
    temperatures_C: list[float] = row("Cure temperatures, rising.", -20.0, 250.0)
    times_min: list[float] = row("Times at temperature, rising.", 0.1, 100000.0)
    shares: list[list[float]] = row(
        "Share of the book strength: a row for each temperature, an entry for each time.", 0.01, 1.0
    )
    scatter_percent: float = number("How far a bond may lie from the table, either way, in % of it.", 0.0, 90.0)
    serves_to_C: float | None = number(
        "Greatest temperature the bond serves at; a panel in use above it gets no credit.",
        -50.0,
        300.0,
        default=None,
    )
    basis: Basis = choice("What the table is worth.")
    source: str = text("Where it comes from.")


class Patch(Section):
    """A patch that lies ready."""

    name: str = text("What it is called.")
    stack: str = text("Its stack, the ply at the bond first.")
    material: str = text("Material of plies the stack does not name.")
    adhesive: str = text("Its adhesive, or the resin of a wet patch.")
    overlap_mm: float = number("How far it reaches beyond the damage.", 2.0, 300.0)
    bond_thickness_mm: float = number("Thickness of the bond.", 0.02, 3.0)
    cure_temperature_C: float = number("Temperature it is cured at.", -20.0, 250.0)
    cure_min: Quantity = quantity("Time at that temperature.", 0.1, 100000.0, measure=_WATCH)
    sides: list[Literal["first ply", "last ply"]] = items(
        'The faces it may go on, "first ply" or "last ply"; each is an option.', default=..., min_length=1
    )
    largest_mm: float = number("Greatest patch that can be cut from it.", 10.0, 3000.0)
    cut_out: bool = flag("Whether the damaged area is cut out clean first.", default=False)
    note: str = text("Anything to remember.", default="none")


class Tape(Section):
    """Tape: keeps air out, carries nothing."""

    overlap_mm: float = number("How far it reaches beyond the damage.", 0.0, 300.0)
    areal_mass_g_per_m2: float = number("Mass per area.", 10.0, 3000.0)


def _step(what: str) -> Any:
    return quantity(what, 0.0, 10000.0, measure=_WATCH)


class Minutes(Section):
    """The task clock: minutes a step; write 0 for a step that is not done."""

    access_min: Quantity = _step("Getting at the panel, or taking it off.")
    cut_min: Quantity = _step("Cutting out one damage.")
    dry_min: Quantity = _step("Drying, once.")
    abrade_min: Quantity = _step("Abrading one bond area.")
    clean_min: Quantity = _step("Cleaning one area.")
    bond_min: Quantity = _step("Laying and bagging one patch.")
    cool_min: Quantity = _step("Cooling after the cure, once.")
    tap_min: Quantity = _step("Tapping out one patch.")
    tape_min: Quantity = _step("Taping one damage.")
    fixing_min: Quantity = _step("Putting back one missing fixing.")
    spare_min: Quantity = _step("Fitting the spare panel.")
    refit_min: Quantity = _step("Putting the panel back.")
    scrutineer_min: Quantity = _step("Showing it to the scrutineer, once.")


class Kit(Section):
    """A kit file."""

    kit: KitHead = section("What the kit is.", default=KitHead())
    materials: dict[str, MaterialTable] = section("Plies, resins and adhesives, as in a case.", default={})
    cure: list[CureTable] = items("Strength against cure.")
    patch: list[Patch] = items("Patches.")
    tape: Tape | None = section("Tape; absent: none.", default=None)
    minutes: Minutes = section("The task clock.")
