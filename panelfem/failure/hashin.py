"""Hashin's plane-stress criteria for unidirectional plies: fibre and matrix, each in tension and compression.

Shear counts fully in fibre tension, as printed.  The transverse shear strength S23 is seldom measured; where
the ply does not state it, S23 = Yc/2 is assumed (a matrix plane at 45° under transverse compression), and
matrix compression becomes (s22/Yc)² + (s12/S)².
"""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.failure.criterion import (
    ACROSS,
    ALONG,
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
class Hashin(Criterion):
    """Fibre tension (s11/Xt)² + (s12/S)²; fibre compression (s11/Xc)²; matrix tension (s22/Yt)² + (s12/S)²;
    matrix compression (s22/2S23)² + [(Yc/2S23)² − 1] s22/Yc + (s12/S)²; each = 1 under its own sign.
    """

    name: str = "Hashin"
    source: str = "Z. Hashin 1980, J. Appl. Mech. 47:329, plane stress (recalled); S23 = Yc/2 assumed where not stated"
    applies_to: frozenset[str] = UNIDIRECTIONAL
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")
    modes: tuple[Mode, ...] = PLY_MODES[:4]

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        shear = Term(SHEAR, 1.0 / ply.S**2, 2, 2)
        S23 = 0.5 * ply.Yc if ply.S23 is None else ply.S23
        compressed = (
            Term(ACROSS, 0.25 / S23**2, 1, 1),
            Term(ACROSS, ((0.5 * ply.Yc / S23) ** 2 - 1.0) / ply.Yc, 1),
            shear,
        )
        return (
            Piece(0, (Term(ALONG, 1.0 / ply.Xt**2, 0, 0), shear), ((0, 1),)),
            Piece(1, (Term(ALONG, 1.0 / ply.Xc**2, 0, 0),), ((0, -1),)),
            Piece(2, (Term(ACROSS, 1.0 / ply.Yt**2, 1, 1), shear), ((1, 1),)),
            Piece(3, compressed, ((1, -1),)),
        )


HASHIN = Hashin()
