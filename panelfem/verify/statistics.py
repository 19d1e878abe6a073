"""How the error bars did over many rows: how often they hold, and how much too wide they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from panelfem.verify.row import Row

#: Share of bars that must hold the reference.
COVERED = 0.95
#: Greatest median, and greatest 90th percentile, of bar over true error.
MEDIAN, NINETY = 5.0, 20.0
#: True errors below this share are not compared with their bars: nobody needs them.
NOTICEABLE = 5e-4
#: Fewer bars than this prove nothing and are not judged.
ENOUGH = 40


@dataclass(frozen=True)
class Statistics:
    """`count` rows have a bar and `covered` of them hold their reference; `noticeable` are off by more than
    :data:`NOTICEABLE`, with `median` and `ninety` (90th percentile) of bar over true error (nan without any)."""

    count: int
    covered: int
    noticeable: int
    median: float
    ninety: float

    @classmethod
    def of(cls, rows: Iterable[Row]) -> Statistics:
        """From all rows, those without a bar left out.

        >>> row = Row("plates", "p", "w", "s", None, 1.0, "series", 1.01, "m", 0.1, bar=0.02)
        >>> found = Statistics.of([row])
        >>> found.count, found.covered, round(found.median, 6)
        (1, 1, 2.0)
        """
        barred = [row for row in rows if row.bar is not None]
        off = [(row.bar, abs(row.ours - row.reference)) for row in barred if abs(row.error) > NOTICEABLE]
        ratios = np.array([bar / error for bar, error in off if bar is not None])
        median, ninety = (float(np.percentile(ratios, p)) if len(ratios) else float("nan") for p in (50, 90))
        return cls(len(barred), sum(row.covered is True for row in barred), len(ratios), median, ninety)

    @property
    def share(self) -> float:
        """Share of bars that hold; nan without bars."""
        return self.covered / self.count if self.count else float("nan")

    @property
    def enough(self) -> bool:
        """Whether there are bars enough to judge them."""
        return self.count >= ENOUGH

    @property
    def passed(self) -> bool:
        """False if the bars hold too seldom or are too wide; with too few of them nothing is held against them."""
        if not self.enough:
            return True
        return self.share >= COVERED and not self.median > MEDIAN and not self.ninety > NINETY

    def lines(self) -> tuple[str, ...]:
        """What is printed below the checks."""
        if not self.count:
            return ()
        out = [f"error bars: {self.count}, {self.covered} of them hold the reference ({100 * self.share:.1f} %)"]
        if self.noticeable:
            out.append(
                f"bar over true error, {self.noticeable} rows off by more than {100 * NOTICEABLE:g} %: "
                f"median {self.median:.2g}, 90th percentile {self.ninety:.2g}"
            )
        limits = f"at least {100 * COVERED:g} % hold, median up to {MEDIAN:g}, 90th percentile up to {NINETY:g}"
        verdict = "ok" if self.passed else "FAILS"
        out.append(f"asked for: {limits}: {verdict if self.enough else f'not judged, fewer than {ENOUGH} bars'}")
        return tuple(out)
