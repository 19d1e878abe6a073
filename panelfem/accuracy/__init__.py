"""How far off the mesh makes a number, and meshes on which that is little."""

from panelfem.accuracy.bars import Measured, corrected, measured
from panelfem.accuracy.goal import Answer, Goal, Model, solve_to

__all__ = ["Answer", "Goal", "Measured", "Model", "corrected", "measured", "solve_to"]
