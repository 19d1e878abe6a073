"""Damage at other sizes than it is assessed at: as measured, and where the outcome flips.

Damage is assessed with its tolerance.  Another size is meshed anew and looked at by linear theory; every factor is then
moved by what the full assessment changes of a look at the assessed size, at the stated inputs and at the ends of their
bands alike.  Bands that were screened out at the assessed size stay left out, and what was followed with large
displacements there is moved by its ratio too.
"""

from __future__ import annotations

import gc
import math
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import IntArray
from panelfem.assess.evaluate import Evaluation, looked_at
from panelfem.assess.plan import Inputs, Key, Plan, plans, states
from panelfem.assess.records import Configuration, FlipSize
from panelfem.case import Case
from panelfem.damage import AreaDamage
from panelfem.disposition import GOOD, Consequence, LoadOutcome, Outcome, doubts, judge_load, least, worst
from panelfem.errors import InputError, MeshError, ModelError
from panelfem.mesh.topology import edges_of
from panelfem.panel import Panel
from panelfem.reserve.analyse import Settings
from panelfem.reserve.bars import FAR_OFF, rescaled
from panelfem.reserve.places import Places
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.units import number, show

#: By state and name of the load; some loads may be left out.
Looked = Mapping[Key, Mapping[str, LoadResult]]

#: What a size may be refused with: it contradicts itself, cannot be meshed or is not held.
CANNOT_BE = (InputError, MeshError, ModelError)
#: Looks at other sizes at most, for each damage and configuration.
MOST_LOOKS = 8
#: The size at which the outcome flips is known when it lies between two this share of it, or this many m, apart.
CLOSE, CLOSE_LENGTH = 0.05, 0.5e-3
#: Damage is looked at up to so many times its assessed size, and down to such a share of it.
MOST_TIMES, LEAST_SHARE = 3.0, 0.25
_HOPELESS = "undamaged the panel is not shown to meet the factor either"
#: No damage is looked at that is narrower than twice this, m.
NARROWEST = 1e-3
#: Kept clear of what damage does not touch: this share of the gap to it.
_CLEAR = 0.1
#: Without a change between the assessed size and the end, the middle is looked at if the end is so many times as far.
_FAR = 1.5
#: Regions that only make a mesh finer, or change the laminate: damage may grow over their borders.
_OPEN = ("zone ", "footprint ", "limit ")
#: Where along an edge of an element its distance is measured, from end to end.
_ALONG = np.linspace(0.0, 1.0, 9)


@dataclass(frozen=True)
class Told:
    """What is told of a configuration at a size: least factor, less its bar, over what is asked; the outcome, and the
    load and mode it is by; `short`: the loads under which it is not good.
    """

    margin: float
    outcome: Outcome
    load: str
    mode: str
    short: frozenset[str] = frozenset()

    @property
    def good(self) -> bool:
        """Whether it meets the factor, with or without conditions."""
        return self.outcome in GOOD


