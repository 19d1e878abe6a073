"""The smallest sufficient repair: the lightest bonded one, and the quickest, that meets the factor in all loads.

Searched over what the bench has: standard sizes (:data:`SIZINGS`), ways of turning the plies, and their number.  A look
is one linear solve of the low order in every state that must meet the factor.  The factor need not rise with the number
of plies, since the bond of a thicker patch takes more; so each family (size, turning) is looked at from the fewest
plies up, until one suffices, until the rest is both heavier and slower than what suffices already, or until the factor
is so short that with the most plies it would be so still, were it to rise :data:`FASTER` than lately.

Plies so few that they leave linear theory where the undamaged panel does not would buckle or bulge over what they
span, and take a path with large displacements each: they are proposed only where nothing else suffices.

What is found is then assessed in full, beside the options of the case.  Where that is short of what is asked, all looks
are taken down by the least ratio of both; where it cannot be told for another reason, the next must have more plies or
:data:`AHEAD` times the factor.  The families are followed on, and the next is tried, up to :data:`ROUNDS` times.
"""

from __future__ import annotations

import copy
import gc
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from hashlib import sha256
from pathlib import Path
from typing import Any

from panelfem.assess.assess import assess, settings_of
from panelfem.assess.buckle import leaves_linear
from panelfem.assess.evaluate import looked_at
from panelfem.assess.plan import Inputs, Plan, plans
from panelfem.assess.records import Assessment, Configuration
from panelfem.assess.solve import Solved, far, solve
from panelfem.case import Case
from panelfem.case.build_repair import let_in_plies
from panelfem.case.builder import build
from panelfem.case.checks_materials import materials_of
from panelfem.case.read import check, read
from panelfem.case.schema_repair import LaidOn, LetIn, ScarfAction
from panelfem.disposition import GOOD, Consequence, Outcome, judge_load
from panelfem.errors import CaseError, InputError, MeshError, ModelError
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.material import Material, PlyMaterial
from panelfem.repair import Bonded, Option
from panelfem.reserve.places import Places
from panelfem.shell import DEFAULT_ORDER, Shell

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Sizing:
    """What is sized of a repair beside its plies: its `key` in a case, what it is called, one `size` of it in words,
    and the `usual` ones.
    """

    key: str
    name: str
    size: str
    usual: tuple[float, ...]


#: What patches and doublers reach, what scarfs are ground to and steps cut to (common practice, no source).
_OVERLAP = Sizing("overlap_mm", "overlaps", "overlap {:g} mm", (20.0, 30.0, 40.0, 60.0))
SIZINGS: Mapping[str, Sizing] = {
    "patch": _OVERLAP,
    "two-sided patch": _OVERLAP,
    "doubler": _OVERLAP,
    "scarf patch": Sizing("scarf_ratio", "scarf ratios", "scarf 1:{:g}", (15.0, 20.0, 30.0, 40.0, 50.0)),
    "stepped patch": Sizing("step_mm", "steps", "steps of {:g} mm", (6.0, 10.0, 15.0, 20.0)),
}
#: How plies may be turned, degrees, from the bond outwards and over again (common practice, no source).
TURNINGS: Mapping[str, tuple[tuple[int, ...], ...]] = {
    "fabric": ((0,), (45,), (0, 45)),
    "unidirectional": ((0,), (0, 90), (45, -45), (0, 45, -45, 90)),
}
#: Minutes one more ply takes to cut, wet and lay, and 10 mm more of a taper or of steps to grind (common practice, no
#: source).
PLY_MINUTES, TAPER_MINUTES = 3.0, 4.0
#: Plies at most: of what lies on the skin, and of what is let in beyond those it replaces.
MOST_PLIES, MORE_PLIES = 8, 2
ROUNDS = 4
#: How much more the next must reach than one of which it could not be told, with no more plies.
AHEAD = 1.1
#: By how much more than the greatest severity looked at it must stay within linear theory: the look's mesh is coarse.
SPARE = 1.2
#: Masses are the same within this, kg: what the mesh gets wrong of an area, and scales tell.
WEIGHED = 1e-4
#: How much faster than lately a factor that is short is taken to rise at most, ply by ply.
FASTER = 2.0


