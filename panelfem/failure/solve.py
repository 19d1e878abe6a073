"""The smallest positive factor at which a quadratic along a straight path reaches 1, on the stretch where it
holds.

Along residual + factor · applied a piece is a f² + b f + c with c = (its value at f = 0) − 1, and each sign
it needs is a linear function of f.  These leave one stretch [start, end] of f.  Reached at its start, that is
the answer; otherwise the first root beyond, in the form that loses no digits, if it comes before the end.
The path may first unload: c < 0, b < 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class Stretch:
    """The factors for which all signs are right: from `start` to `end` (n,), nowhere where `never` (n,).

    None means from 0, without end, or everywhere.
    """

    start: FloatArray | None = None
    end: FloatArray | None = None
    never: BoolArray | None = None

    @classmethod
    def of(cls, sides: Iterable[tuple[FloatArray, FloatArray | None, bool]]) -> Stretch:
        """From sides (slope (n,), value at 0 (n,) or None for 0, whether zero will do): slope · f + value
        positive.

        >>> Stretch.of([(np.array([2.0, -2.0]), np.array([-1.0, -1.0]), True)]).start
        array([0.5, 0. ])
        """
        start: FloatArray | None = None
        end: FloatArray | None = None
        never: BoolArray | None = None
        for slope, value, closed in sides:
            if value is None:
                out = (slope < 0.0) if closed else (slope <= 0.0)
            else:
                here = np.where((slope > 0.0) & (value < 0.0), -value / slope, 0.0)
                there = np.where(slope < 0.0, -value / slope, np.inf)
                still = (slope == 0.0) & ((value < 0.0) if closed else (value <= 0.0))
                out = still | ((slope < 0.0) & (value <= 0.0))
                start = here if start is None else np.maximum(start, here)
                end = there if end is None else np.minimum(end, there)
            never = out if never is None else never | out
        if start is not None and end is not None and never is not None:
            never = never | (start > end)
        return cls(start, end, never)


def first_reach(
    a: FloatArray | float,
    b: FloatArray | float,
    c: FloatArray | float,
    stretch: Stretch,
    held: BoolArray | None,
    count: int,
) -> FloatArray:
    """First f > 0 with a f² + b f + c ≥ 0 on the stretch, (count,): inf if there is none, nan where `held`.

    Call it with numpy's warnings off: divisions by zero are meant.

    >>> with np.errstate(all="ignore"):
    ...     first_reach(np.array([1.0, 0.0]), np.array([0.0, 2.0]), -1.0, Stretch(), None, 2)
    array([1. , 0.5])
    """
    start = stretch.start
    if start is not None:
        c = c + start * (b + a * start)
        b = b + 2.0 * a * start
    if isinstance(a, float) and a == 0.0:
        step = np.where(np.asarray(b) <= 0.0, np.inf, -c / b)
    else:
        under = b * b - 4.0 * a * c
        root = np.sqrt(under)
        step = np.where(np.asarray(b) >= 0.0, -2.0 * c / (b + root), (root - b) / (2.0 * a))
        step = np.where((under < 0.0) | (step <= 0.0), np.inf, step)
    step = np.broadcast_to(step, (count,))
    if start is None:
        factor = np.array(step)
    else:
        at_start = np.where(start > 0.0, start, np.nan)  # reached as soon as anything is applied: at zero load
        factor = np.where(np.asarray(c) >= 0.0, at_start, start + step)
    if stretch.end is not None:
        factor[factor > stretch.end] = np.inf
    if stretch.never is not None:
        factor[stretch.never] = np.inf
    if held is not None:
        factor[held] = np.nan
    return factor
