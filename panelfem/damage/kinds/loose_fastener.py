"""A fixing with play."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isinf
from typing import ClassVar

from panelfem.damage.keys import Assumed, number, quantity
from panelfem.damage.kind import FasteningDamage
from panelfem.marks import Mark
from panelfem.panel import Fastener, Panel, rated


@dataclass(frozen=True)
class LooseFastener(FasteningDamage):
    """A fixing with play: at the stiff end it holds as before, at the soft end by a share of its stiffness, and not at
    all while its gap is not taken up or where what holds is rigid.
    """

    word: ClassVar[str] = "loose fastener"
    about: ClassVar[str] = "A fixing that has play, or has lost preload."
    mark: ClassVar[Mark] = Mark(symbol="_")
    source: ClassVar[str] = "a bracket: a support that holds less never makes a panel stiffer (Rayleigh)"
    limits: ClassVar[str] = (
        "the gap is not followed as it closes: the ends enclose what it does; rattling and wear are not computed; its "
        "rating by a stated share"
    )
    condition: ClassVar[str] = "check the loose fixing by hand before every run: that it works looser is not computed"
    refits: ClassVar[bool] = True
    may_let_go: ClassVar[bool] = True
    stiffness: float = number(
        "stiffness_share", "Share of its stiffness at the soft end; 0: it holds nothing.", 0.0, 1.0, default=0.0
    )
    gap: float = number("gap_mm", "Play felt by hand; above 0 its soft end holds nothing.", 0.0, 20.0, default=0.0)
    rating: float = quantity(
        "rating_share", "Share of its ratings that is left.", 0.01, 1.0,
        default=Assumed(1.0, "common practice, no source", (0.5, 1.0)), sweep="damage strength",
        measure="the fixing put back to its proper preload, or replaced",
    )  # fmt: skip

    @property
    def bracket(self) -> tuple[str, str]:
        return "loose fixing holding", "loose fixing slack"

    def applied(self, panel: Panel, soft: bool) -> Panel:
        def loose(f: Fastener) -> Fastener:
            f = rated(f, self.rating, self.rating)
            if not soft:
                return f
            held = (f.in_plane, f.out_of_plane, f.tilt, f.twist)
            if self.gap > 0.0 or self.stiffness == 0.0 or any(map(isinf, held)):
                return replace(f, fitted=False)
            a, b, c, d = (self.stiffness * k for k in held)
            return replace(f, in_plane=a, out_of_plane=b, tilt=c, twist=d)

        return self.changed(panel, loose)
