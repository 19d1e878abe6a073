"""A mesh made again with other element sizes: tags and regions carried over, vertices back on the true surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import MeshError
from panelfem.mesh.conform import MOST_ELEMENTS, SMALLEST_SHARE, finished, pinned_corners, remesh_layout, settled
from panelfem.mesh.layout import Layout
from panelfem.mesh.panelmesh import PanelMesh
from panelfem.mesh.region import Cornered
from panelfem.mesh.remesh import shape_sizes

GROWTH = 0.8
"""Growth of the size from one edge to the next (choice: singular places need little, and elements of order 2 and more
stand it)."""


#: A vertex on a region's border this near to one of its corners, as a share of the edges there, is that corner.
AT_CORNER = 0.05


def adapt(mesh: PanelMesh, sizes: FloatArray, kept: IntArray | None = None) -> PanelMesh:
    """The panel meshed again with edge lengths `sizes` (nv,) m at the vertices of `mesh`; vertices `kept` (k,) stay.

    Sizes are cut where the surface, its rim or a small region could not be followed.  Borders of regions and tags stay
    lines of edges.  Raises MeshError if the mesh would be huge or a region would lose its elements.

    >>> from panelfem.mesh import FlatLift, Outline, Ring, mesh_outline
    >>> square = Outline(Ring.polygon([(0, 0), (0.2, 0), (0.2, 0.2), (0, 0.2)]))
    >>> coarse = mesh_outline(square, FlatLift(), 0.1)
    >>> fine = adapt(coarse, np.full(len(coarse.vertices), 0.02))
    >>> len(fine.triangles) > 8 * len(coarse.triangles), round(float(fine.areas.sum()), 9)
    (True, 0.04)
    """
    layout = mesh.layout()
    pinned = pinned_corners(layout.vertices, layout.surface, layout.diagonal) | _region_corners(layout)
    if kept is not None:
        pinned[kept] = True
    layout = replace(layout, pinned=pinned)
    smallest = SMALLEST_SHARE * layout.diagonal
    limit = shape_sizes(layout.vertices, smallest, layout.surface, layout.regions)
    wanted = np.clip(np.minimum(sizes, limit), smallest, 0.5 * layout.diagonal)
    expected = expected_elements(mesh, wanted)
    if expected > MOST_ELEMENTS:
        raise MeshError(
            f"the mesh would have about {expected:.0f} elements", allowed=f"up to {MOST_ELEMENTS}",
            do="ask for less accuracy",
        )  # fmt: skip
    return finished(settled(remesh_layout(layout, wanted, GROWTH)), _kept_notes(mesh))


def _region_corners(layout: Layout) -> BoolArray:
    """The vertices (nv,) at the corners of regions."""
    at_corner = np.zeros(len(layout.vertices), bool)
    for r, region in enumerate(layout.regions):
        on = np.flatnonzero(layout.vertex_on[:, r])
        if not isinstance(region, Cornered) or not len(on):
            continue
        points, axes = region.corners_and_axes()
        arm = layout.vertices[on][:, None] - points
        gap = np.linalg.norm(arm - np.einsum("vcx,cx->vc", arm, axes)[..., None] * axes, axis=2)
        nearest = on[gap.argmin(axis=0)]
        at_corner[nearest[gap.min(axis=0) < AT_CORNER * layout.sizes[nearest]]] = True
    return at_corner


def expected_elements(mesh: PanelMesh, sizes: FloatArray) -> float:
    """About how many elements of edge lengths `sizes` (nv,) m cover the mesh.

    >>> plain = PanelMesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    >>> round(expected_elements(plain, np.full(4, 0.1)))
    231
    """
    per_area = (sizes[mesh.triangles] ** -2.0).mean(axis=1)
    return float(4.0 / np.sqrt(3.0) * (per_area @ mesh.areas))


def _kept_notes(mesh: PanelMesh) -> tuple[str, ...]:
    """Notes about what was imported: those on the mesh itself are made anew."""
    return tuple(note for note in mesh.notes if not note.startswith(("mesh:", "region '")))
