"""HTML elements as escaped strings: whatever is not already :class:`Markup` is text and is escaped."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable

_UNIT = re.compile(r"(?<=\d) (?=(?:mm²?|m|N|kN|N/mm|N·m|Hz|kPa|MPa|GPa|k?g|min|m?s|K|rad|°C?|%)(?![\w²]))")
_VOID = frozenset({"br", "col", "hr", "img", "input", "meta"})


class Markup(str):
    """A piece of finished HTML; a plain `str` is text, and is escaped where it is added.

    >>> Markup("<br>") + "a < b"
    '<br>a &lt; b'
    """

    def __add__(self, other: str) -> Markup:
        return Markup(str.__add__(self, other if isinstance(other, Markup) else html.escape(other)))


Child = str | None | Iterable["Child"]


def text(*children: Child) -> Markup:
    """Children joined; text escaped, finished markup kept, None dropped.

    >>> text("a < b", None, ["&", Markup("<br>")])
    'a &lt; b&amp;<br>'
    """
    parts: list[str] = []
    for child in children:
        if child is None:
            continue
        if isinstance(child, Markup):
            parts.append(str(child))
        elif isinstance(child, str):
            parts.append(html.escape(child, quote=True))
        else:
            parts.append(str(text(*child)))
    return Markup("".join(parts))


def el(name: str, /, *children: Child, **attributes: str | int | bool | None) -> Markup:
    """One element.  `cls` is the class; `_` in a name becomes `-`; None and False leave an attribute out.

    >>> el("td", "σ > 0", cls="num", data_label="Stress")
    '<td class="num" data-label="Stress">σ &gt; 0</td>'
    >>> el("img", src="a.png", alt='the "panel"')
    '<img src="a.png" alt="the &quot;panel&quot;">'
    """
    shown = ""
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        attribute = "class" if key == "cls" else key.rstrip("_").replace("_", "-")
        shown += f" {attribute}" if value is True else f' {attribute}="{html.escape(str(value), quote=True)}"'
    if name in _VOID:
        return Markup(f"<{name}{shown}>")
    return Markup(f"<{name}{shown}>{text(*children)}</{name}>")


def unbroken(words: str) -> str:
    """Words in which no line break parts a number from its unit.

    >>> unbroken("takes 4 mm of 6 mm, +5 %").count("\\u00a0")
    3
    """
    return _UNIT.sub("\u00a0", words)


def table(head: Iterable[Child], rows: Iterable[Iterable[Child]], *, cls: str = "", caption: str = "") -> Markup:
    """A table whose cells know their column's name (for narrow screens); the first cell of a row is its header.

    >>> '<th scope="row">1</th><td data-label="Angle (°)">45</td>' in table(["Ply", "Angle (°)"], [["1", "45"]])
    True
    """
    names = [text(h) for h in head]
    body = []
    for row in rows:
        cells = [text(c) for c in row]
        first = el("th", cells[0], scope="row")
        rest = [
            el("td", cell, data_label=html.unescape(_bare(name)))
            for name, cell in zip(names[1:], cells[1:], strict=True)
        ]
        body.append(el("tr", first, *rest))
    return el(
        "div",
        el(
            "table",
            el("caption", caption) if caption else None,
            el("thead", el("tr", *(el("th", name, scope="col") for name in names))),
            el("tbody", *body),
            cls=cls or None,
        ),
        cls="wide",
    )


def _bare(markup: str) -> str:
    """The text of a column head without its tags."""
    out, depth = [], 0
    for letter in markup:
        if letter == "<":
            depth += 1
            out.append(" ")
        elif letter == ">":
            depth -= 1
        elif depth == 0:
            out.append(letter)
    return " ".join("".join(out).split())
