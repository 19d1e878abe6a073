"""Which loads buckle a panel, and whether linear theory stands where the hand measure of compression is over its limit.

The hand measure is quick and fears too much: where it is over its limit, the factors at which the panel buckles under
the load are computed, as it stands under what is held.  If compression alone is why linear theory would not hold, and
the first factor is far enough above what is looked at, linear theory stands.  Other loads are followed with large
displacements (:mod:`panelfem.assess.branch`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from panelfem.assess.branch import Foreseen, followed_stably
from panelfem.assess.model import Model
from panelfem.assess.modes import Found, bends, look
from panelfem.assess.solve import Solved, exchanged, greatest
from panelfem.loads import LoadCase
from panelfem.reserve.analyse import Settings
from panelfem.reserve.records import Buckling, TheoryCheck
from panelfem.reserve.search import FAR_LIMIT
from panelfem.reserve.theory import BUCKLING
from panelfem.units import number, with_bar

#: Share of the hand buckling load from which it is worth computing how the panel buckles.
PRESSED = 0.1
#: Buckling is looked for up to so many times the factor from which linear theory stands.
WITHIN = 2.0


def beyond_linear(
    low: Solved, high: Solved, checks: Mapping[str, TheoryCheck], settings: Settings
) -> tuple[Solved, Solved, Settings]:
    """Both linear solutions with the loads of `checks`, for which linear theory does not hold, followed with large
    displacements unless it stands after all; the settings then know how near buckling is.

    How a panel buckles is not asked of one that bends: the path tells whether it is stable.
    """
    for load in low.loads:
        check = checks.get(load.name)
        if check is None:
            continue
        looked = greatest(load, settings.asked)
        reach = max(looked, min(low.result(load.name).release.rank, FAR_LIMIT))
        within = max(WITHIN * looked / BUCKLING, reach)
        found = None
        if not bends(check):
            found, nearness = _buckles(low, high, load, check, looked, within)
            if nearness * check.buckling_share < BUCKLING:
                settings = replace(settings, nearness={**settings.nearness, load.name: nearness})
                note = _both(check, found, looked)
                low, high = (_standing(solved, load, found, note, settings) for solved in (low, high))
                continue
        low, high, found = followed_stably(low, high, load, Foreseen(found, reach, within), settings)
        low, high = (_told(solved, load, found) for solved in (low, high))
    return low, high, settings


def leaves_linear(
    low: Solved, checks: Mapping[str, TheoryCheck], settings: Settings, finer: Callable[[], Solved]
) -> str:
    """Load and measure by which a panel leaves linear theory under the loads of `checks`; empty if it stands.

    `finer` gives the solution of the higher order, needed only where compression alone is feared.
    """
    for name, check in checks.items():
        if bends(check):
            return f"{name}: {check.far[0]}"
    high = finer() if checks else low
    for load in low.loads:
        if (feared := checks.get(load.name)) is None:
            continue
        looked = greatest(load, settings.asked)
        _, nearness = _buckles(low, high, load, feared, looked, WITHIN * looked / BUCKLING)
        if nearness * feared.buckling_share >= BUCKLING:
            return f"{load.name}: {feared.far[0]}"
    return ""


def _buckles(
    low: Solved, high: Solved, load: LoadCase, check: TheoryCheck, looked: float, within: float
) -> tuple[Found, float]:
    """How a panel that does not bend buckles, up to a factor, and how near that is over the hand measure."""
    found = look(low, high, load, within) if _pressed(check) else Found()
    held = low.model.subject.theory(low.paths[load.name], 0.0)
    return found, _nearness(looked, found, check.buckling_share, held.buckling_share)


def _pressed(check: TheoryCheck) -> bool:
    """Whether a panel is pressed enough to be asked how it buckles."""
    return check.buckling_share >= PRESSED


def _nearness(looked: float, found: Found, share: float, held: float) -> float:
    """How near buckling is as computed, over the hand measure, which is `share` at the factor looked at and `held`
    without the scaled part; inf: that is not known.

    What is held counts in the same measure as what is added, though the factor is found from there on.
    """
    added = share - held
    return looked / found.least / added if found.least > 0.0 and added > 0.0 else math.inf


# ------------------------------------------------------------------------------------------------------------ results
def _both(check: TheoryCheck, found: Found, looked: float) -> str:
    """Why linear theory stands, with both measures of buckling."""
    first = f"buckles at {with_bar(*found.factors[0])}" if found.factors else f"stands up to {number(found.least, 3)}"
    return (
        f"compression at {number(looked, 3)} times the expected severity is {number(check.buckling_share, 2)} of a "
        f"hand buckling load, but as computed the panel {first} times it: linear theory holds"
    )


def _standing(solved: Solved, load: LoadCase, found: Found, note: str, settings: Settings) -> Solved:
    """A solution in which linear theory stands for a load."""
    path, result = solved.paths[load.name], solved.result(load.name)
    path.nearness = settings.nearness[load.name]
    theory = solved.model.subject.theory(path, settings.asked)
    record = _record(solved.model, found, 0.0)
    return exchanged(solved, replace(result, theory=theory, notes=(*result.notes, note), buckling=record))


def _told(solved: Solved, load: LoadCase, found: Found) -> Solved:
    """A solution followed with large displacements, with what was found of buckling."""
    result, bent = solved.result(load.name), solved.responder.bent.get(load.name)
    shape = None if bent is None else bent.imperfection
    notes = (found.note,) if found.note else ()
    record = _record(solved.model, found, 0.0 if shape is None else shape.height)
    if shape is not None and all(shape.mode is not mode for mode in found.modes):  # found on the path itself
        if record is not None:
            notes = (*notes, f"as it stands under what is held it would buckle at {with_bar(*found.factors[0])}")
        record = _record(solved.model, Found((shape.mode,), (shape.mode,)), shape.height)
        record = None if record is None else replace(record, bars=(math.nan,))
    return exchanged(solved, replace(result, notes=(*result.notes, *notes), buckling=record))


def _record(model: Model, found: Found, imperfection: float) -> Buckling | None:
    """What is reported; None where no mode was found."""
    if not found.factors:
        return None
    mode = (found.modes or found.higher)[0]
    shape = mode.shape[: 6 * len(model.panel.mesh.vertices)].reshape(-1, 6)[:, :3]
    shape = shape / max(float(np.linalg.norm(shape, axis=1).max()), 1e-300)
    factors, bars = zip(*found.factors, strict=True)
    return Buckling(factors, model.subject.words(mode.place), shape, imperfection, bars)
