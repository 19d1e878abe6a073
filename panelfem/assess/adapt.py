"""The mesh of an assessment: fine enough at singular places from the start, then as the bars ask for.

One mesh carries every configuration, so it is made for all of them: each state says what each of its elements
contributes to the numbers that are not yet accurate enough, and the next mesh is sized by the greatest of these.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from panelfem.accuracy.sizes import sizes
from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.assess.plan import State
from panelfem.assess.shares import Wish
from panelfem.errors import MeshError, ModelError
from panelfem.mesh import PanelMesh, Region, adapt
from panelfem.mesh.adapt import expected_elements
from panelfem.mesh.fitted import FittedSurface
from panelfem.mesh.topology import edges_of, vertex_sizes
from panelfem.panel import Panel
from panelfem.reserve.singular import places
from panelfem.shell import Shell
from panelfem.shell.quality import check_elements

#: Elements of a mesh at most; elements at most that are solved for all states that shape the meshes, on all meshes; and
#: so many times the elements from one mesh to the next at most.
MOST_ELEMENTS, MOST_IN_ALL, GROWTH = 5000, 50_000, 1.5
#: Meshes at most.
MOST_MESHES = 6
#: Elements at singular places: this share of the length averaged over, at most.
SHARP = 0.2
#: No element is made smaller than this, m: thinner than most skins, where shell theory ends.
FINEST = 0.4e-3
#: Times the mesh is made finer at singular places: where elements were large, sizes are not reached at once.
_SHARPENINGS = 3
#: Growth of their size with the distance from there.
_AWAY = 0.6
#: A mesh is made again if some size changes by this factor or more.
_WORTH = 0.8
#: A wish that leads to folded elements is granted by these shares of it (of its logarithm) in turn.
_GENTLER = (1.0, 0.5, 0.25)


def sharpened(panel: Panel, again: Callable[[Panel], Sequence[State]], order: int) -> Panel:
    """The panel on a mesh fine enough at the singular places of its states to average over their lengths there.

    `again(panel)` gives the states of the panel on a mesh.  Places are found with elements of `order`; the panel itself
    if its mesh is fine enough already.
    """
    states, first = again(panel), panel.mesh
    large, tree = _sizes(first), cKDTree(first.vertices)
    for _ in range(_SHARPENINGS):
        mesh = panel.mesh
        wanted = large[tree.query(mesh.vertices)[1]]
        for vertex, length in _sharp(panel, states, order).items():
            away = np.sqrt(((mesh.vertices - mesh.vertices[vertex]) ** 2).sum(axis=1))
            wanted = np.minimum(wanted, max(SHARP * length, FINEST) + _AWAY * away)
        now = _sizes(mesh)
        made = _remade(panel, now, wanted, order) if (wanted < 0.7 * now).any() else None
        if made is None:
            break
        panel, states = made, again(made)
    return panel


def _sharp(panel: Panel, states: Sequence[State], order: int) -> dict[int, float]:
    """Vertex and length averaged over, m, of the singular places of some states, borders of laminates left out.

    Strains grow so slowly there, and there are so many, that it is left to the bars to ask for smaller elements.
    """
    found: dict[int, float] = {}
    for state in states:
        for place in places(state.panel, panel.mesh.curved(order), state.notches, state.forces):
            if place.kind == "laminate border":
                continue
            found[place.vertex] = min(place.length, found.get(place.vertex, np.inf))
    return found


def refined(panel: Panel, wishes: Sequence[Wish], order: int) -> Panel | None:
    """The panel on the next mesh, from what the states that are not accurate enough ask of it; None if no such mesh can
    be made.
    """
    mesh, now = panel.mesh, _sizes(panel.mesh)
    most = min(GROWTH, MOST_ELEMENTS / len(mesh.triangles))
    corners = np.unique(np.concatenate([w.singular for w in wishes])).astype(np.int64)
    wanted = sizes(mesh, np.concatenate([w.shares for w in wishes], axis=1), corners, most)
    finer = np.min([w.finer for w in wishes], axis=0)
    for corner in mesh.triangles.T:
        np.minimum.at(wanted, corner, now[corner] * finer)
    # never larger: what a state needs that is accurate enough already is not known here
    wanted = np.minimum(np.maximum(wanted, np.maximum(FINEST, _grain(mesh))), now)
    return _remade(panel, now, wanted, order) if (wanted < _WORTH * now).any() else None


def _grain(mesh: PanelMesh) -> FloatArray:
    """Sizes (nv,) m below which elements would follow what is made up between the vertices of an imported surface."""
    surface = mesh.surface
    if not isinstance(surface, FittedSurface):
        return np.zeros(len(mesh.vertices))
    edges = edges_of(surface.triangles)
    own = vertex_sizes(surface.vertices, edges)
    return np.asarray(own[cKDTree(surface.vertices).query(mesh.vertices)[1]])


def _remade(panel: Panel, now: FloatArray, wanted: FloatArray, order: int) -> Panel | None:
    """The panel on a mesh of edge lengths `wanted` (nv,), or on one as near to it from `now` (nv,) as can be."""
    for share in _GENTLER:
        lengths = now * (wanted / now) ** share
        for _ in range(40):
            if expected_elements(panel.mesh, lengths) <= MOST_ELEMENTS:
                break
            lengths = np.minimum(1.05 * lengths, np.maximum(now, lengths))
        try:
            made = on_mesh(panel, adapt(panel.mesh, lengths, _ends(panel)))
            if _poor(made, order) > _poor(panel, order):
                continue
        except (MeshError, ModelError):
            continue
        return made
    return None


def _poor(panel: Panel, order: int) -> int:
    """How many things are to be said about the elements of either order; ModelError if some cannot be used."""
    return sum(
        len(check_elements(Shell(panel.mesh.curved(k), panel.stiffness(), panel.axis))) for k in (order, order + 1)
    )


def _sizes(mesh: PanelMesh) -> FloatArray:
    """Mean length (nv,) m of the edges at each vertex."""
    return vertex_sizes(mesh.vertices, mesh.topology)


def on_mesh(panel: Panel, mesh: PanelMesh) -> Panel:
    """An undamaged panel on another mesh of the same surface, regions and tags.

    Supported stretches of the edge keep the ends they have on the panel's present mesh.
    """
    _, first, number = np.unique(_kinds(panel.mesh, mesh), axis=0, return_index=True, return_inverse=True)
    old = len(panel.mesh.triangles)
    number = number.ravel()
    if (first >= old).any():
        raise MeshError("the mesh has regions that overlap as they did not before", where=panel.name)
    laminate_of = panel.laminate_of[first][number[old:]]
    edges = tuple(
        replace(edge, region=_stretch(edge.name, edge.region, panel.mesh)) if edge.region is not None else edge
        for edge in panel.edges
    )
    nothing = np.zeros(len(mesh.triangles), bool)
    return replace(panel, mesh=mesh, laminate_of=laminate_of, edges=edges, removed=nothing, slack=nothing.copy())


def _kinds(old: PanelMesh, new: PanelMesh) -> IntArray:
    """Tag and regions of the elements of both meshes, one row each."""
    rows = [np.column_stack([mesh.tags, *(mesh.inside[name] for name in old.inside)]) for mesh in (old, new)]
    return np.concatenate(rows).astype(np.int64)


@dataclass(frozen=True)
class _Stretch:
    """A stretch of edge as it was on a mesh: the `ends` (n, 2, 3) m of all boundary edges; it `holds` some (n,)."""

    name: str
    ends: FloatArray
    holds: BoolArray
    size: float

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self._points)

    @cached_property
    def _points(self) -> FloatArray:
        """Points along every edge, close enough to tell a piece of one edge from the next."""
        t = (np.arange(16) + 0.5)[None, :, None] / 16.0
        a, b = self.ends[:, None, 0], self.ends[:, None, 1]
        return np.asarray(((1.0 - t) * a + t * b).reshape(-1, 3))

    def distance(self, x: FloatArray) -> FloatArray:
        """Negative (n,) for points x (n, 3) of the edge that lie on the stretch, positive for others, m."""
        held = np.repeat(self.holds, 16)[self._tree.query(x)[1]]
        return np.where(held, -self.size, self.size)


def _stretch(name: str, region: Region, mesh: PanelMesh) -> _Stretch:
    if isinstance(region, _Stretch):
        return region
    ends = mesh.vertices[mesh.boundary_edges]
    return _Stretch(name, ends, region.distance(ends.mean(axis=1)) <= 0.0, region.size)


def _ends(panel: Panel) -> IntArray:
    """Vertices (k,) where a supported stretch of the edge ends: they stay where they are."""
    mesh = panel.mesh
    edges = mesh.boundary_edges
    found = [np.zeros(0, np.int64)]
    for edge in panel.edges:
        if edge.region is not None:
            on = edge.region.distance(mesh.vertices[edges].mean(axis=1)) <= 0.0
            times = np.bincount(edges[on].ravel(), minlength=len(mesh.vertices))
            found.append(np.flatnonzero(times == 1))
    return np.unique(np.concatenate(found)).astype(np.int64)
