"""A load followed with large displacements along the branch that the panel really takes.

A perfectly flat panel pressed edge-on would stay flat for ever, on a path that is not stable.  Where the panel buckles
below what is looked at, and where the path found is not stable, it is followed from an initial shape like its buckling
mode instead.  Reserves past buckling are then real ones.  Which way it bulges matters where it is curved: a panel that
bends bulges the way it moves anyway, one that is only pressed the worse of both.  Where that path is not stable either,
it ends.

Source: an initial shape of a tenth of the thickness or a thousandth of the width of the bay, the greater of the two, is
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.large import Following
from panelfem.assess.model import Bent, Imperfection, Model
from panelfem.assess.modes import Found, look
from panelfem.assess.solve import Solved, bow, followed
from panelfem.errors import ModelError, PathEndsError
from panelfem.loads import LoadCase
from panelfem.reserve.analyse import Settings
from panelfem.shell.equilibrium import Point
from panelfem.shell.fields import surface_at
from panelfem.shell.large import carried
from panelfem.shell.stability import Mode, buckling, initial_shape, stable

#: Height of the initial shape over the thickness there, and over the width of the bay.
THICKNESS, WIDTH = 0.1, 1e-3
#: Motion off the surface below this share of the whole is none.
NONE = 1e-6
#: Where a path ends, stability is looked at up to this share of its last factor: there the tangent is singular.
SHORT = 0.98
#: A mode is looked for so many times as far from the last stable point as the first one that is not stable.
AHEAD = 3.0
#: A path that is not stable from the start ends at this factor.
START = 1e-3

#: The last stable point of a path, None: there is none, and one that is not stable.
Lost = tuple[Point | None, Point]


@dataclass(frozen=True)
class Foreseen:
    """What is known of a load before it is followed: how it buckles, None: that was not asked, as it bends the panel
    far without; the factor looked at, `reach`; and that up to which buckling is looked for, `within`.
    """

    found: Found | None
    reach: float
    within: float

    @property
    def buckles(self) -> bool:
        """Whether it is known to buckle within reach."""
        return self.found is not None and bool(self.found.modes) and self.found.least < self.reach


def followed_stably(
    low: Solved, high: Solved, load: LoadCase, foreseen: Foreseen, settings: Settings
) -> tuple[Solved, Solved, Found]:
    """Both linear solutions with a load followed with large displacements, and how it buckles, if that was asked."""
    linear, found, bends = (low, high), foreseen.found, foreseen.found is None
    mode, lost = found.modes[0] if found is not None and found.modes else None, None
    buckles = foreseen.buckles
    if not buckles:
        low = followed(low, load, low.responder.following(load, bow=bow(low, load, settings)), settings)
        lost, ended = _lost(low, load, settings), low.paths[load.name].ended
        buckles = lost is not None or (ended is not None and not ended.snaps)
        if buckles and found is None:
            found = look(*linear, load, foreseen.within)
            mode = found.modes[0] if found.modes else None
        if lost is not None:
            mode = _about(low, load, *lost) or mode
    if mode is not None and buckles:
        held = found is not None and found.held
        ways = _ways(linear[0], load, mode, bends and not held)
        low = _from_initial_shape(linear[0], load, mode, held, ways, settings)
        lost = _lost(low, load, settings)
    low = _ended(low, linear[0], load, lost, settings)
    bent, guide = low.responder.bent.get(load.name), low.responder.far[load.name]
    if bent is not None:
        shape = bent.imperfection
        shape = replace(shape, shape=carried(low.model.shell, high.model.shell, shape.shape))
        high.responder.bent[load.name] = Bent(high.model, shape)
    high = followed(high, load, high.responder.following(load, guide=guide), settings, low)
    high = _ended(high, linear[1], load, _lost(high, load, settings, governing=True), settings)
    return low, high, found or Found()


# ------------------------------------------------------------------------------------------------------ initial shape
def _from_initial_shape(
    linear: Solved, load: LoadCase, mode: Mode, held: bool, ways: Sequence[float], settings: Settings
) -> Solved:
    """The solution with a load followed from an initial shape like a buckling mode, the worst of some ways; `held`: it
    is that of what is held alone.
    """
    model, responder = linear.model, linear.responder
    height = _height(model, mode, settings)
    tried: list[tuple[Solved, Bent, Following]] = []
    for way in ways:
        shape = initial_shape(model.shell, mode.shape, way * height)
        bent = Bent(model, Imperfection(shape, height, mode, held))
        responder.bent[load.name] = bent
        response = responder.following(load, bow=bow(linear, load, settings))
        tried.append((followed(linear, load, response, settings), bent, response))
    solved, bent, response = min(tried, key=lambda item: item[0].result(load.name).release.rank)
    responder.bent[load.name], responder.far[load.name] = bent, response
    return solved


def _height(model: Model, mode: Mode, settings: Settings) -> float:
    """Height of the initial shape, m."""
    if settings.imperfection is not None:
        return settings.imperfection
    thickness = model.panel.laminates[int(model.panel.laminate_of[mode.element])].thickness
    nearest = int(((model.subject.sampling.points - mode.place) ** 2).sum(axis=1).argmin())
    return max(THICKNESS * thickness, WIDTH * float(model.subject.limits.width[nearest]))


def _ways(linear: Solved, load: LoadCase, mode: Mode, bends: bool) -> tuple[float, ...]:
    """Which ways the initial shape is tried: either where the panel has no side, that of the linear motion where the
    load `bends` it, else both.
    """
    moved, share = _off(linear, linear.paths[load.name].unknowns(1.0))
    if share < NONE:
        return (1.0,)
    along = float((moved * _off(linear, mode.shape)[0]).sum())
    return (math.copysign(1.0, along),) if bends else (1.0, -1.0)


def _off(solved: Solved, u: FloatArray) -> tuple[FloatArray, float]:
    """Motion along the normal (n, nu) m of the nodes of elements, and its share of the whole."""
    shell = solved.model.shell
    moves = u[shell.layout.displacement_unknowns[shell.active]]
    nodes = shell.layout.tables.triangle.displacement.nodes
    normal = surface_at(shell.layout, nodes, np.flatnonzero(shell.active))[1]
    along = np.einsum("enc,enc->en", moves, normal)
    return along, float(np.linalg.norm(along)) / max(float(np.linalg.norm(moves)), 1e-300)


# ---------------------------------------------------------------------------------------------------------- stability
def _lost(solved: Solved, load: LoadCase, settings: Settings, governing: bool = False) -> Lost | None:
    """Where the path followed loses its stability; None: it is stable at the severity expected, at the factor asked for
    and at the one that governs (with `governing`, there only), as far as it goes.
    """
    response, path, release = _response(solved, load), solved.paths[load.name], solved.result(load.name).release
    end = math.inf if path.ended is None else SHORT * path.ended.factor
    wanted = (max(release.rank, 0.0),) if governing else (1.0, settings.asked, max(release.rank, 0.0))
    points, eq = response.path.points, response.equilibrium
    for factor in sorted({min(f, end) for f in wanted}):
        at = max(i for i, point in enumerate(points) if point.factor <= factor)
        if stable(eq, points[at]):
            low, high = -1, at
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if stable(eq, points[middle]) else (middle, high)
            return points[low] if low >= 0 else None, points[high]
    return None


def _about(solved: Solved, load: LoadCase, last: Point | None, beyond: Point) -> Mode | None:
    """The mode in which a path loses its stability, as the panel stands at the last stable point; None: not found."""
    if last is None:
        return None
    within = last.factor + AHEAD * (beyond.factor - last.factor)
    try:
        found = buckling(_response(solved, load).equilibrium, last, 1, within).modes
    except ModelError:
        return None
    return found[0] if found else None


def _ended(solved: Solved, linear: Solved, load: LoadCase, lost: Lost | None, settings: Settings) -> Solved:
    """The solution, its path ended where it is no longer stable."""
    if lost is None:
        return solved
    last, response = lost[0], _response(solved, load)
    end = START if last is None else max(last.factor, START)
    response.stop(PathEndsError(end, False, "the shape found is not stable beyond it, the panel may jump to another"))
    return followed(linear, load, response, settings)


def _response(solved: Solved, load: LoadCase) -> Following:
    response = solved.responder.far[load.name]
    assert response is not None
    return response
