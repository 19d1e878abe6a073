"""Whether the table of figures has room on page one, which is two printed sides at most."""

from __future__ import annotations

import math
from collections.abc import Sequence

from panelfem.assess.records import Assessment, Configuration
from panelfem.report import wording
from panelfem.report.clock import brief
from panelfem.report.headline import rows

#: Lines of 9 pt on two sides of A4 landscape, less what is lost at the foot of a side.
LINES = 87.0
#: Letters in a line of each column, with the font that is widest.
_CONDITION, _REASON, _NAME, _NOTE, _FIRST = 80, 36, 28, 34, 22


def _lines(words: str, letters: int) -> int:
    return max(1, math.ceil(len(words) / letters))


def _verdict(conf: Configuration | None, *more: str) -> float:
    """Lines of what is said of one configuration."""
    if conf is None:
        return 4.0
    said = (conf.disposition.reason, wording.uncertainty_phrase(conf), *more)
    return 5.5 + 1.08 * sum(_lines(words, _REASON) for words in said)


def lines(assessment: Assessment, conditions: Sequence[str], inspections: Sequence[str], moved: Sequence[str]) -> float:
    """Lines that page one takes with the table; `moved`: what is said of large displacements."""
    chosen, found = wording.find(assessment, assessment.recommendation), wording.as_found(assessment)
    every = rows(assessment)
    head = 5.0 + (3.5 if assessment.provisional else 0.0) + (2.5 if wording.not_met(assessment) else 0.0)
    lead = max(
        21.0,
        _verdict(chosen, wording.winner_sentence(assessment), assessment.recommendation_reason, *moved),
        _verdict(found, *moved),
    )
    asked = 1.5 + max(
        sum(_lines(words, _CONDITION) for words in entries) for entries in (conditions, inspections, ("",))
    )
    clock = 2.0 + sum(
        max(
            1.9,
            0.4 + _lines(r.name, _NAME) + (_lines(brief(r.configuration.note), _NOTE) if r.configuration.note else 0),
        )
        for r in every
        if r.rank is not None
    )
    table = 6.0 + sum(
        max(4.3, 0.5 + _lines(r.name, _FIRST) + _lines(f"option; {brief(r.configuration.note)}", _FIRST)) for r in every
    )
    return head + lead + asked + clock + 5.0 + table
