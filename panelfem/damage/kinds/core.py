"""A core that is crushed or wet under sound faces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.arrays import BoolArray
from panelfem.damage.keys import number, quantity
from panelfem.damage.kind import AreaDamage, core_faults, relaid
from panelfem.errors import Fault
from panelfem.laminate import Laminate, Ply
from panelfem.laminate.degrade import exchanged, stiffened_material, weakened_material
from panelfem.marks import Mark
from panelfem.material import CoreMaterial
from panelfem.panel import Panel


@dataclass(frozen=True)
class DamagedCore(AreaDamage):
    """A core with a share of its moduli and strengths left; water in it adds mass (`water` kg/m²)."""

    word: ClassVar[str] = "damaged core"
    about: ClassVar[str] = "A core crushed or wet over an area, the faces still on it."
    mark: ClassVar[Mark] = Mark("xx")
    source: ClassVar[str] = (
        "core moduli and strengths by a stated share (bands are swept), core shear, wrinkling and crimping as for the "
        "sound core: Allen 1969, Hoff & Mautner 1945 (from memory)"
    )
    limits: ClassVar[str] = (
        "the shares are not computed from what crushed or wetted it; the bond of the faces holds (else a disbond); the "
        "faces are where they were (else a dent); water stays where it is"
    )
    condition: ClassVar[str] = (
        "tap and weigh the area of the damaged core again after every run: growth, and water that travels, are not "
        "computed"
    )
    stiffness: float = quantity(
        "stiffness_share", "Share of the core's moduli that is left.", 0.001, 1.0,
        sweep="damage stiffness", measure="a core sample pressed and sheared, or a dial gauge under a known weight",
    )  # fmt: skip
    strength: float = quantity(
        "strength_share", "Share of the core's strengths that is left.", 0.001, 1.0,
        sweep="damage strength", measure="a core sample of the area, crushed",
    )  # fmt: skip
    water: float = number("water_g_per_m2", "Water in it, by area.", 0.0, 50000.0, default=0.0)

    def applied(self, panel: Panel, soft: bool) -> Panel:
        return relaid(panel, self.region, self._changed)

    def _changed(self, laminate: Laminate) -> Laminate:
        depth = sum(ply.thickness for ply in laminate.plies if isinstance(ply.material, CoreMaterial))

        def change(ply: Ply) -> Ply:
            if not isinstance(ply.material, CoreMaterial):
                return ply
            worse = stiffened_material(weakened_material(ply.material, self.strength), self.stiffness)
            return replace(ply, material=replace(worse, density=worse.density + self.water / depth))

        return exchanged(laminate, change, self.stiffness)

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        yield from core_faults(panel, self.region)
