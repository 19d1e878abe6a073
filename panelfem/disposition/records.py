"""The disposition: one of four outcomes, why, and on what conditions."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Literal


class Outcome(Enum):
    """The four outcomes, best first."""

    MEETS = "meets the factor asked for"
    MEETS_IF = "meets it with conditions"
    CANNOT_TELL = "cannot be told"
    DOES_NOT = "does not meet it"


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
    settle it.
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


@dataclass(frozen=True)
class LoadOutcome:
    """The outcome of one configuration under one load: `required` is the factor on its parameter."""

    load: str
    outcome: Outcome
    required: float
    factor: float
    reason: str


@dataclass(frozen=True)
class Disposition:
    """The disposition of one configuration: outcome, the load that governs, a sentence, conditions, what to inspect."""

    outcome: Outcome
    governing_load: str
    reason: str
    conditions: tuple[str, ...]
    inspect: tuple[str, ...]
    loads: tuple[LoadOutcome, ...]
    assumptions: tuple[Assumption, ...] = ()
