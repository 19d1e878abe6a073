"""Loads followed with large displacements: what linear theory said, what is true, and why, in words and as tables."""

from __future__ import annotations

import math

from panelfem.assess.records import Configuration
from panelfem.disposition import ends, snaps
from panelfem.disposition.records import LoadOutcome, Outcome
from panelfem.report import figures, wording
from panelfem.report.cells import figure
from panelfem.report.glyph import badge
from panelfem.report.markup import Child, Markup, el, table
from panelfem.reserve.records import Buckling, LinearAnswer, LoadResult, ModeReserve
from panelfem.units import number, show, with_bar

#: Two numbers nearer than this share are said to agree.
ALIKE = 0.05
_WOULD = {
    Outcome.MEETS: "it would have met the factor asked for",
    Outcome.DOES_NOT: "it would not have met the factor asked for",
    Outcome.CANNOT_TELL: "the mesh would have left it open",
}


def factor_text(mode: ModeReserve) -> str:
    """A factor for a sentence: with its bar where there is one.

    >>> factor_text(ModeReserve("fibre tension", "maximum stress", "release", 2.4))
    '×2.4'
    """
    return wording.barred_factor(mode if math.isfinite(mode.bar) else _exact(mode)).partition(" (")[0]


def _exact(mode: ModeReserve) -> ModeReserve:
    return ModeReserve(mode.mode, mode.criterion, mode.grade, mode.factor, mode.status)


def deflection_text(result: LoadResult) -> str:
    """The greatest deflection for a sentence: with its bar where there is one."""
    return figures.barred(result.deflection.value, result.deflection.bar, "mm").partition(" (")[0]


def flips(outcome: LoadOutcome | None) -> bool:
    """Whether the numbers of linear theory, had they been believed, would have given another outcome."""
    return outcome is not None and outcome.linear is not None and outcome.linear is not outcome.outcome


def by_linear_numbers(outcome: LoadOutcome | None) -> str:
    """What the numbers of linear theory would have said of the outcome; nothing if they say the same."""
    if outcome is None or outcome.linear is None or not flips(outcome):
        return ""
    return f"By the linear numbers {_WOULD[outcome.linear]}."


def sentence(result: LoadResult, outcome: LoadOutcome | None = None, told: bool = False) -> str:
    """What linear theory said, what is true and why; nothing for a load that linear theory was good enough for.

    `told`: where the path ends, and how, has been said.
    """
    linear = result.linear
    if linear is None:
        return ""
    said = f"{show(linear.deflection, 'mm')} and {factor_text(linear.release)}"
    end = wording.path_end(result)
    asked = 1.0 if outcome is None else max(1.0, outcome.required)
    if end is not None and end.factor < asked:
        at = f"{number(end.factor, 2)} times the expected {result.parameter}"
        if snaps(end):
            words = "linear theory" if told else f"the panel snaps through at {at}; linear theory"
            words = f"{words} ({said}) misses {'the snap-through' if told else 'it'}"
        else:
            words = f"followed to {at} ({deflection_text(result)})"
            words += "" if told else ", beyond which no equilibrium was found"
            words += f"; linear theory, which does not hold, says {said}"
    else:
        rule = wording.ruling(result, outcome)
        words = f"linear theory says {said}; {_because(result, linear, rule)}: {factor_text(rule)}"
    return f"{result.load}: {words}. {by_linear_numbers(outcome)}".strip()


def _because(result: LoadResult, linear: LinearAnswer, rule: ModeReserve) -> str:
    """Why the numbers differ, and how far the panel really moves."""
    moved = deflection_text(result)
    apart = abs(result.deflection.value / linear.deflection - 1.0) if linear.deflection else math.inf
    told = abs(math.log(rule.factor / linear.release.factor)) if min(rule.rank, linear.release.rank) > 0 else math.inf
    if apart <= ALIKE:
        return f"followed further it moves {moved}" + (
            ", little else" if told <= ALIKE else ", but the stress is another"
        )
    if result.deflection.value < linear.deflection:
        stretched = any(word in reason for reason in linear.reasons for word in ("membrane", "deflection"))
        why = "the skin stretches as it bows" if stretched else "it stiffens as it moves"
    elif result.buckling is not None and result.buckling.factors and result.buckling.factors[0] < 1.0:
        why = "it buckles"
    elif any("compression" in reason for reason in linear.reasons):
        why = "pressed, it softens"
    else:
        why = "it softens as its shape changes"
    return f"{why}, and really moves {moved}"


