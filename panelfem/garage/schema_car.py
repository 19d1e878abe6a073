"""``cars/NAME.toml``: what the car does to a strike, and what it weighs.

Axes of the car: x rearward, y to the right, z up from the reference plane; x from any datum, stated by the axles.
"""

from __future__ import annotations

from typing import Any

from panelfem.case.fields import Quantity, Section, direction, flag, items, number, point, quantity, section, text

_RIG = "weigh the car on blocks: load against lift at the axle"


def _axle(what: str, low: float, high: float, measure: str) -> Any:
    return quantity(what, low, high, measure=measure)


class CarHead(Section):
    """Axles, springs, mass.  x runs rearward, y to the right, z up from the reference plane."""

    invented: bool = flag("True if the car is made up (a demonstration); reports then say so.", default=False)
    front_axle_mm: float = number("x of the front axle.", -10000.0, 10000.0, default=0.0)
    rear_axle_mm: float = number("x of the rear axle.", -10000.0, 10000.0)
    ride_height_front_mm: Quantity = _axle(
        "Height of the reference plane over the road at the front axle, car at rest as it races.",
        0.0,
        1000.0,
        "blocks under the reference plane",
    )
    ride_height_rear_mm: Quantity = _axle("The same at the rear axle.", 0.0, 1000.0, "blocks under the reference plane")
    stiffness_front_N_per_mm: Quantity = _axle(
        "Vertical stiffness of the whole front axle, tyres in series with springs.", 1.0, 1e5, _RIG
    )
    stiffness_rear_N_per_mm: Quantity = _axle("The same of the rear axle.", 1.0, 1e5, _RIG)
    travel_front_mm: float = number("How far the front axle can go down from rest to its stop.", 0.0, 500.0)
    travel_rear_mm: float = number("The same at the rear axle.", 0.0, 500.0)
    mass_kg: float = number("Mass of the car as it races.", 10.0, 60000.0)
    front_share_percent: float = number("Share of the mass on the front axle.", 1.0, 99.0)
    side_mm: float = number("y of the centre of gravity: to the right positive.", -2000.0, 2000.0, default=0.0)


class Station(Section):
    """A place for ballast."""

    name: str = text("What it is called.")
    place_mm: list[float] = point("Where it is, in the axes of the car.", lengths=(3,))
    mass_kg: float = number("Ballast there now.", 0.0, 1000.0)
    least_kg: float = number("Least ballast there.", 0.0, 1000.0, default=0.0)
    most_kg: float = number("Most ballast there.", 0.0, 1000.0)


class Carried(Section):
    """A panel the car carries, and where: the frame of the panel file in the axes of the car."""

    panel: str = text("Name of the panel file.")
    origin_mm: list[float] = point("Where the origin of the panel's frame is.", lengths=(3,))
    x_axis: list[float] = direction("Direction of the panel's x.", default=[1.0, 0.0, 0.0])
    y_axis: list[float] = direction("Direction of the panel's y, square to x.", default=[0.0, 1.0, 0.0])


class Car(Section):
    """A car file."""

    car: CarHead = section("Axles, springs, mass.")
    carries: list[Carried] = items("The panels it carries, and where.", default=..., min_length=1)
    station: list[Station] = items("Places for ballast.")
