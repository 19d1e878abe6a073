"""One state of the panel: every load case, each fixing lost, and the assumed inputs at the ends of their bands."""

from __future__ import annotations

import gc
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, State, plans, states
from panelfem.assess.respond import Responder
from panelfem.assess.sweep import Swept, swept
from panelfem.case import AssumedInput, Sweep
from panelfem.errors import ModelError
from panelfem.loads import LoadCase
from panelfem.loads.fixings import fastener_stiffness
from panelfem.panel import Panel
from panelfem.reserve.analyse import Settings, Subject, analyse, brief, path_of
from panelfem.reserve.check import Words
from panelfem.reserve.records import FieldSet, LoadResult, ModeReserve
from panelfem.reserve.search import Path
from panelfem.reserve.theory import BUCKLING, DEFLECTION, ROTATION
from panelfem.shell import Shell

#: A load is swept only if its reserve is within a factor of what is asked: 1 and so many times the band's half width,
#: and at most the second number (a reserve moves in proportion to a strength, and by less with a modulus).
SCREEN = (3.0, 2.5)


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
        found.append(replace(result, notes=responder.notes(load, result.contacts), residual=responder.residual))
    results = tuple(found)
    lost = _each_fixing_lost(model, responder, inputs.loads, settings, results) if lose_each_fixing else {}
    ends = _sweeps(model, responder, inputs, settings, words, assumed, results, paths)
    return Evaluation(state, results, fields, lost, ends, tuple(model.holding.system.notes)), model.shell


def _each_fixing_lost(
    model: Model, responder: Responder, loads: Sequence[LoadCase], settings: Settings, results: Sequence[LoadResult]
) -> dict[str, tuple[float, str]]:
    """Least release factor with each fitted fixing lost in turn, and the load it is under (0 if nothing holds then)."""
    lost: dict[str, tuple[float, str]] = {}
    for i, fixing in enumerate(model.panel.fasteners):
        if not fixing.fitted:
            continue
        factors = []
        for load, whole in zip(loads, results, strict=True):
            try:
                path = path_of(model.subject, load, responder(load, model.holding.without(i)), settings)[0]
                factors.append((max(brief(path, model.subject, whole, settings).release.rank, 0.0), load.name))
            except ModelError:
                factors.append((0.0, load.name))
        lost[fixing.name] = min(factors)
    return lost


@dataclass(frozen=True)
class _End:
    """A state at an end of a band: what is solved for, and what is read off it."""

    responder: Responder
    subject: Subject
    stiffness: FloatArray
    loads: tuple[LoadCase, ...]
    severity: Mapping[str, float]


def _sweeps(
    model: Model,
    responder: Responder,
    inputs: Inputs,
    settings: Settings,
    words: Words,
    assumed: Sequence[AssumedInput],
    results: Sequence[LoadResult],
    paths: Mapping[str, Path],
) -> dict[tuple[int, int], tuple[LoadResult, ...]]:
    """Results at the ends of the bands of those assumed inputs that bear on this state."""
    stated = _End(responder, model.subject, model.holding.stiffness, inputs.loads, {})
    found: dict[tuple[int, int], tuple[LoadResult, ...]] = {}
    for number, item in enumerate(assumed):
        if item.sweep is None:
            continue
        for end, factor in enumerate((item.sweep.low, item.sweep.high)):
            reach = _reach(item.sweep)
            near = [_near(result, settings, reach) for result in results]
            if factor == 1.0 or not (any(near) or item.sweep.kind in ("severity", "dynamic")):
                continue
            at_end = _at_end(model, stated, swept(inputs, item.sweep, factor), words)
            if at_end is not None:
                found[number, end] = tuple(
                    _swept_result(stated, at_end, load, whole, paths[load.name], settings, close)
                    for load, whole, close in zip(at_end.loads, results, near, strict=True)
                )
                if at_end.responder is not responder:
                    del at_end
                    gc.collect()  # a model and what it caches refer to each other, and are large
    return found


