"""A laminate in words, one line a ply."""

from __future__ import annotations

import math

from panelfem.laminate.laminate import Laminate
from panelfem.units import number


def describe(laminate: Laminate) -> tuple[str, ...]:
    """One line a ply from the top (z = +h/2, the face the normal leaves): number, material, angle, thickness.

    Plies are numbered from 1 at the bottom, the face the normal enters.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> plies = parse_stack("[0/90/foam-pvc-80:5mm]", library(), "carbon-ud")
    >>> print("\\n".join(describe(Laminate(plies))))
    3  foam-pvc-80  0°  5 mm
    2  carbon-ud  90°  0.15 mm
    1  carbon-ud  0°  0.15 mm
    """
    wide = len(str(len(laminate.plies)))
    return tuple(
        f"{i:>{wide}}  {ply.material.name}  {number(math.degrees(ply.angle), 4)}°  {number(1e3 * ply.thickness, 4)} mm"
        for i, ply in reversed(list(enumerate(laminate.plies, 1)))
    )
