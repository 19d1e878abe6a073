"""Where strength is checked: at the nodes of the mesh, but averaged ahead of a notch and at singular places.

At the edge of a hole the strain peak says little: what fails a notched laminate is the stress averaged over a
characteristic length ahead of the edge.  At a re-entrant corner the peak says nothing: it grows without limit as the
mesh is refined, while its average over a fixed length has a limit.  Within that length of either the point values are
therefore replaced by averages along rays: from the edge of a hole at right angles, from a singular place into every
direction in which there is material, the worst of which governs.  Rays are taken rather than the mean over a sector
because the criterion is one of the ligament ahead, and because a sector's mean would mix tension on one side with
compression on the other.

A ray is divided by r = L t² with Gauss points in t: r^(−1/2), the strongest field a corner can have, and polynomials
up to degree 5 are then integrated exactly.  Between nodes strains are interpolated by the element's own polynomials.

Vertices and averages come first among the points; nodes on edges follow.  A check that costs much may look at the
first, and then only at the nodes beside the leading few (`Sampling.around`).

Source: J. M. Whitney and R. J. Nuismer 1974, J. Compos. Mater. 8:253, average-stress criterion (recalled), for holes
and straight cracks.  Its use at other corners, in the worst direction, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from typing import cast

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh
from panelfem.mesh.closest import on_triangle
from panelfem.mesh.lattice import lattice
from panelfem.shell import Recovery

#: Characteristic length of the average-stress rule where a case names none, m.  Source: Whitney & Nuismer 1974,
#: J. Compos. Mater. 8:253 (recalled), for carbon/epoxy.
CUT_LENGTH = 3.8e-3
#: Points along a ray: three for each element along the one through the smallest elements, within these.
_RAY = (6, 24)
#: A laminate is averaged over the stretch of a ray that lies in it, if that is this share of the ray.
_LEAST_SHARE = 0.2
#: A point of a ray farther than this share of its length beyond the edge of the mesh is off the panel.
_OFF = 0.05


@dataclass(frozen=True)
class Notch:
    """The border of an area `inside` (ne,) where material ends; stress is averaged over `length` m ahead of it."""

    inside: BoolArray
    length: float


@dataclass(frozen=True)
class Place:
    """A singular place: its `kind`, `what` it is in words, the vertex, its `point` (3,) m, the `length` m to average
    over, the unit directions `rays` (k, 3) into the material there, and the `size` m of the elements there.
    """

    kind: str
    what: str
    vertex: int
    point: FloatArray
    length: float
    rays: FloatArray
    size: float


@dataclass(frozen=True)
class Sampling:
    """Sampling points (ns, 3) with their laminate number `group` (ns,), and `rows` (ns, np): values there from values
    at the recovery points.  `length` (ns,) m: over which the values are averaged, 0 for point values.

    The first points are vertices and averages, the rest nodes on edges; `beside` (first, ns) marks the nodes on the
    edges of the elements around each of the first.  `places` are the singular places met.
    """

    points: FloatArray
    group: IntArray
    rows: csr_matrix
    length: FloatArray
    beside: csr_matrix
    places: tuple[Place, ...] = ()

    @property
    def first(self) -> int:
        """How many points come first: vertices and averages."""
        return int(self.beside.shape[0])

    def around(self, points: IntArray) -> IntArray:
        """Numbers (m,) of the nodes on edges, of the same laminate, beside some of the first points (k,)."""
        found: IntArray = np.unique(self.beside[points].indices).astype(np.int64)
        return found


@dataclass(frozen=True)
class Border:
    """Border between an area and the rest: its vertices (n,), and the unit direction (n, 3) in the surface that
    leaves the area at right angles there.
    """

    vertices: IntArray
    outward: FloatArray


def border(mesh: PanelMesh, inside: BoolArray, outside: BoolArray) -> Border:
    """The border between elements `inside` (ne,) and elements `outside` (ne,).

    The direction at a vertex is the length-weighted mean of those of its border edges.
    """
    element, side = border_edges(mesh, inside, outside)
    a, b = mesh.triangles[element, side], mesh.triangles[element, (side + 1) % 3]
    return _border(mesh, np.stack([a, b], 1), element, mesh.vertices, len(mesh.vertices))


def border_edges(mesh: PanelMesh, inside: BoolArray, outside: BoolArray) -> tuple[IntArray, IntArray]:
    """The elements `outside` (n,) with an edge on the border, and which of their sides 0→1, 1→2, 2→0 it is, (n,)."""
    tri = mesh.triangles
    edges = np.stack([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]], 1).reshape(-1, 2)
    owner = np.repeat(np.arange(len(tri)), 3)
    key = np.sort(edges, 1) @ np.array([len(mesh.vertices), 1])
    inner, outer = inside[owner], outside[owner]
    at = np.flatnonzero(np.isin(key, key[inner]) & outer & ~inner)
    return owner[at].astype(np.int64), at % 3


def border_nodes(mesh: PanelMesh, order: int, inside: BoolArray, outside: BoolArray) -> tuple[Border, IntArray]:
    """The border with all its nodes of an order, and the node numbers (m, 2) of its pieces from node to node.

    Each piece has the elements `outside` to its left.  The direction at a node is that of the curve through the nodes.
    """
    curved = mesh.curved(order)
    element, side = border_edges(mesh, inside, outside)
    nodes = edge_nodes(order)[side]
    line = curved.nodes[element[:, None], nodes]
    pieces = np.stack([line[:, :-1], line[:, 1:]], 2).reshape(-1, 2)
    return _border(mesh, pieces, np.repeat(element, order), curved.x, curved.nb), pieces


def _border(mesh: PanelMesh, pieces: IntArray, element: IntArray, x: FloatArray, count: int) -> Border:
    """The nodes of straight pieces (n, 2) and the mean direction to their left; `element` (n,) lies there."""
    a, b = pieces.T
    into = np.cross(mesh.normals[element], x[b] - x[a])  # left of the piece: into the outside element, length-weighted
    nodes = np.unique(pieces).astype(np.int64)
    total = np.zeros((count, 3))
    np.add.at(total, a, into)
    np.add.at(total, b, into)
    outward = total[nodes]
    size = np.linalg.norm(outward, axis=1, keepdims=True)
    return Border(nodes, outward / np.where(size > 0, size, 1.0))


@cache
def edge_nodes(k: int) -> IntArray:
    """Places (3, k+1) in an element's list of nodes of those along its sides 0→1, 1→2, 2→0.

    >>> edge_nodes(2).tolist()
    [[0, 3, 1], [1, 4, 2], [2, 5, 0]]
    """
    rows = [[i, *range(3 + i * (k - 1), 3 + (i + 1) * (k - 1)), (i + 1) % 3] for i in range(3)]
    return np.array(rows, np.int64)


@cache
def _lagrange(k: int) -> FloatArray:
    """Coefficients (monomials, 3k) of the polynomials that take values at an element's boundary nodes to its inside.

    Inner nodes follow from the boundary by the quadratic of least squares: exact for quadratics.
    """
    edge, inner = lattice(k)
    powers = _powers(k)
    whole = np.linalg.inv(_monomials(powers, *np.hstack([edge, inner])))
    fill = _monomials(_powers(2), *inner) @ np.linalg.pinv(_monomials(_powers(2), *edge))
    return np.asarray(whole[:, : 3 * k] + whole[:, 3 * k :] @ fill)


def _powers(k: int) -> tuple[tuple[int, int], ...]:
    return tuple((i, j) for i in range(k + 1) for j in range(k + 1 - i))


def _monomials(powers: Sequence[tuple[int, int]], r: FloatArray, s: FloatArray) -> FloatArray:
    return np.stack([r**i * s**j for i, j in powers], axis=-1)


def node_weights(k: int, bary: FloatArray) -> FloatArray:
    """Weights (n, 3k) on the boundary nodes of an element of order k for a value at barycentric coordinates (n, 3).

    >>> node_weights(2, np.array([[0.5, 0.5, 0.0]])).round(12).tolist()
    [[0.0, 0.0, 0.0, 1.0, 0.0, 0.0]]
    """
    return np.asarray(_monomials(_powers(k), bary[:, 1], bary[:, 2]) @ _lagrange(k))


def row_at(recovery: Recovery, laminate_of: IntArray, place: FloatArray, group: int) -> csr_matrix:
    """Row (1, np): the value at a place (3,) of the panel, on laminate `group`, from those at the recovery points."""
    shell = recovery.shell
    mine = np.flatnonzero(shell.active & (laminate_of == group))
    corners = shell.mesh.x[shell.mesh.triangles[mine]]
    few = np.argsort(np.linalg.norm(corners.mean(axis=1) - place, axis=1), kind="stable")[:32]
    bary = on_triangle(np.broadcast_to(place, (len(few), 3)), corners[few])
    gap = np.linalg.norm(np.einsum("ni,nij->nj", bary, corners[few]) - place, axis=1)
    i = int(np.argmin(gap))
    element = mine[few[i : i + 1]]
    columns = NodePoints(recovery).find(shell.mesh.boundary[element], np.full((1, 1), group))[0]
    values = node_weights(shell.mesh.order, bary[i : i + 1])[0]
    return csr_matrix((values, (np.zeros(len(columns), np.int64), columns)), shape=(1, len(recovery.node)))


def ray_rule(n: int = _RAY[0]) -> tuple[FloatArray, FloatArray]:
    """Places (n,) along a ray, as shares of its length, and weights (n,) of a mean over it.

    The mean of r^(−1/2) over (0, 1) is 2:

    >>> r, w = ray_rule()
    >>> round(float(w @ r**-0.5), 12), round(float(w @ r**5), 12) == round(1 / 6, 12)
    (2.0, True)
    """
    gauss, weight = np.polynomial.legendre.leggauss(n)
    t = (gauss + 1.0) / 2.0
    return t * t, weight * t


def sampling(
    mesh: PanelMesh,
    recovery: Recovery,
    laminate_of: IntArray,
    active: BoolArray,
    notches: Sequence[Notch],
    places: Sequence[Place] = (),
) -> Sampling:
    """Sampling points of a model whose elements `active` (ne,) are there, with `laminate_of` (ne,) as recovery groups.

    Point values are replaced where an average of the same laminate starts within its length.
    """
    finder = NodePoints(recovery)
    mean = _averages(mesh, recovery, laminate_of, active, _rays(mesh, recovery, active, notches, places), finder)
    keep = active[recovery.element] & ~mean.covers(recovery.points, recovery.group)
    vertex = recovery.node < len(mesh.vertices)
    early, late = np.flatnonzero(keep & vertex), np.flatnonzero(keep & ~vertex)
    count, every = len(mean.points), len(recovery.node)
    picked = np.concatenate([early, late])
    single = csr_matrix((np.ones(len(picked)), (np.arange(len(picked)), picked)), shape=(len(picked), every))
    operator = _stacked(single[: len(early)], mean.rows, single[len(early) :])
    first = len(early) + count
    number = np.full(every, -1, np.int64)
    number[early], number[late] = np.arange(len(early)), first + np.arange(len(late))
    of_element = number[finder.find(recovery.shell.mesh.boundary[active], laminate_of[active][:, None])]
    width = of_element.shape[1] - 3
    row, column = np.repeat(of_element[:, :3], width, axis=1).ravel(), np.tile(of_element[:, 3:], 3).ravel()
    there = (row >= 0) & (column >= 0)
    beside = csr_matrix((np.ones(int(there.sum())), (row[there], column[there])), shape=(first, first + len(late)))
    return Sampling(
        np.vstack([recovery.points[early], mean.points, recovery.points[late]]),
        np.concatenate([recovery.group[early], mean.group, recovery.group[late]]),
        operator,
        np.concatenate([np.zeros(len(early)), mean.length, np.zeros(len(late))]),
        beside,
        tuple(places),
    )


def _stacked(*parts: csr_matrix) -> csr_matrix:
    """Matrices with the same columns, one above the other."""
    starts = np.cumsum([0, *(p.nnz for p in parts)])
    pointers = [p.indptr[1:] + s for p, s in zip(parts, starts, strict=False)]
    return csr_matrix(
        (
            np.concatenate([p.data for p in parts]),
            np.concatenate([p.indices for p in parts]),
            np.concatenate([np.zeros(1, np.int64), *pointers]),
        ),
        shape=(sum(p.shape[0] for p in parts), parts[0].shape[1]),
    )


@dataclass(frozen=True)
class _Rays:
    """Rays from `start` (n, 3) along `way` (n, 3), `length` (n,) m, through elements of `size` (n,) m where they start;
    elements `barred` (m, ne) of its `kind` (n,) are not for them.
    """

    start: FloatArray
    way: FloatArray
    length: FloatArray
    size: FloatArray
    kind: IntArray
    barred: BoolArray


def _rays(
    mesh: PanelMesh, recovery: Recovery, active: BoolArray, notches: Sequence[Notch], places: Sequence[Place]
) -> _Rays:
    """Ahead of every node of the notches' borders, and all round the singular places."""
    start, way, kind = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, np.int64)]
    length, size = [np.zeros(0)], [np.zeros(0)]
    barred = [np.zeros(len(active), bool)]
    order = recovery.shell.mesh.order
    for notch in notches:
        edge, pieces = border_nodes(mesh, order, notch.inside, active & ~notch.inside)
        n = len(edge.vertices)
        piece = np.linalg.norm(np.diff(recovery.shell.mesh.x[pieces], axis=1), axis=2)
        size.append(np.full(n, order * float(piece.mean()) if n else 1.0))
        start.append(recovery.shell.mesh.x[edge.vertices])
        way.append(edge.outward)
        length.append(np.full(n, notch.length))
        kind.append(np.full(n, len(barred)))
        barred.append(notch.inside)
    for place in places:
        n = len(place.rays)
        start.append(np.tile(place.point, (n, 1)))
        way.append(place.rays)
        length.append(np.full(n, place.length))
        size.append(np.full(n, place.size))
        kind.append(np.zeros(n, np.int64))
    return _Rays(
        np.concatenate(start),
        np.concatenate(way),
        np.concatenate(length),
        np.concatenate(size),
        np.concatenate(kind),
        np.stack(barred),
    )


