"""The smallest sufficient repair: the lightest patch, and the quickest, that meets the factor asked for in all loads.

Searched over what the bench has: overlaps of standard size, ways of turning the plies, and their number.  A look is one
linear solve of the low order in every state that must meet the factor.  The factor need not rise with the number of
plies, since the bond of a thicker patch takes more; so each family (overlap, turning) is looked at from the fewest
plies up, until one suffices, or until the factor is short and has fallen twice in a row.

What is found is then assessed in full, beside the options of the case.  Where that is short of what is asked, all looks
are taken down by the least ratio of both; where it cannot be told for another reason, the next must have more plies or
:data:`AHEAD` times the factor.  The families are followed on, and the next is tried, up to :data:`ROUNDS` times.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

from panelfem.assess.assess import assess, settings_of
from panelfem.assess.evaluate import looked_at
from panelfem.assess.plan import Inputs, Plan, plans
from panelfem.assess.records import Assessment, Configuration
from panelfem.case import Case
from panelfem.case.builder import build
from panelfem.case.read import check, read
from panelfem.disposition import GOOD, Consequence, Outcome, judge_load
from panelfem.errors import InputError, ModelError
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import PlyMaterial
from panelfem.repair import Option, PatchRepair
from panelfem.reserve.places import Places
from panelfem.shell import DEFAULT_ORDER, Shell

Progress = Callable[[str, float], None]

#: Overlaps patches are cut to, mm (common practice, no source).
OVERLAPS = (20.0, 30.0, 40.0, 60.0)
#: How plies may be turned, degrees, from the bond outwards and over again (common practice, no source).
TURNINGS: Mapping[str, tuple[tuple[int, ...], ...]] = {
    "fabric": ((0,), (45,), (0, 45)),
    "unidirectional": ((0,), (0, 90), (45, -45), (0, 45, -45, 90)),
}
#: Minutes one more ply takes to cut, wet and lay (common practice, no source).
PLY_MINUTES = 3.0
MOST_PLIES, ROUNDS = 8, 4
#: How much more the next must reach than one of which it could not be told, with no more plies.
AHEAD = 1.1


@dataclass(frozen=True)
class Candidate:
    """A patch: overlap mm, its turning, so many plies; what it adds kg against the panel as found, and its minutes.

    `factor`: least reserve factor over what is asked for, of all loads, by the look; `governs`: load and mode.
    """

    overlap: float
    turning: tuple[int, ...]
    plies: int
    added: float
    minutes: float
    factor: float
    governs: str

    @property
    def stack(self) -> str:
        """The stack of the patch from the bond outwards.

        >>> Candidate(20.0, (0, 45), 3, 0.0, 0.0, 1.0, "").stack
        '[0/45/0]'
        """
        return f"[{'/'.join(str(self.turning[i % len(self.turning)]) for i in range(self.plies))}]"

    @property
    def words(self) -> str:
        """What it is, for a table."""
        return f"{self.plies} {'ply' if self.plies == 1 else 'plies'} {self.stack}, overlap {self.overlap:g} mm"


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

    `assessment`: the full one, of the options of the case and the proposals.
    """

    option: str
    material: str
    looks: tuple[Candidate, ...]
    verified: tuple[Verified, ...]
    lightest: Verified | None
    quickest: Verified | None
    assessment: Assessment

    @property
    def best(self) -> Candidate:
        """The look with the greatest factor."""
        return max(self.looks, key=lambda c: c.factor)


