"""From a file to a checked case: TOML, then the schema, then what contradicts itself.  No meshing here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import TypeAdapter, ValidationError

from panelfem.case.checks import contradictions
from panelfem.case.draft import Draft
from panelfem.case.faults import faults_of
from panelfem.case.fields import Section
from panelfem.case.schema import CaseFile
from panelfem.errors import CaseError, Fault

S = TypeVar("S", bound=Section)


def read(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; raises CaseError if it cannot be read or is not TOML, with the line."""
    if not path.is_file():
        do = "check the path; a case is a TOML file"
        raise CaseError(str(path), (Fault(str(path), "there is no such file", "a case file", do),))
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8"))
    except UnicodeDecodeError as error:
        fault = Fault(f"byte {error.start}", "is not UTF-8 text", "UTF-8", "save the file as UTF-8")
        raise CaseError(str(path), (fault,)) from error
    except tomllib.TOMLDecodeError as error:
        what, _, place = str(error).partition(" (at ")
        where = place.rstrip(")") or "the file"
        fault = Fault(
            where,
            f"is not TOML: {what[0].lower()}{what[1:]}",
            "key = value, [section], [[list]]",
            "mend that line",
        )
        raise CaseError(str(path), (fault,)) from error


def validated(document: Mapping[str, Any], root: type[S]) -> tuple[S | None, list[Fault]]:
    """A document as a section, or None and its faults."""
    try:
        return root.model_validate(document), []
    except ValidationError as error:
        return None, faults_of(error, document, root)


def read_as(path: Path, root: type[S]) -> S:
    """A TOML file as a section.  Raises CaseError listing its faults."""
    section, faults = validated(read(path), root)
    if section is None:
        raise CaseError(str(path), tuple(faults))
    return section


def check(document: Mapping[str, Any], file: Path) -> CaseFile:
    """The schema model of a document; raises CaseError with all faults found.

    Files named in the case are looked for beside `file`.  What contradicts itself is looked for in every
    section that is sound by itself, so that one run lists as much as can be said.
    """
    model, faults = validated(document, CaseFile)
    draft = draft_of(model, document)
    known = {fault.path for fault in faults}
    faults += [fault for fault in contradictions(draft, document, file.parent) if fault.path not in known]
    if faults or model is None:
        raise CaseError(str(file), tuple(faults))
    return model


def parse(path: str | Path) -> CaseFile:
    """A case file, read and checked but not built; raises CaseError listing all faults.

    >>> try:
    ...     parse("nowhere.toml")
    ... except CaseError as error:
    ...     print(error.faults[0])
    there is no such file (nowhere.toml). Allowed: a case file. Do: check the path; a case is a TOML file.
    """
    file = Path(path)
    return check(read(file), file)


def draft_of(model: CaseFile | None, document: Mapping[str, Any]) -> Draft:
    """What of a document is sound by itself, section by section; `model` if all of it is."""
    if model is not None:
        return Draft.of(model)
    sound: dict[str, Any] = {}
    for name in ("case", "safety", "panel", "held", "settings"):
        sound[name] = _sound(name, document.get(name))
    for name in ("damage", "option", "load"):
        entries = document.get(name)
        parsed = [(i, _sound(name, e)) for i, e in enumerate(entries)] if isinstance(entries, list) else []
        sound[name] = [(i, entry) for i, entry in parsed if entry is not None]
    materials = document.get("materials")
    tables = materials.items() if isinstance(materials, dict) else ()
    sound["materials"] = {k: m for k, table in tables if (m := _sound("materials", table)) is not None}
    return Draft(**sound)


@cache
def _adapter(name: str) -> TypeAdapter[Any]:
    """What checks one section of that name, or one entry of it if it holds many."""
    annotation: Any = CaseFile.model_fields[name].annotation
    return TypeAdapter(get_args(annotation)[-1] if get_origin(annotation) in (list, dict) else annotation)


def _sound(name: str, data: Any) -> Any:
    """The section or entry, or None if it has faults of its own."""
    if data is None:
        return None
    try:
        return _adapter(name).validate_python(data)
    except ValidationError:
        return None
