"""The bond line of a patch: adhesive shear and peel along its outer edge, and along the border of a gap it bridges.

The resultants that cross an edge come from the shell solution just outside it; the joint model turns them into adhesive
peaks.  The peaks of what is held and of what is added are added up, which is on the safe side: they need not sit at the
same distance from the edge.

At the tip of a slot and at a corner of the patch the resultants grow without limit as the mesh is refined.  All along
an edge they are therefore averaged along it over a characteristic length, half of it to either side of a place: that
has a limit, and changes nothing where they vary slowly.  That of a gap is the length its notch names.

Source: the average-stress criterion of Whitney & Nuismer 1974, J. Compos. Mater. 8:253 (recalled), which is one for
laminates; its use along a bond line is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.joint import gap_edge, pair_edge, patch_edge, taper_peaks
from panelfem.laminate import Laminate
from panelfem.panel import BondedPatch, Panel
from panelfem.repair import near_skin
from panelfem.reserve.check import Words, factor_on_scalar, least, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import BondCheck, ModeReserve
from panelfem.reserve.sampling import CUT_LENGTH, Border, NodePoints, Notch, border, border_nodes
from panelfem.shell import Recovery

#: A patch on a whole panel is bonded over this at least, m, whatever the mesh says of its middle.
_LEAST_OVERLAP = 1e-3


@dataclass(frozen=True)
class BondEdge:
    """A stretch of edge with one laminate on either side.

    It is read at n nodes, vertices and nodes on edges: `rows` (n,) into the edge arrays of what is observed, with the
    direction into the overlap `cosines` (n, 2) there; `stiffness` (8, 8) of what carries the load to the edge.  `mean`
    (m, n) averages along the edge over `length` m about m vertices at `points` (m, 3), where the direction into the
    overlap is at `angle` (m,) from the 0° axis.  `filled`: the patch spans a gap together with what fills it; only what
    it carries itself enters the bond.
    """

    patch: BondedPatch
    inner: bool
    parent: Laminate
    rows: IntArray
    points: FloatArray
    cosines: FloatArray
    angle: FloatArray
    stiffness: FloatArray
    overlap: float
    mean: FloatArray
    length: float
    filled: bool = False

    def mode(self, name: str) -> str:
        """What its mode by "shear" or "peel" is called."""
        return f"bond {name} {'at the gap below' if self.inner else 'at the edge of'} {self.patch.name}"

    def crossing(self, strain: FloatArray, shear: FloatArray) -> FloatArray:
        """N, M, Q (3, m) that cross the edge, averaged, for edge strains (nb, 8) and shear resultants (nb, 2)."""
        force = strain[self.rows] @ self.stiffness.T
        c, s = self.cosines.T
        across = np.stack([c * c, s * s, 2.0 * c * s], 1)
        n, m = (force[:, :3] * across).sum(1), (force[:, 3:6] * across).sum(1)
        q = c * shear[self.rows, 0] + s * shear[self.rows, 1]
        return np.stack([n, m, q]) @ self.mean.T

    def peaks(self, strain: FloatArray, shear: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Peak shear and peel (m,) Pa for edge strains (nb, 8) and transverse shear resultants (nb, 2)."""
        n, m, q = self.crossing(strain, shear)
        p = self.patch
        if self.filled:
            q = np.zeros_like(q)  # what fills the gap carries the shear
        if p.taper is not None:
            # what the plies that end carry, about their middle
            middle = float(self.parent.interfaces[[0, -1]].mean())
            ends = (p.taper.slope, p.taper.step)
            return taper_peaks(
                self.parent, p.laminate, ends, p.adhesive, p.bond_thickness, p.side, n, m - middle * n, self.angle
            )
        if p.paired:
            return pair_edge(
                self.parent,
                p.laminate,
                p.adhesive,
                p.bond_thickness,
                self.overlap,
                n,
                m,
                q,
                angle=self.angle,
                side=p.side,
                inner=self.inner,
            )
        if self.inner:
            return gap_edge(
                self.parent,
                p.laminate,
                p.adhesive,
                p.bond_thickness,
                self.overlap,
                n,
                m,
                q,
                angle=self.angle,
                side=p.side,
            )
        return patch_edge(
            self.parent,
            p.laminate,
            p.adhesive,
            p.bond_thickness,
            self.overlap,
            n,
            m,
            q,
            angle=self.angle,
            side=p.side,
        )


