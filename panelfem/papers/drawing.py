"""A drawing in true millimetres: lines and words, y upwards, the origin at its lower left corner."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray

#: Length of every scale bar, mm.
BAR = 100.0
#: Width of a letter as a share of its height, for breaking lines (widest usual sans serif, rounded up).
LETTER = 0.6
#: Height of letters, mm: 3.2 mm is 9 point.
SMALL = 3.2

_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\ufffe\uffff]+")
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, eq=False)
class Line:
    """A line through `points` (n, 2) mm, `width` mm wide; `dash` mm on and off; `name`: what it is, to find it by."""

    points: FloatArray
    closed: bool = False
    width: float = 0.35
    dash: tuple[float, float] | None = None
    name: str = ""

    @property
    def drawn(self) -> FloatArray:
        """The points, the first again at the end of a closed line."""
        return np.vstack([self.points, self.points[:1]]) if self.closed else self.points


@dataclass(frozen=True)
class Words:
    """Words at `x`, `y` mm, letters `size` mm high, turned by `turn` degrees anticlockwise.

    >>> Words(0.0, 0.0, "a\\nb\\0").text
    'a b '
    """

    x: float
    y: float
    text: str
    size: float = SMALL
    anchor: Anchor = "start"
    bold: bool = False
    turn: float = 0.0

    def __post_init__(self) -> None:
        # what no file may hold: line breaks and other characters without a shape
        object.__setattr__(self, "text", _UNSEEN.sub(" ", self.text))


@dataclass(frozen=True)
class Drawing:
    """What is drawn on a sheet `width` by `height` mm."""

    title: str
    width: float
    height: float
    marks: tuple[Line | Words, ...]


def line(
    *points: Sequence[float], width: float = 0.35, dash: tuple[float, float] | None = None, name: str = ""
) -> Line:
    """A line through some points, mm."""
    return Line(np.array(points, float), width=width, dash=dash, name=name)


def moved(marks: Sequence[Line | Words], dx: float, dy: float) -> Iterator[Line | Words]:
    """The marks shifted by dx, dy mm."""
    from dataclasses import replace

    for mark in marks:
        if isinstance(mark, Line):
            yield replace(mark, points=mark.points + np.array([dx, dy]))
        else:
            yield replace(mark, x=mark.x + dx, y=mark.y + dy)


def scale_bar(x: float, y: float) -> Iterator[Line | Words]:
    """A bar of exactly 100 mm with a tick every 10 mm, its left end at x, y.

    >>> bar = next(iter(scale_bar(5.0, 2.0)))
    >>> bar.points.tolist(), bar.name
    ([[5.0, 2.0], [105.0, 2.0]], 'scale bar')
    """
    yield line((x, y), (x + BAR, y), width=0.5, name="scale bar")
    for i in range(11):
        high = 3.0 if i % 5 == 0 else 1.6
        yield line((x + 10 * i, y), (x + 10 * i, y + high), width=0.3)
    yield Words(x + BAR + 2.0, y, "100 mm: measure it")


def arrow(start: FloatArray, end: FloatArray, width: float = 0.35, head: float = 3.0) -> Iterator[Line]:
    """An arrow from `start` to `end`, (2,) mm each, with an open head."""
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    yield Line(np.stack([start, end]), width=width)
    yield Line(np.stack([end - head * (way + 0.4 * side), end, end - head * (way - 0.4 * side)]), width=width)


def cross(place: FloatArray, half: float = 4.0, width: float = 0.25, name: str = "") -> Iterator[Line]:
    """A cross at `place` (2,) mm."""
    for way in (np.array([half, 0.0]), np.array([0.0, half])):
        yield Line(np.stack([place - way, place + way]), width=width, name=name)


def ring(place: FloatArray, radius: float, width: float = 0.25, name: str = "") -> Line:
    """A circle, mm."""
    turn = np.linspace(0.0, 2.0 * np.pi, 73)[:-1]
    return Line(place + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1), closed=True, width=width, name=name)


def paragraph(
    text: str, x: float, y: float, width: float, size: float = SMALL, bold: bool = False
) -> tuple[list[Words], float]:
    """Words broken to fit `width` mm from x, y downwards, and the y of the line below them.

    >>> rows, below = paragraph("cut along the full line", 0.0, 50.0, 30.0)
    >>> [row.text for row in rows], round(below, 2)
    (['cut along the', 'full line'], 41.04)
    """
    rows = wrap(text, max(10, int(width / (LETTER * size)))) or [""]
    step = 1.4 * size
    return [Words(x, y - i * step, row, size, bold=bold) for i, row in enumerate(rows)], y - len(rows) * step
