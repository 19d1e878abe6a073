"""The error bar of a number known from two solutions: elements of order k and of order k + 1 on the same mesh.

The number of the higher order is the one reported.  What it still lacks is first a share of the step between the two.
Where the solution is smooth that share is small (each order gains a factor of h); at singular places it does not depend
on the mesh: an error there falls like k^(−4λ), λ being the exponent of the displacement, so that the share is
1/((1 + 1/k)^(4λ) − 1): for orders 2 and 3, 0.6 at a clamped corner (λ = 0.59) and 0.8 at a crack; for 3 and 4, 1.0 and
1.3.  The step says nothing of what both orders have in common.  Of strains at a point that is the recovery, which is
as good as the elements around agree with it (`spread`); of thin panels the boundary layer of the twist at free and
hinged edges, which is narrower than the elements (`layer`, :mod:`panelfem.accuracy.layer`).

`measured` knows nothing of where the step comes from and allows :data:`SHARE` of it, with :data:`SPREAD` and
:data:`LAYER` of the other two.  `corrected` knows which part comes from the elements at singular corners: it adds what
is still to come from there, and what the layer lacks, and so needs a smaller bar.  No bar is below :data:`FLOOR` of the
number (a tenth of it for `corrected`), which stands for geometry, quadrature, rounding.

Measured by `tests/benchmarks/bars.py` on 241 numbers of problems that no check of the bars uses: 98.3 % of the bars of
`measured` hold, bar over true error is 4.2 in the median and 18 at the 90th percentile; with the step alone 81.3 % hold
(1.9, 11), without the layer 92.9 % (4.1, 18), without the spread 87.6 % (2.3, 11); with SHARE 0.7, 96.7 % (3.6, 16),
with SPREAD 1.0, 98.3 % (5.2, 23).

Source: p-extension at corners, I. Babuška and M. Suri 1987, SIAM J. Numer. Anal. 24:750 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.accuracy.sizes import CORNER_RATE

#: Share of the step between the two orders that the bar allows for.
SHARE = 1.0
#: Share of the disagreement of the elements around the place.
SPREAD = 0.7
#: Share of what the layers at edges lack.
LAYER = 1.0
#: Least bar, as a share of the number.
FLOOR = 2e-4
#: Share of the step still to come from elements away from singular corners, and its uncertainty: −0.1 to 0.35 measured
#: on plates, shells and sandwiches with corners.
SMOOTH_STEP, SMOOTH_DOUBT = 0.15, 0.25
#: Uncertainty of `corner_share`, as a share of it: 0.4 to 1.0 measured for orders 2 and 3, 1.0 to 1.6 for 3 and 4.
CORNER_DOUBT = 0.5
#: Uncertainty of what layers at edges lack, as a share of it: 0.4 to 1.4 times what is said measured.
LAYER_DOUBT = 0.6


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


def measured(coarse: float, fine: float, *, spread: float = 0.0, layer: float = 0.0) -> Measured:
    """The number `fine` of the higher order with its bar, `coarse` being that of the lower order on the same mesh.

    `spread` ≥ 0, in the unit of the number: how far the elements around the place disagree with the number of order
    k + 1; `layer` ≥ 0: share of the number that layers at edges may still lack (`panelfem.accuracy.layer`).

    >>> round(measured(0.98, 1.0).bar, 6), round(measured(0.98, 1.0, spread=0.01, layer=0.002).bar, 6)
    (0.02, 0.029)
    """
    bar = SHARE * abs(fine - coarse) + SPREAD * spread + LAYER * layer * abs(fine)
    return Measured(fine, max(bar, FLOOR * abs(fine)), coarse)


def corner_share(order: int) -> float:
    """Share of the step from `order` to the next that is still to come from elements at clamped corners of 270°.

    >>> round(corner_share(2), 2), round(corner_share(3), 2)
    (0.62, 1.03)
    """
    return float(1.0 / ((1.0 + 1.0 / order) ** (2.0 * CORNER_RATE) - 1.0))


def corrected(coarse: float, fine: float, corner_step: float, layer: float = 0.0, order: int = 2) -> Measured:
    """As `measured`, `corner_step` being the part of fine − coarse that comes from the elements at singular corners.

    `layer`, signed and in the unit of the number: what it lacks of layers at edges; `order` is that of `coarse`.

    >>> round(corrected(0.9, 1.0, 0.1).value, 4), round(corrected(0.9, 1.0, 0.1).bar, 4)
    (1.0624, 0.0312)
    """
    smooth_step = fine - coarse - corner_step
    to_come = corner_share(order) * corner_step
    value = fine + to_come + SMOOTH_STEP * smooth_step + layer
    bar = CORNER_DOUBT * abs(to_come) + SMOOTH_DOUBT * abs(smooth_step) + LAYER_DOUBT * abs(layer)
    return Measured(value, max(bar, 0.1 * FLOOR * abs(value)), coarse)
