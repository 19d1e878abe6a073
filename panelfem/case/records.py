"""The case as records: what the rest of the program works on, in SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from panelfem.arrays import FloatArray
from panelfem.case.fields import SweepKind
from panelfem.case.sizes import Sizes
from panelfem.damage import Damage
from panelfem.loads.records import LoadCase
from panelfem.panel import Panel
from panelfem.repair.records import Option


@dataclass(frozen=True)
class InputRow:
    """One input as used: path in the case, value with unit, basis and source."""

    key: str
    shown: str
    basis: str
    source: str


@dataclass(frozen=True)
class Sweep:
    """How an assumed input is swept: `low` and `high` are factors on the value used.

    `target` names what is changed: a material (strength, stiffness), a damage (softened strength, characteristic
    length, damage strength or stiffness; `key` says which of its keys), the action of an option (cured), a load
    (dynamic, severity, car stiffness) or a fastener (fastener stiffness).

    >>> Sweep("car stiffness", "exit kerb", 0.6, 1.6).target
    'exit kerb'
    """

    kind: SweepKind
    target: str
    low: float
    high: float
    key: str = ""


@dataclass(frozen=True)
class AssumedInput:
    """An input that is assumed, not known: its path, what it is, value and band as shown, and how it is
    swept.

    `measure` is what would settle it; `sweep` is None where the case gives no band, or a band that nothing
    depends on.
    """

    key: str
    what: str
    shown: str
    source: str
    band_shown: tuple[str, str] | None
    sweep: Sweep | None
    measure: str


@dataclass(frozen=True)
class Case:
    """A case, ready to be assessed.

    `required_factor` is already the greatest of what the class, the safety answers and the case ask for, and
    `factor_basis` says which.  `panel` is the undamaged panel on a mesh that carries every region the case
    names; None if the part protects people, for then nothing is computed.  `consequence` is the class after
    the safety answers. `criteria` maps ``unidirectional`` and ``fabric`` to the name of the criterion that
    governs; `in_situ`: with the in-situ strength of held plies.  `vibrations`: whether natural vibrations are found.
    `large_displacements`: whether loads that
    leave linear theory are followed.  `order` of the elements, None for the
    default.  `accuracy` asked of the numbers, as a share; None if the element size is given and the mesh is
    not adapted; `near_only`: it is asked only of reserves near what is asked.  `imperfection` m: height of the
    initial shape a panel that buckles is followed from, None for the default.  `measured`: the damage as measured,
    where the mesh carries its borders too, else empty.  `flip_sizes`: whether the sizes at which damage changes the
    outcome are looked for; `sizes` builds the case at them, None: that cannot be done.  `hash` is the sha256 of the
    case file and of every file it reads.  `places` are named points (3,) m: fasteners, damage, kerbs.
    """

    file: str
    title: str
    invented: bool
    consequence: str
    required_factor: float
    factor_basis: str
    protects_people: str
    fastened_to_such_a_part: bool
    such_a_part: str | None
    covers_high_voltage: bool
    minutes_left: float | None
    panel_name: str
    panel: Panel | None
    damage: tuple[Damage, ...]
    options: tuple[Option, ...]
    loads: tuple[LoadCase, ...]
    criteria: Mapping[str, str]
    modeless_criteria_govern: bool
    in_situ: bool
    lose_each_fastener: bool
    vibrations: bool
    large_displacements: bool
    order: int | None
    accuracy: float | None
    imperfection: float | None
    inputs: tuple[InputRow, ...]
    assumed: tuple[AssumedInput, ...]
    hash: str
    places: Mapping[str, FloatArray] = field(repr=False, default_factory=dict)
    notes: tuple[str, ...] = ()
    near_only: bool = False
    measured: tuple[Damage, ...] = ()
    flip_sizes: bool = True
    sizes: Sizes | None = field(repr=False, compare=False, default=None)
