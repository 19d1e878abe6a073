"""From a panel's fixings to a factored shell that can be held in any way they allow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import InputError
from panelfem.panel import EdgeSupport, Fastener, Panel
from panelfem.shell.held import HeldSystem
from panelfem.shell.shell import Shell
from panelfem.shell.supports import (
    FastenerRows,
    edge_nodes,
    edge_springs,
    fastener_rows,
    nodes_of,
)
from panelfem.shell.system import Supports, System

STIFF = 1e4
"""A support along a slanting normal is a spring so many times as stiff as one element of the skin there."""


@dataclass(frozen=True)
class Holding:
    """A panel held: the factored `system` without its fasteners, `held` to add them, and the fastener `rows`.

    `stiffness` (nf, 6) as the panel's record gives it, 0 where a fastener is not fitted."""

    system: System
    held: HeldSystem
    rows: FastenerRows
    stiffness: FloatArray

    def without(self, fastener: int) -> FloatArray:
        """Stiffnesses (nf, 6) with one fastener lost."""
        k = self.stiffness.copy()
        k[fastener] = 0.0
        return k


def fastener_stiffness(fastener: Fastener) -> FloatArray:
    """Stiffness (6,) along t1, t2, n and about them; zero if it is not fitted."""
    if not fastener.fitted:
        return np.zeros(6)
    f = fastener
    return np.array([f.in_plane, f.in_plane, f.out_of_plane, f.tilt, f.tilt, f.twist])


def washer_elements(panel: Panel, fastener: Fastener) -> BoolArray:
    """Elements (ne,) under a washer that are there: the mesh region of the fastener's name, else those whose
    centre lies within the washer's radius, else the nearest one.  All False if the skin there is gone."""
    mesh = panel.mesh
    region = mesh.inside.get(fastener.name)
    if region is None or not region.any():
        distance = np.linalg.norm(mesh.centroids - fastener.place, axis=1)
        region = distance <= max(fastener.washer_radius, float(distance.min()) * (1 + 1e-12))
    return np.asarray(region & ~panel.removed)


def supported(panel: Panel, shell: Shell) -> tuple[Supports, FastenerRows]:
    """What holds the panel, with the rows of its fasteners.

    Raises InputError for a held area or an edge that the mesh does not have.
    """
    mesh = shell.mesh
    fixed = np.zeros((mesh.nb, 6), bool)
    extra = sparse.csr_array((6 * mesh.nb, 6 * mesh.nb))
    for area in panel.held_areas:
        if area.region not in panel.mesh.inside:
            raise InputError(f"there is no region '{area.region}'", where=f"held area '{area.name}'")
        fixed[nodes_of(mesh, panel.mesh.inside[area.region] & ~panel.removed)] = True
    for edge in panel.edges:
        extra = extra + _support(edge, panel, shell, fixed)
    washers = [washer_elements(panel, fastener) for fastener in panel.fasteners]
    normals = np.array([fastener.normal for fastener in panel.fasteners]).reshape(-1, 3)
    rows = fastener_rows(shell, washers, normals)
    k = np.array([fastener_stiffness(fastener) for fastener in panel.fasteners]).reshape(-1, 6)
    return Supports(fixed, extra if extra.nnz else None, (rows.rows, k.ravel())), rows


def hold(panel: Panel, shell: Shell, checks: bool = True, pivots: bool = True) -> Holding:
    """Factor the shell with the panel's edges and held areas; its fasteners are left to `HeldSystem`.

    `checks` and `pivots` as there.  Raises ModelError if the panel is free to move with all of them.
    """
    supports, rows = supported(panel, shell)
    system = shell.factor(supports, checks, pivots)
    names = tuple(fastener.name for fastener in panel.fasteners)
    k = np.array([fastener_stiffness(fastener) for fastener in panel.fasteners]).reshape(-1, 6)
    return Holding(system, HeldSystem(system, rows.rows, names, system.anchored), rows, k)


def _support(edge: EdgeSupport, panel: Panel, shell: Shell, fixed: BoolArray) -> sparse.csr_array:
    """Springs (6 nb, 6 nb) of one supported stretch; marks in `fixed` (nb, 6) what it fixes.

    Raises InputError if no boundary edge lies in its region.
    """
    mesh = shell.mesh
    edges = panel.mesh.boundary_edges
    if edge.region is not None:
        edges = edges[edge.region.distance(panel.mesh.vertices[edges].mean(axis=1)) <= 0]
    if not len(edges):
        raise InputError(
            "no edge of the panel lies in the region of the support",
            where=f"edge '{edge.name}'",
            do="move or enlarge the region",
        )
    along = edge_nodes(mesh, edges, ~panel.removed)
    none = sparse.csr_array((6 * mesh.nb, 6 * mesh.nb))
    nodes = np.unique(along)
    match edge.hold:
        case "clamped":
            fixed[nodes] = True
            return none
        case "hinged":
            fixed[nodes, :3] = True
            return none
        case "elastic":
            return edge_springs(mesh, along, translation=edge.translation, rotation=edge.rotation)
        case "supported":
            vertex_normals = panel.mesh.vertex_normals
            normals = vertex_normals[along[:, 0]] + vertex_normals[along[:, -1]]
            normals /= np.linalg.norm(normals, axis=1, keepdims=True)
            axis = int(np.abs(normals).sum(axis=0).argmax())
            if (np.abs(normals[:, axis]) > 1 - 1e-12).all():
                fixed[nodes, axis] = True
                return none
            return edge_springs(mesh, along, translation=_stiff(shell, along), normals=normals)


def _stiff(shell: Shell, along: IntArray) -> FloatArray:
    """Stiffness per length (m,) N/m per m, `STIFF` times that of an element's skin at each edge of nodes `along`."""
    side = np.linalg.norm(shell.mesh.x[along[:, -1]] - shell.mesh.x[along[:, 0]], axis=1)
    typical = np.median(shell.stiffness[shell.active], axis=0)
    return np.asarray(STIFF * max(typical[6, 6], typical[7, 7]) / side)
