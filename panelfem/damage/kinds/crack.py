"""A crack or a slot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from panelfem.damage.kind import Notch


@dataclass(frozen=True)
class Crack(Notch):
    """A cut through the whole thickness, run as a narrow hole; stress is averaged ahead of its tips.

    The average over a length stays finite as a tip gets sharp, and that of an ellipse is below that of a crack of its
    length by little where the tip's radius is small against the averaging length (see the test).
    """

    word: ClassVar[str] = "crack"
    about: ClassVar[str] = "A crack, cut or slot through the whole thickness."
    source: ClassVar[str] = (
        "stress averaged ahead of the tip, Whitney & Nuismer 1974, J. Compos. Mater. 8:253 (from memory), on the "
        "meshed field of a slot of the stated width"
    )
    limits: ClassVar[str] = (
        "through the thickness; faces never touch, which under compression is on the safe side; no toughness, no "
        "growth; the averaging length is best fitted to the notch length of the coupons"
    )
    slender: ClassVar[bool] = True
    condition: ClassVar[str] = (
        "measure the crack tip to tip after every run and take the panel off if it is longer: growth is not computed"
    )
