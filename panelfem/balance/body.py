"""Bodies with mass and moment, the car, and its ballast stations.

Axes of the car: x rearward from any datum, y to the right, z up from the reference plane; m and kg.  A front share is
the share of the mass on the front axle; a side is the y of the centre of gravity, positive to the right.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError


@dataclass(frozen=True)
class Body:
    """`mass` kg and first `moment` (3,) kg·m about the origin.  What was cut out has a negative mass.

    A body without mass may have a moment: something was moved.
    """

    mass: float
    moment: FloatArray

    @property
    def place(self) -> FloatArray | None:
        """Centre of mass, (3,) m; None without mass."""
        return None if self.mass == 0.0 else np.asarray(self.moment / self.mass)


def placed(mass: float, place: FloatArray) -> Body:
    """A body of `mass` kg with its centre of mass at `place` (3,) m.

    >>> together([placed(1.0, np.array([0.0, 0, 0])), placed(3.0, np.array([2.0, 0, 0]))]).place.tolist()
    [1.5, 0.0, 0.0]
    """
    return Body(mass, mass * np.asarray(place, float))


def together(bodies: Iterable[Body]) -> Body:
    """All of them as one."""
    listed = list(bodies)
    return Body(sum(b.mass for b in listed), np.sum([b.moment for b in listed], axis=0) if listed else np.zeros(3))


def changed(before: Body, after: Body) -> Body:
    """What makes `after` of `before`: what a repair added, and where.

    >>> changed(placed(1.2, np.array([0.3, 0, 0])), placed(1.25, np.array([0.308, 0, 0]))).place.round(6).tolist()
    [0.5, 0.0, 0.0]
    """
    return Body(after.mass - before.mass, np.asarray(after.moment - before.moment))


@dataclass(frozen=True)
class Station:
    """A place for ballast: `place` (3,) m, the `mass` there now, and the `least` and `most` it may hold, kg.

    Raises InputError if what is there now is outside its limits, or a number is not finite.
    """

    name: str
    place: FloatArray
    mass: float
    least: float
    most: float

    def __post_init__(self) -> None:
        where, numbers = f"station {self.name!r}", (self.mass, self.least, self.most, *self.place)
        if not all(math.isfinite(float(n)) for n in numbers) or np.shape(self.place) != (3,):
            raise InputError("a place or a mass is not a number", where=where, allowed="x, y, z in m and masses in kg")
        if not 0.0 <= self.least <= self.mass <= self.most:
            raise InputError(
                f"the ballast there now, {self.mass:g} kg, is outside its limits",
                where=where,
                allowed=f"least {self.least:g} kg to most {self.most:g} kg, none below 0",
                do="check what is fitted and the limits",
            )


@dataclass(frozen=True)
class Car:
    """The car as it is to be again: `mass` kg, `front_share` of it (0 to 1) on the axle at x = `front_axle` m, the rest
    on that at `rear_axle` m, and its `side`.

    Raises InputError for a mass or a share that no car has, or a rear axle that is not behind the front one.
    """

    mass: float
    front_axle: float
    rear_axle: float
    front_share: float
    side: float = 0.0

    def __post_init__(self) -> None:
        numbers = (self.mass, self.front_axle, self.rear_axle, self.front_share, self.side)
        sound = all(map(math.isfinite, numbers)) and self.mass > 0 and 0 < self.front_share < 1
        if not sound or self.rear_axle <= self.front_axle:
            raise InputError(
                "the car has no such mass, share or axles",
                where="car",
                allowed="mass above 0, front share between 0 and 100 %, rear axle behind the front one (x rearward)",
                do="check the car file",
            )

    @property
    def wheelbase(self) -> float:
        """Distance of the axles, m."""
        return self.rear_axle - self.front_axle

    @property
    def centre(self) -> FloatArray:
        """x and y of the centre of gravity, (2,) m.

        By levers: the axles carry the car in the ratio of its distances from them.
        """
        return np.array([self.front_axle + (1.0 - self.front_share) * self.wheelbase, self.side])

    def with_added(self, body: Body) -> Car:
        """The car with something added to it.

        >>> Car(600.0, 0.0, 3.0, 0.5).with_added(placed(6.0, np.array([0.0, 0, 0]))).front_share.__round__(6)
        0.50495
        """
        mass = self.mass + body.mass
        x, y = (self.mass * self.centre + body.moment[:2]) / mass
        return Car(mass, self.front_axle, self.rear_axle, float((self.rear_axle - x) / self.wheelbase), float(y))
