"""Means over areas of what is recovered at nodes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import csr_matrix

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh
from panelfem.reserve.observe import lattice_means, lattice_points
from panelfem.reserve.sampling import NodePoints, node_weights
from panelfem.shell import Recovery


def area_means(
    mesh: PanelMesh, recovery: Recovery, laminate_of: IntArray, areas: Sequence[BoolArray]
) -> csr_matrix | None:
    """Rows (na, np): means over `areas`, masks (ne,) of elements that are there, from values at the recovery points;
    None without areas.

    `laminate_of` (ne,) are the recovery groups.  Inside an element values are those of its polynomials, on a mesh
    of order up to 6 integrated exactly; components are averaged as they are, each in the frame of its own point.
    """
    if not areas:
        return None
    weights = lattice_means() @ node_weights(recovery.shell.mesh.order, lattice_points())
    finder = NodePoints(recovery)
    rows: list[IntArray] = []
    columns: list[IntArray] = []
    values: list[FloatArray] = []
    for i, area in enumerate(areas):
        at = np.flatnonzero(area)
        share = mesh.areas[at] / mesh.areas[at].sum()
        column = finder.find(recovery.shell.mesh.boundary[at], laminate_of[at][:, None])
        rows.append(np.full(column.size, i))
        columns.append(column.ravel())
        values.append(np.outer(share, weights).ravel())
    entries = np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))
    return csr_matrix(entries, shape=(len(areas), len(recovery.node)))
