"""A core crushed where a rigid shape strikes the skin over it.

The force of every place that touches acts along the ridge of the shape, from its neighbour to its neighbour and on no
width; how the skin spreads it over the core is `panelfem.failure.crush`.  The pressure is held against the crush
strength of the core, both as the laminate there has them with its damage.

Limits: on the safe side for a flat face, or a round one met over more than the skin spreads a force; where a face is
taken to carry nothing (soft end of a dent or a disbond) it spreads next to nothing either. Too low where a shape
meets a spot smaller than an element of the mesh; which places touch changes it by up to a tenth, of which its bar
knows nothing. A skin whose edge is struck is not known of: a line along a free edge presses up to four times as hard
as inside. The far face is taken as held. What the dent does to the panel is not computed: it is damage of its own,
found at the next look.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Literal

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.failure.crush import Bed, bed_under
from panelfem.loads.obstacle import Obstacle
from panelfem.panel import Panel
from panelfem.reserve.check import Words, factor_on_scalar, least, mode_reserve
from panelfem.reserve.observe import Observed, State
from panelfem.reserve.records import ContactState, Footprint, ModeReserve
from panelfem.shell.touch import TouchRows

#: Places that touch are neighbours along a ridge up to so many times their size, and that much of it across.
JOINED, ABREAST = 4.0, 0.75

MODE = "core crushing under the shape"
CRITERION = "skin on an elastic core"

Side = Literal[1, -1]


def footprint(obstacle: Obstacle, touch: TouchRows, force: FloatArray, touching: BoolArray) -> Footprint:
    """How a shape presses with `force` (m,) N on the places of `touch`, of which those `touching` (m,) do."""
    number = np.cumsum(touching) - 1
    over = touch.over[touching[touch.over[:, 0]]]
    over = np.column_stack([number[over[:, 0]], over[:, 1]])
    at = touch.place[touching] @ np.stack([obstacle.ridge, obstacle.travel], axis=1)
    return Footprint(force[touching], at, _ends(at, np.sqrt(touch.area[touching])), obstacle.direction, over)


def _ends(at: FloatArray, size: FloatArray) -> FloatArray:
    """From where to where (n, 2) m along the ridge each force acts, from its place (n, 2) m of `size` (n,) m.

    It acts up to the neighbours, as the places' hats do, so that equal forces in a row make an even line however far
    apart they are.  An end of a row reaches as far out as in, or its size; a place alone has its size.

    >>> _ends(np.array([[0.0, 0], [2, 0], [5, 0], [90, 0]]), np.ones(4)).tolist()
    [[-1.0, 2.0], [-2.0, 3.0], [-3.0, 1.0], [-0.5, 0.5]]
    """
    apart = at[None] - at[:, None]
    larger = np.maximum(size[None], size[:, None])
    row = (np.abs(apart[..., 1]) <= ABREAST * larger) & (np.abs(apart[..., 0]) <= JOINED * larger)
    ends = []
    for sign in (-1.0, 1.0):
        gap = sign * apart[..., 0]
        ends.append(np.where(row & (gap > 1e-6 * larger), gap, np.inf).min(axis=1, initial=np.inf))
    low, high = ends
    return np.stack([-_outer(low, high, size), _outer(high, low, size)], axis=1)


def _outer(own: FloatArray, other: FloatArray, size: FloatArray) -> FloatArray:
    """The distance (n,) to the neighbour, or where there is none what is taken instead."""
    return np.where(np.isfinite(own), own, np.where(np.isfinite(other), np.minimum(other, size), size / 2.0))


@dataclass(frozen=True)
class CrushCheck:
    """The core under what touches; asks for inspection.  Of a panel without a core there is no such mode."""

    panel: Panel
    words: Words
    mode: ClassVar[str] = MODE

    @staticmethod
    def observed(state: State) -> Observed:
        """The contacts of a state, and nothing else."""
        none = np.zeros((0, 8))
        return Observed(none, none[:, :2], none, none[:, :2], none[:, :6], none[:, :6], state.contacts)

    @cached_property
    def _beds(self) -> dict[tuple[int, Side], Bed]:
        """What lies under either face of each laminate that has a core."""
        found: dict[tuple[int, Side], Bed] = {}
        for number in np.unique(self.panel.laminate_of[~self.panel.removed]).tolist():
            for side in (1, -1):
                bed = bed_under(self.panel.laminates[number], side)
                if bed is not None:
                    found[number, side] = bed
        return found

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The place of each contact where the core is crushed first; never reached where it touches no skin of one."""
        if not everything or not self._beds:
            return []
        return [self._under(a, b) for a, b in zip(held.contacts, now.contacts, strict=True)]

    def _under(self, held: ContactState, now: ContactState) -> ModeReserve:
        places, factors = [np.zeros((0, 3))], [np.zeros(0)]
        for state in (held, now):
            for bed, which in self._struck(state):
                assert state.footprint is not None
                points = state.footprint.at[which]
                before, after = (_pressure(bed, points, one) for one in (held, now))
                places.append(state.where[which])
                factors.append(factor_on_scalar(before, after - before, bed.strength))
        every = np.concatenate(factors)
        if not len(every):
            return mode_reserve(MODE, CRITERION, "inspection", np.inf, None, None)
        i, factor = least(every)
        place = np.concatenate(places)[i] if np.isfinite(factor) or np.isnan(factor) else None
        return mode_reserve(MODE, CRITERION, "inspection", factor, place, self.words)

    def _struck(self, state: ContactState) -> Iterator[tuple[Bed, IntArray]]:
        """Every bed the shape strikes the skin of, with the numbers (k,) of the places over it."""
        foot = state.footprint
        if foot is None:
            return
        place, element = foot.over.T
        laminate = self.panel.laminate_of[element]
        # pushed along the normal, a panel is struck on the face that the normal enters
        side = np.where(self.panel.mesh.normals[element] @ foot.direction > 0.0, -1, 1)
        for (number, face), bed in self._beds.items():
            which = np.unique(place[(laminate == number) & (side == face)])
            if len(which):
                yield bed, which


def _pressure(bed: Bed, points: FloatArray, state: ContactState) -> FloatArray:
    """Pressure (n,) Pa on the core under points (n, 2) m from what touches in a state."""
    foot = state.footprint
    if foot is None:
        return np.zeros(len(points))
    return bed.pressure(points, foot.at, foot.force, foot.ends)