def decisive(conf: Configuration) -> list[str]:
    """The sentences that bear on the decision: of the load that governs, and of those whose outcome is another than
    the linear numbers would have given.
    """
    governs = wording.governing_load(conf)
    said = []
    for load in conf.governing:
        outcome = wording.outcome_of(conf, load)
        if load == governs or flips(outcome):
            said.append(sentence(conf.result(load), outcome, told=load == governs))
    return [words for words in said if words]


def theory(results: list[tuple[str, LoadResult]]) -> Markup:
    """The measures of linear theory, and which theory the numbers come from; what does not hold is said loudly."""
    rows: list[list[Child]] = [
        [
            load,
            f"×{number(r.theory.deflection_over_thickness)}",
            f"{number(r.theory.rotation)} rad",
            figures.share(r.theory.buckling_share),
            "not looked at" if r.theory.large else figures.share(r.theory.membrane_change),
            _held(r),
        ]
        for load, r in results
    ]
    heads = (
        "Load",
        "Deflection over thickness",
        "Greatest rotation",
        "Compression over hand buckling load",
        "Change of membrane strain",
        "Theory the numbers come from",
    )
    return table(heads, rows)


def _held(result: LoadResult) -> Child:
    """The theory used and whether it holds."""
    found = result.theory
    said = el("span", "; ".join(found.reasons), cls="note") if found.reasons else None
    if mark := wording.doubt(found):
        return [el("span", mark.upper(), cls="loud"), said]
    if not found.large:
        return "linear: holds"
    end = wording.path_end(result)
    if end is not None and ends(end):
        return [f"large displacements: holds as far as the path goes, {figures.times(end.factor)}", said]
    return ["large displacements: holds", said]


def block(result: LoadResult, outcome: LoadOutcome | None, curve: Markup | None, shape: Markup | None) -> Markup:
    """One load that was followed, or looked at for buckling: the sentence, both numbers, the pictures."""
    return el(
        "div",
        el("div", *_compared(result, outcome), *_buckles(result), shape),
        curve,
        cls="far",
    )


def _compared(result: LoadResult, outcome: LoadOutcome | None) -> list[Child]:
    linear = result.linear
    if linear is None:
        return []
    rule = wording.ruling(result, outcome)
    early, end = wording.shown_at(result), wording.path_end(result)
    loud = "SNAPS THROUGH" if end is not None and snaps(end) else "PATH ENDS EARLY"
    rows: list[list[Child]] = [
        [
            "Greatest deflection",
            figure(show(linear.deflection, "mm")),
            figure(deflection_text(result), early or result.deflection.where),
        ],
        [
            "Release factor",
            figure(factor_text(linear.release), wording.mode_text(linear.release)),
            figure(factor_text(rule), wording.mode_text(rule)),
        ],
        [
            "First ply, factor",
            figure(factor_text(linear.first_ply), wording.mode_text(linear.first_ply)),
            figure(factor_text(result.first_ply), wording.mode_text(result.first_ply)),
        ],
    ]
    if outcome is not None and outcome.linear is not None:
        rows.append(
            ["Outcome", figure(outcome.linear.value, "had these numbers been believed"), badge(outcome.outcome)]
        )
    return [
        el("p", wording.sentence(sentence(result, outcome))),
        el("p", el("span", loud, cls="loud"), f" Shown {early}.") if early else None,
        table(("", "Linear theory", "Large displacements (used)"), rows, cls="compared"),
        el("p", el("b", "Why linear theory does not hold: "), f"{'; '.join(linear.reasons)}."),
    ]


def _buckles(result: LoadResult) -> list[Child]:
    found = result.buckling
    if found is None or not found.factors:
        return []
    return [el("p", el("b", "Buckling: "), buckling_sentence(result, found))]


def buckling_sentence(result: LoadResult, found: Buckling) -> str:
    """Where the panel could take another shape, where that moves most, and what was made of it."""
    bars = found.bars or (math.nan,) * len(found.factors)
    shown = [
        f"×{number(f)}" if math.isnan(bar) else f"×{with_bar(f, bar)}"
        for f, bar in zip(found.factors, bars, strict=True)
    ]
    first = f"another shape is possible from {shown[0]} of the expected {result.parameter}"
    more = f" (further ones from {', '.join(shown[1:])})" if len(shown) > 1 else ""
    words = [f"{first}{more}, by linear theory; it moves most {found.where}."]
    if found.imperfection > 0:
        words.append(
            f"To follow the panel past it, that shape was added to it, {show(found.imperfection, 'mm')} high: real "
            "panels are never of the exact shape."
        )
    elif result.linear is not None:
        words.append("The panel was followed as it is: no such shape was added.")
    return " ".join(words)
