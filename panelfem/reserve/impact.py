"""Compression of a laminate that was struck, against the strain it takes with its damage.

The strain is that of the laminate in the plane, in the middle of its thickness (of a sandwich, of each skin the damage
is in): the least principal one, below which no fibre direction is.  It is looked at everywhere in the struck area, with
the stiffness the panel has there at the stiff end of what is not known: as strain is taken over the whole coupon where
the value is measured, its damage included.  Free expansion since the panel was fitted is no strain of this kind.

Source: the value, from coupons struck and then compressed (ASTM D7136 and D7137, from memory); that it is held against
the least principal strain of a panel is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.panel import Panel, Struck
from panelfem.reserve.check import factor_by_bisection, least, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import Residual
from panelfem.reserve.records import ModeReserve
from panelfem.reserve.sampling import NodePoints, Sampling
from panelfem.shell import Recovery

MODE = "compression after impact"
CRITERION = "least principal strain"


def struck_points(panel: Panel, sampling: Sampling, recovery: Recovery) -> tuple[IntArray, ...]:
    """Of each struck area the sampling points (k,) that lie in it; none where it is cut away."""
    finder, boundary, found = NodePoints(recovery), recovery.shell.mesh.boundary, []
    single = sampling.length == 0.0
    read = np.where(single, sampling.rows.indices[np.minimum(sampling.rows.indptr[:-1], sampling.rows.nnz - 1)], -1)
    for area in panel.struck:
        inside = panel.mesh.inside[area.region] & ~panel.removed
        mine = np.isin(read, finder.find(boundary[inside], panel.laminate_of[inside][:, None])) & single
        averaged = np.flatnonzero(~single)
        mine[averaged] = inside[panel.mesh.nearest(sampling.points[averaged])[0]] if len(averaged) else False
        found.append(np.flatnonzero(mine).astype(np.int64))
    return tuple(found)


def least_principal(strain: FloatArray) -> FloatArray:
    """The least principal strain (n,) of strains [e11 e22 2e12] (n, 3).

    >>> least_principal(np.array([[0.0, 0.0, 2e-3], [-1e-3, 2e-3, 0.0]])).tolist()
    [-0.001, -0.001]
    """
    middle, half = 0.5 * (strain[:, 0] + strain[:, 1]), 0.5 * (strain[:, 0] - strain[:, 1])
    return np.asarray(middle - np.hypot(half, 0.5 * strain[:, 2]))


def factors(held: FloatArray, added: FloatArray, strain: float) -> FloatArray:
    """Factors (n,) r ≥ 0 at which the least principal strain of held + r·added, strains (n, 3), falls to −`strain`; nan
    if that of `held` is there already.  It is concave in r, so that there is one such place at most.

    >>> factors(np.array([[-1e-3, 0.0, 0.0]]), np.array([[-1e-3, 0.0, 0.0]]), 3e-3).round(9).tolist()
    [2.0]
    """
    return factor_by_bisection(lambda r: -least_principal(held + r[:, None] * added) / strain, len(held))


@dataclass(frozen=True)
class ImpactCheck:
    """Compression over each struck area of a panel; governs release.  `points`: those of :func:`struck_points`."""

    panel: Panel
    sampling: Sampling
    points: tuple[IntArray, ...]
    residual: Residual

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The factor of each area at which its strain is reached first."""
        found = []
        for area, points in zip(self.panel.struck, self.points, strict=True):
            if not len(points):
                continue
            heights = self._heights(area, points)
            before = held.strain[points, :6] - self._free(points)
            added = now.strain[points, :6] - held.strain[points, :6]
            start, step = ((e[:, :3] + heights[..., None] * e[:, 3:]).reshape(-1, 3) for e in (before, added))

            i, factor = least(factors(start, step, area.strain))
            at = points[i % len(points)]
            reserve = mode_reserve(
                MODE, CRITERION, "release", factor, self.sampling.points[at], None,
                laminate=int(self.sampling.group[at]), averaged=float(self.sampling.length[at]),
            )  # fmt: skip
            found.append(replace(reserve, where=f"at {area.name}"))
        return found

    def _heights(self, area: Struck, points: IntArray) -> FloatArray:
        """Where in the thickness (k, n) each point is looked at, by the nearest element of the area."""
        inside = np.flatnonzero(self.panel.mesh.inside[area.region])
        gap = self.sampling.points[points][:, None] - self.panel.mesh.centroids[inside][None]
        return area.height[:, inside[(gap**2).sum(2).argmin(1)]]

    def _free(self, points: IntArray) -> FloatArray:
        """Strain (n, 6) of free laminates since the panel was fitted."""
        out = np.zeros((len(points), 6))
        for number in np.unique(self.sampling.group[points]).tolist():
            laminate = self.panel.laminates[number]
            free = np.linalg.solve(laminate.ABD, laminate.thermal_resultants(self.residual.since_fitting))
            out[self.sampling.group[points] == number] = free
        return out