@dataclass(frozen=True)
class Candidate:
    """A repair of one size: `reach` as :data:`SIZINGS` says of its `kind` (overlap mm, n of a scarf of 1:n, step mm);
    so many `plies`, of which `base`, as written, take the place of old ones and the others are turned by `turning`;
    what it adds kg against the panel as found, and its minutes.

    `factor`: least reserve factor over what is asked for, of all loads, by the look; `governs`: load and mode;
    `leaves`: load and measure by which it leaves linear theory where the undamaged panel does not, empty if none.
    """

    reach: float
    turning: tuple[int, ...]
    plies: int
    added: float
    minutes: float
    factor: float
    governs: str
    leaves: str = ""
    kind: str = "patch"
    base: tuple[str, ...] = ()

    @property
    def stack(self) -> str:
        """The stack of the repair from the bond outwards.

        >>> Candidate(20.0, (0, 45), 3, 0.0, 0.0, 1.0, "").stack
        '[0/45/0]'
        >>> Candidate(20.0, (45,), 3, 0.0, 0.0, 1.0, "", kind="scarf patch", base=("0", "90")).stack
        '[0/90/45]'
        """
        more = (str(self.turning[i % len(self.turning)]) for i in range(self.plies - len(self.base)))
        return f"[{'/'.join((*self.base, *more))}]"

    @property
    def size(self) -> str:
        """Its size in words.

        >>> Candidate(20.0, (45,), 3, 0.0, 0.0, 1.0, "", kind="scarf patch").size
        'scarf 1:20'
        """
        return SIZINGS[self.kind].size.format(self.reach)

    @property
    def words(self) -> str:
        """What it is, for a table."""
        return f"{self.plies} {'ply' if self.plies == 1 else 'plies'} {self.stack}, {self.size}"


@dataclass(frozen=True)
class Verified:
    """A candidate assessed in full: its configuration's name, least factor over what is asked for, outcome, reason."""

    candidate: Candidate
    name: str
    factor: float
    outcome: Outcome
    reason: str

    @property
    def sufficient(self) -> bool:
        """Whether it meets the factor, with or without conditions."""
        return self.outcome in GOOD


@dataclass(frozen=True)
class Search:
    """What was found: every look, what was assessed in full, and which are the lightest and the quickest sufficient.

    `kind`: of repair; `assessment`: the full one, of the options of the case and the proposals; `left_out`: the sizes
    that could not be looked at, each with why.
    """

    option: str
    kind: str
    material: str
    looks: tuple[Candidate, ...]
    verified: tuple[Verified, ...]
    lightest: Verified | None
    quickest: Verified | None
    assessment: Assessment
    left_out: tuple[str, ...] = ()

    @property
    def set_aside(self) -> tuple[Candidate, ...]:
        """The looks that suffice but leave linear theory, and are lighter or quicker than what was found."""
        tried = [v.candidate for v in self.verified]
        aside = [c for c in self.looks if c.leaves and c.factor >= 1.0 and c not in tried]
        return tuple(c for c in aside if not _outdone(c, [v.candidate for v in self.verified if v.sufficient]))

    @property
    def best(self) -> Candidate:
        """The look with the greatest factor."""
        return max(self.looks, key=lambda c: c.factor)


