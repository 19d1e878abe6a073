"""The built-in materials, read from `data.toml` beside this file.

The file keeps the unit in the key and, for every property, the value, its basis and its source; nothing is
filled in here.  Published systems carry their publication; generic ones are marked assumed or typical, with a
band.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, NoReturn

from panelfem.errors import InputError
from panelfem.material.records import Adhesive, CoreMaterial, Material, PlyMaterial, Provenance
from panelfem.units import SUFFIXES, suffix

_RECORDS: Mapping[str, type[PlyMaterial] | type[CoreMaterial] | type[Adhesive]] = {
    "unidirectional": PlyMaterial,
    "fabric": PlyMaterial,
    "foam": CoreMaterial,
    "honeycomb": CoreMaterial,
    "adhesive": Adhesive,
}


@cache
def library() -> Mapping[str, Material]:
    """All built-in materials by the name a stacking sequence uses.

    >>> ply = library()["T300-5208"]
    >>> ply.E1 / 1e9, ply.provenance["E1"].basis, ply.provenance["E1"].unit
    (181.0, 'typical', 'GPa')
    """
    return MappingProxyType(read(files("panelfem.material").joinpath("data.toml").read_text("utf-8")))


@cache
def sources() -> tuple[str, ...]:
    """The publications the built-in materials rest on.

    >>> any("H. T. Hahn 1980" in source for source in sources())
    True
    """
    text = files("panelfem.material").joinpath("data.toml").read_text("utf-8")
    return tuple(tomllib.loads(text)["sources"].values())


def read(text: str) -> dict[str, Material]:
    """Materials from the text of a material file; raises InputError naming the entry that cannot be used.

    A property is ``key_unit = { value, basis, source, band }``; `source` may be a name from the table
    ``[sources]``; a key without a unit is a bare number; `band` may be left out.

    >>> read('[glue]\\nkind = "adhesive"')
    Traceback (most recent call last):
    ...
    panelfem.errors.InputError: E, nu, shear_strength, peel_strength, density missing (material 'glue').
    """
    tables = tomllib.loads(text)
    known: dict[str, str] = tables.pop("sources", {})
    return {name: _material(name, table, known) for name, table in tables.items()}


def _material(name: str, table: dict[str, Any], known: dict[str, str]) -> Material:
    where = f"material '{name}'"
    entries = dict(table)
    kind = entries.pop("kind", None)
    if kind not in _RECORDS:
        raise InputError(f"kind {kind!r} is unknown", where=where, allowed=", ".join(_RECORDS))
    record = _RECORDS[kind]
    fields: dict[str, Any] = {}
    provenance: dict[str, Provenance] = {}
    for key, entry in entries.items():
        unit = suffix(key) or ""
        prop = key.removesuffix(f"_{unit}") if unit else key
        factor, shown = SUFFIXES.get(unit, (1.0, "1"))
        if prop not in record.__dataclass_fields__ or prop in ("name", "provenance"):
            raise InputError(f"key '{key}' is unknown", where=where, allowed=", ".join(record.__dataclass_fields__))
        if not isinstance(entry, dict) or not {"value", "basis", "source"} <= entry.keys() <= _ENTRY:
            _refuse_entry(key, where)
        value, band = entry["value"], entry.get("band")
        fields[prop] = tuple(factor * v for v in value) if isinstance(value, list) else factor * float(value)
        source = str(known.get(entry["source"], entry["source"]))
        provenance[prop] = Provenance(shown, entry["basis"], source, None if band is None else (band[0], band[1]))
    if record is not Adhesive:
        fields["kind"] = kind
    if record is CoreMaterial:
        fields.setdefault("cell_size", None)
    optional = {"name", "provenance", "strain_limits", "stress_free_temperature", "S23", "alpha", "beta", *_TOUGHNESS}
    optional |= {"shear_softening"}
    required = set(record.__dataclass_fields__) - (optional - ({"alpha"} if record is CoreMaterial else set()))
    if missing := [f for f in record.__dataclass_fields__ if f in required and f not in fields]:
        raise InputError(f"{', '.join(missing)} missing", where=where)
    return record(name=name, provenance=MappingProxyType(provenance), **fields)


_TOUGHNESS = ("GIc", "GIIc", "mixed_mode")
_ENTRY = {"value", "basis", "source", "band"}


def _refuse_entry(key: str, where: str) -> NoReturn:
    raise InputError(f"'{key}' is not a full entry", where=where, allowed="{ value, basis, source, band (optional) }")
