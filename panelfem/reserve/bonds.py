"""The bond line of a patch: adhesive shear and peel along its outer edge, and along the border of a gap it bridges.

The resultants that cross an edge come from the shell solution just outside it; the joint model turns them into adhesive
peaks.  The peaks of what is held and of what is added are added up, which is on the safe side: they need not sit at the
same distance from the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.joint import gap_edge, patch_edge
from panelfem.laminate import Laminate
from panelfem.panel import BondedPatch, Panel
from panelfem.reserve.check import Words, factor_on_scalar, least, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import BondCheck, ModeReserve
from panelfem.reserve.sampling import Border, VertexPoints, border
from panelfem.shell import Recovery

#: A patch on a whole panel is bonded over this at least, m, whatever the mesh says of its middle.
_LEAST_OVERLAP = 1e-3


@dataclass(frozen=True)
class BondEdge:
    """A stretch of edge with one laminate on either side.

    `rows` (n,) into the edge arrays of what is observed; `into` (n, 3) the direction into the overlap in the surface,
    with `angle` (n,) from the 0° axis; `points` (n, 3); `stiffness` (8, 8) of what carries the load to the edge.
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

    def peaks(self, strain: FloatArray, shear: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Peak shear and peel (n,) Pa for edge strains (nb, 8) and transverse shear resultants (nb, 2)."""
        force = strain[self.rows] @ self.stiffness.T
        c, s = self.cosines.T
        across = np.stack([c * c, s * s, 2.0 * c * s], 1)
        n, m = (force[:, :3] * across).sum(1), (force[:, 3:6] * across).sum(1)
        q = c * shear[self.rows, 0] + s * shear[self.rows, 1]
        p = self.patch
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
                place = "at the gap below" if edge.inner else "at the edge of"
                found.append(
                    mode_reserve(
                        f"bond {name} {place} {edge.patch.name}",
                        "bonded overlap",
                        "release",
                        factor,
                        edge.points[i],
                        self.words,
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


def _strengths(patch: BondedPatch) -> tuple[float, float]:
    return patch.adhesive.shear_strength * patch.strength, patch.adhesive.peel_strength * patch.strength


def bond_lines(panel: Panel, recovery: Recovery, words: Words) -> BondLines:
    """The bond edges of a panel, read at the recovery points of the vertices along them."""
    mesh = panel.mesh
    vertex_points = VertexPoints(recovery, len(mesh.vertices))
    edges: list[BondEdge] = []
    points: list[IntArray] = []
    for patch in panel.patches:
        inside = mesh.inside[patch.region] & ~panel.removed
        bonded = inside & ~patch.bridging
        outer = border(mesh, inside, ~panel.removed & ~inside)
        gap = border(mesh, patch.bridging, bonded)
        overlap = _overlap(mesh.vertices, outer, gap, mesh.vertices[np.unique(mesh.triangles[inside])])
        for inner, line in ((False, outer), (True, gap)):
            if not len(line.vertices):
                continue
            # the load comes from outside the outer edge, and from the bridge at the gap's border
            carriers = patch.bridging if inner else ~panel.removed & ~panel.slack & ~inside
            into = line.outward if inner else -line.outward
            for number in np.unique(panel.laminate_of[carriers]).tolist():
                at = vertex_points.find(line.vertices, np.full(len(line.vertices), number))
                here = at >= 0
                if not here.any():
                    continue
                frame = recovery.frame[at[here]]
                cosines = np.stack([(frame[:, 0] * into[here]).sum(1), (frame[:, 1] * into[here]).sum(1)], 1)
                cosines /= np.linalg.norm(cosines, axis=1, keepdims=True)
                parent = _below(panel, patch, bonded) if inner else panel.laminates[number]
                rows = np.arange(here.sum()) + sum(len(p) for p in points)
                edges.append(
                    BondEdge(
                        patch,
                        inner,
                        parent,
                        rows,
                        mesh.vertices[line.vertices[here]],
                        cosines,
                        np.arctan2(cosines[:, 1], cosines[:, 0]),
                        panel.laminates[number].stiffness,
                        overlap,
                    )
                )
                points.append(at[here])
    return BondLines(tuple(edges), np.concatenate(points) if points else np.zeros(0, np.int64), words)


def _below(panel: Panel, patch: BondedPatch, bonded: BoolArray) -> Laminate:
    """The laminate a patch lies on next to the gap: that of most of its bonded area, without the patch."""
    numbers, counts = np.unique(panel.laminate_of[bonded], return_counts=True)
    whole = panel.laminates[int(numbers[np.argmax(counts)])]
    layers = len(patch.laminate.plies) + 1
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
