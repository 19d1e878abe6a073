"""Tsai–Hill with signed strengths: each stress against the strength of its own sign, in one quadratic sum.

It tells no modes apart: 'first ply failure', with the largest term named.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from panelfem.failure.criterion import (
    ACROSS,
    ALONG,
    BOTH,
    FIRST_PLY,
    SHEAR,
    UNIDIRECTIONAL,
    Criterion,
    Mode,
    Piece,
    Term,
)
from panelfem.material import PlyMaterial


@dataclass(frozen=True)
class TsaiHill(Criterion):
    """(s11/X)² − s11 s22/X² + (s22/Y)² + (s12/S)² = 1, X by the sign of s11, Y by the sign of s22."""

    name: str = "Tsai-Hill"
    source: str = (
        "V. D. Azzi & S. W. Tsai 1965, Exp. Mech. 5:283 (recalled); signed strengths as in R. M. Jones 1999, "
        "Mechanics of Composite Materials, 2nd ed., section 2.9.3 (recalled)"
    )
    applies_to: frozenset[str] = UNIDIRECTIONAL
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")
    modes: tuple[Mode, ...] = FIRST_PLY

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        found = []
        for along, across in product((1, -1), repeat=2):
            X, Y = (ply.Xt if along > 0 else ply.Xc), (ply.Yt if across > 0 else ply.Yc)
            terms = (
                Term(ALONG, 1.0 / X**2, 0, 0),
                Term(BOTH, -1.0 / X**2, 0, 1),
                Term(ACROSS, 1.0 / Y**2, 1, 1),
                Term(SHEAR, 1.0 / ply.S**2, 2, 2),
            )
            found.append(Piece(0, terms, ((0, along), (1, across))))
        return tuple(found)


TSAI_HILL = TsaiHill()
