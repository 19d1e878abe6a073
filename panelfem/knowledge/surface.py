"""What a panel's gauges read as its damage grows and its fixings soften: a polynomial through solved states.

Where the skin is f times as stiff as the model says and the fixings k times, the deflections are those of the ratio
r = k / f, divided by f.  So two axes, size and ln r, carry all of it.

Source: interpolation at Chebyshev's extreme points; e.g. L. N. Trefethen 2013, Approximation Theory and Approximation
Practice, chapters 2 and 15 (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import chebyshev

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError


def nodes(low: float, high: float, count: int) -> FloatArray:
    """So many places from `low` to `high`, both among them, closer towards the ends; one: the middle.

    >>> nodes(0.0, 1.0, 3).round(9).tolist(), nodes(2.0, 4.0, 1).tolist()
    ([0.0, 0.5, 1.0], [3.0])
    """
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    if count == 1:
        return np.array([middle])
    return np.asarray(middle - half * np.cos(np.pi * np.arange(count) / (count - 1)))


@dataclass(frozen=True, eq=False)
class Surface:
    """Deflections `values` (ns, nr, n) m that n readings would show at `sizes` (ns,) m and `ratios` (nr,) of ln r.

    Axes rise, from :func:`nodes` or a few even steps.  Raises ModelError for values that are no numbers.

    >>> sizes, ratios = nodes(0.0, 0.1, 5), nodes(-1.0, 1.0, 4)
    >>> made = Surface(sizes, ratios, (1 + 40 * sizes[:, None] ** 2 + 0.1 * ratios)[..., None])
    >>> float(made.at(np.array([0.04]), np.array([0.5]))[0, 0, 0].round(9)), bool(made.error[0] < 1e-9)
    (1.114, True)
    """

    sizes: FloatArray
    ratios: FloatArray
    values: FloatArray

    def __post_init__(self) -> None:
        if not np.isfinite(self.values).all():
            raise ModelError("a deflection of the model is not a number", where="stiffness check")

    def at(self, sizes: FloatArray, ratios: FloatArray) -> FloatArray:
        """Deflections (a, b, n) m at sizes (a,) m and ln r (b,)."""
        across = _matrix(self.ratios, ratios)
        return np.asarray(np.einsum("as,br,srn->abn", _matrix(self.sizes, sizes), across, self.values, optimize=True))

    @cached_property
    def error(self) -> FloatArray:
        """What the polynomial may be wrong by, (n,) m: the greatest step to it from the one of a degree less on each
        axis, halfway between the nodes.
        """
        size, ratio = (_between(axis) for axis in (self.sizes, self.ratios))
        best, worst = self.at(size, ratio), np.zeros(self.values.shape[2])
        for axis in (0, 1):
            if self.values.shape[axis] > 2:
                rows = [_matrix(self.sizes, size), _matrix(self.ratios, ratio)]
                rows[axis] = _fit((self.sizes, self.ratios)[axis], (size, ratio)[axis])
                lower = np.einsum("as,br,srn->abn", rows[0], rows[1], self.values, optimize=True)
                worst = np.maximum(worst, np.abs(best - lower).max(axis=(0, 1)))
        return np.asarray(worst)


def _between(axis: FloatArray) -> FloatArray:
    return axis if len(axis) == 1 else np.asarray(0.5 * (axis[1:] + axis[:-1]))


def _basis(axis: FloatArray, at: FloatArray, degree: int) -> FloatArray:
    if len(axis) == 1:
        return np.ones((len(at), 1))
    middle, half = 0.5 * (axis[0] + axis[-1]), 0.5 * (axis[-1] - axis[0])
    return np.asarray(chebyshev.chebvander((at - middle) / half, degree))


def _matrix(axis: FloatArray, at: FloatArray) -> FloatArray:
    """(a, n) from values at `axis` (n,) to those at `at` (a,) of the polynomial through all of them."""
    degree = len(axis) - 1
    return np.asarray(_basis(axis, at, degree) @ np.linalg.inv(_basis(axis, axis, degree)))


def _fit(axis: FloatArray, at: FloatArray) -> FloatArray:
    """As :func:`_matrix`, of the polynomial of a degree less that is nearest to all of them."""
    degree = len(axis) - 2
    return np.asarray(_basis(axis, at, degree) @ np.linalg.pinv(_basis(axis, axis, degree)))
