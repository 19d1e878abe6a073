"""How far off the mesh makes a number, and meshes on which that is little."""

from panelfem.accuracy.bars import Measured, measured

__all__ = ["Measured", "measured"]
