"""Whether linear, first-order theory may be believed.

Four measures, each with its limit: the deflection against the nearest support, over the thickness (membrane action
starts to matter); the greatest rotation (small-angle geometry); the stretch that the linear motion really has, beside
what linear theory sees of it, over the greatest strain; and the compressive membrane force over a hand buckling load of
the bay it stands in.  A bay is the largest circle free of supports that covers the place, its
thickness the mean over that circle, and its hand buckling load that of a long supported strip of orthotropic plate as
wide as the circle, softened by transverse shear:

    N_b = 2 π²/b² (√(D11 D22) + D12 + 2 D66),     1/N = 1/N_b + 1/S

A patch that bridges a gap is a bay of its own, supported along the border of the gap.

Beside these stands how far first-order theory is from exact elasticity in the bays: `panelfem.reserve.validity`.

Source: the strip formula is S. G. Lekhnitskii, Anisotropic Plates, 1968 (from memory; for an isotropic plate it gives
the factor 4); the limits 0.3, 0.1 rad, one and a third are set by this tool (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.panel import Panel
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import TheoryCheck
from panelfem.reserve.sampling import Sampling, border
from panelfem.reserve.validity import ShellLimits, shell_limits
from panelfem.reserve.validity import reasons as shell_reasons
from panelfem.units import number

#: Vertices whose circles are looked at together.
_TOGETHER = 64

DEFLECTION, ROTATION, BUCKLING, MEMBRANE = 0.3, 0.1, 1.0 / 3.0, 1.0


def principal_compression(n11: FloatArray, n22: FloatArray, n12: FloatArray) -> FloatArray:
    """Greatest compressive principal value of a symmetric plane tensor, positive in compression.

    >>> principal_compression(np.array([-2.0]), np.array([1.0]), np.array([0.0]))
    array([2.])
    """
    return np.sqrt(((n11 - n22) / 2.0) ** 2 + n12**2) - (n11 + n22) / 2.0


@dataclass(frozen=True)
class Theory:
    """The measures of one panel.

    `vertices` (m,) are those whose motion counts, with the `thickness` (m,) m of their bay, `normals` (m, 3) and the
    `nearest` (m,) supported vertex of each; `critical` (ns,) N/m is the hand buckling load at the sampling points, of
    laminate `group` (ns,) with stiffness `stiffness` (laminates, 8, 8), thickness `depth` (laminates,) m and membrane
    force `heat` (laminates, 3) N/m that each K held back costs, in a bay `width` (ns,) m wide; `limits` are those of
    first-order theory.
    """

    vertices: IntArray
    thickness: FloatArray
    normals: FloatArray
    nearest: IntArray
    critical: FloatArray
    width: FloatArray
    group: IntArray
    stiffness: FloatArray
    depth: FloatArray
    heat: FloatArray
    limits: ShellLimits

    def __call__(
        self, now: Observed, stretch: FloatArray | None = None, nearness: float = 1.0, warmed: float = 0.0
    ) -> TheoryCheck:
        """The measures at a state, with the reasons for which linear theory does not hold there.

        `stretch` (ns, 6): the strains that the motion of a linear state has at large displacements; None: not looked
        at.  `nearness`: what is known of buckling, as the share of the buckling load over that of the hand one.
        `warmed` K: temperature since the panel was fitted.
        """
        motion = now.motion
        relative = np.einsum("ij,ij->i", motion[self.vertices, :3] - motion[self.nearest, :3], self.normals)
        deflection = float((np.abs(relative) / self.thickness).max())
        rotation = float(np.linalg.norm(motion[self.vertices, 3:], axis=1).max())
        force = np.einsum("nij,nj->ni", self.stiffness[self.group, :3], now.strain) - warmed * self.heat[self.group]
        compression = principal_compression(force[:, 0], force[:, 1], force[:, 2])
        share = nearness * float((np.maximum(compression, 0.0) / self.critical).max())
        shell = self.limits(now.strain)
        if now.large:
            return TheoryCheck(deflection, rotation, share, tuple(shell_reasons(shell)), shell, True)
        reasons = []
        if deflection > DEFLECTION:
            reasons.append(f"deflection {number(deflection, 2)} times the thickness, limit {DEFLECTION}")
        if rotation > ROTATION:
            reasons.append(f"rotation {number(rotation, 2)} rad, limit {ROTATION} rad")
        if share > BUCKLING:
            load = "a hand buckling load" if nearness == 1.0 else "the buckling load"
            reasons.append(f"compression {number(share, 2)} of {load}, limit {number(BUCKLING, 2)}")
        change = 0.0 if stretch is None else self._change(now.strain, stretch)
        if change > MEMBRANE:
            reasons.append(f"membrane strain changes by {number(change, 2)} of the greatest strain, limit {MEMBRANE}")
        every = (*reasons, *shell_reasons(shell))
        return TheoryCheck(deflection, rotation, share, every, shell, membrane_change=change, far=tuple(reasons))

    def _change(self, strain: FloatArray, stretch: FloatArray) -> float:
        """Greatest change of membrane strain over the greatest strain at a face."""
        half = 0.5 * self.depth[self.group, None]
        face = np.maximum(np.abs(strain[:, :3] + half * strain[:, 3:6]), np.abs(strain[:, :3] - half * strain[:, 3:6]))
        return float(np.abs(stretch[:, :3] - strain[:, :3]).max() / max(float(face.max()), 1e-300))


def theory(panel: Panel, sampling: Sampling, supported: IntArray, counted: BoolArray) -> Theory:
    """The measures of a panel held at the vertices `supported` (k,), of which the elements `counted` (ne,) count."""
    mesh = panel.mesh
    bridging = np.zeros(len(counted), bool)
    for patch in panel.patches:
        bridging |= patch.bridging
    parts = [_Bay(panel, counted & ~bridging, supported)]
    for patch in panel.patches:
        rim = border(mesh, patch.bridging, counted & ~patch.bridging).vertices
        if len(rim) and patch.bridging.any():
            parts.append(_Bay(panel, patch.bridging, rim))
    stiffness = np.stack([laminate.stiffness for laminate in panel.laminates])
    critical = np.full(len(sampling.points), np.inf)
    widths = np.full(len(sampling.points), np.inf)
    on_bridge = np.isin(sampling.group, np.unique(panel.laminate_of[bridging]))
    for i, part in enumerate(parts):
        at = np.flatnonzero(on_bridge if i else ~on_bridge)
        width = part.width(sampling.points[at])
        widths[at] = np.minimum(widths[at], width)
        for g in np.unique(sampling.group[at]).tolist():
            mine = sampling.group[at] == g
            critical[at[mine]] = np.minimum(critical[at[mine]], _strip(stiffness[g], width[mine]))
    vertices = np.concatenate([part.vertices for part in parts])
    return Theory(
        vertices,
        np.concatenate([part.thickness() for part in parts]),
        mesh.vertex_normals[vertices],
        np.concatenate([part.nearest for part in parts]),
        critical,
        widths,
        sampling.group,
        stiffness,
        np.array([laminate.thickness for laminate in panel.laminates]),
        np.stack([laminate.thermal_resultants(1.0)[:3] for laminate in panel.laminates]),
        shell_limits(panel.mesh, panel.laminates, sampling.points, sampling.group, widths, on_bridge),
    )


class _Bay:
    """The elements `elements` (ne,) of a panel, held at vertices `supported` (k,)."""

    def __init__(self, panel: Panel, elements: BoolArray, supported: IntArray) -> None:
        mesh = panel.mesh
        corners = mesh.triangles[elements]
        self.vertices: IntArray = np.unique(corners)
        self.x = mesh.vertices[self.vertices]
        self._tree = cKDTree(mesh.vertices[supported])
        distance, nearest = self._tree.query(self.x)
        self.distance, self.nearest = np.asarray(distance), supported[nearest]
        thickness = np.array([laminate.thickness for laminate in panel.laminates])[panel.laminate_of[elements]]
        area = np.repeat(mesh.areas[elements] / 3.0, 3)
        local = np.searchsorted(self.vertices, corners.ravel())
        self._area = np.bincount(local, area)
        self._volume = np.bincount(local, area * np.repeat(thickness, 3))

    def radius(self, points: FloatArray) -> FloatArray:
        """Radius (n,) of the largest circle free of supports that covers each point (n, 3)."""
        found, left = np.zeros(len(points)), np.arange(len(points))
        for some in np.array_split(np.argsort(-self.distance, kind="stable"), len(self.distance) // _TOGETHER + 1):
            circle = self.distance[some]  # the largest come first: who is covered by them needs no other
            inside = cdist(points[left], self.x[some]) <= circle
            found[left] = np.where(inside, circle, 0.0).max(axis=1, initial=0.0)
            left = left[~inside.any(axis=1)]
        reach: FloatArray = np.maximum(found, self._tree.query(points)[0])
        return reach

    def width(self, points: FloatArray) -> FloatArray:
        """Width (n,) of the bay of each point."""
        return 2.0 * np.maximum(self.radius(points), 1e-6)

    def thickness(self) -> FloatArray:
        """Mean thickness (m,) m over the bay of each vertex."""
        near = cdist(self.x, self.x) <= self.radius(self.x)[:, None]
        return np.asarray((near @ self._volume) / (near @ self._area))


def _strip(c: FloatArray, width: FloatArray) -> FloatArray:
    """Hand buckling loads (n,) N/m of long supported strips of widths (n,) m with laminate stiffness `c` (8, 8)."""
    # bending stiffness of a laminate free to shift its neutral plane
    d = c[3:6, 3:6] - c[3:6, :3] @ np.linalg.solve(c[:3, :3], c[:3, 3:6])
    bending = 2.0 * np.pi**2 / width**2 * (np.sqrt(d[0, 0] * d[1, 1]) + d[0, 1] + 2.0 * d[2, 2])
    return np.asarray(1.0 / (1.0 / bending + 1.0 / min(c[6, 6], c[7, 7])))
