"""Envelopes: where a criterion is first reached, round all directions of two stresses or of two resultants."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.criterion import Criterion
from panelfem.laminate import Laminate
from panelfem.material import PlyMaterial

#: Directions looked at; the four half-axes are among them.
COUNT = 360


def _directions(count: int) -> FloatArray:
    """(count, 2) unit vectors round, from the first axis on; exact on the axes."""
    turn = 2.0 * np.pi * np.arange(count) / count
    vectors = np.stack([np.cos(turn), np.sin(turn)], 1)
    vectors[np.abs(vectors) < 1e-12] = 0.0
    return vectors


def of_ply(criterion: Criterion, ply: PlyMaterial, axes: tuple[int, int] = (0, 1), count: int = COUNT) -> FloatArray:
    """Stresses (count, 2), Pa, of a ply at which the criterion is first reached, all modes together; `axes`: which two
    of [s11, s22, s12]; the third is 0.  inf where it never is.

    >>> from panelfem.failure import CRITERIA
    >>> from panelfem.material import library
    >>> (of_ply(CRITERIA["Hashin"], library()["T300-5208"], count=4) / 1e6).round(6) + 0.0
    array([[ 1500.,     0.],
           [    0.,    40.],
           [-1500.,     0.],
           [    0.,  -246.]])
    """
    sizes = np.array([max(ply.Xt, ply.Xc), max(ply.Yt, ply.Yc), ply.S])[list(axes)]
    stress = np.zeros((count, 3))
    stress[:, list(axes)] = _directions(count) * sizes
    factors = criterion.reserve(stress, np.zeros(3), ply).min(1)
    return _reached(stress[:, list(axes)], factors)


def judged(criterion: Criterion, laminate: Laminate) -> list[tuple[int, PlyMaterial]]:
    """The plies, counted from 0, the criterion may judge and has the data for."""
    return [
        (i, ply.material)
        for i, ply in enumerate(laminate.plies)
        if isinstance(ply.material, PlyMaterial)
        and ply.material.kind in criterion.applies_to
        and all(getattr(ply.material, need) is not None for need in criterion.needs)
    ]


def families(laminate: Laminate) -> dict[str, tuple[Criterion, ...]]:
    """Sets of criteria that judge every fibre ply of a laminate once, by name: the deciding ones first.  A criterion of
    one kind of ply stands with its like for the other kind, or the deciding one.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> list(families(Laminate(parse_stack("[0/45]", library(), "carbon-twill"))))
    ['maximum stress by direction', 'maximum strain by direction', 'Tsai-Wu']
    """
    kinds = sorted({ply.material.kind for ply in laminate.plies if isinstance(ply.material, PlyMaterial)})
    count = sum(isinstance(ply.material, PlyMaterial) for ply in laminate.plies)
    first = tuple(CRITERIA[deciding(kind)] for kind in kinds)
    sets = [first]
    for name, criterion in CRITERIA.items():
        own = [kind for kind in kinds if kind in criterion.applies_to]
        others = [kind for kind in kinds if kind not in criterion.applies_to]
        if own and not name.endswith(" by direction"):
            like = CRITERIA.get(f"{name} by direction")
            sets.append((criterion, *(like or CRITERIA[deciding(kind)] for kind in others)))
        elif own == kinds:
            sets.append((criterion,))
    found: dict[str, tuple[Criterion, ...]] = {}
    for one in sets:
        if one and sum(len(judged(criterion, laminate)) for criterion in one) == count:
            found.setdefault(" and ".join(criterion.name for criterion in one), one)
    return found


def first_factors(
    criteria: Sequence[Criterion], laminate: Laminate, loads: FloatArray, change: float = 0.0
) -> FloatArray:
    """Least factor (n,) on resultants `loads` (n, 6), N/m and N, at which a ply reaches one of the criteria, with a
    temperature `change` K held.  nan where the change alone reaches it, inf where nothing does or no ply can be judged.
    """
    applied = laminate.ply_stresses(laminate.strain_under(loads))
    held = laminate.ply_stresses(laminate.strain_under(laminate.thermal_resultants(change)), change)
    out = np.full(len(applied), np.inf)
    for criterion in criteria:
        for i, material in judged(criterion, laminate):
            out = np.minimum(out, criterion.reserve(applied[:, i], held[i], material).min((1, 2)))
    return out


def of_laminate(
    criteria: Sequence[Criterion],
    laminate: Laminate,
    axes: tuple[int, int] = (0, 1),
    change: float = 0.0,
    count: int = COUNT,
) -> FloatArray:
    """Resultants (count, 2), N/m or N, at which the first ply reaches one of the criteria; `axes`: which two of
    [Nx, Ny, Nxy, Mx, My, Mxy]; the others are 0.  nan and inf as for :func:`first_factors`.
    """
    loads = np.zeros((count, 6))
    loads[:, list(axes)] = _directions(count)
    return _reached(loads[:, list(axes)], first_factors(criteria, laminate, loads, change))


def _reached(direction: FloatArray, factors: FloatArray) -> FloatArray:
    """Directions times factors, 0 staying 0 where the factor is inf."""
    with np.errstate(invalid="ignore"):
        points = np.where(direction == 0.0, 0.0 * np.isnan(factors)[:, None], direction * factors[:, None])
    points[np.isnan(factors)] = np.nan
    return np.asarray(points)