@dataclass(frozen=True)
class _Averages:
    """Averages: where their ray starts (n, 3), laminate (n,), `rows` (n, np) and length (n,) m."""

    points: FloatArray
    group: IntArray
    rows: csr_matrix
    length: FloatArray

    def covers(self, points: FloatArray, group: IntArray) -> BoolArray:
        """Which points (m, 3) of laminates (m,) lie within the length of an average of their laminate, (m,)."""
        inside = np.zeros(len(points), bool)
        apart = 1e3 * float(np.ptp(points, axis=0).max(initial=1.0))  # laminates are kept apart by a fourth coordinate
        target = np.column_stack([points, apart * group])
        for length in np.unique(self.length).tolist():
            mine = self.length == length
            tree = cKDTree(np.column_stack([self.points[mine], apart * self.group[mine]]))
            inside |= tree.query(target, distance_upper_bound=length * (1.0 + 1e-9))[0] < np.inf
        return inside


def _averages(
    mesh: PanelMesh, recovery: Recovery, laminate_of: IntArray, active: BoolArray, rays: _Rays, finder: NodePoints
) -> _Averages:
    """One average per ray and laminate it crosses, over the stretch that lies in it."""
    n, order, every = len(rays.start), recovery.shell.mesh.order, len(recovery.node)
    if not n:
        return _Averages(np.zeros((0, 3)), np.zeros(0, np.int64), csr_matrix((0, every)), np.zeros(0))
    per_ray = int(np.clip(np.ceil(3.0 * (rays.length / rays.size).max()), *_RAY))
    depth, weight = ray_rule(per_ray)
    x = (rays.start[:, None] + depth[None, :, None] * (rays.length[:, None] * rays.way)[:, None]).reshape(-1, 3)
    ray, share = np.repeat(np.arange(n), per_ray), np.tile(weight, n)
    found, element, bary, off = _located(mesh, x)
    ray, share = ray[found], share[found]
    here = active[element] & ~rays.barred[rays.kind[ray], element]
    here &= off <= _OFF * rays.length[ray]
    ray, share, element, bary = ray[here], share[here], element[here], bary[here]
    group = laminate_of[element]
    groups = int(laminate_of.max()) + 1
    key, number = np.unique(ray * groups + group, return_inverse=True)
    total = np.bincount(number, share, len(key))
    kept = total >= _LEAST_SHARE
    new = np.cumsum(kept) - 1
    mine = kept[number]
    columns = finder.find(recovery.shell.mesh.boundary[element[mine]], group[mine][:, None])
    values = node_weights(order, bary[mine]) * (share[mine] / total[number[mine]])[:, None]
    rows = np.repeat(new[number[mine]], columns.shape[1])
    operator = csr_matrix((values.ravel(), (rows, columns.ravel())), shape=(int(kept.sum()), every))
    of_ray = key[kept] // groups
    return _Averages(rays.start[of_ray], key[kept] % groups, operator, rays.length[of_ray])


