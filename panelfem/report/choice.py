"""The choice, option by option: all that is weighed, on a card each, in the order of their rank."""

from __future__ import annotations

from collections.abc import Mapping

from panelfem.assess.records import Assessment
from panelfem.balance import Ballast
from panelfem.report import wording
from panelfem.report.cells import note
from panelfem.report.clock import brief, marks, verdict
from panelfem.report.glyph import badge
from panelfem.report.headline import Row, rows
from panelfem.report.limit import strikes
from panelfem.report.markup import Child, Markup, el, unbroken
from panelfem.units import number


def section(assessment: Assessment, ballast: Mapping[str, Ballast]) -> Markup:
    """A card for each configuration that could go on the car; `ballast`: the move that restores the car, by name."""
    cards = (_card(assessment, row, ballast) for row in rows(assessment) if row.rank is not None)
    return el("section", el("h2", "The choice, option by option"), el("div", *cards, cls="cards"), cls="choice")


def _card(assessment: Assessment, row: Row, ballast: Mapping[str, Ballast]) -> Markup:
    conf = row.configuration
    left = assessment.minutes_left
    loud = [text for mark in marks(conf, left) for text in (el("span", mark, cls="loud"), " ")]
    lines = [
        ("Reserve", wording.sentence(wording.uncertainty_phrase(conf)), f"{number(assessment.required)} is asked for"),
        ("Governs", wording.sentence(conf.disposition.reason), ""),
        ("Will not take", _list(strikes(conf)), ""),
        ("Restores", f"{row.restoration} of the undamaged panel" if row.restoration_load else row.restoration,
         row.restoration_load),
        ("Minutes", row.minutes, "time left not stated" if left is None else f"{number(left)} min are left"),
        ("Mass", row.mass, wording.ballast_text(ballast[conf.name]) if conf.name in ballast else ""),
        ("Step", row.step, ""),
        ("Re-inspection", _list((*conf.disposition.conditions, *conf.disposition.inspect)), ""),
        ("Permitted", row.permitted, brief(conf.note)),
    ]  # fmt: skip
    return el(
        "div",
        el("h3", f"{row.rank} {row.name} ", badge(row.outcome)),
        el("p", *loud, wording.sentence(verdict(row, left)), cls="small"),
        el("dl", *(part for name, said, below in lines if said for part in (el("dt", name), _said(said, below)))),
        cls="card chosen" if row.recommended else "card",
    )


def _said(said: Child, below: str) -> Markup:
    return el("dd", unbroken(said) if isinstance(said, str) and not isinstance(said, Markup) else said, note(below))


def _list(entries: tuple[str, ...]) -> Markup | str:
    if not entries:
        return "nothing in particular"
    return el("ul", *(el("li", unbroken(wording.sentence(entry))) for entry in entries))
