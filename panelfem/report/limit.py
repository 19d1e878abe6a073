"""What a configuration will not take: where release is lost, on each load's own parameter."""

from __future__ import annotations

import math
from dataclasses import dataclass

from panelfem.assess.records import Configuration
from panelfem.disposition import combined, ends, is_bound
from panelfem.disposition.uncertainty import NAMES
from panelfem.report import figures, wording
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.units import SUFFIXES, number


@dataclass(frozen=True)
class Limit:
    """Where a load reaches the first release-governing `mode`: `factor` times what is expected, found by search.

    `low` and `high`: the same with all that is uncertain but the load's own severity, which is not uncertain here;
    nan where that is not known.
    """

    result: LoadResult
    mode: ModeReserve
    low: float = math.nan
    high: float = math.nan

    @property
    def bound(self) -> bool:
        """Whether nothing was reached, so that the factor is only a lower bound."""
        return is_bound(self.mode)

    def amount(self, factor: float) -> float:
        """So many times the expected severity, SI, without sign."""
        return abs(factor * self.result.expected)


def limits(conf: Configuration) -> tuple[Limit, ...]:
    """The limit of each load, in the order of the loads."""
    return tuple(_limit(conf, conf.result(load)) for load in conf.governing)


def _limit(conf: Configuration, result: LoadResult) -> Limit:
    mode, total = wording.ruling(result), conf.disposition.uncertainty
    if total is None or total.load != result.load or mode.factor != total.factor:
        return Limit(result, mode)
    low, high = combined(part for part in total.parts if part.name != NAMES["severity"])
    return Limit(result, mode, low * mode.factor, high * mode.factor)


def strikes(conf: Configuration) -> tuple[str, ...]:
    """What a configuration will not take, a phrase a load, the one that governs it first."""
    first = wording.governing_load(conf)
    found = sorted(limits(conf), key=lambda limit: limit.result.load != first)
    return tuple(strike(limit) for limit in found)


def strike(limit: Limit) -> str:
    """From where on a load is not taken, with its mesh error or all that is uncertain, and what is reached there.

    A bound says that nothing was reached; what held loads reach alone is not taken at all.
    """
    result, mode = limit.result, limit.mode
    if mode.status == "zero load":
        return f"{result.load} at all: what stays reaches {_reached(mode)} alone"
    if math.isinf(mode.factor) or math.isnan(mode.factor):
        return f"{result.load}: no limit found" if math.isinf(mode.factor) else f"{result.load}: not computed"
    if limit.bound:
        why = wording.NOT_FOLLOWED if ends(mode) else "not reached up to"
        said = f"{result.load}: {why} {_shown(limit, mode.factor)}, {number(mode.factor)} times what is expected"
        return wording.marked(said, result.theory)
    unit = SUFFIXES[figures.PARAMETER_UNITS[result.parameter]]
    said = f"{result.load} from {_shown(limit, mode.factor)}"
    if not math.isnan(limit.low):
        low, high = (number(limit.amount(end) / unit[0]) for end in (limit.low, limit.high))
        said += f" ({low} to {high} {unit[1]} with all that is uncertain)"
    elif not math.isnan(mode.bar):
        said += f" (±{number(limit.amount(mode.bar) / unit[0], 2)} {unit[1]} of mesh error)"
    return wording.marked(f"{said}: {_reached(mode)}", result.theory)


def _reached(mode: ModeReserve) -> str:
    """A mode and its place; the ply is for the engineer's part."""
    return " ".join(part for part in (mode.mode, mode.where) if part)


def _shown(limit: Limit, factor: float) -> str:
    """So many times the expected severity, in its unit."""
    of = " of interference" if limit.result.parameter == "interference" else ""
    return f"{figures.severity(factor * limit.result.expected, limit.result.parameter)}{of}"