def _located(mesh: PanelMesh, x: FloatArray) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """The points of x (n, 3) that lie on or next to an element: their numbers (m,), element (m,), barycentric
    coordinates (m, 3), and how far (m,) m they are off it along the surface.

    Only elements that could cover a point are looked at, those of about one size together: where sizes differ much
    this is far faster than the closest element of all.
    """
    corners = mesh.vertices[mesh.triangles]
    reach = np.linalg.norm(corners - mesh.centroids[:, None], axis=2).max(axis=1)
    size = np.floor(3.0 * np.log2(reach)).astype(np.int64)
    points, elements = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for s in np.unique(size).tolist():
        mine = np.flatnonzero(size == s)
        tree = cKDTree(mesh.centroids[mine])
        near = cast("list[list[int]]", tree.query_ball_point(x, 1.02 * float(reach[mine].max()), return_sorted=False))
        count = np.fromiter((len(found) for found in near), np.int64, len(x))
        points.append(np.repeat(np.arange(len(x)), count))
        elements.append(mine[np.fromiter(chain.from_iterable(near), np.int64, int(count.sum()))])
    point, element = np.concatenate(points), np.concatenate(elements)
    a, b, c = corners[element].transpose(1, 0, 2)
    u, v, w = b - a, c - a, x[point] - a
    uu, uv, vv, uw, vw = (np.einsum("ni,ni->n", p, q) for p, q in ((u, u), (u, v), (v, v), (u, w), (v, w)))
    det = uu * vv - uv * uv
    second, third = (vv * uw - uv * vw) / det, (uu * vw - uv * uw) / det
    least = np.minimum(np.minimum(second, third), 1.0 - second - third)
    # far above or below is another part of the panel
    aside = np.abs(np.einsum("ni,ni->n", w, mesh.normals[element])) > 0.5 * reach[element]
    order = np.lexsort((-np.where(aside, least - 10.0, least), point))
    picked = order[np.unique(point[order], return_index=True)[1]]
    number, best = point[picked], element[picked]
    bary = on_triangle(x[number], corners[best])
    off = x[number] - np.einsum("ni,nij->nj", bary, corners[best])
    off -= np.einsum("ni,ni->n", off, mesh.normals[best])[:, None] * mesh.normals[best]
    return number, best, bary, np.asarray(np.linalg.norm(off, axis=1))


class NodePoints:
    """Finds the recovery point of a node and a group."""

    def __init__(self, recovery: Recovery) -> None:
        self._groups = int(recovery.group.max(initial=0)) + 1
        key = recovery.node * self._groups + recovery.group
        self._order = np.argsort(key)
        self._key = key[self._order]

    def find(self, node: IntArray, group: IntArray) -> IntArray:
        """Recovery point numbers, in the shape of `node`; −1 where that node has no point of that group."""
        wanted = node * self._groups + group
        at = np.minimum(np.searchsorted(self._key, wanted), len(self._key) - 1)
        return np.where(self._key[at] == wanted, self._order[at], -1)
