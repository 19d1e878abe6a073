"""A second estimate of the strength at each hole, from the exact stresses round an ellipse, beside that of the mesh.

The far field is the mean over the hole's area in the undamaged panel, membrane part only.  The hole is the ellipse
with the area and the second moments of its elements; one that is none by more than :data:`OFF` of its area has no
estimate, and neither has one too near an edge, in more than one laminate, or in a laminate that couples stretching and
bending.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.records import Notched
from panelfem.damage import Damage, Hole
from panelfem.damage.kind import Notch
from panelfem.failure.notched import NotchedLaminate
from panelfem.loads import LoadCase
from panelfem.mesh.closest import to_segments
from panelfem.panel import Panel
from panelfem.reserve.analyse import residual_of
from panelfem.reserve.records import LoadResult, ModeReserve

#: By how much of the area a hole may differ from an ellipse.
OFF = 0.03
#: Greatest share of the width a hole may take up: the formula for it is known to 7 % up to here (measured).
NARROW = 1.0 / 3.0
#: A laminate couples if the stiffness between force and curvature is more than this share of A · thickness.
_COUPLED = 1e-3


def estimates(
    panel: Panel,
    damage: Sequence[Damage],
    loads: Sequence[LoadCase],
    far: Mapping[str, FloatArray],
    found: Sequence[LoadResult],
    decide: Mapping[str, str],
) -> tuple[Notched, ...]:
    """One for each hole and load.

    `panel` undamaged; `far`: load -> mean strains (2, holes, 8), held and at the expected severity; `found`: the
    results as found.
    """
    rows = []
    notches = [d for d in damage if isinstance(d, Notch)]
    for i, hole in enumerate(d for d in damage if isinstance(d, Hole)):
        made = _laminate(panel, hole, [d for d in notches if d is not hole])
        corners = panel.mesh.vertices[panel.mesh.triangles[panel.mesh.inside[hole.region]]]
        for load in loads:
            meshed = _meshed(next(r for r in found if r.load == load.name), corners)
            row = Notched(hole.name, load.name, float("nan"), float("nan"), meshed, hole.characteristic_length)
            if isinstance(made, str):
                rows.append(replace(row, why_not=made))
                continue
            before, now = far[load.name][:, i, :6]
            laminate, residual = made.laminate, residual_of(load)
            flat = np.r_[before[:3], np.zeros(3)][None]
            stress = residual.stresses(laminate, flat)[0, :, 1]
            point, mean = made.factors(laminate.A @ (now - before)[:3], stress, hole.characteristic_length, decide)
            skin = laminate.thickness / 2.0 * np.abs((now - before)[3:]).max()
            whole = skin + np.abs((now - before)[:3]).max()
            rows.append(replace(row, point=point, average=mean, bending=float(skin / whole) if whole > 0.0 else 0.0))
    return tuple(rows)


def _laminate(panel: Panel, hole: Hole, others: Sequence[Notch]) -> NotchedLaminate | str:
    """The laminate with its hole, or why there is no closed form for it; `others` are what else is missing."""
    mesh = panel.mesh
    inside = mesh.inside[hole.region]
    laminates = {panel.laminates[k] for k in np.unique(panel.laminate_of[inside]).tolist()}
    if len(laminates) != 1:
        return "the hole lies in more than one laminate"
    laminate = laminates.pop()
    middle = float(laminate.interfaces[0] + laminate.interfaces[-1]) / 2.0
    if np.abs(laminate.B - middle * laminate.A).max() > _COUPLED * np.abs(laminate.A).max() * laminate.thickness:
        return "the laminate couples stretching and bending"
    area = mesh.areas[inside]
    centre = area @ mesh.centroids[inside] / area.sum()
    normal = area @ mesh.normals[inside]
    normal /= np.linalg.norm(normal)
    t1 = panel.axis - (panel.axis @ normal) * normal
    t1 /= np.linalg.norm(t1)
    frame = np.stack([t1, np.cross(normal, t1)])
    corners = (mesh.vertices[mesh.triangles[inside]] - centre) @ frame.T
    # ∫ x xᵀ of a triangle: area/12 (Σ v vᵀ + 9 c cᵀ)
    c = corners.mean(axis=1)
    moments = np.einsum("n,nvi,nvj->ij", area / 12.0, corners, corners) + np.einsum("n,ni,nj->ij", 0.75 * area, c, c)
    value, axes = np.linalg.eigh(moments / area.sum())
    b, a = 2.0 * np.sqrt(value)
    if abs(np.pi * a * b / area.sum() - 1.0) > OFF:
        return "the hole is no ellipse"
    ends = mesh.vertices[mesh.boundary_edges]
    width = 2.0 * float(to_segments(centre, ends[:, 0], ends[:, 1]).min(initial=np.inf))
    if 2.0 * a > NARROW * width:
        return "the hole is too near an edge"
    for other in others:
        there = mesh.vertices[mesh.triangles[mesh.inside[other.region]]].reshape(-1, 3)
        if 2.0 * a > NARROW * 2.0 * float(np.linalg.norm(there - centre, axis=1).min(initial=np.inf)):
            return f"{other.name} is too near the hole"
    return NotchedLaminate(laminate, (float(a), float(b)), float(np.arctan2(axes[1, 1], axes[0, 1])), width)


def _meshed(result: LoadResult, corners: FloatArray) -> float:
    """Least factor of the ply modes that govern release where stress was averaged at a hole of triangles `corners`
    (n, 3, 3), inf if none governs there.
    """
    start, end = corners.reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)

    def here(mode: ModeReserve) -> bool:
        if mode.grade != "release" or mode.place is None or mode.averaged <= 0.0:
            return False
        return float(to_segments(mode.place, start, end).min()) <= mode.averaged

    return min((mode.rank for mode in result.modes if here(mode)), default=float("inf"))
