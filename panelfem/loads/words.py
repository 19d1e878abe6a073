"""Loads in words, for people: what stays and what grows."""

from __future__ import annotations

import numpy as np

from panelfem.loads.records import (
    AreaForce,
    Contact,
    Cure,
    Flat,
    HalfRound,
    Inertia,
    Load,
    LoadCase,
    Misfit,
    Pressure,
    Ramp,
    Shape,
)
from panelfem.units import number, show


def load_words(load: Load) -> str:
    """A load with its amount and unit.

    >>> load_words(Pressure(-2000.0)), load_words(Inertia(np.array([0.0, 0.0, -9.80665])))
    ('suction of 2 kPa on the whole panel', '1 g on the panel and all that hangs on it')
    >>> load_words(Cure(-80.0, 0.002)), load_words(Misfit("F3", 1.5e-3))
    ('cure stress: 80 K below stress-free, 0.2 % moisture', 'fixing F3 closes a gap of 1.5 mm')
    """
    match load:
        case Pressure(value=value, region=region, points=points):
            what = "suction" if value < 0 else "pressure"
            where = "as sampled" if points is not None else "on the whole panel" if region is None else "on an area"
            return f"{what} of {show(abs(value), 'kPa')} {where}"
        case Inertia(field=vector):
            return f"{show(float(np.linalg.norm(vector)), 'gee')} on the panel and all that hangs on it"
        case AreaForce(force=vector, kind=kind):
            through = "through a pad" if kind == "ram" else "by hand" if kind == "handling" else "on an area"
            return f"force of {show(float(np.linalg.norm(vector)), 'N')} {through}"
        case Cure(temperature_change=change, moisture=moisture):
            side = "below" if change < 0 else "above"
            wet = f", {number(100.0 * moisture)} % moisture" if moisture else ""
            return f"cure stress: {number(abs(change))} K {side} stress-free{wet}"
        case Misfit(fastener=name, gap=gap):
            return f"fixing {name} closes a gap of {show(gap, 'mm')}"
        case Contact(shape=shape, control=control, amount=amount, gap=gap):
            unit = "mm" if control == "interference" else "N"
            apart = f", {show(gap, 'mm')} away at first" if gap else ""
            return f"{_shape(shape)} pushed in, {show(amount, unit)}{apart}"


def _shape(shape: Shape) -> str:
    match shape:
        case Flat():
            return "flat face"
        case HalfRound(radius=radius):
            return f"half-round of {show(radius, 'mm')} radius"
        case Ramp(angle=angle):
            return f"ramp of {show(angle, 'deg')}"
        case _:
            return f"step with an edge of {show(shape.edge_radius, 'mm')} radius"


def held_words(load: LoadCase) -> tuple[str, ...]:
    """What stays as it is while the load grows: the held loads, and obstacles at their gap."""
    near = (f"{_shape(o.shape)} {show(o.gap, 'mm')} away, which stays" for o in load.obstacles)
    return (*(load_words(part) for part in load.held), *near)
