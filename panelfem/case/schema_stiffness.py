"""The sections of a readings file: dial gauges on a panel under weights, and what is known before they are read."""

from __future__ import annotations

from panelfem.case.fields import Section, direction, flag, items, number, point, section, text


class CheckHead(Section):
    """What the readings are of."""

    title: str = text("What is printed above the result.")
    invented: bool = flag("True if the readings are made up (a demonstration).", default=False)
    state: str = text(
        'State the panel is taken to be in: "undamaged", "as found", or an option of the case by its name.'
    )
    level_percent: float = number("In how many of 100 cases an interval holds.", 50.0, 99.9, default=95.0)


class SizedDamage(Section):
    """The damage whose size is to be found: a hole or softened area of the case that is no polygon; grown and shrunk
    about its centre in its own shape.  Its size is its length, of a disc the diameter.  A softened area counts as
    carrying next to nothing: one that still carries something is larger than what is found.
    """

    name: str = text("A damage of the case, by its name.")
    least_mm: float = number("Least size it may have; 0: it may not be there at all.", 0.0, 2000.0, default=0.0)
    most_mm: float = number("Greatest size it may have; every size between is as likely.", 0.0, 2000.0, low_open=True)


class Before(Section):
    """How far the panel may be from the model before it is read."""

    skin_percent: float = number(
        "The skin's stiffness is that of the case within so much, in 95 of 100 cases (common practice, no source).",
        1.0,
        80.0,
        default=20.0,
    )
    fixings_factor: float = number(
        "The springs of all fixings together are those of the case within this factor, in 95 of 100 cases; 1: they are "
        "known (common practice, no source).",
        1.0,
        10.0,
        default=2.0,
    )


class Dials(Section):
    """What the gauges and the weights are worth."""

    repeatability_mm: float = number(
        "How far two readings of one place, set up afresh, may differ in 95 of 100 cases; 2.8 standard deviations.",
        0.0,
        10.0,
        low_open=True,
    )
    weights_percent: float = number("How well the weights are known, in 95 of 100 cases.", 0.0, 20.0, default=0.5)


class Dial(Section):
    """A place where a gauge stands."""

    name: str = text("What it is called.")
    place_mm: list[float] = point("Where it touches the skin: `[x, y]` in plan, or `[x, y, z]` (with a mesh file).")
    direction: list[float] | None = direction(
        "The way the skin moves where the reading is positive; absent: the way gravity pulls.", default=None
    )


class Read(Section):
    """One reading under a weight."""

    dial: str = text("Which gauge, by its name.")
    deflection_mm: float = number("Reading with the weight less the reading without it.", -200.0, 200.0)


class Placed(Section):
    """A weight on the panel, alone."""

    name: str = text("What it is called.")
    place_mm: list[float] = point("Middle of its pad.")
    pad_mm: float = number("Diameter of its pad.", 2.0, 500.0)
    mass_kg: float = number("Mass.", 0.0, 500.0, low_open=True)
    direction: list[float] | None = direction("The way it pushes; absent: the way gravity pulls.", default=None)
    readings: list[Read] = items("What the gauges show.", default=..., min_length=1)


class ReadingsFile(Section):
    """A readings file."""

    check: CheckHead = section("What the readings are of.")
    damage: SizedDamage | None = section("The damage whose size is to be found; absent: as measured.", default=None)
    prior: Before = section("What is known before.", default=Before())
    gauge: Dials = section("The gauges and weights.")
    dial: list[Dial] = items("The gauges.", default=..., min_length=1)
    weight: list[Placed] = items("The weights.", default=..., min_length=1)
