"""A configuration from the evaluations of its states: the state that rules each load, disposition, assumptions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from panelfem.assess.evaluate import Evaluation
from panelfem.assess.plan import Key, Plan
from panelfem.assess.records import Configuration, Restoration, Variant
from panelfem.assess.sizes import Smaller
from panelfem.assess.total import total_uncertainty
from panelfem.case import AssumedInput, Case
from panelfem.disposition import (
    Assumption,
    Consequence,
    Disposition,
    Findings,
    Outcome,
    judge,
    judge_load,
    lowered,
    worst,
)
from panelfem.reserve.records import LoadResult
from panelfem.units import number


def configuration(
    case: Case,
    plan: Plan,
    evaluations: Mapping[Key, Evaluation],
    consequence: Consequence,
    reference: Evaluation,
    smaller: Smaller | None = None,
) -> Configuration:
    """A configuration from the evaluations of its states; `smaller`: a look at it with its damage at measured size."""
    variants = tuple(_variant(state.name, evaluations[state.key]) for state in plan.states)
    contingencies = tuple(_variant(state.name, evaluations[state.key]) for state in plan.contingencies)
    governing: dict[str, str] = {}
    results = []
    for load in case.loads:
        of_load = [(v.name, next(r for r in v.loads if r.load == load.name)) for v in variants]
        name, result = _worst(of_load, consequence)
        governing[load.name] = name
        results.append(result)
    disposition = _judge(case, plan, variants, contingencies, results, consequence)
    assumptions = _assumptions(case, plan, evaluations, consequence, disposition)
    disposition = lowered(disposition, assumptions)
    if smaller is not None and smaller.worse:
        disposition = left_open(disposition, smaller)
    total = total_uncertainty(case, plan, variants, results, consequence, disposition, smaller)
    restoration = tuple(
        Restoration(r.load, _ratio(r.release.rank, whole.release.rank), _ratio(r.first_ply.rank, whole.first_ply.rank))
        for r, whole in zip(results, reference.results, strict=True)
    )
    heaviest = max((state.panel for state in plan.states), key=lambda panel: panel.mass())
    return Configuration(
        plan.name,
        plan.kind,
        heaviest.mass(),
        plan.minutes,
        plan.permitted,
        variants,
        contingencies,
        governing,
        restoration,
        replace(disposition, uncertainty=total),
        plan.note,
        heaviest.centre_of_mass(),
        plan.step,
    )


def left_open(disposition: Disposition, smaller: Smaller) -> Disposition:
    """The disposition of what may be worse at measured size, which could not be run in full."""
    if worst([disposition.outcome, Outcome.CANNOT_TELL]) is disposition.outcome:
        return disposition
    do = "set the tolerances to 0 and assess again"
    load = "" if smaller.governing is None else f"{smaller.governing.load}: "
    reason = f"{load}damage at measured size may be worse than at size plus tolerance: {do}"
    return replace(
        disposition, outcome=Outcome.CANNOT_TELL, reason=reason, conditions=(), inspect=(do, *disposition.inspect)
    )


def _variant(name: str, evaluation: Evaluation) -> Variant:
    e = evaluation
    return Variant(name, e.results, e.state.panel.removed, e.fields, e.lost, e.vibration)


def _ratio(factor: float, whole: float) -> float:
    return factor / whole if whole > 0 and factor >= 0 else 0.0


def _worst(of_load: Sequence[tuple[str, LoadResult]], consequence: Consequence) -> tuple[str, LoadResult]:
    """The state that rules a load: the worst outcome, then the least factor."""
    ranks = {Outcome.MEETS: 3, Outcome.MEETS_IF: 2, Outcome.CANNOT_TELL: 1, Outcome.DOES_NOT: 0}
    return min(of_load, key=lambda item: (ranks[judge_load(item[1], consequence).outcome], item[1].release.rank))


def _judge(
    case: Case,
    plan: Plan,
    variants: Sequence[Variant],
    contingencies: Sequence[Variant],
    results: Sequence[LoadResult],
    consequence: Consequence,
) -> Disposition:
    lost: dict[str, tuple[float, str]] = {}
    for variant in variants:
        for fixing, (factor, load) in variant.fastener_lost.items():
            if fixing not in lost or factor < lost[fixing][0]:
                lost[fixing] = (factor, load)
    return judge(
        Findings(
            plan.name,
            tuple(results),
            tuple((v.name, r) for v in contingencies for r in v.loads),
            lost,
            tuple(d.condition for d in plan.left if d.condition),
            plan.bonded,
            plan.damaged,
            plan.permitted,
            case.fastened_to_such_a_part,
            case.covers_high_voltage,
            remarks=plan.remarks,
        ),
        consequence,
    )


def _assumptions(
    case: Case, plan: Plan, evaluations: Mapping[Key, Evaluation], consequence: Consequence, stated: Disposition
) -> tuple[Assumption, ...]:
    """Every assumed input, with the outcome at either end of its band where it was swept.

    One that changes nothing here, or no reserve near what is asked, has none.
    """
    rows = []
    for i, assumed in enumerate(case.assumed):
        if assumed.sweep is None:
            rows.append(_row(assumed))
            continue
        keys = [s.key for s in (*plan.states, *plan.contingencies)]
        if not any((i, end) in evaluations[key].swept for key in keys for end in (0, 1)):
            rows.append(_row(assumed))
            continue
        outcomes, factors = [], []
        for end in (0, 1):
            of_states = {key: evaluations[key].swept.get((i, end), evaluations[key].results) for key in keys}
            results = []
            for j in range(len(case.loads)):
                results.append(_worst([(s.name, of_states[s.key][j]) for s in plan.states], consequence)[1])
            gone = [replace(_variant(s.name, evaluations[s.key]), loads=of_states[s.key]) for s in plan.contingencies]
            kept = [_variant(s.name, evaluations[s.key]) for s in plan.states]
            d = _judge(case, plan, kept, gone, results, consequence)
            outcomes.append(d.outcome)
            factors.append(min(load.factor / load.required for load in d.loads) * consequence.factor)
        flips = any(o is not stated.outcome for o in outcomes)
        rows.append(
            replace(_row(assumed), outcomes=(outcomes[0], outcomes[1]), factors=(factors[0], factors[1]), flips=flips)
        )
    return (*rows, *_initial_shape(case, plan, evaluations))


def _initial_shape(case: Case, plan: Plan, evaluations: Mapping[Key, Evaluation]) -> tuple[Assumption, ...]:
    """The initial shape that a panel which buckles was followed from, where it was and the case does not say it."""
    if case.imperfection is not None:
        return ()
    results = [r for s in (*plan.states, *plan.contingencies) for r in evaluations[s.key].results]
    heights = [r.buckling.imperfection for r in results if r.buckling is not None and r.buckling.imperfection > 0.0]
    if not heights:
        return ()
    low, high = (f"{number(1e3 * height, 2)}" for height in (min(heights), max(heights)))
    shown = f"{low} mm" if low == high else f"{low} to {high} mm"
    what = "height of the initial shape of a panel that buckles"
    measure = "lay a straight edge across the bay and measure how far the panel is out of its shape"
    return (Assumption("settings.imperfection_mm", what, shown, "common practice, no source", measure=measure),)


def _row(assumed: AssumedInput) -> Assumption:
    sweep = assumed.sweep
    return Assumption(
        assumed.key,
        assumed.what,
        assumed.shown,
        assumed.source,
        assumed.band_shown,
        measure=assumed.measure,
        kind=sweep.kind if sweep else "",
        ends=(sweep.low, sweep.high) if sweep else None,
    )
