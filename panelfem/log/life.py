"""What the log knows of a panel, as records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Finding:
    """What was found on a panel, to be logged with its assessment: in `words`; `document` the finding file, whole; `at`
    when it was found, if not now (text, with its zone).
    """

    words: str
    document: str = ""
    at: str | None = None


@dataclass(frozen=True)
class Entry:
    """One entry: when it happened and when it was written (UTC), who, what in words.

    `about`: number of the entry it refers to.  `mass` kg: of a mass reading the panel's, of a repair what it added;
    None: not stated.  `survived`: of a strike, whether the panel was found undamaged after it; None: not stated.
    `document`: of a finding, its file.
    """

    number: int
    kind: str
    at: str
    written: str
    who: str
    words: str
    about: int | None = None
    mass: float | None = None
    survived: bool | None = None
    document: str | None = None


@dataclass(frozen=True)
class Reserve:
    """One configuration under one load: the `factor` asked for (`required`) and the one found with its mesh `bar`, by
    which `mode` and where (`position`).

    `factor` nan: reached at zero load; `bar` nan: not estimated; `status` as in
    :class:`panelfem.reserve.records.ModeReserve`, "path ends" where no equilibrium was found beyond.
    """

    load: str
    outcome: str
    required: float
    factor: float
    bar: float
    status: str
    mode: str
    position: str


@dataclass(frozen=True)
class Verdict:
    """One configuration of an assessment: its outcome, the load that governs, the governing factor from `low` to `high`
    with everything that is uncertain (nan: none), mass kg and minutes.
    """

    configuration: str
    kind: str
    outcome: str
    load: str
    factor: float
    low: float
    high: float
    reason: str
    mass: float
    minutes: float
    reserves: tuple[Reserve, ...] = ()

    @property
    def governing(self) -> Reserve | None:
        """The reserve under the load that governs."""
        return next((r for r in self.reserves if r.load == self.load), None)


@dataclass(frozen=True)
class Judged:
    """An assessment as logged; `inputs` is the sha256 of the case and of every file it reads, `version` of panelfem."""

    inputs: str
    invented: bool
    consequence: str
    required: float
    recommendation: str | None
    reason: str
    conditions: tuple[str, ...]
    version: str
    verdicts: tuple[Verdict, ...] = ()


@dataclass(frozen=True)
class Mass:
    """What a panel weighs now: the last `reading` (kg) and what repairs added since (kg), of which `unknown` said
    nothing of their mass.
    """

    reading: float
    added: float
    unknown: int

    @property
    def now(self) -> float:
        """Reading and what was added, kg."""
        return self.reading + self.added


@dataclass(frozen=True)
class Life:
    """All entries of a panel in the order they happened, and the assessments by number of their entry."""

    panel: str
    entries: tuple[Entry, ...]
    assessments: Mapping[int, Judged] = field(default_factory=dict)

    def of(self, kind: str) -> tuple[Entry, ...]:
        """The entries of one kind."""
        return tuple(e for e in self.entries if e.kind == kind)

    @property
    def survived(self) -> tuple[Entry, ...]:
        """The strikes after which the panel was found undamaged."""
        return tuple(e for e in self.of("strike") if e.survived)

    @property
    def mass(self) -> Mass | None:
        """What it weighs now; None if it was never weighed.

        >>> def entry(n, kind, mass):
        ...     return Entry(n, kind, f"2020-01-0{n}T00:00:00.000Z", "", "A", "", mass=mass)
        >>> Life("lid", (entry(1, "repair", 0.5), entry(2, "mass", 1.2), entry(3, "repair", 0.04))).mass.now
        1.24
        """
        last = max((i for i, e in enumerate(self.entries) if e.kind == "mass"), default=None)
        if last is None:
            return None
        reading = self.entries[last].mass
        assert reading is not None
        since = [e.mass for e in self.entries[last + 1 :] if e.kind == "repair"]
        return Mass(reading, sum(m for m in since if m is not None), since.count(None))
