"""The work card: what to do in what order, with what, what to check and sign, and what can hurt."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from panelfem.assess.cautions import CAUTIONS
from panelfem.assess.plan import left_after
from panelfem.papers.amounts import Amount, amounts
from panelfem.papers.files import Papers
from panelfem.papers.sheet import blank, sheet, tick
from panelfem.papers.template import Template, percent
from panelfem.repair import Insert, NoCredit, PatchRepair, Refit, ScarfRepair, Spare, Tape
from panelfem.report.glyph import badge
from panelfem.report.markup import Child, Markup, el, table, unbroken
from panelfem.report.wording import ADVICE, permitted_text, sentence
from panelfem.units import number


def work_card(papers: Papers, templates: Mapping[str, Template]) -> bytes:
    """``work-card.html``; `templates` by the stem of their files."""
    return sheet(
        papers,
        "Work card",
        _decided(papers),
        _damage(papers),
        _steps(papers),
        _materials(papers),
        _templates(templates),
        _checks(papers),
        el("section", el("h2", "Cautions"), el("ul", *(el("li", caution) for caution in CAUTIONS))),
        el(
            "section",
            blank("Prepared by", papers.by),
            blank("Work done by"),
            blank("Checked by"),
            blank("Released by"),
            blank("At (date, time)"),
            el("p", ADVICE, cls="small"),
        ),
    )


def _decided(papers: Papers) -> Markup:
    """What the assessment says of the option, or that there is none."""
    option, found = papers.option, papers.found
    permitted = permitted_text(option.permitted)
    note = el("p", el("b", "Note: "), option.note) if option.note else None
    if found is None:
        said: tuple[Child, ...] = (el("p", "Not assessed here: this card does not say that the repair is enough."),)
    else:
        conditions = found.disposition.conditions
        said = (
            el("p", badge(found.disposition.outcome, large=True)),
            el("p", el("b", "Governs: "), sentence(found.disposition.reason)),
            el("p", el("b", "Conditions: "), "" if conditions else "none beyond the cautions"),
            el("ul", *(el("li", tick(), " ", sentence(c)) for c in conditions)) if conditions else None,
        )
    return el("section", el("div", *said, note, el("p", el("b", "Permitted: "), permitted), cls="said"))


def _damage(papers: Papers) -> Markup | None:
    """What was found, and what becomes of it."""
    found = papers.case.damage
    if not found:
        return None
    anew = any(isinstance(action, Spare) for action in papers.option.actions)
    left = {d.name: d for d in (() if anew else left_after(found, papers.option.actions))}
    rows: list[list[Child]] = []
    for d in found:
        stays = left.get(d.name)
        after = "gone" if stays is None else f"stays{'' if stays.word == d.word else f', as a {stays.word}'}"
        asked = "" if stays is None or not stays.condition else sentence(stays.condition)
        rows.append([d.name, d.word, after, asked, ""])
    heads = ("Damage", "Kind", "After this option", "Asked for while it stays", "Seen, initials")
    return el("section", el("h2", "Damage"), table(heads, rows, cls="card"))


def _steps(papers: Papers) -> Markup:
    """The steps with minutes; without steps, the minutes of the whole."""
    total, left = papers.option.minutes, papers.case.minutes_left
    clock = "" if left is None else f" of {number(left)} min left"
    if not papers.steps:
        words = f"{number(total)} min in all{clock}; the case does not list steps."
        return el("section", el("h2", "Steps"), el("p", unbroken(words)))
    rows: list[list[Child]] = []
    at = 0.0
    for i, step in enumerate(papers.steps, 1):
        at += step.minutes
        minutes = f"{number(step.minutes)} min"
        rows.append([str(i), step.name, minutes, f"{number(at)} min", f"{step.basis}: {step.source}", ""])
    heads = ("Step", "What", "Minutes", "Clock at its end", "Where from", "Initials, time")
    caption = f"Sum {number(at)} min{clock}."
    if abs(at - total) > 0.5:
        caption += f" THE CASE SAYS {number(total)} min: find out which is right."
    return el("section", el("h2", "Steps"), table(heads, rows, cls="card", caption=unbroken(caption)))


def _materials(papers: Papers) -> Markup:
    """What the repair needs, and what it adds."""
    found: list[Amount] = [a for action in papers.option.actions for a in amounts(papers.panel, action)]
    rows: list[list[Child]] = [[a.what, a.amount, a.basis, ""] for a in found]
    added = sum(a.mass for a in found if not math.isnan(a.mass))
    caption = f"Adds about {number(1e3 * added)} g by these records, before anything cut out is taken off."
    if any(math.isnan(a.mass) for a in found):
        caption += " What has no mass on record is not in it."
    heads = ("Material", "Amount", "From", "Batch, expiry")
    body = table(heads, rows, cls="card", caption=unbroken(caption)) if rows else el("p", "None on record.")
    return el("section", el("h2", "Materials"), body, blank("Mass added, weighed (g)"))


def _templates(templates: Mapping[str, Template]) -> Markup | None:
    if not templates:
        return None
    rows: list[list[Child]] = []
    for stem, made in templates.items():
        fit = "lies flat" if made.lies_flat else "DOES NOT LIE FLAT: fit on the panel"
        rows.append(
            [f"{stem}.pdf (A4), {stem}.svg (one sheet)", f"{made.pieces}", f"{percent(made.distortion)}: {fit}", ""]
        )
    heads = ("Template, 1:1", "Pieces", "Greatest length distortion", "Bar measured (100 mm)")
    return el("section", el("h2", "Templates"), table(heads, rows, cls="card"))


def _checks(papers: Papers) -> Markup:
    rows: list[list[Child]] = [[tick(), what, said, ""] for what, said in _asked(papers)]
    heads = ("", "Check", "Found", "Signed, time")
    caption = "What is asked here is common practice, no source; the supplier's manual comes first."
    return el("section", el("h2", "Checks to sign"), table(heads, rows, cls="card", caption=caption))


def _asked(papers: Papers) -> Iterator[tuple[str, str]]:
    """Checks of each action: what to look at, what to write down."""
    case = papers.case
    number_of = next(i for i, o in enumerate(case.options) if o.name == papers.option.name)
    for j, action in enumerate(papers.option.actions):
        match action:
            case PatchRepair(name=name, cut_out=cut) | ScarfRepair(name=name, cut_out=cut):
                if isinstance(action, ScarfRepair):
                    yield (
                        f"{name}: ground to the lines of the template, no fibre of a lower ply cut, none lifted",
                        "ok / not",
                    )
                elif cut is not None:
                    yield f"{name}: cut-out to the dashed line, corners round, edges tapped, nothing loose", "ok / not"
                yield f"{name}: surface dry, abraded to an even matt, wiped one way; a film of water holds", "ok / not"
                yield f"{name}: temperature of panel and air at bonding", "panel ___ °C, air ___ °C"
                yield f"{name}: plies, angles and face as on the template, seen by a second person", "ok / not"
                yield f"{name}: cure. {_cure(papers, number_of, j)}", "___ °C from ___ to ___"
                yield (
                    f"{name}: coupon of the same mix and cloth, cured beside the patch, pulled apart",
                    "held / did not",
                )
                yield f"{name}: tap test of the patch and a hand's width around it, mapped", "sound / dull: ___"
            case Tape(name=name):
                yield f"{name}: dry and clean below, edges down all round, leading edge rolled", "ok / not"
            case Insert(name=name, fastener=fastener, method=method):
                yield f"{name}: insert of {fastener} {method}, square to the skin, potting full, cured", "ok / not"
                yield f"{name}: pulled by hand as the supplier's manual says", "held / did not"
            case NoCredit(name=name, what=what, over=over):
                yield f"{name}: {what} of {over} done and recorded; no strength is counted for it", "ok / not"
            case Refit(name=name, fastener=fastener):
                yield f"{name}: fixing {fastener} seated and locked, skin below not crushed", "ok / not"
            case Spare(name=name):
                yield f"{name}: right part, inspected, tapped, its history read", "ok / not"
    yield "All fixings in and locked, panel flush, nothing left behind it", "ok / not"


def _cure(papers: Papers, option: int, action: int) -> str:
    """What the assessment assumes of the cure."""
    key = f"option[{option}].actions[{action}].cured_share"
    row = next((r for r in papers.case.inputs if r.key == key), None)
    if row is None:
        return "As the data sheet says."
    return f"Share of book strength counted on: {row.shown} ({row.basis}: {row.source})."
