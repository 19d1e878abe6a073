"""The assumed inputs of a state at the ends of their bands.

What needs no other matrix is read again off the solutions there are: a severity divides the factors along the path, a
strength is compared with the same states, a fixing or the car changes small dense algebra.  A modulus needs a new
factor; it is swept under the load that governs.  Where a load is failed by more than a band can mend, no other load is
swept over that band: nothing lifts an outcome.
"""

from __future__ import annotations

import gc
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.model import Bent, Imperfection, Model
from panelfem.assess.plan import Inputs, State, plans, states
from panelfem.assess.respond import Responder
from panelfem.assess.sweep import Swept, swept
from panelfem.case import AssumedInput, Sweep
from panelfem.disposition.judge import SURVIVE
from panelfem.loads import LoadCase
from panelfem.loads.fixings import fastener_stiffness
from panelfem.material import Adhesive
from panelfem.panel import Panel
from panelfem.reserve.analyse import Settings, Subject, brief, path_of
from panelfem.reserve.bars import FAR_OFF
from panelfem.reserve.check import Words
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.reserve.search import STABILITY, Path
from panelfem.reserve.theory import BUCKLING, DEFLECTION, ROTATION
from panelfem.shell import Shell
from panelfem.units import number

#: A load is swept only if its reserve is within a factor of what is asked: 1 and so many times the band's half width,
#: and at most `FAR_OFF` (a reserve moves in proportion to a strength, and by less with a modulus).
WIDTHS = 3.0
#: A reserve taken from a straight line must be further than this share from what is asked.
CLOSE = 0.1

#: Why a lost bond was looked at only, whatever the reserve.
LOST_ANYWAY = (
    "with the bond whole the factor asked for is not met, so that what is left without it changes no outcome: it was "
    "only looked at, with elements of one order, its mesh error not known"
)

Results = tuple[LoadResult, ...]


@dataclass(frozen=True)
class _End:
    """A state at an end of a band: what is read off, the fixings, the loads, and factors on their severity."""

    subject: Subject
    stiffness: FloatArray
    loads: tuple[LoadCase, ...]
    severity: Mapping[str, float]


def read_again(
    model: Model,
    responder: Responder,
    inputs: Inputs,
    settings: Settings,
    words: Words,
    assumed: Sequence[AssumedInput],
    results: Sequence[LoadResult],
    paths: Mapping[str, Path],
) -> dict[tuple[int, int], Results]:
    """(number of the input, end 0 or 1) -> results, for the inputs that leave the matrix as it is and change
    something.
    """
    stated = _End(model.subject, model.holding.stiffness, inputs.loads, {})
    found: dict[tuple[int, int], Results] = {}
    for key, sweep, factor in _ends(assumed):
        near = _near(results, settings, sweep)
        if _new_matrix(model.panel, sweep) or not (any(near) or sweep.kind in ("severity", "dynamic")):
            continue
        if sweep.kind == "fastener stiffness":
            # every state is new: the load that governs is enough
            worst = min((i for i, close in enumerate(near) if close), key=lambda i: results[i].release.rank)
            near = [i == worst for i in range(len(near))]
        end = _end(model, stated, swept(inputs, sweep, factor), words)
        if end is not None:
            found[key] = tuple(
                _result(responder, stated, end, load, whole, paths[load.name], settings, close)
                for load, whole, close in zip(end.loads, results, near, strict=True)
            )
    return found


