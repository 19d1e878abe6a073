"""The assessment on the terminal: the same table and the same sentence as on the page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.console import RenderableType
from rich.text import Text

from panelfem.assess.records import Assessment, Configuration
from panelfem.balance import Ballast
from panelfem.cli.console import table, visible
from panelfem.report import wording
from panelfem.report.glyph import LETTERS
from panelfem.report.headline import Row, rows
from panelfem.report.large import decisive
from panelfem.report.limit import strikes

HEADS = (
    "",
    "Configuration",
    "Outcome",
    "Governing load",
    "Takes",
    "Expected, asked for",
    "Deflection",
    "First ply",
    "Release",
    "Restored",
    "Mass",
    "Time",
    "Permitted",
)
#: Stands in the table for the words that the line below it explains.
MARK = "(!)"


def summary(assessment: Assessment, ballast: Mapping[str, Ballast] | None = None) -> Iterator[RenderableType]:
    """Title, table, sentence, conditions, what to look at next; `ballast`: the move for each, by name."""
    yield Text(assessment.title, style="bold")
    if assessment.invented:
        yield Text(wording.INVENTED)
    if assessment.provisional:
        yield Text(f"PROVISIONAL. {wording.provisional_sentence(assessment)}", style="bold")
    if wording.not_met(assessment):
        yield Text(wording.meshing_sentence(assessment), style="bold")
    every = rows(assessment)
    ranked, cells = [row for row in every if row.rank is not None], [_cells(row) for row in every]
    yield table(HEADS, cells)
    if any(MARK in cell for row in cells for cell in row):
        marks = {wording.doubt(c.result(load).theory) for c in assessment.configurations for load in c.governing}
        what = wording.OUTSIDE if wording.OUTSIDE in marks else "the theory used does not hold"
        yield Text(f"{MARK} {what}: the number is not to be relied on")
    yield Text("")
    yield Text(wording.recommendation_sentence(assessment))
    chosen = wording.find(assessment, assessment.recommendation)
    if chosen is not None:
        yield Text(wording.outcome_sentence(chosen))
        yield Text(f"Governs: {wording.sentence(chosen.disposition.reason)}")
        yield from _large(chosen)
        yield Text(f"Governing factor: {wording.sentence(wording.uncertainty_phrase(chosen))}")
        if ballast and chosen.name in ballast:
            yield Text(visible(wording.sentence(wording.ballast_text(ballast[chosen.name]))))
    found = wording.as_found(assessment)
    if found is not None and found is not chosen:
        reason = wording.sentence(found.disposition.reason)
        yield Text(f"{wording.outcome_sentence(found, released_by=False)} {reason}")
        yield from _large(found)
        yield Text(f"Governing factor, {found.name}: {wording.sentence(wording.uncertainty_phrase(found))}")
    for row in ranked:
        step = f" Step for the air: {wording.sentence(row.step)}" if row.step else ""
        yield Text(f"Will not take, {row.name}: {wording.sentence('; '.join(strikes(row.configuration)))}{step}")
    spoken = chosen or found
    if spoken is not None and spoken.disposition.inspect:
        yield Text("Next inspection: " + " ".join(wording.sentence(i) for i in spoken.disposition.inspect))
    yield Text(wording.ADVICE)


def _large(conf: Configuration) -> Iterator[Text]:
    """A line for each load that was followed with large displacements and bears on the decision."""
    for words in decisive(conf):
        yield Text(f"Moves far, {conf.name}: {wording.sentence(words)}")


def _cells(row: Row) -> tuple[str, ...]:
    takes = row.takes
    cells: tuple[str, ...] = (
        ">" if row.recommended else "",
        row.name,
        f"{LETTERS[row.outcome]} {row.outcome.value}",
        row.load,
        takes.taken.removeprefix("takes ") if takes else "not computed",
        f"{takes.expected}, {takes.asked}" if takes else "",
        row.deflection,
        row.first_ply,
        row.release,
        row.restoration,
        row.mass,
        row.minutes,
        row.permitted,
    )
    for mark in (wording.OUTSIDE, wording.UNSOUND):
        cells = tuple(cell.replace(f"({mark})", MARK) for cell in cells)
    return cells