def _at_end(model: Model, stated: _End, change: Swept, words: Words) -> _End | None:
    """The state at an end of a band; None if nothing changes.  Strengths need no new solution, moduli a new factor."""
    other = states(plans(change.inputs)).get(model.state.key)
    if other is None:
        return None
    old, new = model.state.panel, other.panel
    end = _End(
        stated.responder,
        stated.subject,
        np.array([fastener_stiffness(f) for f in new.fasteners]).reshape(-1, 6),
        change.inputs.loads,
        change.severity,
    )
    if new.laminates != old.laminates and not np.allclose(new.stiffness(), old.stiffness(), rtol=1e-12, atol=0.0):
        stiffer = Model(other, model.shell.mesh.order, words, model.shell)
        return replace(end, responder=Responder(stiffer, change.inputs.loads), subject=stiffer.subject)
    if any(a.length != b.length for a, b in zip(other.notches, model.state.notches, strict=True)):
        return replace(end, subject=model.read(other, words))
    if new.laminates != old.laminates or _bonds(new) != _bonds(old):
        return replace(end, subject=model.subject.on(new))
    same_loads = all(a is b for a, b in zip(end.loads, stated.loads, strict=True))
    same = np.array_equal(end.stiffness, stated.stiffness) and same_loads and not end.severity
    return None if same else end


def _swept_result(
    stated: _End, end: _End, load: LoadCase, whole: LoadResult, path: Path, settings: Settings, near: bool
) -> LoadResult:
    """The result of a load at an end of a band; `whole` and `path` are the stated ones.

    Severity needs no new state and is always followed; the rest only `near` what is asked.
    """
    ratio = end.severity.get(load.name, 1.0)
    if ratio != 1.0:
        return _more_severe(path, end.subject, whole, settings, ratio)
    solved_again = end.responder is not stated.responder or not np.array_equal(end.stiffness, stated.stiffness)
    load_changed = load is not next(before for before in stated.loads if before.name == load.name)
    if not (solved_again or load_changed) and end.subject is stated.subject:
        return whole
    if not near:
        return whole
    again = path_of(end.subject, load, end.responder(load, end.stiffness), settings)[0]
    if not (solved_again or load_changed) and end.subject.sampling is stated.subject.sampling:
        again.take_over(path)
    return brief(again, end.subject, whole, settings)


def _reach(sweep: Sweep) -> float:
    """How far from what is asked a reserve may be and still be swept, as a factor."""
    return min(SCREEN[1], 1.0 + SCREEN[0] * max(1.0 - sweep.low, sweep.high - 1.0))


def _near(result: LoadResult, settings: Settings, reach: float) -> bool:
    """Whether a band could change the outcome: the reserve or a measure of linear theory is close to its limit."""
    theory = result.theory
    measures = (
        theory.deflection_over_thickness / DEFLECTION,
        theory.rotation / ROTATION,
        theory.buckling_share / BUCKLING,
    )
    return 1.0 / reach <= result.release.rank / settings.asked <= reach or 1.0 / reach <= max(measures) <= reach


def _bonds(panel: Panel) -> list[tuple[float, float, float]]:
    return [(p.strength, p.adhesive.shear_strength, p.adhesive.peel_strength) for p in panel.patches]


def _more_severe(path: Path, subject: Subject, old: LoadResult, settings: Settings, ratio: float) -> LoadResult:
    """A result if the load is `ratio` times as severe as stated: the same path, its factors divided."""

    def divided(mode: ModeReserve) -> ModeReserve:
        return replace(mode, factor=mode.factor / ratio)

    return replace(
        old,
        modes=tuple(divided(m) for m in old.modes),
        release=divided(old.release),
        first_ply=divided(old.first_ply),
        theory=subject.theory(path.state(settings.asked * ratio)),
    )
