"""One state of the panel solved with elements of one order, under every load case.

Linear theory comes first.  Where it does not hold, up to the greatest severity that is looked at, the load case is
followed with large displacements (:mod:`panelfem.assess.buckle`), and what linear theory said is kept beside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.large import Following
from panelfem.assess.model import Model
from panelfem.assess.plan import State
from panelfem.assess.respond import Responder
from panelfem.loads import LoadCase
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.check import Words
from panelfem.reserve.observe import lattice_points
from panelfem.reserve.plies import PlyCheck
from panelfem.reserve.records import CurvePoint, Deflection, FieldSet, LinearAnswer, LoadResult, PlyRow, TheoryCheck
from panelfem.reserve.sampling import row_at
from panelfem.reserve.search import Path
from panelfem.shell import Shell


@dataclass(frozen=True)
class Solved:
    """A factored model, and per load case its result, what the pictures show and the path it was found along.

    `linear` (n_total,): the unknowns of linear theory at the expected severity.
    """

    model: Model
    responder: Responder
    loads: tuple[LoadCase, ...]
    results: tuple[LoadResult, ...]
    fields: Mapping[str, FieldSet]
    paths: Mapping[str, Path]
    linear: Mapping[str, FloatArray]

    @property
    def displacements(self) -> FloatArray:
        """Unknowns (n_total, loads) of linear theory at the expected severity."""
        return np.stack([self.linear[load.name] for load in self.loads], axis=1)

    def result(self, load: str) -> LoadResult:
        """What was found under a load."""
        return next(r for r in self.results if r.load == load)

    def plies(self, other: Solved, result: LoadResult) -> tuple[PlyRow, ...]:
        """The plies of this solution at the governing place of `result`, where the `other` order found it.

        Where strain is averaged, the average of the two that is most like it: each ray has its own.
        """
        path, there = self.paths[result.load], other.paths[result.load]
        mode = result.release if result.release.ply is not None else result.first_ply
        check, theirs = path.checks[0], there.checks[0]
        if mode.place is None or not isinstance(check, PlyCheck) or not isinstance(theirs, PlyCheck):
            return ()
        i = theirs.nearest(mode.place, mode.laminate, there.held, there.state(1.0))
        group, point = int(theirs.sampling.group[i]), theirs.sampling.points[i]
        ours = check.sampling
        held, now = path.held, path.state(1.0)
        if theirs.sampling.length[i] > 0.0:
            among = np.flatnonzero((ours.length > 0.0) & (ours.group == group))
            gap = np.linalg.norm(ours.points[among] - point, axis=1)
            among = among[gap <= gap.min(initial=np.inf) + 1e-9]
            if len(among):
                apart = np.linalg.norm((now.strain[among] - there.state(1.0).strain[i])[:, :6], axis=1)
                j = int(among[int(np.argmin(apart))])
                return check.rows(group, held.strain[j], now.strain[j])
        row = row_at(self.model.recovery, self.model.panel.laminate_of, point, group)
        reading = self.model.subject.observer.reading
        strains = [reading(state).strains(state.unknowns) for state in (path.response.held, path.found(1.0))]
        before, after = (np.asarray(row @ strain)[0] for strain in strains)
        return check.rows(group, before, after)


def solve(
    state: State,
    loads: Sequence[LoadCase],
    settings: Settings,
    order: int,
    words: Words,
    like: Shell | None,
    lower: Solved | None = None,
) -> Solved:
    """Solve a state by linear theory with elements of `order`; `like` is a shell of that order whose unchanged parts
    are taken over.

    `lower`: the solution of the lower of the two orders that are compared, where this is the higher one: contact is
    then followed more finely too, factors are looked for from the lower ones on, and what has been shown to be sound is
    not looked at again.
    """
    finer = lower is not None
    model = Model(state, order, words, like, pivots=not finer)
    responder = Responder(model, loads, finer)
    found, fields, paths = [], {}, {}
    for load in loads:
        begin = None if lower is None else lower.result(load.name)
        response = responder.linear(load)
        result, fields[load.name], paths[load.name] = analyse(model.subject, load, response, settings, begin)
        doubts = (*result.notes, *responder.notes(load, result.contacts))
        found.append(replace(result, notes=doubts, residual=responder.residual))
    linear = {load.name: paths[load.name].unknowns(1.0) for load in loads}
    return Solved(model, responder, tuple(loads), tuple(found), fields, paths, linear)


def far(solved: Solved, settings: Settings) -> dict[str, TheoryCheck]:
    """The loads under which linear theory does not hold, for how far the panel moves, up to the greatest severity
    looked at, with what it says there.
    """
    if not settings.followed:
        return {}
    theory, paths = solved.model.subject.theory, solved.paths
    found = {load.name: theory(paths[load.name], greatest(load, settings.asked)) for load in solved.loads}
    return {name: check for name, check in found.items() if check.far}


def followed(
    solved: Solved, load: LoadCase, response: Following, settings: Settings, lower: Solved | None = None
) -> Solved:
    """A linear solution with one of its loads followed with large displacements, by that response.

    `lower`: the solution of the lower of the two orders that are compared, followed already.
    """
    model, responder = solved.model, solved.responder
    responder.far[load.name] = response
    like = None if lower is None else lower.result(load.name)
    result, fields, path = analyse(model.subject, load, response, settings, like)
    result = replace(
        _beside(result, solved.result(load.name)),
        curve=_curve(model, response, result.deflection) if like is None else like.curve,
        notes=(
            *result.notes,
            *responder.notes(load, result.contacts),
            *responder.entered(load, path.state(1.0), model.subject.observer.points),
        ),
        residual=response.residual(path.within(1.0)),
    )
    return replace(
        exchanged(solved, result),
        fields={**solved.fields, load.name: fields},
        paths={**solved.paths, load.name: path},
    )


def bow(solved: Solved, load: LoadCase, settings: Settings) -> float:
    """Deflection over thickness at the expected severity by linear theory."""
    return solved.result(load.name).theory.deflection_over_thickness / settings.asked


def exchanged(solved: Solved, result: LoadResult) -> Solved:
    """A solution with another result of one of its loads."""
    return replace(solved, results=tuple(result if r.load == result.load else r for r in solved.results))


def greatest(load: LoadCase, asked: float) -> float:
    """The greatest factor on the expected severity that is looked at: the one asked for, at the top of the bands."""
    severity = 1.0 if load.severity_band is None else load.severity_band[1]
    dynamic = 1.0 if load.dynamic_band is None else load.dynamic_band[1] / load.dynamic
    return asked * max(1.0, severity, dynamic)


def _beside(result: LoadResult, linear: LoadResult) -> LoadResult:
    """A result of large displacements with what linear theory said."""
    reasons = linear.theory.far or ("only at the top of the bands of the assumed inputs",)
    return replace(result, linear=LinearAnswer(linear.deflection.value, linear.release, linear.first_ply, reasons))


def _curve(model: Model, response: Following, deflection: Deflection) -> tuple[CurvePoint, ...]:
    """The load–deflection curve at the place and along the direction of the greatest deflection."""
    points = model.subject.observer.points
    gap = ((points - deflection.place) ** 2).sum(axis=2)
    element, number = np.unravel_index(int(np.argmin(gap)), gap.shape)
    bary = lattice_points()[number][None]
    row = model.shell.displacement_operator(np.array([element]), bary)
    return tuple(CurvePoint(p, float((row @ u) @ deflection.vector)) for p, u in response.curve)
