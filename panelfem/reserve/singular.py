"""Singular places: where linear theory has strains without limit, so that a point value only tells the mesh size.

Found at the vertices of the mesh, from the angles between the true (curved) edges that meet there; a smooth border is
one straight angle at each of its vertices, however few its elements.  ω is the angle of what can deform:

- corners of a free edge, ω > 180° (re-entrant; an outline, a cut-out, a hole, a dull area that carries nothing);
- corners of a held area or edge: clamped ω > 180°, hinged or supported ω > 90°, and none where the edge runs straight;
- places where one kind of edge changes into another: clamped or hinged into free ω > 60°, supported into free 90°,
  clamped into hinged 129°, clamped or hinged into supported 60°;
- corners of the border between laminates of different stiffness, and where such a border meets the edge of the panel;
- areas so small that a force spread over them acts as in a point: narrower than the laminate is thick, or than twice
  the characteristic length.

Within `TURN` of these angles the strains grow so slowly that nothing is made of it.  Left out: creases of the surface.

Source: critical angles of plates in bending, M. L. Williams 1952, J. Appl. Mech. 19:526, and in their plane (63° for
clamped into free with ν = 0.3, taken as 60°) (recalled); held edges take the lower of the two.  `TURN`, and the width
below which a force acts as in a point: a choice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.topology import edges_of, unit
from panelfem.panel import Panel
from panelfem.reserve.records import ContactState, ModeReserve
from panelfem.reserve.sampling import CUT_LENGTH, Notch, Place, edge_nodes
from panelfem.units import number

#: A border turns at a corner by this at least, rad.
TURN = np.radians(20.0)
#: An average is too low by more than a few per cent where the elements are longer than this share of its length.
#: Measured on a free right-angled corner, elements of order 2 / 3: twice the length 23 / 11 % low, the length 8 / 5 %,
#: half of it 3 / 4 %, a quarter 2.5 / 1 %, an eighth 1 / 1 %.
COARSE = 0.5
#: Directions of the rays from a singular place are this far apart at most, and this far from its edges, rad.
_STEP, _INSET = np.radians(15.0), np.radians(2.0)
#: Laminates whose stiffnesses differ by less than this share are alike.
_ALIKE = 0.05

_FREE, _SUPPORTED, _HINGED, _CLAMPED = range(4)
_NAMES = ("free", "supported", "hinged", "clamped")
#: Angle (degrees) above which strains have no limit, by the kinds of the two edges.
_CRITICAL = np.array(
    [
        [180.0, 90.0, 60.0, 60.0],
        [90.0, 90.0, 60.0, 60.0],
        [60.0, 60.0, 90.0, 129.0],
        [60.0, 60.0, 129.0, 180.0],
    ]
)


def places(
    panel: Panel, curved: CurvedMesh, notches: Sequence[Notch] = (), forces: Sequence[str] = ()
) -> tuple[Place, ...]:
    """The singular places of a panel on its mesh with curved nodes, in the order of their vertices.

    `notches` lend their length to the places on their border; `forces` are the mesh regions over which forces are
    spread (those of point masses are added).  At one vertex the edge comes before the border between laminates.
    """
    found = _Finder(panel, curved, notches)
    every = {place.vertex: place for place in (*found.forces(forces), *found.borders(), *found.edges())}
    return tuple(every[vertex] for vertex in sorted(every))


def notes(
    found: Sequence[Place], modes: Sequence[ModeReserve], contacts: Sequence[ContactState] = (), thickness: float = 0.0
) -> tuple[str, ...]:
    """What is to be said of governing modes that sit at singular places or under a shape that presses in a point.

    `thickness` m of the laminate there: what is narrower counts as a point.
    """
    said: list[str] = []
    for mode in modes:
        if mode.place is None:
            continue
        at = mode.place
        where = f" {mode.where}" if mode.where else ""
        near = [p for p in found if mode.averaged > 0 and np.linalg.norm(p.point - at) <= p.length * (1.0 + 1e-9)]
        if near:
            place = min(near, key=lambda p: float(np.linalg.norm(p.point - at)))
            length, size = number(1e3 * mode.averaged, 2), number(1e3 * place.size, 2)
            said.append(f"the stress{where} is singular ({place.what}): averaged over {length} mm")
            if place.size > COARSE * mode.averaged:
                said[-1] += f", on elements of {size} mm: too coarse for it, so the stress is too low"
            continue
        for contact in contacts:
            if _in_a_point(contact, at, thickness):
                said.append(
                    f"the stress{where} lies where a shape presses as in a point: a point value, which grows as the "
                    "mesh is refined"
                )
    return tuple(dict.fromkeys(said))


def _in_a_point(contact: ContactState, place: FloatArray, thickness: float) -> bool:
    if not len(contact.where):
        return False
    width = float(np.linalg.norm(np.ptp(contact.where, axis=0)))
    narrow = width < max(thickness, 2.0 * CUT_LENGTH)
    return narrow and float(np.linalg.norm(contact.where - place, axis=1).min()) <= max(thickness, 2.0 * CUT_LENGTH)


@dataclass(frozen=True)
class _Rim:
    """Directed edges a → b of what can deform, which lies to their left: `tail` (n,), `head` (n,), the tangents
    (n, 3) that leave tail and head along the edge, `hold` (n,) its kind and `name` (n,) what holds it or is gone.
    """

    tail: IntArray
    head: IntArray
    leaving: FloatArray
    returning: FloatArray
    hold: IntArray
    name: list[str]


@cache
def _slope(k: int) -> FloatArray:
    """Derivative (k+1,) at the start of the polynomial through k+1 equally spaced values."""
    t = np.arange(k + 1) / k
    return np.asarray(np.linalg.inv(np.vander(t, increasing=True))[1])


class _Finder:
    def __init__(self, panel: Panel, curved: CurvedMesh, notches: Sequence[Notch]) -> None:
        self.panel, self.mesh, self.notches = panel, panel.mesh, notches
        self.rigid = np.zeros(len(panel.removed), bool)
        for area in panel.held_areas:
            self.rigid |= panel.mesh.inside[area.region] & ~panel.removed
        self.soft: BoolArray = ~panel.removed & ~panel.slack & ~self.rigid
        chain = curved.x[curved.nodes[:, edge_nodes(curved.order)]]  # (ne, 3, k+1, 3)
        slope = _slope(curved.order)
        self.leaving: FloatArray = unit(np.einsum("j,esjc->esc", slope, chain))
        self.returning: FloatArray = unit(np.einsum("j,esjc->esc", slope, chain[:, :, ::-1]))
        back = self.returning[:, [2, 0, 1]]
        across = np.linalg.norm(np.cross(self.leaving, back), axis=2)
        #: angle (ne, 3) between the true edges at each corner of each element
        self.angle: FloatArray = np.arctan2(across, np.einsum("esc,esc->es", self.leaving, back))

    # ------------------------------------------------------------------------------------------------ edges
    def rim(self) -> _Rim:
        """The edges of what can deform."""
        mesh, topology = self.mesh, self.mesh.topology
        of = topology.of
        times = np.bincount(of[self.soft].ravel(), minlength=len(topology.ends))
        element, side = np.nonzero(self.soft[:, None] & (times[of] == 1))
        tail, head = mesh.triangles[element, side], mesh.triangles[element, (side + 1) % 3]
        edge = of[element, side]
        hold, name = np.zeros(len(element), np.int64), [""] * len(element)
        inner = topology.count[edge] > 1
        other = topology.sides[edge].sum(axis=1) - element  # the element beyond, where there is one
        middle = mesh.vertices[np.stack([tail, head], 1)].mean(axis=1)
        for support in self.panel.edges:
            kind = {"clamped": _CLAMPED, "hinged": _HINGED, "supported": _SUPPORTED, "elastic": _FREE}[support.hold]
            at = ~inner if support.region is None else ~inner & (support.region.distance(middle) <= 0)
            for i in np.flatnonzero(at & (hold < kind)).tolist():
                hold[i], name[i] = kind, f"the {support.hold} edge {support.name}"
        for i in np.flatnonzero(inner).tolist():
            beyond = int(other[i])
            if self.rigid[beyond]:
                hold[i] = _CLAMPED
                areas = [a.name for a in self.panel.held_areas if mesh.inside[a.region][beyond]]
                name[i] = f"held area {areas[0]}"
            else:
                name[i] = self._gone(beyond)
        return _Rim(tail, head, self.leaving[element, side], self.returning[element, side], hold, name)

    def _gone(self, element: int) -> str:
        """The region of an element that is not there or carries nothing, in words."""
        away = self.panel.removed if self.panel.removed[element] else self.panel.slack
        names = [n for n, inside in self.mesh.inside.items() if inside[element] and away[inside].all()]
        return names[0] if names else "what is gone"

    def edges(self) -> list[Place]:
        """Corners of edges and places where their kind changes."""
        rim, nv = self.rim(), len(self.mesh.vertices)
        omega = np.bincount(self.mesh.triangles[self.soft].ravel(), self.angle[self.soft].ravel(), nv)
        passes = np.bincount(rim.tail, minlength=nv)
        out, into = np.full(nv, -1, np.int64), np.full(nv, -1, np.int64)
        out[rim.tail], into[rim.head] = np.arange(len(rim.tail)), np.arange(len(rim.head))
        at = np.flatnonzero((out >= 0) & (into >= 0))
        first, second = rim.hold[into[at]], rim.hold[out[at]]
        straight = (first == second) & (np.abs(omega[at] - np.pi) <= TURN)
        sharp = (omega[at] > np.radians(_CRITICAL[first, second]) + TURN) & ~straight
        found = []
        for v in at[sharp | (passes[at] > 1)].tolist():
            before, after = int(into[v]), int(out[v])
            rays = self._fan(v, rim.leaving[after], float(omega[v])) if passes[v] == 1 else self._round(v)
            found.append(self._place(*_what(rim, before, after), v, rays))
        return found

    # ---------------------------------------------------------------------------------------------- borders
    def borders(self) -> list[Place]:
        """Corners of borders between laminates of different stiffness, and where they meet an edge."""
        kind = self._kinds()[self.panel.laminate_of]
        corners, nv = self.mesh.triangles[self.soft], len(self.mesh.vertices)
        count = int(kind.max(initial=0)) + 1
        key = corners * count + kind[self.soft][:, None]
        pairs, number_of = np.unique(key, return_inverse=True)
        omega = np.bincount(number_of.ravel(), self.angle[self.soft].ravel())
        vertex = pairs // count
        whole, several = np.bincount(vertex, omega, nv), np.bincount(vertex, minlength=nv)
        bent = np.zeros(nv, bool)
        bent[vertex[np.abs(omega - whole[vertex] / 2.0) > TURN]] = True
        ends = self._border_ends(kind)
        rim = self.rim()
        edge = np.zeros(nv, bool)
        edge[rim.tail] = edge[rim.head] = True
        wanted = (several >= 2) & (bent | (several >= 3) | (ends > 2) | edge)
        found = []
        for v in np.flatnonzero(wanted).tolist():
            # where the border meets the edge the rays that leave the panel are dropped as they are sampled
            name = self._region_at(v, kind)
            what = f"the border of {name} meets an edge" if edge[v] else f"corner of {name}"
            found.append(self._place("laminate border", what, v, self._round(v)))
        return found

    def _kinds(self) -> IntArray:
        """A number for each laminate: that of the first of the same stiffness."""
        stiffness = [laminate.stiffness for laminate in self.panel.laminates]
        kinds = np.arange(len(stiffness))
        for i, c in enumerate(stiffness):
            size = np.sqrt(np.abs(np.outer(np.diag(c), np.diag(c))))
            for j in range(i):
                if kinds[j] == j and np.all(np.abs(stiffness[j] - c) <= _ALIKE * size):
                    kinds[i] = j
                    break
        return kinds.astype(np.int64)

    def _border_ends(self, kind: IntArray) -> IntArray:
        """How many edges between kinds of laminate end at each vertex, (nv,)."""
        edges = edges_of(self.mesh.triangles[self.soft])
        of = kind[self.soft]
        a, b = edges.sides.T
        differ = (b >= 0) & (of[a] != of[np.maximum(b, 0)])
        ends: IntArray = np.bincount(edges.ends[differ].ravel(), minlength=len(self.mesh.vertices)).astype(np.int64)
        return ends

    def _region_at(self, vertex: int, kind: IntArray) -> str:
        """The region whose border runs through a vertex and parts two laminates there, in words."""
        elements = self._elements(vertex)
        best, agreement = "a border between laminates", 0
        for name, inside in self.mesh.inside.items():
            flags = inside[elements]
            if flags.all() or not flags.any():
                continue
            parted = set(kind[elements[flags]].tolist()).isdisjoint(kind[elements[~flags]].tolist())
            if 1 + parted > agreement:
                best, agreement = name, 1 + parted
        return best

    def _elements(self, vertex: int) -> IntArray:
        """The elements at a vertex that can deform."""
        return np.flatnonzero((self.mesh.triangles == vertex).any(axis=1) & self.soft).astype(np.int64)

    # ----------------------------------------------------------------------------------------------- forces
    def forces(self, regions: Sequence[str]) -> list[Place]:
        """Areas so small that a force spread over them acts as in a point."""
        named = {r: f"the force on {r}" for r in regions} | {
            m.region: f"the point mass {m.name}" for m in self.panel.masses
        }
        thick = np.array([laminate.thickness for laminate in self.panel.laminates])[self.panel.laminate_of]
        found = []
        for region, what in named.items():
            inside = self.mesh.inside[region] & self.soft
            if not inside.any():
                continue
            area = self.mesh.areas[inside]
            if 2.0 * np.sqrt(area.sum() / np.pi) >= max(float(thick[inside].max()), 2.0 * CUT_LENGTH):
                continue
            centre = area @ self.mesh.centroids[inside] / area.sum()
            vertices = np.unique(self.mesh.triangles[inside])
            v = int(vertices[np.argmin(((self.mesh.vertices[vertices] - centre) ** 2).sum(axis=1))])
            found.append(self._place("concentrated force", what, v, self._round(v)))
        return found

    # --------------------------------------------------------------------------------------------- in common
    def _place(self, kind: str, what: str, vertex: int, rays: FloatArray) -> Place:
        elements = (self.mesh.triangles == vertex).any(axis=1)
        of_notch = [n.length for n in self.notches if n.inside[elements].any() and not n.inside[elements].all()]
        length = min(of_notch, default=CUT_LENGTH)
        side = self.mesh.edges[(self.mesh.edges == vertex).any(axis=1)]
        size = float(np.linalg.norm(np.diff(self.mesh.vertices[side], axis=1), axis=2).mean())
        return Place(kind, what, vertex, self.mesh.vertices[vertex], length, rays, size)

    def _fan(self, vertex: int, start: FloatArray, omega: float) -> FloatArray:
        """Directions from the edge that leaves a vertex along `start` (3,) to its left through the angle `omega`."""
        count = max(1, int(np.ceil((omega - 2.0 * _INSET) / _STEP)))
        return self._turned(vertex, start, np.linspace(_INSET, omega - _INSET, count + 1))

    def _round(self, vertex: int) -> FloatArray:
        """Directions all round."""
        elements, corner = np.nonzero(self.mesh.triangles == vertex)
        start = self.leaving[elements[0], corner[0]]
        return self._turned(vertex, start, np.arange(0.0, 2.0 * np.pi - 1e-9, _STEP))

    def _turned(self, vertex: int, start: FloatArray, angles: FloatArray) -> FloatArray:
        normal = self.mesh.vertex_normals[vertex]
        first = unit(start - (start @ normal) * normal)
        second = np.cross(normal, first)
        return np.asarray(np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second)


def _what(rim: _Rim, before: int, after: int) -> tuple[str, str]:
    """Kind of a place between two edges, and what it is in words."""
    a, b = int(rim.hold[before]), int(rim.hold[after])
    if a == b == _FREE:
        name = rim.name[after] or rim.name[before]
        return "re-entrant corner", f"re-entrant corner of {name}" if name else "re-entrant corner of the outline"
    higher = before if a >= b else after
    if a == b:
        return "held corner", f"corner of {rim.name[higher]}"
    return "end of a held edge", f"end of {rim.name[higher]}, which is {_NAMES[min(a, b)]} beyond"


__all__ = ["TURN", "Place", "notes", "places"]
