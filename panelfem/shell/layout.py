"""Which unknown is which, and where it goes in the matrix.  Made once a mesh and shared by all shells on it.

All unknowns in one vector: ux uy uz θx θy θz of boundary node 0, 1, …, then for each element its inner displacements
(component by component) and its inner rotations.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from panelfem.arrays import FloatArray, IntArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.shell.ordering import nested_dissection
from panelfem.shell.strain import StrainTables, strain_tables


@dataclass(frozen=True)
class Pattern:
    """The fixed sparsity pattern, by blocks of 6 × 6 in elimination order.

    `rank` (nb,) place of each boundary node and `node` (nb,) its inverse; `total` sums the blocks (element, node, node)
    of all elements into those of the matrix, whose rows start at `starts` (nb + 1,) with columns `columns`.
    """

    rank: IntArray
    node: IntArray
    total: csr_array
    starts: NDArray[np.int32]
    columns: NDArray[np.int32]


class Layout:
    """Numbers of unknowns of a mesh."""

    def __init__(self, mesh: CurvedMesh) -> None:
        self.mesh = mesh
        self.tables: StrainTables = strain_tables(mesh.order)
        self.ne, self.nb = len(mesh.triangles), mesh.nb
        self.n_boundary = 6 * mesh.nb
        self.n_total = self.n_boundary + self.ne * self.tables.n_inner

    def moved(self, mesh: CurvedMesh) -> Layout:
        """The layout of the same mesh with its nodes elsewhere, eliminated in the same order."""
        other = Layout(mesh)
        other.pattern = self.pattern
        return other

    @cached_property
    def x(self) -> FloatArray:
        """Positions of the nodes of each element, (ne, nu, 3), m."""
        return self.mesh.x[self.mesh.nodes]

    @cached_property
    def boundary_unknowns(self) -> IntArray:
        """Unknowns at the boundary nodes of each element in the order of its matrix, (ne, 18k)."""
        return (6 * self.mesh.boundary[:, None] + np.arange(6)[:, None]).reshape(self.ne, -1)

    @cached_property
    def _inner_start(self) -> IntArray:
        return self.n_boundary + np.arange(self.ne) * self.tables.n_inner

    @cached_property
    def displacement_unknowns(self) -> IntArray:
        """Unknown of each displacement node and component of each element, (ne, nu, 3)."""
        inner = self.tables.nu - self.tables.boundary
        return self._unknowns(inner, 0, 0)

    @cached_property
    def rotation_unknowns(self) -> IntArray:
        """Unknown of each rotation node and component of each element, (ne, nr, 3)."""
        inner = self.tables.nr - self.tables.boundary
        return self._unknowns(inner, 3, 3 * (self.tables.nu - self.tables.boundary))

    def _unknowns(self, inner: int, component: int, offset: int) -> IntArray:
        at_boundary = 6 * self.mesh.boundary[:, :, None] + component + np.arange(3)
        local = offset + np.arange(inner)[:, None] + inner * np.arange(3)
        return np.concatenate([at_boundary, self._inner_start[:, None, None] + local], axis=1)

    @cached_property
    def pattern(self) -> Pattern:
        """The sparsity pattern in nested-dissection order."""
        nodes, nb, m = self.mesh.boundary, self.nb, self.tables.boundary
        rank = nested_dissection(nodes, self.mesh.centroids, nb)
        place = rank[nodes]
        key = (place[:, :, None] * nb + place[:, None, :]).ravel()
        order = np.argsort(key, kind="stable")
        key = key[order]
        first = np.flatnonzero(np.diff(key, prepend=-1))
        key = key[first]
        row, column = np.divmod(key, nb)
        ends = np.append(first, len(order)).astype(np.int32)
        shape = (len(first), self.ne * m * m)
        total = csr_array((np.ones(len(order)), order.astype(np.int32), ends), shape=shape)
        node = np.empty(nb, np.int64)
        node[rank] = np.arange(nb)
        starts = np.searchsorted(row, np.arange(nb + 1)).astype(np.int32)
        return Pattern(rank, node, total, starts, column.astype(np.int32))

    def gather(self, total: FloatArray) -> FloatArray:
        """Boundary unknowns (ne, 18k, m) of each element from (n_total, m)."""
        return total[self.boundary_unknowns]

    @cached_property
    def _scatter(self) -> csr_array:
        flat = self.boundary_unknowns.ravel()
        order = np.argsort(flat, kind="stable").astype(np.int32)
        starts = np.searchsorted(flat[order], np.arange(self.n_boundary + 1)).astype(np.int32)
        return csr_array((np.ones(len(flat)), order, starts), shape=(self.n_boundary, len(flat)))

    def scatter(self, elements: FloatArray) -> FloatArray:
        """Sum element vectors (ne, 18k, m) over shared unknowns: (n_boundary, m)."""
        m = elements.shape[2]
        if m == 1:
            total = np.bincount(self.boundary_unknowns.ravel(), elements.ravel(), self.n_boundary)
            return np.asarray(total[:, None], float)
        return self._scatter @ elements.reshape(-1, m)
