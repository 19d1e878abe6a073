"""A crack or a slot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from panelfem.damage.kind import Slit
from panelfem.marks import Mark


@dataclass(frozen=True)
class Crack(Slit):
    """A cut through the whole thickness, run as a narrow slot with round ends; stress is averaged ahead of its tips."""

    word: ClassVar[str] = "crack"
    about: ClassVar[str] = "A crack, cut or slot through the whole thickness."
    mark: ClassVar[Mark] = Mark("", ":")
    source: ClassVar[str] = (
        "stress averaged ahead of the tip, Whitney & Nuismer 1974, J. Compos. Mater. 8:253 (from memory), on the "
        "meshed field of a slot; its round tip made good as of Creager & Paris 1967, Int. J. Fracture Mech. 3:247 "
        "(recalled)"
    )
    limits: ClassVar[str] = (
        "through the thickness; narrower than 2 mm is meshed as 2 mm; the worst direction ahead of the tip counts; "
        "faces never touch, which under compression is on the safe side; no toughness, no growth; the averaging length "
        "is best fitted to coupons with a notch as long"
    )
    condition: ClassVar[str] = (
        "measure the crack tip to tip after every run and take the panel off if it is longer: growth is not computed"
    )
