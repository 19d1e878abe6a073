"""Maximum stress: each stress against its own strength, none knowing of the others.

For a fabric, the stresses along warp and fill are both fibre modes and govern release.
"""

from __future__ import annotations

from dataclasses import dataclass

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
class MaximumStress(Criterion):
    """s11 against Xt and Xc, s22 against Yt and Yc, |s12| against S.

    >>> import numpy as np
    >>> from panelfem.material import library
    >>> ply = library()["carbon-ud"]
    >>> MAXIMUM_STRESS.reserve(np.array([850e6, 0.0, 0.0]), np.zeros(3), ply)
    array([ 2., inf, inf, inf, inf])
    """

    name: str
    applies_to: frozenset[str]
    modes: tuple[Mode, ...]
    source: str = (
        "R. M. Jones 1999, Mechanics of Composite Materials, 2nd ed., section 2.9.1 (recalled); "
        "A. K. Kaw 2006, Mechanics of Composite Materials, 2nd ed., section 2.8 (recalled)"
    )
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        return (
            Piece(0, (Term(ALONG, 1.0 / ply.Xt, 0),)),
            Piece(1, (Term(ALONG, -1.0 / ply.Xc, 0),)),
            Piece(2, (Term(ACROSS, 1.0 / ply.Yt, 1),)),
            Piece(3, (Term(ACROSS, -1.0 / ply.Yc, 1),)),
            Piece(4, (Term(SHEAR, 1.0 / ply.S, 2),), ((2, 1),)),
            Piece(4, (Term(SHEAR, -1.0 / ply.S, 2),), ((2, -1),)),
        )


MAXIMUM_STRESS = MaximumStress("maximum stress", UNIDIRECTIONAL, PLY_MODES)
MAXIMUM_STRESS_BY_DIRECTION = MaximumStress("maximum stress by direction", FABRIC, FABRIC_MODES)
