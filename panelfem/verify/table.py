"""The checks as plain text."""

from __future__ import annotations

from collections.abc import Iterable

from panelfem.units import number
from panelfem.verify.row import Row

HEAD = ("quantity", "printed", "reference", "ours", "error", "allowed", "printed vs reference", "unit", "")


def table(rows: Iterable[Row]) -> str:
    """One block per topic and problem: printed, reference and our value, our error, and where each comes
    from.

    >>> row = Row("plates", "square plate", "w D/qa⁴", "a table", 0.00406, 0.0040624, "series", 0.0040624, "-", 0.01)
    >>> print(table([row]))                                                       # doctest: +NORMALIZE_WHITESPACE
    plates
    ======
    square plate
      printed: a table
      reference: series
      quantity   printed   reference   ours       error      allowed   printed vs reference   unit
      w D/qa⁴    0.00406   0.0040624   0.0040624  +0.0000 %  1 %       -0.059 %               -      ok
    <BLANKLINE>
    1 check, 1 within its tolerance
    """
    groups: dict[str, dict[tuple[str, str, str], list[Row]]] = {}
    count = good = 0
    for row in rows:
        groups.setdefault(row.topic, {}).setdefault((row.name, row.source, row.reference_how), []).append(row)
        count, good = count + 1, good + row.passed
    lines: list[str] = []
    for topic, problems in groups.items():
        lines += [topic, "=" * len(topic)]
        last = ""
        for (name, source, how), members in problems.items():
            if name != last:
                lines.append(name)
            last = name
            lines += [f"  printed: {source}", f"  reference: {how}"]
            cells = [HEAD, *(_cells(row) for row in members)]
            width = [max(len(line[k]) for line in cells) for k in range(len(HEAD))]
            for line in cells:
                lines.append(("  " + "  ".join(c.ljust(w) for c, w in zip(line, width, strict=True))).rstrip())
            for note in dict.fromkeys(row.theory for row in members if row.theory):
                lines.append(f"  note: {note}")
        lines.append("")
    lines.append(
        f"{count} check{'' if count == 1 else 's'}, {good} within {'its' if count == 1 else 'their'} tolerance"
    )
    return "\n".join(lines)


def _cells(row: Row) -> tuple[str, ...]:
    away = row.printed_difference
    return (
        row.quantity,
        "none" if row.printed is None else number(row.printed, 5),
        number(row.reference, 5),
        number(row.ours, 5),
        f"{100 * row.error:+.4f} %",
        f"{100 * row.tolerance:g} %",
        "" if away is None else f"{100 * away:+.3f} %",
        row.unit,
        "ok" if row.passed else "FAILS",
    )
