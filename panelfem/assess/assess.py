"""The main job: from a case to an assessment.

case → configurations → states → model → each load case → reserves → (sweeps, each fixing lost) → disposition
"""

from __future__ import annotations

import gc
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from panelfem import __version__
from panelfem.assess.adapt import MOST_ELEMENTS, MOST_IN_ALL, MOST_MESHES, refined, sharpened
from panelfem.assess.cautions import CAUTIONS, declined, sources_of
from panelfem.assess.configure import configuration
from panelfem.assess.ends import LOST_ANYWAY, outdone, screened_out, survived
from panelfem.assess.evaluate import Evaluation, Shells, evaluate, looked_at
from panelfem.assess.marked import marked
from panelfem.assess.notched import estimates
from panelfem.assess.plan import MEASURED, Inputs, Key, Plan, State, plans, states
from panelfem.assess.records import (
    Assessment,
    Configuration,
    Declined,
    FlipSize,
    InputRow,
    Mesh,
    Meshing,
    Notched,
    Screened,
)
from panelfem.assess.sizes import (
    Looked,
    Looks,
    Smaller,
    at_measured_size,
    by_load,
    flip_sizes,
    flip_words,
    sized,
    smaller_words,
)
from panelfem.assess.vibrate import vibrate
from panelfem.case import Case
from panelfem.disposition import Candidate, Consequence, Outcome, judge_load, recommend
from panelfem.errors import InputError, MeshError
from panelfem.laminate import describe
from panelfem.panel import Panel
from panelfem.reserve.analyse import Settings
from panelfem.reserve.places import Places
from panelfem.reserve.records import LoadResult
from panelfem.shell import DEFAULT_ORDER

Progress = Callable[[str, float], None]

#: What a provisional assessment leaves out.
NOT_YET = (
    "the errors of the mesh, what linear theory gets wrong where the panel moves far, each fixing lost in turn, and "
    "the bands of the assumed inputs"
)
#: A mesh with this share of the most elements is not refined again.
_ENOUGH = 0.8
#: Meshes help while the worst bar falls to this share of what it was.
_HELPED = 0.9


def assess(
    case: Case, progress: Progress | None = None, early: Callable[[Assessment], None] | None = None
) -> Assessment | Declined:
    """Assess a case; `progress` is told each stage and the share done.

    `early` is given a provisional assessment first: every state on one mesh by linear theory, and what that leaves out
    is said in it.  Raises InputError for a case without loads, and ModelError for a panel that is free to move.
    """
    if case.protects_people != "no":
        return declined(case)
    assert case.panel is not None
    tell = progress or (lambda stage, share: None)
    if not case.loads:
        raise InputError("there is no load case", where=case.file, do="add at least one [[load]]")
    words = Places(case.places, {f.name: f.washer_radius for f in case.panel.fasteners})
    base: Looked | None = None
    if early is not None:
        every, looked = _looked_at(case, words, tell)
        early(_assembled(case, every, looked, None, provisional=NOT_YET))
        base = {key: by_load(look.results) for key, look in looked.items()}
    case, every, evaluations, meshing = _on_good_meshes(case, words, tell)
    if case.accuracy is None:  # looks on the mesh as it was built are among what was found
        base = {key: by_load(e.low or e.results) for key, e in evaluations.items()}
    smaller: dict[str, Smaller] = {}
    other_sizes = case.flip_sizes and any(sized(case, plan) for plan in every)
    if other_sizes:
        tell("damage at measured size", 1.0)
        smaller = at_measured_size(_looks(case, evaluations, words, base), every)
        if any(small.worse for small in smaller.values()) and (both := _with_both_sizes(case)) is not None:
            case, every, evaluations, meshing = _on_good_meshes(both, words, tell)
            smaller = {}
    tell("disposition", 1.0)
    found = _assembled(case, every, evaluations, meshing, smaller)
    if not other_sizes:
        return found
    looks = _looks(case, evaluations, words, base)
    return _flipped(
        found,
        flip_sizes(looks, every, found.configurations, found.recommendation, lambda stage: tell(stage, 1.0)),
    )


def _looks(case: Case, evaluations: Mapping[Key, Evaluation], words: Places, base: Looked | None) -> Looks:
    order = case.order or DEFAULT_ORDER
    return Looks(case, evaluations, words, settings_of(case), _consequence(case), order, base)


def _with_both_sizes(case: Case) -> Case | None:
    """The case on a mesh that carries the measured borders as well; None if there is no such mesh."""
    assert case.sizes is not None
    try:
        both = case.sizes.with_both()
    except (InputError, MeshError):
        return None
    return replace(case, panel=both.panel, measured=both.measured)


def _flipped(found: Assessment, flips: tuple[FlipSize, ...]) -> Assessment:
    """The assessment with the sizes at which outcomes flip, which are to be looked for at the next inspection."""
    configurations = tuple(
        replace(
            c,
            disposition=replace(
                c.disposition,
                inspect=(*c.disposition.inspect, *(flip_words(f) for f in flips if f.configuration == c.name)),
            ),
        )
        for c in found.configurations
    )
    return replace(found, configurations=configurations, flip_sizes=flips)


