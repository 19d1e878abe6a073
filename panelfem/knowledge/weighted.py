"""Quantiles of weighted values, and of mixtures of normal distributions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelfem.arrays import FloatArray

#: Standard deviations in the half width of a normal interval that holds in 95 of 100 cases.
HALF = 1.96
#: Width of an interval as a share of the prior's above which a number is not informed (a choice).
UNINFORMED = 0.9
#: A sum of squares that the truth passes in so few cases means that nothing looked at is true.
DOUBT = 0.01
#: Points lighter than this share of the heaviest carry nothing that is shown.
LIGHT = 1e-9
#: Halvings of the interval that a quantile lies in.
HALVINGS = 60


def quantiles(values: FloatArray, weights: FloatArray, shares: Sequence[float]) -> FloatArray:
    """Quantiles of `values` (n,) with `weights` (n,), half of each weight on either side of its value.

    >>> quantiles(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 1.0]), [0.5]).tolist()
    [2.0]
    """
    kept = weights > LIGHT * weights.max()
    values, weights = values[kept], weights[kept]
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weights[order]) - 0.5 * weights[order]
    return np.interp(shares, below / weights.sum(), values[order])


def ends(level: float) -> tuple[float, float]:
    """The shares between which a central share `level` lies.

    >>> [round(end, 3) for end in ends(0.95)]
    [0.025, 0.975]
    """
    return 0.5 * (1.0 - level), 0.5 * (1.0 + level)


def mixture_quantiles(
    means: FloatArray, spreads: FloatArray, weights: FloatArray, shares: Sequence[float]
) -> list[float]:
    """Quantiles of a mixture of normal distributions with `means`, standard deviations `spreads`, `weights` (n,).

    A spread of 0 is a step.  By bisection on the sum of the distributions.

    >>> mixture_quantiles(np.zeros(2), np.ones(2), np.array([0.3, 0.7]), [0.975])[0].__round__(4)
    1.96
    """
    from scipy.special import ndtr

    weights, wanted = weights / weights.sum(), np.array(shares, float)
    certain, width = spreads <= 0, np.where(spreads > 0, spreads, 1.0)
    reach = 10.0 * spreads + 1e-12 * (1.0 + abs(means))
    low = np.full(len(wanted), float((means - reach).min()))
    high = np.full(len(wanted), float((means + reach).max()))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        off = middle[:, None] - means
        below = np.where(certain, off >= 0.0, ndtr(off / width)) @ weights < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return [float(value) for value in 0.5 * (low + high)]