def smallest(
    file: Path,
    option: str,
    overlaps: Sequence[float] | None = None,
    most_plies: int | None = None,
    ply_minutes: float = PLY_MINUTES,
    progress: Progress | None = None,
    *,
    scarf_ratios: Sequence[float] | None = None,
    steps: Sequence[float] | None = None,
    taper_minutes: float = TAPER_MINUTES,
) -> Search:
    """Search for the smallest sufficient repair in place of the one bonded repair of an option.

    `overlaps` mm, `scarf_ratios` n of 1:n or `steps` mm, whichever the repair has (None: the usual ones of
    :data:`SIZINGS`); `most_plies` in all (None: :data:`MOST_PLIES`, and of what is let in :data:`MORE_PLIES` more than
    it replaces).  A ply more takes `ply_minutes` a face (none of a doubler, which is cured before), 10 mm more of
    taper or steps `taper_minutes`.

    Raises InputError for a case without that option, whose option has no single bonded repair over a damage, or for
    sizes that mean nothing to it.
    """
    tell = progress or (lambda stage, share: None)
    document = read(file)
    offered = _Offered.of(document, file, option)
    build(check(document, file), file)  # what is wrong with it is said before anything is looked at
    sizes = offered.sizes({"overlap_mm": overlaps, "scarf_ratio": scarf_ratios, "step_mm": steps})
    benches, left_out = _benches(offered, file, sizes, _Minutes(ply_minutes, taper_minutes), tell)
    most = most_plies or (MOST_PLIES if not offered.base else len(offered.base) + MORE_PLIES)
    verified: list[Verified] = []
    assessment, looks, stopped = None, list[Candidate](), None
    for attempt in range(ROUNDS):
        looks = _looks(benches, most, verified, partial(_at, tell, attempt / ROUNDS))
        proposed = _proposed(looks, verified)
        if not proposed:
            break
        tell(f"assessing {len(proposed)} in full", (attempt + 0.5) / ROUNDS)
        kept = [v.candidate for v in verified if v.sufficient]
        try:
            assessment, found = _in_full(offered, file, [*kept, *proposed])
        except ModelError as error:  # of which of them is not known: none can be told
            stopped = error.with_traceback(None)  # which holds on to every model it went through
            stopped.__context__ = stopped.__cause__ = None
            found = [Verified(c, c.words, c.factor, Outcome.CANNOT_TELL, str(stopped)) for c in proposed]
            verified += found
        else:
            verified = [v for v in verified if not v.sufficient] + found
        gc.collect()
        if all(v.sufficient for v in found) or not any(_suffices(c, ()) for c in proposed):
            break
    if assessment is None and stopped is not None:
        raise stopped
    if assessment is None:
        raise InputError("nothing could be looked at", where=f"option {option!r}", do="allow other sizes or more plies")
    good = [v for v in verified if v.sufficient]
    return Search(
        option, offered.kind, offered.ply.name, tuple(sorted(looks, key=_lightness)), tuple(verified),
        min(good, key=lambda v: _lightness(v.candidate), default=None),
        min(good, key=lambda v: _quickness(v.candidate), default=None), assessment, left_out,
    )  # fmt: skip


def _benches(
    offered: _Offered, file: Path, sizes: Sequence[float], minutes: _Minutes, tell: Progress
) -> tuple[list[_Bench], tuple[str, ...]]:
    """A bench for each size there is room for, and why there is none for the others; raises if there is none at all."""
    benches, refused = list[_Bench](), dict[str, CaseError | MeshError]()
    for reach in sizes:
        size = SIZINGS[offered.kind].size.format(reach)
        tell(f"meshing for {size}", 0.0)
        try:
            case = build(check(offered.document(reach), file), file)
        except (CaseError, MeshError) as error:
            refused[size] = error
            continue
        benches.append(_Bench(offered, case, reach, minutes))
    if not benches and refused:
        raise next(iter(refused.values()))
    return benches, tuple(
        f"{size}: {e.faults[0].what if isinstance(e, CaseError) else e}" for size, e in refused.items()
    )


def _at(tell: Progress, share: float, stage: str) -> None:
    tell(stage, share)


def _lightness(c: Candidate) -> tuple[float, ...]:
    return (_weighed(c), c.minutes, c.reach, c.plies, *c.turning)


def _quickness(c: Candidate) -> tuple[float, ...]:
    return (c.minutes, _weighed(c), c.reach, c.plies, *c.turning)


def _weighed(c: Candidate) -> int:
    """What it adds as scales tell it, in steps of :data:`WEIGHED`."""
    return round(c.added / WEIGHED)


def _suffices(c: Candidate, verified: Sequence[Verified]) -> bool:
    """Whether a look suffices, by what was learnt of others in full."""
    failed = [v for v in verified if not v.sufficient]
    trust = min((v.factor / v.candidate.factor for v in failed if v.candidate.factor > 0.0), default=1.0)
    untold = [v.candidate for v in failed if v.factor >= 1.0]
    return (
        not c.leaves
        and c.factor * min(trust, 1.0) >= 1.0
        and all(c.plies > other.plies or c.factor >= AHEAD * other.factor for other in untold)
    )


def _good(looks: Sequence[Candidate], verified: Sequence[Verified]) -> list[Candidate]:
    """What suffices, in full or, of what was not tried, by the looks."""
    tried = [v.candidate for v in verified]
    return [c for c in looks if c not in tried and _suffices(c, verified)] + [
        v.candidate for v in verified if v.sufficient
    ]


def _outdone(c: Candidate, good: Sequence[Candidate]) -> bool:
    """Whether some of what suffices is lighter, and some quicker: then so they are of the same with more plies."""
    return any(_lightness(g) < _lightness(c) for g in good) and any(_quickness(g) < _quickness(c) for g in good)


