"""Springs to ground that hold what only fixings hold, so that the panel can be factored without its fixings.

A fixing acts on the mean motion under its washer and so on inner unknowns, which are condensed element by element: it
cannot stand in the factored matrix.  Of the rigid motions that edges and held areas do not hold, or hardly, each gets
one anchor, a spring on one displacement of a vertex.  There are just as many anchors as such motions, so where nothing
else holds these an anchor carries what statics says, whatever its stiffness, and the panel answers a unit force on it
with a rigid motion: that needs no solve and loses no digits.  `held` takes the anchors out again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import qr
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.shell.layout import Layout
from panelfem.shell.rigid import RigidMotions

WEAK = 1e-4
"""Energy of a rigid motion in edges and held areas, over that of the skin's stiffest unknown, below which it is
anchored: taking out a stiffer hold than this would cost more than half the digits of the factor."""


@dataclass(frozen=True)
class Anchors:
    """`unknowns` (na,) with springs `stiffness` (na,) N/m to ground; `motion` (n_boundary, na): the rigid motion that
    moves one of them by one and the others not."""

    unknowns: IntArray
    stiffness: FloatArray
    motion: FloatArray

    @property
    def springs(self) -> csr_array:
        """What they add to the matrix, csr (n_boundary, n_boundary)."""
        n = len(self.motion)
        return csr_array((self.stiffness, (self.unknowns, self.unknowns)), shape=(n, n))


@dataclass(frozen=True)
class Anchored:
    """How an anchored panel answers its anchors: `rows` csr (na, n_total) pick their displacements; `responses`
    (n_total, na) m/N to a unit force on each; `give` (na, na) m/N: their motion under it, less that of the springs
    alone (zero where nothing else holds)."""

    rows: csr_array
    responses: FloatArray
    give: FloatArray


def find_anchors(
    layout: Layout, motions: RigidMotions, fixed: BoolArray, springs: FloatArray, diagonal: FloatArray
) -> Anchors:
    """Anchors for the motions that `fixed` (nb, 6) and the energy `springs` (6 pieces, 6 pieces) hardly hold.

    `diagonal` (n_boundary,) of the skin's matrix, N/m: an anchor is as stiff as its unknown.  The unknowns are those
    that the motions move most and least alike (pivoted QR), so far apart; soft places come last.
    """
    stops, stiffest = motions.stops(fixed), float(diagonal.reshape(-1, 6)[:, :3].max(initial=0.0))
    energy, vectors = np.linalg.eigh(stiffest * (stops.T @ stops) + springs)
    loose = vectors[:, energy <= WEAK * stiffest]
    motion = np.asarray(motions.motion[: layout.n_boundary] @ loose)
    corners = np.unique(layout.mesh.triangles)
    unknown = (6 * corners[:, None] + np.arange(3)).ravel()
    unknown = unknown[~fixed.ravel()[unknown] & (diagonal[unknown] > 0)]
    firm = np.minimum(diagonal[unknown] / np.median(diagonal[unknown]), 1.0) if len(unknown) else diagonal[:0]
    _, order = qr((firm[:, None] * motion[unknown]).T, mode="r", pivoting=True)
    chosen = unknown[order[: loose.shape[1]]]
    return Anchors(chosen, diagonal[chosen], motion @ np.linalg.inv(motion[chosen]))
