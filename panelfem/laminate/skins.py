"""The skins of a laminate as seen from one of its faces."""

from __future__ import annotations

from typing import Literal

from panelfem.errors import InputError
from panelfem.laminate.laminate import Laminate
from panelfem.laminate.ply import Ply
from panelfem.material import CoreMaterial


def _cores(laminate: Laminate, side: Literal[1, -1]) -> list[int]:
    """Places of the layers of core, the first met from the face first."""
    found = [i for i, ply in enumerate(laminate.plies) if isinstance(ply.material, CoreMaterial)]
    return found[::-1] if side > 0 else found


def near_plies(laminate: Laminate, side: Literal[1, -1]) -> int:
    """How many plies lie between the face `side` and the first core; all of them without a core.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> sandwich = Laminate(parse_stack("[0/45/foam-pvc-80:5mm/0]", library(), "carbon-twill"))
    >>> near_plies(sandwich, 1), near_plies(sandwich, -1)
    (1, 2)
    """
    cores = _cores(laminate, side)
    if not cores:
        return len(laminate.plies)
    return len(laminate.plies) - 1 - cores[0] if side > 0 else cores[0]


def core_layers(laminate: Laminate, side: Literal[1, -1]) -> tuple[Ply, ...]:
    """The layers of core below the near plies that lie on each other, the first met first; none without a core.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> sandwich = Laminate(parse_stack("[0/foam-pvc-80:5mm/foam-pvc-80:3mm/0]", library(), "carbon-twill"))
    >>> [round(1e3 * ply.thickness) for ply in core_layers(sandwich, 1)]
    [3, 5]
    """
    cores = _cores(laminate, side)
    return tuple(laminate.plies[i] for k, i in enumerate(cores) if abs(i - cores[0]) == k)


def near_skin(laminate: Laminate, side: Literal[1, -1]) -> Laminate:
    """The near plies alone, at their own height.  Raises InputError for a core that lies bare."""
    count = near_plies(laminate, side)
    if count == 0:
        raise InputError("the core has no skin on this face", where="repair", do="take the other face")
    return _split(laminate, side, count)[0]


def without_near(laminate: Laminate, side: Literal[1, -1], core: bool = False) -> Laminate | None:
    """What is left without the near plies, and with `core` without the core below them; None if nothing is.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> sandwich = Laminate(parse_stack("[0/45/foam-pvc-80:5mm/0]", library(), "carbon-twill"))
    >>> [len(without_near(sandwich, 1, core).plies) for core in (False, True)]
    [3, 2]
    """
    count = near_plies(laminate, side) + (len(core_layers(laminate, side)) if core else 0)
    return None if count >= len(laminate.plies) else _split(laminate, side, count)[1]


def _split(laminate: Laminate, side: Literal[1, -1], count: int) -> tuple[Laminate, Laminate]:
    """The `count` plies nearest to the face, and the rest; the whole twice if there is no rest."""
    if count == len(laminate.plies):
        return laminate, laminate
    low, high = laminate.split(len(laminate.plies) - count if side > 0 else count)
    return (high, low) if side > 0 else (low, high)
