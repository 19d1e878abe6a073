"""What an interval says about a limit, and what a gauge leaves open."""

from __future__ import annotations

from enum import Enum

#: Repeatability limit of a gauge over the standard deviation of its readings: two readings of one place differ by less
#: in 95 of 100 cases.  Source: ISO 5725-6, r = 2.8 s_r (recalled).
REPEATABILITY = 2.8


class Verdict(Enum):
    """Against a limit."""

    WITHIN = "within the limit"
    CANNOT_TELL = "cannot be told"
    BEYOND = "beyond the limit"


def scatter(found: float, repeatability: float) -> tuple[float, bool]:
    """Standard deviation of a reading: the one `found`, or the gauge's own where that is more (then True).

    Few readings can agree by chance, but no better than the gauge can read.

    >>> scatter(0.0, 0.28)[0].__round__(9), scatter(0.3, 0.28)
    (0.1, (0.3, False))
    """
    own = repeatability / REPEATABILITY
    return (own, True) if found < own else (found, False)
