"""Reserves along the load path.

Where the response is proportional one state gives every factor.  Where it is not (contact), the factor of a mode is
the p with r(p) = 1, r(p) being the factor still to go on what was added between the held state and the state at p; it
is found by a secant on log r over log p, with every state computed kept for the other modes.  Where the path ends
before a mode is reached, the panel gives way there: that is a mode of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from panelfem.arrays import FloatArray
from panelfem.errors import PathEndsError
from panelfem.reserve.check import Check, ContactCheck, merge
from panelfem.reserve.observe import Observed, Response, State
from panelfem.reserve.records import LoadResult, ModeReserve

#: A mode not reached at this many times the expected severity is reported as beyond the search.
SEARCH_LIMIT = 5.0
#: The same where the panel is followed with large displacements.
FAR_LIMIT = 3.0
#: The criterion of modes in which the panel gives way as a whole.
STABILITY = "stability"
#: The factor is found when r(p) is this near to 1.
TOLERANCE = 1e-3
#: The same for modes that govern nothing and are looked for all the same.
CLOSE = 1e-2
_MOST_STEPS = 14

Key = tuple[str, str]


@dataclass
class Path:
    """The states of one response, and what the checks say of each; computed once, asked often.

    `start`: the factor at which the search for the governing mode begins, `start_plies` that for the first ply failure
    (None: at `start`); it ends within `near` of a factor, and at `limit`.  `nearness`: of
    buckling, as computed, over the hand measure; `warmed` K since the panel was fitted.  `ended`: the end of the path,
    once met.
    """

    response: Response
    observer: Callable[[State], Observed]
    checks: Sequence[Check]
    start: float = 1.0
    start_plies: float | None = None
    near: float = TOLERANCE
    limit: float = SEARCH_LIMIT
    nearness: float = 1.0
    warmed: float = 0.0
    held: Observed = field(init=False)
    ended: PathEndsError | None = field(default=None, init=False)
    _states: dict[float, State] = field(default_factory=dict, init=False)
    _reserves: dict[tuple[float, bool], dict[Key, ModeReserve]] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self.held = self.observer(self.response.held)
        if self.response.held.large:
            self.limit = FAR_LIMIT

    def state(self, factor: float) -> Observed:
        """What is observed at a factor, or at the end of the path if that comes first."""
        return self.observer(self._at(factor))

    def found(self, factor: float) -> State:
        """The equilibrium at a factor, or at the end of the path if that comes first."""
        return self._at(factor)

    def unknowns(self, factor: float) -> FloatArray:
        """All unknowns (n_total,) at a factor, or at the end of the path if that comes first."""
        return self._at(factor).unknowns

    def within(self, factor: float) -> float:
        """The factor itself, or the end of the path where it does not reach that far."""
        if self.ended is None and factor not in self._states:
            try:
                self._states[factor] = self.response.at(factor)
            except PathEndsError as end:
                self.ended = end
        return factor if self.ended is None else min(factor, self.ended.factor)

    def _at(self, factor: float) -> State:
        factor = self.within(factor)
        if factor not in self._states:
            self._states[factor] = self.response.at(factor)
        return self._states[factor]

    def reserves(self, factor: float, everything: bool) -> dict[Key, ModeReserve]:
        """Reserves on what was added up to `factor`, by (criterion, mode)."""
        key = (factor, everything)
        if not everything and (factor, True) in self._reserves:
            return self._reserves[factor, True]
        if key not in self._reserves:
            now = self.state(factor)
            found = merge([r for check in self.checks for r in check.reserves(self.held, now, everything)])
            self._reserves[key] = {(r.criterion, r.mode): r for r in found}
        return self._reserves[key]

    def start_like(self, other: LoadResult) -> None:
        """Start the search at the factors of another result."""

        def start(mode: ModeReserve) -> float:
            known = mode.status != "zero load" and mode.criterion != STABILITY
            return min(max(mode.factor, 0.1), self.limit) if known else self.start

        self.start_plies, self.start = start(other.first_ply), start(other.release)

    def take_over(self, other: Path) -> None:
        """Take over the states another path knows of the same response; observers and checks may differ."""
        self._states.update(other._states)

    def nearby(self, everything: bool) -> list[float]:
        """Factors to interpolate between, in order: those where everything is known, or else the three nearest to
        `start`; never zero, where nothing is added to what is held."""
        if everything:
            return sorted(p for p, complete in self._reserves if complete)
        near = sorted((p for p in self._states if p > 0.0), key=lambda p: abs(math.log(p / self.start)))
        return sorted(near[:3])

    def visited(self) -> list[float]:
        """Factors at which states are known, in order."""
        return sorted(self._states)


def along(path: Path, everything: bool = True, known: bool = False) -> list[ModeReserve]:
    """Every mode's reserve on the load case's own parameter.

    The release-governing mode and the first ply failure are found to :data:`TOLERANCE`, and what needs no more than the
    contacts to :data:`CLOSE`; with a response that is not proportional the others are interpolated between the states
    computed on the way (and those at 1 and at the two found).

    `everything` False leaves out the criteria that govern nothing, and finds the release-governing mode only; `known`
    True computes no new state and interpolates every mode.
    """
    first = path.reserves(path.within(1.0), everything)
    if path.response.proportional:
        return [_capped(r) for r in first.values()]
    if known:
        every = [_interpolated(path, key, everything) for key in first]
        return every if path.ended is None else [*every, _giving_way(path.ended)]
    found: dict[Key, ModeReserve] = {}
    families = (_is_release, _is_first_ply) if everything else (_is_release,)
    for family in families:
        begin = path.start_plies if family is _is_first_ply else None
        governing = _find(path, family, path.start if begin is None else begin)
        if governing is not None:
            found[governing.criterion, governing.mode] = governing
            if governing.status == "found":
                path.reserves(governing.factor, everything)
    every = [found.get(key) or _interpolated(path, key, everything) for key in first]
    every = [_looked_for(path, mode) for mode in every]
    return every if path.ended is None else [*every, _giving_way(path.ended)]


def _looked_for(path: Path, guess: ModeReserve) -> ModeReserve:
    """A mode with its factor found if contacts tell it; as guessed, if they do not, or beyond all states that are known
    or wanted, and with large displacements, where every state is dear.
    """
    check = next((c for c in path.checks if isinstance(c, ContactCheck) and c.mode == guess.mode), None)
    known = path.visited()
    if check is None or path.response.held.large or guess.status != "found" or guess.factor > known[-1]:
        return guess
    alone = Path(path.response, check.observed, [check], near=CLOSE, limit=known[-1])
    alone.take_over(path)
    mode = _find(alone, lambda reserve: True, max(guess.factor, 0.02), True)
    return guess if mode is None or mode.status != "found" else mode


def _giving_way(end: PathEndsError) -> ModeReserve:
    """The mode of a path that ends."""
    mode = "snap-through" if end.snaps else "no equilibrium found"
    return ModeReserve(mode, STABILITY, "release", end.factor)


def _is_release(reserve: ModeReserve) -> bool:
    return reserve.grade == "release"


def _is_first_ply(reserve: ModeReserve) -> bool:
    return reserve.decides


def _find(
    path: Path, family: Callable[[ModeReserve], bool], start: float, everything: bool = False
) -> ModeReserve | None:
    """The member of a family of modes that is reached first, with its factor on the parameter; looked for from `start`
    on, with `everything` also among those that govern nothing.
    """
    limit = path.limit

    def governing(p: float) -> ModeReserve | None:
        members = [r for r in path.reserves(p, everything).values() if family(r)]
        return min(members, key=lambda r: r.rank) if members else None

    p, known = start, list[tuple[float, float]]()
    for _ in range(_MOST_STEPS):
        p = path.within(p)
        mode = governing(p)
        if mode is None:
            return None
        if mode.status == "zero load":
            return mode
        if path.ended is not None and p >= path.ended.factor and mode.factor >= 1.0:
            return replace(mode, factor=p, status="beyond search")
        if math.isinf(mode.factor) or (p >= limit and mode.factor >= 1.0):
            if p >= limit:
                return replace(mode, factor=limit, status="beyond search")
            p = min(limit, 2.5 * p)
            continue
        if abs(mode.factor - 1.0) <= path.near:
            return replace(mode, factor=p * mode.factor)
        known.append((math.log(p), math.log(max(mode.factor, 1e-9))))
        p = min(limit, math.exp(_next(known)))
    mode = governing(p)
    return None if mode is None else replace(mode, factor=p * mode.factor)


def _next(known: list[tuple[float, float]]) -> float:
    """The next log p: between the last points of either sign if there are both, else as if proportional."""
    x, y = known[-1]
    above = [k for k in known if k[1] > 0]
    below = [k for k in known if k[1] <= 0]
    if above and below:
        a, b = max(above), min(below)
        guess = a[0] + (b[0] - a[0]) * a[1] / (a[1] - b[1])
        # an end that stays put is overtaken by the middle
        if len(known) >= 4 and (known[-1][1] > 0) == (known[-2][1] > 0) == (known[-3][1] > 0):
            guess = (a[0] + b[0]) / 2.0
        return guess
    if len(known) >= 2:
        slope = (y - known[-2][1]) / (x - known[-2][0])
        if -3.0 < slope < -0.3:
            return x - y / slope
    return x + y


def _capped(reserve: ModeReserve, limit: float = SEARCH_LIMIT) -> ModeReserve:
    """A reserve beyond the search, said so."""
    if reserve.status == "found" and reserve.factor > limit:
        return replace(reserve, factor=limit, status="beyond search")
    return reserve


def _interpolated(path: Path, key: Key, everything: bool) -> ModeReserve:
    """A mode's reserve from the states already computed: a straight line in log p, log r where they enclose it."""
    limit = path.limit if path.ended is None else min(path.limit, path.ended.factor)
    points = []
    for p in path.nearby(everything):
        reserve = path.reserves(p, everything).get(key)
        if reserve is None:
            continue
        if reserve.status == "zero load":
            return reserve
        points.append((p, reserve))
    for (p, r), (q, s) in pairwise(points):
        if r.factor >= 1.0 >= s.factor and math.isfinite(r.factor):
            y, z = math.log(r.factor), math.log(s.factor)
            t = y / (y - z) if y > z else 0.0
            return _capped(replace(s if t > 0.5 else r, factor=math.exp(math.log(p) + t * math.log(q / p))), limit)
    p, r = min(points, key=lambda item: abs(math.log(item[1].factor)) if math.isfinite(item[1].factor) else math.inf)
    return _capped(replace(r, factor=p * r.factor), limit)
