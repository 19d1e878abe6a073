"""Materials, as records: plies, cores, adhesives, and where each number comes from.

All values are SI.  Each record checks itself when it is made: what no material can be is refused, so that a
slip of a unit or a swapped pair is found before it becomes an answer.  Change a property with
`dataclasses.replace`, which checks again; give the new provenance in the same call.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from panelfem.errors import InputError

Basis = Literal["mean", "B-basis", "typical", "assumed", "stated"]


@dataclass(frozen=True)
class Provenance:
    """Where a property comes from.

    `unit` is the unit the source states it in (the value itself is stored in SI); `basis` the statistical
    meaning;
    `source` the publication, data sheet or rule; `band` the relative range (low, high) it may lie in, None if
    not told.

    >>> Provenance("GPa", "assumed", "equal to G12", (0.8, 1.2)).band
    (0.8, 1.2)
    """

    unit: str
    basis: Basis
    source: str
    band: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.basis not in get_args(Basis):
            raise InputError(f"basis {self.basis!r} is unknown", allowed=", ".join(get_args(Basis)))
        if not self.source.strip():
            raise InputError("a property has no source", do="name the publication, data sheet, test or rule")
        if self.band is not None and not 0.0 < self.band[0] <= 1.0 <= self.band[1] < math.inf:
            raise InputError(
                f"band {self.band} does not enclose the stated value", allowed="low ≤ 1 ≤ high, both above 0"
            )


def _nothing() -> Mapping[str, Provenance]:
    return {}


@dataclass(frozen=True)
class PlyMaterial:
    """One ply: unidirectional (1 along the fibre, 2 across) or fabric (1 along the warp, 2 along the fill).

    E1, E2, G12, G13, G23 in Pa; nu12 is the contraction along 2 under stress along 1.  Strengths in Pa, all
    positive: Xt, Xc along 1 in tension and compression, Yt, Yc along 2, S in-plane shear, Sil interlaminar
    shear.
    `alpha1`, `alpha2` 1/K; `beta1`, `beta2` strain per share of mass of moisture; `density` kg/m³;
    `thickness` of the cured ply m.  `strain_limits`: (tension along 1, compression along 1, tension along 2,
    compression along 2, in-plane shear angle), all positive, or None.  `stress_free_temperature` °C, or None
    if not known.
    `S23` Pa: transverse shear strength; `GIc`, `GIIc` J/m²: toughness between plies, opening and sliding, with
    `mixed_mode` the exponent between (Benzeggagh & Kenane); None if not known.
    `shear_softening` 1/Pa³: the β of the shear strain τ/G12 + β τ³ (0: linear), None if not known.

    Raises InputError for what no material can be.

    >>> PlyMaterial("swapped", "unidirectional", E1=10e9, E2=180e9, G12=7e9, nu12=0.28, G13=7e9, G23=4e9,
    ...     Xt=1.5e9, Xc=1.5e9, Yt=4e7, Yc=2.5e8, S=7e7, Sil=7e7, alpha1=0.0, alpha2=2e-5, beta1=0.0, beta2=0.6,
    ...     density=1600.0, thickness=1.25e-4)
    Traceback (most recent call last):
    ...
    panelfem.errors.InputError: nu12 = 0.28 breaks the law of energy (ply material 'swapped'). Allowed: \
