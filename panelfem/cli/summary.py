"""The assessment on the terminal: the same table and the same sentence as on the page."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.assess.records import Assessment
from panelfem.cli.console import table
from panelfem.report import wording
from panelfem.report.glyph import LETTERS
from panelfem.report.headline import Row, rows

HEADS = (
    "",
    "Configuration",
    "Outcome",
    "Takes, of the governing load",
    "Greatest deflection",
    "First-ply margin",
    "Release margin",
    "Restored",
    "Mass",
    "Time",
    "Permitted",
)


def summary(assessment: Assessment) -> Iterator[RenderableType]:
    """Title, table, sentence, conditions, what to look at next."""
    yield Text(assessment.title, style="bold")
    if assessment.invented:
        yield Text(wording.INVENTED)
    yield table(HEADS, [_cells(row) for row in rows(assessment)])
    yield Text("")
    yield Text(wording.recommendation_sentence(assessment))
    found = wording.as_found(assessment)
    if found is not None and found.name != assessment.recommendation:
        yield Text(f"{wording.outcome_sentence(found, released_by=False)} {wording.sentence(found.disposition.reason)}")
    spoken = wording.find(assessment, assessment.recommendation) or found
    if spoken is not None and spoken.disposition.inspect:
        yield Text("Look at next: " + " ".join(wording.sentence(i) for i in spoken.disposition.inspect))
    yield Text(wording.ADVICE)


def _cells(row: Row) -> tuple[str, ...]:
    takes = "not computed"
    if row.takes is not None:
        takes = f"{row.takes.taken}\n{row.load}: {row.takes.expected} expected, {row.takes.asked} asked for"
    return (
        ">" if row.recommended else "",
        row.name,
        f"{LETTERS[row.outcome]} {row.outcome.value}",
        takes,
        row.deflection,
        row.first_ply,
        f"{row.release}\n{row.release_mode}",
        row.restoration,
        row.mass,
        row.minutes,
        row.permitted,
    )
