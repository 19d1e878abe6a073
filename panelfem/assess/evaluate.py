"""One state of the panel: every load case by elements of two orders, each fixing lost, and the assumed inputs at the
ends of their bands.

The numbers are those of the higher order, their bars the step from the lower one.  Fixings lost and bands are followed
with the lower order only, and moved by what the higher one changes of the same mode under the same load.
"""

from __future__ import annotations

import gc
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from panelfem.accuracy.indicator import work
from panelfem.accuracy.layer import unresolved
from panelfem.arrays import FloatArray
from panelfem.assess.buckle import beyond_linear
from panelfem.assess.ends import Results, read_again, solved_again
from panelfem.assess.plan import Inputs, State
from panelfem.assess.records import Vibration
from panelfem.assess.shares import Wish, wish
from panelfem.assess.solve import Solved, far, solve
from panelfem.case import AssumedInput
from panelfem.errors import ModelError
from panelfem.reserve import bolted
from panelfem.reserve.analyse import Settings, brief, path_of
from panelfem.reserve.bars import Aim, Doubt, aims, barred, rescaled
from panelfem.reserve.check import Words
from panelfem.reserve.plies import PlyCheck
from panelfem.reserve.records import FieldSet, LoadResult
from panelfem.reserve.search import Path
from panelfem.shell import Shell

#: The shells of both orders, for the next state on the same mesh to take over what they share.
Shells = tuple[Shell | None, Shell | None]


@dataclass(frozen=True)
class Evaluation:
    """What was found of a state.

    `lost`: fixing -> (least release factor, load) with that fixing lost as well; `swept`: (number of the assumed
    input, end 0 or 1) -> results, for those that change something here.  `aims`: (load, number) the accuracy is asked
    of.  `wish`: what the next mesh needs, where one of them is not within it.  `vibration`: found afterwards, on the
    last mesh only.  `probed`: load -> mean strains (2, probes, 8), held and at the expected severity.  `low`:
    what :func:`looked_at` finds on the same mesh.
    """

    state: State
    results: tuple[LoadResult, ...]
    fields: Mapping[str, FieldSet]
    lost: Mapping[str, tuple[float, str]]
    swept: Mapping[tuple[int, int], tuple[LoadResult, ...]]
    notes: tuple[str, ...]
    aims: tuple[tuple[str, Aim], ...] = ()
    wish: Wish | None = None
    vibration: Vibration | None = None
    probed: Mapping[str, FloatArray] = field(default_factory=dict)
    low: tuple[LoadResult, ...] = ()

    @property
    def worst(self) -> tuple[str, Aim]:
        """The load and the number with the greatest bar as a share of it."""
        none = ("", Aim(0.0, "nothing"))
        return max(self.aims, key=lambda item: item[1].share, default=none)


def evaluate(
    state: State,
    inputs: Inputs,
    settings: Settings,
    order: int,
    words: Words,
    assumed: Sequence[AssumedInput],
    lose_each_fixing: bool,
    like: Shells,
    accuracy: float | None = None,
    low: Solved | None = None,
) -> tuple[Evaluation, Shells]:
    """Evaluate a state with elements of `order` and of one more; the shells are returned for the next state.

    `assumed` are swept, and with `lose_each_fixing` each fixing is lost in turn.  With an `accuracy`, a share, a state
    whose bars are not within it is not followed further: what its next mesh needs is given instead.  `low`: the
    solution with elements of `order`, if there is one.
    """
    low = low or solve(state, inputs.loads, settings, order, words, like[0])
    high = solve(state, inputs.loads, settings, order + 1, words, like[1], low)
    shells = low.model.shell, high.model.shell
    notes = (*high.model.holding.system.notes, *bolted.advice(state.panel))
    checks, looked = far(low, settings), low.results
    asked = settings.asked if settings.near_only else None
    for stage in ("linear", "far") if checks else ("linear",):
        if stage == "far":  # only on a mesh that linear theory is content with: it costs many times as much
            low, high, settings = beyond_linear(low, high, checks, settings)
        results = _barred(low, high)
        wanted = tuple((result.load, aim) for result in results for aim in aims(result, asked))
        if accuracy is not None and any(not aim.share <= accuracy for _, aim in wanted):
            needed = wish(low, high, wanted, accuracy)
            return Evaluation(state, results, high.fields, {}, {}, notes, wanted, needed), shells
    fields, probed = high.fields, _probed(state, high)
    # a model and what it caches refer to each other and are large: let go of each before others are made
    del high
    gc.collect()
    lost = _each_fixing_lost(low, settings, results) if lose_each_fixing else {}
    ends = read_again(low.model, low.responder, inputs, settings, words, assumed, low.results, low.paths)
    before, bent = low.results, {name: model.imperfection for name, model in low.responder.bent.items()}
    del low
    gc.collect()
    ends |= solved_again(shells[0], state, inputs, settings, words, assumed, before, bent)
    swept = {key: _moved(end, before, results) for key, end in ends.items()}
    return Evaluation(state, results, fields, lost, swept, notes, wanted, probed=probed, low=looked), shells


