"""Exact and converged solutions that owe nothing to the shell model; they are what it is held against.

Each module names its source and says what was derived here.  Nothing in this package imports
:mod:`panelfem.shell`.
"""

from panelfem.reference.elasticity import CrossPlyBlock, Orthotropic
from panelfem.reference.hole import OpenHole, concentration, kirsch
from panelfem.reference.kirchhoff import ThinPlate
from panelfem.reference.layered_beam import LayeredBeam
from panelfem.reference.navier import Navier, patch, pinched_cylinder, sinusoidal, uniform
from panelfem.reference.obstacle import DiscOnFlat, beam_on_cylinder, beam_on_flat, cantilever_on_cylinder
from panelfem.reference.ritz import CLAMPED, SUPPORTED, RitzShell, flat
from panelfem.reference.stiffness import isotropic, laminate

__all__ = [
    "CLAMPED",
    "SUPPORTED",
    "CrossPlyBlock",
    "DiscOnFlat",
    "LayeredBeam",
    "Navier",
    "OpenHole",
    "Orthotropic",
    "RitzShell",
    "ThinPlate",
    "beam_on_cylinder",
    "beam_on_flat",
    "cantilever_on_cylinder",
    "concentration",
    "flat",
    "isotropic",
    "kirsch",
    "laminate",
    "patch",
    "pinched_cylinder",
    "sinusoidal",
    "uniform",
]
