"""A hole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from panelfem.damage.kind import Notch
from panelfem.marks import Mark


@dataclass(frozen=True)
class Hole(Notch):
    """Material that is gone, edges clean."""

    word: ClassVar[str] = "hole"
    about: ClassVar[str] = "A hole, slot or edge notch."
    mark: ClassVar[Mark] = Mark()
    source: ClassVar[str] = (
        "strength at the border from the stress averaged over a length, Whitney & Nuismer 1974, J. Compos. Mater. "
        "8:253 (from memory)"
    )
    limits: ClassVar[str] = "edges are clean: fibres and plies torn loose around it are a damage of their own"
