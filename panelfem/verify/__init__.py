"""Every check of the program against published values and independent solutions, as rows that can be printed.

Ours is judged against the *reference*: the same theory solved independently (series, Ritz, closed form,
another method). The printed value and its difference stand beside it; where it belongs to another theory
the row says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module

from panelfem.verify.row import LAMINATE, STRESS, VALUE, Row
from panelfem.verify.table import table

__all__ = ["GROUPS", "LAMINATE", "STRESS", "VALUE", "Result", "Row", "rows", "run", "table"]

#: modules of this package, in the order printed; each has `rows() -> Iterator[Row]`
GROUPS = ("laminates", "failures", "plates", "thick", "shells", "holes", "contacts", "joints", "sandwiches")


@dataclass(frozen=True)
class Result:
    """All rows of a run."""

    rows: tuple[Row, ...]

    @property
    def failed(self) -> tuple[Row, ...]:
        """Rows outside their tolerance."""
        return tuple(row for row in self.rows if not row.passed)

    @property
    def passed(self) -> bool:
        """True if there are rows and every one is within its tolerance."""
        return bool(self.rows) and not self.failed


def rows(*groups: str) -> Iterator[Row]:
    """The rows of `groups` (none named: all of :data:`GROUPS`), computed as they are asked for."""
    for group in groups or GROUPS:
        yield from import_module(f"panelfem.verify.{group}").rows()


def run(progress: Callable[[Row], None] | None = None) -> Result:
    """Compute every check; `progress` is called with each row as it comes."""
    found = []
    for row in rows():
        found.append(row)
        if progress is not None:
            progress(row)
    return Result(tuple(found))