def _hopeless(factors: Sequence[float], more: int) -> bool:
    """Whether a factor (of looks with one ply more each) is short, and with so many plies `more` would be so still.

    >>> _hopeless([0.5, 0.6, 0.7], 1), _hopeless([0.5, 0.6, 0.7], 2), _hopeless([0.9, 0.8, 0.7], 5)
    (True, False, True)
    """
    if len(factors) < 3 or factors[-1] >= 1.0:
        return False
    rise = max(factors[-1] - factors[-2], factors[-2] - factors[-3], 0.0)
    return factors[-1] + FASTER * rise * more < 1.0


def _looks(
    benches: Sequence[_Bench], most: int, verified: Sequence[Verified], tell: Callable[[str], None]
) -> list[Candidate]:
    """The looks of all families, each followed as far as it is worth while; one at least of each size."""
    looks: list[Candidate] = []
    for bench in benches:
        for turning in bench.turnings:
            tell(f"looking at {bench.size}" + (f", turned {'/'.join(map(str, turning))}°" if turning else ""))
            factors = list[float]()
            for c in bench.family(turning, most):
                first = not looks or looks[-1].reach != bench.reach
                if not first and not bench.knows(c) and _outdone(c, _good(looks, verified)):
                    break
                looks.append(made := bench.look(c))
                factors.append(made.factor)
                if _suffices(made, verified) or _hopeless(factors, most - made.plies):
                    break
        bench.like = None  # models and what they cache refer to each other, and are large
        gc.collect()
    return looks


def _proposed(looks: Sequence[Candidate], verified: Sequence[Verified]) -> list[Candidate]:
    """The lightest and the quickest that suffice by the looks or in full; of these, what is not yet verified.  Failing
    that, on the first time, those that would but for leaving linear theory, or the best there is.
    """
    tried = [v.candidate for v in verified]
    good = _good(looks, verified)
    if not good and not tried:
        good = [c for c in looks if c.factor >= 1.0]
    if good:
        wanted = dict.fromkeys((min(good, key=_lightness), min(good, key=_quickness)))
        return [c for c in wanted if c not in tried]
    return [] if tried or not looks else [max(looks, key=lambda c: (c.factor, -c.added))]


@dataclass(frozen=True)
class _Minutes:
    """What a ply more takes, and 10 mm more of a taper."""

    ply: float
    taper: float


@dataclass(frozen=True)
class _Offered:
    """The option as the case offers it: the whole document, its place and that of its repair, what is sized.

    `ply`: the material that is turned; `plies` it has, each on so many `faces` (0: cured before); `base`: those that
    take the place of old ones, as written, and `run` mm: how long a taper of them is for each unit of its size.
    """

    whole: Mapping[str, Any]
    option: int
    action: int
    name: str
    kind: str
    reach: float
    materials: Mapping[str, Material]
    ply: PlyMaterial
    plies: int
    faces: int
    base: tuple[str, ...] = ()
    run: float = 0.0

    @classmethod
    def of(cls, document: Mapping[str, Any], file: Path, name: str) -> _Offered:
        model = check(document, file)
        if model.safety.protects_people != "no":
            raise InputError("a part that protects people is declined", where=str(file), do="ask its manufacturer")
        names = [o.name for o in model.option]
        if name not in names:
            allowed = ", ".join(names) or "the case has no option"
            raise InputError(f"there is no option {name!r}", where=str(file), allowed=allowed, do="name one of these")
        at = names.index(name)
        found = [(j, a) for j, a in enumerate(model.option[at].actions) if isinstance(a, LaidOn | LetIn)]
        if len(found) != 1 or found[0][1].over is None:
            what = f"the {found[0][1].kind} has an area of its own" if len(found) == 1 else "there is nothing to size"
            if len(found) > 1:
                what = f"there is more than one to size: {', '.join(a.name for _, a in found)}"
            raise InputError(
                what,
                where=f"option {name!r}",
                allowed=f"one {', '.join(list(SIZINGS)[:-1])} or {list(SIZINGS)[-1]}, over a damage",
                do="write the option that way",
            )
        ((j, keys),) = found
        materials, base, run = materials_of(model.materials), tuple[Ply, ...](), 0.0
        if isinstance(keys, LetIn):
            skin, laminate = let_in_plies(keys, materials, model.panel)
            plies, base = laminate.plies, laminate.plies[: len(skin.plies)]
            run = 1e3 * skin.thickness if isinstance(keys, ScarfAction) else float(len(skin.plies))
        else:
            plies = parse_stack(keys.stack, materials, keys.material or model.panel.material)
        fibre = [ply.material for ply in plies if isinstance(ply.material, PlyMaterial)]
        if not fibre:
            raise InputError("there is no ply of fibre", where=f"option {name!r}", do="write one into its stack")
        faces = {"two-sided patch": 2, "doubler": 0}.get(keys.kind, 1)
        count = len(plies) if base else len(fibre)
        return cls(
            document, at, j, name, keys.kind, getattr(keys, SIZINGS[keys.kind].key), materials, fibre[0], count, faces,
            tuple(_written(ply, fibre[0].name) for ply in base), run,
        )  # fmt: skip

    def sizes(self, given: Mapping[str, Sequence[float] | None]) -> list[float]:
        """The sizes to search, of those `given` by their keys, or the usual ones; raises for those of another kind."""
        own = SIZINGS[self.kind]
        for other in SIZINGS.values():
            if other.key != own.key and given[other.key] is not None:
                raise InputError(
                    f"{other.name} mean nothing to a {self.kind}",
                    where=f"option {self.name!r}",
                    allowed=own.name,
                    do=f"take them out, or give {own.name}",
                )
        return sorted(set(given[own.key] or own.usual))

    def document(self, reach: float) -> dict[str, Any]:
        """The case with this option alone, its repair of that size, with as few plies as may be."""
        made = copy.deepcopy(dict(self.whole))
        made["option"] = [self.entry(reach, f"[{'/'.join(self.base) or '0'}]")]
        return made

    def entry(self, reach: float, stack: str) -> dict[str, Any]:
        """The option with its repair exchanged."""
        entry = copy.deepcopy(self.whole["option"][self.option])
        own = {SIZINGS[self.kind].key: reach, "stack": stack, "material": self.ply.name}
        entry["actions"][self.action] |= own
        return dict(entry)


