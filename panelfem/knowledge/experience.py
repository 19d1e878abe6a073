"""Strikes survived before, as evidence on what the next one of the same kind finds.

The reserve x = ln(strength / expected severity) is not known: normal about the computed one, with standard deviation u
(strength, stiffness, load model; the same in every strike).  A strike is as severe as exp(y), y normal about 0 with
standard deviation s (differs from strike to strike).  A strike is survived where y < x.  Bayes' rule, after n strikes
survived and none lost:

    p(x | n) ∝ φ((x − ln m) / u) Φ(x / s)ⁿ        P(next survived | n) = ∫ φ Φⁿ⁺¹ / ∫ φ Φⁿ

Source: Bayes' rule, any textbook; for m = 1 and u = s the strikes and the strength can change places, and
P = (n + 1) / (n + 2), Laplace's rule of succession (recalled); for n = 0, P = Φ(ln m / √(u² + s²)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.knowledge.weighted import ends, quantiles

#: Steps of the integral in the smaller of both standard deviations, and how many of u it reaches either way, upwards
#: from where so many of s are survived.
STEPS, REACH = 20.0, 9.0
#: Standard deviations of the logarithm that are taken.
LEAST, MOST = 0.01, 2.0


@dataclass(frozen=True)
class Reserve:
    """A reserve factor that is not known: median, the interval `low` to `high`, and the chance that the next strike is
    survived.
    """

    median: float
    low: float
    high: float
    survives: float


@dataclass(frozen=True)
class Experience:
    """The reserve `before` and `after` so many strikes `survived`; intervals hold in a share `level` of cases."""

    survived: int
    level: float
    before: Reserve
    after: Reserve


def experience(median: float, uncertainty: float, scatter: float, survived: int, level: float = 0.95) -> Experience:
    """What so many strikes `survived`, none lost, say of a reserve factor computed as `median`.

    `uncertainty`, `scatter`: standard deviations of the logarithm, of the reserve itself and of the severity from
    strike to strike.  Raises InputError for what cannot be.

    >>> found = experience(1.0, 0.2, 0.2, 8)
    >>> round(found.before.survives, 9), round(found.after.survives, 9)          # 1/2; Laplace: 9/10
    (0.5, 0.9)
    """
    if not 0.0 < median < math.inf:
        what, do = f"a reserve factor of {median:g} cannot be", "take it from the report"
        raise InputError(what, where="reserve", allowed="above 0", do=do)
    for what, value in (("uncertainty", uncertainty), ("scatter", scatter)):
        if not LEAST <= value <= MOST:
            raise InputError(
                f"{100 * value:g} % is not taken", where=what, allowed=f"{100 * LEAST:g} to {100 * MOST:g} %",
                do="give a standard deviation, of the logarithm",
            )  # fmt: skip
    if survived < 0:
        raise InputError(
            f"{survived} strikes cannot be survived", where="survived", allowed="0 or more", do="count them in the log"
        )
    x, survives = _axis(math.log(median), uncertainty, scatter)
    return Experience(
        survived,
        level,
        _reserve(x, _weights(x, survives, math.log(median), uncertainty, 0), survives, level),
        _reserve(x, _weights(x, survives, math.log(median), uncertainty, survived), survives, level),
    )


def _axis(middle: float, uncertainty: float, scatter: float) -> tuple[FloatArray, FloatArray]:
    """Points x (n,) of the integral, and ln Φ(x / s) there; the sum of a smooth bell at even steps converges fast."""
    from scipy.special import log_ndtr

    step = min(uncertainty, scatter) / STEPS
    count = math.ceil(REACH * uncertainty / step)
    # strikes survived draw the bell to where every strike is survived: it must reach beyond that
    top = math.ceil((max(scatter * REACH - middle, 0.0) + REACH * uncertainty) / step)
    x = middle + step * np.arange(-count, top + 1)
    return np.asarray(x, float), np.asarray(log_ndtr(x / scatter), float)


def _weights(x: FloatArray, survives: FloatArray, middle: float, uncertainty: float, count: int) -> FloatArray:
    logarithm = -0.5 * ((x - middle) / uncertainty) ** 2 + count * survives
    weights = np.exp(logarithm - logarithm.max())
    return np.asarray(weights / weights.sum())


def _reserve(x: FloatArray, weights: FloatArray, survives: FloatArray, level: float) -> Reserve:
    low, median, high = np.exp(quantiles(x, weights, (ends(level)[0], 0.5, ends(level)[1]))).tolist()
    return Reserve(median, low, high, float(weights @ np.exp(survives)))
