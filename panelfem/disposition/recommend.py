"""The recommendation among configurations that were each judged alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from panelfem.disposition.records import GOOD, Disposition, Outcome
from panelfem.units import number


@dataclass(frozen=True)
class Candidate:
    """A configuration that could go on the car: its minutes, permission, disposition and least factor over asked."""

    name: str
    minutes: float
    permitted: bool | None
    disposition: Disposition

    @property
    def least(self) -> float:
        """Least of factor over factor asked for, over the loads."""
        return min(load.factor / load.required for load in self.disposition.loads)


def recommend(candidates: Sequence[Candidate], minutes_left: float | None) -> tuple[str | None, str]:
    """The name of the candidate to choose (None if there is none) and why, in one sentence.

    Only what meets (with or without conditions), is not forbidden and fits in the minutes left can be recommended; of
    those, first what meets without conditions, then what takes fewer minutes, then what takes more load.
    """
    fit = [c for c in candidates if c.disposition.outcome in GOOD and c.permitted is not False]
    in_time = [c for c in fit if minutes_left is None or c.minutes <= minutes_left]
    if not in_time:
        if fit:
            quickest = min(fit, key=lambda c: c.minutes)
            return None, (
                f"Nothing that meets the factor asked for fits in {number(minutes_left or 0)} min: the quickest, "
                f"{quickest.name}, takes {number(quickest.minutes)} min."
            )
        unsure = [c.name for c in candidates if c.disposition.outcome is Outcome.CANNOT_TELL]
        if unsure:
            return (
                None,
                f"No option can be shown to meet the factor asked for; it cannot be told for {', '.join(unsure)}.",
            )
        return None, "No option offered meets the factor asked for."
    best = min(in_time, key=lambda c: (c.disposition.outcome is not Outcome.MEETS, c.minutes, -c.least))
    rest = [c for c in in_time if c is not best]
    quicker = [c for c in rest if c.minutes < best.minutes]
    if quicker:
        return best.name, f"{quicker[0].name} is quicker but meets only with conditions."
    if rest:
        return best.name, f"Of {len(in_time)} that would do, none is quicker."
    return best.name, "Nothing else offered meets the factor, is permitted and fits in the time left."
