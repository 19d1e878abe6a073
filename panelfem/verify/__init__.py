"""Every check of the program against published values and independent solutions, as rows that can be printed.

Ours is judged against the *reference*: the same theory solved independently (series, Ritz, closed form,
another method). The printed value and its difference stand beside it; where it belongs to another theory
the row says so.  Where ours comes from a mesh it carries its error bar, and the bars of all rows are judged together:
how often they hold the reference, and how much wider than the true error they are.

There are two tiers: the quick one, and the full one with every problem of the test of the bars.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module

from panelfem.verify.row import LAMINATE, STRESS, VALUE, Row
from panelfem.verify.statistics import Statistics
from panelfem.verify.table import table

__all__ = ["FULL_ONLY", "GROUPS", "LAMINATE", "STRESS", "VALUE", "Result", "Row", "Statistics", "rows", "run", "table"]

#: modules of this package, in the order printed; each has `rows() -> Iterator[Row]`
GROUPS = (
    "laminates",
    "failures",
    "plates",
    "thick",
    "shells",
    "curved",
    "holes",
    "strip_hole",
    "contacts",
    "joints",
    "sandwiches",
    "limits",
    "large",
    "buckling",
    "vibration",
    "delaminated",
    "growth",
    "coverage",
)
#: those whose `rows(full)` has more to give in the full tier
TIERED = ("large", "coverage")
#: those that belong to the full tier alone
FULL_ONLY: tuple[str, ...] = ("adapted",)


@dataclass(frozen=True)
class Result:
    """All rows of a run."""

    rows: tuple[Row, ...]

    @property
    def failed(self) -> tuple[Row, ...]:
        """Rows outside their tolerance."""
        return tuple(row for row in self.rows if not row.passed)

    @property
    def statistics(self) -> Statistics:
        """How the bars did."""
        return Statistics.of(self.rows)

    @property
    def passed(self) -> bool:
        """True if there are rows, every one is within its tolerance, and the bars are what they claim to be."""
        return bool(self.rows) and not self.failed and self.statistics.passed


def groups(full: bool = False) -> tuple[str, ...]:
    """The groups of a tier."""
    return (*GROUPS, *FULL_ONLY) if full else GROUPS


def rows(*names: str, full: bool = False) -> Iterator[Row]:
    """The rows of the groups named (none: all of the tier), computed as they are asked for."""
    for group in names or groups(full):
        module = import_module(f"panelfem.verify.{group}")
        yield from module.rows(full) if group in TIERED else module.rows()


def run(progress: Callable[[Row], None] | None = None, full: bool = False) -> Result:
    """Compute every check of a tier; `progress` is called with each row as it comes."""
    found = []
    for row in rows(full=full):
        found.append(row)
        if progress is not None:
            progress(row)
    return Result(tuple(found))
