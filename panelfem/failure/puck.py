"""Puck's action-plane criterion in plane stress: fibre failure, and inter-fibre failure by modes A, B and C.

A crack between fibres runs on the plane parallel to them where tractions exert most.  In plane stress that plane
is known: normal to 2 under tension (mode A) and under little compression with shear (mode B), oblique under more
compression (mode C), where the wedge pushes the plies apart; so C governs release.  The three modes are quadratics
with sectors of (s22, s12) as their signs.

Left out, as it needs data that sheets seldom give: the fibres' own share of s22 in fibre failure, and the weakening
of the matrix by breaking fibres near Xt and Xc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.failure.criterion import (
    ACROSS,
    ALONG,
    SHEAR,
    UNIDIRECTIONAL,
    Criterion,
    Mode,
    Piece,
    Term,
)
from panelfem.material import PlyMaterial

FIBRE_TENSION, FIBRE_COMPRESSION, A, B, C = range(5)


@dataclass(frozen=True)
class Slopes:
    """The curve's constants for a ply: slopes p at s22 = 0 in tension and in compression, the resistance `RA` of the
    action plane to transverse shear, Pa, and the shear `corner`, Pa, where B ends in C at s22 = −RA.
    """

    tension: float
    compression: float
    RA: float
    corner: float


@dataclass(frozen=True)
class Puck(Criterion):
    """Fibre: s11/Xt, −s11/Xc.  With p+ = `tension` and p = `compression`, the slopes of the curve at s22 = 0:

    A (s22 ≥ 0): √[(1 − p+ Yt/S)² (s22/Yt)² + (s12/S)²] + p+ s22/S = 1;
    B (s22 < 0, |s22| RA' ≤ |s12| with RA' = corner/RA): [√(s12² + (p s22)²) + p s22]/S = 1;
    C (the rest): [(s12/(2 (1 + p RA/S) S))² + (s22/Yc)²] Yc/(−s22) = 1;
    RA = S [√(1 + 2 p Yc/S) − 1]/2p; corner = S √(1 + 2 p RA/S).

    Where Yt > S/(2 p+), p+ is lowered to S/2Yt, and p never is above p+: the curve stays convex.
    Raises InputError for slopes that are not between 0 and 1.
    """

    tension: float = 0.35
    compression: float = 0.30
    name: str = "Puck"
    source: str = (
        "A. Puck & H. Schuermann 1998, Compos. Sci. Technol. 58:1045; slopes 0.35 and 0.30 of carbon plies: A. Puck, "
        "J. Kopp & M. Knops 2002, Compos. Sci. Technol. 62:371 (both recalled)"
    )
    applies_to: frozenset[str] = UNIDIRECTIONAL
    needs: tuple[str, ...] = ("Xt", "Xc", "Yt", "Yc", "S")
    modes: tuple[Mode, ...] = (
        Mode("fibre tension", "release"),
        Mode("fibre compression", "release"),
        Mode("matrix tension (mode A)", "inspection"),
        Mode("matrix shear (mode B)", "inspection"),
        Mode("matrix wedge (mode C)", "release"),
    )

    def __post_init__(self) -> None:
        if not (0.0 < self.tension < 1.0 and 0.0 < self.compression < 1.0):
            raise InputError(
                f"slopes {self.tension:g} and {self.compression:g} cannot be used",
                where="criterion 'Puck'",
                allowed="above 0, below 1 (carbon: 0.35 and 0.30; glass: 0.30 and 0.25)",
            )

    def slopes(self, ply: PlyMaterial) -> Slopes:
        """The constants for a ply.

        >>> from panelfem.material import library
        >>> found = PUCK.slopes(library()["AS4-3501-6"])
        >>> found.tension, round(found.RA / 1e6, 1), round(found.corner / 1e6, 1)
        (0.35, 77.3, 99.5)
        """
        tension = min(self.tension, 0.5 * ply.S / ply.Yt)
        p = min(self.compression, tension)
        RA = ply.S * (math.sqrt(1.0 + 2.0 * p * ply.Yc / ply.S) - 1.0) / (2.0 * p)
        return Slopes(tension, p, RA, ply.S * math.sqrt(1.0 + 2.0 * p * RA / ply.S))

    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        k, S = self.slopes(ply), ply.S
        shear = Term(SHEAR, 1.0 / S**2, 2, 2)
        opened = (
            Term(ACROSS, 1.0 / ply.Yt**2 - 2.0 * k.tension / (S * ply.Yt), 1, 1),
            Term(ACROSS, 2.0 * k.tension / S, 1),
            shear,
        )
        pressed = (Term(ACROSS, 2.0 * k.compression / S, 1), shear)
        wedge = (
            Term(SHEAR, (0.5 / ((1.0 + k.compression * k.RA / S) * S)) ** 2, 2, 2),
            Term(ACROSS, 1.0 / ply.Yc**2, 1, 1),
            Term(ACROSS, 1.0 / ply.Yc, 1),
        )
        found = [
            Piece(FIBRE_TENSION, (Term(ALONG, 1.0 / ply.Xt, 0),)),
            Piece(FIBRE_COMPRESSION, (Term(ALONG, -1.0 / ply.Xc, 0),)),
            Piece(A, opened, ((1, 1),)),
        ]
        ratio, beyond = k.corner / k.RA, (0.0, -1.0, 0.0, -k.RA)
        for sign in (1, -1):
            found.append(Piece(B, pressed, ((1, -1), (2, sign)), ((0.0, ratio, float(sign), 0.0),)))
            # nearer to zero than s22 = −RA nothing of this sector is reached; there the quadratic would touch zero
            sector = (0.0, -ratio, -float(sign), 0.0)
            found.append(Piece(C, wedge, ((2, sign),), (sector, beyond), base=1.0))
        return tuple(found)

    def index(self, stress: FloatArray, ply: PlyMaterial, strength: float | FloatArray = 1.0) -> FloatArray:
        """Stress exposures (..., 5) of total stresses (..., 3): linear in a stress that grows in proportion."""
        self.check(ply)
        s11, s22, s12 = np.moveaxis(np.asarray(stress, np.float64) / np.asarray(strength, np.float64)[..., None], -1, 0)
        k, S = self.slopes(ply), ply.S
        p, pressed = k.compression, s22 < 0.0
        sheared = np.abs(s12) * k.RA >= np.abs(s22) * k.corner
        opened = np.hypot((1.0 - k.tension * ply.Yt / S) * s22 / ply.Yt, s12 / S) + k.tension * s22 / S
        slid = (np.hypot(s12, p * s22) + p * s22) / S
        below = np.where(pressed, -s22, 1.0)
        wedge = ((s12 / (2.0 * (1.0 + p * k.RA / S) * S)) ** 2 + (s22 / ply.Yc) ** 2) * ply.Yc / below
        return np.stack(
            [
                np.maximum(s11 / ply.Xt, 0.0),
                np.maximum(-s11 / ply.Xc, 0.0),
                np.where(pressed, 0.0, opened),
                np.where(pressed & sheared, slid, 0.0),
                np.where(pressed & ~sheared, wedge, 0.0),
            ],
            axis=-1,
        )


PUCK = Puck()
