"""Minutes against the minutes left: every option in its rank, and why it is recommended or not."""

from __future__ import annotations

import re

from panelfem.assess.records import Assessment, Configuration
from panelfem.disposition.records import Outcome
from panelfem.report import wording
from panelfem.report.cells import note
from panelfem.report.glyph import badge
from panelfem.report.headline import Row, rows, too_long
from panelfem.report.markup import Markup, el, unbroken
from panelfem.units import number


def verdict(row: Row, left: float | None) -> str:
    """Why a configuration is recommended or is not, in a phrase; all that stands against it, the worst first."""
    conf = row.configuration
    if row.recommended:
        return "recommended"
    against = []
    if row.outcome is Outcome.DOES_NOT:
        against.append("does not meet the factor asked for")
    if row.outcome is Outcome.CANNOT_TELL:
        against.append("cannot be told")
    if conf.permitted is False:
        against.append("is not permitted")
    if too_long(conf, left):
        assert left is not None
        against.append(f"takes {number(conf.minutes - left)} min more than are left")
    return f"not recommended: {', '.join(against)}" if against else _could(conf)


def _could(conf: Configuration) -> str:
    return "could be chosen too" + (", once permission is given" if conf.permitted is None else "")


def marks(conf: Configuration, left: float | None) -> list[str]:
    """What is to be said loudly of a configuration."""
    out = ["DOES NOT FIT"] if too_long(conf, left) else []
    return [*out, "NOT PERMITTED"] if conf.permitted is False else out


def clock(assessment: Assessment) -> Markup:
    """A line for each configuration that could go on the car: outcome, minutes of the minutes left, and the verdict."""
    left = assessment.minutes_left
    shown = [row for row in rows(assessment) if row.rank is not None]
    end = max([left or 0.0, *(row.configuration.minutes for row in shown)]) or 1.0
    said = f"{number(left)} min left" if left is not None else "time left not stated"
    return el(
        "div",
        el("h3", f"Options, ranked, against the minutes left ({said})"),
        el("ol", *(_line(row, left, end) for row in shown)),
        cls="clock",
    )


def _line(row: Row, left: float | None, end: float) -> Markup:
    conf = row.configuration
    permission = "permission: ask" if conf.permitted is None else ""
    about = "; ".join(words for words in (brief(conf.note), permission) if words)
    return el(
        "li",
        el("span", el("b", f"{row.rank} {row.name}"), note(about), cls="name"),
        badge(row.outcome),
        el("span", bar(conf.minutes, left, end), el("span", unbroken(f"{number(conf.minutes)} min")), cls="minutes"),
        el(
            "span",
            *(el("span", mark, cls="loud") for mark in marks(conf, left)),
            " ",
            el("span", unbroken(wording.sentence(verdict(row, left)))),
            cls="said",
        ),
        cls="chosen" if row.recommended else None,
    )


def brief(note: str) -> str:
    """A note without what stands in brackets: sources are for the engineer's part.

    >>> brief("rule book: allowed (issue 3 (invented)); supplier: nobody has asked (manual)")
    'rule book: allowed; supplier: nobody has asked'
    """
    out, depth = "", 0
    for letter in note:
        depth += letter == "("
        if not depth:
            out += letter
        depth -= letter == ")" and depth > 0
    return re.sub(r"\s+([;,.]|$)", r"\1", re.sub(r"\s+", " ", out))


def bar(minutes: float, left: float | None, end: float) -> Markup:
    """Minutes as a bar on an axis that ends at `end`; the thick mark is what is left, the part beyond it is hollow."""
    scale = 98.0 / end
    inside = minutes if left is None else min(minutes, left)
    beyond = minutes - inside
    over = (
        f'<rect class="over" x="{inside * scale:.1f}" y="2.2" width="{beyond * scale:.1f}" height="3.6"/>'
        if beyond > 0
        else ""
    )
    mark = "" if left is None else f'<rect class="mark" x="{left * scale - 0.4:.1f}" y="0" width="1.4" height="8"/>'
    return Markup(
        '<svg class="bar" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true">'
        '<rect class="ground" x="0" y="3.4" width="98" height="1.2"/>'
        f'<rect class="taken" x="0" y="1.8" width="{inside * scale:.1f}" height="4.4"/>{over}{mark}</svg>'
    )
