"""The error bar of a number known from two solutions: elements of order k and of order k + 1 on the same mesh.

The number of the higher order is the one reported.  What it still lacks is, for smooth solutions and at singular places
alike, a share of the step between the two; the bar is :data:`SHARE` of the step, and never below :data:`FLOOR` of the
number itself, which stands for what both solutions have in common (geometry, quadrature, the least-squares recovery).

Source: p-extension, B. Szabó and I. Babuška, Finite Element Analysis, 1991, ch. 4 (from memory); the constants are
measured here.
"""

from __future__ import annotations

from dataclasses import dataclass

#: Share of the step between the two orders that the bar allows for.
SHARE = 0.7
#: Least bar, as a share of the number.
FLOOR = 2e-4


@dataclass(frozen=True)
class Measured:
    """A number with its mesh error: `value` from the higher order, `coarse` from the lower, `bar` ≥ 0 in its unit."""

    value: float
    bar: float
    coarse: float

    @property
    def share(self) -> float:
        """The bar as a share of the value; inf for a value of zero."""
        return self.bar / abs(self.value) if self.value else float("inf")

    def covers(self, reference: float) -> bool:
        """Whether `reference` lies within the bar."""
        return abs(self.value - reference) <= self.bar


def measured(coarse: float, fine: float) -> Measured:
    """The number `fine` of the higher order with its bar, `coarse` being that of the lower order on the same mesh.

    >>> round(measured(0.98, 1.0).bar, 6)
    0.014
    """
    return Measured(fine, max(SHARE * abs(fine - coarse), FLOOR * abs(fine)), coarse)
