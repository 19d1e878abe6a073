"""Tsai–Wu: one quadratic in the stresses with linear terms, so that tension and compression differ.

The interaction is stated, not measured: F12 = `interaction` · √(F11 F22).  It tells no modes apart: 'first
ply failure', with the largest term named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from panelfem.errors import InputError
from panelfem.failure.criterion import (
    ACROSS,
    ALONG,
    BOTH,
    FABRIC,
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
class TsaiWu(Criterion):
    """F1 s11 + F2 s22 + F11 s11² + F22 s22² + F66 s12² + 2 F12 s11 s22 = 1.

    `interaction` between −1 and 1, −0.5 the usual choice; beyond, the surface is not closed and InputError is
    raised.
    """

    interaction: float = -0.5
    name: str = "Tsai-Wu"
    source: str = (
        "S. W. Tsai & E. M. Wu 1971, J. Compos. Mater. 5:58; F12 = -0.5 sqrt(F11 F22) as in S. W. Tsai & "
        "H. T. Hahn 1980, Introduction to Composite Materials, chapter 7 (both recalled)"
    )
    applies_to: frozenset[str] = UNIDIRECTIONAL | FABRIC
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")
    modes: tuple[Mode, ...] = FIRST_PLY

    def __post_init__(self) -> None:
        if not -1.0 < self.interaction < 1.0:
            raise InputError(
                f"interaction {self.interaction:g} leaves the failure surface open",
                where="criterion 'Tsai-Wu'",
                allowed="between −1 and 1",
            )

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        F11, F22 = 1.0 / (ply.Xt * ply.Xc), 1.0 / (ply.Yt * ply.Yc)
        terms = (
            Term(ALONG, 1.0 / ply.Xt - 1.0 / ply.Xc, 0),
            Term(ACROSS, 1.0 / ply.Yt - 1.0 / ply.Yc, 1),
            Term(ALONG, F11, 0, 0),
            Term(ACROSS, F22, 1, 1),
            Term(SHEAR, 1.0 / ply.S**2, 2, 2),
            Term(BOTH, 2.0 * self.interaction * math.sqrt(F11 * F22), 0, 1),
        )
        return (Piece(0, terms),)


TSAI_WU = TsaiWu()
