"""From reserves to a disposition, and from dispositions to a recommendation."""

from panelfem.disposition.judge import (
    FACTORS,
    SURVIVE,
    Findings,
    doubts,
    ends,
    factor_words,
    is_bound,
    judge,
    judge_load,
    lowered,
    snaps,
    worst,
)
from panelfem.disposition.recommend import Candidate, recommend
from panelfem.disposition.records import (
    GOOD,
    Assumption,
    Consequence,
    Disposition,
    LoadOutcome,
    Outcome,
    Part,
    Uncertainty,
)
from panelfem.disposition.uncertainty import combined, least, part, uncertainty

__all__ = [
    "FACTORS",
    "GOOD",
    "SURVIVE",
    "Assumption",
    "Candidate",
    "Consequence",
    "Disposition",
    "Findings",
    "LoadOutcome",
    "Outcome",
    "Part",
    "Uncertainty",
    "combined",
    "doubts",
    "ends",
    "factor_words",
    "is_bound",
    "judge",
    "judge_load",
    "least",
    "lowered",
    "part",
    "recommend",
    "snaps",
    "uncertainty",
    "worst",
]
