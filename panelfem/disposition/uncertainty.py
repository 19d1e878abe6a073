"""The total uncertainty of the factor that governs a configuration.  Pure logic: what was swept, what follows.

Each uncertain input is a part with two ends: what the governing factor comes to there, over the factor itself.  An
input that was swept has both from the sweep, the least factor over all loads at either end.  One that was not, because
no reserve was near what is asked, has a bound if it is a strength (a factor moves in proportion to it at most) or a
severity (in inverse proportion); of the others only the name is given.  The ends are combined as the root of the sum
of the squares of their distances from 1, low and high side apart: the parts are taken to be independent (common
practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from panelfem.disposition.judge import is_bound
from panelfem.disposition.records import Assumption, LoadOutcome, Part, PartBasis, Uncertainty
from panelfem.reserve.records import LoadResult

#: What a sweep moves, by name.
NAMES: Mapping[str, str] = {
    "strength": "strength",
    "stiffness": "stiffness",
    "severity": "load severity",
    "dynamic": "dynamic factor",
    "car stiffness": "car stiffness",
    "fastener stiffness": "fixing stiffness",
    "softened strength": "strength left in the dull area",
    "damage strength": "strength left in the damage",
    "damage stiffness": "stiffness left in the damage",
    "cured": "cured share",
    "characteristic length": "characteristic length",
}
#: A factor moves with these in proportion at most; with the loads' own severity in inverse proportion.
_IN_PROPORTION = ("strength", "softened strength", "damage strength", "cured")
_INVERSELY = ("severity", "dynamic")


def least(loads: Iterable[LoadOutcome]) -> LoadOutcome:
    """The load whose factor is the least share of what is asked of it."""
    return min(loads, key=lambda load: load.factor / load.required)


def uncertainty(
    loads: Sequence[LoadOutcome],
    results: Sequence[LoadResult],
    asked: float,
    assumptions: Sequence[Assumption],
    states: Mapping[str, float],
    known: Sequence[Part] = (),
) -> Uncertainty | None:
    """The total uncertainty of the least factor over `loads`; None if there is no such number (reached at zero load,
    not within the search, or not before the path ends).

    `results` are the governing results of the loads; `asked` is the factor that :attr:`Assumption.factors` and
    `states` are stated against: the least of factor over factor asked of a load, times it. `states` maps each state
    the panel may be in to that factor; the least of them governs; `known` are parts found elsewhere.
    """
    governing = least(loads)
    result = next(r for r in results if r.load == governing.load)
    mode = next((m for m in (result.release, *result.modes) if m.rank == governing.factor), result.release)
    if mode.status != "found" or is_bound(mode) or not 0.0 < governing.factor < math.inf:
        return None
    scaled = governing.factor / governing.required * asked
    parts = [_assumed(a, scaled) for a in assumptions]
    parts += known
    if len(states) > 1:
        ratios = [factor / scaled for factor in states.values()]
        parts.append(part("state of the damage", ", or ".join(states), ratios, "computed"))
    share = mode.bar / mode.factor
    parts.append(
        Part("mesh", "mesh error of the governing mode", math.nan, math.nan, "not computed")
        if math.isnan(share)
        else part("mesh", "mesh error of the governing mode", (1.0 - share, 1.0 + share), "computed")
    )
    parts.sort(key=lambda part: (math.isnan(part.size), -part.size, part.name, part.what))
    return Uncertainty(tuple(parts), *combined(parts), governing.load, governing.factor)


def combined(parts: Iterable[Part]) -> tuple[float, float]:
    """Low and high end of independent parts together; what was not computed is left out."""
    known = [part for part in parts if part.basis != "not computed"]
    low = 1.0 - math.sqrt(sum((1.0 - part.low) ** 2 for part in known))
    return max(low, 0.0), 1.0 + math.sqrt(sum((part.high - 1.0) ** 2 for part in known))


def _assumed(a: Assumption, scaled: float) -> Part:
    """The part of an assumed input; `scaled` is the governing factor as the sweeps state theirs."""
    name = NAMES.get(a.kind, "other")
    if a.factors is not None:
        return part(name, a.what, [factor / scaled for factor in a.factors], "computed")
    if a.ends is not None and a.kind in _IN_PROPORTION:
        return part(name, a.what, a.ends, "bound")
    if a.ends is not None and a.kind in _INVERSELY:
        return part(name, a.what, [1.0 / end for end in a.ends], "bound")
    return Part(name, a.what, math.nan, math.nan, "not computed")


def part(name: str, what: str, ratios: Iterable[float], basis: PartBasis) -> Part:
    """A part with its ends, on either side of 1; a factor reached at zero load is none."""
    known = [max(ratio, 0.0) for ratio in ratios]
    return Part(name, what, min(1.0, *known), max(1.0, *known), basis)
