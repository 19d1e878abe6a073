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
from panelfem.loads.words import held_words, load_words

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
    "held_words",
    "load_words",
]
