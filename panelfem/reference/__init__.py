"""Exact and converged solutions that owe nothing to the shell model; they are what it is held against.

Each module names its source and says what was derived here.  Nothing in this package imports
:mod:`panelfem.shell`.
"""

from panelfem.reference.cylinder_buckling import classical_stress, cylinder_modes, donnell_load
from panelfem.reference.eigen_plate import EigenPlate
from panelfem.reference.elasticity import CrossPlyBlock, Orthotropic
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.reference.hole import OpenHole, concentration, kirsch
from panelfem.reference.kirchhoff import ThinPlate
from panelfem.reference.layered_beam import LayeredBeam
from panelfem.reference.navier import Navier, patch, pinched_cylinder, sinusoidal, uniform
from panelfem.reference.navier_modes import buckling_factors, frequencies
from panelfem.reference.obstacle import DiscOnFlat, beam_on_cylinder, beam_on_flat, cantilever_on_cylinder
from panelfem.reference.ritz import CLAMPED, SUPPORTED, RitzShell, flat
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.reference.strip_buckling import ClampedStrip
from panelfem.reference.vibrating_beam import cantilever, membrane, supported_beam

__all__ = [
    "CLAMPED",
    "SUPPORTED",
    "ClampedEllipseModes",
    "ClampedStrip",
    "CrossPlyBlock",
    "DiscOnFlat",
    "EigenPlate",
    "LayeredBeam",
    "Navier",
    "OpenHole",
    "Orthotropic",
    "RitzShell",
    "ThinPlate",
    "beam_on_cylinder",
    "beam_on_flat",
    "buckling_factors",
    "cantilever",
    "cantilever_on_cylinder",
    "classical_stress",
    "concentration",
    "cylinder_modes",
    "donnell_load",
    "flat",
    "frequencies",
    "isotropic",
    "kirsch",
    "laminate",
    "membrane",
    "patch",
    "pinched_cylinder",
    "sinusoidal",
    "supported_beam",
    "uniform",
]
