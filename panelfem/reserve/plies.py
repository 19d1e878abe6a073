"""Ply by ply: every criterion at the sampling points, at both faces of every ply.

Vertices and averages are checked first, then the nodes on edges beside the leading few of each mode: a peak between
vertices is next to one of them.  Measured on four demo cases: vertices alone miss up to 18 % of a mode's peak, this
none of it, at 2 to 20 % more than the cost of the vertices.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.criterion import Criterion
from panelfem.failure.in_situ import in_situ
from panelfem.laminate import Laminate
from panelfem.material import PlyMaterial
from panelfem.panel import Panel
from panelfem.reserve.check import Words, least, merge, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import Grade, ModeReserve, PlyRow
from panelfem.reserve.sampling import Sampling

POSITIONS = ("bottom", "middle", "top")
#: Plane-stress criteria are convex: along the straight stress line through a ply they are worst at an end.
_FACES = (0, 2)
#: So many points of each mode are looked around, if their factor is at most so many times the least of all laminates.
_FEW, _REACH = 4, 1.3
#: A mode farther away than this is not looked for between vertices.
_NEVER = 1e6


@dataclass(frozen=True)
class Residual:
    """What the held part of a load case leaves in the plies, as in :class:`panelfem.loads.Cure`."""

    temperature_change: float = 0.0
    moisture: float = 0.0
    since_fitting: float = 0.0

    def locked_in(self, laminate: Laminate) -> FloatArray:
        """Strain and curvature (6,) a free laminate has taken before the panel was fitted."""
        before = laminate.thermal_resultants(self.temperature_change - self.since_fitting, self.moisture)
        return np.asarray(np.linalg.solve(laminate.ABD, before))

    def stresses(self, laminate: Laminate, strain: FloatArray) -> FloatArray:
        """Ply stresses (n, plies, 3, 3), Pa, for strains (n, 6 or 8) since the panel was fitted."""
        total = strain[:, :6] + self.locked_in(laminate)
        return laminate.ply_stresses(total, self.temperature_change, self.moisture)


@dataclass(frozen=True)
class PlyCheck:
    """First-ply failure.

    `decide` names the deciding criterion per kind of ply, over the library's choice; criteria without a mode are graded
    inspection, and govern release only if `modeless_governs`.  `in_situ`: with the strength held plies have in the
    laminate.
    """

    panel: Panel
    sampling: Sampling
    residual: Residual
    words: Words
    decide: Mapping[str, str] = field(default_factory=dict)
    modeless_governs: bool = False
    in_situ: bool = False

    def deciding(self, kind: str) -> str:
        """The criterion that decides for a kind of ply."""
        return self.decide.get(kind) or deciding(kind)

    def stresses(self, laminate: Laminate, strain: FloatArray, held: bool) -> FloatArray:
        """Ply stresses (n, plies, 3, 3), Pa; with residual strain if `held`."""
        if held:
            return self.residual.stresses(laminate, strain)
        return laminate.ply_stresses(strain)

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The governing place of each mode: found among vertices and averages, then beside the leading few of them."""
        found: list[ModeReserve] = []
        sampling = self.sampling
        early = sampling.group[: sampling.first]
        numbers = np.unique(early).tolist()
        first = {n: self._factors(n, np.flatnonzero(early == n), held, now, everything) for n in numbers}
        bound = _bounds([c for checked in first.values() for c in checked])
        for number, checked in first.items():
            at = np.flatnonzero(early == number)
            leading = [_leading(c, bound) for c in checked]
            beside = sampling.around(at[np.unique(np.concatenate(leading))]) if leading else at[:0]
            more = [k for k, few in enumerate(leading) if len(few)] if len(beside) else []
            again = iter(self._factors(number, beside, held, now, everything, more) if more else ())
            for k, c in enumerate(checked):
                points, factors = at, c.factors
                if k in more:
                    points, factors = np.concatenate([at, beside]), np.concatenate([factors, next(again).factors])
                for m, mode in enumerate(c.criterion.modes):
                    i, factor = least(factors[..., m].ravel())
                    point, ply, face = np.unravel_index(i, factors.shape[:3])
                    grade: Grade = mode.grade if c.decides else "inspection"
                    if len(c.criterion.modes) == 1 and self.modeless_governs:
                        grade = "release"
                    found.append(
                        mode_reserve(
                            mode.name,
                            c.name,
                            grade,
                            factor,
                            sampling.points[points[point]],
                            self.words,
                            int(c.plies[ply]) + 1,
                            c.material.name,
                            POSITIONS[_FACES[int(face)]],
                            number,
                            c.decides,
                            float(sampling.length[points[point]]),
                        )
                    )
        return merge(found)

    def _factors(
        self,
        number: int,
        at: IntArray,
        held: Observed,
        now: Observed,
        everything: bool,
        only: Sequence[int] | None = None,
    ) -> list[_Checked]:
        """Each criterion's factors at the sampling points `at` (k,) of a laminate; `only` some of them, by number."""
        laminate = self.panel.laminates[number]
        base = self.stresses(laminate, held.strain[at], True)[:, :, _FACES]
        applied = self.stresses(laminate, now.strain[at] - held.strain[at], False)[:, :, _FACES]
        wanted = [
            (material, plies, name, criterion)
            for material, plies in _by_material(in_situ(laminate) if self.in_situ else laminate)
            for name, criterion in CRITERIA.items()
            if (everything or name == self.deciding(material.kind))
            and material.kind in criterion.applies_to
            and all(getattr(material, need) is not None for need in criterion.needs)
        ]
        found = []
        for material, plies, name, criterion in wanted if only is None else [wanted[k] for k in only]:
            factors = criterion.reserve(applied[:, plies], base[:, plies], material)
            found.append(_Checked(name, criterion, name == self.deciding(material.kind), material, plies, factors))
        return found

    def field(self, held: Observed, now: Observed) -> FloatArray:
        """Least factor of the deciding criterion's release-governing modes at each sampling point, (ns,).

        Found at vertices and averages; inf at nodes on edges.
        """
        factors = np.full(len(self.sampling.points), np.inf)
        early = self.sampling.group[: self.sampling.first]
        for number in np.unique(early).tolist():
            at = np.flatnonzero(early == number)
            factors[at] = self._least(number, at, held, now)
        return factors

    def _least(self, number: int, at: IntArray, held: Observed, now: Observed) -> FloatArray:
        """Least factor (k,) of the deciding criterion's release-governing modes at points `at` (k,) of a laminate."""
        factors = np.full(len(at), np.inf)
        for c in self._factors(number, at, held, now, False):
            release = [m for m, mode in enumerate(c.criterion.modes) if mode.grade == "release"]
            if release:
                worst = np.nan_to_num(c.factors[..., release], nan=0.0).reshape(len(at), -1).min(1)
                factors = np.minimum(factors, worst)
        return factors

    def nearest(self, place: FloatArray, number: int | None, held: Observed, now: Observed) -> int:
        """The sampling point nearest to `place` (3,), in laminate `number`; of several averages there, that with the
        least factor.
        """
        among = np.arange(len(self.sampling.points))
        if number is not None:
            among = np.flatnonzero(self.sampling.group == number)
        gap = ((self.sampling.points[among] - place) ** 2).sum(1)
        among = among[gap == gap.min()]  # several averages start at one place, and laminates meet there
        worst = [self._least(int(self.sampling.group[i]), among[j : j + 1], held, now)[0] for j, i in enumerate(among)]
        return int(among[int(np.argmin(worst))])

    def rows(self, number: int, held: FloatArray, now: FloatArray) -> tuple[PlyRow, ...]:
        """Strain and stress of every ply of laminate `number` where the strains are `held` (8,) and `now` (8,)."""
        laminate = self.panel.laminates[number]
        strain = laminate.ply_strains(now[None])[0]
        base = self.stresses(laminate, held[None], True)[0]
        total = base + self.stresses(laminate, (now - held)[None], False)[0]
        z = laminate.interfaces
        return tuple(
            PlyRow(
                p + 1,
                ply.material.name,
                ply.angle,
                POSITIONS[f],
                float((z[p], (z[p] + z[p + 1]) / 2, z[p + 1])[f]),
                strain[p, f],
                total[p, f],
                base[p, f],
            )
            for p, ply in enumerate(laminate.plies)
            for f in _FACES
        )