def _written(ply: Ply, usual: str) -> str:
    """A ply in the notation of stacks, where bare angles are of the material `usual`.

    >>> from panelfem.material import library
    >>> stack = "[45/90:E-glass-LY556/0:0.5mm/film-epoxy:0.1mm]"
    >>> "/".join(_written(ply, "carbon-twill") for ply in parse_stack(stack, library(), "carbon-twill"))
    '45/90:E-glass-LY556/0:0.5mm/film-epoxy:0.1mm'
    """
    thick, name = f"{1e3 * ply.thickness:.9g}mm", ply.material.name
    if not isinstance(ply.material, PlyMaterial):
        return f"{name}:{thick}"
    parts = [f"{math.degrees(ply.angle):.9g}", name if name != usual else ""]
    return ":".join(filter(None, (*parts, thick if ply.thickness != ply.material.thickness else "")))


class _Bench:
    """Looks at repairs of one size, all on one mesh."""

    def __init__(self, offered: _Offered, case: Case, reach: float, minutes: _Minutes) -> None:
        assert case.panel is not None
        self.offered, self.case, self.reach, self.minutes = offered, case, reach, minutes
        (self.option,) = case.options
        self.words = Places(case.places, {f.name: f.washer_radius for f in case.panel.fasteners})
        self.consequence = Consequence(case.consequence, case.required_factor, case.factor_basis)  # type: ignore[arg-type]
        self.settings, self.order = settings_of(case), case.order or DEFAULT_ORDER
        self._spare = replace(self.settings, asked=SPARE * self.settings.asked)
        self.like: Shell | None = None
        self._seen: dict[tuple[tuple[int, ...], int], Candidate] = {}
        turnings = TURNINGS[offered.ply.kind]
        self.turnings = ((), *turnings) if offered.base else turnings
        self.size = SIZINGS[offered.kind].size.format(reach)
        self.found_mass = self._mass(replace(self.option, actions=()))

    def family(self, turning: tuple[int, ...], most: int) -> Iterator[Candidate]:
        """From the fewest plies up, not yet looked at: of those that only replace old ones there is one."""
        fewest = len(self.offered.base) + len(turning)
        for plies in range(fewest, min(most, fewest if not turning else most) + 1):
            made = Candidate(
                self.reach, turning, plies, 0.0, self._minutes(plies), math.nan, "", "", self.offered.kind,
                self.offered.base,
            )  # fmt: skip
            yield replace(made, added=self._mass(self._with(made)) - self.found_mass)

    def knows(self, c: Candidate) -> bool:
        """Whether it was looked at before."""
        return (c.turning, c.plies) in self._seen

    def look(self, c: Candidate) -> Candidate:
        """The candidate with what a look finds."""
        key = c.turning, c.plies
        if key not in self._seen:
            factor, governs, leaves = self._look(self._with(c))
            self._seen[key] = replace(c, factor=factor, governs=governs, leaves=leaves)
        return self._seen[key]

    def _minutes(self, plies: int) -> float:
        offered = self.offered
        more = self.minutes.ply * offered.faces * (plies - offered.plies)
        more += self.minutes.taper * offered.run * (self.reach - offered.reach) / 10.0
        if (minutes := self.option.minutes + more) <= 0.0:
            raise InputError(
                f"with the {self.option.minutes:g} min of the option, {plies} plies, {self.size}, would take "
                f"{minutes:g} min",
                where=f"option {offered.name!r}",
                allowed="more than 0 min",
                do="state the minutes of the option, or those of a ply and of a taper",
            )
        return minutes

    def _with(self, c: Candidate) -> Option:
        laminate = Laminate(parse_stack(c.stack, self.offered.materials, self.offered.ply.name))
        actions = list(self.option.actions)
        bonded = actions[self.offered.action]
        assert isinstance(bonded, Bonded)
        actions[self.offered.action] = replace(bonded, laminate=laminate)
        return replace(self.option, actions=tuple(actions))

    def _inputs(self, option: Option) -> Inputs:
        assert self.case.panel is not None
        return Inputs(self.case.panel, self.case.damage, (option,), self.case.loads)

    def _plan(self, option: Option) -> Plan:
        return plans(self._inputs(option))[-1]

    def _mass(self, option: Option) -> float:
        return max(float(state.panel.mass()) for state in self._plan(option).states)

    def _look(self, option: Option) -> tuple[float, str, str]:
        """Least factor over what is asked, what governs, and how it leaves linear theory."""
        inputs, worst, leaves = self._inputs(option), (float("inf"), ""), ""
        for state in self._plan(option).states:
            found, solved = looked_at(state, inputs, self.settings, self.order, self.words, self.like)
            self.like = solved.model.shell
            for result in found.results:
                judged = judge_load(result, self.consequence)
                worst = min(worst, (max(judged.factor, 0.0) / judged.required, f"{result.load}: {result.release.mode}"))
            if worst[0] >= 1.0:
                leaves = leaves or self._leaves(solved)
        return *worst, leaves if worst[0] >= 1.0 else ""

    def _leaves(self, low: Solved) -> str:
        """Load and measure by which a state leaves linear theory where the undamaged panel does not."""
        checks = far(low, self._spare)
        checks = {load: check for load, check in checks.items() if load not in self._bent} if checks else {}
        state, loads = low.model.state, low.loads
        return leaves_linear(
            low,
            checks,
            self.settings,
            lambda: solve(state, loads, self.settings, self.order + 1, self.words, None, low),
        )

    @cached_property
    def _bent(self) -> frozenset[str]:
        """The loads under which the undamaged panel leaves linear theory."""
        inputs = self._inputs(self.option)
        solved = looked_at(plans(inputs)[0].states[0], inputs, self.settings, self.order, self.words, self.like)[1]
        return frozenset(far(solved, self._spare))


