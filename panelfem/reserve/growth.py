"""Whether a delamination grows: energy release rates at its front against the toughness of its plies.

Two ways of feeding the front, each from the safe side:

- *Sliding before anything buckles.*  Under a shear force Q across the area both parts bend alone and slide on each
  other; half way along they have slid by nothing.  The area is taken for a strip as long in the direction of Q as the
  ellipse is: M = Q · half the length at the front, shared by D of the parts, as in an end-notched flexure.
- *A part that has buckled.* The part is taken for a long clamped strip as wide as the ellipse in the direction looked
  at, which encloses it; it keeps its buckling force N_b, the rest of what it carried is released, and its moment at
  the rim is M² = 4 N_b (N − N_b) D/A (a strip a little buckled, Chai). Of the shear along the rim the same share is
  released, and tears. The least favourable direction and the less favourable of both mode angles count. It counts
  from where the part, as the ellipse it is, buckles.

Against a disc pressed from all sides it is on the safe side: 1.9 times the energy at twice the buckling load, 1.12 at
forty times, more nearer to buckling, which governs there anyway (tests, against Evans and Hutchinson).  Where both feed
the front, their forces there are added, with the worse sign.  Left out: that the part presses back, friction,
load that goes over to the rest of the panel, the buckling of a part that holds the core, and the change of the strain
over the area.

Source: H. Chai, C. D. Babcock & W. G. Knauss 1981, Int. J. Solids Structures 17:1069; A. G. Evans & J. W. Hutchinson
1984, Int. J. Solids Structures 20:455; end-notched flexure as Russell & Street 1985 (all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure.toughness import Toughness, toughness_of
from panelfem.laminate.front import ANGLES, CrackTip, Section
from panelfem.laminate.ply import strain_turn
from panelfem.panel import Delaminated

MODE, CRITERION = "delamination growth", "Benzeggagh-Kenane"
_DIRECTIONS = 36
#: Factors looked at, before the first beyond is found exactly; the load path is searched far less far.
_SCAN = np.r_[0.0, np.geomspace(1e-3, 1e3, 160)]


#: A part that buckles: whether it is the upper one, what it carries held and added (3,) N/m, and at which factor.
Buckled = tuple[bool, FloatArray, FloatArray, float]


@dataclass(frozen=True)
class Front:
    """The front of one delamination and the toughness there."""

    found: Delaminated
    toughness: Toughness

    @classmethod
    def of(cls, found: Delaminated) -> Front | None:
        """The front, or None where the toughness of one of the plies at the interface is not known."""
        plies = found.whole.plies[found.after - 1 : found.after + 1]
        known = toughness_of(ply.material for ply in plies)
        return None if known is None else cls(found, known)

    @cached_property
    def _angles(self) -> FloatArray:
        """Directions looked at, rad from the 0° axis."""
        return np.asarray(self.found.angle + np.linspace(0.0, np.pi, _DIRECTIONS, endpoint=False))

    @cached_property
    def _half(self) -> FloatArray:
        """Half the length of the ellipse along each direction, m: of the strip that encloses it."""
        a, b = self.found.semi_axes
        turned = self._angles - self.found.angle
        return np.hypot(a * np.cos(turned), b * np.sin(turned))

    @cached_property
    def _tips(self) -> list[CrackTip]:
        low, high = self.found.whole.split(self.found.after)
        return [CrackTip(Section.plane(low, t), Section.plane(high, t)) for t in self._angles.tolist()]

    @cached_property
    def _tips_from_below(self) -> list[CrackTip]:
        return [CrackTip(_mirrored(tip.upper), _mirrored(tip.lower)) for tip in self._tips]

    def sliding_index(self, shear: FloatArray) -> FloatArray:
        """G over what is critical under shear forces (n, 2) N/m across the area, (n,)."""
        return self.buckled_index(np.zeros((len(shear), 3)), True, shear)

    def buckled_index(self, force: FloatArray, upper: bool, shear: FloatArray | None = None) -> FloatArray:
        """G over what is critical where the upper or the lower part has buckled, (n,), and under `shear` as well.

        `force` (n, 3) N/m: what it would carry if it had not, in the frame of the 0° axis; `shear` (n, 2) N/m across
        the area.  Both feed one front, so their forces there add.
        """
        worst = np.zeros(len(force))
        tips = self._tips if upper else self._tips_from_below
        for t, half, tip in zip(self._angles.tolist(), self._half.tolist(), tips, strict=True):
            pushed, part = -(force @ strain_turn(-t)[:, 0]), tip.upper
            along = force @ strain_turn(-t)[:, 2]
            own = np.pi**2 * part.bending / half**2
            over = np.maximum(pushed - own, 0.0)
            rim = np.sqrt(4.0 * own * over * part.bending / part.stiffness[0, 0])
            n, m = tip.of_difference(np.stack([over, -rim]))
            released = np.divide(over, pushed, out=np.zeros_like(over), where=over > 0.0)
            torn = tip.tearing(along * released)
            slid = (0.0, 0.0) if shear is None else self._slid(tip, t, half, shear)
            for end in (1.0, -1.0):  # what opens one end of the area shuts the other
                worst = np.maximum(worst, self._index(tip, n + end * slid[0], m + end * slid[1], torn))
        return worst

    def _slid(self, tip: CrackTip, angle: float, half: float, shear: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What shear forces (n, 2) put on the front in one direction, either sign."""
        moment = np.abs(shear @ np.array([np.cos(angle), np.sin(angle)])) * half
        bending = tip.upper.bending + tip.lower.bending
        parts = [np.stack([0.0 * moment, moment * p.bending / bending]) for p in (tip.upper, tip.lower)]
        return tip.pair(*parts)

    def _index(self, tip: CrackTip, n: FloatArray, m: FloatArray, torn: FloatArray | float = 0.0) -> FloatArray:
        """By the less favourable of both mode angles; `torn`: energy release rate of tearing, J/m²."""
        found = [self.toughness.index(*tip.modes(n, m, angle), torn) for angle in ANGLES]
        return np.asarray(np.max(found, axis=0))

    def factor(self, shear: tuple[FloatArray, FloatArray], parts: Sequence[Buckled]) -> float:
        """Factor on what is added at which it first grows; nan if what is held does it, inf if nothing does.

        `shear`: held and added (2,) N/m across the area.
        """

        def index(r: FloatArray) -> FloatArray:
            across = shear[0] + r[:, None] * shear[1]
            worst = self.sliding_index(across)
            for upper, held, added, buckles in parts:
                start = 0.0 if np.isnan(buckles) else buckles
                there = self.buckled_index(held + r[:, None] * added, upper, across)
                worst = np.maximum(worst, np.where(r >= start, there, 0.0))
            return worst

        r = np.unique(np.concatenate([_SCAN, [b for *_, b in parts if np.isfinite(b) and b < _SCAN[-1]]]))
        over = np.flatnonzero(index(r) >= 1.0)
        if not len(over):
            return float("inf")
        if over[0] == 0:
            return float("nan")
        low, high = float(r[over[0] - 1]), float(r[over[0]])
        for _ in range(50):
            middle = (low + high) / 2.0
            low, high = (low, middle) if index(np.array([middle]))[0] >= 1.0 else (middle, high)
        return high


def _mirrored(part: Section) -> Section:
    """The part seen from the other face."""
    turn = np.diag([1.0, -1.0])
    return Section(turn @ part.stiffness @ turn, part.thickness, part.shear)
