"""``panelfem log``: the panels in a log, the life of one, and a new entry in it."""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.cli.console import out, show, table, visible
from panelfem.errors import InputError
from panelfem.log import Entry, Judged, Life, Log, Verdict
from panelfem.log.moment import shown
from panelfem.units import number, with_bar

#: Options that only mean something with --add.
_WITH_ADD = ("by", "words", "at", "about", "grams", "survived", "new")


def run(chosen: Namespace) -> int:
    """List the panels, show a life, or add to one."""
    if chosen.add is None:
        given = {name: getattr(chosen, name) for name in _WITH_ADD}
        alone = next((name for name, value in given.items() if value is not None and value is not False), None)
        if alone is not None:
            raise InputError(f"--{alone} goes with an entry", where=f"--{alone}", do="say which with --add")
    elif chosen.panel is None:
        raise InputError("no panel is named for the entry", where="--add", do="write its name before --add")
    elif not chosen.new and not chosen.log.exists():
        raise InputError(
            "there is no such log", where=str(chosen.log), do="check the path; --new begins a panel and a log"
        )
    console = out()
    if chosen.add is not None:
        with Log.open(chosen.log) as log:
            written = _add(log, chosen)
        show(
            console, Text(f"Entered as {written} in {chosen.log}: it stays, a mistake is put right by a further entry.")
        )
        return 0
    with Log.open(chosen.log, only_read=True) as log:
        for part in _panels(log) if chosen.panel is None else life(log.life(chosen.panel)):
            show(console, part)
    return 0


def _add(log: Log, chosen: Namespace) -> int:
    if not chosen.by:
        raise InputError("nobody is named for the entry", where="--add", do="say who with --by")
    return log.add(
        chosen.panel,
        chosen.add,
        who=chosen.by,
        words=chosen.words or "",
        at=chosen.at,
        about=chosen.about,
        mass=None if chosen.grams is None else 1e-3 * chosen.grams,
        survived=None if chosen.survived is None else chosen.survived == "yes",
        new=chosen.new,
    )


def _panels(log: Log) -> Iterator[RenderableType]:
    heads = ("Panel", "Strikes", "Findings", "Assessed", "Repairs", "Mass now", "Last entry")
    rows = []
    for name in log.panels():
        of = log.life(name)
        counts = (str(len(of.of(kind))) for kind in ("strike", "finding", "assessment", "repair"))
        last = max(of.entries, key=lambda e: (e.at, e.number))
        rows.append((_short(name), *counts, _mass(of), f"{shown(last.at)}, {last.kind}, {_short(last.who, 24)}"))
    yield table(heads, rows, right=(1, 2, 3, 4))


def life(of: Life) -> Iterator[RenderableType]:
    """The life of a panel: what it came to, then entry by entry in the order it happened."""
    yield Text(visible(of.panel), style="bold")
    strikes, survived = of.of("strike"), of.survived
    said = [e for e in strikes if e.survived is not None]
    yield Text(
        f"Strikes: {len(strikes)} entered, {len(survived)} survived without damage found, "
        f"{len(said) - len(survived)} that left damage, {len(strikes) - len(said)} of which neither is said."
    )
    yield Text(f"Mass now: {_mass(of)}")
    yield Text("")
    heads = ("Entry", "When", "What", "Who", "In words")
    yield table(
        heads,
        ((str(e.number), shown(e.at), e.kind, visible(e.who), _words(e, of)) for e in of.entries),
        right=(0,),
    )
    for entry in of.of("assessment"):
        yield from _assessment(entry, of.assessments[entry.number])
    if not of.of("decision"):
        yield Text("No decision is entered: nobody has signed for this panel in the log.")


def _words(entry: Entry, of: Life) -> str:
    parts = [visible(entry.words)] if entry.words else []
    if entry.about is not None:
        parts.append(f"about entry {entry.about}")
    if entry.survived is not None:
        parts.append("survived, no damage found" if entry.survived else "left damage")
    if entry.mass is not None:
        grams = number(1e3 * entry.mass, 6)
        parts.append(f"{grams} g" if entry.kind == "mass" else f"adds {grams} g")
    if entry.number in of.assessments:
        parts.append(_recommended(of.assessments[entry.number]))
    if entry.written[:16] != entry.at[:16]:
        parts.append(f"written {shown(entry.written)}")
    return "; ".join(parts)


def _recommended(judged: Judged) -> str:
    if judged.recommendation is None:
        return visible(judged.reason)
    chosen = next(v for v in judged.verdicts if v.configuration == judged.recommendation)
    return f"recommended: {visible(chosen.configuration)}, {chosen.outcome}"


def _assessment(entry: Entry, judged: Judged) -> Iterator[RenderableType]:
    yield Text("")
    demo = "; invented scenario" if judged.invented else ""
    yield Text(
        f"Assessment, entry {entry.number}, {shown(entry.at)}, panelfem {judged.version}, "
        f"inputs sha256 {judged.inputs[:16]}…{demo}"
    )
    if not judged.verdicts:
        return
    yield Text(f"Class {judged.consequence}, factor asked for ×{number(judged.required)}. {visible(judged.reason)}")
    for condition in judged.conditions:
        yield Text(f"  if: {visible(condition)}")
    heads = ("", "Configuration", "Outcome", "Governing load", "Factor", "With all uncertainty", "Mode", "Mass")
    yield table(heads, (_verdict(v, judged) for v in judged.verdicts))


def _verdict(found: Verdict, judged: Judged) -> tuple[str, ...]:
    band = "not computed" if math.isnan(found.low) else f"×{number(found.low)} to ×{number(found.high)}"
    reserve = found.governing
    mode = ", ".join(part for part in (reserve.mode, reserve.position) if part) if reserve else ""
    return (
        ">" if found.configuration == judged.recommendation else "",
        visible(found.configuration),
        found.outcome,
        visible(found.load),
        _factor(found),
        band,
        visible(mode),
        f"{1e3 * found.mass:.0f} g",
    )


def _factor(found: Verdict) -> str:
    """The factor with its mesh error, or why there is none."""
    reserve = found.governing
    if reserve is None:
        return "not computed"
    match reserve.status:
        case "zero load":
            return "reached at zero load"
        case "beyond search" | "path ends":
            return f"more than ×{number(reserve.factor)}"
        case _:
            return f"×{with_bar(reserve.factor, reserve.bar)}"


def _mass(of: Life) -> str:
    mass = of.mass
    if mass is None:
        return "never weighed"
    parts = [f"{number(1e3 * mass.now, 6)} g"]
    if mass.added:
        parts.append(f"weighed {number(1e3 * mass.reading, 6)} g, repairs since {number(1e3 * mass.added, 6)} g")
    if mass.unknown:
        repairs = f"{mass.unknown} repair{'s' if mass.unknown > 1 else ''}"
        parts.append(f"{repairs} since of unknown mass: weigh it again")
    return "; ".join(parts)


def _short(text: str, most: int = 48) -> str:
    seen = visible(text)
    return seen if len(seen) <= most else f"{seen[: most - 1]}…"
