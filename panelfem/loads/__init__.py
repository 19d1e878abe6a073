"""Loads: what hits a panel, as records, vectors and rigid shapes."""

from panelfem.loads.records import (
    AreaForce,
    Contact,
    Cure,
    DeflectionLimit,
    Flat,
    HalfRound,
    Inertia,
    Load,
    LoadCase,
    Misfit,
    Parameter,
    Pressure,
    Ramp,
    Shape,
    Step,
)

__all__ = [
    "AreaForce",
    "Contact",
    "Cure",
    "DeflectionLimit",
    "Flat",
    "HalfRound",
    "Inertia",
    "Load",
    "LoadCase",
    "Misfit",
    "Parameter",
    "Pressure",
    "Ramp",
    "Shape",
    "Step",
]
