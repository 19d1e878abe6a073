"""``panelfem wear``: the skid block at the finish, and movable bodywork, against the limits of the rule book."""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.case.wear import Worn, load_wear
from panelfem.cli.console import out, show, table, visible
from panelfem.wear import Forecast, Position, Verdict

_WORDS = {
    Verdict.WITHIN: "stays at or above the limit",
    Verdict.CANNOT_TELL: "cannot be told",
    Verdict.BEYOND: "falls below the limit",
}
_OF_POINTS = (
    "Point",
    "Outcome",
    "At the finish",
    "Interval",
    "Limit",
    "Wear in 10 laps",
    "Last reading",
    "Lasts until",
)
_OF_BODYWORK = ("Bodywork", "Outcome", "Mean offset", "Interval of the mean", "Limit", "Readings")
_CAUTION = (
    "The rate of wear is taken as constant: a harder run, a wet track, a kerb or another ride height changes it. The "
    "scrutineers' gauge and the rule book in force decide."
)


def run(chosen: Namespace) -> int:
    """Judge a wear file and print it."""
    worn = load_wear(chosen.file)
    console = out()
    for part in told(worn):
        show(console, part)
    return 0


def told(worn: Worn) -> Iterator[RenderableType]:
    """Title, a table of the points and one of the bodywork, and what must be known with them."""
    yield Text(visible(worn.title), style="bold")
    if worn.invented:
        yield Text("Invented readings: made up for demonstration.")
    yield Text(f"Limits as entered from: {visible(worn.edition)}. Intervals hold in {100 * worn.level:g} of 100 cases.")
    if worn.points:
        assert worn.finish is not None
        assert worn.least is not None
        yield Text("")
        title = f"Skid block at the finish, {worn.finish:g} laps"
        yield table(_OF_POINTS, (_point(f, worn.least) for f in worn.points), title)
        yield from _notes((f.point, f.notes) for f in worn.points)
        yield Text(_CAUTION)
    if worn.movable:
        assert worn.allowed is not None
        yield Text("")
        yield table(_OF_BODYWORK, (_movable(p, worn.allowed) for p in worn.movable), "Movable bodywork")
        yield from _notes((p.item, p.notes) for p in worn.movable)
    yield Text(_summary(worn))


def _point(found: Forecast, least: float) -> tuple[str, ...]:
    line = found.line is not None
    return (
        visible(found.point),
        _WORDS[found.verdict],
        _mm(found.value) if line else "no line",
        _interval(found.low, found.high),
        f"{_mm(least)} or more",
        f"{_mm(10 * found.wear)} ({_interval(10 * found.wear_low, 10 * found.wear_high)})" if line else "not told",
        f"{_mm(found.last.thickness)} at {found.last.laps:g} laps ({found.count} used)",
        f"lap {found.lasts}" if found.lasts is not None else "not told",
    )


def _movable(found: Position, allowed: float) -> tuple[str, ...]:
    return (
        visible(found.item),
        found.verdict.value,
        _mm(found.offset, True),
        _interval(found.low, found.high, True),
        f"±{_mm(allowed)}",
        str(found.count),
    )


def _notes(of: Iterator[tuple[str, tuple[str, ...]]]) -> Iterator[Text]:
    for name, notes in of:
        for note in notes:
            yield Text(f"{visible(name)}: {visible(note)}.")


def _summary(worn: Worn) -> str:
    """All of them in one line, the worst first."""
    verdicts = [*((f.point, f.verdict) for f in worn.points), *((p.item, p.verdict) for p in worn.movable)]
    parts = []
    for verdict, words in ((Verdict.BEYOND, "Beyond the limit"), (Verdict.CANNOT_TELL, "Cannot be told")):
        if names := [visible(name) for name, v in verdicts if v is verdict]:
            parts.append(f"{words}: {'; '.join(names)}.")
    return " ".join(parts) or "All within the limits entered."


def _mm(value: float, signed: bool = False) -> str:
    """A length to a hundredth of a millimetre."""
    rounded = round(1e3 * value, 2) + 0.0
    return f"{rounded:+.2f} mm".replace("-", "−") if signed else f"{rounded:.2f} mm".replace("-", "−")


def _interval(low: float, high: float, signed: bool = False) -> str:
    """An interval, its ends rounded outwards, so that none seems to keep a limit that it does not.

    >>> _interval(0.008996, 0.009101), _interval(-0.0012, 0.00031, True)
    ('8.99 to 9.11 mm', '−1.20 to +0.31 mm')
    """
    if math.isnan(low):
        return "none"
    down, up = math.floor(1e5 * low + 1e-6) / 1e5, math.ceil(1e5 * high - 1e-6) / 1e5
    return f"{_mm(down, signed).removesuffix(' mm')} to {_mm(up, signed)}"