def _assembled(
    case: Case,
    every: Sequence[Plan],
    evaluations: Mapping[Key, Evaluation],
    meshing: Meshing | None,
    smaller: Mapping[str, Smaller] = MappingProxyType({}),
    provisional: str = "",
) -> Assessment:
    """The assessment, from what was found of every state."""
    assert case.panel is not None
    reference = evaluations["undamaged",]
    configurations = tuple(
        configuration(case, plan, evaluations, _consequence(case), reference, smaller.get(plan.name)) for plan in every
    )
    candidates = [
        Candidate(c.name, c.minutes, c.permitted, c.disposition)
        for c in configurations
        if c.kind != "undamaged" or len(configurations) == 1
    ]
    name, why = recommend(candidates, case.minutes_left)
    chosen = next((c for c in configurations if c.name == name), configurations[min(1, len(configurations) - 1)])
    order = (case.order or DEFAULT_ORDER) if meshing is None else meshing.order
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
        sources_of(case),
        case.panel.mesh,
        case.places,
        _checks(case, evaluations, order),
        _stacks(case),
        __version__,
        case.hash,
        {"order": order, "criteria": dict(case.criteria), "flip_sizes": case.flip_sizes},
        meshing,
        () if provisional else (*_screened(case, configurations), *_smaller(smaller)),
        provisional,
        () if provisional else _notched(case, configurations, reference),
        marked(case),
    )


def _consequence(case: Case) -> Consequence:
    return Consequence(case.consequence, case.required_factor, case.factor_basis)  # type: ignore[arg-type]


def _fails(case: Case, results: Sequence[Sequence[LoadResult]]) -> bool:
    """Whether a configuration, by the results of its states, does not meet the factor under some load."""
    judged = (judge_load(result, _consequence(case)) for of_state in results for result in of_state)
    return any(load.outcome is Outcome.DOES_NOT for load in judged)


def _notched(case: Case, configurations: Sequence[Configuration], undamaged: Evaluation) -> tuple[Notched, ...]:
    """Closed forms for the holes, beside what the mesh says as found."""
    found = next((c for c in configurations if c.kind == "as found"), None)
    if found is None or not undamaged.probed:
        return ()
    results = [found.result(load) for load in found.governing]
    panel = undamaged.state.panel
    return estimates(panel, case.damage, case.loads, undamaged.probed, results, case.criteria)


def _screened(case: Case, configurations: Sequence[Configuration]) -> tuple[Screened, ...]:
    """The loads that only their own severity was swept of, under each configuration; those under which narrow bands
    were not; and what a bond that is lost was only looked at under.
    """
    swept = [
        Screened(c.name, result.load, result.release.rank, screened_out(result, case.required_factor))
        for c in configurations
        for result in (c.result(load) for load in c.governing)
        if result.linear is None and screened_out(result, case.required_factor)
    ]
    outdone_by = [
        Screened(c.name if len(c.variants) == 1 else f"{c.name}, {v.name}", r.load, r.release.rank, why)
        for c in configurations
        for v in c.variants
        for r in v.loads
        if any(assumed.sweep is not None for assumed in case.assumed)
        if (why := outdone(v.loads, r, case.required_factor))
    ]
    looked = [
        Screened(f"{c.name}, {v.name}", r.load, r.release.rank, survived(r) or LOST_ANYWAY)
        for c in configurations
        for v in c.contingencies
        for r in v.loads
        if case.near_only and math.isnan(r.deflection.bar)
    ]
    return (*swept, *outdone_by, *looked)


def _smaller(smaller: Mapping[str, Smaller]) -> Iterator[Screened]:
    """Damage at measured size, which was only looked at."""
    for name, small in smaller.items():
        load, factor = ("every load", math.nan) if (g := small.governing) is None else (g.load, g.factor)
        yield Screened(f"{name}, {MEASURED}", load, factor, smaller_words(small))


def _looked_at(case: Case, words: Places, tell: Progress) -> tuple[tuple[Plan, ...], dict[Key, Evaluation]]:
    """Every state by linear theory, with elements of one order on the mesh of the case."""
    assert case.panel is not None
    inputs, order, like = _inputs(case, case.panel), case.order or DEFAULT_ORDER, None
    every = plans(inputs)
    to_do, found = states(every), dict[Key, Evaluation]()
    for i, (key, state) in enumerate(to_do.items()):
        tell(f"a first look: {state.name} ({i + 1} of {len(to_do)})", 0.0)
        found[key], solved = looked_at(state, inputs, settings_of(case), order, words, like)
        like = solved.model.shell
        del solved
        gc.collect()
    return every, found


