"""The first screen: what was decided, why, on what conditions, what to look at next, and who releases it."""

from __future__ import annotations

from panelfem.assess.records import Assessment, Configuration
from panelfem.disposition.records import Outcome
from panelfem.report import figures, room, wording
from panelfem.report.clock import brief, clock
from panelfem.report.glyph import badge, css_class
from panelfem.report.headline import Row, rows
from panelfem.report.large import decisive
from panelfem.report.markup import Markup, el, text, unbroken
from panelfem.units import number

_KINDS = {"undamaged": "reference", "as found": "as it stands", "option": "option"}


def header(assessment: Assessment) -> Markup:
    """Title, panel, class, time left; an invented scenario says so here."""
    left = assessment.minutes_left
    facts = [
        f"Panel: {assessment.panel}",
        f"Class: {assessment.consequence}; factor asked for {figures.times(assessment.required)} on the expected load",
        f"Time left: {number(left)} min" if left is not None else "Time left: not stated",
    ]
    return el(
        "header",
        el(
            "div",
            el("h1", assessment.title),
            el("p", wording.INVENTED, cls="invented") if assessment.invented else None,
            cls="title",
        ),
        el("p", *(el("span", fact) for fact in facts), cls="facts"),
    )


def decision(assessment: Assessment, picture: Markup | None) -> Markup:
    """The whole decision part: page one, which is two printed sides at most.

    The table of figures comes last, and where there is no room for it, at the head of the engineer's part.
    """
    chosen = wording.find(assessment, assessment.recommendation)
    found = wording.as_found(assessment)
    spoken = chosen or found
    asked = [*assessment.conditions]
    if spoken is not None:
        asked = list(dict.fromkeys([*spoken.disposition.conditions, *asked]))
    look = list(spoken.disposition.inspect) if spoken is not None else []
    without = "None beyond the cautions at the end." if chosen else "None, for nothing is recommended."
    beside = _found(found) if found is not chosen else None
    moved = [words for conf in (chosen, found) if conf is not None for words in decisive(conf)]
    fits = room.lines(assessment, asked, look, moved) <= room.LINES
    first = el(
        "section",
        _provisional(assessment),
        el("p", el("span", "ACCURACY NOT MET", cls="loud"), " ", wording.meshing_sentence(assessment), cls="mesh")
        if wording.not_met(assessment)
        else None,
        el(
            "div",
            el("div", _recommended(assessment, chosen), beside, cls="verdicts" if beside else "verdicts alone"),
            picture,
            cls="lead",
        ),
        el(
            "div",
            _list("Conditions", asked, without),
            _list("Next inspection", look, "Nothing in particular."),
            cls="twin",
        ),
        clock(assessment),
        _signature(assessment, chosen),
        el("p", wording.ADVICE, cls="small"),
        ranked_table(assessment) if fits else None,
        cls="decision",
    )
    return first if fits else text(first, el("section", ranked_table(assessment)))


def _provisional(assessment: Assessment) -> Markup | None:
    """Says loudly what is not yet done, where something is not."""
    if not assessment.provisional:
        return None
    return el(
        "p",
        el("span", "PROVISIONAL", cls="loud"),
        " ",
        wording.provisional_sentence(assessment),
        cls="provisional",
    )


def _recommended(assessment: Assessment, chosen: Configuration | None) -> Markup:
    if chosen is None:
        return el(
            "div",
            el("h2", "Recommended"),
            el("p", "No configuration", cls="who"),
            el("p", wording.sentence(assessment.recommendation_reason), cls="why"),
            cls="verdict none",
        )
    return el(
        "div",
        el("h2", "Recommended, provisionally" if assessment.provisional else "Recommended"),
        el("p", chosen.name, cls="who"),
        badge(chosen.disposition.outcome, large=True),
        el("p", unbroken(wording.winner_sentence(assessment)), cls="aloud"),
        el("p", el("b", "Reason: "), wording.sentence(chosen.disposition.reason), cls="why"),
        el("p", el("b", "Choice: "), wording.sentence(assessment.recommendation_reason), cls="why")
        if chosen.kind == "option"
        else None,
        *_large(chosen),
        _factor(chosen),
        cls=f"verdict {css_class(chosen.disposition.outcome)}",
    )


def _found(found: Configuration | None) -> Markup | None:
    if found is None:
        return None
    return el(
        "div",
        el("h2", "As found"),
        el("p", found.name, cls="who") if found.name.lower() != "as found" else None,
        badge(found.disposition.outcome, large=True),
        el("p", el("b", "Reason: "), wording.sentence(found.disposition.reason), cls="why"),
        *_large(found),
        _factor(found),
        cls=f"verdict {css_class(found.disposition.outcome)}",
    )


def _large(conf: Configuration) -> list[Markup]:
    """What linear theory said and what is true, where that bears on the decision."""
    return [el("p", el("b", "Moves far: "), wording.sentence(words), cls="why") for words in decisive(conf)]


def _factor(conf: Configuration) -> Markup:
    """The governing factor with its total uncertainty."""
    return el("p", el("b", "Governing factor: "), wording.sentence(wording.uncertainty_phrase(conf)), cls="why")


