"""A face that has come off its core."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

from panelfem.arrays import BoolArray
from panelfem.damage.keys import Assumed, choice, quantity
from panelfem.damage.kind import FACES, OvalDamage, clear_faults, core_faults, face_of, laminates_in, relaid, within_one
from panelfem.errors import Fault
from panelfem.laminate.degrade import softened_plies
from panelfem.marks import Mark
from panelfem.panel import Panel

#: What is left of a face that is taken to carry nothing.
NOTHING = Assumed(1e-3, "near zero, so that the load goes round the face")


@dataclass(frozen=True)
class Disbond(OvalDamage):
    """A face off its core over an area.

    At the stiff end the face lies on the core and moves with it until it buckles, as a plate clamped at the rim.  At
    the soft end it carries nothing over the area: a face that hangs on at its rim only can but be stiffer than none, so
    that the lost core shear and the lost peel lie between the ends, whatever they do.
    """

    word: ClassVar[str] = "disbond"
    about: ClassVar[str] = "A face of a sandwich that has come off its core."
    mark: ClassVar[Mark] = Mark("||")
    source: ClassVar[str] = (
        "a bracket: less stiffness anywhere never makes a panel stiffer (Rayleigh); the face as a film that buckles, "
        "Chai, Babcock & Knauss 1981 (from memory), a clamped ellipse by Ritz"
    )
    limits: ClassVar[str] = "no growth, no pressure in the core; within one laminate, off edges and other damage"
    condition: ClassVar[str] = (
        "tap the disbond again after every run and take the panel off if it has grown: the buckling of its face is "
        "computed, its growth is not"
    )
    side: str = choice("side", "The face that is off: that of the first or of the last ply of the stack.", FACES)
    remaining_stiffness: float = quantity(
        "remaining_face_share",
        "Share of the face's stiffness at the soft end.",
        1e-6,
        0.5,
        default=NOTHING,
    )

    @property
    def bracket(self) -> tuple[str, str]:
        return "disbonded face lying on its core", "disbonded face carrying nothing"

    def applied(self, panel: Panel, soft: bool) -> Panel:
        if not soft:
            return self.apart(panel, face_of(laminates_in(panel, self.region)[0], self.side)[1])
        return relaid(
            panel,
            self.region,
            lambda laminate: softened_plies(laminate, self.remaining_stiffness, face_of(laminate, self.side)[0]),
        )

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        yield from core_faults(panel, self.region)
        yield from within_one(panel, self.region)
        yield from clear_faults(panel, self, others, "the face over it")