class Looks:
    """Looks at configurations of a case with its damage at any size, moved to what was `evaluated` in full."""

    def __init__(
        self,
        case: Case,
        evaluated: Mapping[Key, Evaluation],
        words: Places,
        settings: Settings,
        consequence: Consequence,
        order: int,
        base: Looked | None = None,
    ) -> None:
        """`base`: looks at all states as assessed, on the mesh of the case as it was built; None: they are made."""
        assert case.sizes is not None
        self._bases: dict[str | None, Looked] = {} if base is None else {"": base}
        self.case, self.evaluated, self.words, self.order = case, evaluated, words, order
        self.settings, self.consequence, self.sizes = settings, consequence, case.sizes

    def at(
        self, grown: Mapping[str, float], option: str | None, names: Sequence[str], loads: Set[str] | None = None
    ) -> Looked:
        """The results of a look at every state that configurations must meet the factor in, on the mesh with only that
        option (None: no option, empty: all) and under these loads (None: all).  Raises CaseError, MeshError and
        ModelError for a size that cannot be.
        """
        made = self.sizes.case(grown, option)
        assert made.panel is not None
        kept = {o.name for o in made.options}
        inputs = Inputs(
            made.panel,
            made.damage,
            tuple(o for o in self.case.options if o.name in kept),
            tuple(load for load in self.case.loads if loads is None or load.name in loads),
        )
        wanted = [replace(plan, contingencies=()) for plan in plans(inputs) if plan.name in names]
        found, like = {}, None
        for key, state in states(wanted).items():
            look, solved = looked_at(state, inputs, self.settings, self.order, self.words, like)
            found[key], like = by_load(look.results), solved.model.shell
            del look, solved
            gc.collect()
        return found

    def base(self, option: str | None, names: Sequence[str], loads: Set[str] | None = None) -> Looked:
        """Looks like those of :meth:`at` at the assessed sizes, made once for an option."""
        option = option if self.case.options else ""
        if option not in self._bases or not _has(self._bases[option], loads or {load.name for load in self.case.loads}):
            self._bases[option] = self.at({}, option, names, loads)
        return self._bases[option]

    def outcomes(self, plan: Plan, looked: Looked, base: Looked) -> list[tuple[LoadOutcome, LoadResult]]:
        """The outcome under each load at the stated inputs, that of the state that rules, and its moved result."""
        keys = _keys(plan, looked)
        return [
            min(
                (self._judged(key, whole, looked, base) for key in keys for whole in self._full(key, load)),
                key=lambda item: (item[0].outcome in GOOD, _margin(*item)),
            )
            for load in looked[keys[0]]
        ]

    def told(self, plan: Plan, looked: Looked, base: Looked) -> Told:
        """What is told of a configuration at the looked at size, with the assumed inputs at the ends of their bands."""
        found = [_told(*item) for item in self.outcomes(plan, looked, base)]
        for key in _keys(plan, looked):
            for end in self.evaluated[key].swept.values():
                for whole, stated in zip(end, self.evaluated[key].results, strict=True):
                    if whole is stated or whole.load not in looked[key]:
                        continue
                    told = _told(*self._judged(key, whole, looked, base))
                    # an end of a band that does not meet leaves the outcome open, until it is measured
                    found.append(told if told.good else replace(told, outcome=Outcome.CANNOT_TELL))
        ruling = worst([told.outcome for told in found])
        short = frozenset(t.load for t in found if not t.good)
        return replace(min((t for t in found if t.outcome is ruling), key=lambda t: t.margin), short=short)

    def _full(self, key: Key, load: str) -> Iterator[LoadResult]:
        yield from (result for result in self.evaluated[key].results if result.load == load)

    def _judged(self, key: Key, whole: LoadResult, looked: Looked, base: Looked) -> tuple[LoadOutcome, LoadResult]:
        moved = _moved(looked[key][whole.load], base[key][whole.load], whole)
        return judge_load(moved, self.consequence), moved


def _has(looked: Looked, loads: Set[str]) -> bool:
    return all(loads <= results.keys() for results in looked.values())


def by_load(results: Sequence[LoadResult]) -> dict[str, LoadResult]:
    """Results by the names of their loads."""
    return {result.load: result for result in results}


def _keys(plan: Plan, looked: Looked) -> list[Key]:
    return [state.key for state in plan.states if state.key in looked]


def _moved(look: LoadResult, base: LoadResult, whole: LoadResult) -> LoadResult:
    """A look moved by what the full assessment changes of the look at the assessed size, with the same share of bar."""
    moved = rescaled(look, base, whole)
    share = {(m.criterion, m.mode): m.bar / m.factor for m in whole.modes if m.status == "found" and m.factor > 0.0}

    def barred(mode: ModeReserve) -> ModeReserve:
        if mode.status != "found":
            return mode
        return replace(mode, bar=share.get((mode.criterion, mode.mode), math.nan) * mode.factor)

    modes = tuple(barred(m) for m in moved.modes)
    release = min((m for m in modes if m.grade == "release"), key=lambda m: m.rank, default=moved.release)
    theory = whole.theory if whole.linear is not None or doubts(whole.theory) else look.theory
    return replace(moved, modes=modes, release=release, theory=theory)


def _margin(outcome: LoadOutcome, result: LoadResult) -> float:
    """Least factor, less its bar, over what is asked."""
    bar = 0.0 if math.isnan(result.release.bar) else result.release.bar
    return (result.release.rank - bar) / outcome.required


def _told(outcome: LoadOutcome, result: LoadResult) -> Told:
    reasons = doubts(result.theory)
    mode = f"outside linear theory: {'; '.join(reasons)}" if reasons else result.release.mode
    return Told(_margin(outcome, result), outcome.outcome, outcome.load, mode)


