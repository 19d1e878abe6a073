"""The assessment of a case: all configurations, the recommendation, and what the report needs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from panelfem.arrays import BoolArray, FloatArray
from panelfem.disposition.records import Assumption, Disposition, Outcome
from panelfem.marks import Mark
from panelfem.mesh import PanelMesh
from panelfem.repair import StepHeight
from panelfem.reserve.records import FieldSet, LoadResult


@dataclass(frozen=True)
class Restoration:
    """What this configuration takes over what the undamaged panel takes, under one load and for one mode class."""

    load: str
    release: float
    first_ply: float


@dataclass(frozen=True)
class Tone:
    """One natural vibration of a panel as fitted, at rest.

    `frequency` Hz with its mesh error `bar` Hz; `effective` (3,): share of the panel's mass that goes with a shake
    along x, y, z; `where` it moves most, in words; `shape` (nv, 3) at the vertices, greatest motion one; `like`: number
    (from 1) of the undamaged panel's vibration it corresponds to, None: none; `likeness`: 1 for the same shape,
    0 for another
    altogether (modal assurance criterion).
    """

    frequency: float
    bar: float
    effective: FloatArray
    where: str
    shape: FloatArray = field(repr=False)
    like: int | None = None
    likeness: float = 0.0


@dataclass(frozen=True)
class Vibration:
    """The lowest natural vibrations of one state, rising; `mass` kg that vibrates; what is to be said in `notes`."""

    tones: tuple[Tone, ...]
    mass: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Variant:
    """One state a configuration may be in (an end of a bracket, the patch gone), with a result per load.

    `fields` maps a load's name to what the pictures show.  `fastener_lost`: fixing name -> least release reserve over
    the loads with that fixing lost as well (and the load it is under).  `vibration`: None where it was not asked for.
    """

    name: str
    loads: tuple[LoadResult, ...]
    removed: BoolArray
    fields: Mapping[str, FieldSet] = field(repr=False, default_factory=dict)
    fastener_lost: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    vibration: Vibration | None = None


@dataclass(frozen=True)
class Configuration:
    """Undamaged, as found, or an option: the variants analysed, and per load the worst of them.

    `variants` are those that must meet the factor; `contingencies` ("patch gone") are those it must survive to be
    better than conditional.  `governing` names for each load the variant that rules.  `mass` kg is that of the heaviest
    state, `centre_of_mass` (3,) m its, in the frame of the panel.  `step`: what stands out of the surface of the panel
    itself, None where nothing was done to it.
    """

    name: str
    kind: Literal["undamaged", "as found", "option"]
    mass: float
    minutes: float
    permitted: bool | None
    variants: tuple[Variant, ...]
    contingencies: tuple[Variant, ...]
    governing: Mapping[str, str]
    restoration: tuple[Restoration, ...]
    disposition: Disposition
    note: str = ""
    centre_of_mass: FloatArray | None = None
    step: StepHeight | None = None

    def result(self, load: str) -> LoadResult:
        """The governing result under a load."""
        variant = next(v for v in self.variants if v.name == self.governing[load])
        return next(r for r in variant.loads if r.load == load)


@dataclass(frozen=True)
class Declined:
    """A part this tool does not assess, and why; `panel` its name, `case_hash` the sha256 of its inputs."""

    case: str
    reason: str
    refer_to: str
    panel: str = ""
    case_hash: str = ""
    invented: bool = False


@dataclass(frozen=True)
class Mesh:
    """One mesh the assessment was made on.

    `elements`; `worst`: the greatest bar as a share of its number, among the numbers the accuracy is asked of; `what`
    names that number, `where` its load and state.
    """

    elements: int
    worst: float
    what: str
    where: str


@dataclass(frozen=True)
class Meshing:
    """How far the meshes were adapted.

    `accuracy` asked for, as a share (None: the element size was given, the mesh is not adapted); `meshes` in the order
    they were made, the last one used; `met`: every bar the accuracy is asked of is within it; `order` of the elements
    that give the numbers, one more than that of the elements the bars come from; `stopped`: why it was not met, in
    words, empty if it was; `near_only`: it was asked only of reserves near what is asked.
    """

    accuracy: float | None
    meshes: tuple[Mesh, ...]
    met: bool
    order: int
    stopped: str = ""
    near_only: bool = False


@dataclass(frozen=True)
class Screened:
    """A load under a configuration of which something that could not change the outcome was left out.

    `factor`: reserve factor on the load's own parameter, nan if there is none; `reason`: what was left out and why, in
    words.
    """

    configuration: str
    load: str
    factor: float
    reason: str


@dataclass(frozen=True)
class Notched:
    """A closed form for a hole under a load, beside the mesh: factors on the load's own parameter, as if proportional.

    `point` and `average` by Whitney and Nuismer's two rules; `meshed`: the least where the mesh averaged stress, inf if
    other places govern; `length` m of the average; `bending`: share of the far strain that bends, which the closed form
    leaves out; `why_not`: why there is none, in words.
    """

    hole: str
    load: str
    point: float
    average: float
    meshed: float
    length: float
    bending: float = 0.0
    why_not: str = ""


@dataclass(frozen=True)
class FlipSize:
    """Where the outcome of a configuration flips with the size of one damage, all else as assessed.

    Sizes are across at the longest, m: `size` is the assessed one, `reached` the farthest from it looked at.  It flips
    between `below`, where the factor is met, and `above` (nan: it does not), told with `outcome_below` and
    `outcome_above`, conditions aside, there by `mode` under `load`; else `outcome` stays, and `bound` says why it was
    looked no farther.  `round`: it is a disc.  `looks`: how many it took.  `why_not`: why there is no answer, in words.
    """

    damage: str
    configuration: str
    size: float
    below: float = math.nan
    above: float = math.nan
    outcome_below: Outcome | None = None
    outcome_above: Outcome | None = None
    load: str = ""
    mode: str = ""
    reached: float = math.nan
    outcome: Outcome | None = None
    bound: str = ""
    round: bool = True
    looks: int = 0
    why_not: str = ""


@dataclass(frozen=True)
class InputRow:
    """One input as used: path in the case, value with unit, basis and source."""

    key: str
    shown: str
    basis: str
    source: str


@dataclass(frozen=True, eq=False)
class Marked:
    """A damage, or what an option does: what pictures show beside the numbers.

    `name` and `kind` in words, with the `mark` of the kind; `option`: empty for damage.  `inside` (ne,): the area, or
    `place` (3,) m: the fixing; neither: the whole panel.
    """

    name: str
    kind: str
    mark: Mark
    option: str = ""
    inside: BoolArray | None = None
    place: FloatArray | None = None

    @property
    def anew(self) -> bool:
        """True if it is the whole panel that is replaced."""
        return self.inside is None and self.place is None

    @property
    def label(self) -> str:
        """Its name, with the kind where the name does not say it."""
        return self.name if self.kind in self.name else f"{self.name}: {self.kind}"


@dataclass(frozen=True)
class Assessment:
    """Everything an assessment found; the report, the JSON and the terminal are made from it.

    `recommendation` names a configuration (or None) and `recommendation_reason` says why in one sentence.
    `mesh` is shared by all configurations; `places` are named points (fixings, damage) for the pictures, (3,) m each.
    `screened`: what was taken no further.  `provisional`: what is not yet done, in words; empty if everything is.
    `notched`: closed forms beside the meshed strength at holes.  `marked`: every damage and all that options do.
    `flip_sizes`: where damage changes an outcome by its size.
    """

    case: str
    title: str
    invented: bool
    panel: str
    minutes_left: float | None
    required: float
    consequence: str
    configurations: tuple[Configuration, ...]
    recommendation: str | None
    recommendation_reason: str
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    inputs: tuple[InputRow, ...]
    sources: tuple[str, ...]
    mesh: PanelMesh
    places: Mapping[str, FloatArray]
    checks: Mapping[str, str]
    stacks: Mapping[str, tuple[str, ...]]
    version: str
    case_hash: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    meshing: Meshing | None = None
    screened: tuple[Screened, ...] = ()
    provisional: str = ""
    notched: tuple[Notched, ...] = ()
    marked: tuple[Marked, ...] = ()
    flip_sizes: tuple[FlipSize, ...] = ()

    @property
    def damage_regions(self) -> Mapping[str, BoolArray]:
        """Name of a damage over an area -> element mask (ne,)."""
        return {m.name: m.inside for m in self.marked if not m.option and m.inside is not None}
