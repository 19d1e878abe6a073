"""Hoffman: one quadratic with linear terms, as for brittle solids whose tension and compression differ.

The interaction follows from the strengths along 1, −s11 s22/(Xt Xc).  It tells no modes apart: 'first ply failure',
with the largest term named.
"""

from __future__ import annotations

from dataclasses import dataclass

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
class Hoffman(Criterion):
    """(s11² − s11 s22)/(Xt Xc) + s22²/(Yt Yc) + (1/Xt − 1/Xc) s11 + (1/Yt − 1/Yc) s22 + (s12/S)² = 1: transversely
    isotropic about 1, in plane stress.
    """

    name: str = "Hoffman"
    source: str = "O. Hoffman 1967, J. Compos. Mater. 1:200 (recalled), strengths across equal in 2 and 3"
    applies_to: frozenset[str] = UNIDIRECTIONAL
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")
    modes: tuple[Mode, ...] = FIRST_PLY

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        F11 = 1.0 / (ply.Xt * ply.Xc)
        terms = (
            Term(ALONG, 1.0 / ply.Xt - 1.0 / ply.Xc, 0),
            Term(ACROSS, 1.0 / ply.Yt - 1.0 / ply.Yc, 1),
            Term(ALONG, F11, 0, 0),
            Term(ACROSS, 1.0 / (ply.Yt * ply.Yc), 1, 1),
            Term(SHEAR, 1.0 / ply.S**2, 2, 2),
            Term(BOTH, -F11, 0, 1),
        )
        return (Piece(0, terms),)


HOFFMAN = Hoffman()
