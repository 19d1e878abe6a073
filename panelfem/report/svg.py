"""Small charts inside the page: text keeps its size, so that it can be read on paper and on a phone."""

from __future__ import annotations

import math
from collections.abc import Callable

from panelfem.report.markup import Child, Markup, el

#: Width of a chart (px), drawn no wider than that, and the size of its text, which is 11 px on a phone of 390 px.
WIDE, TEXT = 440.0, 13.5

#: From a value to the place along an axis (px).
Scale = Callable[[float], float]


def at(value: float) -> str:
    """A coordinate to a tenth of a pixel.

    >>> at(12.04), at(-0.01)
    ('12', '0')
    """
    shown = f"{value:.1f}".removesuffix(".0")
    return "0" if shown == "-0" else shown


def chart(height: float, *children: Child, label: str, cls: str = "") -> Markup:
    """A chart of the whole width; `label` says in words what it shows."""
    box = f"0 0 {at(WIDE)} {at(height)}"
    return el("svg", *children, cls=f"chart {cls}".strip(), viewBox=box, role="img", aria_label=label)


def line(x1: float, y1: float, x2: float, y2: float, cls: str) -> Markup:
    """A straight line."""
    return el("line", x1=at(x1), y1=at(y1), x2=at(x2), y2=at(y2), cls=cls)


def rect(x: float, y: float, width: float, height: float, cls: str, fill: str | None = None) -> Markup:
    """A rectangle; `fill` may name a pattern."""
    style = None if fill is None else f"fill: {fill}"
    return el("rect", x=at(x), y=at(y), width=at(width), height=at(height), cls=cls, style=style)


def words(x: float, y: float, said: str, anchor: str = "start", cls: str = "") -> Markup:
    """Text; `anchor`: start, middle, end."""
    return el("text", said, x=at(x), y=at(y), text_anchor=anchor, cls=cls or None)


def polyline(points: list[tuple[float, float]], cls: str) -> Markup:
    """A line through points."""
    return el("polyline", points=" ".join(f"{at(x)},{at(y)}" for x, y in points), cls=cls)


def dot(x: float, y: float, radius: float, cls: str) -> Markup:
    """A disc or ring."""
    return el("circle", cx=at(x), cy=at(y), r=at(radius), cls=cls)


def round_step(span: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that parts a span into no more pieces than `most`.

    >>> round_step(930.0, 3), round_step(0.4, 4)
    (500.0, 0.1)
    """
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power * most >= span * (1 - 1e-9))
