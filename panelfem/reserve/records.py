"""What an analysis finds, as records: one number, where it is, and what it is about."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray, IntArray

Grade = Literal["release", "inspection"]
#: ``zero load``: what is held reaches the mode alone; ``beyond search``: not reached within the factor searched
Status = Literal["found", "zero load", "beyond search"]


@dataclass(frozen=True)
class ModeReserve:
    """The factor on the load case's own parameter at which a mode is first reached.

    `factor` is nan for status ``zero load`` and the searched factor for ``beyond search`` (a lower bound). `ply`
    counts from 1 at the face the normal enters; None for modes that are not of a ply, and `laminate` the number of
    its laminate in the panel.  `decides`: a ply failure by the criterion that decides for its kind.  `averaged`: length
    (m) over which the stress was averaged because the place is singular or a notch, 0 for a point value.  `bar`: how
    far the mesh may put the factor off; nan where it was not estimated.
    """

    mode: str
    criterion: str
    grade: Grade
    factor: float
    status: Status = "found"
    place: FloatArray | None = None
    where: str = ""
    ply: int | None = None
    ply_name: str = ""
    position: str = ""
    laminate: int | None = None
    decides: bool = False
    averaged: float = 0.0
    bar: float = math.nan

    @property
    def margin(self) -> float:
        """Margin = RF − 1."""
        return self.factor - 1.0

    @property
    def rank(self) -> float:
        """For sorting: reached at zero load comes first."""
        return -1.0 if self.status == "zero load" else self.factor


@dataclass(frozen=True)
class Deflection:
    """Greatest displacement (m) at the expected severity, where, along which direction (3,); `bar` m of the mesh."""

    value: float
    place: FloatArray
    where: str
    vector: FloatArray
    bar: float = math.nan


@dataclass(frozen=True)
class LimitCheck:
    """A deflection against its limit (both m) at the expected severity; `bar` m of the mesh."""

    name: str
    value: float
    limit: float
    factor: float
    bar: float = math.nan


@dataclass(frozen=True)
class FixingLoad:
    """What a fixing carries at the expected severity: in-plane shear and pull along the normal (N), against ratings.

    `bar`: of shear and pull (N), of the mesh.
    """

    name: str
    shear: float
    pull: float
    rating_shear: float | None
    rating_pull: float | None
    bar: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True)
class BondCheck:
    """Peak adhesive stresses (Pa) at the worst end of a patch at the expected severity, and the strengths used.

    `bar`: of shear and peel (Pa), of the mesh.
    """

    name: str
    shear: float
    peel: float
    shear_strength: float
    peel_strength: float
    where: str
    bar: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True)
class Footprint:
    """How a shape presses at the n places that touch: `force` (n,) N along its normal, `at` (n, 2) m along the ridge of
    the shape and along its line of travel, `ends` (n, 2) m of the line along the ridge that each force acts on, from
    its place; the unit `direction` (3,) of pushing; `over` (k, 2): each place with every element it may press on.
    """

    force: FloatArray
    at: FloatArray
    ends: FloatArray
    direction: FloatArray
    over: IntArray


@dataclass(frozen=True)
class ContactState:
    """What a contact does: force N along its direction, advance m (the car having lifted), area m² and places (n, 3)
    m that touch; `error` is the greatest violation of 'force or gap is zero', relative; `bar`: of force (N) and advance
    (m), of the mesh; `footprint`: how it presses there.
    """

    force: float
    advance: float
    area: float
    where: FloatArray
    error: float
    bar: tuple[float, float] = (math.nan, math.nan)
    footprint: Footprint | None = field(default=None, repr=False)


@dataclass(frozen=True)
class ShellLimit:
    """How far first-order shell theory is from exact elasticity for one laminate of the panel in one bay.

    `laminate` is its number in the panel; `span` m the width of its widest or narrowest bay (`bay`), `thickness` m.
    `deflection`, ply stress `along` and `across` the fibre, transverse `shear`, and ply stress where the panel is
    curved (`bend`): first-order over exact − 1, so negative is too low; `recovery`: the same of the shear stress
    recovered from the shear force alone.  `curvature`: greatest thickness over radius.  `strain`: greatest in-plane
    strain at the state.  `level` with what is to be said in `words`: ``outside`` is also among the reasons of
    :class:`TheoryCheck`.  Differences are nan where they could not be computed, which the words then say.
    """

    laminate: int
    bay: Literal["widest", "narrowest"]
    span: float
    thickness: float
    deflection: float
    along: float
    across: float
    shear: float
    recovery: float
    curvature: float
    bend: float
    strain: float = 0.0
    level: Literal["silent", "warning", "outside"] = "silent"
    words: tuple[str, ...] = ()

    @property
    def slenderness(self) -> float:
        """Span over thickness."""
        return self.span / self.thickness


@dataclass(frozen=True)
class TheoryCheck:
    """Whether the theory used holds: each measure with its limit; `reasons` names those that are over.

    `large`: the state is one of large displacements, of which deflection, rotation and compression are no limits.
    `far`: those of the reasons for which large displacements are looked at.
    """

    deflection_over_thickness: float
    rotation: float
    buckling_share: float
    reasons: tuple[str, ...] = ()
    shell: tuple[ShellLimit, ...] = ()
    large: bool = False
    membrane_change: float = 0.0
    far: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """True if every measure is within its limit."""
        return not self.reasons


@dataclass(frozen=True)
class LinearAnswer:
    """What linear theory said where the panel was followed with large displacements instead.

    `deflection` m at the expected severity, the first `release`-governing mode and the first ply failure, and the
    `reasons` why these could not be believed.
    """

    deflection: float
    release: ModeReserve
    first_ply: ModeReserve
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class CurvePoint:
    """A point of the load–deflection curve: `factor` on the expected severity, `deflection` m there."""

    factor: float
    deflection: float


@dataclass(frozen=True)
class Buckling:
    """Buckling of a configuration under one load case.

    `factors` (n,) on the load's own parameter, rising, at which the panel as it stands under the held loads could take
    another shape (linear theory); `where` the first shape moves most, in words, and its `shape` (nv, 3) at the
    vertices, greatest motion one.  `imperfection` m: the first shape was added to the panel with this amplitude
    before it was followed past buckling (0: it was not).  `bars` (n,) of the factors.
    """

    factors: tuple[float, ...]
    where: str
    shape: FloatArray = field(repr=False)
    imperfection: float = 0.0
    bars: tuple[float, ...] = ()


@dataclass(frozen=True)
class PlyRow:
    """Strain and stress of one ply, in its own axes, at the governing place: for the engineer's table.

    `strain` (3,) and `stress` (3,) Pa: along the fibre (warp), across (fill), in-plane shear; `residual` (3,) Pa is the
    part of the stress that is there at zero scaled load; `strain_bar` (3,) and `stress_bar` (3,) Pa, of the mesh.
    """

    ply: int
    name: str
    angle: float
    position: str
    z: float
    strain: FloatArray
    stress: FloatArray
    residual: FloatArray
    strain_bar: FloatArray = field(default_factory=lambda: np.full(3, np.nan))
    stress_bar: FloatArray = field(default_factory=lambda: np.full(3, np.nan))


@dataclass(frozen=True)
class LoadResult:
    """One configuration under one load case.

    `doubtful`: a place that could govern if its strain is off by as much as the elements there may be; None: no place
    could have a lower reserve than the governing bar says.  `linear`: what linear theory said, where it does not hold
    and the panel was followed with large displacements; None: the numbers are those of linear theory.  `curve`: the
    load–deflection curve at the place of greatest deflection.  `buckling`: None where nothing is pressed enough for it.
    `path`: (factor, least release reserve there) where it was looked at.  `scaled`: what grows, `held`: what stays, in
    words with units; `dynamic` factor on what grows.
    """

    load: str
    kind: str
    parameter: str
    expected: float
    deflection: Deflection
    first_ply: ModeReserve
    release: ModeReserve
    modes: tuple[ModeReserve, ...]
    theory: TheoryCheck
    limits: tuple[LimitCheck, ...] = ()
    fixings: tuple[FixingLoad, ...] = ()
    bonds: tuple[BondCheck, ...] = ()
    contacts: tuple[ContactState, ...] = ()
    plies: tuple[PlyRow, ...] = ()
    path: tuple[tuple[float, float], ...] = ()
    notes: tuple[str, ...] = ()
    residual: float = 0.0
    doubtful: ModeReserve | None = None
    linear: LinearAnswer | None = None
    curve: tuple[CurvePoint, ...] = ()
    buckling: Buckling | None = None
    scaled: str = ""
    held: tuple[str, ...] = ()
    dynamic: float = 1.0


@dataclass(frozen=True)
class FieldSet:
    """What the pictures need of one configuration under one load: values at the mesh vertices.

    `displacement` (nv, 3) m at the expected severity; `reserve` (nv,) least release-governing ply reserve there
    (capped).
    """

    displacement: FloatArray
    reserve: FloatArray = field(repr=False)