def sized(case: Case, plan: Plan) -> tuple[str, ...]:
    """Names of the damage left in a configuration that has a size."""
    known = {} if case.sizes is None else case.sizes.assessed
    return tuple(d.name for d in plan.left if isinstance(d, AreaDamage) and d.name in known)


@dataclass(frozen=True)
class Smaller:
    """A configuration with all damage at measured size, by a look: the outcome under the load that governs it then, and
    whether it may be the `worse` one; `ratio`: least factor over that at size plus tolerance, nan where that is zero.
    `why_not`: why it could not be looked at, in words.
    """

    governing: LoadOutcome | None
    ratio: float
    worse: bool
    why_not: str = ""


def at_measured_size(looks: Looks, every: Sequence[Plan]) -> dict[str, Smaller]:
    """Every configuration with damage left in it, whose border has a tolerance, with that damage as measured.

    It may be the worse one if the outcome under a load is; a factor that is less and changes no outcome stands among
    what is uncertain.
    """
    known = {name: grown for name, grown in looks.sizes.assessed.items() if grown > 0.0}
    wanted = [plan for plan in every if any(name in known for name in sized(looks.case, plan))]
    if not wanted:
        return {}
    names = [plan.name for plan in wanted]
    near = _near(looks, wanted)
    try:
        base = looks.base("", names, near)
        looked = looks.at(dict.fromkeys(known, 0.0), "", names, near)
    except CANNOT_BE as error:
        return {name: Smaller(None, math.nan, worse=False, why_not=str(error)) for name in names}
    smaller = {}
    for plan in wanted:
        now = looks.outcomes(plan, looked, base)
        before = [item for item in looks.outcomes(plan, base, base) if item[0].load in near]
        small, large = (least([outcome for outcome, _ in items]) for items in (now, before))
        ratio = small.factor / small.required / (large.factor / large.required) if large.factor > 0.0 else math.nan
        worse = any(_worse(a, b) for (a, _), (b, _) in zip(now, before, strict=True))
        smaller[plan.name] = Smaller(small, ratio, worse)
    return smaller


def _near(looks: Looks, every: Sequence[Plan]) -> frozenset[str]:
    """The loads that come near what is asked in some state, or govern it."""
    near: set[str] = set()
    for plan in every:
        for state in plan.states:
            results = looks.evaluated[state.key].results
            near.add(min(results, key=lambda r: r.release.rank).load)
            near |= {r.load for r in results if r.release.rank <= FAR_OFF * looks.settings.asked or doubts(r.theory)}
    return frozenset(near)


def _worse(small: LoadOutcome, large: LoadOutcome) -> bool:
    """Whether the outcome at measured size may be the worse one under a load."""
    return worst([small.outcome, large.outcome]) is not large.outcome


def flip_sizes(
    looks: Looks, every: Sequence[Plan], found: Sequence[Configuration], recommended: str | None,
    tell: Callable[[str], None],
) -> tuple[FlipSize, ...]:  # fmt: skip
    """Of each damage that has a size, where it changes the outcome: as found, and under the recommended option if that
    leaves it in.  All other damage keeps the size it is assessed at.
    """
    made: list[FlipSize] = []
    done: dict[tuple[str, tuple[Key, ...]], FlipSize] = {}
    for plan in every:
        if plan.kind != "as found" and not (plan.kind == "option" and plan.name == recommended):
            continue
        conf = next(c for c in found if c.name == plan.name)
        hopeless = plan.kind == "as found" and not any(c.disposition.outcome in GOOD for c in (found[0], conf))
        option = None if plan.kind == "as found" else plan.name
        for name in sized(looks.case, plan):
            # tape carries nothing: what is left of the panel is that as found
            states_of = (name, tuple(state.key for state in plan.states))
            size = looks.sizes.across(name, looks.sizes.assessed[name])
            if hopeless:
                made.append(FlipSize(name, plan.name, size, round=looks.sizes.round(name), why_not=_HOPELESS))
                continue
            if states_of not in done:
                tell(f"the size of {name} at which the outcome flips, {plan.name}")
                try:
                    base = looks.base(option, [plan.name])
                except CANNOT_BE as error:
                    made.append(FlipSize(name, plan.name, size, round=looks.sizes.round(name), why_not=str(error)))
                    continue
                done[states_of] = _Search(looks, plan, name, option, base).found(conf)
            made.append(replace(done[states_of], configuration=plan.name))
    return tuple(made)