def smallest(
    file: Path,
    option: str,
    overlaps: Sequence[float] = OVERLAPS,
    most_plies: int = MOST_PLIES,
    ply_minutes: float = PLY_MINUTES,
    progress: Progress | None = None,
) -> Search:
    """Search for the smallest sufficient patch in place of that of an option.

    Raises InputError for a case without that option, or whose option has no single patch over a damage.
    """
    tell = progress or (lambda stage, share: None)
    document = read(file)
    offered = _Offered.of(document, file, option)
    benches = []
    for overlap in sorted(set(overlaps)):
        tell(f"meshing for an overlap of {overlap:g} mm", 0.0)
        benches.append(
            _Bench(offered, build(check(offered.document(overlap, "[0]"), file), file), overlap, ply_minutes)
        )
    verified: list[Verified] = []
    assessment, looks, stopped = None, list[Candidate](), None
    for attempt in range(ROUNDS):
        looks = _looks(benches, most_plies, verified, partial(_at, tell, attempt / ROUNDS))
        proposed = _proposed(looks, verified)
        if not proposed:
            break
        tell(f"assessing {len(proposed)} in full", (attempt + 0.5) / ROUNDS)
        kept = [v.candidate for v in verified if v.sufficient]
        try:
            assessment, found = _in_full(offered, file, [*kept, *proposed])
        except ModelError as error:  # of which of them is not known: none can be told
            stopped = error
            verified += [Verified(c, c.words, c.factor, Outcome.CANNOT_TELL, str(error)) for c in proposed]
            continue
        verified = [v for v in verified if not v.sufficient] + found
        if all(v.sufficient for v in found) or not any(_suffices(c, ()) for c in proposed):
            break
    if assessment is None and stopped is not None:
        raise stopped
    if assessment is None:
        raise InputError("no patch could be looked at", where=f"option {option!r}", do="allow other overlaps or plies")
    good = [v for v in verified if v.sufficient]
    return Search(
        option, offered.material, tuple(sorted(looks, key=_lightness)), tuple(verified),
        min(good, key=lambda v: _lightness(v.candidate), default=None),
        min(good, key=lambda v: _quickness(v.candidate), default=None), assessment,
    )  # fmt: skip


def _at(tell: Progress, share: float, stage: str) -> None:
    tell(stage, share)


def _lightness(c: Candidate) -> tuple[float, ...]:
    return (c.added, c.minutes, c.overlap, c.plies, *c.turning)


def _quickness(c: Candidate) -> tuple[float, ...]:
    return (c.minutes, c.added, c.overlap, c.plies, *c.turning)


def _suffices(c: Candidate, verified: Sequence[Verified]) -> bool:
    """Whether a look suffices, by what was learnt of others in full."""
    failed = [v for v in verified if not v.sufficient]
    trust = min((v.factor / v.candidate.factor for v in failed if v.candidate.factor > 0.0), default=1.0)
    untold = [v.candidate for v in failed if v.factor >= 1.0]
    return c.factor * min(trust, 1.0) >= 1.0 and all(
        c.plies > other.plies or c.factor >= AHEAD * other.factor for other in untold
    )


def _looks(
    benches: Sequence[_Bench], most: int, verified: Sequence[Verified], tell: Callable[[str], None]
) -> list[Candidate]:
    """The looks of all families, each followed until one suffices."""
    looks: list[Candidate] = []
    for bench in benches:
        for turning in TURNINGS[bench.kind]:
            tell(f"looking at overlap {bench.overlap:g} mm, turned {'/'.join(map(str, turning))}°")
            looks += bench.family(turning, most, verified)
        bench.like = None  # it is large
    return looks


def _proposed(looks: Sequence[Candidate], verified: Sequence[Verified]) -> list[Candidate]:
    """The lightest and the quickest that suffice by the looks or in full; of these, what is not yet verified.  Failing
    that, on the first time, the best there is.
    """
    tried = [v.candidate for v in verified]
    good = [c for c in looks if c not in tried and _suffices(c, verified)]
    good += [v.candidate for v in verified if v.sufficient]
    if good:
        wanted = dict.fromkeys((min(good, key=_lightness), min(good, key=_quickness)))
        return [c for c in wanted if c not in tried]
    return [] if tried or not looks else [max(looks, key=lambda c: (c.factor, -c.added))]


@dataclass(frozen=True)
class _Offered:
    """The option as the case offers it: the whole document, its place and that of its patch, and the ply material."""

    whole: Mapping[str, Any]
    option: int
    action: int
    material: str
    name: str
    plies: int

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
        patches = [j for j, a in enumerate(model.option[at].actions) if a.kind == "patch"]
        keys = model.option[at].actions[patches[0]] if len(patches) == 1 else None
        if keys is None or getattr(keys, "over", None) is None:
            raise InputError(
                "there is nothing to size" if keys is None else "the patch has an area of its own",
                where=f"option {name!r}",
                allowed="one patch over a damage, with over and overlap_mm",
                do="write the option that way",
            )
        fibre = _plies(model, keys)
        return cls(document, at, patches[0], fibre[0].name, name, len(fibre))

    def document(self, overlap: float, stack: str) -> dict[str, Any]:
        """The case with this option alone, its patch exchanged."""
        made = copy.deepcopy(dict(self.whole))
        made["option"] = [self.entry(overlap, stack)]
        return made

    def entry(self, overlap: float, stack: str) -> dict[str, Any]:
        """The option with its patch exchanged."""
        entry = copy.deepcopy(self.whole["option"][self.option])
        entry["actions"][self.action] |= {"overlap_mm": overlap, "stack": stack, "material": self.material}
        return dict(entry)


