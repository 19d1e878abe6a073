"""An assessment in the log: what of it is kept, and its rows."""

from __future__ import annotations

import json
import math
import sqlite3
from dataclasses import replace
from typing import TYPE_CHECKING

from panelfem.log.life import Judged, Reserve, Verdict
from panelfem.log.store import insert

if TYPE_CHECKING:
    from panelfem.assess.records import Assessment, Configuration, Declined
    from panelfem.disposition.records import LoadOutcome


def title(found: Assessment | Declined) -> str:
    """An assessment in a few words."""
    title: str | None = getattr(found, "title", None)
    return title if title is not None else found.case


def judged(found: Assessment | Declined) -> Judged:
    """What is kept of an assessment; of a part that was declined, why."""
    from panelfem import __version__
    from panelfem.assess.records import Declined

    if isinstance(found, Declined):
        reason = f"declined: {found.reason}; refer to {found.refer_to}"
        return Judged(found.case_hash, found.invented, "", math.nan, None, reason, (), __version__)
    return Judged(
        found.case_hash,
        found.invented,
        found.consequence,
        found.required,
        found.recommendation,
        found.recommendation_reason,
        found.conditions,
        found.version,
        tuple(_verdict(configuration) for configuration in found.configurations),
    )


def _verdict(found: Configuration) -> Verdict:
    disposition, total = found.disposition, found.disposition.uncertainty
    governing = next((o for o in disposition.loads if o.load == disposition.governing_load), None)
    factor = math.nan if governing is None or governing.factor < 0 else governing.factor
    # the total uncertainty may be that of another load than the one that governs: only its own factor is kept with it
    own = total is not None and total.load == disposition.governing_load
    return Verdict(
        found.name,
        found.kind,
        disposition.outcome.value,
        disposition.governing_load,
        factor,
        total.low * total.factor if total is not None and own else math.nan,
        total.high * total.factor if total is not None and own else math.nan,
        disposition.reason,
        found.mass,
        found.minutes,
        tuple(_reserve(found, outcome) for outcome in disposition.loads),
    )


def _reserve(found: Configuration, outcome: LoadOutcome) -> Reserve:
    """The mode a load was judged on: the one whose factor the outcome has."""
    from panelfem.disposition import ends

    result = found.result(outcome.load)
    mode = next((m for m in (*result.modes, result.release) if m.rank == outcome.factor), result.release)
    return Reserve(
        outcome.load,
        outcome.outcome.value,
        outcome.required,
        mode.factor,
        mode.bar,
        "path ends" if ends(mode) else mode.status,
        mode.mode,
        mode.where,
    )


def write(connection: sqlite3.Connection, entry: int, kept: Judged) -> None:
    """Add the rows of an assessment whose entry is there; nan becomes NULL."""
    insert(
        connection,
        "assessment",
        entry=entry,
        inputs=kept.inputs,
        invented=kept.invented,
        consequence=kept.consequence,
        required=kept.required,
        recommendation=kept.recommendation,
        reason=kept.reason,
        conditions=json.dumps(kept.conditions, ensure_ascii=False),
        version=kept.version,
    )
    for place, verdict in enumerate(kept.verdicts):
        insert(
            connection,
            "verdict",
            entry=entry,
            place=place,
            configuration=verdict.configuration,
            kind=verdict.kind,
            outcome=verdict.outcome,
            load=verdict.load,
            factor=verdict.factor,
            low=verdict.low,
            high=verdict.high,
            reason=verdict.reason,
            mass_kg=verdict.mass,
            minutes=verdict.minutes,
        )
        for nth, reserve in enumerate(verdict.reserves):
            insert(connection, "reserve", entry=entry, verdict=place, place=nth, **reserve.__dict__)


def read(connection: sqlite3.Connection, entry: int) -> Judged:
    """The assessment of an entry."""
    reserves: dict[int, list[Reserve]] = {}
    for verdict, load, outcome, required, factor, bar, *rest in connection.execute(
        "SELECT verdict, load, outcome, required, factor, bar, status, mode, position FROM reserve "
        "WHERE entry = ? ORDER BY verdict, place",
        (entry,),
    ):
        made = Reserve(load, outcome, required, _number(factor), _number(bar), *rest)
        reserves.setdefault(verdict, []).append(made)
    verdicts = [
        Verdict(name, kind, outcome, load, _number(factor), _number(low), _number(high), why, mass, minutes)
        for name, kind, outcome, load, factor, low, high, why, mass, minutes in connection.execute(
            "SELECT configuration, kind, outcome, load, factor, low, high, reason, mass_kg, minutes "
            "FROM verdict WHERE entry = ? ORDER BY place",
            (entry,),
        )
    ]
    inputs, invented, consequence, required, recommendation, reason, conditions, version = connection.execute(
        "SELECT inputs, invented, consequence, required, recommendation, reason, conditions, version FROM assessment "
        "WHERE entry = ?",
        (entry,),
    ).fetchone()
    return Judged(
        inputs,
        bool(invented),
        consequence,
        _number(required),
        recommendation,
        reason,
        tuple(json.loads(conditions)),
        version,
        tuple(replace(verdict, reserves=tuple(reserves.get(place, ()))) for place, verdict in enumerate(verdicts)),
    )


def _number(value: float | None) -> float:
    """SQLite keeps nan as NULL."""
    return math.nan if value is None else value
