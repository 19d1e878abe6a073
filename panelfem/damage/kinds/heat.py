"""Heat damage."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.damage.keys import Assumed, quantity
from panelfem.damage.kind import AreaDamage, relaid
from panelfem.laminate import Laminate
from panelfem.laminate.degrade import exchanged, heated_material
from panelfem.marks import Mark
from panelfem.panel import Panel

_MEASURE = "a short-beam shear coupon of the area, or the glass transition of a shaving"


@dataclass(frozen=True)
class Heat(AreaDamage):
    """A matrix that heat, or heat and water, has weakened: what it governs is left by a share."""

    word: ClassVar[str] = "heat"
    about: ClassVar[str] = "An area that got too hot, or hot and wet: brown, blistered, soft resin."
    mark: ClassVar[Mark] = Mark("..")
    source: ClassVar[str] = (
        "matrix-governed strengths and moduli by a share, tension along fibres untouched: hot-wet practice of "
        "MIL-HDBK-17 (recalled); the default shares are common practice, no source"
    )
    limits: ClassVar[str] = (
        "the same through the thickness; glue and core under it lose the same shares; blisters are delaminations of "
        "their own; fibres are sound (charred ones are not: then it is a hole or a softened area)"
    )
    condition: ClassVar[str] = "keep heat off the area, and tap it again after every run: growth is not computed"
    strength: float = quantity(
        "matrix_strength_share", "Share of matrix-governed strengths that is left.", 0.01, 1.0,
        default=Assumed(0.6, "common practice, no source", (0.4, 0.8)), sweep="damage strength", measure=_MEASURE,
    )  # fmt: skip
    stiffness: float = quantity(
        "matrix_stiffness_share", "Share of matrix-governed moduli that is left.", 0.01, 1.0,
        default=Assumed(0.7, "common practice, no source", (0.5, 0.9)), sweep="damage stiffness", measure=_MEASURE,
    )  # fmt: skip

    def applied(self, panel: Panel, soft: bool) -> Panel:
        return relaid(panel, self.region, self._heated)

    def _heated(self, laminate: Laminate) -> Laminate:
        return exchanged(
            laminate,
            lambda ply: replace(ply, material=heated_material(ply.material, self.strength, self.stiffness)),
            self.stiffness,
        )
