"""Curved laminated shell elements of order 2 to 6: stiffness, loads, solution, strains."""

from panelfem.shell.recovery import Recovery
from panelfem.shell.shell import Shell
from panelfem.shell.system import Supports, System

DEFAULT_ORDER = 2
"""Order on unstructured panel meshes.

Measured on a doubly curved 0.6 × 0.4 m panel with six washers and a soft zone, sandwich and thin, against order 5
on a finer mesh.  Washers and zones force some 1300 triangles whatever the size asked for; there order 2 gives
deflections to 0.2 %, strains in the field to 1 to 4 % and at the soft zone's border 1 to 15 % low, in 0.5 s; order 3
gives 0.04 %, 1 % and up to 6 % in 1.6 s; order 4 little better in 4 s.  At equal time order 3 on that mesh beats
order 2 on a finer one at zone borders.
"""

__all__ = ["DEFAULT_ORDER", "Recovery", "Shell", "Supports", "System"]
