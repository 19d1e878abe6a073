"""An area that sounds dull."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.damage.keys import Assumed, quantity
from panelfem.damage.kind import AreaDamage, impact_strain, relaid, struck
from panelfem.laminate.degrade import softened, weakened
from panelfem.marks import Mark
from panelfem.panel import Panel

#: The two ends of the bracket on a softened area.
STIFF, SOFT = "dull area at full stiffness", "dull area carrying nothing"


@dataclass(frozen=True)
class Softened(AreaDamage):
    """An area that sounds dull: delaminated, disbonded or crushed, depth unknown.

    At the stiff end it keeps its stiffness and the share `strength` of its strength; at the soft end its moduli drop to
    `remaining_stiffness` (near zero), so that the load goes round it.
    """

    word: ClassVar[str] = "softened"
    about: ClassVar[str] = "A soft or dull-sounding area."
    mark: ClassVar[Mark] = Mark("//")
    source: ClassVar[str] = "a bracket: less stiffness anywhere never makes a panel stiffer (Rayleigh)"
    limits: ClassVar[str] = "growth is not computed; between its ends the stiffness is not known"
    condition: ClassVar[str] = (
        "tap the dull area again after every run and take the panel off if it has grown: growth is not computed"
    )
    remaining_stiffness: float = quantity(
        "remaining_stiffness_share",
        "Share of the stiffness at the other end of the bracket, where the area carries next to nothing.",
        1e-6,
        0.5,
        default=Assumed(1e-3, "near zero, so that the load goes round the area"),
    )
    strength: float = quantity(
        "strength_share",
        "Share of the strength that is left if the stiffness is still all there.",
        0.01,
        1.0,
        sweep="softened strength",
        measure="ultrasonic or thermographic inspection of the area: depth and extent",
    )
    impact_strain: float | None = impact_strain()

    @property
    def bracket(self) -> tuple[str, str]:
        return STIFF, SOFT

    def applied(self, panel: Panel, soft: bool) -> Panel:
        if not soft:
            panel = relaid(panel, self.region, lambda laminate: weakened(laminate, self.strength))
            return struck(panel, self, self.impact_strain)
        panel = relaid(panel, self.region, lambda laminate: softened(laminate, self.remaining_stiffness))
        return replace(panel, slack=panel.slack | panel.mesh.inside[self.region])
