"""A finding file: what was found, on which panel, car and circuit, with which kit."""

from __future__ import annotations

from typing import Any

from panelfem.case.fields import Section, items, number, section, text
from panelfem.case.schema_found import DamageTable


class FindingHead(Section):
    """Which prepared files it puts together, each by its name."""

    panel: str = text("The panel file.")
    car: str = text("The car file.")
    circuit: str = text("The circuit file.")
    kit: str = text("The kit file.")
    minutes_left: float | None = number(
        "Minutes until the car must be ready; absent: no clock.", 0.0, 100000.0, default=None
    )
    who: str = text("Who found it.")
    title: str | None = text("One line; absent: the panel and its damage.", default=None)


_REPLACED = "Keys of a case that replace what the prepared files say;"


class Finding(Section):
    """A finding file.

    Anything a case can say replaces what the prepared files say, and is listed: a key replaces a key, an entry of a
    list replaces the keys of the entry with its name, or is added.  The safety answers, the consequence and the factor
    asked for belong to the panel file.
    """

    finding: FindingHead = section("Which prepared files it puts together.")
    damage: list[DamageTable] = items("What was found, as in a case.")
    case: dict[str, Any] = section(f"{_REPLACED} of `[case]`.", default={})
    panel: dict[str, Any] = section(f"{_REPLACED} of `[panel]`.", default={})
    materials: dict[str, Any] = section(f"{_REPLACED} of `[materials]`.", default={})
    held: dict[str, Any] = section(f"{_REPLACED} of `[held]`.", default={})
    settings: dict[str, Any] = section(f"{_REPLACED} of `[settings]`.", default={})
    load: list[dict[str, Any]] = items(f"{_REPLACED} of `[[load]]`.")
    option: list[dict[str, Any]] = items(f"{_REPLACED} of `[[option]]`.")
