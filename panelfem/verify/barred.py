"""Bars for rows: the same row with elements of two orders on one mesh."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from panelfem.accuracy import measured
from panelfem.verify.row import Row

#: order of the elements the rows report; the order below it gives the bar
ORDER = 4


def barred(make: Callable[[int], Iterable[Row]], reference_error: float = 1e-5) -> Iterator[Row]:
    """The rows of `make`(order) at :data:`ORDER`, each with the bar its value at the order below leaves it.

    `reference_error`: the share their references may be off.  Raises ValueError if the two orders do not give the same
    rows.
    """
    for low, high in zip(make(ORDER - 1), make(ORDER), strict=True):
        if (low.name, low.quantity, low.reference) != (high.name, high.quantity, high.reference):
            raise ValueError(f"the orders give different rows: {low.name}, {low.quantity}")
        yield replace(high, bar=measured(low.ours, high.ours).bar, reference_error=reference_error)
