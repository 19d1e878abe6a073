"""Repairs on offer, as records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from panelfem.laminate import Laminate
from panelfem.material import Adhesive
from panelfem.patching import PatchRepair

if TYPE_CHECKING:
    from panelfem.damage import Damage


@dataclass(frozen=True)
class ScarfRepair:
    """A laminate, or the skin of a sandwich on `side`, restored ply by ply over mesh region `region`.

    The region ends where the taper begins, at 1:`slope`, or in steps of `step` m; `cut_out` is what it is cut down to.
    `laminate` holds the new plies, from the bottom of the taper outwards.  The rest as of :class:`PatchRepair`.
    """

    name: str
    region: str
    laminate: Laminate
    adhesive: Adhesive
    bond_thickness: float
    side: Literal[1, -1]
    cured: float
    cured_band: tuple[float, float] | None
    cut_out: str
    slope: float | None = None
    step: float | None = None


Bonded = PatchRepair | ScarfRepair


@dataclass(frozen=True)
class Insert:
    """An insert set anew, by a larger one or by potting: its ratings (N, None: not known) before the cure, of which
    `cured` is the share it gives, and the share of the fixing's stiffness it has.
    """

    name: str
    fastener: str
    method: Literal["oversize", "re-potted"]
    rating_shear: float | None
    rating_pull: float | None
    stiffness: float
    cured: float
    cured_band: tuple[float, float] | None = None


@dataclass(frozen=True)
class NoCredit:
    """What is done and recorded, and counts for nothing: resin injected, or a crack's end drilled."""

    name: str
    what: Literal["resin injection", "stop-drilling"]
    over: str


@dataclass(frozen=True)
class Tape:
    """Tape over a region: keeps the air out, carries nothing; `areal_mass` kg/m², `thickness` m (None: not stated)."""

    name: str
    region: str
    areal_mass: float
    thickness: float | None = None


@dataclass(frozen=True)
class Refit:
    """A missing fastener put back."""

    name: str
    fastener: str


@dataclass(frozen=True)
class Spare:
    """The spare panel, with what `damage` it has itself."""

    name: str
    damage: tuple[Damage, ...] = ()


Action = PatchRepair | ScarfRepair | Insert | NoCredit | Tape | Refit | Spare


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
