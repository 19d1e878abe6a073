"""Repairs on offer, as records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from panelfem.laminate import Laminate
from panelfem.material import Adhesive


@dataclass(frozen=True)
class PatchRepair:
    """A patch bonded on one face over mesh region `region`; if `cut_out` names a region, that is cut clean first.

    `laminate` is the patch alone, its plies listed from the bond outwards.  `cured` is the share of book strength the
    cure gives (plies and bond), with its band.
    """

    name: str
    region: str
    laminate: Laminate
    adhesive: Adhesive
    bond_thickness: float
    side: Literal[1, -1]
    cured: float
    cured_band: tuple[float, float] | None = None
    cut_out: str | None = None


@dataclass(frozen=True)
class Tape:
    """Tape over a region: keeps the air out, carries nothing; `areal_mass` kg/m²."""

    name: str
    region: str
    areal_mass: float


@dataclass(frozen=True)
class Refit:
    """A missing fastener put back."""

    name: str
    fastener: str


@dataclass(frozen=True)
class Spare:
    """The spare panel, undamaged."""

    name: str


Action = PatchRepair | Tape | Refit | Spare


@dataclass(frozen=True)
class Option:
    """One way out of the garage: actions done together, the minutes they take, and whether they are permitted.

    `permitted` None: not known, must be asked.
    """

    name: str
    actions: tuple[Action, ...]
    minutes: float
    permitted: bool | None = None
    note: str = ""