def solved_again(
    shell: Shell,
    state: State,
    inputs: Inputs,
    settings: Settings,
    words: Words,
    assumed: Sequence[AssumedInput],
    results: Sequence[LoadResult],
    bent: Mapping[str, Imperfection],
) -> dict[tuple[int, int], Results]:
    """(number of the input, end 0 or 1) -> results, for the moduli; the load that governs is solved again.

    `bent`: load -> the initial shape it is followed from, where that is not quite the panel's.
    A reserve is nearly linear in a modulus, so the high end is solved only if the straight line from the low end comes
    near what is asked there; else the line is taken.
    """
    found: dict[tuple[int, int], Results] = {}
    for key, sweep, factor in _ends(assumed):
        near = [i for i, close in enumerate(_near(results, settings, sweep)) if close]
        if not near or not _new_matrix(state.panel, sweep):
            continue
        worst = min(near, key=lambda i: results[i].release.rank)
        load, whole = inputs.loads[worst], results[worst]
        rows = list(results)
        low = found.get((key[0], 0))
        if key[1] == 1 and low is not None:
            slope = (whole.release.rank - low[worst].release.rank) / (1.0 - sweep.low)
            line = whole.release.rank + slope * (sweep.high - 1.0)
            if abs(line / settings.asked - 1.0) > CLOSE and low[worst].theory.holds == whole.theory.holds:
                rows[worst] = _moved_by(whole, line / whole.release.factor)
                found[key] = tuple(rows)
                continue
        other = states(plans(swept(inputs, sweep, factor).inputs))[state.key]
        model = Model(other, shell.mesh.order, words, shell)
        responder = Responder(model, (load,))
        if whole.linear is not None:
            responder.far[load.name] = None
        if load.name in bent:
            responder.bent[load.name] = Bent(model, bent[load.name])
        path = path_of(model.subject, load, responder(load), settings)[0]
        rows[worst] = brief(path, model.subject, whole, settings)
        found[key] = tuple(rows)
        del model, path
        gc.collect()
    return found


def _ends(assumed: Sequence[AssumedInput]) -> Iterator[tuple[tuple[int, int], Sweep, float]]:
    """Every end of every band: its key, the sweep, and the factor on the stated value."""
    for i, item in enumerate(assumed):
        if item.sweep is None:
            continue
        for end, factor in enumerate((item.sweep.low, item.sweep.high)):
            if factor != 1.0:
                yield (i, end), item.sweep, factor


def _near(results: Sequence[LoadResult], settings: Settings, sweep: Sweep) -> list[bool]:
    """Under which loads a band could change the outcome: the reserve or a measure of linear theory is close to its
    limit, and no load is failed by so much that it stays so.
    """
    reach = min(FAR_OFF, 1.0 + WIDTHS * max(1.0 - sweep.low, sweep.high - 1.0))
    if any(_over(result, settings.asked) < 1.0 / reach for result in results):
        return [False] * len(results)
    measures = [(result.release.rank / settings.asked, _moves(result)) for result in results]
    return [any(1.0 / reach <= share <= reach for share in both) for both in measures]


def _over(result: LoadResult, asked: float) -> float:
    """The reserve of a load that is failed for certain, over what is asked of it; inf for others."""
    mode = result.release
    if not result.theory.holds or mode.criterion == STABILITY or mode.status == "beyond search":
        return math.inf
    return mode.rank / (1.0 if result.kind == "load test" else asked)


def _moves(result: LoadResult) -> float:
    """The greatest measure of linear theory over its limit."""
    theory = result.theory
    return max(
        theory.deflection_over_thickness / DEFLECTION,
        theory.rotation / ROTATION,
        theory.buckling_share / BUCKLING,
    )


def screened_out(result: LoadResult, asked: float) -> str:
    """Why a load is not looked at beyond its own severity, in words; empty if it is."""
    over, moves = result.release.rank / asked, _moves(result)
    if over <= FAR_OFF or moves >= 1.0 / FAR_OFF:
        return ""
    return (
        f"its reserve is {number(over, 2)} times what is asked for and the panel moves {number(moves, 2)} of what "
        f"linear theory allows (screened out above {number(FAR_OFF)} and below {number(1.0 / FAR_OFF)}): swept "
        f"over the bands of its own severity only"
    )


def outdone(results: Sequence[LoadResult], result: LoadResult, asked: float) -> str:
    """Why inputs with narrow bands were not swept under a load near what is asked, in words; empty if they were."""
    worst = min(results, key=lambda r: _over(r, asked))
    over = _over(worst, asked)
    if over >= 1.0 or worst is result or not 1.0 / FAR_OFF <= result.release.rank / asked <= FAR_OFF:
        return ""
    width = 100.0 * (1.0 / over - 1.0) / WIDTHS if over >= 1.0 / FAR_OFF else 0.0
    which = f"bands narrower than {number(width, 2)} % either way" if width else "bands"
    left = f"only {number(over, 2)} times what is asked for" if over > 0.0 else "used up before the load is applied"
    return (
        f"under {worst.load} the reserve is {left}, so that inputs with {which} "
        "change no outcome here: of these, only the severity of the load was swept"
    )


