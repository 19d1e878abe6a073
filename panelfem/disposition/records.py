"""The disposition: one of four outcomes, why, and on what conditions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import Literal


class Outcome(Enum):
    """The four outcomes, best first."""

    MEETS = "meets the factor asked for"
    MEETS_IF = "meets it with conditions"
    CANNOT_TELL = "cannot be told"
    DOES_NOT = "does not meet it"


#: The outcomes that suffice.
GOOD = (Outcome.MEETS, Outcome.MEETS_IF)


@dataclass(frozen=True)
class Consequence:
    """What happens if the panel comes off: the class, the factor asked for on force-like parameters, and its basis."""

    name: Literal["cosmetic", "aerodynamic", "debris", "high voltage"]
    factor: float
    basis: str


@dataclass(frozen=True)
class Assumption:
    """An input that is assumed, not known.

    `key` is the path in the case; `shown` its value with unit; `band` low and high, as shown; `outcomes` the outcome at
    each end and the least reserve there, if it was swept; `flips` if an end changes the outcome; `measure` what would
    settle it; `kind` of sweep, empty for none, and `ends` of the band as factors on the value.
    """

    key: str
    what: str
    shown: str
    source: str
    band: tuple[str, str] | None = None
    outcomes: tuple[Outcome, Outcome] | None = None
    factors: tuple[float, float] | None = None
    flips: bool = False
    measure: str = ""
    kind: str = ""
    ends: tuple[float, float] | None = None


@dataclass(frozen=True)
class LoadOutcome:
    """The outcome of one configuration under one load: `required` is the factor on its parameter.

    `linear`: what it would have been by the numbers of linear theory, where these do not hold and the panel was
    followed with large displacements; None: the numbers are those of linear theory.
    """

    load: str
    outcome: Outcome
    required: float
    factor: float
    reason: str
    linear: Outcome | None = None


#: Where the ends of a part come from: a computation at either end; what they are at most; nowhere.
PartBasis = Literal["computed", "bound", "not computed"]


@dataclass(frozen=True)
class Part:
    """One cause of uncertainty: `name` the kind, `what` exactly; `low` ≤ 1 and `high` ≥ 1 are what it may multiply the
    governing factor by, nan where that was not computed.
    """

    name: str
    what: str
    low: float
    high: float
    basis: PartBasis

    @property
    def size(self) -> float:
        """From end to end, as a share of the factor; nan where not computed."""
        return self.high - self.low


@dataclass(frozen=True)
class Uncertainty:
    """The total uncertainty of the governing `factor`, that of `load`: its parts, the biggest first, and what they come
    to together: `low` ≤ 1 and `high` ≥ 1 times the factor.
    """

    parts: tuple[Part, ...]
    low: float
    high: float
    load: str = ""
    factor: float = math.nan


@dataclass(frozen=True)
class Disposition:
    """The disposition of one configuration: outcome, the load that governs, a sentence, conditions, what to inspect,
    and how uncertain the least factor is in all (None: there is none).
    """

    outcome: Outcome
    governing_load: str
    reason: str
    conditions: tuple[str, ...]
    inspect: tuple[str, ...]
    loads: tuple[LoadOutcome, ...]
    assumptions: tuple[Assumption, ...] = ()
    uncertainty: Uncertainty | None = None