class _Search:
    """The search for the size of one damage at which one configuration flips."""

    def __init__(self, looks: Looks, plan: Plan, name: str, option: str | None, base: Looked) -> None:
        self.looks, self.plan, self.name, self.option, self.base = looks, plan, name, option, base
        self.sizes, self.count = looks.sizes, 0
        self.grown = looks.sizes.assessed[name]
        self.size = looks.sizes.across(name, self.grown)

    def found(self, conf: Configuration) -> FlipSize:
        """Where it flips, or how far it was looked for."""
        start = self.looks.told(self.plan, self.base, self.base)
        made = FlipSize(self.name, conf.name, self.size, round=self.sizes.round(self.name))
        if start.good is not (conf.disposition.outcome in GOOD):
            return replace(made, why_not=f"a look does not tell the outcome at the assessed size ({start.load})")
        end, bound = self._largest() if start.good else self._least()
        if abs(end - self.size) <= _close(self.size):
            return replace(made, bound=bound, reached=self.size, outcome=conf.disposition.outcome)
        near, far, reached = self._between((self.size, start), end)
        if far is None:
            if abs(near[0] - end) > 1e-9:
                bound = f"it cannot be meshed or held much beyond {show(near[0], 'mm')}"
            outcome = conf.disposition.outcome
            return replace(made, reached=reached, bound=bound, outcome=outcome, looks=self.count)
        bad = near if far[1].good else far
        good = far if bad is near else near
        return replace(
            made, below=good[0], above=bad[0], outcome_below=good[1].outcome, outcome_above=bad[1].outcome,
            load=bad[1].load, mode=bad[1].mode, looks=self.count, reached=reached,
        )  # fmt: skip

    def _at(self, size: float, loads: Set[str] | None = None) -> Told | None:
        """What is told at a size under some loads (None: all); None if that cannot be meshed, contradicts itself or is
        not held.
        """
        self.count += 1
        grown = self.grown + 0.5 * (size - self.size)
        try:
            looked = self.looks.at({self.name: grown}, self.option, [self.plan.name], loads)
        except CANNOT_BE:
            return None
        return self.looks.told(self.plan, looked, self.base)

    def _between(
        self, start: tuple[float, Told], end: float
    ) -> tuple[tuple[float, Told], tuple[float, Told] | None, float]:
        """The last size told as at the start, the first that is not (None: none), and the farthest looked at."""
        near, far, size, reached = start, None, end, start[0]
        while self.count < MOST_LOOKS:
            # what is good at both ends is taken to be so between
            bad = None if far is None else near if far[1].good else far
            told = self._at(size, None if bad is None else bad[1].short)
            if told is None:
                size = 0.5 * (near[0] + size)
                if abs(size - near[0]) <= _close(near[0]):
                    break
                continue
            if abs(size - start[0]) > abs(reached - start[0]):
                reached = size
            if told.good is start[1].good:
                if far is None and near is start and max(size / start[0], start[0] / size) > _FAR:
                    # it might be otherwise between
                    middle = math.sqrt(size * start[0])
                    between = self._at(middle)
                    if between is None or between.good is start[1].good:
                        return (size, told), None, reached
                    near, far = start, (middle, between)
                else:
                    near = (size, told)
            else:
                far = (size, told)
            if far is None or abs(far[0] - near[0]) <= _close(min(near[0], far[0])):
                break
            size = _next(near, far)
        return near, far, reached

    def _least(self) -> tuple[float, str]:
        """The least size that is looked at, and why no smaller."""
        narrow = self.sizes.narrowest(self.name, self.grown)
        size = max(LEAST_SHARE * self.size, self.size - 2.0 * max(narrow - NARROWEST, 0.0))
        return size, "smaller was not looked at"

    def _largest(self) -> tuple[float, str]:
        """The greatest size that is looked at, and what lies beyond."""
        panel = self.looks.evaluated["undamaged",].state.panel
        damage = next(d for d in self.plan.left if d.name == self.name)
        assert isinstance(damage, AreaDamage)
        laid = {o.name: {getattr(a, "region", "") for a in o.actions} for o in self.looks.case.options}
        others = {region for name, regions in laid.items() if name != self.option for region in regions}
        gap, what = min(gaps(panel, damage.region, others), default=(math.inf, ""))
        clear = self.size + 2.0 * (1.0 - _CLEAR) * gap
        most = MOST_TIMES * self.size
        return (clear, f"it then comes to {what}") if clear < most else (most, "larger was not looked at")