def looked_at(
    state: State, inputs: Inputs, settings: Settings, order: int, words: Words, like: Shell | None
) -> tuple[Evaluation, Solved]:
    """A state by linear theory, with elements of one order: nothing is known of its errors, and nothing is swept."""
    found = solve(state, inputs.loads, settings, order, words, like)
    notes = tuple(found.model.holding.system.notes)
    return Evaluation(state, found.results, found.fields, {}, {}, notes), found


def _probed(state: State, solved: Solved) -> dict[str, FloatArray]:
    """Of a path that ends before the expected severity, what it comes to there if it goes on alike."""
    first, found = len(state.panel.delaminations), {}
    last = first + len(state.probes)
    for load, path in solved.paths.items():
        if not state.probes:
            continue
        held, now = (seen.area_strain[first:last] for seen in (path.held, path.state(1.0)))
        found[load] = np.stack([held, held + (now - held) / max(path.within(1.0), 1e-9)])
    return found


def _barred(low: Solved, high: Solved) -> tuple[LoadResult, ...]:
    """The results of the higher order with their bars."""
    model = high.model
    law = np.stack([laminate.stiffness for laminate in model.panel.laminates])
    displaced = high.displacements
    lacking = np.diag(unresolved(model.shell, model.holding.system.supports, displaced))
    layers = lacking / np.maximum(work(model.shell, displaced), 1e-300)
    found = []
    for i, (a, b) in enumerate(zip(low.results, high.results, strict=True)):
        path = high.paths[b.load]
        there, now = path.found(1.0), path.state(1.0)
        recovery = model.subject.observer.reading(there)
        doubt = Doubt(model.subject.sampling, recovery, law, there.unknowns, now)
        check = path.checks[0]
        hidden = doubt.hidden(check, path.held, now) if isinstance(check, PlyCheck) else None
        before = low.paths[b.load].state(1.0)
        steps = model.subject.bonds.steps(low.model.subject.bonds, before, now)
        found.append(barred(a, b, low.plies(high, b), doubt, float(layers[i]), hidden, steps))
    return tuple(found)


def _moved(end: Results, low: Results, whole: Results) -> Results:
    return tuple(rescaled(e, a, b) for e, a, b in zip(end, low, whole, strict=True))


def _each_fixing_lost(low: Solved, settings: Settings, results: Sequence[LoadResult]) -> dict[str, tuple[float, str]]:
    """Least release factor with each fitted fixing lost in turn, and the load it is under (0 if nothing holds then).

    The state at the expected severity tells which load governs; its factor is then found along its path.
    """
    lost: dict[str, tuple[float, str]] = {}
    model, responder = low.model, low.responder
    for i, fixing in enumerate(model.panel.fasteners):
        if not fixing.fitted:
            continue
        least: tuple[float, int, Path] | None = None
        for j, load in enumerate(low.loads):
            try:
                path = path_of(model.subject, load, responder(load, model.holding.without(i)), settings)[0]
                p = path.within(1.0)
                reserves = path.reserves(p, False).values()
            except ModelError:
                least, lost[fixing.name] = None, (0.0, load.name)
                break
            factor = min((p * r.rank for r in reserves if r.grade == "release"), default=np.inf)
            if path.ended is not None:
                factor = min(factor, path.ended.factor)
            if least is None or factor < least[0]:
                least = factor, j, path
        if least is not None:
            j = least[1]
            end = brief(least[2], model.subject, low.results[j], settings)
            moved = rescaled(end, low.results[j], results[j])
            lost[fixing.name] = (max(moved.release.rank, 0.0), moved.load)
    return lost
