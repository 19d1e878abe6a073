"""Drawings as PDF at their true size, over as many sheets of A4 as they need."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.papers.drawing import Drawing, Line, Words, cross, line, scale_bar
from panelfem.papers.tiles import EDGE, FOOT, Tiling, tiling

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_pdf import PdfPages

MM = 72.0 / 25.4
"""Points per millimetre."""


def pdf(*drawings: Drawing) -> bytes:
    """All sheets of the drawings, one after the other; nothing in the file depends on the clock."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    plain: dict[Any, Any] = {
        "path.simplify": False,
        "path.snap": False,
        "pdf.fonttype": 42,
        "font.family": "DejaVu Sans",
    }
    with rc_context(plain), warnings.catch_warnings():
        # a letter the font lacks is drawn as a box
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        facts = {"Title": drawings[0].title, "CreationDate": None, "Producer": None, "Creator": None}
        with PdfPages(out, metadata=facts) as book:
            for drawing in drawings:
                laid = tiling(drawing.width, drawing.height)
                for row in range(laid.rows):
                    for column in range(laid.columns):
                        _sheet(book, drawing, laid, row, column)
    return out.getvalue()


def _sheet(book: PdfPages, drawing: Drawing, laid: Tiling, row: int, column: int) -> None:
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    (wide, high), (left, low) = laid.page, laid.corner(row, column)
    figure = Figure(figsize=(wide / 25.4, high / 25.4))
    FigureCanvasPdf(figure)
    axes = figure.add_axes((EDGE / wide, FOOT / high, laid.window[0] / wide, laid.window[1] / high))
    axes.set_xlim(left, left + laid.window[0])
    axes.set_ylim(low, low + laid.window[1])
    axes.set_axis_off()
    marks = list(drawing.marks)
    several = laid.rows * laid.columns > 1
    if several:
        for name, x, y in laid.seams:
            marks += [*cross(np.array([x, y]), name=f"register {name}"), Words(x + 1.0, y + 1.0, name, 2.4)]
    box = np.array([[left, low], [left + laid.window[0], low + laid.window[1]]])
    for mark in marks:
        _draw(axes, mark, box)
    foot = figure.add_axes((0.0, 0.0, 1.0, FOOT / high))
    foot.set_xlim(0.0, wide)
    foot.set_ylim(0.0, FOOT)
    foot.set_axis_off()
    last = laid.name(laid.rows - 1, laid.columns - 1)
    which = f"Sheet {laid.name(row, column)} of A1 to {last}. Lay crosses of the same name on each other. "
    said = f"{which if several else ''}Print at 100 % (actual size), never fitted to the page."
    marks = [*scale_bar(EDGE + 2, 11.0), Words(EDGE + 2, 6.0, said)]
    if several:
        marks.append(line((EDGE, FOOT - 0.2), (wide - EDGE, FOOT - 0.2), width=0.1))
    for mark in marks:
        _draw(foot, mark, np.array([[0.0, 0.0], [wide, FOOT]]))
    book.savefig(figure)  # type: ignore[no-untyped-call]


def _draw(axes: Axes, mark: Line | Words, box: FloatArray) -> None:
    if isinstance(mark, Words):
        reach = 1.2 * mark.size * max(len(mark.text), 1)
        if not (box[0] - reach <= (mark.x, mark.y)).all() or not ((mark.x, mark.y) <= box[1] + reach).all():
            return
        place = {"start": "left", "middle": "center", "end": "right"}[mark.anchor]
        # a font size is the height of its line: capitals are about seven tenths of it, as in the other format
        axes.text(
            mark.x, mark.y, mark.text.replace("$", r"\$"), fontsize=mark.size * MM, ha=place, va="baseline",
            rotation=mark.turn, rotation_mode="anchor", fontweight="bold" if mark.bold else "normal",
            clip_on=True, color="black",
        )  # fmt: skip
        return
    points = mark.drawn
    if (points.max(axis=0) < box[0]).any() or (points.min(axis=0) > box[1]).any():
        return
    width = mark.width * MM
    style = (0, tuple(MM * d / width for d in mark.dash)) if mark.dash else "solid"
    axes.plot(*points.T, color="black", linewidth=width, linestyle=style, solid_capstyle="butt", dash_capstyle="butt")
