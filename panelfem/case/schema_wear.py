"""The sections of a wear file: readings of a skid block and of movable bodywork, and the limits of the rule book."""

from __future__ import annotations

from panelfem.case.fields import Section, flag, items, number, section, text


class Head(Section):
    """What the readings are of."""

    title: str = text("What is printed above the result.")
    invented: bool = flag("True if the readings are made up (a demonstration).", default=False)
    finish_laps: float | None = number(
        "Laps at the finish, counted as those of the readings.", 0.0, 1e5, default=None, needed="with a point"
    )
    level_percent: float = number("In how many of 100 cases an interval holds.", 50.0, 99.9, default=95.0)


class Rules(Section):
    """The limits, from the rule book in force: there is no default."""

    edition: str = text("Name and edition of the rule book the limits are from.")
    least_thickness_mm: float | None = number(
        "Least thickness of the block at the finish.", 0.0, 1000.0, default=None, needed="with a point"
    )
    allowed_offset_mm: float | None = number(
        "How far movable bodywork may be from where it belongs, either way.",
        0.0,
        1000.0,
        default=None,
        low_open=True,
        needed="with movable bodywork",
    )


class Gauge(Section):
    """The gauge the readings were taken with."""

    repeatability_mm: float = number(
        "How far two readings of one place, set up afresh, may differ in 95 of 100 cases; 2.8 standard deviations.",
        0.0,
        50.0,
        low_open=True,
    )


class TakenReading(Section):
    """A reading of the block."""

    laps: float = number("Laps done when it was taken, counted as those of the finish.", 0.0, 1e5)
    thickness_mm: float = number("Thickness.", 0.0, 1000.0)
    block: str = text("Which block: another name from the reading on that is of a changed block.", default="first")


class Point(Section):
    """A point of the block that is measured again and again."""

    name: str = text("Where it is.")
    readings: list[TakenReading] = items("The readings, in the order they were taken.", default=..., min_length=1)


class PlaceReading(Section):
    """A reading of where a piece of bodywork is."""

    position_mm: float = number("The reading.", -1e4, 1e4)


class Movable(Section):
    """A piece of movable bodywork."""

    name: str = text("What it is.")
    nominal_mm: float = number("The reading where it belongs.", -1e4, 1e4)
    readings: list[PlaceReading] = items("The readings, each set up afresh.", default=..., min_length=1)


class WearFile(Section):
    """A wear file."""

    wear: Head = section("What the readings are of.")
    rules: Rules = section("The limits and where they are from.")
    gauge: Gauge = section("The gauge.")
    point: list[Point] = items("Points of the skid block.")
    movable: list[Movable] = items("Movable bodywork.")
