"""Whether linear theory may be believed.

Three measures, each with its limit: the deflection against the nearest support, over the thickness (membrane action starts
to matter); the greatest rotation (small-angle geometry); and the compressive membrane force over a hand buckling load of
the bay it stands in.  A bay is the largest circle free of supports that covers the place, and its hand buckling load is
that of a long supported strip of orthotropic plate as wide as the circle, softened by transverse shear:

    N_b = 2 π²/b² (√(D11 D22) + D12 + 2 D66),     1/N = 1/N_b + 1/S

Source: the strip formula is S. G. Lekhnitskii, Anisotropic Plates, 1968 (from memory; for an isotropic plate it gives the
factor 4); the limits 0.3, 0.1 rad and a third are set by this tool (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from panelfem.arrays import BoolArray, FloatArray
from panelfem.panel import Panel
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import TheoryCheck
from panelfem.reserve.sampling import Sampling
from panelfem.units import number

DEFLECTION, ROTATION, BUCKLING = 0.3, 0.1, 1.0 / 3.0


def principal_compression(n11: FloatArray, n22: FloatArray, n12: FloatArray) -> FloatArray:
    """Greatest compressive principal value of a symmetric plane tensor, positive in compression.

    >>> principal_compression(np.array([-2.0]), np.array([1.0]), np.array([0.0]))
    array([2.])
    """
    return np.sqrt(((n11 - n22) / 2.0) ** 2 + n12**2) - (n11 + n22) / 2.0


@dataclass(frozen=True)
class Theory:
    """The measures of one panel.

    `vertices` (m,) are those whose motion counts, with `thickness` (m,) m and `normals` (m, 3); `nearest` (m,) is the
    vertex of the nearest support of each; `critical` (ns,) N/m the hand buckling load at the sampling points.
    """

    vertices: np.ndarray[tuple[int], np.dtype[np.int64]]
    thickness: FloatArray
    normals: FloatArray
    nearest: np.ndarray[tuple[int], np.dtype[np.int64]]
    critical: FloatArray
    group: np.ndarray[tuple[int], np.dtype[np.int64]]
    stiffness: FloatArray
    counted: BoolArray

    def __call__(self, now: Observed) -> TheoryCheck:
        """The measures at a state, with the reasons for which linear theory does not hold there."""
        motion = now.motion
        relative = np.einsum("ij,ij->i", motion[self.vertices, :3] - motion[self.nearest, :3], self.normals)
        deflection = float((np.abs(relative) / self.thickness).max())
        rotation = float(np.linalg.norm(motion[self.vertices, 3:], axis=1).max())
        force = np.einsum("nij,nj->ni", self.stiffness[self.group, :3], now.strain)
        compression = principal_compression(force[:, 0], force[:, 1], force[:, 2])[self.counted]
        share = float((np.maximum(compression, 0.0) / self.critical[self.counted]).max()) if self.counted.any() else 0.0
        reasons = []
        if deflection > DEFLECTION:
            reasons.append(f"deflection {number(deflection, 2)} times the thickness, limit {DEFLECTION}")
        if rotation > ROTATION:
            reasons.append(f"rotation {number(rotation, 2)} rad, limit {ROTATION} rad")
        if share > BUCKLING:
            reasons.append(f"compression {number(share, 2)} of a hand buckling load, limit {number(BUCKLING, 2)}")
        return TheoryCheck(deflection, rotation, share, tuple(reasons))


def theory(
    panel: Panel, sampling: Sampling, supported: np.ndarray[tuple[int], np.dtype[np.int64]], counted: BoolArray
) -> Theory:
    """The measures of a panel held at the vertices `supported` (k,), of which the elements `counted` (ne,) mean something."""
    mesh = panel.mesh
    thickness_of = np.array([laminate.thickness for laminate in panel.laminates])
    vertices = np.unique(mesh.triangles[counted])
    least = np.full(len(mesh.vertices), np.inf)
    np.minimum.at(least, mesh.triangles[counted].ravel(), np.repeat(thickness_of[panel.laminate_of[counted]], 3))
    tree = cKDTree(mesh.vertices[supported])
    distance, nearest = tree.query(mesh.vertices[vertices])
    # largest circle free of supports that covers each sampling point
    gap = cdist(sampling.points, mesh.vertices[vertices])
    radius = np.where(gap <= distance[None, :], distance[None, :], 0.0).max(1)
    radius = np.maximum(radius, np.asarray(tree.query(sampling.points)[0]))
    width = 2.0 * np.maximum(radius, 1e-6)
    stiffness = np.stack([laminate.stiffness for laminate in panel.laminates])
    critical = np.empty(len(width))
    for number in np.unique(sampling.group).tolist():
        at = sampling.group == number
        critical[at] = _strip(stiffness[number], width[at])
    slack = np.unique(panel.laminate_of[panel.slack])
    return Theory(
        vertices,
        least[vertices],
        mesh.vertex_normals[vertices],
        supported[nearest],
        critical,
        sampling.group,
        stiffness,
        ~np.isin(sampling.group, slack),
    )


def _strip(c: FloatArray, width: FloatArray) -> FloatArray:
    """Hand buckling loads (n,) N/m of long supported strips of widths (n,) m with laminate stiffness `c` (8, 8)."""
    # bending stiffness of a laminate free to shift its neutral plane
    d = c[3:6, 3:6] - c[3:6, :3] @ np.linalg.solve(c[:3, :3], c[:3, 3:6])
    bending = 2.0 * np.pi**2 / width**2 * (np.sqrt(d[0, 0] * d[1, 1]) + d[0, 1] + 2.0 * d[2, 2])
    shear = min(c[6, 6], c[7, 7])
    return np.asarray(1.0 / (1.0 / bending + 1.0 / shear))
