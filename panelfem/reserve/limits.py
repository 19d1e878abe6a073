"""Deflections, and their limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.loads import DeflectionLimit
from panelfem.mesh import PanelMesh
from panelfem.reserve.check import Words, factor_on_scalar, factor_on_vector, least, mode_reserve
from panelfem.reserve.observe import Observed, lattice_means
from panelfem.reserve.records import Deflection, LimitCheck, ModeReserve


@dataclass(frozen=True)
class Ram:
    """A prescribed test: the mean motion of `region` along `direction` (3,) may not exceed `limit` m."""

    name: str
    region: str
    direction: FloatArray
    limit: float


@dataclass(frozen=True)
class LimitsCheck:
    """Deflection limits of a load case; `counted` (ne,) are the elements whose motion means something.

    Motion is looked at on a lattice in every element, which lies at `points` (ne, m, 3): the
    greatest deflection of coarse elements of high order is seldom at a node.  A limit with a direction is on the
    greatest motion along it inside its region.  That of a ram is on the mean motion its pad makes as the force comes
    on, so what is held does not count.
    """

    mesh: PanelMesh
    points: FloatArray
    counted: BoolArray
    limits: tuple[DeflectionLimit, ...]
    rams: tuple[Ram, ...]
    words: Words

    def _inside(self, region: str | None) -> IntArray:
        inside = self.counted if region is None else self.counted & self.mesh.inside[region]
        return np.flatnonzero(inside).astype(np.int64)

    def _mean(self, region: str, displacement: FloatArray) -> FloatArray:
        at = self._inside(region)
        means = np.einsum("m,emc->ec", lattice_means(), displacement[at])
        return np.asarray(self.mesh.areas[at] @ means / self.mesh.areas[at].sum())

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        found = []
        for limit in self.limits:
            at = self._inside(limit.region)
            if not len(at):
                continue
            h, a = (d[at].reshape(-1, 3) for d in (held.displacement, now.displacement - held.displacement))
            factors = (
                factor_on_vector(h, a, limit.limit)
                if limit.direction is None
                else factor_on_scalar(h @ limit.direction, a @ limit.direction, limit.limit)
            )
            i, factor = least(factors)
            found.append(
                mode_reserve(
                    f"limit '{limit.name}'",
                    "deflection limit",
                    "release",
                    factor,
                    self.points[at].reshape(-1, 3)[i],
                    self.words,
                )
            )
        for ram in self.rams:
            moved = np.atleast_1d(self._mean(ram.region, now.displacement - held.displacement) @ ram.direction)
            factor = float(factor_on_scalar(np.zeros(1), moved, ram.limit)[0])
            inside = self.mesh.inside[ram.region]
            centre = self.mesh.areas[inside] @ self.mesh.centroids[inside] / self.mesh.areas[inside].sum()
            found.append(mode_reserve(f"limit '{ram.name}'", "deflection limit", "release", factor, centre, self.words))
        return found

    def values(self, held: Observed, now: Observed) -> tuple[LimitCheck, ...]:
        """Each limit with the deflection at this state."""
        factors = {r.mode: r.factor for r in self.reserves(held, now, True)}
        rows = []
        for limit in self.limits:
            at = self._inside(limit.region)
            if len(at):
                moved = now.displacement[at].reshape(-1, 3)
                value = (np.linalg.norm(moved, axis=1) if limit.direction is None else moved @ limit.direction).max()
                rows.append(LimitCheck(limit.name, float(value), limit.limit, factors[f"limit '{limit.name}'"]))
        for ram in self.rams:
            value = float(self._mean(ram.region, now.displacement - held.displacement) @ ram.direction)
            rows.append(LimitCheck(ram.name, value, ram.limit, factors[f"limit '{ram.name}'"]))
        return tuple(rows)

    def greatest(self, now: Observed) -> Deflection:
        """The greatest displacement of the panel."""
        at = self._inside(None)
        moved = now.displacement[at].reshape(-1, 3)
        size = np.linalg.norm(moved, axis=1)
        i = int(np.argmax(size))
        vector, place = moved[i], self.points[at].reshape(-1, 3)[i]
        return Deflection(float(size[i]), place, self.words(place), vector / size[i] if size[i] > 0 else vector)
