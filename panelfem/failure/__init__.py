"""Failure criteria of plies, each in a file of its own, and the modes of sandwiches.

`CRITERIA` holds them all by name; adding one is adding its file and its line here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from panelfem.errors import InputError
from panelfem.failure.criterion import Criterion, Mode
from panelfem.failure.hashin import HASHIN
from panelfem.failure.hoffman import HOFFMAN
from panelfem.failure.maximum_strain import MAXIMUM_STRAIN, MAXIMUM_STRAIN_BY_DIRECTION
from panelfem.failure.maximum_stress import MAXIMUM_STRESS, MAXIMUM_STRESS_BY_DIRECTION
from panelfem.failure.puck import PUCK
from panelfem.failure.tsai_hill import TSAI_HILL
from panelfem.failure.tsai_wu import TSAI_WU

CRITERIA: Mapping[str, Criterion] = MappingProxyType(
    {
        criterion.name: criterion
        for criterion in (
            HASHIN,
            MAXIMUM_STRESS,
            MAXIMUM_STRESS_BY_DIRECTION,
            MAXIMUM_STRAIN,
            MAXIMUM_STRAIN_BY_DIRECTION,
            TSAI_HILL,
            TSAI_WU,
            HOFFMAN,
            PUCK,
        )
    }
)

_DECIDING = {"unidirectional": HASHIN.name, "fabric": MAXIMUM_STRESS_BY_DIRECTION.name}


def deciding(kind: str) -> str:
    """Name of the criterion that decides for a kind of ply, unless a case says otherwise.

    >>> deciding("unidirectional"), deciding("fabric")
    ('Hashin', 'maximum stress by direction')
    """
    if kind not in _DECIDING:
        raise InputError(f"ply kind {kind!r} is unknown", allowed=", ".join(_DECIDING))
    return _DECIDING[kind]


__all__ = ["CRITERIA", "Criterion", "Mode", "deciding"]
