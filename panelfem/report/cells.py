"""Pieces the sections of the page share: figures with notes below them, pictures inside the page, folded parts."""

from __future__ import annotations

import base64

from panelfem.report.markup import Child, Markup, el, text, unbroken
from panelfem.units import UNBARRED


def note(words: str) -> Markup | None:
    """A line in small letters, if there is something to say."""
    return el("span", unbroken(words), cls="note") if words else None


def figure(shown: str, *below: str) -> Markup:
    """A figure with notes below it."""
    return text(el("span", unbroken(shown), cls="figure"), [note(b) for b in below])


def barred(shown: str, *below: str) -> Markup:
    """A figure with notes below it; that its bar was not estimated is one of them."""
    mark = f" ({UNBARRED})"
    return figure(shown.replace(mark, ""), *([UNBARRED] if mark in shown else []), *below)


def picture(content: bytes, alt: str, cls: str = "", kind: str = "png") -> Markup:
    """A picture inside the page, with its words below it."""
    source = f"data:image/{kind};base64," + base64.b64encode(content).decode("ascii")
    return el("figure", el("img", src=source, alt=alt), el("figcaption", unbroken(alt)), cls=cls or None)


def figured(drawn: Markup, words: str) -> Markup:
    """A chart of the page, with its words below it."""
    return el("figure", drawn, el("figcaption", unbroken(words)))


def folded(title: str, *body: Child, opened: bool = False) -> Markup:
    """A part of the page that opens when its title is chosen."""
    return el("details", el("summary", title), *body, open=opened)
