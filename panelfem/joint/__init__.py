"""Bonded overlaps: adhesive shear and peel at the edges of a patch."""

from panelfem.joint.closed_form import LapStress, goland_reissner, volkersen
from panelfem.joint.edge import gap_edge, patch_edge
from panelfem.joint.overlap import Bond, OverlapStress, Strip, solve

__all__ = [
    "Bond",
    "LapStress",
    "OverlapStress",
    "Strip",
    "gap_edge",
    "goland_reissner",
    "patch_edge",
    "solve",
    "volkersen",
]
