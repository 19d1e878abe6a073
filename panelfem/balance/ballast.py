"""The ballast move that restores mass and balance within the limits of the stations.

Statics: with masses d_i moved at the stations and a body added, the car is restored if

    mass            Σ d_i + m = 0
    front to rear   Σ d_i (x_i − x_c) + Σ m (x − x_c) = 0
    left to right   Σ d_i (y_i − y_c) + Σ m (y − y_c) = 0

about the centre of gravity (x_c, y_c) it is to have, so that the second and third restore front share and side also
where the first cannot be met.  Each is a linear programme: as near as may be to the first, then to the second without
giving the first up, then the third; of what is left the moves with the least Σ|d_i|, and of these the one nearest to
what was added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from panelfem.arrays import FloatArray
from panelfem.balance.body import Body, Car, Station, placed, together
from panelfem.errors import InputError, ModelError

#: What is restored, in this order.
AIMS = ("mass", "front to rear", "left to right")
#: A remainder below this is none: kg, and kg·m.
NOTHING = 1e-6
GRAM, MICRON = 1e-3, 1e-6


@dataclass(frozen=True)
class Move:
    """Ballast of a station before and after, kg."""

    station: str
    before: float
    after: float

    @property
    def change(self) -> float:
        """What is put in, negative for what is taken out, kg."""
        return self.after - self.before


@dataclass(frozen=True)
class Remainder:
    """What could not be restored: `aim` is one of `AIMS`, `amount` what is too much, in kg for the mass, in kg·m for
    the others (positive: too far to the rear, too far to the right).

    `limits`: the stations and limits without which it would be less; empty if no limit stops it, but the stations'
    places do: nothing moved between them does it and keeps what comes before.
    """

    aim: str
    amount: float
    limits: tuple[str, ...]


@dataclass(frozen=True)
class Ballast:
    """The move: `moves` of all stations in their order, the car `before` the move and `after` it, what could not be
    restored (`remainders`, empty if all was), and how much the centre of gravity is `raised` (m, by what was added and
    the move; None if the mass is not restored).
    """

    moves: tuple[Move, ...]
    before: Car
    after: Car
    remainders: tuple[Remainder, ...]
    raised: float | None

    @property
    def restored(self) -> bool:
        """Whether mass, front share and side are those of the car again."""
        return not self.remainders

    @property
    def moved(self) -> float:
        """Ballast taken out and put in, together, kg."""
        return sum(abs(move.change) for move in self.moves)


def restore(car: Car, stations: Sequence[Station], added: Body) -> Ballast:
    """The least move of ballast that restores the `car` after `added`; the nearest to it if none does.

    Raises InputError for a car without stations, or two of one name.

    >>> from panelfem.balance.body import placed
    >>> tray = [Station(n, np.array([x, 0, 0]), 5.0, 0.0, 9.0) for n, x in (("front", 0.0), ("rear", 3.0))]
    >>> found = restore(Car(700.0, 0.0, 3.0, 0.46), tray, placed(0.3, np.array([1.0, 0, 0])))
    >>> [round(move.change, 6) for move in found.moves], found.restored
    ([-0.2, -0.1], True)
    """
    names = [station.name for station in stations]
    if not names:
        raise InputError("the car has no ballast station", where="car", do="name at least one station in the car file")
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise InputError("two stations have one name", where=repr(twice), do="name them apart")
    # rows: the aims; columns: what each kg at a station does to them
    lever = np.stack([s.place for s in stations])[:, :2] - car.centre
    lever[np.abs(lever) < MICRON] = 0.0  # nobody measures it, and the solver stumbles over it
    effect = np.vstack([np.ones(len(names)), lever.T])
    wanted = -np.array([added.mass, *(added.moment[:2] - added.mass * car.centre)])
    limits = np.array([[s.least - s.mass, s.most - s.mass] for s in stations])
    near = added.place[:2] if added.place is not None else car.centre
    distance = np.array([float(np.hypot(*(s.place[:2] - near))) for s in stations])
    moves, stops = _solved(effect, wanted, limits, distance)
    left = effect @ moves - wanted
    remainders = tuple(
        Remainder(aim, float(left[k]), tuple(_limit(stations[i], upper) for i, upper in stops[k]))
        for k, aim in enumerate(AIMS)
        if abs(left[k]) > NOTHING
    )
    body = together([added, *(placed(float(d), s.place) for d, s in zip(moves, stations, strict=True))])
    return Ballast(
        tuple(Move(s.name, s.mass, s.mass + float(d)) for s, d in zip(stations, moves, strict=True)),
        car.with_added(added),
        car.with_added(body),
        remainders,
        float(body.moment[2]) / car.mass if abs(left[0]) <= NOTHING else None,
    )


def _limit(station: Station, upper: bool) -> str:
    return f"{station.name}: {'at most' if upper else 'at least'} {station.most if upper else station.least:g} kg"


def _solved(
    effect: FloatArray, wanted: FloatArray, limits: FloatArray, distance: FloatArray
) -> tuple[FloatArray, list[tuple[tuple[int, bool], ...]]]:
    """Masses moved (n,), and for each aim the limits (station, upper) that keep it from being met.

    Unknowns: what is put in and what is taken out at each station, what each aim is over and under by, and what is
    moved in all.  They are made least one after the other, and what was reached is not given up again.  In grams, so
    that the solver's own tolerance is far below what anybody can weigh.
    """
    wanted, limits = wanted / GRAM, limits / GRAM
    aims, n = effect.shape
    rows = np.zeros((aims + 1, 2 * (n + aims) + 1))
    rows[:aims, :-1] = np.hstack([effect, -effect, -np.eye(aims), np.eye(aims)])
    rows[aims, : 2 * n], rows[aims, -1] = 1.0, -1.0
    wanted = np.append(wanted, 0.0)
    highest = np.concatenate([limits[:, 1], -limits[:, 0], np.full(2 * aims + 1, np.inf)])
    stops = []
    for columns in (*([2 * n + k, 2 * n + aims + k] for k in range(aims)), [-1]):
        cost = np.zeros(len(highest))
        cost[columns] = 1.0
        x, price = _optimum(cost, rows, wanted, highest)
        highest[columns] = x[columns] + 0.01 * NOTHING / GRAM
        felt = np.flatnonzero(np.abs(price[: 2 * n]) > 1e-9)
        stops.append(tuple((int(i % n), bool(i < n)) for i in felt))
    x, _ = _optimum(np.concatenate([distance, distance, np.zeros(2 * aims + 1)]), rows, wanted, highest)
    return np.asarray(GRAM * (x[:n] - x[n : 2 * n])), stops[:aims]


def _optimum(
    cost: FloatArray, rows: FloatArray, wanted: FloatArray, highest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The best unknowns, between 0 and `highest`, and what each of `highest` costs."""
    # the solver now and then takes a hair for infeasible: then without preparation, then a tenth of a mg wider
    for presolve, wider in ((True, 0.0), (False, 0.0), (False, 1e-4)):
        bounds = [(0.0, float(high) + wider) for high in highest]
        found = linprog(cost, A_eq=rows, b_eq=wanted, bounds=bounds, method="highs", options={"presolve": presolve})
        if found.status == 0:
            return np.asarray(found.x, float), np.asarray(found.upper.marginals, float)
    raise ModelError(f"the ballast move was not found: {found.message}", where="ballast", do="check the stations")