def _on_good_meshes(
    case: Case, words: Places, tell: Progress
) -> tuple[Case, tuple[Plan, ...], dict[Key, Evaluation], Meshing]:
    """Evaluate every state, on meshes adapted until the accuracy is met or a limit is reached.

    The case comes back on the last mesh.  States that must meet the factor are evaluated first: only they shape it.
    Those furthest from the accuracy on the last mesh come before others, options before what they mend.
    """
    assert case.panel is not None
    order, made = case.order or DEFAULT_ORDER, list[Mesh]()
    panel, stopped, off = case.panel, "", dict[Key, float]()
    if case.accuracy is not None:
        panel = sharpened(panel, lambda made: _must_meet(plans(_inputs(case, made))), order)
    while True:
        inputs = _inputs(case, panel)
        every = plans(inputs)
        keys = {state.key for state in _must_meet(every)}
        reached = _limit([m.elements for m in made], len(panel.mesh.triangles), len(keys))
        accuracy = None if reached or stopped else case.accuracy
        evaluations = _evaluated(case, inputs, every, words, order, accuracy, tell, len(made), off)
        off |= {key: evaluations[key].worst[1].share for key in keys & set(evaluations)}
        worst = max(
            (evaluations[key] for key in keys & set(evaluations)), key=lambda e: (e.worst[1].share, e.state.key)
        )
        load, aim = worst.worst
        if not stopped:
            made.append(Mesh(len(panel.mesh.triangles), aim.share, aim.what, f"{load}, {worst.state.name}"))
        met = case.accuracy is None or aim.share <= case.accuracy
        unmet = [e.wish for e in evaluations.values() if e.wish is not None]
        if not unmet:
            if not met and not stopped:
                stopped = f"the limit of {reached} was reached"
            case = replace(case, panel=panel)
            return (
                case,
                every,
                evaluations,
                Meshing(case.accuracy, tuple(made), met, order + 1, stopped, case.near_only),
            )
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
    return Inputs(panel, case.damage, case.options, case.loads, case.measured)


def settings_of(case: Case) -> Settings:
    """What decides, as the case asks."""
    return Settings(
        case.criteria,
        case.modeless_criteria_govern,
        case.required_factor,
        case.large_displacements,
        case.imperfection,
        near_only=case.near_only,
        in_situ=case.in_situ,
    )


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
    off: Mapping[Key, float],
) -> dict[Key, Evaluation]:
    """Every state on one mesh, those first that were furthest `off` the accuracy.

    Where one is not within the `accuracy`, there will be another mesh: then only those that must meet the factor are
    solved, for what they need of it, and nothing is swept; where minutes count, not even those.
    """
    to_do = states(every)
    must_meet = {state.key for state in _must_meet(every)}
    found: dict[Key, Evaluation] = {}
    like: Shells = (None, None)

    def in_vain(key: Key) -> bool:
        """Whether no configuration that a bond is lost of meets the factor with it."""
        of = [plan for plan in every if key in [state.key for state in plan.contingencies]]
        return all(_fails(case, [found[state.key].results for state in plan.states]) for plan in of)

    options_first = list(to_do.items())[::-1]
    ordered = sorted(options_first, key=lambda item: (item[0] not in must_meet, -off.get(item[0], 0.0)))
    for i, (key, state) in enumerate(ordered):
        main, last = key in must_meet, all(e.wish is None for e in found.values())
        if not last and (case.near_only or not main):
            break
        mesh = f", mesh {number + 1}" if number else ""
        # how many meshes there will be is not known: each takes half of what is left
        tell(f"{state.name} ({i + 1} of {len(to_do)}{mesh})", 1.0 - 0.5**number * (1.0 - 0.5 * i / len(to_do)))
        low = None
        if not main and case.near_only:  # what it must only survive: a look may be enough
            look, low = looked_at(state, inputs, settings_of(case), order, words, like[0])
            if in_vain(key) or all(survived(result) for result in look.results):
                found[key], like = look, (low.model.shell, like[1])
                continue
        found[key], like = evaluate(
            state,
            inputs,
            settings_of(case),
            order,
            words,
            case.assumed if main and last else (),
            main and last and case.lose_each_fastener,
            like,
            accuracy if main else None,
            low,
        )
        del low
        gc.collect()  # models and what they cache refer to each other, and are large
    if not case.vibrations or like[0] is None or like[1] is None or any(e.wish is not None for e in found.values()):
        return found
    layouts, whole, count = (like[0].layout, like[1].layout), None, len(must_meet)
    like = (None, None)
    for i, (key, state) in enumerate((key, state) for key, state in to_do.items() if key in must_meet):
        share = 1.0 - 0.5 ** (number + 1) * (1.0 - 0.5 * i / count)
        tell(f"vibrations of {state.name} ({i + 1} of {count})", share)
        vibration, whole = vibrate(state.panel, layouts, words, whole)
        found[key] = replace(found[key], vibration=vibration)
        gc.collect()
    return found


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
