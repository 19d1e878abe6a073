"""Curved laminated shell elements of order 2 to 6: stiffness, loads, solution, strains."""

from panelfem.shell.recovery import Recovery
from panelfem.shell.shell import Shell
from panelfem.shell.system import Supports, System

DEFAULT_ORDER = 2
"""Order on unstructured panel meshes."""

__all__ = ["DEFAULT_ORDER", "Recovery", "Shell", "Supports", "System"]
