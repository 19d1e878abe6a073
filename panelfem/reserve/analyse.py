"""One configuration under one load case: from a response to the numbers people ask for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.loads import AreaForce, Cure, LoadCase, held_words, load_words
from panelfem.panel import Panel
from panelfem.reserve.bolted import BoltedCheck
from panelfem.reserve.bonds import BondLines
from panelfem.reserve.check import Check, Words
from panelfem.reserve.crush import CrushCheck
from panelfem.reserve.delaminated import DelaminationCheck
from panelfem.reserve.fixings import FixingCheck, fixing_loads
from panelfem.reserve.impact import ImpactCheck
from panelfem.reserve.limits import LimitsCheck, Ram
from panelfem.reserve.observe import Observer, Response
from panelfem.reserve.plies import PlyCheck, Residual
from panelfem.reserve.records import FieldSet, LoadResult, ModeReserve, PlyRow, TheoryCheck
from panelfem.reserve.sampling import Sampling
from panelfem.reserve.search import SEARCH_LIMIT, Path, along
from panelfem.reserve.singular import notes
from panelfem.reserve.theory import Theory
from panelfem.reserve.through_thickness import ThroughThickness
from panelfem.units import number

#: A factor is found within this share where that of the lower order is known: the rest is proportional.
NEAR = 0.01
#: Reserves above this are drawn alike in the pictures.
FIELD_CAP = 10.0


@dataclass(frozen=True)
class Settings:
    """What decides: the criterion per kind of ply, whether criteria without a mode govern release, the factor at which
    linear theory must still hold (the factor asked for), and whether loads under which it does not are `followed` with
    large displacements.

    `in_situ`: held plies are judged by their strength in the laminate (`panelfem.failure.in_situ`).
    `imperfection` m: height of the initial shape of a panel that buckles, None: as assumed.  `nearness`: load -> what
    is computed of its buckling, as the share of the buckling load over that of the hand one.  `near_only`: the accuracy
    is asked of reserves near what is asked only.
    """

    decide: Mapping[str, str] = field(default_factory=dict)
    modeless_governs: bool = False
    asked: float = 1.0
    followed: bool = True
    imperfection: float | None = None
    nearness: Mapping[str, float] = field(default_factory=dict)
    near_only: bool = False
    in_situ: bool = False


@dataclass(frozen=True)
class Subject:
    """A panel with all that is read off its solutions; made once for a model, used for every load case.

    `struck`: the sampling points of each of its struck areas.
    """

    panel: Panel
    observer: Observer
    limits: Theory
    bonds: BondLines
    counted: BoolArray
    words: Words
    struck: tuple[IntArray, ...] = ()

    @property
    def sampling(self) -> Sampling:
        """Where strength is checked."""
        return self.observer.sampling

    def theory(self, path: Path, factor: float) -> TheoryCheck:
        """Whether the theory used holds at a factor of a path, or at its end."""
        state = path.found(factor)
        now = self.observer(state)
        stretch = None if state.large else self.observer.stretch(state)
        check = self.limits(now, stretch, path.nearness, path.warmed)
        end = path.ended
        if end is None or end.snaps or end.factor >= factor:
            return check
        why = f"no equilibrium found beyond {number(end.factor, 2)} times the expected severity ({end.why})"
        return replace(check, reasons=(*check.reasons, why))

    def on(self, panel: Panel) -> Subject:
        """The same readings of a panel that differs in strengths only."""
        patches = {(patch.name, patch.side): patch for patch in panel.patches}
        edges = tuple(replace(edge, patch=patches[edge.patch.name, edge.patch.side]) for edge in self.bonds.edges)
        return replace(self, panel=panel, bonds=replace(self.bonds, edges=edges))


def residual_of(load: LoadCase) -> Residual:
    """Temperature change and moisture of the held part of a load case (they add up)."""
    cures = [part for part in load.held if isinstance(part, Cure)]
    return Residual(
        sum(c.temperature_change for c in cures), sum(c.moisture for c in cures), sum(c.since_fitting for c in cures)
    )


def _rams(load: LoadCase) -> tuple[Ram, ...]:
    part = load.scaled
    if isinstance(part, AreaForce) and part.limit is not None:
        direction = part.force / np.linalg.norm(part.force)
        return (Ram("load test", part.region, direction, part.limit),)
    return ()


def path_of(
    subject: Subject, load: LoadCase, response: Response, settings: Settings
) -> tuple[Path, PlyCheck, LimitsCheck]:
    """The load path of a response with all its checks."""
    panel = subject.panel
    plies = PlyCheck(
        panel,
        subject.sampling,
        residual_of(load),
        subject.words,
        settings.decide,
        settings.modeless_governs,
        settings.in_situ,
    )
    limits = LimitsCheck(
        panel.mesh,
        subject.observer.points,
        subject.counted,
        load.limits,
        _rams(load),
        subject.words,
    )
    checks: Sequence[Check] = (
        plies,
        ThroughThickness(panel, subject.sampling, residual_of(load), subject.words),
        limits,
        FixingCheck(panel.fasteners, subject.words),
        BoltedCheck(panel, subject.words, residual_of(load).since_fitting),
        subject.bonds,
        DelaminationCheck(panel, residual_of(load)),
        ImpactCheck(panel, subject.sampling, subject.struck, residual_of(load)),
        CrushCheck(panel, subject.words),
    )
    nearness, warmed = settings.nearness.get(load.name, 1.0), residual_of(load).since_fitting
    return Path(response, subject.observer, checks, nearness=nearness, warmed=warmed), plies, limits


def governing(modes: Sequence[ModeReserve]) -> tuple[ModeReserve, ModeReserve]:
    """The first ply failure (of any grade, by the deciding criteria) and the release-governing mode.

    Of modes at one factor, as where a path ends, one that happens there comes before one that lies beyond.
    """
    none = ModeReserve("nothing", "none", "release", SEARCH_LIMIT, "beyond search")

    def soonest(mode: ModeReserve) -> tuple[float, bool]:
        return mode.rank, mode.status == "beyond search"  # where a path ends, what ends it comes before what it hides

    first = min((m for m in modes if m.decides), key=soonest, default=none)
    release = min((m for m in modes if m.grade == "release"), key=soonest, default=none)
    return first, release


def analyse(
    subject: Subject,
    load: LoadCase,
    response: Response,
    settings: Settings,
    like: LoadResult | None = None,
) -> tuple[LoadResult, FieldSet, Path]:
    """Everything about one configuration under one load case, and the path it was found along.

    The factors are on the load case's own parameter, its dynamic factor included at the value stated.  `like`: the
    result with elements of one order less, where the search starts; with large displacements it ends within `NEAR`, and
    whether the theory holds is taken from there.
    """
    path, plies, limits = path_of(subject, load, response, settings)
    large = like is not None and response.held.large
    if like is not None:
        path.start_like(like)
        path.near = NEAR if large else path.near
    modes = sorted(along(path), key=lambda m: (m.rank, m.criterion, m.mode))
    first, release = governing(modes)
    now = path.state(1.0)
    theory = like.theory if like is not None and large else subject.theory(path, settings.asked)
    place = release.place if release.ply is not None else first.place
    number = release.laminate if release.ply is not None else first.laminate
    rows: tuple[PlyRow, ...] = ()
    if place is not None:
        i = plies.nearest(place, number, path.held, now)
        rows = plies.rows(int(subject.sampling.group[i]), path.held.strain[i], now.strain[i])
    curve = tuple(
        (p, min((r.rank for r in path.reserves(p, False).values() if r.grade == "release"), default=SEARCH_LIMIT))
        for p in path.visited()
    )
    result = LoadResult(
        load.name,
        load.kind,
        load.parameter,
        load.expected,
        limits.greatest(now),
        first,
        release,
        tuple(modes),
        theory,
        limits.values(path.held, now),
        fixing_loads(subject.panel.fasteners, now),
        subject.bonds.stresses(now),
        now.contacts,
        rows,
        curve,
        notes=(
            *_short(path),
            *(note for check in path.checks if isinstance(check, DelaminationCheck) for note in check.untold()),
            *notes(subject.sampling.places, (release, first), now.contacts, _thickness(subject, place)),
        ),
        scaled=load_words(load.scaled),
        held=held_words(load),
        dynamic=load.dynamic,
    )
    return result, FieldSet(now.motion[:, :3].copy(), _on_vertices(subject, plies.field(path.held, now))), path


def _short(path: Path) -> tuple[str, ...]:
    """A note where the numbers are not those at the expected severity, because the path does not reach it."""
    if path.ended is None or path.ended.factor >= 1.0:
        return ()
    share = number(path.ended.factor, 3)
    return (
        f"deflection, fixings, contacts and pictures are those at {share} times the expected severity, "
        f"the last equilibrium found: {path.ended.why}",
    )


def _thickness(subject: Subject, place: FloatArray | None) -> float:
    """Thickness (m) of the laminate at a place (3,), 0 without one."""
    if place is None:
        return 0.0
    element = int(subject.panel.mesh.nearest(place[None])[0][0])
    return subject.panel.laminates[int(subject.panel.laminate_of[element])].thickness


def _on_vertices(subject: Subject, factors: FloatArray) -> FloatArray:
    """Least factor of the sampling points that touch each vertex, capped; nan where the panel is gone."""
    mesh = subject.panel.mesh
    recovery = subject.observer.recovery
    rows = subject.sampling.rows.tocoo()
    at = recovery.node[rows.col]
    on_vertex = at < len(mesh.vertices)
    values = np.full(len(mesh.vertices), np.inf)
    np.minimum.at(values, at[on_vertex], np.nan_to_num(factors, nan=0.0)[rows.row[on_vertex]])
    present = np.zeros(len(mesh.vertices), bool)
    present[mesh.triangles[~subject.panel.removed].ravel()] = True
    return np.where(present, np.minimum(values, FIELD_CAP), np.nan)


def brief(path: Path, subject: Subject, whole: LoadResult, settings: Settings, known: bool = False) -> LoadResult:
    """A result in which only the modes that can govern, the factors and the theory check are new; the rest is
    `whole`'s.

    `known`: no new state is computed; factors are interpolated between those the path knows.
    """
    path.start_like(whole)
    modes = tuple(sorted(along(path, everything=False, known=known), key=lambda m: (m.rank, m.criterion, m.mode)))
    first, release = governing(modes)
    return replace(whole, modes=modes, first_ply=first, release=release, theory=subject.theory(path, settings.asked))
