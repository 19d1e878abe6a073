"""A drawing as SVG whose unit is the millimetre."""

from __future__ import annotations

import html

from panelfem.papers.drawing import Drawing, Line, Words

INK = "#000000"


def svg(drawing: Drawing) -> bytes:
    """The drawing as a file; every number in it is in mm, y downwards as the format has it.

    >>> from panelfem.papers.drawing import line
    >>> text = svg(Drawing("bar", 120.0, 20.0, (line((5, 5), (105, 5), name="scale bar"),))).decode()
    >>> 'width="120mm" height="20mm" viewBox="0 0 120 20"' in text, 'd="M5 15L105 15"' in text
    (True, True)
    """
    size = f'width="{_mm(drawing.width)}mm" height="{_mm(drawing.height)}mm"'
    box = f'viewBox="0 0 {_mm(drawing.width)} {_mm(drawing.height)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box} font-family="sans-serif" fill="{INK}">'
    marks = (_line(m, drawing.height) if isinstance(m, Line) else _words(m, drawing.height) for m in drawing.marks)
    title = f"<title>{html.escape(Words(0.0, 0.0, drawing.title).text)}</title>"
    ground = f'<rect width="{_mm(drawing.width)}" height="{_mm(drawing.height)}" fill="#ffffff"/>'
    return "\n".join([head, title, ground, *marks, "</svg>", ""]).encode()


def _mm(value: float) -> str:
    """A length in mm to a tenth of a micrometre."""
    return f"{round(value, 4) + 0.0:.4f}".rstrip("0").rstrip(".")


def _line(mark: Line, height: float) -> str:
    path = "L".join(f"{_mm(x)} {_mm(height - y)}" for x, y in mark.points)
    dash = f' stroke-dasharray="{mark.dash[0]:g} {mark.dash[1]:g}"' if mark.dash else ""
    name = f' class="{html.escape(mark.name, quote=True)}"' if mark.name else ""
    end = "Z" if mark.closed else ""
    return f'<path{name} d="M{path}{end}" fill="none" stroke="{INK}" stroke-width="{mark.width:g}"{dash}/>'


def _words(mark: Words, height: float) -> str:
    x, y = _mm(mark.x), _mm(height - mark.y)
    turn = f' transform="rotate({-mark.turn:.3f} {x} {y})"' if mark.turn else ""
    bold = ' font-weight="700"' if mark.bold else ""
    anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
    return f'<text x="{x}" y="{y}" font-size="{mark.size:g}"{bold}{anchor}{turn}>{html.escape(mark.text)}</text>'
