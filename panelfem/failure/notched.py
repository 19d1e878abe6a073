"""Strength of a laminate with an open elliptical hole, from the exact stresses round it.

Point stress: a mode is reached where the stress at a distance d0 from the edge reaches it.  Average stress: where the
mean over a0 from the edge does.  Both are looked at all round the hole, ply by ply, in the deciding modes that break
fibres.  d0 = a0 · 1.016/3.81, the ratio of the two lengths of the source.

Finite width: the stress of the wide plate times the factor of :func:`finite_width`.  Measured against shells: up to a
third of the width within 2 % for isotropic and plywood sheets, and 7 % too low for ±45°; at half of it 13 % too low.

The closed form is of a flat plate under membrane forces without coupling; bending at the hole is left out.

Source: S. G. Lekhnitskii 1968 (`panelfem.reference.hole`); J. M. Whitney & R. J. Nuismer 1974, J. Compos. Mater. 8:253
(d0 = 1.016 mm, a0 = 3.81 mm); S. C. Tan 1988, J. Compos. Mater. 22:1080, improved by R. B. Heywood's width factor.
All recalled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure import CRITERIA, deciding
from panelfem.laminate import Laminate
from panelfem.laminate.ply import strain_turn
from panelfem.material import PlyMaterial
from panelfem.reference.hole import OpenHole

#: d0 over a0.
POINT_OVER_AVERAGE = 1.016 / 3.81
#: A factor above this is that of a force that is not there.
NEVER = 1e6
_ROUND, _AHEAD = 180, 10


def finite_width(share: float, concentration: float) -> float:
    """Stress at the edge of a hole `share` of the width wide over that in a wide plate, far stress the same.

    `concentration`: of the wide plate, 3 if isotropic.  Raises no error up to a share of 0.9, beyond which it is held.

    >>> round(finite_width(0.0, 3.0), 6), round(finite_width(0.5, 3.0), 3)
    (1.0, 1.417)
    """
    s = min(max(share, 0.0), 0.9)
    if s == 0.0:
        return 1.0
    isotropic = 3.0 * (1.0 - s) / (2.0 + (1.0 - s) ** 3)
    squared = (np.sqrt(1.0 - 8.0 * (isotropic - 1.0)) - 1.0) / 2.0  # of the magnified share (2a/W) M
    inverse = isotropic + 0.5 * squared**3 * (concentration - 3.0) * (1.0 - squared)
    return float(1.0 / inverse)


@dataclass(frozen=True)
class NotchedLaminate:
    """A symmetric laminate with an ellipse of `semi_axes` m, the first at `angle` rad from the 0° axis, in a panel
    `width` m wide there (inf: wide)."""

    laminate: Laminate
    semi_axes: tuple[float, float]
    angle: float
    width: float = np.inf

    def factors(
        self, force: FloatArray, stress: FloatArray | None, length: float, decide: Mapping[str, str] | None = None
    ) -> tuple[float, float]:
        """Factors on far resultants `force` (3,) N/m, in the frame of the 0° axis, by point and by average stress.

        `stress` (plies, 3) Pa: what is in the plies already, there all the same; `length` m: a0.
        """
        ring = np.linspace(0.0, 2.0 * np.pi, _ROUND, endpoint=False)
        steps, weights = np.polynomial.legendre.leggauss(_AHEAD)
        there = self._resultants(force, ring, length * np.r_[POINT_OVER_AVERAGE, (steps + 1.0) / 2.0])
        scale = self._width_factor(force)
        point, mean = scale * there[0], scale * np.tensordot(weights / 2.0, there[1:], 1)
        one, other = (self._least(rows, stress, decide or {}) for rows in (point, mean))
        return (one if one < NEVER else np.inf), (other if other < NEVER else np.inf)

    def _turned(self) -> FloatArray:
        """A (3, 3) in the axes of the hole."""
        back = strain_turn(-self.angle)
        A = np.asarray(back.T @ self.laminate.A @ back)
        A[0, 0] *= 1.0 + 1e-4  # a laminate that is isotropic in its plane has a double root
        return A

    def _hole(self, far: FloatArray) -> OpenHole:
        return OpenHole(self._turned(), *self.semi_axes, tuple(far.tolist()))

    def _resultants(self, force: FloatArray, ring: FloatArray, ahead: FloatArray) -> FloatArray:
        """(len(ahead), n, 3) N/m in the frame of the 0° axis, so far from the edge along its normal."""
        a, b = self.semi_axes
        back = strain_turn(-self.angle)
        hole = self._hole(force @ back)
        normal = np.stack([b * np.cos(ring), a * np.sin(ring)], axis=1)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        x, y = a * np.cos(ring) + ahead[:, None] * normal[:, 0], b * np.sin(ring) + ahead[:, None] * normal[:, 1]
        found = hole.resultants(x.ravel(), y.ravel()).reshape(*x.shape, 3)
        return np.asarray(found @ np.linalg.inv(back))

    def _width_factor(self, force: FloatArray) -> float:
        """For the width across the greatest far force, as of a circle as wide as the hole is long, never below 1: the
        formula is one of circles, and for ellipses that is on the safe side.
        """
        if not np.isfinite(self.width):
            return 1.0
        ring = np.linspace(0.0, 2.0 * np.pi, 4 * _ROUND, endpoint=False)
        value, axes = np.linalg.eigh(np.array([[force[0], force[2]], [force[2], force[1]]]))
        along = axes[:, int(np.argmax(np.abs(value)))]
        single = np.array([along[0] ** 2, along[1] ** 2, along[0] * along[1]])
        radius = max(self.semi_axes)
        circle = OpenHole(self._turned(), radius, radius, tuple((single @ strain_turn(-self.angle)).tolist()))
        return max(finite_width(2.0 * radius / self.width, float(circle.hoop(ring).max())), 1.0)

    def _least(self, force: FloatArray, held: FloatArray | None, decide: Mapping[str, str]) -> float:
        """Least factor (release modes of the deciding criteria) at resultants (n, 3)."""
        strain = np.linalg.solve(self.laminate.A, force.T).T
        stress = self.laminate.ply_stresses(np.hstack([strain, np.zeros_like(strain)]))[:, :, 1]
        worst = np.inf
        for i, ply in enumerate(self.laminate.plies):
            if not isinstance(ply.material, PlyMaterial):
                continue
            kind = ply.material.kind
            criterion = CRITERIA[decide.get(kind) or deciding(kind)]
            release = [m for m, mode in enumerate(criterion.modes) if mode.grade == "release"]
            before = np.zeros(3) if held is None else held[i]
            found = criterion.reserve(stress[:, i], before, ply.material)[:, release]
            worst = min(worst, float(np.nan_to_num(found, nan=0.0).min(initial=np.inf)))
        return worst
