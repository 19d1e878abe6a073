"""Laminates: stacking notation, stiffness, ply strains and stresses, shear through the thickness."""

from panelfem.laminate.constants import EngineeringConstants, engineering_constants
from panelfem.laminate.describe import describe
from panelfem.laminate.laminate import Laminate
from panelfem.laminate.notation import parse_stack
from panelfem.laminate.ply import Ply

__all__ = ["EngineeringConstants", "Laminate", "Ply", "describe", "engineering_constants", "parse_stack"]
