"""``panelfem materials``: what the library holds, and where each number comes from."""

from __future__ import annotations

from argparse import Namespace
from dataclasses import fields
from difflib import get_close_matches

from rich.text import Text

from panelfem.cli.console import out, table
from panelfem.errors import InputError
from panelfem.material import CoreMaterial, Material, PlyMaterial, library, sources
from panelfem.units import SUFFIXES, number


def run(chosen: Namespace) -> int:
    """All materials in short, or one in full."""
    console = out()
    if chosen.name is None:
        console.print(
            table(("Name", "Kind", "Main stiffness", "Basis", "Source"), [_short(m) for m in library().values()])
        )
        console.print(Text("\nSources"))
        for source in sources():
            console.print(Text(f"  {source}"))
        return 0
    material = library().get(chosen.name)
    if material is None:
        near = get_close_matches(chosen.name, library(), 1)
        raise InputError(
            f"material '{chosen.name}' is unknown",
            allowed=", ".join(library()),
            do=f"did you mean '{near[0]}'" if near else "see: panelfem materials",
        )
    console.print(table(("Property", "Value", "Basis", "Band", "Source"), _full(material), title=material.name))
    return 0


def kind(material: Material) -> str:
    """The family of a material in a word or two."""
    if isinstance(material, PlyMaterial):
        return f"{material.kind} ply"
    return f"{material.kind} core" if isinstance(material, CoreMaterial) else "adhesive"


def _short(material: Material) -> tuple[str, ...]:
    if isinstance(material, PlyMaterial):
        main, key = f"E1 {number(material.E1 / 1e9)} GPa, E2 {number(material.E2 / 1e9)} GPa", "E1"
    elif isinstance(material, CoreMaterial):
        main, key = f"G13 {number(material.G13 / 1e6)} MPa, G23 {number(material.G23 / 1e6)} MPa", "G13"
    else:
        main, key = f"E {number(material.E / 1e9)} GPa", "E"
    known = material.provenance.get(key)
    return (
        material.name,
        kind(material),
        main,
        known.basis if known else "not given",
        known.source if known else "not given",
    )


def _full(material: Material) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("kind", kind(material), "", "", "")]
    for entry in fields(material):
        value = getattr(material, entry.name)
        if entry.name in ("name", "kind", "provenance") or value is None:
            continue
        known = material.provenance.get(entry.name)
        unit = known.unit if known else ""
        band = f"×{number(known.band[0])} to ×{number(known.band[1])}" if known and known.band else ""
        basis = (known.basis, band, known.source) if known else ("default", "", "the record's default")
        rows.append((entry.name, _value(value, unit), *basis))
    return rows


def _value(value: float | tuple[float, ...], unit: str) -> str:
    """A property in the unit its source states; SI without a unit if the record gives none."""
    factor, shown = next(((f, name) for key, (f, name) in SUFFIXES.items() if unit in (key, name)), (1.0, unit))
    numbers = value if isinstance(value, tuple) else (value,)
    return f"{', '.join(number(v / factor, 4) for v in numbers)} {shown}".strip()