|nu12| below √(E1/E2) = 0.236. Do: check that E1 and E2 are not swapped and that nu12 belongs to stress along 1.
    """

    name: str
    kind: Literal["unidirectional", "fabric"]
    E1: float
    E2: float
    G12: float
    nu12: float
    G13: float
    G23: float
    Xt: float
    Xc: float
    Yt: float
    Yc: float
    S: float
    Sil: float
    alpha1: float
    alpha2: float
    beta1: float
    beta2: float
    density: float
    thickness: float
    strain_limits: tuple[float, float, float, float, float] | None = None
    stress_free_temperature: float | None = None
    provenance: Mapping[str, Provenance] = field(default_factory=_nothing, repr=False, compare=False, hash=False)
    S23: float | None = None
    GIc: float | None = None
    GIIc: float | None = None
    mixed_mode: float | None = None
    shear_softening: float | None = None

    def __post_init__(self) -> None:
        where = f"ply material '{self.name}'"
        if self.kind not in ("unidirectional", "fabric"):
            raise InputError(f"kind {self.kind!r} is unknown", where=where, allowed="unidirectional, fabric")
        positive = [
            "E1",
            "E2",
            "G12",
            "G13",
            "G23",
            "Xt",
            "Xc",
            "Yt",
            "Yc",
            "S",
            "Sil",
            "density",
            "thickness",
        ]
        optional = [name for name in ("S23", "GIc", "GIIc", "mixed_mode") if getattr(self, name) is not None]
        _check_positive(self, positive + optional, where)
        if self.shear_softening is not None and not 0.0 <= self.shear_softening < math.inf:
            raise InputError(
                f"shear_softening = {self.shear_softening:g} cannot be", where=where, allowed="0 or more, 1/Pa³"
            )
        _check_finite(self, ["nu12", "alpha1", "alpha2", "beta1", "beta2"], where)
        _check_thickness(self.thickness, where)
        limit = math.sqrt(self.E1 / self.E2)
        if abs(self.nu12) >= limit:
            raise InputError(
                f"nu12 = {self.nu12:g} breaks the law of energy",
                where=where,
                allowed=f"|nu12| below √(E1/E2) = {limit:.3g}",
                do="check that E1 and E2 are not swapped and that nu12 belongs to stress along 1",
            )
        if self.strain_limits is not None and not (
            len(self.strain_limits) == 5 and all(0.0 < e < 1.0 for e in self.strain_limits)
        ):
            raise InputError(
                f"strain limits {self.strain_limits} cannot be used",
                where=where,
                allowed="five positive strains below 1: tension 1, compression 1, tension 2, compression 2, shear",
            )
        if self.stress_free_temperature is not None and not -273.15 < self.stress_free_temperature < 1000.0:
            raise InputError(
                f"stress-free temperature {self.stress_free_temperature:g} °C cannot be",
                where=where,
                allowed="above −273.15 °C and below 1000 °C",
            )


@dataclass(frozen=True)
class CoreMaterial:
    """A core: foam, or honeycomb with 1 along the ribbon (L) and 2 across it (W).

    `E` Pa through the thickness; `E_plane` and `nu` in the plane (a honeycomb has next to none); `G13`, `G23`
    and the shear strengths Pa along 1 and 2; `crush_strength` Pa; `density` kg/m³; `cell_size` m (honeycomb
    only);
    `alpha` 1/K in the plane.  Raises InputError for what no core can be.

    >>> core = CoreMaterial("foam", "foam", 85e6, 75e6, 0.32, 28e6, 28e6, 1e6, 1e6, 1.2e6, 80.0, None, 4e-5)
    >>> round(core.G12 / 1e6, 3)
    28.409
    """

    name: str
    kind: Literal["foam", "honeycomb"]
    E: float
    E_plane: float
    nu: float
    G13: float
    G23: float
    shear_strength_13: float
    shear_strength_23: float
    crush_strength: float
    density: float
    cell_size: float | None
    alpha: float
    provenance: Mapping[str, Provenance] = field(default_factory=_nothing, repr=False, compare=False, hash=False)

    def __post_init__(self) -> None:
        where = f"core '{self.name}'"
        if self.kind not in ("foam", "honeycomb"):
            raise InputError(f"kind {self.kind!r} is unknown", where=where, allowed="foam, honeycomb")
        positive = [
            "E",
            "E_plane",
            "G13",
            "G23",
            "shear_strength_13",
            "shear_strength_23",
            "crush_strength",
            "density",
        ]
        _check_positive(self, positive + (["cell_size"] if self.cell_size is not None else []), where)
        _check_finite(self, ["nu", "alpha"], where)
        top = 0.5 if self.kind == "foam" else 1.0
        if not -1.0 < self.nu < top:
            raise InputError(
                f"nu = {self.nu:g} breaks the law of energy", where=where, allowed=f"above −1, below {top:g}"
            )

    @property
    def G12(self) -> float:
        """In-plane shear modulus, Pa, taken isotropic in the plane."""
        return self.E_plane / (2.0 * (1.0 + self.nu))


@dataclass(frozen=True)
class Adhesive:
    """An adhesive, or the wet resin that acts as one: isotropic.

    `E` Pa, `nu`; `shear_strength` and `peel_strength` Pa; `density` kg/m³; `alpha` 1/K and `beta` strain per
    share of mass of moisture (the defaults are assumed: common practice for epoxies, no source).

    >>> round(Adhesive("paste", 2.5e9, 0.37, 2e7, 2e7, 1200.0).G / 1e6)
    912
    """

    name: str
    E: float
    nu: float
    shear_strength: float
    peel_strength: float
    density: float
    provenance: Mapping[str, Provenance] = field(default_factory=_nothing, repr=False, compare=False, hash=False)
    alpha: float = 5.5e-5
    beta: float = 0.2

    def __post_init__(self) -> None:
        where = f"adhesive '{self.name}'"
        _check_positive(self, ["E", "shear_strength", "peel_strength", "density"], where)
        _check_finite(self, ["nu", "alpha", "beta"], where)
        if not -1.0 < self.nu < 0.5:
            raise InputError(f"nu = {self.nu:g} breaks the law of energy", where=where, allowed="above −1, below 0.5")

    @property
    def G(self) -> float:
        """Shear modulus, Pa."""
        return self.E / (2.0 * (1.0 + self.nu))


Material = PlyMaterial | CoreMaterial | Adhesive


def _check_positive(record: Any, names: Iterable[str], where: str) -> None:
    for name in names:
        value = getattr(record, name)
        if not 0.0 < value < math.inf:
            raise InputError(f"{name} = {value:g} is not positive", where=where, allowed="a finite number above 0")


def _check_finite(record: Any, names: Iterable[str], where: str) -> None:
    for name in names:
        if not math.isfinite(getattr(record, name)):
            raise InputError(f"{name} is not a finite number", where=where, do="state it")


def _check_thickness(thickness: float, where: str) -> None:
    if thickness > 0.02:
        raise InputError(
            f"a ply {1e3 * thickness:g} mm thick cannot be",
            where=where,
            allowed="up to 20 mm",
            do="check the unit: inside it is metres",
        )
