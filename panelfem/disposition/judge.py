"""From reserves to a disposition.  Pure logic: what is asked, what was found, what follows.

The rules, in order.  A load case *does not meet* if a release-governing mode is reached below the factor asked for;
it *cannot be told* if the theory used does not hold at that factor, or if the factor is above what is asked for by less
than the mesh may put it off; else it *meets*.  Where linear theory does not hold and the panel was followed with large
displacements, those numbers rule, and the outcome by the linear ones is kept beside.  A path that ends because no
equilibrium was found is no failure of the panel: what was found up to there counts, and what lies beyond cannot be
told.  The worst load rules the configuration.  Conditions lower *meets* to *meets with conditions*: a matrix mode or
core crushing under a shape reached at the expected severity, a patch without which the panel fails what it must
survive, a fixing whose loss it does not survive, damage left in place whose growth is not computed, a fastening to a
part that protects people, a cover over high voltage, or a permission not yet given.  An assumed input lowers an outcome
only if an end of its band does.  Nothing ever lifts an outcome.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from panelfem.disposition.records import Assumption, Consequence, Disposition, LoadOutcome, Outcome
from panelfem.reserve.crush import MODE as CRUSHED
from panelfem.reserve.records import LoadResult, ModeReserve, TheoryCheck
from panelfem.reserve.search import STABILITY
from panelfem.units import number, with_bar

#: Factors asked for by consequence class, on force-like parameters and on interference (common practice, no source).
FACTORS: Mapping[str, float] = {"cosmetic": 1.0, "aerodynamic": 1.25, "debris": 1.5, "high voltage": 2.0}

#: Modes of criterion `STABILITY`: the panel gives way, or the path ends and the panel may go on.
SNAPS, ENDS = "snap-through", "no equilibrium found"

#: What a panel must survive with a patch gone or a fixing lost: the expected severity itself.
SURVIVE = 1.0

_ORDER = (Outcome.MEETS, Outcome.MEETS_IF, Outcome.CANNOT_TELL, Outcome.DOES_NOT)


def worst(outcomes: Sequence[Outcome]) -> Outcome:
    """The worst of some outcomes.

    >>> worst((Outcome.MEETS, Outcome.CANNOT_TELL)).value
    'cannot be told'
    """
    return max(outcomes, key=_ORDER.index)


@dataclass(frozen=True)
class Findings:
    """All that bears on one configuration.

    `results`: the governing result of each load; `contingencies`: (name, result) with the patch gone or half bonded;
    `lost`: fixing -> (least release factor, load) with that fixing lost; `left`: what damage left in the panel asks
    for; `repaired`: it is an option with a bond; `remarks`: conditions its actions bring whatever the numbers are.
    """

    name: str
    results: tuple[LoadResult, ...]
    contingencies: tuple[tuple[str, LoadResult], ...] = ()
    lost: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    left: tuple[str, ...] = ()
    repaired: bool = False
    damaged: bool = False
    permitted: bool | None = True
    fastened_to_protective_part: bool = False
    over_high_voltage: bool = False
    remarks: tuple[str, ...] = ()


def ends(mode: ModeReserve) -> bool:
    """Whether a mode stands for a path that ends because no equilibrium was found beyond."""
    return mode.criterion == STABILITY and mode.mode == ENDS


def snaps(mode: ModeReserve) -> bool:
    """Whether a mode stands for a path that ends because the panel snaps to another shape."""
    return mode.criterion == STABILITY and mode.mode == SNAPS


def is_bound(mode: ModeReserve) -> bool:
    """Whether the factor of a mode is only a lower bound."""
    return mode.status == "beyond search" or ends(mode)


def factor_words(mode: ModeReserve) -> str:
    """What the factor of a mode is, in words, for a sentence."""
    if mode.status == "zero load":
        return "is reached before the load is applied"
    if mode.status == "beyond search":
        return f"is not reached up to {number(mode.factor, 2)} times the expected severity"
    return f"is reached at {number(mode.factor, 3)} times the expected severity"


def mode_words(mode: ModeReserve, place: bool = True, settled: bool = True) -> str:
    """A mode and its factor as a clause; its place with `place`; with its bar if the mesh leaves it open.

    >>> mode_words(ModeReserve("snap-through", STABILITY, "release", 0.62))
    'the panel snaps through at 0.62 times the expected severity'
    """
    if ends(mode):
        return f"nothing is reached up to {number(mode.factor, 3)} times the expected severity, where the path ends"
    shown = number(mode.factor, 3) if settled else with_bar(mode.factor, mode.bar)
    if snaps(mode):
        return f"the panel snaps through at {shown} times the expected severity"
    reached = factor_words(mode) if settled else f"is reached at {shown} times the expected severity"
    return " ".join(word for word in (mode.mode, mode.where if place else "", reached) if word)


def _asked(result: LoadResult, mode: ModeReserve, consequence: Consequence) -> float:
    """The factor asked of a mode; a prescribed deflection test is passed or failed without a factor on top."""
    return 1.0 if result.kind == "load test" and mode.criterion == "deflection limit" else consequence.factor


def _lower_end(mode: ModeReserve) -> float:
    """The least a factor may be for the mesh; a bar that was not estimated counts as none."""
    return mode.rank if math.isnan(mode.bar) or ends(mode) else mode.rank - mode.bar


def _first_reached(result: LoadResult) -> ModeReserve:
    """The release-governing mode; of those at one factor, none that is only said to lie beyond it."""
    modes = (result.release, *(m for m in result.modes if m.criterion == STABILITY))
    return min(modes, key=lambda m: (m.rank, m.status == "beyond search"))


def _short(result: LoadResult, consequence: Consequence) -> ModeReserve | None:
    """The release-governing mode that is reached furthest below what is asked of it, if any is."""
    short = [m for m in result.modes if m.grade == "release" and not is_bound(m)]
    short = [m for m in short if m.rank < _asked(result, m, consequence)]
    return min(short, key=lambda m: m.rank / _asked(result, m, consequence), default=None)


def _unsettled(result: LoadResult, consequence: Consequence) -> ModeReserve | None:
    """The release-governing mode whose factor is not shown to be what is asked, because of the mesh; None if all are,
    and if one is short anyway.
    """
    if _short(result, consequence) is not None:
        return None
    # a bound has a bar only where a place may hide a lower reserve
    known = [m for m in result.modes if m.grade == "release" and (not is_bound(m) or not math.isnan(m.bar))]
    ratios = [(m, _asked(result, m, consequence)) for m in known if not ends(m)]
    open_ones = [(m, asked) for m, asked in ratios if _lower_end(m) < asked]
    return min(open_ones, key=lambda item: _lower_end(item[0]) / item[1])[0] if open_ones else None


def _unfollowed(result: LoadResult, consequence: Consequence) -> ModeReserve | None:
    """The end of a path that does not reach what is asked."""
    found = [m for m in result.modes if ends(m) and m.rank < consequence.factor]
    return found[0] if found else None


def doubts(theory: TheoryCheck) -> tuple[str, ...]:
    """Why the theory used does not hold; that a path ends is no doubt about what was found before it."""
    return tuple(r for r in theory.reasons if not (theory.large and r.startswith(ENDS)))


def judge_load(result: LoadResult, consequence: Consequence) -> LoadOutcome:
    """The outcome under one load case."""
    short, unsettled = _short(result, consequence), _unsettled(result, consequence)
    unfollowed = _unfollowed(result, consequence)
    mode = short or unfollowed or unsettled or _first_reached(result)
    asked = _asked(result, mode, consequence)
    outcome, doubt = Outcome.DOES_NOT if short else Outcome.MEETS, ""
    if mode is unsettled:
        hidden = is_bound(mode)
        why = "is too coarse to rule out that a place fails before" if hidden else "does not settle which"
        outcome, doubt = Outcome.CANNOT_TELL, f", and the mesh {why}"
    settled = mode is not unsettled or is_bound(mode)
    sentence = f"{result.load}: {mode_words(mode, settled=settled)}; {number(asked)} is asked for{doubt}"
    if why := "; ".join(doubts(result.theory)):
        outcome = Outcome.CANNOT_TELL
        what = why if result.theory.large else f"outside linear theory ({why})"
        sentence = f"{result.load}: {what}, so the number cannot be trusted"
    elif short is None and unfollowed is not None:
        outcome = Outcome.CANNOT_TELL
        sentence = (
            f"{result.load}: no equilibrium was found beyond {number(mode.factor, 3)} times the expected severity; "
            f"{number(asked)} is asked for, and the computation, not the panel, may be what gave up"
        )
    return LoadOutcome(result.load, outcome, asked, mode.rank, sentence, by_linear_numbers(result, consequence))


def by_linear_numbers(result: LoadResult, consequence: Consequence) -> Outcome | None:
    """What the outcome would have been had the numbers of linear theory been believed; None if they were."""
    if result.linear is None:
        return None
    mode = result.linear.release
    asked = _asked(result, mode, consequence)
    if mode.rank < asked:
        return Outcome.CANNOT_TELL if is_bound(mode) else Outcome.DOES_NOT
    return Outcome.CANNOT_TELL if _lower_end(mode) < asked else Outcome.MEETS


def judge(findings: Findings, consequence: Consequence) -> Disposition:
    """The disposition of one configuration at the stated inputs; :func:`lowered` then brings in the assumptions."""
    loads = tuple(judge_load(result, consequence) for result in findings.results)
    outcome = worst([load.outcome for load in loads])
    governing = min((load for load in loads if load.outcome is outcome), key=lambda load: load.factor / load.required)
    conditions = _conditions(findings, consequence)
    if outcome is Outcome.MEETS and conditions:
        outcome = Outcome.MEETS_IF
    return Disposition(
        outcome,
        governing.load,
        governing.reason,
        conditions if outcome in (Outcome.MEETS, Outcome.MEETS_IF) else (),
        _inspections(findings, consequence, outcome),
        loads,
    )


def _conditions(findings: Findings, consequence: Consequence) -> tuple[str, ...]:
    found: list[str] = []
    for result in findings.results:
        first = result.first_ply
        if first.grade == "inspection" and first.rank < 1.0 and not is_bound(first):
            found.append(
                f"look for matrix cracks {first.where} after {result.load}: {first.mode} {factor_words(first)}"
            )
        found += [_dent(result, mode) for mode in _crushed(result, 1.0)]
    gone = [(name, r) for name, r in findings.contingencies if r.release.rank < SURVIVE or doubts(r.theory)]
    if gone:
        name, result = min(gone, key=lambda item: item[1].release.rank)
        beyond = "cannot be told" if result.theory.large else "is outside linear theory"
        mode = _first_reached(result)
        told = not doubts(result.theory) and not is_bound(mode)
        why = mode_words(mode, place=False) if told else f"what happens then {beyond}"
        found.append(
            f"look at the whole edge of the patch after every run and take the panel off if it lifts: "
            f"with the {name}, under {result.load}, {why}"
        )
    for fixing, (factor, load) in sorted(findings.lost.items(), key=lambda item: item[1][0]):
        if factor < SURVIVE:
            found.append(
                f"check that {fixing} is locked before every run: with it lost the panel takes "
                f"{number(max(factor, 0.0), 2)} times the expected {load}"
            )
    found += findings.left
    if findings.fastened_to_protective_part:
        found.append("inspect the attachment on the part that protects people by its manufacturer's procedure")
    if findings.over_high_voltage:
        found.append("an authorised person confirms isolation, insulation and clearance (carbon conducts)")
    found += findings.remarks
    if findings.permitted is None:
        found.append("ask the scrutineers and the panel's supplier whether this repair is permitted")
    return tuple(dict.fromkeys(found))


def _crushed(result: LoadResult, below: float) -> list[ModeReserve]:
    """The core crushed where a shape strikes, if it is from less than a factor on."""
    return [m for m in result.modes if m.mode == CRUSHED and m.rank < below and not is_bound(m)]


def _dent(result: LoadResult, mode: ModeReserve) -> str:
    """What to look for where the core is crushed."""
    return f"look for a dent {mode.where} after {result.load} and tap round it: {mode.mode} {factor_words(mode)}"


def _inspections(findings: Findings, consequence: Consequence, outcome: Outcome) -> tuple[str, ...]:
    seen: list[str] = []
    by_margin = sorted(findings.results, key=lambda r: r.release.rank)
    for result in by_margin[:1]:
        if result.release.where and result.release.status == "found":
            seen.append(
                f"after the run, first look {result.release.where}: {result.release.mode} governs there "
                f"under {result.load}"
            )
    for result in by_margin:
        first = result.first_ply
        if first.where and first.rank < consequence.factor and not is_bound(first):
            seen.append(f"matrix cracks {first.where} ({first.mode}, {result.load})")
            break
    dents = [(m, result) for result in findings.results for m in _crushed(result, consequence.factor)]
    if dents:
        mode, result = min(dents, key=lambda item: item[0].rank)
        seen.append(_dent(result, mode))
    if findings.repaired:
        seen.append("the edge of the patch, all round, by eye and by coin tap")
    elif findings.damaged:
        seen.append("the damage: measure it again and compare")
    if outcome is Outcome.CANNOT_TELL:
        if any(r.theory.holds and _unsettled(r, consequence) for r in findings.results):
            seen.insert(
                0, "ask for a smaller `accuracy` in the case and assess again: the mesh leaves the outcome open"
            )
        if not all(r.theory.holds for r in findings.results):
            seen.insert(0, "hang a known weight on the panel and read its deflection, or fit another panel")
    return tuple(dict.fromkeys(seen))


def lowered(disposition: Disposition, assumptions: Sequence[Assumption]) -> Disposition:
    """The disposition after the assumed inputs were swept over their bands.

    An end that does not meet turns *meets* into *cannot be told* until the named measurement is made; an end that meets
    with conditions turns *meets* into that.  Assumptions are listed with those that flip first.
    """
    ranked = tuple(sorted(assumptions, key=lambda a: (not a.flips, a.key)))
    outcome, reason, inspect = disposition.outcome, disposition.reason, disposition.inspect
    for a in ranked:
        if a.outcomes is None:
            continue
        end = worst(a.outcomes)
        if _ORDER.index(end) <= _ORDER.index(disposition.outcome):
            continue
        target = Outcome.MEETS_IF if end is Outcome.MEETS_IF else Outcome.CANNOT_TELL
        if _ORDER.index(target) > _ORDER.index(outcome):
            outcome = target
            measure = a.measure or f"measure {a.what}"
            if target is Outcome.CANNOT_TELL:
                band = f"{a.band[0]} to {a.band[1]}" if a.band else ""
                reason = f"{a.what} is assumed ({a.shown}, band {band}) and decides the outcome: {measure}"
            inspect = tuple(dict.fromkeys((measure, *inspect)))
    return replace(
        disposition,
        outcome=outcome,
        reason=reason,
        inspect=inspect,
        assumptions=ranked,
        conditions=disposition.conditions if outcome in (Outcome.MEETS, Outcome.MEETS_IF) else (),
    )
