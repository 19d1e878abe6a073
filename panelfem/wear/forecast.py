"""Thickness of a skid block at one point, from readings against laps: where it will be at the finish.

The rate of wear is taken as constant.  Readings that grow, a block that was changed and readings too few are said,
and never give a verdict better than they can carry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from panelfem.errors import InputError
from panelfem.wear.line import Line, fitted
from panelfem.wear.verdict import Verdict, scatter

#: Fewer readings than this of one block give no interval.
LEAST = 3
#: A forecast is not searched further than this many laps ahead.
FAR = 100_000


@dataclass(frozen=True)
class Reading:
    """A `thickness` (m) after so many `laps`, of one `block`."""

    laps: float
    thickness: float
    block: str = ""


@dataclass(frozen=True)
class Forecast:
    """One point at the finish.

    `value` m with the interval `low` to `high` of one further reading there; `line` in m and laps; all nan or None
    where there is no line.  `wear` m per lap, its interval `wear_low` to `wear_high`.  `count` readings of the last
    `block` were used, `last` is the last of them.  `lasts`: the last whole lap at which the lower end is still at the
    limit, None where that cannot be told.  `notes`: what must be known with it.
    """

    point: str
    verdict: Verdict
    last: Reading
    count: int
    line: Line | None
    value: float
    low: float
    high: float
    wear: float
    wear_low: float
    wear_high: float
    lasts: int | None
    notes: tuple[str, ...]


def forecast(
    point: str, readings: Sequence[Reading], finish: float, least: float, level: float, repeatability: float
) -> Forecast:
    """The thickness at `finish` laps against the `least` allowed (m), in a share `level` of cases.

    `repeatability` m: how far two readings of one place may differ (95 of 100 cases).  Raises InputError for no
    reading, laps that go back, a block that comes back, or a finish before the last reading.

    >>> run = [Reading(laps, 1e-3 * mm) for laps, mm in ((0, 10.00), (8, 9.81), (15, 9.66), (24, 9.42))]
    >>> found = forecast("front", run, 40, 9e-3, 0.95, 5e-5)
    >>> found.verdict.value, f"{1e3 * found.low:.2f} to {1e3 * found.high:.2f} mm", found.lasts
    ('cannot be told', '8.90 to 9.20 mm', 36)
    """
    _ordered(point, readings, finish)
    last = readings[-1]
    used = [r for r in readings if r.block == last.block]
    notes = _left_out(readings, used)
    line = None
    if len({r.laps for r in used}) > 1:
        line = fitted([r.laps for r in used], [r.thickness for r in used])
    if line is None or line.count < LEAST:
        notes.append(_too_few(used, line))
        verdict = Verdict.BEYOND if last.thickness < least else Verdict.CANNOT_TELL
        if verdict is Verdict.BEYOND:
            notes.append("the last reading is below the limit already")
        nan = math.nan
        value, rate = (nan, nan) if line is None else (line.at(finish), -line.slope)
        return Forecast(point, verdict, last, len(used), line, value, nan, nan, rate, nan, nan, None, tuple(notes))
    deviation, by_gauge = scatter(line.deviation, repeatability)
    if by_gauge:
        notes.append("the readings agree better than the gauge repeats: the interval is the gauge's")
    low, high = line.prediction(finish, level, deviation)
    least_slope, most_slope = line.slopes(level, deviation)
    grows, rises = least_slope > 0, _rises(used, repeatability)
    verdict = Verdict.WITHIN if low >= least else Verdict.BEYOND if high < least else Verdict.CANNOT_TELL
    if last.thickness < least:
        notes.append("the last reading is below the limit already")
        verdict = Verdict.BEYOND
    if grows:
        notes.append(
            "the readings grow with the laps, and no block does: a wrong point, heat, dirt under the gauge, or a block "
            "that was changed and not entered; measure again"
        )
    elif most_slope >= 0:
        notes.append("wear is not told from the scatter of the readings")
    if rises:
        notes.append(rises)
    if (grows or rises) and verdict is Verdict.WITHIN:
        verdict = Verdict.CANNOT_TELL
    if finish - last.laps > last.laps - used[0].laps:
        notes.append("the finish is further ahead than the readings reach: measure again on the way")
    return Forecast(
        point,
        verdict,
        last,
        len(used),
        line,
        line.at(finish),
        low,
        high,
        -line.slope,
        -most_slope,
        -least_slope,
        None if grows or rises else _lasts(line, last.laps, least, level, deviation),
        tuple(notes),
    )


def _ordered(point: str, readings: Sequence[Reading], finish: float) -> None:
    where = f"point {point!r}"
    if not readings:
        raise InputError("has no reading", where=where, do="measure it")
    seen: list[str] = []
    for before, after in pairwise(readings):
        if after.laps < before.laps:
            what = f"the laps go back from {before.laps:g} to {after.laps:g}"
            raise InputError(what, where=where, do="write the readings in the order they were taken")
    for reading in readings:
        if reading.block not in seen:
            seen.append(reading.block)
        elif seen[-1] != reading.block:
            what = f"block {reading.block!r} comes back after {seen[-1]!r}"
            raise InputError(what, where=where, do="name it as another block, and count its laps from there")
    if finish < readings[-1].laps:
        what = f"the finish, at {finish:g} laps, is before the last reading, at {readings[-1].laps:g}"
        raise InputError(what, where=where, do="count the laps of finish and readings from the same start")


def _left_out(readings: Sequence[Reading], used: Sequence[Reading]) -> list[str]:
    out = len(readings) - len(used)
    if not out:
        return []
    return [f"the block was changed: {_count(out)} of earlier blocks left out, only those of {used[-1].block!r} count"]


def _too_few(used: Sequence[Reading], line: Line | None) -> str:
    if line is None:
        return f"{_count(len(used))}, all at {used[-1].laps:g} laps, tell no rate of wear; measure again after a run"
    return f"{_count(len(used))} give a line but no interval; {LEAST} are needed, and more narrow it"


def _count(n: int) -> str:
    return f"{n} reading{'' if n == 1 else 's'}"


def _rises(used: Sequence[Reading], repeatability: float) -> str:
    """The greatest rise from an earlier reading to the next that the gauge does not explain, in words."""
    before, after = max(pairwise(used), key=lambda pair: pair[1].thickness - pair[0].thickness)
    rise = after.thickness - before.thickness
    if rise <= repeatability * (1.0 + 1e-9):
        return ""
    return (
        f"the reading grows by {1e3 * rise:.3g} mm from {before.laps:g} to {after.laps:g} laps, more than the gauge's "
        f"{1e3 * repeatability:.3g} mm: a misreading, or a block that was changed and not entered"
    )


def _lasts(line: Line, now: float, least: float, level: float, deviation: float) -> int | None:
    """The last whole lap from `now` on whose lower end is at `least` or above."""

    def holds(lap: int) -> bool:
        return line.prediction(lap, level, deviation)[0] >= least

    first = math.ceil(now)
    if line.slope >= 0 or not holds(first) or holds(first + FAR):
        return None
    low, high = first, first + FAR
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
