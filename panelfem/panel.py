"""The panel: a mesh, its laminates, what holds it, and what was bonded on.

Damage and repair turn one panel record into another; the solver never hears of either.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.laminate import Laminate
from panelfem.material import Adhesive
from panelfem.mesh import PanelMesh, Region


@dataclass(frozen=True)
class Fastener:
    """A quarter-turn, bolt or pin: holds the mean motion of the skin under its washer.

    `place` (3,) m on the surface, `normal` (3,) there; `washer_radius` m.  Stiffness to ground: `in_plane` and `normal`
    in N/m, `tilt` (about both tangents) and `twist` (about the normal) in N·m/rad; inf is rigid, 0 is free.
    Ratings in N, None if the catalogue is silent.  `hole_diameter` m in the skin and its `bearing_strength` Pa, None:
    not known.
    """

    name: str
    place: FloatArray
    normal: FloatArray
    washer_radius: float
    in_plane: float
    out_of_plane: float
    tilt: float = 0.0
    twist: float = 0.0
    rating_shear: float | None = None
    rating_pull: float | None = None
    fitted: bool = True
    hole_diameter: float | None = None
    bearing_strength: float | None = None


def rated(fastener: Fastener, shear: float, pull: float) -> Fastener:
    """The fastener with a share of each rating that is known."""
    rating = fastener.rating_shear, fastener.rating_pull
    known = [None if r is None else share * r for r, share in zip(rating, (shear, pull), strict=True)]
    return replace(fastener, rating_shear=known[0], rating_pull=known[1])


@dataclass(frozen=True)
class EdgeSupport:
    """A supported stretch of the boundary: the boundary edges whose middle lies inside `region` (None: all of them).

    clamped: no displacement, no rotation; hinged: no displacement; supported: no displacement along the normal;
    elastic: `translation` N/m per m of edge in all directions and `rotation` N·m/rad per m about the edge.
    """

    name: str
    hold: Literal["clamped", "hinged", "supported", "elastic"]
    region: Region | None = None
    translation: float = 0.0
    rotation: float = 0.0


@dataclass(frozen=True)
class HeldArea:
    """An area whose displacements and rotations are all zero (a bonded bracket): the elements of the region."""

    name: str
    region: str


@dataclass(frozen=True)
class PointMass:
    """A mass (kg) that hangs on the skin, spread over the mesh region."""

    name: str
    region: str
    mass: float


@dataclass(frozen=True)
class Taper:
    """How the plies of a joint end: at 1:`slope`, or in steps of `step` m."""

    slope: float | None = None
    step: float | None = None


@dataclass(frozen=True)
class BondedPatch:
    """A patch bonded on one face over a mesh region: kept apart for the bond-line check.

    `side` +1: on the face the normal leaves through.  `laminate` is the patch alone, as cured; `strength` is the cured
    share of the adhesive's book strength.  `bridging` (ne,) marks where the patch spans a gap in the panel, `off` (ne,)
    where it is not bonded.  `paired`: a like patch is on the other face.  `taper`: it is let into the panel, along a
    scarf or steps.
    """

    name: str
    region: str
    laminate: Laminate
    adhesive: Adhesive
    bond_thickness: float
    side: Literal[1, -1]
    strength: float
    bridging: BoolArray
    off: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    paired: bool = False
    taper: Taper | None = None

    def __post_init__(self) -> None:
        if self.off.size == 0:
            object.__setattr__(self, "off", np.zeros_like(self.bridging))


@dataclass(frozen=True)
class Delaminated:
    """Where plies have come apart over a mesh region, the two parts lying on each other.

    `whole` is the laminate there without repairs, apart on top of ply `after`, counted from 1 at the face the normal
    enters.  The ellipse its buckling is that of has its centre at `place` (3,) m and `semi_axes` m, the first at
    `angle` rad from the 0° axis towards t2 = n × t1.
    """

    name: str
    region: str
    whole: Laminate
    after: int
    place: FloatArray
    angle: float
    semi_axes: tuple[float, float]


@dataclass(frozen=True)
class Struck:
    """A mesh region that was struck, and breaks where it is compressed by `strain` > 0: a property of the laminate with
    its damage.  `height` (k, ne) m: where in the thickness that is looked at, in the middle of the laminate or of each
    of k skins, as it was without repairs; nan elsewhere.
    """

    name: str
    region: str
    strain: float
    height: FloatArray


@dataclass(frozen=True)
class Panel:
    """A panel in one state.

    `laminate_of` (ne,) numbers the laminate of each element; `removed` (ne,) marks elements that are not there
    (holes); `slack` (ne,) marks elements taken to carry nothing, whose own motion means nothing; `axis` (3,) is the
    0° direction, projected on the surface; `extra_mass` kg is what tape and the like add without stiffness.
    """

    name: str
    mesh: PanelMesh
    laminates: tuple[Laminate, ...]
    laminate_of: IntArray
    axis: FloatArray
    fasteners: tuple[Fastener, ...] = ()
    edges: tuple[EdgeSupport, ...] = ()
    held_areas: tuple[HeldArea, ...] = ()
    masses: tuple[PointMass, ...] = ()
    patches: tuple[BondedPatch, ...] = ()
    delaminations: tuple[Delaminated, ...] = ()
    struck: tuple[Struck, ...] = ()
    removed: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    slack: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    extra_mass: float = 0.0

    def __post_init__(self) -> None:
        ne = len(self.mesh.triangles)
        for name in ("removed", "slack"):
            if getattr(self, name).size == 0:
                object.__setattr__(self, name, np.zeros(ne, bool))

    def relaid(self, elements: BoolArray, change: dict[int, Laminate]) -> Panel:
        """The panel with the laminates of `elements` (ne,) exchanged: `change` maps an old number to its new
        laminate.
        """
        laminates, of = list(self.laminates), self.laminate_of.copy()
        for old, new in change.items():
            of[elements & (self.laminate_of == old)] = len(laminates)
            laminates.append(new)
        return replace(self, laminates=tuple(laminates), laminate_of=of)

    def stiffness(self) -> FloatArray:
        """Laminate stiffness of each element, (ne, 8, 8), in the frame of the 0° axis."""
        return np.stack([laminate.stiffness for laminate in self.laminates])[self.laminate_of]

    def areal_mass(self) -> FloatArray:
        """Mass per area of each element, (ne,), kg/m²; zero where removed."""
        per = np.array([laminate.areal_mass for laminate in self.laminates])[self.laminate_of]
        return np.where(self.removed, 0.0, per)

    def mass_moments(self) -> FloatArray:
        """∫ρ (1, z, z²) dz of each element about the reference surface, (ne, 3), kg/m², kg/m, kg; zero where
        removed.
        """
        per = np.stack([laminate.mass_moments for laminate in self.laminates])[self.laminate_of]
        return np.where(self.removed[:, None], 0.0, per)

    def mass(self) -> float:
        """Mass of the panel without what hangs on it, kg."""
        return float(self.areal_mass() @ self.mesh.areas) + self.extra_mass

    def centre_of_mass(self) -> FloatArray:
        """Centre of mass of what `mass` counts, (3,) m: areas at the mass height of their laminates; `extra_mass` is
        taken as spread over the panel.  The origin for a panel without mass.
        """
        moments, mesh = self.mass_moments(), self.mesh
        spread = np.where(self.removed, 0.0, mesh.areas)
        whole = moments[:, 0] * mesh.areas + self.extra_mass * spread / max(float(spread.sum()), 1e-300)
        moment = whole @ mesh.centroids + (moments[:, 1] * mesh.areas) @ mesh.normals
        return np.asarray(moment / self.mass() if self.mass() else np.zeros(3))
