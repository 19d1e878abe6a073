"""The sign-off sheet: what was found, on what conditions, and who decides and releases."""

from __future__ import annotations

from panelfem.papers.files import Papers
from panelfem.papers.sheet import blank, sheet, tick
from panelfem.report.glyph import badge
from panelfem.report.markup import Child, Markup, el
from panelfem.report.wording import ADVICE, sentence, uncertainty_phrase

#: Lines to write on where the assessment says nothing.
LINES = 3


def sign_off(papers: Papers) -> bytes:
    """``sign-off.html``, from the assessment, or with blank fields."""
    return sheet(
        papers,
        "Sign-off",
        _outcome(papers),
        _list(papers, "Conditions", None if papers.found is None else papers.found.disposition.conditions),
        _list(papers, "Next inspection", None if papers.found is None else papers.found.disposition.inspect),
        el(
            "section",
            blank("Next inspection due (lap, session or date)"),
            blank("Prepared by", papers.by),
            blank("Decided by"),
            blank("Rule book and edition, scrutineer told"),
            blank("Released by"),
            blank("At (date, time)"),
            el("p", ADVICE, cls="small"),
        ),
    )


def _outcome(papers: Papers) -> Markup:
    found = papers.found
    if found is None:
        return el(
            "section", el("h2", "Outcome"), _lines(1), el("h2", "Governing reason"), _lines(2),
        )  # fmt: skip
    assert papers.assessment is not None
    asked = f"Factor asked for: {papers.assessment.required:g} ({papers.assessment.consequence})."
    return el(
        "section",
        el(
            "div",
            el("h2", "Outcome"),
            el("p", badge(found.disposition.outcome, large=True)),
            el("p", el("b", "Governing reason: "), sentence(found.disposition.reason)),
            el("p", el("b", "Governing factor: "), sentence(uncertainty_phrase(found)), f" {asked}"),
            cls="said",
        ),
    )


def _list(papers: Papers, title: str, entries: tuple[str, ...] | None) -> Markup:
    body: Child
    if entries is None:
        body = _lines(LINES)
    elif entries:
        body = el("ul", *(el("li", tick(), " ", sentence(entry)) for entry in entries))
    else:
        body = el("p", "None named by the assessment.")
    return el("section", el("h2", title), body)


def _lines(count: int) -> Markup:
    return el("div", *(el("span", cls="write") for _ in range(count)))
