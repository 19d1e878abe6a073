"""From first to last ply: a laminate under resultants that grow in proportion, whose failed plies lose stiffness.

At each step the ply and mode that are reached first fail, and the laminate is worked out anew at the same load (ply
discount).  A matrix mode leaves a ply shares of E2 and G12; reached again, it leaves next to none.  A fibre mode
leaves next to nothing of the ply.  It ends when nothing carries the load any more.  Cores do not fail here, and failed
plies neither part from their neighbours nor buckle, so the last load is an estimate from above.

Source: ply discount as in R. M. Jones 1999, Mechanics of Composite Materials, 2nd ed., section 4.5 (recalled); the
shares are assumed (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.criterion import ALONG, Criterion
from panelfem.failure.maximum_stress import MAXIMUM_STRESS
from panelfem.laminate import Laminate, Ply
from panelfem.material import PlyMaterial

#: Share of a modulus that something broken keeps, so that the laminate can still be solved.
NOTHING = 1e-3
#: Nothing carries the load any more where the plies add less than this share of the first stiffness along it.
LOST = 0.01
#: Plies whose factors differ by less fail together.
_TOGETHER = 1e-9
_FIBRE = ("fibre", "warp", "fill")

Breaks = Literal["matrix", "fibre"]


@dataclass(frozen=True)
class Shares:
    """What a cracked matrix leaves of E2 and of G12 (assumed: common practice, no source).

    Raises InputError for a share that is not above 0 and at most 1.
    """

    E2: float = 0.1
    G12: float = 0.1

    def __post_init__(self) -> None:
        if not (0.0 < self.E2 <= 1.0 and 0.0 < self.G12 <= 1.0):
            raise InputError(
                f"shares {self.E2:g} and {self.G12:g} of stiffness cannot be left", allowed="above 0, at most 1"
            )


@dataclass(frozen=True)
class Event:
    """At `factor` times the load, `plies` (from 1 at the bottom) fail in `mode`, which `breaks` matrix or fibre;
    `before` and `after` (6,): strain and curvature per factor.  A factor not above an earlier one: it follows that
    failure at once.
    """

    factor: float
    plies: tuple[int, ...]
    mode: str
    breaks: Breaks
    before: FloatArray
    after: FloatArray


@dataclass(frozen=True)
class Progression:
    """All failures of `laminate` in order; `load` (6,) N/m and N.  `collapsed`: no ply carries the load at the end;
    False where what is left is never reached.
    """

    laminate: Laminate
    load: FloatArray
    events: tuple[Event, ...]
    collapsed: bool

    @property
    def first(self) -> float:
        """Factor of first ply failure, inf if nothing is reached."""
        return self.events[0].factor if self.events else math.inf

    @property
    def last(self) -> float:
        """Greatest factor carried; inf if what is left is never reached."""
        return max(event.factor for event in self.events) if self.collapsed else math.inf

    @property
    def curve(self) -> tuple[tuple[float, float], ...]:
        """(strain, factor) under a load that is never lowered, from rest to the last ply: the strain is that on which
        the load works, divided by its size (1/m where it is a moment).
        """
        size = float(np.linalg.norm(self.load))
        points, top = [(0.0, 0.0)], 0.0
        for event in self.events:
            before, after = (float(self.load @ strain) / size for strain in (event.before, event.after))
            if event.factor > top:
                top = event.factor
                points.append((top * before, top))
            points.append((top * after, top))
            if top >= self.last:
                break
        return tuple(points[:-1] if self.collapsed else points)


@dataclass
class _State:
    """Which plies are cracked, uncracked or broken: 0 whole, 1 cracked, 2 the matrix gone, 3 broken."""

    laminate: Laminate
    shares: Shares
    of: list[int] = field(default_factory=list)

    def now(self) -> Laminate:
        plies = tuple(self._ply(ply, state) for ply, state in zip(self.laminate.plies, self.of, strict=True))
        return replace(self.laminate, plies=plies)

    def _ply(self, ply: Ply, state: int) -> Ply:
        m = ply.material
        if state == 0 or not isinstance(m, PlyMaterial):
            return ply
        if state == 3:
            along = across = shear = NOTHING
        elif state == 2:
            along, across, shear = 1.0, NOTHING, NOTHING
        else:
            along, across, shear = 1.0, self.shares.E2, self.shares.G12
        if m.kind == "fabric" and state < 3:
            across = 1.0
        return replace(ply, material=replace(m, E1=along * m.E1, E2=across * m.E2, G12=shear * m.G12))

    def fail(self, ply: int, breaks: Breaks) -> None:
        self.of[ply] = 3 if breaks == "fibre" else self.of[ply] + 1


@dataclass(frozen=True)
class _Reached:
    factor: float
    ply: int
    mode: str
    breaks: Breaks


def progression(
    laminate: Laminate,
    load: FloatArray,
    change: float = 0.0,
    shares: Shares | None = None,
    decide: Mapping[str, str] | None = None,
) -> Progression:
    """Failures under resultants `load` (6,), N/m and N, growing from zero, with a temperature `change` K held.

    `decide`: criterion by kind of ply, over the library's choice.  A criterion without modes counts as fibre failure
    where its greatest term is the stress along the fibre; once the matrix is cracked, maximum stress along the fibre
    takes its place.  Raises InputError for no load, or no fibre ply.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> found = progression(Laminate(parse_stack("[0/90]s", library(), "T300-5208")), np.array([1e5, 0, 0, 0, 0, 0]))
    >>> [(round(e.factor, 2), e.plies, e.mode) for e in found.events]
    [(1.87, (2, 3), 'matrix tension'), (3.77, (1, 4), 'fibre tension')]
    """
    load = np.asarray(load, np.float64)
    if load.shape != (6,) or not np.isfinite(load).all() or not load.any():
        raise InputError("first to last ply needs a load", allowed="six finite resultants, not all 0")
    if not any(isinstance(ply.material, PlyMaterial) for ply in laminate.plies):
        raise InputError("no ply of this stack can fail", do="use plies with strengths")
    state = _State(laminate, shares or Shares(), [0] * len(laminate.plies))
    by_kind = {kind: CRITERIA[(decide or {}).get(kind) or deciding(kind)] for kind in ("unidirectional", "fabric")}
    events: list[Event] = []
    now = laminate
    strain = now.strain_under(load)
    whole = 1.0 / float(load @ strain)
    bare = 1.0 / float(load @ _State(laminate, state.shares, [3] * len(state.of)).now().strain_under(load))
    collapsed = False
    while not collapsed:
        reached = _reached(now, strain, change, state.of, by_kind, laminate)
        if not reached:
            break
        first = min(reached, key=lambda r: r.factor)
        least = first.factor * (1.0 + _TOGETHER)
        together = [r for r in reached if r.factor <= least and (r.mode, r.breaks) == (first.mode, first.breaks)]
        for r in together:
            state.fail(r.ply, r.breaks)
        now = state.now()
        after = now.strain_under(load)
        plies = tuple(r.ply + 1 for r in together)
        events.append(Event(first.factor, plies, first.mode, first.breaks, strain, after))
        strain = after
        collapsed = 1.0 / float(load @ strain) - bare < LOST * whole
    return Progression(laminate, load, tuple(events), collapsed)


def _reached(
    now: Laminate,
    strain: FloatArray,
    change: float,
    of: list[int],
    by_kind: Mapping[str, Criterion],
    whole: Laminate,
) -> list[_Reached]:
    """For each ply that can still fail, the mode reached first, if any; at zero load: factor 0."""
    applied = now.ply_stresses(strain)
    held = now.ply_stresses(now.strain_under(now.thermal_resultants(change)), change)
    out = []
    for i, ply in enumerate(whole.plies):
        material = ply.material
        if not isinstance(material, PlyMaterial) or of[i] == 3:
            continue
        criterion = by_kind[material.kind]
        modeless = len(criterion.modes) == 1
        if modeless and of[i]:
            criterion = MAXIMUM_STRESS if material.kind == "unidirectional" else CRITERIA[deciding("fabric")]
        factors = np.nan_to_num(criterion.reserve(applied[i], held[i], material), nan=0.0, posinf=np.inf)
        if of[i] == 2:
            factors[:, [not mode.name.startswith(_FIBRE) for mode in criterion.modes]] = np.inf
        where, which = divmod(int(np.argmin(factors)), len(criterion.modes))
        factor = float(factors[where, which])
        if math.isinf(factor):
            continue
        name = criterion.modes[which].name
        if len(criterion.modes) == 1:
            total = held[i, where] + factor * applied[i, where]
            breaks: Breaks = "fibre" if criterion.largest_term(total, material).startswith(ALONG) else "matrix"
        else:
            breaks = "fibre" if name.startswith(_FIBRE) else "matrix"
        out.append(_Reached(factor, i, name, breaks))
    return out
