"""Position of movable bodywork: the mean of readings with its interval, against the offset the rules allow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.errors import InputError
from panelfem.wear.line import quantile
from panelfem.wear.verdict import Verdict, scatter


@dataclass(frozen=True)
class Position:
    """One item: `offset` m of the mean of `count` readings from where it belongs, signed as the readings, with the
    interval `low` to `high` of the mean (nan for one reading); `notes`: what must be known with it.
    """

    item: str
    verdict: Verdict
    count: int
    offset: float
    low: float
    high: float
    notes: tuple[str, ...]


def position(
    item: str, readings: Sequence[float], nominal: float, allowed: float, level: float, repeatability: float
) -> Position:
    """The mean of `readings` (m) against `nominal` ± `allowed` (m), in a share `level` of cases.

    Mean ± t(n − 1) s / √n; Source: any textbook, e.g. Draper & Smith 1998 as above (recalled).  Raises InputError for
    no reading.

    >>> found = position("flap", [0.0501, 0.0503, 0.0502], 0.05, 0.001, 0.95, 0.0)
    >>> found.verdict.value, f"{1e3 * found.offset:.2f} mm, {1e3 * found.low:.2f} to {1e3 * found.high:.2f} mm"
    ('within the limit', '0.20 mm, -0.05 to 0.45 mm')
    """
    if not readings:
        raise InputError("has no reading", where=f"item {item!r}", do="measure it")
    offsets = np.asarray(readings, float) - nominal
    count, mean = len(offsets), float(offsets.mean())
    notes = []
    outside = int((np.abs(offsets) > allowed * (1.0 + 1e-9)).sum())
    if outside:
        notes.append(f"{outside} of {count} readings {'is' if outside == 1 else 'are'} outside by itself")
    if count < 2:
        notes.append("1 reading gives no interval; take it again, from a fresh set-up of the gauge")
        return Position(item, Verdict.CANNOT_TELL, count, mean, math.nan, math.nan, tuple(notes))
    deviation, by_gauge = scatter(float(offsets.std(ddof=1)), repeatability)
    if by_gauge:
        notes.append("the readings agree better than the gauge repeats: the interval is the gauge's")
    half = quantile(level, count - 1) * deviation / math.sqrt(count)
    low, high = mean - half, mean + half
    reach = allowed * (1.0 + 1e-9)
    if -reach <= low and high <= reach:
        verdict = Verdict.WITHIN
    else:
        verdict = Verdict.BEYOND if low > reach or high < -reach else Verdict.CANNOT_TELL
    return Position(item, verdict, count, mean, low, high, tuple(notes))
