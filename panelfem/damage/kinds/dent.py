"""A dent: a face pressed into its core."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.arrays import BoolArray
from panelfem.damage.keys import Assumed, choice, number, quantity
from panelfem.damage.kind import (
    FACES,
    OvalDamage,
    clear_faults,
    core_faults,
    face_of,
    impact_strain,
    laminates_in,
    relaid,
    struck,
    within_one,
)
from panelfem.damage.kinds.disbond import NOTHING
from panelfem.errors import Fault
from panelfem.laminate import Laminate
from panelfem.laminate.degrade import softened_plies, weakened_material
from panelfem.marks import Mark
from panelfem.material import CoreMaterial
from panelfem.panel import Panel


@dataclass(frozen=True)
class Dent(OvalDamage):
    """A face pressed into its core by `depth` m over the whole area, the core under it crushed.

    At the stiff end the face is lower by the depth, so it is loaded eccentrically, the core is thinner and keeps a
    share of its strength, and the face, without support, may buckle as a plate clamped at the rim.  At the soft end the
    face carries nothing over the area.
    """

    word: ClassVar[str] = "dent"
    about: ClassVar[str] = "A face of a sandwich pressed into its core."
    mark: ClassVar[Mark] = Mark("oo")
    source: ClassVar[str] = (
        "lamination theory of the face at its new height, the depth taken for the whole area (a bowl is half of it on "
        "the mean); the face as a film that buckles, Chai, Babcock & Knauss 1981 (from memory); soft end by Rayleigh"
    )
    limits: ClassVar[str] = (
        "fibres in the face are whole (look with a lens: else a crack or a softened area); what the core under it "
        "keeps is stated, not computed; within one laminate, off edges and other damage"
    )
    condition: ClassVar[str] = (
        "measure the depth of the dent again after every run and take the panel off if it is deeper: growth is not "
        "computed"
    )
    side: str = choice("side", "The face that is dented: that of the first or of the last ply of the stack.", FACES)
    depth: float = number("depth_mm", "Greatest depth under a straight edge.", 0.05, 100.0)
    core_strength: float = quantity(
        "core_strength_share", "Share of the core's strengths left under it at the stiff end.", 0.001, 1.0,
        default=Assumed(0.5, "common practice, no source", (0.2, 0.8)), sweep="damage strength",
        measure="a core sample of the area, crushed",
    )  # fmt: skip
    impact_strain: float | None = impact_strain()

    @property
    def bracket(self) -> tuple[str, str]:
        return "dented face carrying its share", "dented face carrying nothing"

    def applied(self, panel: Panel, soft: bool) -> Panel:
        panel = relaid(panel, self.region, self._pressed)
        if not soft:
            panel = self.apart(panel, face_of(laminates_in(panel, self.region)[0], self.side)[1])
            return struck(panel, self, self.impact_strain, (-1 if self.side == FACES[0] else 1,))
        return relaid(
            panel,
            self.region,
            lambda laminate: softened_plies(laminate, NOTHING.value, face_of(laminate, self.side)[0]),
        )

    def _pressed(self, laminate: Laminate) -> Laminate:
        plies, core = list(laminate.plies), _core(laminate, self.side)
        for i, ply in enumerate(plies):
            if isinstance(ply.material, CoreMaterial):
                lower = self.depth if i == core else 0.0
                weaker = weakened_material(ply.material, self.core_strength)
                assert isinstance(weaker, CoreMaterial)
                plies[i] = replace(ply, material=weaker, thickness=ply.thickness - lower)
        bottom = float(laminate.interfaces[0]) + (self.depth if self.side == FACES[0] else 0.0)
        return replace(laminate, plies=tuple(plies), bottom=bottom, stated_shear=None)

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        no_core = list(core_faults(panel, self.region))
        yield from no_core
        yield from within_one(panel, self.region)
        yield from clear_faults(panel, self, others, "the face over it")
        if not no_core:
            thickness = [lam.plies[_core(lam, self.side)].thickness for lam in laminates_in(panel, self.region)]
            if self.depth >= min(thickness):
                what = f"the dent is deeper than the core, {1e3 * min(thickness):g} mm"
                yield Fault("depth_mm", what, "less than the core's thickness", "measure it again, or call it a hole")


def _core(laminate: Laminate, side: str) -> int:
    """The ply, from 0, that is the core next to a face."""
    cores = [i for i, ply in enumerate(laminate.plies) if isinstance(ply.material, CoreMaterial)]
    return cores[0] if side == FACES[0] else cores[-1]
