"""From a wear file to forecasts and positions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from panelfem.case.draft import twice
from panelfem.case.read import read_as
from panelfem.case.schema_wear import Point, WearFile
from panelfem.errors import CaseError, Fault, InputError
from panelfem.wear import Forecast, Position, Reading, forecast, position


@dataclass(frozen=True)
class Worn:
    """A wear file, judged.  `edition` of the rule book; `level` as a share; limits and repeatability in m, laps as
    entered; None where the file has nothing for them.
    """

    title: str
    invented: bool
    edition: str
    level: float
    repeatability: float
    finish: float | None
    least: float | None
    allowed: float | None
    points: tuple[Forecast, ...]
    movable: tuple[Position, ...]


def load_wear(path: Path) -> Worn:
    """Read, check and judge a wear file.  Raises CaseError listing all its faults."""
    model = read_as(path, WearFile)
    if faults := tuple(_contradictions(model)):
        raise CaseError(str(path), faults)
    level, repeatability = 1e-2 * model.wear.level_percent, 1e-3 * model.gauge.repeatability_mm
    finish, least = model.wear.finish_laps, _metres(model.rules.least_thickness_mm)
    allowed = _metres(model.rules.allowed_offset_mm)
    points = []
    for i, point in enumerate(model.point):
        assert finish is not None
        assert least is not None
        try:
            points.append(forecast(point.name, _readings(point), finish, least, level, repeatability))
        except InputError as error:
            raise CaseError(str(path), (Fault(f"point[{i}]", error.what, error.allowed, error.do),)) from error
    movable = []
    for item in model.movable:
        assert allowed is not None
        places = [1e-3 * r.position_mm for r in item.readings]
        movable.append(position(item.name, places, 1e-3 * item.nominal_mm, allowed, level, repeatability))
    return Worn(
        model.wear.title,
        model.wear.invented,
        model.rules.edition,
        level,
        repeatability,
        finish,
        least,
        allowed,
        tuple(points),
        tuple(movable),
    )


def _metres(millimetres: float | None) -> float | None:
    return None if millimetres is None else 1e-3 * millimetres


def _readings(point: Point) -> list[Reading]:
    return [Reading(r.laps, 1e-3 * r.thickness_mm, r.block) for r in point.readings]


def _contradictions(model: WearFile) -> Iterator[Fault]:
    """What no section can tell by itself."""
    if not model.point and not model.movable:
        yield Fault("point", "there is nothing to judge", "a list of tables", "write [[point]] or [[movable]]")
    rule = "it has no default: take it from the rule book in force"
    if model.point and model.rules.least_thickness_mm is None:
        yield Fault("rules.least_thickness_mm", "is missing", "a number, 0 to 1000 mm", rule)
    if model.movable and model.rules.allowed_offset_mm is None:
        yield Fault("rules.allowed_offset_mm", "is missing", "a number, more than 0, up to 1000 mm", rule)
    if model.point and model.wear.finish_laps is None:
        yield Fault("wear.finish_laps", "is missing", "a number, 0 to 100000", "write finish_laps")
    for key, names in (("point", [p.name for p in model.point]), ("movable", [m.name for m in model.movable])):
        yield from twice(enumerate(names), key, key)
