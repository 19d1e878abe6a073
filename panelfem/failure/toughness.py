"""Energy release rates at the front of a crack between plies against its toughness.

Mixed mode by Benzeggagh and Kenane: Gc = GIc + (GIIc − GIc) s^η, s = (GII + GIII)/G, with tearing counted as sliding.
A material without measured toughness has none here, and nothing is made up for it: what grows is then not known.

Source: M. L. Benzeggagh & M. Kenane 1996, Compos. Sci. Technol. 56:439; tearing as J. R. Reeder 2006, NASA TM-214298
(both recalled).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.material import Material, PlyMaterial


@dataclass(frozen=True)
class Toughness:
    """Critical energy release rates J/m², opening and sliding, and the exponent between.

    >>> ply = Toughness(82.0, 554.0, 1.75)
    >>> ply.critical(np.array([0.0, 0.5, 1.0])).round(1).tolist()
    [82.0, 222.3, 554.0]
    """

    opening: float
    sliding: float
    exponent: float

    def __post_init__(self) -> None:
        if not (self.opening > 0.0 and self.sliding > 0.0 and self.exponent > 0.0):
            raise InputError("a toughness is not positive", allowed="GIc, GIIc and the exponent above 0")

    def critical(self, share: FloatArray) -> FloatArray:
        """Critical energy release rate J/m² at the `share` of sliding and tearing, 0 to 1."""
        return np.asarray(self.opening + (self.sliding - self.opening) * np.asarray(share, float) ** self.exponent)

    def index(self, opening: FloatArray, sliding: FloatArray, tearing: FloatArray | float = 0.0) -> FloatArray:
        """Energy release rate over what is critical at its mode: it grows from 1 on; goes as the load squared.

        >>> Toughness(100.0, 400.0, 1.0).index(np.array([100.0, 0.0]), np.array([0.0, 100.0])).tolist()
        [1.0, 0.25]
        """
        slid = np.asarray(sliding, float) + tearing
        total = np.asarray(opening, float) + slid
        share = np.divide(slid, total, out=np.zeros_like(total), where=total > 0.0)
        return np.asarray(total / self.critical(share))


def toughness_of(materials: Iterable[Material]) -> Toughness | None:
    """The toughness between plies of `materials`: of each number the least; None where one of them is not known.

    >>> from panelfem.material import library
    >>> toughness_of([library()["AS4-3501-6"]]), toughness_of([library()["AS4-3501-6"], library()["carbon-ud"]])
    (Toughness(opening=81.6, sliding=554.0, exponent=1.75), None)
    """
    plies = list(materials)
    found = []
    for ply in plies:
        if not isinstance(ply, PlyMaterial) or ply.GIc is None or ply.GIIc is None or ply.mixed_mode is None:
            return None
        found.append((ply.GIc, ply.GIIc, ply.mixed_mode))
    if not found:
        return None
    # a greater exponent holds the toughness low for longer
    return Toughness(min(f[0] for f in found), min(f[1] for f in found), max(f[2] for f in found))
