"""An insert that is torn out or spins."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.damage.keys import quantity
from panelfem.damage.kind import FasteningDamage
from panelfem.marks import Mark
from panelfem.panel import Fastener, Panel, rated


@dataclass(frozen=True)
class TornInsert(FasteningDamage):
    """An insert with a share of its strength left along its axis (`pull`) and across (`shear`).

    At the stiff end it holds as stiffly as before; at the soft end nothing in each direction whose share is below 1.
    Neither end keeps what holds it against twisting.
    """

    word: ClassVar[str] = "torn insert"
    about: ClassVar[str] = "An insert that is torn, cracked in its potting, or spins."
    mark: ClassVar[Mark] = Mark(symbol="v")
    source: ClassVar[str] = (
        "a bracket: a support that holds less never makes a panel stiffer (Rayleigh); ratings by share"
    )
    limits: ClassVar[str] = (
        "the shares are stated, not computed; without ratings in the case only what the panel does is looked at; skin "
        "and core torn around it are a damage of their own"
    )
    condition: ClassVar[str] = (
        "pull and turn the torn insert by hand before every run and take the panel off if it moves more: growth is not "
        "computed"
    )
    may_let_go: ClassVar[bool] = True
    pull: float = quantity(
        "pull_share", "Share of its pull-out strength that is left.", 0.001, 1.0,
        sweep="damage strength", measure="a proof pull on the insert",
    )  # fmt: skip
    shear: float = quantity(
        "shear_share", "Share of its shear strength that is left.", 0.001, 1.0,
        sweep="damage strength", measure="a proof load along the skin on the insert",
    )  # fmt: skip

    @property
    def bracket(self) -> tuple[str, str]:
        return "torn insert holding", "torn insert holding nothing"

    def applied(self, panel: Panel, soft: bool) -> Panel:
        def torn(f: Fastener) -> Fastener:
            f = replace(rated(f, self.shear, self.pull), twist=0.0)
            if soft and self.pull < 1.0:
                f = replace(f, out_of_plane=0.0, tilt=0.0)
            if soft and self.shear < 1.0:
                f = replace(f, in_plane=0.0)
            return replace(f, fitted=f.fitted and max(f.in_plane, f.out_of_plane, f.tilt) > 0.0)

        return self.changed(panel, torn)
