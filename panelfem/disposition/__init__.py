"""From reserves to a disposition, and from dispositions to a recommendation."""

from panelfem.disposition.judge import FACTORS, SURVIVE, Findings, factor_words, judge, judge_load, lowered, worst
from panelfem.disposition.recommend import Candidate, recommend
from panelfem.disposition.records import (
    Assumption,
    Consequence,
    Disposition,
    LoadOutcome,
    Outcome,
    Part,
    Uncertainty,
)
from panelfem.disposition.uncertainty import least, uncertainty

__all__ = [
    "FACTORS",
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
    "factor_words",
    "judge",
    "judge_load",
    "least",
    "lowered",
    "recommend",
    "uncertainty",
    "worst",
]
