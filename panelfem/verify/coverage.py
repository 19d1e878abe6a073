"""The error bars on trial: problems with exact answers, on meshes coarse enough to be wrong by something.

Every number of an assessment carries a bar from elements of two orders on one mesh (:mod:`panelfem.accuracy.bars`).
Here the same is done with problems whose answer is known, and the true error is held against the bar.  The problems and
their meshes were fixed before the constants of the bars were chosen, and took no part in choosing them.

A third of the problems, every third one, belongs to the quick tier.  The full tier has all of them, and those of order
2 once more at one order higher.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from panelfem.accuracy import Measured, measured
from panelfem.verify import trials_holes, trials_plates, trials_shells
from panelfem.verify.row import Row
from panelfem.verify.trial import Trial

__all__ = ["ALLOWED", "Pair", "Trial", "pairs", "rows", "trials"]

#: True error allowed to a pair: the meshes are coarse on purpose, and only nonsense is to fail here.
ALLOWED = 0.1
QUICK = 3
"""Every so many trials, one belongs to the quick tier."""


@dataclass(frozen=True)
class Pair:
    """One quantity of a trial: its exact value and ours with its bar."""

    trial: Trial
    quantity: str
    reference: float
    ours: Measured

    @property
    def error(self) -> float:
        """True error, ours/reference − 1."""
        return self.ours.value / self.reference - 1.0

    @property
    def covered(self) -> bool:
        """Whether the exact value lies within the bar, widened by what the reference itself may be off."""
        slack = self.trial.reference_error * abs(self.reference)
        return bool(abs(self.ours.value - self.reference) <= self.ours.bar + slack)


def trials() -> tuple[Trial, ...]:
    """Every problem once, at its own order; always the same ones in the same order."""
    return (*trials_plates.trials(), *trials_shells.trials(), *trials_holes.trials())


def chosen(full: bool) -> tuple[Trial, ...]:
    """The trials of a tier."""
    every = trials()
    if not full:
        return every[::QUICK]
    finer = [replace(t, name=f"{t.name}, one order higher", order=3) for t in every if t.order == 2]
    return (*every, *finer)


def judged(trial: Trial) -> Iterator[Pair]:
    """The pairs of one trial."""
    low, high, exact = trial.solve(trial.order), trial.solve(trial.order + 1), trial.reference()
    for quantity, reference in exact.items():
        spread = high.spread.get(quantity, 0.0)
        ours = measured(low.numbers[quantity], high.numbers[quantity], spread=spread, layer=high.layer)
        yield Pair(trial, quantity, reference, ours)


def pairs(full: bool = True) -> Iterator[Pair]:
    """All (problem, quantity) pairs of a tier, computed as they are asked for."""
    for trial in chosen(full):
        yield from judged(trial)


def rows(full: bool = False) -> Iterator[Row]:
    """The pairs as rows of the table."""
    for pair in pairs(full):
        trial = pair.trial
        quantity, unit = pair.quantity.rsplit(", ", 1)
        yield Row(
            "error bars",
            trial.name,
            quantity,
            trial.source,
            None,
            pair.reference,
            trial.reference_how,
            pair.ours.value,
            unit,
            ALLOWED,
            f"orders {trial.order} and {trial.order + 1}, coarse mesh; reference good to {trial.reference_error:g}",
            pair.ours.bar,
            trial.reference_error,
        )
