"""The ballast move for a repair: from the panel's mass and centre of mass to the stations of the car."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from panelfem.assess.records import Configuration
from panelfem.balance import Ballast, Body, changed, placed, restore
from panelfem.case.read import read_as
from panelfem.errors import InputError
from panelfem.garage.on_car import balance_car, carried, on_car, stations
from panelfem.garage.schema_car import Car


def read_car(path: Path) -> Car:
    """A car file by itself.  Raises CaseError listing its faults."""
    return read_as(path, Car)


def added(mass: float, place: tuple[float, float, float], car: Car, panel: str | None = None) -> Body:
    """A body of `mass` kg at `place` (m), in the axes of the car, or in the frame of a `panel` it carries.

    Raises InputError for a panel the car does not carry.
    """
    if panel is None:
        return placed(mass, np.array(place))
    position = carried(car, panel)
    if position is None:
        names = ", ".join(repr(c.panel) for c in car.carries)
        raise InputError("the car does not carry this panel", where=repr(panel), allowed=names, do="name one of these")
    return placed(mass, on_car(position, np.array(place)))


def rebalanced(car: Car, panel: str, before: Configuration, after: Configuration) -> Ballast | None:
    """The ballast move that restores the car when the panel goes from one configuration to another (undamaged to
    repaired: the car was set up with the panel whole).  None if the car does not carry the panel, has no station, or a
    centre of mass is not known.
    """
    position = carried(car, panel)
    if position is None or not car.station or before.centre_of_mass is None or after.centre_of_mass is None:
        return None
    bodies = (
        placed(c.mass, on_car(position, c.centre_of_mass)) for c in (before, after) if c.centre_of_mass is not None
    )
    return restore(balance_car(car), stations(car), changed(*bodies))