@dataclass(frozen=True)
class BondLines:
    """All bond edges of a panel; `points` (nb,) are the recovery points they read."""

    edges: tuple[BondEdge, ...]
    points: IntArray
    words: Words

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """Adhesive shear and peel of every patch, outer edge and gap border apart."""
        found = []
        added = (now.edge_strain - held.edge_strain, now.edge_shear - held.edge_shear)
        for edge in self.edges:
            before, after = edge.peaks(held.edge_strain, held.edge_shear), edge.peaks(*added)
            strengths = _strengths(edge.patch)
            for name, h, a, allow in zip(("shear", "peel"), before, after, strengths, strict=True):
                i, factor = least(factor_on_scalar(h, a, allow))
                found.append(
                    mode_reserve(
                        edge.mode(name),
                        "bonded overlap",
                        "release",
                        factor,
                        edge.points[i],
                        self.words,
                        averaged=edge.length,
                    )
                )
        return found

    def stresses(self, now: Observed) -> tuple[BondCheck, ...]:
        """Peak adhesive stresses of each patch at a state."""
        rows = []
        for edge in self.edges:
            shear, peel = edge.peaks(now.edge_strain, now.edge_shear)
            allow = _strengths(edge.patch)
            i = int(np.argmax(np.maximum(shear / allow[0], peel / allow[1])))
            where = ("gap border, " if edge.inner else "outer edge, ") + self.words(edge.points[i])
            rows.append(BondCheck(edge.patch.name, float(shear.max()), float(peel.max()), *allow, where))
        return tuple(rows)

    def steps(self, coarse: BondLines, before: Observed, now: Observed) -> tuple[dict[str, float], ...]:
        """By edge, and by its modes in shear and in peel: how far its peaks at `now` are from those of elements of
        another order on the same mesh, `before`, as a share, at the place where either is greatest.

        Where these two places differ, the greatest of each may be alike by chance.
        """
        found = []
        for one, other in zip(coarse.edges, self.edges, strict=True):
            a = np.stack(one.peaks(before.edge_strain, before.edge_shear))
            b = np.stack(other.peaks(now.edge_strain, now.edge_shear))
            at = np.stack([a.argmax(1), b.argmax(1)], 1)
            step, most = np.take_along_axis(np.abs(a - b), at, 1).max(1), np.abs(b.max(1))
            share = np.divide(step, most, out=np.zeros(2), where=most > 0.0)
            found.append({other.mode("shear"): float(share[0]), other.mode("peel"): float(share[1])})
        return tuple(found)


def _strengths(patch: BondedPatch) -> tuple[float, float]:
    return patch.adhesive.shear_strength * patch.strength, patch.adhesive.peel_strength * patch.strength


def bond_lines(panel: Panel, recovery: Recovery, words: Words, notches: Sequence[Notch] = ()) -> BondLines:
    """The bond edges of a panel, read at the recovery points of the nodes along them.

    `notches` lend their length to the gaps they are; :data:`CUT_LENGTH` elsewhere.
    """
    mesh, order = panel.mesh, recovery.shell.mesh.order
    finder = NodePoints(recovery)
    edges: list[BondEdge] = []
    points: list[IntArray] = []
    for patch in panel.patches:
        inside = _covered(panel, patch)
        bonded = inside & ~patch.bridging
        overlap = overlap_of(panel, patch)
        lengths = [n.length for n in notches if (n.inside & patch.bridging).any()]
        for inner in (False, True):
            # the load comes from outside the outer edge, and from the bridge at the gap's border
            carriers = patch.bridging if inner else ~panel.removed & ~panel.slack & ~inside
            if patch.taper is not None:
                carriers &= ~mesh.inside[patch.region]  # a loose half has no skin that ends there
            length = min(lengths, default=CUT_LENGTH) if inner else CUT_LENGTH
            for number in np.unique(panel.laminate_of[carriers]).tolist():
                # the carriers of one laminate lie to the left, where they carry the load to the edge
                mine = carriers & (panel.laminate_of == number)
                line, pieces = border_nodes(mesh, order, bonded if inner else inside, mine)
                if not len(line.vertices):
                    continue
                at = finder.find(line.vertices, np.full(len(line.vertices), number))
                frame, into = recovery.frame[at], -line.outward
                cosines = np.stack([(frame[:, 0] * into).sum(1), (frame[:, 1] * into).sum(1)], 1)
                cosines /= np.linalg.norm(cosines, axis=1, keepdims=True)
                vertex = np.flatnonzero(line.vertices < len(mesh.vertices))
                mean = _along(np.searchsorted(line.vertices, pieces), recovery.points[at], length)[vertex]
                carrier = panel.laminates[number]
                stiffness, parent = carrier.stiffness, _below(panel, patch, bonded) if inner else carrier
                filled = inner and len(carrier.plies) > len(patch.laminate.plies)
                if filled:
                    stiffness = patch.laminate.stiffness
                if patch.taper is not None:
                    parent = near_skin(carrier, patch.side)
                    stiffness = parent.stiffness
                edges.append(
                    BondEdge(
                        patch,
                        inner,
                        parent,
                        np.arange(len(at)) + sum(len(p) for p in points),
                        recovery.points[at[vertex]],
                        cosines,
                        np.arctan2(cosines[vertex, 1], cosines[vertex, 0]),
                        stiffness,
                        overlap,
                        mean,
                        length,
                        filled,
                    )
                )
                points.append(at)
    return BondLines(tuple(edges), np.concatenate(points) if points else np.zeros(0, np.int64), words)


