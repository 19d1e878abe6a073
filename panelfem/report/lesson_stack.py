"""One stack of the layup lesson: all that its pictures and words need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.strike import Strike, Struck, struck
from panelfem.errors import InputError
from panelfem.failure.in_situ import in_situ
from panelfem.failure.progression import Progression, progression
from panelfem.laminate import Laminate
from panelfem.laminate.directions import Coupling, Polar, coupling, polar
from panelfem.material import PlyMaterial
from panelfem.reserve.records import PlyRow

#: A stack's name on the page; no page has more.
LETTERS = "ABCD"
#: What is pulled if no load is given, N/m.
DEFAULT_LOAD = (100e3, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Stack:
    """One stack under the lesson's load: `letter`, as `written`, and its laminate, with held plies as strong as in it
    if so asked; `load` (6,) N/m and N, `change` K held.  `strike`: that a plate of it is to take, None: none.
    """

    letter: str
    written: str
    laminate: Laminate
    load: FloatArray
    change: float
    strike: Strike | None = None

    @cached_property
    def struck(self) -> Struck | None:
        """What a plate of it does under the strike."""
        return None if self.strike is None else struck(self.laminate, self.strike)

    @cached_property
    def polar(self) -> Polar:
        """Stiffness by direction, every degree."""
        return polar(self.laminate, 361)

    @cached_property
    def coupling(self) -> Coupling:
        """What couples what."""
        return coupling(self.laminate)

    @cached_property
    def progression(self) -> Progression:
        """First to last ply."""
        return progression(self.laminate, self.load, self.change)

    @cached_property
    def rows(self) -> tuple[PlyRow, ...]:
        """Strain and stress at both faces of each ply under the load and what is held."""
        lam = self.laminate
        held = lam.strain_under(lam.thermal_resultants(self.change))
        total = held + lam.strain_under(self.load)
        strain, stress = lam.ply_strains(total), lam.ply_stresses(total, self.change)
        kept, z = lam.ply_stresses(held, self.change), lam.interfaces
        return tuple(
            PlyRow(
                p + 1, ply.material.name, ply.angle, where, float(z[p + k // 2]), strain[p, k], stress[p, k], kept[p, k]
            )
            for p, ply in enumerate(lam.plies)
            for k, where in ((0, "bottom"), (2, "top"))
        )


def stacks(
    written: Sequence[str],
    laminates: Sequence[Laminate],
    load: FloatArray | None = None,
    change: float = 0.0,
    held_stronger: bool = False,
    strike: Strike | None = None,
) -> tuple[Stack, ...]:
    """The stacks of a lesson.  Raises InputError for more than can be told apart, or none with a fibre ply."""
    if not 1 <= len(laminates) <= len(LETTERS):
        raise InputError(
            f"{len(laminates)} stacks cannot be told apart on one page", allowed=f"1 to {len(LETTERS)} stacks"
        )
    for text, laminate in zip(written, laminates, strict=True):
        if not any(isinstance(ply.material, PlyMaterial) for ply in laminate.plies):
            raise InputError("there is no fibre ply to judge", where=f"stack {text}", do="use plies with strengths")
    force = np.array(DEFAULT_LOAD) if load is None else np.asarray(load, np.float64)
    return tuple(
        Stack(letter, text, in_situ(laminate) if held_stronger else laminate, force, change, strike)
        for letter, text, laminate in zip(LETTERS, written, laminates, strict=False)
    )
