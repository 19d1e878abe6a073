"""Joints: adhesive shear and peel of bonded overlaps, scarfs and steps; a fastener in a laminate."""

from panelfem.joint.advice import overlap_advice, scarf_advice, shear_decay, step_advice
from panelfem.joint.closed_form import (
    LapStress,
    goland_reissner,
    hart_smith_balanced,
    hart_smith_double,
    volkersen,
)
from panelfem.joint.edge import gap_edge, pair_edge, patch_edge
from panelfem.joint.overlap import Bond, OverlapStress, Strip, solve
from panelfem.joint.plastic import Ductile, PlasticStress, greatest_load, solve_plastic
from panelfem.joint.tapered import TaperStress, scarf, stepped, taper_peaks, tapered

__all__ = [
    "Bond",
    "Ductile",
    "LapStress",
    "OverlapStress",
    "PlasticStress",
    "Strip",
    "TaperStress",
    "gap_edge",
    "goland_reissner",
    "greatest_load",
    "hart_smith_balanced",
    "hart_smith_double",
    "overlap_advice",
    "pair_edge",
    "patch_edge",
    "scarf",
    "scarf_advice",
    "shear_decay",
    "solve",
    "solve_plastic",
    "step_advice",
    "stepped",
    "taper_peaks",
    "tapered",
    "volkersen",
]
