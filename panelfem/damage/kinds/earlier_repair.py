"""A patch that somebody bonded on before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.damage.keys import adhesive, choice, number, quantity, stack
from panelfem.damage.kind import FACES, Covering, Damage, apart_faults
from panelfem.damage.kinds.hole import Hole
from panelfem.errors import Fault
from panelfem.laminate import Laminate
from panelfem.marks import Mark
from panelfem.material import Adhesive
from panelfem.panel import Panel
from panelfem.patching import PatchRepair, patched


@dataclass(frozen=True)
class EarlierRepair(Covering):
    """A patch in the panel whose bond nobody can vouch for.

    At the stiff end it carries, its plies and its bond with the share `strength` of the book's; at the soft end it is
    weight, and what was cut out below it is a hole.  Cut out itself, it leaves that hole.
    """

    word: ClassVar[str] = "earlier repair"
    about: ClassVar[str] = "A patch bonded on before, by whomever."
    mark: ClassVar[Mark] = Mark("+", "-.")
    source: ClassVar[str] = (
        "a bracket: plies bonded on never make a panel softer (Rayleigh); at its stiff end a patch as one bonded now, "
        "its bond by linear shear and peel after Goland & Reissner 1944 (from memory)"
    )
    limits: ClassVar[str] = (
        "the bond is whole at one end and gone at the other, half of it is not run; plies, glue and share of strength "
        "are stated, not found; the panel below, where it was not cut out, is sound; apart from other damage"
    )
    condition: ClassVar[str] = (
        "look along the edges of the earlier repair and tap it before every run, and take the panel off if it lifts or "
        "sounds dull anywhere: no inspection proves a bond's strength"
    )
    side: str = choice("side", "The face it is on: that of the first or of the last ply of the stack.", FACES)
    laminate: Laminate = stack("stack", "Stack of the patch alone, the ply at the bond first.")  # noqa: RUF009
    adhesive: Adhesive = adhesive("adhesive", "Its bond: an adhesive, or the resin of a wet lay-up.")  # noqa: RUF009
    bond_thickness: float = number("bond_thickness_mm", "Thickness of its bond.", 0.02, 3.0)
    strength: float = quantity(
        "strength_share", "Share of the book strength believed of its plies and bond, cured and aged as they are.",
        0.01, 1.0, sweep="damage strength", measure="its record of cure, and the coupon cured beside it, pulled",
    )  # fmt: skip

    @property
    def bracket(self) -> tuple[str, str]:
        return "earlier repair carrying", "earlier repair carrying nothing"

    @property
    def patch(self) -> PatchRepair:
        """The patch as a repair laid now."""
        side: Literal[1, -1] = 1 if self.side == FACES[1] else -1
        return PatchRepair(
            self.name, self.region, self.laminate, self.adhesive, self.bond_thickness, side, self.strength
        )  # fmt: skip

    def applied(self, panel: Panel, soft: bool) -> Panel:
        bare = self.bared(panel)
        carrying = patched(bare, self.patch, np.zeros_like(panel.removed), panel)
        return replace(bare, extra_mass=bare.extra_mass + carrying.mass() - bare.mass()) if soft else carrying

    def after_cut(self) -> Damage | None:
        return None if self.below is None else Hole(self.name, self.below, self.characteristic_length)

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        do = "leave the earlier repair out, so that it carries nothing, and give what is below it as damage"
        yield from apart_faults(panel, self, others, do)
