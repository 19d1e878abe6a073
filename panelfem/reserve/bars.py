"""The mesh error of every number of a load case: the result of elements of order k + 1, with bars from that of order k.

Each number's bar is that of :func:`panelfem.accuracy.bars.measured`.  Reserves are compared mode by mode, wherever
either order finds the mode's place; a reserve at a point also carries how far the elements around that point disagree,
and one averaged at a singular place what a mean over elements of finite size leaves out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from panelfem.accuracy.bars import SPREAD, measured
from panelfem.arrays import BoolArray, FloatArray
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import PlyCheck
from panelfem.reserve.records import (
    BondCheck,
    ContactState,
    FixingLoad,
    LimitCheck,
    LoadResult,
    ModeReserve,
    PlyRow,
)
from panelfem.reserve.sampling import Sampling
from panelfem.shell import Recovery
from panelfem.units import number

#: Error of an average at a singular place, as a share, for each element length in the length averaged over (measured on
#: a free right-angled corner at order 3: 8, 5, 4, 2.5 and 1 % for twice to an eighth of it), and half of it at corners
#: of borders between laminates.
AVERAGED = 0.08
#: Elements so many times as long as the length averaged over say nothing of a singular place.
BLIND = 4.0
#: Modes read off the transverse shear.
SHEAR_MODES = ("core shear", "interlaminar shear")
#: A bar that reaches down to a place that may govern is put in words above this share of the reserve.
NOTICED = 0.02


def averaged_doubt(size: FloatArray, weak: BoolArray) -> FloatArray:
    """Doubt (n,), a share, of averages over a length on elements `size` (n,) times as long.

    `weak` (n,) marks corners of borders between laminates.  Where elements are longer than the length, the average
    tells the mean over the element: a field r^(−1/2), the strongest there is, has √size times as much over the length,
    one r^(−1/5), strong for a border, size^(1/5) times.

    >>> averaged_doubt(np.array([0.2, 1.0, 4.0, 10.0, 10.0]), np.arange(5) == 4).round(3).tolist()
    [0.016, 0.08, 1.0, inf, 0.585]
    """
    longer = np.maximum(size, 1.0)
    strong = np.where(size > BLIND, np.inf, np.maximum(AVERAGED * size, np.sqrt(longer) - 1.0))
    return np.where(weak, np.maximum(0.5 * AVERAGED * np.minimum(size, 10.0), longer**0.2 - 1.0), strong)


@dataclass(frozen=True)
class Doubt:
    """How far a strain at a sampling point may be off beside the step between the orders, as a share of itself."""

    sampling: Sampling
    recovery: Recovery
    stiffness: FloatArray
    unknowns: FloatArray
    now: Observed

    def __call__(self, mode: ModeReserve) -> float:
        """The doubt at the place of a mode; 0 for a mode that is not read off strains."""
        if mode.place is None or mode.laminate is None:
            return 0.0
        return float(self.shares[self._point(mode), int(mode.mode in SHEAR_MODES)])

    def _point(self, mode: ModeReserve) -> int:
        assert mode.place is not None
        among = np.flatnonzero(self.sampling.group == mode.laminate)
        gap = ((self.sampling.points[among] - mode.place) ** 2).sum(axis=1)
        kind = (self.sampling.length[among] > 0.0) != (mode.averaged > 0.0)
        return int(among[np.lexsort((kind, gap))[0]])

    @cached_property
    def shares(self) -> FloatArray:
        """The doubt (ns, 2) at every sampling point, of strains and curvatures and of transverse shear."""
        sampling = self.sampling
        out = np.zeros((len(sampling.points), 2))
        mean = sampling.length > 0.0
        weak = [place.point for place in sampling.places if place.kind == "laminate border"]
        gap = cKDTree(weak).query(sampling.points[mean])[0] if weak else np.full(int(mean.sum()), np.inf)
        sizes = self._sizes(sampling.points[mean]) / sampling.length[mean]
        out[mean] = averaged_doubt(sizes, np.asarray(gap < 1e-9))[:, None]
        at = np.flatnonzero(~mean)
        unrest = self.recovery.unrest(self.unknowns)[sampling.rows.indices[sampling.rows.indptr[at]]]
        law = self.stiffness[sampling.group[at]]
        strain, shear = self.now.strain[at, :6], self.now.shear[at]
        plane = np.einsum("ni,nij,nj->n", strain, law[:, :6, :6], strain)
        across = np.einsum("ni,nij,nj->n", shear, np.linalg.inv(law[:, 6:, 6:]), shear)
        size = np.sqrt(np.maximum(np.stack([plane, across], axis=1), 0.0))
        out[at] = np.divide(unrest, size, out=np.zeros_like(size), where=size > 0.0)
        return out

    def _sizes(self, points: FloatArray) -> FloatArray:
        """Length (n,) m of the elements' edges at the vertex nearest to each point (n, 3)."""
        mesh = self.recovery.shell.mesh
        corners = mesh.triangles.ravel()
        x = mesh.x[mesh.triangles]
        area = 0.5 * np.linalg.norm(np.cross(x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]), axis=1)
        count = np.bincount(corners)
        mean = np.bincount(corners, np.repeat(area, 3)) / np.maximum(count, 1)
        vertices = np.flatnonzero(count)
        nearest = vertices[cKDTree(mesh.x[vertices]).query(points)[1]]
        return np.asarray(np.sqrt(4.0 / np.sqrt(3.0) * mean[nearest]))

    def hidden(self, plies: PlyCheck, held: Observed, now: Observed) -> ModeReserve | None:
        """The place that may govern release if its strain is off by its doubt: a made-up mode with the factor it could
        have, at the state `now`; None where there are no plies.
        """
        factors = plies.field(held, now)
        least = factors / (1.0 + SPREAD * self.shares[:, 0])
        i = int(np.argmin(least))
        if not math.isfinite(least[i]):
            return None
        length = float(self.sampling.length[i])
        place = self.sampling.points[i]
        return ModeReserve(
            "ply failure", "doubt", "release", float(least[i]), place=place, where=plies.words(place),
            laminate=int(self.sampling.group[i]), averaged=length,
        )  # fmt: skip


