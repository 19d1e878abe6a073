"""Pieces and words of a template, laid out on one sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.papers.drawing import Drawing, Line, Words, moved, paragraph, scale_bar

#: Sizes of a template are multiples of a quarter inch, 24 of the 96 pixels an inch that browsers round a size to, mm: a
#: fraction of a pixel would be taken up by shrinking the drawing (by 0.05 %, measured).
QUARTER = 6.35
#: Least width of a template, so that its words have room, mm; space round each piece, mm.
WIDE, ROUND = 28 * QUARTER, 14.0


def laid_out(title: str, said: Sequence[str], blocks: Sequence[tuple[str, list[Line | Words]]]) -> Drawing:
    """Words at the top, pieces below in rows, the scale bar at the foot."""
    boxes = []
    for _, marks in blocks:
        points = np.concatenate([m.points if isinstance(m, Line) else _reach(m) for m in marks])
        boxes.append((points.min(axis=0), points.max(axis=0)))
    widest = max([WIDE] + [float(high[0] - low[0]) + ROUND for low, high in boxes])
    wide = QUARTER * math.ceil(widest / QUARTER - 1e-9)
    shelves: list[tuple[float, float, float]] = []
    x = y = tall = 0.0
    for low, high in boxes:
        w, h = (float(c) for c in high - low + ROUND)
        if x > 0 and x + w > wide:
            x, y, tall = 0.0, y + tall, 0.0
        shelves.append((x, y, h))
        x, tall = x + w, max(tall, h)
    height = y + tall
    rows: list[Words] = []
    at = 0.0
    for i, text in enumerate((title, *said)):
        size = 5.0 if i == 0 else 3.2
        found, at = paragraph(
            text, 2.0, at - (5.0 if i == 0 else 0.0), wide - 4.0, size, bold=i == 0 or text.startswith("DOES NOT")
        )
        rows += found
    head = -at + 2.0
    full = QUARTER * math.ceil((head + height + 12.0) / QUARTER)
    placed: list[Line | Words] = list(moved(rows, 0.0, full))
    for (name, block), (low, _), (left, down, high) in zip(blocks, boxes, shelves, strict=True):
        dx, dy = left + ROUND / 2 - low[0], full - head - down - high + ROUND / 2 - low[1]
        placed += moved(block, float(dx), float(dy))
        if name:
            placed.append(Words(left + 2.0, full - head - down - 3.0, name, 2.8))
    placed += scale_bar(4.0, 4.0)
    return Drawing(title, wide, full, tuple(placed))


def _reach(words: Words) -> FloatArray:
    """Corners of the box words may fill, (4, 2) mm."""
    long = 0.6 * words.size * len(words.text)
    start = {"start": 0.0, "middle": -0.5, "end": -1.0}[words.anchor] * long
    box = np.array([[start, -0.3], [start + long, -0.3], [start + long, words.size], [start, words.size]])
    c, s = math.cos(math.radians(words.turn)), math.sin(math.radians(words.turn))
    return np.asarray(np.array([words.x, words.y]) + box @ np.array([[c, s], [-s, c]]))
