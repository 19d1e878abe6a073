"""One state of the panel solved with elements of one order, under every load case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.model import Model
from panelfem.assess.plan import State
from panelfem.assess.respond import Responder
from panelfem.loads import LoadCase
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.check import Words
from panelfem.reserve.plies import PlyCheck
from panelfem.reserve.records import FieldSet, LoadResult, PlyRow
from panelfem.reserve.sampling import row_at
from panelfem.reserve.search import Path
from panelfem.shell import Shell


@dataclass(frozen=True)
class Solved:
    """A factored model, and per load case its result, what the pictures show and the path it was found along."""

    model: Model
    responder: Responder
    loads: tuple[LoadCase, ...]
    results: tuple[LoadResult, ...]
    fields: Mapping[str, FieldSet]
    paths: Mapping[str, Path]

    @property
    def displacements(self) -> FloatArray:
        """Unknowns (n_total, loads) at the expected severity."""
        return np.stack([self.paths[load.name].unknowns(1.0) for load in self.loads], axis=1)

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
        recovery = self.model.recovery
        row = row_at(recovery, self.model.panel.laminate_of, point, group)
        strains = [recovery.strains(u) for u in (path.response.held.unknowns, path.unknowns(1.0))]
        before, after = (np.asarray(row @ strain)[0] for strain in strains)
        return check.rows(group, before, after)


def solve(
    state: State,
    loads: Sequence[LoadCase],
    settings: Settings,
    order: int,
    words: Words,
    like: Shell | None,
    finer: bool = False,
) -> Solved:
    """Solve a state with elements of `order`; `like` is a shell of that order whose unchanged parts are taken over.

    `finer`: this is the higher order of the two that are compared, so contact is followed more finely too.
    """
    model = Model(state, order, words, like)
    responder = Responder(model, loads, finer)
    found, fields, paths = [], {}, {}
    for load in loads:
        result, fields[load.name], paths[load.name] = analyse(model.subject, load, responder(load), settings)
        doubts = (*result.notes, *responder.notes(load, result.contacts))
        found.append(replace(result, notes=doubts, residual=responder.residual))
    return Solved(model, responder, tuple(loads), tuple(found), fields, paths)
