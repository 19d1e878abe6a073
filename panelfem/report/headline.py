"""The ranked table: one row for each configuration, the same on the terminal and on the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from panelfem.assess.records import Assessment, Configuration
from panelfem.disposition import is_bound
from panelfem.disposition.records import Outcome
from panelfem.report import figures, wording
from panelfem.reserve.records import ModeReserve

_ORDER = {outcome: place for place, outcome in enumerate(Outcome)}


@dataclass(frozen=True)
class Row:
    """The figures of one configuration as phrases with units; `…_load` names the load a figure belongs to.

    `rank` is None for the undamaged panel, which is there to compare with.
    """

    rank: int | None
    configuration: Configuration
    recommended: bool
    load: str
    takes: wording.Takes | None
    deflection: str
    deflection_load: str
    first_ply: str
    first_ply_mode: str
    first_ply_load: str
    release: str
    release_mode: str
    restoration: str
    restoration_load: str
    mass: str
    step: str
    minutes: str
    permitted: str

    @property
    def name(self) -> str:
        """The configuration's name."""
        return self.configuration.name

    @property
    def outcome(self) -> Outcome:
        """The configuration's outcome."""
        return self.configuration.disposition.outcome


def rows(assessment: Assessment) -> tuple[Row, ...]:
    """All configurations, the recommended one first, then by outcome, permission, whether they fit in the minutes left,
    and what they take; undamaged last.
    """
    reference = wording.undamaged(assessment)
    made = [_row(assessment, c, reference) for c in assessment.configurations]
    made.sort(key=lambda row: _place(row, assessment.minutes_left))
    out, rank = [], 0
    for row in made:
        if row.configuration.kind == "undamaged":
            out.append(row)
        else:
            rank += 1
            out.append(_ranked(row, rank))
    return tuple(out)


def too_long(conf: Configuration, left: float | None) -> bool:
    """Whether a configuration takes more minutes than are left."""
    return left is not None and conf.minutes > left


def _place(row: Row, left: float | None) -> tuple[bool, bool, int, bool, bool, float]:
    conf = row.configuration
    factor = row.takes.factor / row.takes.required if row.takes and row.takes.required else math.nan
    return (
        conf.kind == "undamaged",
        not row.recommended,
        _ORDER[row.outcome],
        conf.permitted is False,
        too_long(conf, left),
        math.inf if math.isnan(factor) else -factor,
    )


def _ranked(row: Row, rank: int) -> Row:
    return Row(**{**row.__dict__, "rank": rank})


def _row(assessment: Assessment, conf: Configuration, reference: Configuration | None) -> Row:
    results = [conf.result(load) for load in conf.governing]
    load = wording.governing_load(conf)
    shared = {
        "rank": None,
        "configuration": conf,
        "recommended": conf.name == assessment.recommendation,
        "mass": wording.mass_text(conf.mass, reference.mass if reference and reference is not conf else None),
        "step": wording.step_text(conf.step),
        "minutes": "" if conf.kind == "undamaged" else wording.minutes_text(conf.minutes, assessment.minutes_left),
        "permitted": "" if conf.kind == "undamaged" else wording.permitted_text(conf.permitted),
    }
    if not results:
        blank = dict.fromkeys(("deflection", "first_ply", "release", "restoration"), "not computed") | dict.fromkeys(
            ("load", "deflection_load", "first_ply_mode", "first_ply_load", "release_mode", "restoration_load"), ""
        )
        return Row(takes=None, **shared, **blank)  # type: ignore[arg-type]
    governing = conf.result(load)
    most = max(results, key=lambda r: r.deflection.value)
    first = min(results, key=lambda r: r.first_ply.rank)
    mode = wording.ruling(governing, wording.outcome_of(conf, load))
    kept, kept_load = _restoration(conf)
    return Row(
        **shared,  # type: ignore[arg-type]
        load=load,
        takes=wording.takes(governing, wording.required_of(conf, load, assessment.required), mode),
        deflection=wording.deflection_text(most),
        deflection_load=most.load,
        first_ply=wording.margin_text(first.first_ply, first.theory),
        first_ply_mode=_mode(first.first_ply, place=False),
        first_ply_load=first.load,
        release=wording.margin_text(mode, governing.theory),
        release_mode=_mode(mode),
        restoration=kept,
        restoration_load=kept_load,
    )


def _mode(mode: ModeReserve, place: bool = True) -> str:
    """Mode, ply and place, short; a bound says that nothing was reached."""
    if is_bound(mode):
        return wording.mode_text(mode)
    ply = f"ply {mode.ply}{' ' + mode.position if mode.position else ''}" if mode.ply is not None else ""
    return ", ".join(part for part in (mode.mode, ply, mode.where if place else "") if part)


def _restoration(conf: Configuration) -> tuple[str, str]:
    """The least restoration over the loads, and the load it is under; nothing for the undamaged panel itself."""
    known = [r for r in conf.restoration if not math.isnan(r.release)]
    if conf.kind == "undamaged":
        return "reference", ""
    if not known:
        return "n/a", ""
    least = min(known, key=lambda r: r.release)
    return figures.share(least.release), least.load
