"""The overlap of :mod:`panelfem.joint.overlap` with an adhesive that yields in shear.

τ = clip(G/η · slip, ±τp), elastic and perfectly plastic; peel stays elastic; loading only ever grows.  Each short step
is elastic or plastic by the slip at its middle, and has an exact solution either way; which steps yield is found by
repeating until none changes.  Peaks of strain lie at the ends.

Source: the adhesive model of Hart-Smith 1973, NASA CR-112234 and CR-112235 (recalled), in which peel is elastic and
failure is the adhesive's greatest shear strain; the strips bend as in :mod:`panelfem.joint.overlap`.  Limits: no
thermal mismatch, no interaction of shear and peel in the yield, no rate or temperature.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import InputError, ModelError
from panelfem.joint.overlap import FORCES, MAX_STEPS, Bond, Far, Strip, far_rows, pieces, units

#: steps in the shortest decay length, and at least along an overlap
FINE, LEAST = 8, 160
#: rounds in which the yielded steps must settle
ROUNDS = 80


@dataclass(frozen=True)
class Ductile:
    """An adhesive layer that yields: `thickness` m, `yields` Pa in shear, `strain` the shear strain (rad) it breaks at,
    elastic part included.
    """

    thickness: float
    yields: float
    strain: float

    def __post_init__(self) -> None:
        for name in ("thickness", "yields", "strain"):
            if not 0 < getattr(self, name) < math.inf:
                raise InputError(f"{name} is {getattr(self, name)}", where="ductile adhesive", allowed="more than 0")


@dataclass(frozen=True)
class PlasticStress:
    """Distances `s` (g,) m into the overlap; `shear`, `peel` (g,) Pa; `strain` (g,) of the adhesive in shear."""

    s: FloatArray
    shear: FloatArray
    peel: FloatArray
    strain: FloatArray


@dataclass(frozen=True)
class _Grid:
    """Both kinds of step, scaled: `elastic` and `plastic` (12, 12), what a unit of yield stress adds `shift` (12,)."""

    h: float
    count: int
    elastic: FloatArray
    plastic: FloatArray
    shift: FloatArray
    slip: FloatArray
    gap: FloatArray
    unit: FloatArray


def _grid(first: Strip, second: Strip, bond: Bond, length: float) -> _Grid:
    if not (math.isfinite(length) and length > 0):
        raise InputError(f"overlap is {length} m", where="bonded overlap", allowed="more than 0")
    m, slip, gap, by_shear, by_peel = pieces(first, second)
    unit = units(first, second)
    plastic = (m + bond.peel * np.outer(by_peel, gap)) * (unit / unit[:, None])
    elastic = plastic + bond.shear * np.outer(by_shear, slip) * (unit / unit[:, None])
    fast = float(np.abs(np.linalg.eigvals(elastic).real).max())
    count = max(LEAST, math.ceil(FINE * fast * length))
    if count > MAX_STEPS:
        raise ModelError(
            f"an overlap of {length:.4g} m is {fast * length:.0f} decay lengths long",
            where="bonded overlap that yields",
            allowed=f"at most {MAX_STEPS / FINE:.0f}",
            do="give the overlap from the edge to the gap only",
        )
    h = length / count
    # exp of the matrix with the source as a thirteenth, constant unknown carries both
    whole = np.zeros((13, 13))
    whole[:12, :12], whole[:12, 12] = plastic * h, by_shear / unit * h
    both = expm(whole)
    return _Grid(h, count, expm(elastic * h), both[:12, :12], both[:12, 12], slip, gap, unit)


def solve_plastic(
    first: Strip,
    second: Strip,
    bond: Bond,
    adhesive: Ductile,
    length: float,
    start: FloatArray,
    far: Far = "joined",
) -> PlasticStress:
    """Adhesive stresses of an overlap 0 ≤ s ≤ `length` m under one load, `start` (6,) as for
    :func:`panelfem.joint.overlap.solve`.

    Raises ModelError where the yielded steps do not settle, which is where the overlap can carry no more.

    >>> pair = [Strip(1e8, 0.0, 1e3, math.inf, 0.0)] * 2
    >>> glue = Ductile(2e-4, 40e6, 0.2)
    >>> found = solve_plastic(*pair, Bond(5e12, 1e13), glue, 0.03, np.array([6e5, 0, 0, 0, 0, 0]), "cut 1")
    >>> round(float(found.shear.max()) / 1e6, 3)
    40.0
    """
    return _solved(_grid(first, second, bond, length), (first, second), bond, adhesive, start, far)


def _solved(
    grid: _Grid, strips: tuple[Strip, Strip], bond: Bond, adhesive: Ductile, start: FloatArray, far: Far
) -> PlasticStress:
    start = np.asarray(start, float).reshape(6)
    signs = np.zeros(grid.count, np.int64)
    limit = adhesive.yields / bond.shear
    for _ in range(ROUNDS):
        y = _joined(grid, strips, signs, adhesive.yields, start, far)
        slip = y @ grid.slip
        middle = (slip[:-1] + slip[1:]) / 2
        new = np.where(np.abs(middle) > limit, np.sign(middle), 0).astype(np.int64)
        if far != "joined" and new.all():
            break
        if np.array_equal(new, signs):
            shear = np.asarray(np.clip(bond.shear * slip, -adhesive.yields, adhesive.yields), np.float64)
            s = np.linspace(0.0, grid.h * grid.count, grid.count + 1)
            return PlasticStress(s, shear, bond.peel * (y @ grid.gap), slip / adhesive.thickness)
        signs = new
    raise ModelError(
        "the adhesive yields all along: no equilibrium was found",
        where="bonded overlap that yields",
        do="take a smaller load or a longer overlap",
    )


def _joined(
    grid: _Grid, strips: tuple[Strip, Strip], signs: IntArray, yields: float, start: FloatArray, far: Far
) -> FloatArray:
    """States (steps + 1, 12) with the steps of sign ±1 at yield."""
    n = grid.count
    near = np.zeros((6, 12))
    near[np.arange(6), FORCES] = 1.0
    carry = np.where((signs == 0)[:, None, None], grid.elastic, grid.plastic)
    step = 6 + 12 * np.arange(n)
    i, j = np.indices((12, 12))
    rows = (step[:, None, None] + i).ravel()
    cols = (12 * np.arange(n)[:, None, None] + j).ravel()
    eye = (step[:, None] + np.arange(12)).ravel()
    end = far_rows(strips[0], strips[1], grid.unit, far)
    r = np.concatenate([i[:6].ravel(), rows, eye, (i[:6] + 6 + 12 * n).ravel()])
    c = np.concatenate([j[:6].ravel(), cols, eye + 6, (j[:6] + 12 * n).ravel()])
    v = np.concatenate([near.ravel(), carry.ravel(), np.full(12 * n, -1.0), end.ravel()])
    keep = v != 0
    matrix = coo_matrix((v[keep], (r[keep], c[keep])), shape=(12 * (n + 1), 12 * (n + 1))).tocsc()
    right = np.zeros(12 * (n + 1))
    right[:6] = start / grid.unit[FORCES]
    right[6 : 6 + 12 * n] = -(signs[:, None] * yields * grid.shift).ravel()
    try:
        y = splu(matrix).solve(right)
    except RuntimeError as error:  # exactly singular: nothing elastic is left
        raise ModelError("the adhesive yields all along", where="bonded overlap that yields") from error
    return np.asarray(y.reshape(n + 1, 12) * grid.unit)


def greatest_load(
    first: Strip,
    second: Strip,
    bond: Bond,
    adhesive: Ductile,
    length: float,
    start: FloatArray,
    far: Far = "joined",
    *,
    accuracy: float = 1e-4,
) -> float:
    """Factor on `start` (6,) at which the adhesive's shear strain reaches what it breaks at, by bisection.

    An overlap that has yielded all along carries no more: its factor is the one at which that happens.
    """
    grid = _grid(first, second, bond, length)
    start = np.asarray(start, float).reshape(6)

    def holds(factor: float) -> bool:
        try:
            found = _solved(grid, (first, second), bond, adhesive, factor * start, far)
        except ModelError:
            return False
        return float(np.abs(found.strain).max()) <= adhesive.strain

    # the elastic solution is linear: its factor to the yield is a lower end, unless it breaks before it yields
    elastic = _solved(grid, (first, second), bond, Ductile(adhesive.thickness, 1e300, 1e300), start, far)
    peak = float(np.abs(elastic.strain).max())
    if not peak > 0:
        raise InputError("the load puts no shear on the bond", where="bonded overlap", allowed="a load across the edge")
    yield_strain = adhesive.yields / bond.shear / adhesive.thickness
    if adhesive.strain <= yield_strain:
        return adhesive.strain / peak
    low = 0.999 * yield_strain / peak
    high = 2 * low
    while holds(high):
        low, high = high, 2 * high
    while high - low > accuracy * high:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
