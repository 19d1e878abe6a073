"""Ply by ply: every criterion at every sampling point, at both faces of every ply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.failure import CRITERIA, deciding
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
    inspection, and govern release only if `modeless_governs`.
    """

    panel: Panel
    sampling: Sampling
    residual: Residual
    words: Words
    decide: Mapping[str, str] = field(default_factory=dict)
    modeless_governs: bool = False

    def deciding(self, kind: str) -> str:
        """The criterion that decides for a kind of ply."""
        return self.decide.get(kind) or deciding(kind)

    def stresses(self, laminate: Laminate, strain: FloatArray, held: bool) -> FloatArray:
        """Ply stresses (n, plies, 3, 3), Pa; with residual strain if `held`."""
        if held:
            return self.residual.stresses(laminate, strain)
        return laminate.ply_stresses(strain)

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        found: list[ModeReserve] = []
        for number in np.unique(self.sampling.group).tolist():
            laminate = self.panel.laminates[number]
            at = np.flatnonzero(self.sampling.group == number)
            base = self.stresses(laminate, held.strain[at], True)[:, :, _FACES]
            applied = self.stresses(laminate, now.strain[at] - held.strain[at], False)[:, :, _FACES]
            for material, plies in _by_material(laminate):
                for name, criterion in CRITERIA.items():
                    decides = name == self.deciding(material.kind)
                    if not (decides or everything) or material.kind not in criterion.applies_to:
                        continue
                    if any(getattr(material, need) is None for need in criterion.needs):
                        continue
                    factors = criterion.reserve(applied[:, plies], base[:, plies], material)
                    for m, mode in enumerate(criterion.modes):
                        i, factor = least(factors[..., m].ravel())
                        point, ply, face = np.unravel_index(i, factors.shape[:3])
                        grade: Grade = mode.grade if decides else "inspection"
                        if len(criterion.modes) == 1 and self.modeless_governs:
                            grade = "release"
                        number_of_ply = int(plies[ply])
                        found.append(
                            mode_reserve(
                                mode.name,
                                name,
                                grade,
                                factor,
                                self.sampling.points[at[point]],
                                self.words,
                                number_of_ply + 1,
                                material.name,
                                POSITIONS[_FACES[int(face)]],
                                number,
                                decides,
                            )
                        )
        return merge(found)

    def field(self, held: Observed, now: Observed) -> FloatArray:
        """Least factor of the deciding criterion's release-governing modes at each sampling point, (ns,)."""
        factors = np.full(len(self.sampling.points), np.inf)
        for number in np.unique(self.sampling.group).tolist():
            laminate = self.panel.laminates[number]
            at = np.flatnonzero(self.sampling.group == number)
            base = self.stresses(laminate, held.strain[at], True)[:, :, _FACES]
            applied = self.stresses(laminate, now.strain[at] - held.strain[at], False)[:, :, _FACES]
            for material, plies in _by_material(laminate):
                criterion = CRITERIA[self.deciding(material.kind)]
                r = criterion.reserve(applied[:, plies], base[:, plies], material)
                release = [m for m, mode in enumerate(criterion.modes) if mode.grade == "release"]
                if release:
                    worst = np.nan_to_num(r[..., release], nan=0.0).reshape(len(at), -1).min(1)
                    factors[at] = np.minimum(factors[at], worst)
        return factors

    def rows(self, place: FloatArray, ply_laminate: int | None, held: Observed, now: Observed) -> tuple[PlyRow, ...]:
        """Strain and stress of every ply at the sampling point nearest to `place` (3,) (in laminate `ply_laminate`)."""
        among = np.arange(len(self.sampling.points))
        if ply_laminate is not None:
            among = np.flatnonzero(self.sampling.group == ply_laminate)
        i = int(among[np.argmin(((self.sampling.points[among] - place) ** 2).sum(1))])
        laminate = self.panel.laminates[int(self.sampling.group[i])]
        strain = laminate.ply_strains(now.strain[i : i + 1])[0]
        base = self.stresses(laminate, held.strain[i : i + 1], True)[0]
        total = base + self.stresses(laminate, now.strain[i : i + 1] - held.strain[i : i + 1], False)[0]
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
