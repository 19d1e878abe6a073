"""The main job: from a case to an assessment.

case → configurations → states → model → each load case → reserves → (sweeps, each fixing lost) → disposition
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from panelfem import __version__
from panelfem.assess.adapt import MOST_ELEMENTS, MOST_IN_ALL, MOST_MESHES, refined, sharpened
from panelfem.assess.cautions import CAUTIONS, SOURCES, declined
from panelfem.assess.evaluate import Evaluation, Shells, evaluate
from panelfem.assess.plan import Inputs, Key, Plan, State, plans, states
from panelfem.assess.records import (
    Assessment,
    Configuration,
    Declined,
    InputRow,
    Mesh,
    Meshing,
    Restoration,
    Variant,
)
from panelfem.assess.total import total_uncertainty
from panelfem.assess.vibrate import vibrate
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
from panelfem.panel import Panel
from panelfem.reserve.analyse import Settings
from panelfem.reserve.places import Places
from panelfem.reserve.records import LoadResult
from panelfem.shell import DEFAULT_ORDER
from panelfem.units import number

Progress = Callable[[str, float], None]

#: A mesh with this share of the most elements is not refined again.
_ENOUGH = 0.8
#: Meshes help while the worst bar falls to this share of what it was.
_HELPED = 0.9


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
    consequence = Consequence(case.consequence, case.required_factor, case.factor_basis)  # type: ignore[arg-type]
    case, every, evaluations, meshing = _on_good_meshes(case, words, tell)
    assert case.panel is not None
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
        _checks(case, evaluations, meshing.order),
        _stacks(case),
        __version__,
        case.hash,
        {"order": meshing.order, "criteria": dict(case.criteria)},
        meshing,
    )


def _on_good_meshes(
    case: Case, words: Places, tell: Progress
) -> tuple[Case, tuple[Plan, ...], dict[Key, Evaluation], Meshing]:
    """Evaluate every state, on meshes adapted until the accuracy is met or a limit is reached.

    The case comes back on the last mesh.  States that must meet the factor are evaluated first: only they shape it.
    """
    assert case.panel is not None
    order, made = case.order or DEFAULT_ORDER, list[Mesh]()
    panel, stopped = case.panel, ""
    if case.accuracy is not None:
        panel = sharpened(panel, lambda made: _must_meet(plans(_inputs(case, made))), order)
    while True:
        inputs = _inputs(case, panel)
        every = plans(inputs)
        keys = {state.key for state in _must_meet(every)}
        reached = _limit([m.elements for m in made], len(panel.mesh.triangles), len(keys))
        accuracy = None if reached or stopped else case.accuracy
        evaluations = _evaluated(case, inputs, every, words, order, accuracy, tell, len(made))
        worst = max((evaluations[key] for key in keys), key=lambda e: (e.worst[1].share, e.state.key))
        load, aim = worst.worst
        if not stopped:
            made.append(Mesh(len(panel.mesh.triangles), aim.share, aim.what, f"{load}, {worst.state.name}"))
        met = case.accuracy is None or aim.share <= case.accuracy
        unmet = [e.wish for e in evaluations.values() if e.wish is not None]
        if not unmet:
            if not met and not stopped:
                stopped = f"the limit of {reached} was reached"
            case = replace(case, panel=panel)
            return case, every, evaluations, Meshing(case.accuracy, tuple(made), met, order + 1, stopped)
        if _stagnant([m.worst for m in made]):
            stopped = "smaller elements no longer help"
            continue
        finer = refined(panel, unmet, order)
        if finer is None:
            stopped = "no sound mesh with smaller elements could be made, or the surface is known no finer"
        panel = panel if finer is None else finer


def _stagnant(worst: Sequence[float]) -> bool:
    """Whether the last two of some meshes' worst bars are no better than what went before.

    >>> _stagnant([0.2, 0.1, 0.05]), _stagnant([0.06, 0.04, 0.04, 0.039])
    (False, True)
    """
    return len(worst) > 2 and min(worst[-2:]) > _HELPED * min(worst[:-2])


def _limit(made: Sequence[int], elements: int, count: int) -> str:
    """Which limit a mesh of so many elements reaches after those `made`, in words; empty: another may follow.

    `count` states are solved on each.
    """
    if elements >= _ENOUGH * MOST_ELEMENTS:
        return f"{MOST_ELEMENTS} elements"
    if (sum(made) + 2 * elements) * count >= MOST_IN_ALL:
        return f"{MOST_IN_ALL} elements of all meshes and states"
    return f"{MOST_MESHES} meshes" if len(made) + 1 >= MOST_MESHES else ""


def _inputs(case: Case, panel: Panel) -> Inputs:
    return Inputs(panel, case.damage, case.options, case.loads)


def _must_meet(every: Sequence[Plan]) -> tuple[State, ...]:
    """The states that must meet the factor asked for, each once."""
    found = states([replace(plan, contingencies=()) for plan in every])
    return tuple(found.values())


def _evaluated(
    case: Case,
    inputs: Inputs,
    every: Sequence[Plan],
    words: Places,
    order: int,
    accuracy: float | None,
    tell: Progress,
    number: int,
) -> dict[Key, Evaluation]:
    """Every state on one mesh; with an `accuracy` only those that must meet the factor, where one of them is not
    within it.
    """
    settings = Settings(
        case.criteria,
        case.modeless_criteria_govern,
        case.required_factor,
        case.large_displacements,
        case.imperfection,
    )
    to_do = states(every)
    must_meet = {state.key for state in _must_meet(every)}
    found: dict[Key, Evaluation] = {}
    like: Shells = (None, None)
    ordered = sorted(to_do.items(), key=lambda item: item[0] not in must_meet)
    for i, (key, state) in enumerate(ordered):
        main = key in must_meet
        if not main and any(e.wish is not None for e in found.values()):
            break
        mesh = f", mesh {number + 1}" if number else ""
        # how many meshes there will be is not known: each takes half of what is left
        tell(f"{state.name} ({i + 1} of {len(to_do)}{mesh})", 1.0 - 0.5**number * (1.0 - 0.5 * i / len(to_do)))
        found[key], like = evaluate(
            state,
            inputs,
            settings,
            order,
            words,
            case.assumed if main else (),
            main and case.lose_each_fastener,
            like,
            accuracy if main else None,
        )
        gc.collect()  # models and what they cache refer to each other, and are large
    if not case.vibrations or like[0] is None or like[1] is None or any(e.wish is not None for e in found.values()):
        return found
    layouts, whole, count = (like[0].layout, like[1].layout), None, len(must_meet)
    like = (None, None)
    for i, (key, state) in enumerate(ordered[:count]):
        share = 1.0 - 0.5 ** (number + 1) * (1.0 - 0.5 * i / count)
        tell(f"vibrations of {state.name} ({i + 1} of {count})", share)
        vibration, whole = vibrate(state.panel, layouts, words, whole)
        found[key] = replace(found[key], vibration=vibration)
        gc.collect()
    return found


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
    disposition = lowered(disposition, assumptions)
    total = total_uncertainty(case, plan, variants, results, consequence, disposition)
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
            plan.dull,
            plan.bonded,
            plan.damaged,
            plan.permitted,
            case.fastened_to_such_a_part,
            case.covers_high_voltage,
            plan.delaminated,
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
