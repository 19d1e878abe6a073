"""The error bar of a number known from two solutions: elements of order k and of order k + 1 on the same mesh.

The number of the higher order is the one reported.  What it still lacks is a share of the step between the two.  Where
the solution is smooth that share is small (each order gains a factor of h); at singular places it does not depend on
the mesh: an error there falls like k^(−4λ), λ being the exponent of the displacement, so that the share is
1/((1 + 1/k)^(4λ) − 1), which is 0.6 for orders 2 and 3 at a clamped corner (λ = 0.59) and 0.8 at a crack.

`measured` knows nothing of where the step comes from and allows :data:`SHARE` of it.  `corrected` knows which part
comes from the elements at singular corners: it adds what is still to come from there and so needs a smaller bar.  No
bar is below :data:`FLOOR` of the number (a tenth of it for `corrected`), which stands for what both solutions have in
common (geometry, quadrature, rounding).

Source: p-extension at corners, I. Babuška and M. Suri 1987, SIAM J. Numer. Anal. 24:750 (from memory); the constants
are measured on problems that no check of the bars uses.
"""

from __future__ import annotations

from dataclasses import dataclass

#: Share of the step between the two orders that the bar allows for.
SHARE = 0.7
#: Least bar, as a share of the number.
FLOOR = 2e-4
#: Share of the step still to come from the elements at singular corners, and from the others.
CORNER_STEP, SMOOTH_STEP = 0.6, 0.15
#: Uncertainty of those two shares.
CORNER_DOUBT, SMOOTH_DOUBT = 0.2, 0.2


@dataclass(frozen=True)
class Measured:
    """A number with its mesh error: `value`, `bar` ≥ 0 in its unit, and `coarse`, what the lower order gave."""

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


def corrected(coarse: float, fine: float, corner_step: float) -> Measured:
    """As `measured`, `corner_step` being the part of fine − coarse that comes from the elements at singular corners.

    >>> round(corrected(0.9, 1.0, 0.1).value, 6), round(corrected(0.9, 1.0, 0.1).bar, 6)
    (1.06, 0.02)
    """
    smooth_step = fine - coarse - corner_step
    value = fine + CORNER_STEP * corner_step + SMOOTH_STEP * smooth_step
    bar = CORNER_DOUBT * abs(corner_step) + SMOOTH_DOUBT * abs(smooth_step)
    return Measured(value, max(bar, 0.1 * FLOOR * abs(value)), coarse)
