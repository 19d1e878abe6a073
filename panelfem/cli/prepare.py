"""``panelfem prepare``: check a library and assess its panels undamaged."""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Iterator

from rich.text import Text

from panelfem.errors import CaseError
from panelfem.garage.library import Library
from panelfem.garage.undamaged import Undamaged, UndamagedLoad
from panelfem.units import number, with_bar


def run(chosen: Namespace) -> int:
    """Check, assess what is not up to date, and print a row for each panel, car and circuit."""
    from panelfem.cli.console import out, show, stages, table
    from panelfem.garage.checks import travel_faults, unknown
    from panelfem.garage.undamaged import assess_undamaged, combinations, keep, ready, state

    library = Library.open(chosen.library)
    if chosen.panel is not None and (faults := tuple(unknown(chosen.panel, tuple(library.panels), "--panel", "panel"))):
        raise CaseError(str(chosen.library), faults)
    every = list(combinations(library, chosen.panel))
    pairs = dict.fromkeys((car, circuit) for _, car, circuit in every)
    if faults := tuple(fault for pair in pairs for fault in travel_faults(library, *pair)):
        raise CaseError(str(chosen.library), faults)
    ready(library)
    rows, notes = [], list(_notes(library))
    with stages(chosen.quiet) as tell:
        for i, names in enumerate(every):
            found, why = state(library, *names)

            def stage(what: str, share: float, i: int = i, names: tuple[str, str, str] = names) -> None:
                tell(f"{', '.join(names)}: {what}", (i + share) / len(every))

            if found is None:
                stage(f"undamaged ({why})", 0.0)
                found = assess_undamaged(library, *names, stage)
                if found is not None:
                    keep(library, found)
            rows.append((*names, *_row(found, why)))
            notes += _of(found)
    heads = (
        "Panel",
        "Car",
        "Circuit",
        "Undamaged",
        "Least reserve",
        "Asked for",
        "Under",
        "Mode",
        "Deflection",
        "Kept",
    )
    console = out()
    show(console, table(heads, rows, title=f"{chosen.library}: every file is sound"))
    for note in notes:
        show(console, Text(note))
    return 0


def _row(found: Undamaged | None, why: str) -> tuple[str, ...]:
    if found is None:
        return ("not assessed: declined, or nothing meets it there", *[""] * 6)
    load = next((x for x in found.loads if x.load == found.governing_load), found.loads[0])
    moved = max(found.loads, key=lambda x: x.deflection_mm)
    bar = math.nan if moved.deflection_bar_mm is None else moved.deflection_bar_mm
    return (
        found.outcome,
        _factor(load),
        number(load.required_factor),
        load.load,
        f"{load.mode}, {load.where}" if load.where else load.mode,
        with_bar(moved.deflection_mm, bar, "mm"),
        "made now" if why else "up to date",
    )


def _factor(load: UndamagedLoad) -> str:
    if load.factor is None:
        return "reached at zero load"
    if load.beyond:
        return f"over {number(load.factor)}"
    return with_bar(load.factor, math.nan if load.bar_factor is None else load.bar_factor)


def _notes(library: Library) -> Iterator[str]:
    """Panels that no car carries, and patches that get no credit on any panel."""
    from panelfem.garage.cure import no_credit

    carried = {c.panel for car in library.cars.values() for c in car.carries}
    yield from (f"panels/{name}.toml: no car carries it" for name in library.panels if name not in carried)
    for name, kit in library.kits.items():
        tables = {table.material: table for table in kit.cure}
        for patch in kit.patch:
            if why := no_credit(tables[patch.adhesive], patch, None):
                yield f"kits/{name}.toml, patch {patch.name!r}: {why}"


def _of(found: Undamaged | None) -> Iterator[str]:
    """What is left out, and whether the model weighs what the scale says."""
    if found is None:
        return
    where = f"{found.panel}, {found.car}, {found.circuit}"
    yield from (f"{where}: left out: {what}" for what in found.left_out)
    if found.weighed_g is not None:
        share = 100.0 * (found.mass_g / found.weighed_g - 1.0)
        model, scale = number(found.mass_g), number(found.weighed_g)
        yield f"{where}: the model weighs {model} g, the scale said {scale} g ({share:+.1f} %)"
