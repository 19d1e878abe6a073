"""From straight triangles to curved ones of order k: nodes on the surface, on its rim and on the borders of regions."""

from __future__ import annotations

from functools import cache

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import EDGES, barycentric, lattice
from panelfem.mesh.layout import Layout
from panelfem.mesh.snap import settle
from panelfem.mesh.topology import cross_products, edge_lengths, unit

SMALLEST_STRETCH = 0.2
"""Smallest share of an element's mean area its local area may shrink to before its edges are straightened (choice)."""


def bend(layout: Layout, k: int) -> tuple[CurvedMesh, tuple[str, ...]]:
    """The curved mesh of order k and notes about edges that had to stay straight."""
    flat = CurvedMesh.straight(layout.vertices, layout.triangles, k)
    bent = layout.edge_on.any(axis=1) | layout.edge_rim
    shift, lost = _edge_shifts(layout, flat, bent)
    notes: list[str] = []
    curved = _place(layout, flat, shift)
    straightened = 0
    for _ in range(4):
        bad = _stretch(curved) < SMALLEST_STRETCH
        edge = np.unique(layout.edges.of[bad])
        edge = edge[np.any(shift[edge] != 0.0, axis=(1, 2))]
        if not len(edge):
            break
        shift[edge] = 0.0
        straightened += len(edge)
        curved = _place(layout, flat, shift)
    if straightened:
        notes.append(f"{straightened} curved edges were kept straight because an element would have been turned over")
    if lost:
        notes.append(f"{lost} edges could not be bent to the border they lie on and were kept straight")
    left = int((_stretch(curved) <= 0.0).sum())
    if left:
        notes.append(f"{left} elements of order {k} are turned over somewhere: refine the mesh there")
    return curved, tuple(notes)


def _edge_shifts(layout: Layout, flat: CurvedMesh, bent: BoolArray) -> tuple[FloatArray, int]:
    """How far the nodes of bent edges leave the straight edge, (n_edges, k−1, 3); number of edges that failed."""
    k, nv = flat.order, len(layout.vertices)
    ends = layout.edges.ends
    shift = np.zeros((len(ends), k - 1, 3))
    at = np.flatnonzero(bent)
    if not len(at):
        return shift, 0
    straight = flat.x[nv : flat.nb].reshape(len(ends), k - 1, 3)[at]
    m, n = straight.shape[:2]
    rim = layout.edge_rim[at]
    run = unit(layout.vertices[ends[at, 1]] - layout.vertices[ends[at, 0]])
    normal = unit(layout.normals[ends[at]].sum(axis=1))
    length = edge_lengths(layout.vertices, ends[at])
    nodes, arrived = settle(
        straight.reshape(-1, 3),
        np.repeat(layout.edge_on[at], n, axis=0),
        np.repeat(rim, n),
        np.repeat(np.where(rim[:, None], run, normal), n, axis=0),
        np.repeat(0.4 * length, n),
        layout.surface,
        layout.regions,
        layout.diagonal,
    )
    moved = nodes.reshape(m, n, 3) - straight
    good = arrived.reshape(m, n).all(axis=1)
    good &= (np.linalg.norm(moved, axis=2) < 0.4 * length[:, None]).all(axis=1)
    # a node must not pass its neighbours along the edge
    along = np.einsum("mni,mi->mn", nodes.reshape(m, n, 3) - layout.vertices[ends[at, :1]], run) / length[:, None]
    good &= (np.diff(np.column_stack([np.zeros(m), along, np.ones(m)]), axis=1) > 0.3 / k).all(axis=1)
    shift[at[good]] = moved[good]
    return shift, int((~good).sum())


def _place(layout: Layout, flat: CurvedMesh, shift: FloatArray) -> CurvedMesh:
    """Nodes on the surface: bent edges where they are, everything between follows them and is then projected."""
    k, nv, edges = flat.order, len(layout.vertices), layout.edges
    x = flat.x.copy()
    on_edge = x[nv : flat.nb].reshape(len(edges.ends), k - 1, 3) + shift
    fixed = np.any(shift != 0.0, axis=(1, 2))
    on_edge[~fixed] = layout.surface.carry(on_edge[~fixed].reshape(-1, 3))[0].reshape(-1, k - 1, 3)
    x[nv : flat.nb] = on_edge.reshape(-1, 3)
    inner = flat.nodes[:, 3 * k :]
    if inner.size:
        # the whole departure of the edges (towards the surface too) is blended inwards before projecting
        departure = on_edge - flat.x[nv : flat.nb].reshape(on_edge.shape)
        x[inner] += _blend(layout.triangles, edges.of, departure, k)
        x[inner.ravel()] = layout.surface.carry(x[inner.ravel()])[0]
    return flat.moved(x)


def _blend(triangles: IntArray, edge_of: IntArray, departure: FloatArray, k: int) -> FloatArray:
    """Transfinite blend of the edges' departures at the inner nodes, (ne, n inner, 3).

    Source: Szabó and Babuška, Finite Element Analysis (1991), blending functions for triangles (from memory).
    """
    _, inside = lattice(k)
    bary = barycentric(inside)
    result = np.zeros((len(triangles), len(bary), 3))
    for side, (i, j) in enumerate(EDGES):
        values = departure[edge_of[:, side]]
        backward = triangles[:, i] > triangles[:, j]
        values[backward] = values[backward, ::-1]
        t = 0.5 * (1.0 + bary[:, j] - bary[:, i])
        weight = bary[:, i] * bary[:, j] / (t * (1.0 - t))
        result += np.einsum("pn,eni->epi", weight[:, None] * _edge_basis(k, t), values)
    return result


def _edge_basis(k: int, t: FloatArray) -> FloatArray:
    """Lagrange polynomials of the k−1 inner nodes of an edge at t, (len(t), k−1)."""
    nodes = np.arange(k + 1) / k
    result = np.ones((len(t), k - 1))
    for a in range(1, k):
        for b in range(k + 1):
            if a != b:
                result[:, a - 1] *= (t - nodes[b]) / (nodes[a] - nodes[b])
    return result


@cache
def _slopes(k: int) -> tuple[FloatArray, FloatArray]:
    """Derivatives of the node functions at all lattice points of order k + 1: two arrays (points, n_k)."""
    powers = np.array([(a, b) for a in range(k + 1) for b in range(k + 1 - a)])

    def monomials(p: FloatArray, da: int = 0, db: int = 0) -> FloatArray:
        def power(s: FloatArray, n: IntArray, d: int) -> FloatArray:
            return np.where(n >= d, s[:, None] ** np.maximum(n - d, 0) * (n if d else 1), 0.0)

        return power(p[0], powers[:, 0], da) * power(p[1], powers[:, 1], db)

    nodes = np.hstack(lattice(k))
    points = np.hstack(lattice(k + 1))
    inverse = np.linalg.inv(monomials(nodes))
    return monomials(points, 1, 0) @ inverse, monomials(points, 0, 1) @ inverse


def _stretch(curved: CurvedMesh) -> FloatArray:
    """Smallest local area over the flat area of each element, signed by the flat normal, (ne,)."""
    first, second = _slopes(curved.order)
    x = curved.x[curved.nodes]
    normal = np.cross(first @ x, second @ x)
    flat = cross_products(curved.x, curved.triangles)
    return np.asarray(np.einsum("epi,ei->ep", normal, flat).min(axis=1) / np.einsum("ei,ei->e", flat, flat))
