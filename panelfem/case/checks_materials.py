"""Contradictions in ``[materials]``, and the materials as records."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from panelfem.case.draft import Draft
from panelfem.case.faults import nearest
from panelfem.case.fields import Quantity, about, key_of, unit_name
from panelfem.case.schema_materials import FAMILY, AdhesiveKeys, CoreKeys, MaterialKeys, library_family
from panelfem.case.walk import describe
from panelfem.errors import Fault, InputError
from panelfem.material import Adhesive, CoreMaterial, Material, PlyMaterial, Provenance, library
from panelfem.units import si, suffix

#: Statistical bases a material knows; a value measured on the part itself counts as a mean.
_NAME = re.compile(r"[^\W\d][\w.\-]*")
_BASIS = {"measured": "mean"}


def material_faults(draft: Draft) -> Iterator[Fault]:
    """Faults of the materials: unknown library names, properties missing, what no material can be."""
    for name, table in draft.materials.items():
        path = f"materials.{name}"
        if not _NAME.fullmatch(name):
            allowed = "a letter first, then letters, digits, _ . -"
            yield Fault(path, f"{name!r} cannot be written in a stack", allowed, "rename it")
        found = list(_faults(table, path))
        yield from found
        if not found:
            try:
                record(name, table)
            except InputError as error:
                yield Fault(path, error.what, error.allowed, error.do or "check the values and their units")


def _faults(table: MaterialKeys, path: str) -> Iterator[Fault]:
    if table.like is not None:
        valid = [n for n in library() if library_family(n) == _family(table)]
        if table.like not in library():
            what = f"there is no {table.like!r} in the library"
            yield Fault(f"{path}.like", what, ", ".join(library()), nearest(table.like, list(library())))
        elif table.kind is not None and FAMILY[table.kind] != library_family(table.like):
            what = f"{table.like!r} is not of the kind {table.kind!r}"
            yield Fault(f"{path}.kind", what, ", ".join(valid), "leave kind out, or start from another material")
        return
    if table.kind is None:
        allowed = 'like = "a library name", or kind with all properties'
        yield Fault(f"{path}.kind", "is missing, and there is no like", allowed, "write like or kind")
    for name, info in type(table).model_fields.items():
        key = key_of(name, info)
        if about(info).needed and key != "kind" and getattr(table, name) is None:
            allowed = describe(info.annotation, about(info), key)
            yield Fault(
                f"{path}.{key}",
                "is missing, and there is no like",
                allowed,
                f"write {key}, or start from a library material",
            )


def _family(table: MaterialKeys) -> str:
    return "adhesive" if isinstance(table, AdhesiveKeys) else "core" if isinstance(table, CoreKeys) else "ply"


def record(name: str, table: MaterialKeys) -> Material:
    """The material record of a table, in SI; raises InputError for what no material can be."""
    given: dict[str, Any] = {}
    where: dict[str, Provenance] = {}
    for field, info in type(table).model_fields.items():
        value = getattr(table, field)
        if field in ("like", "kind") or value is None:
            continue
        unit = suffix(key_of(field, info)) or ""
        bare = key_of(field, info).removesuffix(f"_{unit}") if unit else field
        if isinstance(value, Quantity):
            given[bare] = si(value.value, unit) if unit else value.value
            basis: Any = _BASIS.get(value.basis, value.basis)
            where[bare] = Provenance(unit_name(key_of(field, info)) or "1", basis, value.source, value.relative)
        else:
            given[bare] = tuple(si(v, unit) for v in value)
            where[bare] = Provenance("%", "stated", "case file")
    if table.like is not None:
        base = library()[table.like]
        if table.kind is not None and not isinstance(base, Adhesive):
            given["kind"] = table.kind
        return replace(base, name=name, provenance={**base.provenance, **where}, **given)
    if isinstance(table, AdhesiveKeys):
        return Adhesive(name=name, provenance=where, **given)
    given["kind"] = table.kind
    if isinstance(table, CoreKeys):
        given.setdefault("cell_size", None)
        return CoreMaterial(name=name, provenance=where, **given)
    return PlyMaterial(name=name, provenance=where, **given)


def materials_of(tables: Mapping[str, MaterialKeys]) -> dict[str, Material]:
    """The materials a case can name: its own, and those of the library it does not name anew."""
    return {**library(), **{name: record(name, table) for name, table in tables.items()}}
