"""The charts of the layup lesson: lines told apart by their dashes and letters, so that grey paper is enough."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.report import figures, svg
from panelfem.report.markup import Child, Markup
from panelfem.units import number

#: Classes of the lines, in order; no chart has more.
STYLES = ("first", "second", "third", "fourth")
_TALL, _LEFT, _RIGHT, _TOP, _BOTTOM = 330.0, 62.0, 14.0, 16.0, 46.0
#: Centre and radius (px) of a polar.
_CENTRE, _RADIUS = (svg.WIDE / 2, 176.0), 146.0


@dataclass(frozen=True)
class Line:
    """A line to draw: `points` (n, 2) in the unit of its chart, nan where it is broken; `letter` at the line, `name` in
    the legend.
    """

    letter: str
    name: str
    points: FloatArray


def polar(title: str, unit: str, angle: FloatArray, lines: Sequence[Line], said: str) -> Markup:
    """Values by direction: the points of each line hold (value, nothing) by `angle` rad, 0° to the right, 90° up."""
    top = max(float(line.points[:, 0].max()) for line in lines)
    step = svg.round_step(1.02 * top, 4)
    rings = max(1, math.ceil(top / step - 1e-9))
    scale = _RADIUS / (rings * step)
    x0, y0 = _CENTRE
    out: list[Child] = [svg.words(4, 14, f"{title} ({unit})", cls="strong")]
    for k in range(1, rings + 1):
        out.append(svg.dot(x0, y0, k * step * scale, "grid"))
    for degrees in range(0, 360, 30):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        out.append(svg.line(x0, y0, x0 + _RADIUS * c, y0 - _RADIUS * s, "grid"))
        if degrees in (0, 30, 60, 90, 120, 150, 180):
            anchor = "start" if c > 0.1 else "end" if c < -0.1 else "middle"
            out.append(svg.words(x0 + (_RADIUS + 7) * c, y0 - (_RADIUS + 7) * s + 4, f"{degrees}°", anchor))
    for k in range(1, rings + 1):  # between spokes, where no direction of a usual ply runs
        turn = math.radians(-75.0)
        r = k * step * scale
        out.append(svg.words(x0 + r * math.cos(turn), y0 - r * math.sin(turn) + 4, number(k * step), "middle", "halo"))
    for i, line in enumerate(lines):
        points = [
            (x0 + scale * v * math.cos(t), y0 - scale * v * math.sin(t))
            for t, v in zip(angle.tolist(), line.points[:, 0].tolist(), strict=True)
        ]
        out.append(svg.polyline(points, STYLES[i]))
        at = _alone(i, lines)
        out.append(svg.words(points[at][0], points[at][1] + 4.5, line.letter, "middle", "halo strong"))
    return svg.chart(
        y0 + _RADIUS + 28 + 20 * _rows(lines), *out, *_legend(lines, y0 + _RADIUS + 34), label=said, cls="lesson"
    )


def _alone(which: int, lines: Sequence[Line]) -> int:
    """The direction in which a line is farthest from the others, where its letter is read best."""
    own = lines[which].points[:, 0]
    gaps = [np.abs(own - line.points[:, 0]) for i, line in enumerate(lines) if i != which]
    return int(np.argmax((np.min(gaps, axis=0) + 0.2 * own if gaps else own).round(6)))


def plane(axes: tuple[str, str], lines: Sequence[Line], said: str, mark: tuple[float, float] | None = None) -> Markup:
    """Lines in a plane with axes through zero; `mark`: a place shown by a cross."""
    kept = [line.points[np.isfinite(line.points).all(1)] for line in lines]
    spread = np.concatenate([*kept, np.zeros((1, 2)), *([np.array([mark])] if mark else [])])
    low, high = spread.min(0), spread.max(0)
    room = np.where(high > low, 0.06 * (high - low), 1.0)
    (x_low, y_low), (x_high, y_high) = (low - room * (low < 0)).tolist(), (high + room).tolist()
    right, bottom = svg.WIDE - _RIGHT, _TALL - _BOTTOM

    def x(value: float) -> float:
        return float(_LEFT + (right - _LEFT) * (value - x_low) / (x_high - x_low))

    def y(value: float) -> float:
        return float(bottom - (bottom - _TOP) * (value - y_low) / (y_high - y_low))

    out: list[Child] = [
        svg.line(_LEFT, bottom, right, bottom, "axis"),
        svg.line(_LEFT, _TOP, _LEFT, bottom, "axis"),
        svg.line(x(0.0), _TOP, x(0.0), bottom, "zero"),
        svg.line(_LEFT, y(0.0), right, y(0.0), "zero"),
        svg.words(right, _TALL - 8, axes[0], "end"),
        svg.words(4, 12, axes[1]),
    ]
    for value in _ticks(x_low, x_high, 5):
        at, shown = x(value), figures.minus(number(value))
        out += [svg.line(at, bottom, at, bottom + 4, "axis"), svg.words(at, bottom + 18, shown, "middle")]
    for value in _ticks(y_low, y_high, 6):
        at, shown = y(value), figures.minus(number(value))
        if at > _TOP + 10:  # clear of the axis's name
            out += [svg.line(_LEFT - 4, at, _LEFT, at, "axis"), svg.words(_LEFT - 7, at + 4.5, shown, "end")]
    for i, line in enumerate(lines):
        for part in _parts(line.points):
            out.append(svg.polyline([(x(a), y(b)) for a, b in part.tolist()], STYLES[i]))
        if line.letter and len(kept[i]):
            a, b = kept[i][-1]
            out.append(svg.words(x(a) - 4, y(b) - 5, line.letter, "end", "halo strong"))
    if mark:
        px, py = x(mark[0]), y(mark[1])
        out += [svg.line(px - 6, py - 6, px + 6, py + 6, "cross"), svg.line(px - 6, py + 6, px + 6, py - 6, "cross")]
    return svg.chart(_TALL + 20 * _rows(lines), *out, *_legend(lines, _TALL + 8), label=said, cls="lesson")


def bars(letters: Sequence[str], groups: Sequence[tuple[str, Sequence[float]]], said: str) -> Markup:
    """Values ≥ 0 of every letter as bars with their numbers, group below group, each to its own scale."""
    out: list[Child] = []
    y = 16.0
    for title, values in groups:
        out.append(svg.words(4, y, title, cls="strong"))
        longest = max(*values, 1e-300)
        for letter, value in zip(letters, values, strict=True):
            y += 24
            wide = (svg.WIDE - 110) * value / longest
            out += [svg.words(8, y, letter, cls="strong"), svg.rect(28, y - 12, wide, 15, "governs")]
            out.append(svg.words(34 + wide, y, figures.fixed(value)))
        y += 32
    return svg.chart(y - 16, *out, label=said, cls="lesson")


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round values between two.

    >>> _ticks(-120.0, 930.0, 5)
    [0.0, 500.0]
    """
    step = svg.round_step(high - low, most)
    return [k * step for k in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _parts(points: FloatArray) -> list[FloatArray]:
    """The pieces of a line between what is not finite."""
    sound = np.isfinite(points).all(1)
    cuts = np.flatnonzero(np.diff(sound.astype(int))) + 1
    return [part for part in np.split(points, cuts) if len(part) > 1 and np.isfinite(part).all()]


def _rows(lines: Sequence[Line]) -> int:
    return sum(1 for line in lines if line.name)


def _legend(lines: Sequence[Line], top: float) -> list[Child]:
    """Dashes and names, one below the other."""
    out: list[Child] = []
    for i, line in enumerate(lines):
        if line.name:
            at = top + 20 * i
            said = f"{line.letter}: {line.name}" if line.letter else line.name
            out += [svg.polyline([(8, at), (48, at)], STYLES[i]), svg.words(56, at + 4.5, said)]
    return out