def _along(pieces: IntArray, x: FloatArray, length: float) -> FloatArray:
    """Means along chains of straight pieces (k, 2) over `length` about each of their nodes x (n, 3): weights (n, n).

    Values are taken linear from node to node.  At an end of a chain the mean is over what there is.

    >>> _along(np.array([[0, 1], [1, 2]]), np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), 2.0)[1].tolist()
    [0.25, 0.5, 0.25]
    """
    mean = np.eye(len(x))
    for chain in _chains(pieces):
        nodes, closed = (chain[:-1], True) if chain[0] == chain[-1] and len(chain) > 2 else (chain, False)
        step = np.linalg.norm(np.diff(x[chain], axis=0), axis=1)
        whole, half = float(step.sum()), length / 2.0
        if closed and length >= whole:
            weight = np.zeros(len(x))
            np.add.at(weight, chain[:-1], step / 2.0)
            np.add.at(weight, chain[1:], step / 2.0)
            mean[nodes] = weight / whole
            continue
        # the chain once, or three times over where it is closed
        laps = 3 if closed else 1
        line = np.concatenate([np.tile(nodes, laps), nodes[:1]]) if closed else nodes
        place = np.concatenate([[0.0], np.cumsum(np.tile(step, laps))])
        integral = np.zeros((len(line), len(x)))  # of the values, from the start of the line to each node
        rows = np.arange(1, len(line))
        width = np.diff(place) / 2.0
        np.add.at(integral, (rows, line[:-1]), width)
        np.add.at(integral, (rows, line[1:]), width)
        integral = np.cumsum(integral, axis=0)
        middle = place[len(nodes) : 2 * len(nodes)] if closed else place
        low, high = np.maximum(middle - half, 0.0), np.minimum(middle + half, place[-1])
        total = _integral(integral, line, place, high) - _integral(integral, line, place, low)
        mean[nodes] = total / (high - low)[:, None]
    return mean


def _integral(integral: FloatArray, line: IntArray, place: FloatArray, at: FloatArray) -> FloatArray:
    """Weights (m, n) of the integral of values linear between the nodes `line` at `place`, up to places `at` (m,)."""
    i = np.clip(np.searchsorted(place, at, side="right") - 1, 0, len(place) - 2)
    part = at - place[i]
    share = part / (place[i + 1] - place[i])
    out = integral[i].copy()
    rows = np.arange(len(at))
    np.add.at(out, (rows, line[i]), part * (1.0 - share / 2.0))
    np.add.at(out, (rows, line[i + 1]), part * share / 2.0)
    return out


def _chains(pieces: IntArray) -> list[IntArray]:
    """Directed pieces (k, 2) as chains of nodes; a closed one ends where it starts."""
    follow: dict[int, list[int]] = {}
    for a, b in pieces.tolist():
        follow.setdefault(a, []).append(b)
    arrivals = set(pieces[:, 1].tolist())
    starts = [a for a in follow if a not in arrivals]
    found: list[IntArray] = []
    while follow:
        at = starts.pop() if starts else next(iter(follow))
        chain = [at]
        while follow.get(at):
            after = follow[at].pop()
            if not follow[at]:
                del follow[at]
            chain.append(after)
            at = after
            if at == chain[0]:
                break
        if len(chain) > 1:
            found.append(np.array(chain, np.int64))
    return found


def _covered(panel: Panel, patch: BondedPatch) -> BoolArray:
    """The elements (ne,) on which a patch holds."""
    return panel.mesh.inside[patch.region] & ~panel.removed & ~patch.off


def overlap_of(panel: Panel, patch: BondedPatch) -> float:
    """Least bonded length (m) of a patch: from its outer edge to the gap below, or to its middle."""
    mesh, inside = panel.mesh, _covered(panel, patch)
    outer = border(mesh, inside, ~panel.removed & ~inside)
    gap = border(mesh, patch.bridging, inside & ~patch.bridging)
    return _overlap(mesh.vertices, outer, gap, mesh.vertices[np.unique(mesh.triangles[inside])])


def _below(panel: Panel, patch: BondedPatch, bonded: BoolArray) -> Laminate:
    """The laminate a patch lies on next to the gap: that of most of its bonded area, without the patch."""
    numbers, counts = np.unique(panel.laminate_of[bonded], return_counts=True)
    whole = panel.laminates[int(numbers[np.argmax(counts)])]
    layers = len(patch.laminate.plies) + 1
    if patch.paired:
        return Laminate(whole.plies[layers:-layers], bottom=float(whole.interfaces[layers]))
    low = float(whole.interfaces[0])
    if patch.side > 0:
        return Laminate(whole.plies[:-layers], bottom=low)
    return Laminate(whole.plies[layers:], bottom=float(whole.interfaces[layers]))


def _overlap(vertices: FloatArray, outer: Border, gap: Border, inside: FloatArray) -> float:
    """Least bonded length (m): from the outer edge to the gap, or to the middle of the patch."""
    if not len(outer.vertices):
        return float(np.ptp(inside, axis=0).max() / 2.0)
    edge = vertices[outer.vertices]
    if len(gap.vertices):
        reach = np.linalg.norm(edge[:, None] - vertices[gap.vertices][None], axis=2).min()
    else:
        reach = np.linalg.norm(inside[:, None] - edge[None], axis=2).min(1).max()
    return float(max(reach, _LEAST_OVERLAP))