def _list(title: str, entries: list[str], otherwise: str) -> Markup:
    body = el("ul", *(el("li", wording.sentence(e)) for e in entries)) if entries else el("p", otherwise)
    return el("div", el("h3", title), body)


def _signature(assessment: Assessment, chosen: Configuration | None) -> Markup:
    """The line to sign; nothing is released by the tool, and nothing on a provisional page."""
    claim, by = "", "Decided by"
    if assessment.provisional:
        claim, by = "Provisional, not for release;", "seen by"
    elif chosen is not None:
        held = ", if the conditions hold" if chosen.disposition.outcome is Outcome.MEETS_IF else ""
        claim, by = f"{chosen.name}: meets the factor asked for, for the listed loads{held};", "released by"
    return el(
        "p",
        el("span", claim) if claim else None,
        el("span", by, el("span", cls="blank"), "at", el("span", cls="blank short"), cls="line"),
        cls="sign",
    )


def ranked_table(assessment: Assessment) -> Markup:
    """All configurations, ranked, with the figures the users ask for first."""
    heads = (
        "Configuration",
        "Takes (governing load)",
        "Greatest deflection",
        "First-ply margin",
        "Release margin",
        "Restoration",
        "Mass",
    )
    body = [el("tr", *_cells(row, heads), cls=_row_class(row)) for row in rows(assessment)]
    return el(
        "div",
        el("h3", "What each configuration takes"),
        el(
            "table",
            el(
                "caption",
                "Margin: reserve factor − 1 on the load's own parameter. Takes, release margin: the load that "
                "governs; the other figures: the worst over all loads, which is named. Their mesh errors stand "
                "with each configuration below. Drawn bars: thin mark expected, thick mark asked for.",
            ),
            el("thead", el("tr", *(el("th", head, scope="col") for head in heads))),
            el("tbody", *body),
            cls="ranked",
        ),
        cls="wide options",
    )


def _row_class(row: Row) -> str | None:
    return "chosen" if row.recommended else "reference" if row.configuration.kind == "undamaged" else None


def _cells(row: Row, heads: tuple[str, ...]) -> list[Markup]:
    names = [head.replace("\u00ad", "") for head in heads]
    rank = f"{row.rank} " if row.rank is not None else ""
    tag = "recommended" if row.recommended else _KINDS[row.configuration.kind]
    note = f"; {brief(row.configuration.note)}" if row.configuration.note else ""
    first = el("th", el("span", rank, cls="rank"), row.name, _small(tag + note), scope="row")
    takes = row.takes
    cells: list[tuple[str, ...] | Markup] = [
        _takes(row) if takes else ("not computed",),
        (*_parts(row.deflection), row.deflection_load),
        (*_parts(row.first_ply), _join(row.first_ply_load, row.first_ply_mode)),
        (*_parts(row.release), row.release_mode),
        (row.restoration, row.restoration_load),
        _parts(row.mass),
    ]
    out = [first]
    for name, cell in zip(names[1:], cells, strict=True):
        if isinstance(cell, Markup):
            out.append(el("td", cell, data_label=name))
        else:
            figure, *below = cell
            out.append(el("td", el("span", figure, cls="figure"), *(_small(b) for b in below if b), data_label=name))
    return out


def _join(load: str, mode: str) -> str:
    return ": ".join(part for part in (load, mode) if part)


def _parts(words: str) -> tuple[str, ...]:
    """'1245 g (+41 g)' as a figure and the note below it; a dash for nothing."""
    figure, _, below = words.partition(" (")
    return figure or "–", below.removesuffix(")")


def _small(words: str) -> Markup:
    """A note below a figure; that a figure may not be relied on is said loudly."""
    return el("span", unbroken(words), cls="loud" if words in (wording.OUTSIDE, wording.UNSOUND) else "note")


def _takes(row: Row) -> Markup:
    takes = row.takes
    assert takes is not None
    about = _small(f"{row.load}: {takes.expected} expected, {takes.asked} asked for")
    figure, below = _parts(takes.taken)
    return text(el("span", figure, cls="figure"), _small(below) if below else None, bar(takes), about)


def bar(takes: wording.Takes) -> Markup:
    """What is taken, as a bar that ends at twice what is asked for; thin mark: expected, thick mark: asked for."""
    end = 2.0 * takes.required
    if takes.factor != takes.factor or end <= 0:
        return Markup("")
    width = 100.0 * min(takes.factor, end) / end
    sound = "" if takes.sound else " unsound"
    tip = min(width, 96.0)
    over = takes.bound or takes.factor > end
    arrow = f'<path class="taken" d="M{tip:.1f} 0 l4 4 l-4 4 Z"/>' if over else ""
    return Markup(
        f'<svg class="bar{sound}" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true">'
        '<rect class="ground" x="0" y="3" width="100" height="2"/>'
        f'<rect class="taken" x="0" y="1.8" width="{width:.1f}" height="4.4"/>{arrow}'
        f'<rect class="mark" x="{100.0 / end - 0.4:.1f}" y="0.6" width="0.8" height="6.8"/>'
        '<rect class="mark" x="49.1" y="0" width="1.8" height="8"/></svg>'
    )