def _in_full(offered: _Offered, file: Path, proposed: Sequence[Candidate]) -> tuple[Assessment, list[Verified]]:
    """The full assessment of the options of the case and of the proposals."""
    document = copy.deepcopy(dict(offered.whole))
    names = []
    for c in proposed:
        entry = offered.entry(c.reach, c.stack)
        names.append(f"{offered.name}, {c.words}")
        entry |= {"name": names[-1], "minutes": c.minutes, "note": f"proposed by the search in place of {offered.name}"}
        actions = entry["actions"]
        for j, action in enumerate(actions):
            actions[j] = action | {"name": f"{action['name']} ({c.size}, {c.stack})"}
        document["option"].append(entry)
    first = len(document["option"]) - len(proposed)
    origins = {f"option[{first + i}]": "search for the smallest sufficient repair" for i in range(len(proposed))}
    case = build(check(document, file), file, origins)
    hashed = sha256((case.hash + "".join(names)).encode()).hexdigest()
    # which size of damage flips an outcome is asked of the repair that is chosen, not of every one tried
    case = replace(case, hash=hashed, flip_sizes=False)
    made = assess(case)
    assert isinstance(made, Assessment)
    by_name = {c.name: c for c in made.configurations}
    return made, [
        Verified(c, name, _least(by_name[name]), by_name[name].disposition.outcome, by_name[name].disposition.reason)
        for c, name in zip(proposed, names, strict=True)
    ]


def _least(configuration: Configuration) -> float:
    return min(max(load.factor, 0.0) / load.required for load in configuration.disposition.loads)
