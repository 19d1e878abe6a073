"""How near the road a place on the car is, and how the car resists being lifted there.  mm and N/mm, as in the files.

Each number is a :class:`Spread`: a value between a lowest and a highest, the ends of sums of bands taken together.
"""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.case.fields import Basis, Quantity
from panelfem.garage.schema_car import CarHead


@dataclass(frozen=True)
class Spread:
    """A value with the lowest and the highest it may be, and what it is worth."""

    value: float
    low: float
    high: float
    basis: Basis

    @classmethod
    def of(cls, given: Quantity) -> Spread:
        """The spread of a number of a file; without a band, none.

        >>> Spread.of(Quantity(value=3.0, band=[2.0, 5.0]))
        Spread(value=3.0, low=2.0, high=5.0, basis='stated')
        """
        low, high = given.band or (given.value, given.value)
        return cls(given.value, low, high, given.basis)


#: From best to worst; a result is worth no more than the worst it is made from.
_RANK: tuple[Basis, ...] = ("measured", "mean", "B-basis", "typical", "stated", "assumed")


def worst(*bases: Basis) -> Basis:
    """What a result from such inputs is worth."""
    return max(bases, key=_RANK.index)


def combined(terms: list[tuple[float, Spread]], constant: float = 0.0) -> Spread:
    """A weighted sum, its ends where all terms are at theirs.

    >>> combined([(1.0, Spread(50, 45, 60, "measured")), (-1.0, Spread(30, 28, 31, "assumed"))], 2.0)
    Spread(value=22.0, low=16.0, high=34.0, basis='assumed')
    """
    ends = [(w * s.low, w * s.high) for w, s in terms]
    return Spread(
        constant + sum(w * s.value for w, s in terms),
        constant + sum(min(e) for e in ends),
        constant + sum(max(e) for e in ends),
        worst(*(s.basis for _, s in terms)),
    )


def rear_share(car: CarHead, behind: float) -> float:
    """The share of a vertical force `behind` mm behind the front axle that the rear axle takes; beyond the axles it is
    below 0 or above 1.

    Lever statics: moments about the front axle.

    >>> from panelfem.garage.schema_car import CarHead
    >>> car = CarHead.model_validate(dict(rear_axle_mm=3000.0, ride_height_front_mm=30, ride_height_rear_mm=60,
    ...     stiffness_front_N_per_mm=200, stiffness_rear_N_per_mm=200, travel_front_mm=25.0, travel_rear_mm=40.0,
    ...     mass_kg=700.0, front_share_percent=46.0))
    >>> rear_share(car, 750.0), rear_share(car, 3300.0)
    (0.25, 1.1)
    """
    return behind / (car.rear_axle_mm - car.front_axle_mm)


def clearance(car: CarHead, behind: float, height: float) -> Spread:
    """Height over the road (mm) of a place `behind` mm behind the front axle and `height` mm above the reference plane,
    which is straight between the ride heights at the axles and beyond them.
    """
    rear = rear_share(car, behind)
    front_height, rear_height = Spread.of(car.ride_height_front_mm), Spread.of(car.ride_height_rear_mm)
    return combined([(1.0 - rear, front_height), (rear, rear_height)], height)


def stiffness(car: CarHead, behind: float) -> Spread:
    """Vertical stiffness (N/mm) of the car where a force lifts it: 1 / (a²/kf + b²/kr).

    The force splits into a F and b F by the lever (a + b = 1), the axles lift by a F/kf and b F/kr, and the place
    between them by a and b of these.  The car is rigid, and its roll is left out: a force off its middle meets less.
    """
    b = rear_share(car, behind)

    def at(front: float, rear: float) -> float:
        return 1.0 / ((1.0 - b) ** 2 / front + b**2 / rear)

    f, r = Spread.of(car.stiffness_front_N_per_mm), Spread.of(car.stiffness_rear_N_per_mm)
    return Spread(at(f.value, r.value), at(f.low, r.low), at(f.high, r.high), worst(f.basis, r.basis))
