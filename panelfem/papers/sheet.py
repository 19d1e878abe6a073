"""What the printed cards share: upright A4, boxes to tick, lines to write on."""

from __future__ import annotations

from panelfem.papers.files import Papers
from panelfem.report.html import page
from panelfem.report.markup import Child, Markup, el
from panelfem.report.wording import INVENTED

_STYLE = """
main { max-width: 860px; }
section { margin-top: 18px; }
.tick { display: inline-block; width: 4.5mm; height: 4.5mm; border: 1.5px solid var(--ink); vertical-align: -1mm; }
.card td, .card th { font-size: 13px; } .card td:last-child, .card thead th:last-child { min-width: 30mm; }
.write { display: block; border-bottom: 1.5px solid var(--ink); height: 9mm; }
.said { border: 2px solid var(--ink); padding: 7px 12px; }
.said p:last-child { margin: 0; }
@page { size: A4 portrait; margin: 12mm; }
@media print { .card td, .card th, li, p { font-size: 9.5pt; } section { break-inside: avoid; } }
"""


def sheet(papers: Papers, kind: str, *body: Child) -> bytes:
    """A page with its heading; says so if the case is made up."""
    case = papers.case
    facts = [f"Panel: {case.panel_name}", f"Option: {papers.option.name}", f"Case: {case.hash[:12]}"]
    head = el(
        "header",
        el(
            "div",
            el("h1", f"{kind}: {papers.option.name}"),
            el("p", INVENTED, cls="invented") if case.invented else None,
            cls="title",
        ),
        el("p", case.title),
        el("p", *(el("span", fact) for fact in facts), cls="facts"),
    )
    return page(f"{kind}: {case.title}", Markup(f"<style>{_STYLE}</style>"), head, el("div", *body)).encode()


def tick() -> Markup:
    """A box to tick."""
    return el("span", cls="tick")


def blank(words: str, filled: str = "") -> Markup:
    """A line to write on, or what is to stand there."""
    return el("p", f"{words} ", el("span", filled, cls="blank"), cls="sign")
