"""What every check has in common: it compares the held state with the state now and gives, for each of its modes, the
factor on what was added since that first reaches the mode."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, runtime_checkable

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reserve.observe import Observed, State
from panelfem.reserve.records import Grade, ModeReserve

#: Says in words where a point (3,) is.
Words = Callable[[FloatArray], str]


class Check(Protocol):
    """A family of modes.  `reserves` gives one :class:`ModeReserve` a mode, its factor on (now − held)."""

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """Reserves of the modes; `everything` False leaves out what governs nothing."""


@runtime_checkable
class ContactCheck(Check, Protocol):
    """A check of one `mode` that governs nothing and is told by the contacts alone, so that it is cheap to look for:
    `observed` reads no more of a state.
    """

    @property
    def mode(self) -> str:
        """The name of its mode."""

    def observed(self, state: State) -> Observed:
        """What it needs of a state."""


def least(factors: FloatArray) -> tuple[int, float]:
    """Index and value of the governing factor of an array (n,): reached at zero load (nan) before any number.

    >>> least(np.array([2.0, np.nan, 1.0]))
    (1, nan)
    """
    bad = np.flatnonzero(np.isnan(factors))
    i = int(bad[0]) if len(bad) else int(np.argmin(factors))
    return i, float(factors[i])


def mode_reserve(
    mode: str,
    criterion: str,
    grade: Grade,
    factor: float,
    place: FloatArray | None,
    words: Words | None,
    ply: int | None = None,
    ply_name: str = "",
    position: str = "",
    laminate: int | None = None,
    decides: bool = False,
    averaged: float = 0.0,
) -> ModeReserve:
    """A ModeReserve, with nan read as reached at zero load."""
    where = words(place) if words is not None and place is not None else ""
    return ModeReserve(
        mode,
        criterion,
        grade,
        factor,
        "zero load" if np.isnan(factor) else "found",
        place,
        where,
        ply,
        ply_name,
        position,
        laminate,
        decides,
        averaged,
    )


def factor_on_vector(held: FloatArray, applied: FloatArray, allow: FloatArray | float) -> FloatArray:
    """Factor r ≥ 0 at which |held + r·applied| reaches `allow`, (..., k) -> (...,); nan if |held| is there already.

    >>> factor_on_vector(np.array([[3.0, 0.0]]), np.array([[0.0, 2.0]]), 5.0)
    array([2.])
    """
    limit = np.broadcast_to(np.asarray(allow, float), held.shape[:-1])
    a = (applied**2).sum(-1)
    b = (held * applied).sum(-1)
    c = (held**2).sum(-1) - limit**2
    # the stable form of the positive root of a r² + 2 b r + c = 0, c < 0
    root = np.sqrt(np.maximum(b * b - a * c, 0.0))
    low = b + root
    factor = np.full(a.shape, np.inf)
    np.divide(-c, low, out=factor, where=low > 1e-300)
    return np.where(c >= 0.0, np.nan, factor)


def factor_on_scalar(held: FloatArray, applied: FloatArray, allow: FloatArray | float) -> FloatArray:
    """Factor r ≥ 0 at which held + r·applied reaches `allow` > 0 from below, (n,) -> (n,); nan if held is there
    already.

    >>> factor_on_scalar(np.array([1.0, 1.0]), np.array([2.0, -2.0]), 5.0)
    array([ 2., inf])
    """
    limit = np.broadcast_to(np.asarray(allow, float), held.shape)
    factor = np.full(held.shape, np.inf)
    np.divide(limit - held, applied, out=factor, where=applied > 1e-300)
    return np.where(held >= limit, np.nan, factor)


def factor_by_bisection(index: Callable[[FloatArray], FloatArray], count: int, most: float = 1e3) -> FloatArray:
    """Factors (count,) at which an index (factors (count,) -> (count,)) first reaches 1, for indices that rise with it.

    nan where the index is there at factor 0, inf where it is not there at `most`.
    """
    low, high = np.zeros(count), np.full(count, most)
    start, end = index(low), index(high)
    for _ in range(48):
        middle = np.where(high > 4.0 * np.maximum(low, 1e-3), np.sqrt(np.maximum(low, 1e-3) * high), (low + high) / 2.0)
        over = index(middle) >= 1.0
        high, low = np.where(over, middle, high), np.where(over, low, middle)
        if np.all(high - low <= 1e-10 * high):
            break
    return np.where(start >= 1.0, np.nan, np.where(end < 1.0, np.inf, high))


def merge(reserves: Sequence[ModeReserve]) -> list[ModeReserve]:
    """The governing one of each (criterion, mode)."""
    found: dict[tuple[str, str], ModeReserve] = {}
    for r in reserves:
        key = (r.criterion, r.mode)
        if key not in found or r.rank < found[key].rank:
            found[key] = r
    return list(found.values())