@dataclass(frozen=True)
class _Checked:
    """A criterion's `factors` (n, plies, 2, modes) at n points, for the `plies` of one material of a laminate."""

    name: str
    criterion: Criterion
    decides: bool
    material: PlyMaterial
    plies: IntArray
    factors: FloatArray

    @cached_property
    def worst(self) -> FloatArray:
        """Least factor (n, modes) at each point; 0 where the mode is reached at zero load."""
        least_of: FloatArray = np.nan_to_num(self.factors, nan=0.0).reshape(len(self.factors), -1, self.modes).min(1)
        return least_of

    @property
    def modes(self) -> int:
        """How many modes the criterion tells apart."""
        return len(self.criterion.modes)


def _bounds(checked: Sequence[_Checked]) -> dict[str, FloatArray]:
    """By criterion, the factors (modes,) up to which a point may be next to where a mode governs."""
    found: dict[str, FloatArray] = {}
    for c in checked:
        least_of = _REACH * np.minimum(c.worst.min(0), _NEVER)
        found[c.name] = np.minimum(found.get(c.name, least_of), least_of)
    return found


def _leading(checked: _Checked, bound: Mapping[str, FloatArray]) -> IntArray:
    """The points, of n, with the `_FEW` least factors of each mode, where within its bound."""
    worst, few = checked.worst, min(_FEW, len(checked.worst))
    points = np.argpartition(worst, few - 1, axis=0)[:few]
    within = np.take_along_axis(worst, points, 0) <= bound[checked.name]
    return np.unique(points[within]).astype(np.int64)


def _by_material(laminate: Laminate) -> list[tuple[PlyMaterial, IntArray]]:
    """The fibre plies of a laminate, those of one material together."""
    groups: list[tuple[PlyMaterial, list[int]]] = []
    for i, ply in enumerate(laminate.plies):
        if isinstance(ply.material, PlyMaterial):
            for material, members in groups:
                if material == ply.material:
                    members.append(i)
                    break
            else:
                groups.append((ply.material, [i]))
    return [(material, np.array(members, np.int64)) for material, members in groups]
