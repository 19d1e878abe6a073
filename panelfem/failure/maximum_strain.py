"""Maximum strain: each mechanical strain against its own limit; the ply must state its strain limits.

The strains are those the stresses make in the ply, S·sigma: free thermal and moisture strain breaks nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.errors import InputError
from panelfem.failure.criterion import (
    ACROSS,
    ALONG,
    FABRIC,
    FABRIC_MODES,
    PLY_MODES,
    SHEAR,
    UNIDIRECTIONAL,
    Criterion,
    Mode,
    Piece,
    Term,
)
from panelfem.material import PlyMaterial


@dataclass(frozen=True)
class MaximumStrain(Criterion):
    """e11 and e22 against their limits in tension and compression, |2·e12| against that of shear."""

    name: str
    applies_to: frozenset[str]
    modes: tuple[Mode, ...]
    source: str = (
        "R. M. Jones 1999, Mechanics of Composite Materials, 2nd ed., section 2.9.2 (recalled); "
        "A. K. Kaw 2006, Mechanics of Composite Materials, 2nd ed., section 2.8 (recalled)"
    )
    needs: tuple[str, ...] = ("strain_limits",)

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        if ply.strain_limits is None:
            raise InputError("the ply states no strain limits", where=f"ply material '{ply.name}'")
        e1t, e1c, e2t, e2c, g12 = ply.strain_limits
        cross = -ply.nu12 / ply.E1

        def along(limit: float) -> tuple[Term, ...]:
            return Term(ALONG, 1.0 / (ply.E1 * limit), 0), Term(ALONG, cross / limit, 1)

        def across(limit: float) -> tuple[Term, ...]:
            return Term(ACROSS, 1.0 / (ply.E2 * limit), 1), Term(ACROSS, cross / limit, 0)

        return (
            Piece(0, along(e1t)),
            Piece(1, along(-e1c)),
            Piece(2, across(e2t)),
            Piece(3, across(-e2c)),
            Piece(4, (Term(SHEAR, 1.0 / (ply.G12 * g12), 2),), ((2, 1),)),
            Piece(4, (Term(SHEAR, -1.0 / (ply.G12 * g12), 2),), ((2, -1),)),
        )


MAXIMUM_STRAIN = MaximumStrain("maximum strain", UNIDIRECTIONAL, PLY_MODES)
MAXIMUM_STRAIN_BY_DIRECTION = MaximumStrain("maximum strain by direction", FABRIC, FABRIC_MODES)
