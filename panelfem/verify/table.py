"""The checks as plain text, and as a page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from panelfem import __version__
from panelfem.units import number
from panelfem.verify.row import MESHED, Row
from panelfem.verify.statistics import Statistics

HEAD = (
    "quantity",
    "printed",
    "reference",
    "ours",
    "bar",
    "true error",
    "covered",
    "allowed",
    "printed vs reference",
    "unit",
    "",
)
#: First line of a page, by which it is known again.
TITLE = "# Verification of panelfem"

Problem = tuple[str, str, str]


def table(rows: Iterable[Row]) -> str:
    """One block per topic and problem: printed, reference and our value, its bar and true error, and where each comes
    from; how the bars did at the end.

    >>> row = Row("plates", "square plate", "w D/qa⁴", "a table", 0.00406, 0.0040624, "series", 0.0040624, "-", 0.01)
    >>> print(table([row]))                                                       # doctest: +NORMALIZE_WHITESPACE
    plates
    ======
    square plate
      printed: a table
      reference: series
      quantity  printed  reference  ours       bar        true error  covered  allowed  printed vs reference  unit
      w D/qa⁴   0.00406  0.0040624  0.0040624  not given  +0.000 %             1 %      -0.059 %              -     ok
    <BLANKLINE>
    1 check, 1 within its tolerance
    """
    everything = list(rows)
    lines: list[str] = []
    for topic, problems in _sorted(everything):
        lines += [topic, "=" * len(topic)]
        last = ""
        for (name, source, how), members in problems:
            if name != last:
                lines.append(name)
            last = name
            lines += [f"  printed: {source}", f"  reference: {how}"]
            cells = [HEAD, *(_cells(row) for row in members)]
            width = [max(len(line[k]) for line in cells) for k in range(len(HEAD))]
            for line in cells:
                lines.append(("  " + "  ".join(c.ljust(w) for c, w in zip(line, width, strict=True))).rstrip())
            lines += [f"  note: {note}" for note in _notes(members)]
        lines.append("")
    return "\n".join([*lines, *_summary(everything)])


def page(rows: Iterable[Row], full: bool = False) -> str:
    """The same as Markdown, without a date, so that the same program writes the same page."""
    everything = list(rows)
    tier = "full" if full else "quick"
    lines = [
        f"{TITLE} {__version__}",
        "",
        f"Every check of the {tier} tier, as `panelfem verify{' --full' if full else ''} --page FILE.md` writes it.",
        "",
        "How to read it. *Printed* is the value in the source named above each table; the source says when it was "
        "recalled from memory. *Reference* is the same theory solved independently, in the way named. *Ours* is what "
        "this program gives and *bar* what it says its own mesh may be off, from elements of two orders on that mesh, "
        "both as a share of the reference; *exact*: nothing is discretised; "
        "*not given*: from a mesh, without a bar. *True error* is ours over the reference "
        "less one; *covered* says whether the reference lies within the bar. A row is *ok* if its true error is within "
        "what is *allowed*. The rows under *error bars* have coarse meshes on purpose: there the bars are on trial.",
        "",
        "## Summary",
        "",
        *(f"- {line}" for line in _summary(everything)),
        "",
    ]
    for topic, problems in _sorted(everything):
        lines += [f"## {topic[0].upper()}{topic[1:]}", ""]
        for (name, source, how), members in problems:
            lines += [f"### {name}", "", f"Printed: {source}. Reference: {how}.", ""]
            lines += _rule(HEAD)
            lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in _cells(row)) + " |" for row in members]
            lines.append("")
            for note in _notes(members):
                lines += [f"Note: {note}.", ""]
    return "\n".join(lines).rstrip() + "\n"


def _rule(head: Sequence[str]) -> list[str]:
    return ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]


def _sorted(rows: Iterable[Row]) -> Iterator[tuple[str, list[tuple[Problem, list[Row]]]]]:
    """Rows by topic, then by problem, source and way of the reference, as they come."""
    topics: dict[str, dict[Problem, list[Row]]] = {}
    for row in rows:
        topics.setdefault(row.topic, {}).setdefault((row.name, row.source, row.reference_how), []).append(row)
    for topic, problems in topics.items():
        yield topic, list(problems.items())


def _notes(rows: Sequence[Row]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.theory for row in rows if row.theory))


def _summary(rows: Sequence[Row]) -> tuple[str, ...]:
    """How many rows are within their tolerance, and how the bars did."""
    count, good = len(rows), sum(row.passed for row in rows)
    checks = f"{count} check{'' if count == 1 else 's'}, {good} within {'its' if count == 1 else 'their'} tolerance"
    return (checks, *Statistics.of(rows).lines())


def _cells(row: Row) -> tuple[str, ...]:
    away = row.printed_difference
    return (
        row.quantity,
        "none" if row.printed is None else number(row.printed, 5),
        number(row.reference, 5),
        number(row.ours, 5),
        _bar(row),
        f"{100 * row.error + 0.0:+.3f} %".replace("-0.000", "+0.000"),
        "" if row.covered is None else "yes" if row.covered else "NO",
        f"{100 * row.tolerance:g} %",
        "" if away is None else f"{100 * away:+.3f} %",
        row.unit,
        "ok" if row.passed else "FAILS",
    )


def _bar(row: Row) -> str:
    """The bar as a share of the reference, or why there is none."""
    if row.bar is not None:
        return f"±{100 * row.bar / abs(row.reference):.3f} %"
    return "not given" if row.topic in MESHED else "exact"
