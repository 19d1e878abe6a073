"""A straight line by ordinary least squares, and where the next reading on it will lie.

    s² = Σ (y − a − b x)² / (n − 2)
    prediction at x: a + b x ± t(n − 2) s √(1 + 1/n + (x − x̄)² / Σ (x − x̄)²)

Source: N. R. Draper & H. Smith 1998, Applied Regression Analysis, 3rd ed., chapters 1 and 3 (recalled).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.errors import InputError


@dataclass(frozen=True)
class Line:
    """y = `intercept` + `slope` x, from `count` readings round `middle` with Σ (x − middle)² = `spread`; `deviation` is
    the standard deviation of a reading about it (nan for two readings).
    """

    intercept: float
    slope: float
    deviation: float
    count: int
    middle: float
    spread: float

    def at(self, x: float) -> float:
        """The line at x."""
        return self.intercept + self.slope * x

    def prediction(self, x: float, level: float, deviation: float | None = None) -> tuple[float, float]:
        """Between what one further reading at x will lie, in a share `level` of cases; nan for fewer than three
        readings.  `deviation`: of a reading, if not the one found.
        """
        half = self._t(level) * (self.deviation if deviation is None else deviation)
        half *= math.sqrt(1.0 + 1.0 / self.count + (x - self.middle) ** 2 / self.spread)
        return self.at(x) - half, self.at(x) + half

    def slopes(self, level: float, deviation: float | None = None) -> tuple[float, float]:
        """Between what the true slope lies, in a share `level` of cases."""
        half = self._t(level) * (self.deviation if deviation is None else deviation) / math.sqrt(self.spread)
        return self.slope - half, self.slope + half

    def _t(self, level: float) -> float:
        return quantile(level, self.count - 2)


def quantile(level: float, freedom: int) -> float:
    """Two-sided quantile of Student's t; nan without a degree of freedom.

    Source: any table, e.g. t(0.95, 10) = 2.228 (recalled).

    >>> round(quantile(0.95, 10), 3)
    2.228
    """
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + 0.5 * level)) if freedom > 0 else math.nan


def fitted(x: Sequence[float], y: Sequence[float]) -> Line:
    """The line through readings `y` at `x`.  Raises InputError for fewer than two, or all at one x.

    >>> line = fitted([0, 1, 2, 3], [10.0, 9.0, 8.0, 7.0])
    >>> line.slope, line.at(5), line.prediction(5, 0.95)
    (-1.0, 5.0, (5.0, 5.0))
    """
    u, v = np.asarray(x, float), np.asarray(y, float)
    if len(u) < 2 or u.min() == u.max():
        raise InputError("there is no line through these readings", allowed="two or more, not all at one distance")
    middle, mean = float(u.mean()), float(v.mean())
    spread = float(((u - middle) ** 2).sum())
    slope = float(((u - middle) * (v - mean)).sum()) / spread
    rest = (v - mean) - slope * (u - middle)
    deviation = math.sqrt(float((rest**2).sum()) / (len(u) - 2)) if len(u) > 2 else math.nan
    return Line(mean - slope * middle, slope, deviation, len(u), middle, spread)
