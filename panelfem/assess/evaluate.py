"""One state of the panel: every load case, each fixing lost, and the assumed inputs at the ends of their bands."""

from __future__ import annotations

import gc
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.assess.ends import read_again, solved_again
from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, State
from panelfem.assess.respond import Responder
from panelfem.case import AssumedInput
from panelfem.errors import ModelError
from panelfem.loads import LoadCase
from panelfem.reserve.analyse import Settings, analyse, brief, path_of
from panelfem.reserve.check import Words
from panelfem.reserve.records import FieldSet, LoadResult
from panelfem.reserve.search import Path
from panelfem.shell import Shell


@dataclass(frozen=True)
class Evaluation:
    """What was found of a state.

    `lost`: fixing -> (least release factor, load) with that fixing lost as well; `swept`: (number of the assumed
    input, end 0 or 1) -> results, for those that change something here.
    """

    state: State
    results: tuple[LoadResult, ...]
    fields: Mapping[str, FieldSet]
    lost: Mapping[str, tuple[float, str]]
    swept: Mapping[tuple[int, int], tuple[LoadResult, ...]]
    notes: tuple[str, ...]


def evaluate(
    state: State,
    inputs: Inputs,
    settings: Settings,
    order: int,
    words: Words,
    assumed: Sequence[AssumedInput],
    lose_each_fixing: bool,
    like: Shell | None,
) -> tuple[Evaluation, Shell]:
    """Evaluate a state; the shell is returned so that the next one can take over what they share.

    `assumed` are swept, and with `lose_each_fixing` each fixing is lost in turn.
    """
    model = Model(state, order, words, like)
    responder = Responder(model, inputs.loads)
    found, fields, paths = [], {}, {}
    for load in inputs.loads:
        response = responder(load)
        result, fields[load.name], paths[load.name] = analyse(model.subject, load, response, settings)
        doubts = (*result.notes, *responder.notes(load, result.contacts))
        found.append(replace(result, notes=doubts, residual=responder.residual))
    results = tuple(found)
    lost = _each_fixing_lost(model, responder, inputs.loads, settings, results) if lose_each_fixing else {}
    ends = read_again(model, responder, inputs, settings, words, assumed, results, paths)
    shell, notes = model.shell, tuple(model.holding.system.notes)
    # a model and what it caches refer to each other and are large: let go of this one before the sweeps make others
    del model, responder, response, paths
    gc.collect()
    ends |= solved_again(shell, state, inputs, settings, words, assumed, results)
    return Evaluation(state, results, fields, lost, ends, notes), shell


def _each_fixing_lost(
    model: Model, responder: Responder, loads: Sequence[LoadCase], settings: Settings, results: Sequence[LoadResult]
) -> dict[str, tuple[float, str]]:
    """Least release factor with each fitted fixing lost in turn, and the load it is under (0 if nothing holds then).

    The state at the expected severity tells which load governs; its factor is then found along its path.
    """
    lost: dict[str, tuple[float, str]] = {}
    for i, fixing in enumerate(model.panel.fasteners):
        if not fixing.fitted:
            continue
        least: tuple[float, LoadResult, Path] | None = None
        for load, whole in zip(loads, results, strict=True):
            try:
                path = path_of(model.subject, load, responder(load, model.holding.without(i)), settings)[0]
                reserves = path.reserves(1.0, False).values()
            except ModelError:
                least, lost[fixing.name] = None, (0.0, load.name)
                break
            factor = min((r.rank for r in reserves if r.grade == "release"), default=np.inf)
            if least is None or factor < least[0]:
                least = factor, whole, path
        if least is not None:
            factor = brief(least[2], model.subject, least[1], settings).release.rank
            lost[fixing.name] = (max(factor, 0.0), least[1].load)
    return lost
