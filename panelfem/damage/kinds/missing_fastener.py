"""A fixing that is gone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.damage.kind import FasteningDamage
from panelfem.marks import Mark
from panelfem.panel import Panel


@dataclass(frozen=True)
class MissingFastener(FasteningDamage):
    """A fixing that is gone or does not hold."""

    word: ClassVar[str] = "missing fastener"
    about: ClassVar[str] = "A fixing that is gone or does not hold."
    mark: ClassVar[Mark] = Mark(symbol="^")
    source: ClassVar[str] = "statics: it holds nothing"
    limits: ClassVar[str] = "the skin round its seat is sound, or has a damage of its own"
    refits: ClassVar[bool] = True
    may_let_go: ClassVar[bool] = True

    def applied(self, panel: Panel, soft: bool) -> Panel:
        return self.changed(panel, lambda fixing: replace(fixing, fitted=False))