def barred(
    low: LoadResult,
    high: LoadResult,
    low_plies: Sequence[PlyRow],
    doubt: Callable[[ModeReserve], float],
    layer: float = 0.0,
    hidden: ModeReserve | None = None,
    steps: Sequence[Mapping[str, float]] = (),
) -> LoadResult:
    """The result `high` of order k + 1 with its bars; `low` is that of order k on the same mesh.

    `low_plies` are the plies of order k at the governing place of `high`; `layer` is the share an unresolved edge zone
    may put any number off (:mod:`panelfem.accuracy.layer`).  `hidden`: the place whose strain, if it is off by its own
    doubt, could govern (`Doubt.hidden`): the governing reserves' bars reach down to its factor, and a note says so.
    `steps`: of every bond edge, as shares by mode, the step that is at least taken (`BondLines.steps`).
    """
    before = {_key(m): m for m in low.modes}
    least: dict[str, float] = {}
    for step in steps:
        least |= {name: max(share, least.get(name, 0.0)) for name, share in step.items()}

    def apart(a: float, b: float, share: float) -> float:
        """What `a` is at least to be apart from `b`."""
        return a if abs(a - b) >= share * abs(b) else b - share * abs(b)

    def mode(m: ModeReserve) -> ModeReserve:
        other = before.get(_key(m))
        if m.status != "found":
            return m
        if other is None or other.status == "zero load":  # nothing is known of it
            return replace(m, bar=m.factor)
        coarse = apart(other.factor, m.factor, least.get(m.mode, 0.0))
        return replace(m, bar=measured(coarse, m.factor, spread=doubt(m) * m.factor, layer=layer).bar)

    def two(a: Sequence[float], b: Sequence[float], step: Iterable[float] = (0.0, 0.0)) -> tuple[float, float]:
        one, other = (measured(apart(x, y, s), y, layer=layer).bar for x, y, s in zip(a, b, step, strict=True))
        return one, other

    def contact(a: ContactState, b: ContactState) -> ContactState:
        return replace(b, bar=two((a.force, a.advance), (b.force, b.advance)))

    modes = tuple(mode(m) for m in high.modes)
    known = {_key(m): m for m in modes}
    known = {key: _down_to(m, hidden) for key, m in known.items() if key in (_key(high.first_ply), _key(high.release))}
    modes = tuple(known.get(_key(m), m) for m in modes)
    first, release = (known.get(_key(m), m) for m in (high.first_ply, high.release))
    reached = release.factor - release.bar
    lowered = hidden if hidden is not None and hidden.factor <= reached + 1e-9 * release.factor else None
    fixings: dict[str, FixingLoad] = {f.name: f for f in low.fixings}
    bonds: list[BondCheck] = list(low.bonds)
    limits: dict[str, LimitCheck] = {c.name: c for c in low.limits}
    relative = doubt(release if release.ply is not None else first)
    return replace(
        high,
        modes=modes,
        first_ply=first,
        release=release,
        deflection=replace(high.deflection, bar=measured(low.deflection.value, high.deflection.value, layer=layer).bar),
        limits=tuple(replace(c, bar=measured(limits[c.name].value, c.value, layer=layer).bar) for c in high.limits),
        fixings=tuple(
            replace(f, bar=two((fixings[f.name].shear, fixings[f.name].pull), (f.shear, f.pull))) for f in high.fixings
        ),
        bonds=tuple(
            replace(b, bar=two((a.shear, a.peel), (b.shear, b.peel), steps[i].values() if steps else (0.0, 0.0)))
            for i, (a, b) in enumerate(zip(bonds, high.bonds, strict=True))
        ),
        contacts=tuple(contact(a, b) for a, b in zip(low.contacts, high.contacts, strict=True)),
        plies=tuple(_ply(a, b, relative, layer) for a, b in zip(low_plies, high.plies, strict=True)),
        doubtful=lowered,
        notes=(*high.notes, *_said(release, lowered)),
    )


