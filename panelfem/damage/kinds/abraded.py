"""Plies scraped off one face."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from panelfem.arrays import BoolArray
from panelfem.damage.keys import choice, count
from panelfem.damage.kind import FACES, MEASURED, AreaDamage, laminates_in, relaid
from panelfem.errors import Fault
from panelfem.laminate import Laminate
from panelfem.marks import Mark
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.panel import Panel


@dataclass(frozen=True)
class Abraded(AreaDamage):
    """Plies gone from one face: the laminate is what is left, where it was, so it is eccentric.

    `plies` are gone for certain, `doubtful` more may be gone or cut: they are the bracket.
    """

    word: ClassVar[str] = "abraded"
    about: ClassVar[str] = "Plies scraped or worn off one face."
    mark: ClassVar[Mark] = Mark("--")
    source: ClassVar[str] = "lamination theory of the plies left, where they are: Tsai & Hahn 1980, chapters 4 to 6"
    limits: ClassVar[str] = (
        "whole plies; how the cut plies shed their load at the border, and the peel there, are not computed; the "
        "plies left are sound; one at least is left on a core"
    )
    tolerance: ClassVar[float] = MEASURED
    side: str = choice("side", "The face they are gone from: that of the first or of the last ply of the stack.", FACES)
    plies: int = count("plies", "How many plies are gone.", 1, 100)
    doubtful: int = count("doubtful_plies", "How many more may be gone or cut through.", 0, 100, default=0)

    @property
    def bracket(self) -> tuple[str, str] | None:
        return ("doubtful plies whole", "doubtful plies gone") if self.doubtful else None

    def applied(self, panel: Panel, soft: bool) -> Panel:
        number = self.plies + (self.doubtful if soft else 0)
        return relaid(panel, self.region, lambda laminate: without(laminate, number, self.side))

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        for laminate in laminates_in(panel, self.region):
            most = removable(laminate, self.side)
            if self.plies + self.doubtful > most:
                rest = "the core" if laminate.kind == "sandwich" else "it"
                what = f"{self.plies + self.doubtful} plies cannot be gone: the stack there has {most + 1} up to {rest}"
                do = "count again; where nothing is left it is a hole, where the core is bare a softened area"
                yield Fault("plies", what, f"{most} at most, doubtful ones counted", do)
                return


def removable(laminate: Laminate, side: str) -> int:
    """How many plies can go from a face so that one is left, on a core if there is one; glue is not counted.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> removable(Laminate(parse_stack("[0/90/foam-pvc-80:6mm]s", library(), "carbon-ud")), "first ply")
    1
    """
    found = 0
    for ply in laminate.plies if side == FACES[0] else laminate.plies[::-1]:
        if isinstance(ply.material, CoreMaterial):
            break
        found += isinstance(ply.material, PlyMaterial)
    return found - 1


def without(laminate: Laminate, number: int, side: str) -> Laminate:
    """The laminate without so many plies of one face, glue between them gone as well; what is left stays in place."""
    plies = laminate.plies if side == FACES[0] else laminate.plies[::-1]
    real = [i for i, ply in enumerate(plies) if isinstance(ply.material, PlyMaterial)]
    cut = real[number]
    z = laminate.interfaces
    if side == FACES[0]:
        return replace(laminate, plies=laminate.plies[cut:], bottom=float(z[cut]), stated_shear=None)
    kept = laminate.plies[: len(plies) - cut]
    return replace(laminate, plies=kept, bottom=float(z[0]), stated_shear=None)