def gaps(panel: Panel, region: str, others: Set[str]) -> Iterator[tuple[float, str]]:
    """How far (m) the border of a region is from what it does not touch, or is covered by, and what that is; `others`
    are regions that are not there.
    """
    mesh = panel.mesh
    own, border = mesh.inside[region], next(r for r in mesh.regions if r.name == region)
    at = np.unique(mesh.triangles[own])

    def gap(edges: IntArray) -> float:
        ends = mesh.vertices[edges]
        points = ends[:, :1] + _ALONG[:, None] * (ends[:, 1:] - ends[:, :1])
        return max(0.0, float(border.distance(points.reshape(-1, 3)).min(initial=math.inf)))

    if not np.isin(mesh.boundary_edges, at).any():
        yield gap(mesh.boundary_edges), "an edge"
    for name, inside in mesh.inside.items():
        if name == region or name.startswith(_OPEN) or name in others:
            continue
        if name.startswith(("patch ", "tape ")):
            if inside[own].all():
                yield gap(edges_of(mesh.triangles[~inside]).ends), f"the border of {name.partition(' ')[2]!r}"
        elif not np.isin(at, mesh.triangles[inside]).any():
            yield gap(edges_of(mesh.triangles[inside]).ends), name


def _close(size: float) -> float:
    """How far apart two sizes (m) may be between which the outcome flips."""
    return max(CLOSE * size, CLOSE_LENGTH)


def _next(near: tuple[float, Told], far: tuple[float, Told]) -> float:
    """The next size, m: where a straight line through the logarithms crosses, put a little towards the farther end so
    that the next but one lies on the other side.
    """
    a, b = math.log(near[0]), math.log(far[0])
    share = 0.5
    if min(near[1].margin, far[1].margin) > 0.0:
        f, g = (math.log(t.margin) * (1.0 if near[1].good else -1.0) for t in (near[1], far[1]))
        share = f / (f - g) if f > 0.0 > g else 0.5
    aim = a + share * (b - a)
    step = math.copysign(min(0.4 * CLOSE, 0.25 * abs(b - a)), b - a)
    aim += step if share < 0.5 else -step
    inside = np.clip((aim - a) / (b - a), 0.1, 0.9)
    return math.exp(a + float(inside) * (b - a))


def flip_words(flip: FlipSize) -> str:
    """What has to be looked for, as a phrase.

    >>> flip = FlipSize("H1", "as found", 0.03, 0.039, 0.041, Outcome.MEETS, Outcome.DOES_NOT, "kerb", "core shear")
    >>> print(flip_words(flip).replace("; ", ";\\n"))
    tap round H1: it must be found smaller than 39 mm across (taken as 30 mm);
    from 41 mm as found does not meet it (kerb: core shear)
    """
    who, wide = flip.configuration, "across" if flip.round else "at its longest"
    taken, by = f"(taken as {show(flip.size, 'mm')})", f"({flip.load}: {flip.mode})"
    if flip.why_not:
        return f"at which size {flip.damage} changes the outcome of {who} was not found: {flip.why_not}"
    if flip.outcome_below is None or flip.outcome_above is None:
        far = f"{show(flip.reached, 'mm')} {wide} {taken}"
        if flip.outcome in GOOD:
            return f"{flip.damage} may be up to {far} without changing the outcome of {who}; {flip.bound}"
        return f"no size of {flip.damage} down to {far} makes {who} meet the factor; {flip.bound}"
    below, above = show(flip.below, "mm"), show(flip.above, "mm")
    told = f"from {above} {who} {flip.outcome_above.value}"
    return f"tap round {flip.damage}: it must be found smaller than {below} {wide} {taken}; {told} {by}"


def smaller_words(small: Smaller) -> str:
    """Why damage as measured went no further than a look, in words."""
    if small.why_not:
        return f"it could not be looked at, so size plus tolerance alone was judged: {small.why_not}"
    if small.worse:
        return "it may be the worse one, and no mesh could be made that carries both borders: it was only looked at"
    less = "less, but the outcome is the same" if small.ratio < 1.0 else "no less"
    return (
        f"with all damage at measured size it takes {number(small.ratio)} times what it takes at size plus tolerance "
        f"(by a look, moved by what the full assessment changes), {less}: size plus tolerance rules"
    )