def _plies(model: Any, keys: Any) -> list[PlyMaterial]:
    """The materials of the plies of fibre of the patch as offered."""
    from panelfem.case.checks_materials import materials_of

    plies = parse_stack(keys.stack, materials_of(model.materials), keys.material or model.panel.material)
    return [ply.material for ply in plies if isinstance(ply.material, PlyMaterial)]


class _Bench:
    """Looks at patches of one overlap, all on one mesh."""

    def __init__(self, offered: _Offered, case: Case, overlap: float, ply_minutes: float) -> None:
        assert case.panel is not None
        self.case, self.overlap, self.ply_minutes = case, overlap, ply_minutes
        (self.option,) = case.options
        self.patch = next(a for a in self.option.actions if isinstance(a, PatchRepair))
        self.ply = self.patch.laminate.plies[0]
        self.words = Places(case.places, {f.name: f.washer_radius for f in case.panel.fasteners})
        self.consequence = Consequence(case.consequence, case.required_factor, case.factor_basis)  # type: ignore[arg-type]
        self.like: Shell | None = None
        self._seen: dict[tuple[tuple[int, ...], int], Candidate] = {}
        self.kind = self.ply.material.kind if isinstance(self.ply.material, PlyMaterial) else "fabric"
        self.offered_plies = offered.plies
        self.found_mass = self._mass(replace(self.option, actions=()))

    def family(self, turning: tuple[int, ...], most: int, verified: Sequence[Verified]) -> Iterator[Candidate]:
        """From the fewest plies up, as far as it is worth while."""
        factors: list[float] = []
        for plies in range(len(turning), most + 1):
            if (made := self._seen.get((turning, plies))) is None:
                option = self._with(turning, plies)
                added, minutes = self._mass(option) - self.found_mass, self._minutes(plies)
                made = Candidate(self.overlap, turning, plies, added, minutes, *self._look(option))
                self._seen[turning, plies] = made
            yield made
            factors.append(made.factor)
            falling = len(factors) > 2 and factors[-1] < factors[-2] < factors[-3]
            if _suffices(made, verified) or (falling and made.factor < 1.0):
                return

    def _minutes(self, plies: int) -> float:
        return self.option.minutes + self.ply_minutes * (plies - self.offered_plies)

    def _with(self, turning: tuple[int, ...], plies: int) -> Option:
        stack = Candidate(self.overlap, turning, plies, 0.0, 0.0, 0.0, "").stack
        material = self.ply.material
        laminate = Laminate(parse_stack(stack, {material.name: material}, material.name))
        actions = tuple(replace(a, laminate=laminate) if a is self.patch else a for a in self.option.actions)
        return replace(self.option, actions=actions)

    def _inputs(self, option: Option) -> Inputs:
        assert self.case.panel is not None
        return Inputs(self.case.panel, self.case.damage, (option,), self.case.loads)

    def _plan(self, option: Option) -> Plan:
        return plans(self._inputs(option))[-1]

    def _mass(self, option: Option) -> float:
        return max(float(state.panel.mass()) for state in self._plan(option).states)

    def _look(self, option: Option) -> tuple[float, str]:
        """Least factor over what is asked, and what governs."""
        case, order, inputs = self.case, self.case.order or DEFAULT_ORDER, self._inputs(option)
        worst = (float("inf"), "")
        for state in self._plan(option).states:
            found, solved = looked_at(state, inputs, settings_of(case), order, self.words, self.like)
            self.like = solved.model.shell
            for result in found.results:
                judged = judge_load(result, self.consequence)
                worst = min(worst, (max(judged.factor, 0.0) / judged.required, f"{result.load}: {result.release.mode}"))
        return worst


def _in_full(offered: _Offered, file: Path, proposed: Sequence[Candidate]) -> tuple[Assessment, list[Verified]]:
    """The full assessment of the options of the case and of the proposals."""
    document = copy.deepcopy(dict(offered.whole))
    names = []
    for c in proposed:
        entry = offered.entry(c.overlap, c.stack)
        names.append(f"{offered.name}, {c.words}")
        entry |= {"name": names[-1], "minutes": c.minutes, "note": f"proposed by the search in place of {offered.name}"}
        actions = entry["actions"]
        for j, action in enumerate(actions):
            actions[j] = action | {"name": f"{action['name']} ({c.overlap:g} mm, {c.stack})"}
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
