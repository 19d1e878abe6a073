"""Loads, as records.  A load case holds some of them and scales one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class Pressure:
    """Pressure (Pa) on the skin, positive pushing against the normal (along −n); suction is negative.

    Uniform over `region` (None: the whole panel), or sampled: `points` (m, 3) m with `values` (m,) Pa, taken
    at the nearest samples by inverse distance.  `value` then multiplies the samples.
    """

    value: float
    region: str | None = None
    points: FloatArray | None = None
    values: FloatArray | None = None


@dataclass(frozen=True)
class Inertia:
    """Force per mass (3,) in m/s² on the panel and on all that hangs on it; 1 g at rest is (0, 0, −9.80665)."""

    field: FloatArray


@dataclass(frozen=True)
class AreaForce:
    """A force (3,) N spread evenly over a mesh region: a hand, a knee, a tyre, or a ram through its pad.

    `limit` m: the deflection along the force that the mean of the region may not exceed (a load test), or
    None.
    """

    region: str
    force: FloatArray
    limit: float | None = None
    kind: Literal["patch", "ram", "handling"] = "patch"


@dataclass(frozen=True)
class Cure:
    """Residual stress: service minus stress-free temperature (K), and moisture uptake (share of mass).

    The panel was cured free and fitted afterwards, so its fixings feel only `since_fitting`: service minus fitting
    temperature (K).  The rest is locked into the plies, each laminate in balance with itself.
    """

    temperature_change: float
    moisture: float = 0.0
    since_fitting: float = 0.0


@dataclass(frozen=True)
class Misfit:
    """A fixing pulls the skin by `gap` m along the normal as it closes (preload)."""

    fastener: str
    gap: float


@dataclass(frozen=True)
class Flat:
    """A flat rigid face."""


@dataclass(frozen=True)
class HalfRound:
    """A rigid half-round, its axis across the line of travel; `radius` m."""

    radius: float


@dataclass(frozen=True)
class Step:
    """A rigid step: flat top beyond the edge, nothing before it; `edge_radius` m rounds the edge."""

    edge_radius: float


@dataclass(frozen=True)
class Ramp:
    """A rigid ramp rising at `angle` rad along the line of travel to a flat top at the reference place."""

    angle: float


Shape = Flat | HalfRound | Step | Ramp


@dataclass(frozen=True)
class Contact:
    """A rigid shape is pushed into the panel along `direction` (3,), unit.

    `place` (3,) m: the reference place of the shape (the crest of a half-round, the edge of a step, the top
    of a ramp);
    `travel` (3,): the line of travel, across which the shape does not change.  `amount` is the interference
    in m (advance after the first touch of the unloaded panel, less `gap` m) or the force in N along
    `direction`.
    `car_stiffness` N/m in series: the car lifts as it is pushed (None: the car does not move).
    """

    shape: Shape
    place: FloatArray
    direction: FloatArray
    travel: FloatArray
    control: Literal["interference", "force"]
    amount: float
    gap: float = 0.0
    car_stiffness: float | None = None

    @property
    def geometry(self) -> tuple[object, ...]:
        """What the shape is and where it pushes, to be compared: all but the car."""
        arrays = tuple(a.tobytes() for a in (self.place, self.direction, self.travel))
        return (self.shape, *arrays, self.control, self.amount, self.gap)


Load = Pressure | Inertia | AreaForce | Cure | Misfit | Contact
Parameter = Literal["force", "pressure", "acceleration", "interference"]


@dataclass(frozen=True)
class DeflectionLimit:
    """The panel may not move more than `limit` m along `direction` (3,) (None: in any direction) inside `region`."""

    name: str
    limit: float
    region: str | None = None
    direction: FloatArray | None = None


@dataclass(frozen=True)
class LoadCase:
    """A set of loads: `held` ones stay, the `scaled` one grows; its amount is the severity expected.

    `obstacles`: contacts that stay where they are while the scaled part grows (the road at a gap under a
    compression).
    `dynamic` multiplies the scaled part; (low, high) is the band it is swept over.
    `severity_band`: relative (low, high) of the expected severity, e.g. (0.8, 1.3).
    """

    name: str
    kind: str
    parameter: Parameter
    scaled: Load
    held: tuple[Load, ...] = ()
    obstacles: tuple[Contact, ...] = ()
    limits: tuple[DeflectionLimit, ...] = ()
    dynamic: float = 1.0
    dynamic_band: tuple[float, float] | None = None
    severity_band: tuple[float, float] | None = None

    @property
    def expected(self) -> float:
        """The expected severity in SI: N, Pa, m/s² or m."""
        match self.scaled:
            case Pressure(value=value):
                return value
            case Inertia(field=vector) | AreaForce(force=vector):
                return float((vector @ vector) ** 0.5)
            case Contact(amount=amount):
                return amount
            case _:
                return 0.0