def survived(result: LoadResult) -> str:
    """Why a state that must only survive a load needs no more than a look, in words; empty if it does."""
    if result.release.rank <= FAR_OFF * SURVIVE or not result.theory.holds:
        return ""
    return (
        f"its reserve is {number(result.release.rank, 2)} where the load as expected must be survived (screened out "
        f"above {number(FAR_OFF)}), so it was only looked at: with elements of one order, its mesh error not known"
    )


def _new_matrix(panel: Panel, sweep: Sweep) -> bool:
    """Whether a sweep changes the stiffness of the panel: the modulus of a ply or a core in it.

    That of a layer of glue moves the bond line's peaks and next to nothing else.
    """
    if sweep.kind == "damage stiffness":
        return True
    of_target = [p.material for lam in panel.laminates for p in lam.plies if p.material.name == sweep.target]
    return sweep.kind == "stiffness" and any(not isinstance(material, Adhesive) for material in of_target)


def _bonds(panel: Panel) -> list[tuple[float, object]]:
    return [(patch.strength, patch.adhesive) for patch in panel.patches]


def _struck(panel: Panel) -> list[float]:
    return [area.strain for area in panel.struck]


def _ratings(panel: Panel) -> list[tuple[float | None, float | None]]:
    return [(f.rating_shear, f.rating_pull) for f in panel.fasteners]


def _end(model: Model, stated: _End, change: Swept, words: Words) -> _End | None:
    """The state at an end of a band; None if nothing of it changes."""
    other = states(plans(change.inputs)).get(model.state.key)
    if other is None:
        return None
    new, old = other.panel, model.panel
    stiffness = np.array([fastener_stiffness(f) for f in new.fasteners]).reshape(-1, 6)
    end = _End(stated.subject, stiffness, change.inputs.loads, change.severity)
    if any(a.length != b.length for a, b in zip(other.notches, model.state.notches, strict=True)):
        return replace(end, subject=model.read(other, words))
    if new.laminates != old.laminates or any(of(new) != of(old) for of in (_bonds, _ratings, _struck)):
        return replace(end, subject=model.subject.on(new))
    same_loads = all(a is b for a, b in zip(end.loads, stated.loads, strict=True))
    same = np.array_equal(end.stiffness, stated.stiffness) and same_loads and not end.severity
    return None if same else end


def _result(
    responder: Responder,
    stated: _End,
    end: _End,
    load: LoadCase,
    whole: LoadResult,
    path: Path,
    settings: Settings,
    near: bool,
) -> LoadResult:
    """The result of a load at an end of a band; `whole` and `path` are the stated ones.

    Severity needs no new state and is always followed; the rest only `near` what is asked.
    """
    ratio = end.severity.get(load.name, 1.0)
    if ratio != 1.0:
        return _more_severe(path, end.subject, whole, settings, ratio)
    moved = not np.array_equal(end.stiffness, stated.stiffness)
    moved |= load is not next(before for before in stated.loads if before.name == load.name)
    if not near or not (moved or end.subject is not stated.subject):
        return whole
    again = path_of(end.subject, load, responder(load, end.stiffness), settings)[0]
    if not moved:
        again.take_over(path)
    return brief(again, end.subject, whole, settings, known=not moved)


def _moved_by(whole: LoadResult, share: float) -> LoadResult:
    """A result all of whose factors are multiplied by `share`; a mode reached at zero load stays so."""

    def moved(mode: ModeReserve) -> ModeReserve:
        return replace(mode, factor=mode.factor * share, bar=mode.bar * share)

    modes = tuple(moved(m) for m in whole.modes)
    return replace(whole, modes=modes, release=moved(whole.release), first_ply=moved(whole.first_ply))


def _more_severe(path: Path, subject: Subject, old: LoadResult, settings: Settings, ratio: float) -> LoadResult:
    """A result if the load is `ratio` times as severe as stated: the same path, its factors divided."""
    return replace(_moved_by(old, 1.0 / ratio), theory=subject.theory(path, settings.asked * ratio))