def _said(release: ModeReserve, hidden: ModeReserve | None) -> tuple[str, ...]:
    """A note about a place that may hide a lower reserve than the governing one, where that is worth a word."""
    if hidden is None or release.bar <= NOTICED * release.factor:
        return ()
    least = f"a factor of {number(hidden.factor, 2)}" if hidden.factor > 0.0 else "any factor"
    return (f"the elements {hidden.where} are too coarse to rule out {least} there",)


def _key(mode: ModeReserve) -> tuple[str, str]:
    return mode.criterion, mode.mode


def _down_to(mode: ModeReserve, hidden: ModeReserve | None) -> ModeReserve:
    """A governing mode whose bar reaches down to what a place that may hide a lower reserve could have."""
    if hidden is None or mode.status == "zero load" or hidden.factor >= mode.factor:
        return mode
    return replace(mode, bar=float(np.fmax(mode.bar, mode.factor - hidden.factor)))


def _ply(low: PlyRow, high: PlyRow, doubt: float, layer: float) -> PlyRow:
    """A ply's row with its bars; the doubt is a share of the greatest component."""

    def bars(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        off = doubt * float(np.abs(b).max(initial=0.0))
        return np.array([measured(x, y, spread=off, layer=layer).bar for x, y in zip(a, b, strict=True)])

    return replace(high, strain_bar=bars(low.strain, high.strain), stress_bar=bars(low.stress, high.stress))


def rescaled(end: LoadResult, low: LoadResult, whole: LoadResult) -> LoadResult:
    """A result found with elements of order k under changed inputs, carried to `whole`, the barred result under the
    stated ones, whose like of order k is `low`: every mode's factor times what the order changes of that mode.
    """
    ratio = {
        _key(m): m.factor / other.factor
        for m in whole.modes
        for other in low.modes
        if _key(m) == _key(other) and m.status == other.status == "found" and other.factor > 0.0
    }

    def moved(m: ModeReserve) -> ModeReserve:
        factor = ratio.get(_key(m))
        return m if factor is None or m.status != "found" else replace(m, factor=factor * m.factor)

    modes = tuple(sorted((moved(m) for m in end.modes), key=lambda m: (m.rank, m.criterion, m.mode)))
    return replace(end, modes=modes, release=moved(end.release), first_ply=moved(end.first_ply))


@dataclass(frozen=True)
class Aim:
    """A number the accuracy is asked of: its bar as a `share` of it, and `what` it is."""

    share: float
    what: str
    mode: ModeReserve | None = None
    fixing: str = ""


#: Reserves above so many times what is asked are far from governing.
FAR_OFF = 2.5


def aims(result: LoadResult, asked: float | None = None) -> Iterator[Aim]:
    """The numbers of a result that the accuracy is asked of: greatest deflection, the governing reserves, the greatest
    strain of the plies there, and what the fixings carry (of the most any of them carries).

    With the factor `asked`, reserves far above it are left out, and strain where only such are reached.
    """

    def near(mode: ModeReserve) -> bool:
        return asked is None or mode.rank - (0.0 if math.isnan(mode.bar) else mode.bar) <= FAR_OFF * asked

    if result.deflection.value > 0.0:
        yield Aim(result.deflection.bar / result.deflection.value, "deflection")
    for mode in {_key(m): m for m in (result.release, result.first_ply)}.values():
        if mode.status == "found" and mode.factor > 0.0 and near(mode):
            yield Aim(mode.bar / mode.factor, mode.mode, result.doubtful or mode)
    if result.doubtful is not None and result.release.status == "beyond search":
        yield Aim(result.release.bar / result.release.factor, "what may govern", result.doubtful)
    place = result.release if result.release.ply is not None else result.first_ply
    if result.plies and place.status == "found" and near(place):
        strain = np.abs([row.strain for row in result.plies])
        bar = np.array([row.strain_bar for row in result.plies])
        at = np.unravel_index(int(np.argmax(strain)), strain.shape)
        if strain[at] > 0.0:
            yield Aim(float(bar[at] / strain[at]), "ply strain", place)
    most = max((max(f.shear, f.pull) for f in result.fixings), default=0.0)
    if most > 0.0:
        worst = max(result.fixings, key=lambda f: max(f.bar))
        yield Aim(max(worst.bar) / most, f"load of {worst.name}", fixing=worst.name)
