"""The load–deflection curve of a load that was followed, beside what linear theory said; readable without colour."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import matplotlib
from matplotlib.axes import Axes

from panelfem.disposition import snaps
from panelfem.disposition.records import LoadOutcome
from panelfem.report import figures, wording
from panelfem.report.large import factor_text
from panelfem.report.pictures import INK, PAPER, RULE, TEXT, WIDE, canvas
from panelfem.reserve.records import LoadResult
from panelfem.units import number, show

#: Labels beside the curve are no nearer to each other than this share of its height.
_APART = 0.075


@dataclass(frozen=True)
class Level:
    """A line across the curve: at a `factor`, with its `label`; `style` of the line."""

    factor: float
    label: str
    style: str = "-"
    width: float = 0.8


def straight(result: LoadResult) -> tuple[tuple[float, float], ...]:
    """Two points (deflection m, factor) of the line of linear theory: under the held loads and at the expected
    severity.  Without contact only, for what touches changes along the way; then and without a curve there is none.
    """
    start = next((p.deflection for p in result.curve if p.factor == 0.0), None)
    if result.linear is None or result.contacts or start is None:
        return ()
    return (start, 0.0), (result.linear.deflection, 1.0)


def levels(result: LoadResult, outcome: LoadOutcome | None, asked: float) -> list[Level]:
    """The factors that are marked: expected, asked for, reached, and where the path ends."""
    rule, end = wording.ruling(result, outcome), wording.path_end(result)
    out = [Level(1.0, "expected ×1", ":")]
    if asked != 1.0:
        out.append(Level(asked, f"asked for {figures.times(asked)}", "-", 1.8))
    if end is not None:
        what = "snaps through" if snaps(end) else "last equilibrium found"
        out.append(Level(end.factor, f"{what} {figures.times(end.factor)}", "-."))
    if rule.rank > 0 and math.isfinite(rule.factor) and (end is None or rule.factor < end.factor):
        what = "reached" if rule.status == "found" else "nothing reached:"
        out.append(Level(rule.factor, f"{what} {factor_text(rule)}", "--"))
    return out


def curve(result: LoadResult, outcome: LoadOutcome | None, asked: float) -> bytes | None:
    """The curve as SVG; None if there are not two points."""
    if len(result.curve) < 2:
        return None
    marks = levels(result, outcome, asked)
    top = 1.1 * max(level.factor for level in marks)
    points = [(1e3 * p.deflection, p.factor) for p in result.curve]
    shown = [x for x, y in points if y <= top]
    if result.linear is not None:
        shown.append(1e3 * result.linear.deflection)
    low, high = min(0.0, *shown), max(0.0, *shown)
    figure = canvas(WIDE, 3.7)
    axes = figure.add_subplot()
    axes.set_xlim(low - 0.04 * (high - low), high + 0.08 * (high - low))
    axes.set_ylim(0.0, top)
    _lines(axes, result, points, top)
    _labels(axes, marks, top)
    unit = figures.severity(result.expected, result.parameter)
    axes.set_xlabel("greatest deflection (mm)", fontsize=TEXT)
    axes.set_ylabel(f"factor on the expected {unit}", fontsize=TEXT)
    axes.tick_params(labelsize=TEXT, colors=INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.legend(loc="outside lower center", ncols=2, fontsize=TEXT, frameon=False)
    # fixed names inside the file, so that the same result gives the same file
    with matplotlib.rc_context({"svg.hashsalt": "curve", "svg.fonttype": "path"}):
        out = io.BytesIO()
        figure.savefig(out, format="svg", facecolor=PAPER, metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _lines(axes: Axes, result: LoadResult, points: list[tuple[float, float]], top: float) -> None:
    line = straight(result)
    if line:
        (x0, _), (x1, _) = line
        axes.plot(
            [1e3 * x0, 1e3 * (x0 + top * (x1 - x0))],
            [0.0, top],
            color=INK,
            linewidth=1.1,
            linestyle=(0, (5, 3)),
            label="linear theory",
        )
    if result.linear is not None:
        axes.plot(
            1e3 * result.linear.deflection,
            1.0,
            marker="s",
            markersize=6,
            markerfacecolor=PAPER,
            markeredgecolor=INK,
            linestyle="none",
            label="_" if line else "linear theory",
            zorder=4,
        )
    x, y = zip(*points, strict=True)
    axes.plot(x, y, color=INK, linewidth=1.6, marker="o", markersize=4.5, label="large displacements")
    end = wording.path_end(result)
    if end is not None:
        last = max((p for p in points if p[1] <= end.factor * (1 + 1e-9)), key=lambda p: p[1], default=None)
        if last is not None:
            axes.plot(*last, marker="x", markersize=11, markeredgewidth=2.2, color=INK, linestyle="none", zorder=5)


def apart(places: list[float]) -> list[float]:
    """Rising places (shares of a height) of labels, moved up where they would meet.

    >>> [round(p, 3) for p in apart([0.2, 0.21, 0.8])]
    [0.2, 0.275, 0.8]
    """
    out = places[:1]
    for place in places[1:]:
        out.append(max(place, out[-1] + _APART))
    return out


def _labels(axes: Axes, marks: list[Level], top: float) -> None:
    """Lines across, with their labels in a column on the right, moved apart where they would meet."""
    marks = sorted(marks, key=lambda level: level.factor)
    places = apart([level.factor / top for level in marks])
    for level, place in zip(marks, places, strict=True):
        axes.axhline(level.factor, color=INK if level.width > 1 else RULE, linewidth=level.width, linestyle=level.style)
        axes.annotate(
            level.label,
            (1.0, level.factor / top),
            xytext=(1.05, place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            fontsize=TEXT,
            color=INK,
            va="center",
            arrowprops={"arrowstyle": "-", "color": RULE, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0},
        )


def caption(result: LoadResult) -> str:
    """What the curve shows, in words, for those who cannot see it."""
    linear = result.linear
    said = f", {show(linear.deflection, 'mm')} by linear theory" if linear is not None else ""
    early = wording.shown_at(result)
    at = early.partition(",")[0] if early else f"at the expected {figures.severity(result.expected, result.parameter)}"
    return wording.sentence(
        f"{result.load}: {number(1e3 * result.deflection.value)} mm {at}{said}; points: equilibria computed; "
        "square: linear theory" + ("; cross: where the path ends." if wording.path_end(result) else ".")
    )
