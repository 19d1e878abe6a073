"""A patch half of which does not hold."""

from __future__ import annotations

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.panel import Panel

#: Nearer to the middle of the panel than this share of its size, a patch has no side towards it.
_NEAR = 1e-3


def loose_half(panel: Panel, region: str) -> BoolArray:
    """The elements (ne,) of a mesh region on the side of its middle that faces the middle of the panel.

    So the half that comes off mirrors with the panel; of a region in its very middle it is the one towards the 0° axis.
    It is cut along the borders of elements.
    """
    mesh, inside = panel.mesh, panel.mesh.inside[region]
    middle = mesh.areas @ mesh.centroids / mesh.areas.sum()
    own = mesh.areas[inside] @ mesh.centroids[inside] / mesh.areas[inside].sum()
    way = middle - own
    if np.linalg.norm(way) < _NEAR * np.sqrt(mesh.areas.sum()):
        way = panel.axis
    return np.asarray(inside & ((mesh.centroids - own) @ way > 0.0))
