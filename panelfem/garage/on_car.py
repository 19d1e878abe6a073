"""A car file as the records of mass and balance, and where a panel's places are on the car.  SI."""

from __future__ import annotations

import numpy as np

from panelfem import balance
from panelfem.arrays import FloatArray
from panelfem.garage.schema_car import Car, Carried


def balance_car(file: Car) -> balance.Car:
    """The car as it races."""
    head = file.car
    return balance.Car(
        head.mass_kg,
        1e-3 * head.front_axle_mm,
        1e-3 * head.rear_axle_mm,
        1e-2 * head.front_share_percent,
        1e-3 * head.side_mm,
    )


def stations(file: Car) -> tuple[balance.Station, ...]:
    """Its places for ballast."""
    return tuple(
        balance.Station(s.name, 1e-3 * np.array(s.place_mm), s.mass_kg, s.least_kg, s.most_kg) for s in file.station
    )


def carried(file: Car, panel: str) -> Carried | None:
    """How the car carries a panel; None if it does not."""
    return next((c for c in file.carries if c.panel == panel), None)


def on_car(position: Carried, points: FloatArray) -> FloatArray:
    """Points (..., 3) m of the panel's frame in the axes of the car.

    >>> lid = Carried(panel="lid", origin_mm=[1000.0, 0.0, 50.0], x_axis=[-2.0, 0.0, 0.0])
    >>> on_car(lid, np.array([0.3, 0.01, 0.002])).round(6).tolist()
    [0.7, 0.01, 0.048]
    """
    x, y = (np.array(axis) / np.linalg.norm(axis) for axis in (position.x_axis, position.y_axis))
    y = y - (x @ y) * x
    y /= np.linalg.norm(y)
    return np.asarray(1e-3 * np.array(position.origin_mm) + points @ np.array([x, y, np.cross(x, y)]))
