"""The main job: from a case to an assessment.

case → configurations → states → model → each load case → reserves → (sweeps, each fixing lost) → disposition
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from panelfem import __version__
from panelfem.assess.cautions import CAUTIONS, SOURCES, declined
from panelfem.assess.evaluate import Evaluation, evaluate
from panelfem.assess.plan import Inputs, Key, Plan, plans, states
from panelfem.assess.records import Assessment, Configuration, Declined, InputRow, Restoration, Variant
from panelfem.case import AssumedInput, Case
from panelfem.disposition import (
    Assumption,
    Candidate,
    Consequence,
    Disposition,
    Findings,
    Outcome,
    judge,
    judge_load,
    lowered,
    recommend,
)
from panelfem.errors import InputError
from panelfem.laminate import describe
from panelfem.reserve.analyse import Settings
from panelfem.reserve.places import Places
from panelfem.reserve.records import LoadResult
from panelfem.shell import DEFAULT_ORDER

Progress = Callable[[str, float], None]


def assess(case: Case, progress: Progress | None = None) -> Assessment | Declined:
    """Assess a case; `progress` is told each stage and the share done.

    Raises InputError for a case without loads, and ModelError for a panel that is free to move.
    """
    if case.protects_people != "no":
        return declined(case)
    assert case.panel is not None
    tell = progress or (lambda stage, share: None)
    if not case.loads:
        raise InputError("there is no load case", where=case.file, do="add at least one [[load]]")
    words = Places(case.places, {f.name: f.washer_radius for f in case.panel.fasteners})
    inputs = Inputs(case.panel, case.damage, case.options, case.loads)
    consequence = Consequence(case.consequence, case.required_factor, case.factor_basis)  # type: ignore[arg-type]
    settings = Settings(case.criteria, case.modeless_criteria_govern, case.required_factor)
    every = plans(inputs)
    to_do = states(every)
    must_meet = {state.key for plan in every for state in plan.states}
    order = case.order or DEFAULT_ORDER
    evaluations: dict[Key, Evaluation] = {}
    like = None
    for i, (key, state) in enumerate(to_do.items()):
        tell(f"{state.name} ({i + 1} of {len(to_do)})", i / len(to_do))
        main = key in must_meet
        evaluations[key], like = evaluate(
            state, inputs, settings, order, words, case.assumed if main else (), main and case.lose_each_fastener, like
        )
        gc.collect()  # models and what they cache refer to each other, and are large
    tell("disposition", 1.0)
    reference = evaluations["undamaged",]
    configurations = tuple(_configuration(case, plan, evaluations, consequence, reference) for plan in every)
    candidates = [
        Candidate(c.name, c.minutes, c.permitted, c.disposition)
        for c in configurations
        if c.kind != "undamaged" or len(configurations) == 1
    ]
    name, why = recommend(candidates, case.minutes_left)
    chosen = next((c for c in configurations if c.name == name), configurations[min(1, len(configurations) - 1)])
    return Assessment(
        case.file,
        case.title,
        case.invented,
        case.panel_name,
        case.minutes_left,
        case.required_factor,
        case.consequence,
        configurations,
        name,
        why,
        chosen.disposition.conditions,
        CAUTIONS,
        chosen.disposition.assumptions,
        tuple(InputRow(r.key, r.shown, r.basis, r.source) for r in case.inputs),
        SOURCES,
        case.panel.mesh,
        case.places,
        _damage_regions(case),
        _checks(case, evaluations, order),
        _stacks(case),
        __version__,
        case.hash,
        {"order": order, "criteria": dict(case.criteria)},
    )


def _configuration(
    case: Case, plan: Plan, evaluations: Mapping[Key, Evaluation], consequence: Consequence, reference: Evaluation
) -> Configuration:
    """A configuration from the evaluations of its states."""
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
    restoration = tuple(
        Restoration(r.load, _ratio(r.release.rank, whole.release.rank), _ratio(r.first_ply.rank, whole.first_ply.rank))
        for r, whole in zip(results, reference.results, strict=True)
    )
    mass = max(state.panel.mass() for state in plan.states)
    return Configuration(
        plan.name,
        plan.kind,
        mass,
        plan.minutes,
        plan.permitted,
        variants,
        contingencies,
        governing,
        restoration,
        lowered(disposition, assumptions),
        plan.note,
    )


def _variant(name: str, evaluation: Evaluation) -> Variant:
    return Variant(name, evaluation.results, evaluation.state.panel.removed, evaluation.fields, evaluation.lost)


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
            plan.dull,
            plan.bonded,
            plan.damaged,
            plan.permitted,
            case.fastened_to_such_a_part,
            case.covers_high_voltage,
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
    return tuple(rows)


def _row(assumed: AssumedInput) -> Assumption:
    return Assumption(
        assumed.key, assumed.what, assumed.shown, assumed.source, assumed.band_shown, measure=assumed.measure
    )


def _damage_regions(case: Case) -> dict[str, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    assert case.panel is not None
    named = {d.name: getattr(d, "region", None) for d in case.damage}
    return {name: case.panel.mesh.inside[region] for name, region in named.items() if region is not None}


def _stacks(case: Case) -> dict[str, tuple[str, ...]]:
    assert case.panel is not None
    return {f"laminate {i + 1}": describe(laminate) for i, laminate in enumerate(case.panel.laminates)}


def _checks(case: Case, evaluations: Mapping[Key, Evaluation], order: int) -> dict[str, str]:
    assert case.panel is not None
    residual = max(r.residual for e in evaluations.values() for r in e.results)
    return {
        "elements": f"{len(case.panel.mesh.triangles)} of order {order}",
        "equilibrium residual": f"{residual:.1e} of the load, at worst",
        "mesh": "; ".join((*case.panel.mesh.notes, *case.panel.mesh.curve_notes(order))) or "nothing to report",
        "model": "; ".join(dict.fromkeys(n for e in evaluations.values() for n in e.notes)) or "nothing to report",
    }
