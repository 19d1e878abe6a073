"""A drawing larger than a sheet of A4, in sheets that overlap."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: A4, mm.
SHORT, LONG = 210.0, 297.0
#: Left free at the left, right and top of a sheet, and below for the scale bar, mm: printers leave 5 mm or less blank.
EDGE, FOOT = 8.0, 20.0
#: Sheets overlap by this, mm.
OVERLAP = 10.0


@dataclass(frozen=True)
class Tiling:
    """Sheets of `page` mm (width, height), in `rows` from the top and `columns`; each shows `window` mm of the
    drawing.
    """

    page: tuple[float, float]
    rows: int
    columns: int
    height: float

    @property
    def window(self) -> tuple[float, float]:
        """Width and height of what a sheet shows, mm."""
        return self.page[0] - 2 * EDGE, self.page[1] - EDGE - FOOT

    @property
    def step(self) -> tuple[float, float]:
        """From one sheet to the next, mm."""
        return self.window[0] - OVERLAP, self.window[1] - OVERLAP

    def corner(self, row: int, column: int) -> tuple[float, float]:
        """Lower left corner of what a sheet shows, in the drawing, mm."""
        return column * self.step[0], self.height - row * self.step[1] - self.window[1]

    def name(self, row: int, column: int) -> str:
        """A letter for the row from the top, a number for the column from the left."""
        return f"{letters(row)}{column + 1}"

    @property
    def seams(self) -> tuple[tuple[str, float, float], ...]:
        """Register marks: name, x and y in the drawing, mm; each lies in the overlap of two or four sheets."""
        (wide, high), (dx, dy) = self.window, self.step
        marks = []
        for c in range(1, self.columns):
            for r in range(self.rows):
                low = self.corner(r, c)[1]
                marks += [(f"{self.name(r, c)}{end}", c * dx + OVERLAP / 2, low + at)
                          for end, at in (("a", high - 3 * OVERLAP), ("b", 3 * OVERLAP))]  # fmt: skip
        for r in range(1, self.rows):
            for c in range(self.columns):
                left, seam = self.corner(r, c)[0], self.height - r * dy - OVERLAP / 2
                marks += [(f"{self.name(r, c)}{end}", left + at, seam)
                          for end, at in (("c", 3 * OVERLAP), ("d", wide - 3 * OVERLAP))]  # fmt: skip
        return tuple(marks)


def letters(number: int) -> str:
    """A, B, …, Z, AA, AB, …

    >>> letters(0), letters(25), letters(26)
    ('A', 'Z', 'AA')
    """
    return (letters(number // 26 - 1) if number >= 26 else "") + chr(65 + number % 26)


def tiling(width: float, height: float) -> Tiling:
    """The fewest sheets for a drawing of `width` by `height` mm; upright if that takes no more.

    >>> one, many = tiling(180.0, 250.0), tiling(600.0, 400.0)
    >>> (one.rows, one.columns, one.page), many.rows * many.columns
    ((1, 1, (210.0, 297.0)), 8)
    """

    def laid(page: tuple[float, float]) -> Tiling:
        one = Tiling(page, 1, 1, height)
        (wide, high), (dx, dy) = one.window, one.step
        rows, columns = (
            1 + max(0, math.ceil((a - b) / c - 1e-9)) for a, b, c in ((height, high, dy), (width, wide, dx))
        )
        return Tiling(page, rows, columns, height)

    return min(laid((SHORT, LONG)), laid((LONG, SHORT)), key=lambda t: t.rows * t.columns)
