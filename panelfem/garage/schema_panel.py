"""``panels/NAME.toml``: a panel as fitted to the car, with what a case says of it and what the garage knows."""

from __future__ import annotations

from typing import Literal

from panelfem.case.fields import (
    Quantity,
    Section,
    choice,
    direction,
    flag,
    items,
    number,
    point,
    quantity,
    section,
    text,
)
from panelfem.case.schema import Safety, Settings, Stakes
from panelfem.case.schema_loads import Held, Limit, LoadTable
from panelfem.case.schema_materials import MaterialTable
from panelfem.case.schema_panel import Panel

Permission = bool | Literal["ask"]


class PreparedHead(Stakes):
    """What the garage knows of the panel; its name is that of the file."""

    invented: bool = flag("True if the panel is made up (a demonstration); reports then say so.", default=False)
    mass_g: Quantity | None = quantity(
        "Mass of the panel as weighed, with source; absent: that of the model.",
        1.0,
        200000.0,
        default=None,
        measure="a scale",
    )
    spares: int = number("How many spare panels are at hand.", 0, 100, default=0)


class Allowed(Section):
    """What one authority allows on this panel; of the two, the stricter counts.  Absent keys count as "ask"."""

    repair: Permission = choice('A bonded patch: true, false, or "ask" if nobody has asked yet.')
    tape: Permission = choice("Tape.", default="ask")
    refit: Permission = choice("A missing fixing put back.", default="ask")
    spare: Permission = choice("The spare panel.", default="ask")
    source: str = text("Which rule book or manual, article or page.")
    edition: str = text("Its edition or date.")


class Event(Section):
    """One entry of the panel's history."""

    date: str = text("Date, in quotes: year-month-day.")
    what: str = text("What happened, what was found, what was done.")


class Exposure(Section):
    """A place where a kerb, a wall or the road can meet the panel."""

    name: str = text("What the place is called.")
    meets: list[Literal["kerb", "wall", "road"]] = items(
        'What can meet it: "kerb", "wall", "road".', default=..., min_length=1
    )
    place_mm: list[float] = point("The place on the panel: `[x, y]` in plan or `[x, y, z]`.")
    push_direction: list[float] = direction(
        "Direction in which the panel is pushed there; by a kerb or the road: up, against `down` of the panel, to "
        "within 15°."
    )
    travel_direction: list[float] = direction("Direction in which the car passes, as seen from the panel.")
    behind_front_axle_mm: float = number(
        "How far behind the front axle the place is; before it: negative.", -5000.0, 10000.0
    )
    height_mm: float = number("How far above the car's reference plane the place is.", -500.0, 3000.0)
    footprint_mm: float = number(
        "Diameter about the place within which the mesh is made fine.", 5.0, 1000.0, default=60.0
    )


class PreparedPanel(Section):
    """A panel file."""

    prepared: PreparedHead = section("What the garage knows of the panel.")
    safety: Safety = section("Three questions; none has a default.")
    materials: dict[str, MaterialTable] = section("Materials, as in a case.", default={})
    panel: Panel = section("The panel as designed.")
    rule_book: Allowed = section("What the rule book allows.")
    supplier: Allowed = section("What the supplier's repair manual allows.")
    held: Held = section("What is on the panel under every load that has no `held` of its own.", default=Held())
    load: list[LoadTable] = items("Loads that come with the panel, wherever it races.")
    exposure: list[Exposure] = items("Where a kerb, a wall or the road can meet it.")
    limit: list[Limit] = items("Clearances that must be kept under every load of a circuit.")
    settings: Settings = section("How the assessment is made.", default=Settings())
    history: list[Event] = items("What happened to it before.")
