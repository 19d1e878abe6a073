"""Every input as used, for the report; and those that are assumed, with how each is swept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, Literal

from panelfem.case.fields import About, Quantity, Section, SweepKind, about, key_of, unit_name
from panelfem.case.records import AssumedInput, InputRow, Sweep
from panelfem.case.schema import CaseFile
from panelfem.case.schema_found import DamageSection
from panelfem.case.schema_loads import KerbStrike, WallContact
from panelfem.laminate import Laminate
from panelfem.material import CoreMaterial, Material, PlyMaterial, Provenance
from panelfem.patching import PatchRepair
from panelfem.repair.records import Action, Bonded
from panelfem.units import SUFFIXES, number

_STRENGTHS = ("Xt", "Xc", "Yt", "Yc", "S", "Sil", "S23", "GIc", "GIIc", "shear_strength_13", "shear_strength_23",
              "crush_strength",
              "shear_strength", "peel_strength", "strain_limits")  # fmt: skip
_STIFFNESSES = ("E1", "E2", "G12", "G13", "G23", "E", "E_plane")
#: Moduli of a honeycomb that next to nothing depends on, and whose wide bands say little: not swept.
_MINOR = ("E", "E_plane")
_FACTORS = {name: factor for factor, name in SUFFIXES.values()}
_TAGS = ("kind", "shape", "form", "name")


def input_rows(
    model: CaseFile, materials: Sequence[Material], origins: Mapping[str, str] | None = None
) -> tuple[InputRow, ...]:
    """All inputs: what the file states, the defaults it leaves, and the properties of the materials used.

    `origins` maps paths to the files that what is stated there, and below there, came from; absent: the case file.
    """
    rows = [row for name in ("case", "safety", "panel", "damage", "option", "held", "load", "settings")
            for row in _rows(getattr(model, name), name, name in model.model_fields_set)]  # fmt: skip
    if model.settings.element_size_mm is not None:  # the default is not used then
        unused = ("settings.accuracy", "settings.accuracy_near_governing_only")
        rows = [row for row in rows if row.key not in unused]
    for material in materials:
        for name, source in material.provenance.items():
            shown = _property(getattr(material, name), source)
            rows.append(InputRow(f"materials.{material.name}.{name}", shown, source.basis, source.source))
    return tuple(_from(row, origins or {}) for row in rows)


def origin_of(path: str, origins: Mapping[str, str]) -> str | None:
    """The file that the longest known part of a path came from.

    >>> origin_of("load[2].shape.radius_mm", {"load[2]": "circuits/harbour.toml"})
    'circuits/harbour.toml'
    """
    while path:
        if path in origins:
            return origins[path]
        path = path[: max(path.rfind("."), path.rfind("["), 0)]
    return None


def _from(row: InputRow, origins: Mapping[str, str]) -> InputRow:
    """The row, the case file in it as its source replaced by the file it was composed from."""
    file = origin_of(row.key, origins) if row.source == "case file" else None
    return row if file is None else replace(row, source=file)


def _rows(value: Any, path: str, stated: bool) -> Iterator[InputRow]:
    if isinstance(value, list):
        for i, item in enumerate(value):
            yield from _rows(item, f"{path}[{i}]", stated)
        return
    if not isinstance(value, Section):
        return
    for name, info in type(value).model_fields.items():
        item, key = getattr(value, name), key_of(name, info)
        known, given = about(info), stated and name in value.model_fields_set
        if item is None or (name in _TAGS and isinstance(item, str)):
            continue
        if known.kind in ("section", "sections"):
            if isinstance(item, list) and item and not isinstance(item[0], Section):
                yield InputRow(f"{path}.{key}", ", ".join(map(str, item)), "stated", "case file")
            else:
                yield from _rows(item, f"{path}.{key}", given)
            continue
        basis, source = ("stated", "case file") if given else ("default", "default of the program")
        if isinstance(item, Quantity):
            basis, source = item.basis, item.source
            if not given and item.source == "case file":
                source = "default of the program"
        yield InputRow(f"{path}.{key}", _shown(item, known, key), basis, source)


def _shown(value: Any, known: About, key: str) -> str:
    unit = f" {unit_name(key)}" if unit_name(key) else ""
    if isinstance(value, Quantity):
        value = value.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{number(float(value), 4)}{unit}"
    if isinstance(value, list):
        flat = ", ".join(
            f"({', '.join(number(n, 4) for n in v)})" if isinstance(v, list) else number(v, 4) for v in value
        )
        return f"{flat}{unit}"
    return str(value)


def _property(value: Any, source: Provenance) -> str:
    factor = _FACTORS.get(source.unit, 1.0)
    values = value if isinstance(value, tuple) else (value,)
    unit = "" if source.unit == "1" else f" {source.unit}"
    return ", ".join(number(v / factor, 4) for v in values) + unit


def materials_used(laminates: Sequence[Laminate], actions: Sequence[Action]) -> tuple[Material, ...]:
    """The materials of some laminates and of the patches among some actions, each once, by name."""
    patches = [a for a in actions if isinstance(a, Bonded)]
    plugs = [a.plug for a in patches if isinstance(a, PatchRepair) and a.plug is not None]
    plies = [ply for laminate in (*laminates, *(p.laminate for p in patches)) for ply in laminate.plies]
    found = {ply.material.name: ply.material for ply in plies} | {p.adhesive.name: p.adhesive for p in patches}
    return tuple((found | {plug.name: plug for plug in plugs}).values())


def assumed_inputs(model: CaseFile, materials: Sequence[Material]) -> tuple[AssumedInput, ...]:
    """The assumed inputs of a case: first those the file or a default states, then those of the materials
    used.

    The strengths of one material are swept together, and so are its stiffnesses: over the widest of their
    bands.
    """
    found = [
        a for name in ("panel", "damage", "option", "held", "load") for a in _assumed(getattr(model, name), name, ())
    ]
    springs: dict[str, list[AssumedInput]] = {}
    for a in found:
        if a.sweep is not None and a.sweep.kind == "fastener stiffness":
            springs.setdefault(a.sweep.target, []).append(a)
    single = [a for a in found if a.sweep is None or a.sweep.kind != "fastener stiffness"]
    merged = [_merged(group) for group in springs.values()]
    return (*single, *merged, *(a for material in materials for a in _of_material(material)))


def _merged(group: Sequence[AssumedInput]) -> AssumedInput:
    """Several stiffnesses of one fastener, swept together over the widest of their bands."""
    first = group[0]
    if len(group) == 1 or first.sweep is None:
        return first
    sweeps = [a.sweep for a in group if a.sweep is not None]
    low, high = min(s.low for s in sweeps), max(s.high for s in sweeps)
    return AssumedInput(
        first.key.rsplit(".", 1)[0], f"stiffness of fastener {first.sweep.target}",
        "; ".join(a.shown for a in group),
        first.source,
        (f"× {number(low)}", f"× {number(high)}"),
        Sweep("fastener stiffness", first.sweep.target, low, high), first.measure,
    )  # fmt: skip


def _assumed(value: Any, path: str, owners: tuple[Section, ...]) -> Iterator[AssumedInput]:
    if isinstance(value, list):
        for i, item in enumerate(value):
            yield from _assumed(item, f"{path}[{i}]", owners)
        return
    if not isinstance(value, Section):
        return
    for name, info in type(value).model_fields.items():
        item, key, known = getattr(value, name), key_of(name, info), about(info)
        if known.kind in ("section", "sections"):
            yield from _assumed(item, f"{path}.{key}", (*owners, value))
        elif isinstance(item, Quantity) and item.basis == "assumed":
            yield _one(item, known, f"{path}.{key}", key, value)


def _one(item: Quantity, known: About, path: str, key: str, owner: Section) -> AssumedInput:
    band = None
    if item.band:
        band = (_shown(item.band[0], known, key), _shown(item.band[1], known, key))
    sweep = None
    if known.sweep is not None and item.relative is not None and _counts(known.sweep, owner):
        of_damage = key if isinstance(owner, DamageSection) else ""
        sweep = Sweep(known.sweep, str(getattr(owner, "name", path)), *item.relative, of_damage)
    name = getattr(owner, "name", None)
    what = known.description.split(":")[0].split(";")[0].split(".")[0].strip()
    what = f"{name}: {what[0].lower()}{what[1:]}" if isinstance(name, str) else what
    return AssumedInput(path, what, _shown(item, known, key), item.source, band, sweep, known.measure)


def _counts(kind: SweepKind, owner: Section) -> bool:
    """A car stiffness counts only under an interference."""
    return kind != "car stiffness" or not isinstance(owner, KerbStrike | WallContact) or owner.force_N is None


def _of_material(material: Material) -> Iterator[AssumedInput]:
    assumed = {name: p for name, p in material.provenance.items() if p.basis == "assumed"}
    groups: tuple[tuple[Literal["strength", "stiffness"] | None, str, tuple[str, ...], str], ...] = (
        (
            "strength",
            "strengths",
            _STRENGTHS,
            "coupons of the same laminate, tested to a standard (five or more)",
        ),
        (
            "stiffness",
            "stiffnesses",
            _STIFFNESSES,
            "a strip of the laminate, or the panel, bent by a known weight",
        ),
        (None, "other properties", (), "a trimmed piece: its mass, area and thickness; the cure sheet"),
    )
    order = [f.name for f in fields(material)]
    honeycomb = isinstance(material, CoreMaterial) and material.kind == "honeycomb"
    stiff = tuple(n for n in _STIFFNESSES if not (honeycomb and n in _MINOR))
    for kind, plural, names, measure in groups:
        chosen = [n for n in order if n in assumed and (n in names if kind else n not in _STRENGTHS + stiff)]
        if not chosen:
            continue
        shown = ", ".join(f"{n} {_property(getattr(material, n), assumed[n])}" for n in chosen)
        bands = [band for n in chosen if (band := assumed[n].band) is not None]
        low, high = (min(b[0] for b in bands), max(b[1] for b in bands)) if bands else (1.0, 1.0)
        shares = (f"× {number(low)}", f"× {number(high)}") if bands else None
        sweep = Sweep(kind, material.name, low, high) if kind and bands else None
        sources = "; ".join(dict.fromkeys(assumed[n].source for n in chosen))
        what = f"{plural} of {'ply' if isinstance(material, PlyMaterial) else 'material'} {material.name}"
        yield AssumedInput(f"materials.{material.name}", what, shown, sources, shares, sweep, measure)
