"""``panelfem experience``: strikes of one kind survived before, as evidence on the next."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.cli.console import out, show, table
from panelfem.knowledge.experience import Experience, Reserve, experience
from panelfem.units import number

_CAUTION = (
    "Holds for the same panel, the same kind of strike and the same place, if the panel was found undamaged after "
    "every one and is so now; damage that adds up unseen is not in it. It never lifts an outcome: the assessment "
    "stands."
)


def run(chosen: Namespace) -> int:
    """Update and print."""
    found = experience(chosen.reserve, 1e-2 * chosen.uncertainty, 1e-2 * chosen.scatter, chosen.survived)
    console = out()
    for part in told(found):
        show(console, part)
    return 0


def told(found: Experience) -> Iterator[RenderableType]:
    """The sentence, before and after, and what must be known with it."""
    n = found.survived
    strikes = f"{n} strike{'' if n == 1 else 's'} survived"
    yield Text(
        f"After {strikes}, the next of the same kind is survived in {_chance(found.after.survives)}, "
        f"before it was {_chance(found.before.survives)}.",
        style="bold",
    )
    yield table(
        ("", "Reserve factor, median", f"In {100 * found.level:g} of 100 cases", "Next strike survived"),
        [_row("as computed", found.before), _row(f"after {strikes}", found.after)],
    )
    yield Text(_CAUTION)


def _row(what: str, r: Reserve) -> tuple[str, ...]:
    return what, f"×{number(r.median)}", f"×{number(r.low)} to ×{number(r.high)}", _chance(r.survives)


def _chance(share: float) -> str:
    """A chance in so many of 100 cases, never 100.

    >>> _chance(0.9234), _chance(0.99999)
    ('92.3 of 100 cases', 'over 99.9 of 100 cases')
    """
    return f"{100 * share:.1f} of 100 cases" if share < 0.9995 else "over 99.9 of 100 cases"
