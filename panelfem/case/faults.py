"""From what pydantic finds to faults a race engineer can act on."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any, get_args, get_origin

from pydantic import ValidationError

from panelfem.case.fields import About, Quantity, Section, about, key_of, plain_number, unit_name
from panelfem.case.schema import Safety
from panelfem.case.schema_materials import FAMILY, FAMILY_CLASS
from panelfem.case.walk import describe, plain, sections_in, tag_of, words_of
from panelfem.errors import Fault
from panelfem.units import suffix

#: Units people write instead of the right one: dimension and factor to SI.
_UNITS: Mapping[str, tuple[str, float]] = {
    "um": ("length", 1e-6), "mm": ("length", 1e-3), "cm": ("length", 1e-2), "m": ("length", 1.0),
    "in": ("length", 0.0254), "inch": ("length", 0.0254), "ft": ("length", 0.3048),
    "N": ("force", 1.0), "kN": ("force", 1e3), "kgf": ("force", 9.80665), "lbf": ("force", 4.4482216),
    "Pa": ("pressure", 1.0), "kPa": ("pressure", 1e3), "MPa": ("pressure", 1e6), "GPa": ("pressure", 1e9),
    "bar": ("pressure", 1e5), "mbar": ("pressure", 100.0), "psi": ("pressure", 6894.757),
    "ksi": ("pressure", 6894757.0),
    "N_per_mm": ("stiffness", 1e3), "N_per_m": ("stiffness", 1.0), "kN_per_m": ("stiffness", 1e3),
    "N_per_mm2": ("pressure", 1e6),
    "g": ("mass", 1e-3), "kg": ("mass", 1.0), "deg": ("angle", 0.017453292519943295), "rad": ("angle", 1.0),
    "percent": ("share", 0.01), "gee": ("acceleration", 9.80665), "m_per_s2": ("acceleration", 1.0),
    "kg_per_m3": ("density", 1.0), "g_per_cm3": ("density", 1000.0),
    "g_per_m2": ("areal mass", 1e-3), "kg_per_m2": ("areal mass", 1.0),
    "s": ("time", 1.0), "ms": ("time", 1e-3), "min": ("time", 60.0), "C": ("temperature", 1.0),
    "1e-6_per_K": ("expansion", 1e-6), "per_K": ("expansion", 1.0),
}  # fmt: skip


def split(key: str) -> tuple[str, str]:
    """The stem and the unit of a key, known to :mod:`panelfem.units` or not.

    >>> split("thickness_cm"), split("force_N"), split("name"), split("car_stiffness_N_per_m")
    (('thickness', 'cm'), ('force', 'N'), ('name', ''), ('car_stiffness', 'N_per_m'))
    """
    parts = key.split("_")
    for start in range(1, len(parts)):
        end = "_".join(parts[start:])
        if end in _UNITS or suffix(f"x_{end}") == end:
            return "_".join(parts[:start]), end
    return key, ""


def right_key(key: str, valid: Sequence[str]) -> tuple[str | None, bool]:
    """The key probably meant, and whether only its unit is wrong.

    >>> right_key("force_kN", ["force_N", "name"]), right_key("washer_radus_mm", ["washer_radius_mm"])
    (('force_N', True), ('washer_radius_mm', False))
    >>> right_key("colour", ["force_N", "name"])
    (None, False)
    """
    stem, _ = split(key)
    for meant in (stem, key.rsplit("_", 1)[0]):
        for candidate in valid:
            own, unit = split(candidate)
            if unit and meant == own:
                return candidate, True
    close = difflib.get_close_matches(key, valid, n=1, cutoff=0.6)
    return (close[0] if close else None), False


def nearest(name: str, valid: Sequence[str]) -> str:
    """What to do about a name that is not known: the nearest one, if any is near."""
    close = difflib.get_close_matches(name, valid, n=1, cutoff=0.5)
    return f'write "{close[0]}", if that is what is meant' if close else "name one of these"


def _converted(value: Any, wrong: str, right: str) -> str:
    (_, have), (_, want) = split(wrong), split(right)
    number_given = isinstance(value, int | float) and not isinstance(value, bool)
    if number_given and have in _UNITS and want in _UNITS and _UNITS[have][0] == _UNITS[want][0]:
        return f"write {right} = {plain_number(value * _UNITS[have][1] / _UNITS[want][1])}"
    return f"write {right} with the value in {unit_name(right) or want}"


class Cursor:
    """Follows a pydantic location through the schema: the path as in the file, and the section and key it is
    at.
    """

    def __init__(self, root: type[Section], location: Sequence[int | str]) -> None:
        self.path, self.section, self.field = "", root, ""
        self.annotation: Any = root
        for step in location:
            self._step(step)

    def _step(self, step: int | str) -> None:
        current = plain(self.annotation)
        origin = get_origin(current)
        if isinstance(step, int):
            self.path += f"[{step}]"
            self.annotation = get_args(current)[0] if origin is list else Any
            return
        if origin is dict:
            self.path += f".{step}"
            self.annotation = get_args(current)[1]
            return
        choices = sections_in(current)
        if len(choices) > 1 and (chosen := _tagged(choices, step)) is not None:
            self.annotation = chosen
            return
        owner = current if isinstance(current, type) and issubclass(current, Section) else None
        if owner is None:
            return
        self.path += f".{step}" if self.path else step
        for name, info in owner.model_fields.items():
            if step in (name, info.alias):
                self.section, self.field, self.annotation = owner, name, info.annotation
                self.path = self.path[: len(self.path) - len(step)] + key_of(name, info)
                return
        self.section, self.field, self.annotation = owner, "", None


def _tagged(choices: Sequence[type[Section]], tag: str) -> type[Section] | None:
    if tag in FAMILY_CLASS and FAMILY_CLASS[tag] in choices:
        return FAMILY_CLASS[tag]
    for choice in choices:
        found = tag_of(choice)
        if found and f'"{tag}"' in found[1].split(" or "):
            return choice
    return None


def _at(document: Any, path: str) -> Any:
    """The value in a parsed file at a path, None if there is none."""
    for part in path.replace("]", "").replace("[", ".").split("."):
        if isinstance(document, dict):
            document = document.get(part)
        elif isinstance(document, list) and part.isdigit() and int(part) < len(document):
            document = document[int(part)]
        else:
            return None
    return document


def type_word(value: Any) -> str:
    """What a value is, in words.

    >>> type_word(True), type_word("a"), type_word([1]), type_word({})
    ('true', "the text 'a'", 'a list', 'a table')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"the text {value!r}"
    if isinstance(value, int | float):
        return f"the number {value:g}"
    return "a list" if isinstance(value, list) else "a table" if isinstance(value, dict) else "a date or time"


def faults_of(error: ValidationError, document: Mapping[str, Any], root: type[Section]) -> list[Fault]:
    """The faults of a document, in the order of pydantic's findings, each once.

    A key written in the wrong unit or misspelt is one fault, not two (unknown, and the right one missing).
    """
    found: list[Fault] = []
    excused: set[str] = set()
    for item in error.errors(include_url=False):
        if item["type"] == "extra_forbidden":
            fault, meant = _unknown(Cursor(root, item["loc"][:-1]), str(item["loc"][-1]), item["input"])
            found.append(fault)
            excused |= {meant} if meant else set()
    for item in error.errors(include_url=False):
        if item["type"] == "extra_forbidden":
            continue
        cursor = Cursor(root, item["loc"])
        if item["type"] == "missing" and cursor.path in excused:
            continue
        fault = _fault(cursor, item["type"], item["input"], item.get("ctx", {}), document)
        if fault not in found:
            found.append(fault)
    return found


def _unknown(parent: Cursor, key: str, value: Any) -> tuple[Fault, str | None]:
    """The fault of an unknown key, and the path of the key that was meant."""
    owner = plain(parent.annotation)
    if not (isinstance(owner, type) and issubclass(owner, Section)):
        owner = parent.section
    valid = [key_of(name, info) for name, info in owner.model_fields.items()]
    path = f"{parent.path}.{key}" if parent.path else key
    meant, unit_only = right_key(key, valid)
    if owner is Quantity:
        return Fault(path, f"there is no key {key!r} in such a table", ", ".join(valid), "take it out"), None
    if meant is None:
        return Fault(
            path, f"there is no key {key!r} here", ", ".join(valid), "take it out, or write one of these"
        ), None
    info = next(info for name, info in owner.model_fields.items() if key_of(name, info) == meant)
    allowed = f"{meant}: {describe(info.annotation, about(info), meant)}"
    target = f"{parent.path}.{meant}" if parent.path else meant
    if unit_only:
        return Fault(
            path, f"the unit of {key!r} is not the one used here", allowed, _converted(value, key, meant)
        ), target
    return Fault(path, f"there is no key {key!r} here", allowed, f"write {meant}, if that is what is meant"), target


def _fault(cursor: Cursor, kind: str, value: Any, context: Mapping[str, Any], document: Mapping[str, Any]) -> Fault:
    path, section = cursor.path, cursor.section
    key, allowed = "", ""
    if cursor.field:
        info = section.model_fields[cursor.field]
        key = key_of(cursor.field, info)
        allowed = describe(info.annotation, about(info), key)
    if section is Quantity and cursor.field in ("value", "band"):
        path, key, allowed = _quantity_place(path, cursor.field, document, allowed)
    match kind:
        case "missing":
            return Fault(path, "is missing", allowed, f"write {key}" if key else "write it")
        case "range" | "length" | "direction" | "text":
            rest = str(context.get("allowed", allowed or "text in quotes"))
            return Fault(path, str(context.get("text") or _SHORT[kind]), rest, _DO[kind])
        case "band":
            return Fault(path, str(context["text"]), str(context["allowed"]), "put the band right")
        case "union_tag_invalid" | "union_tag_not_found":
            return _tag_fault(cursor, value)
        case "literal_error":
            words = [w.strip('"') for w in words_of(section.model_fields[cursor.field].annotation)]
            if section in FAMILY_CLASS.values():
                words = list(FAMILY)
                allowed = ", ".join(f'"{w}"' for w in words)
            do = nearest(value, words) if isinstance(value, str) else "write one of these"
            if section is Safety:
                do = "answer the question with one of these"
            return Fault(path, f"is {type_word(value)}", allowed, do)
        case "finite_number":
            return Fault(path, "is not a finite number", allowed, "write the value that is meant")
        case "too_short" | "too_long":
            return Fault(path, f"has {context['actual_length']} entries", allowed, f"give {_count(kind, context)}")
    if "text" in context:  # what contradicts itself within a table
        return Fault(path, str(context["text"]), str(context.get("allowed", allowed)), "check both values and units")
    if path.endswith("]"):
        allowed = {"a list of tables": "a table", "a list of names": "text in quotes"}.get(allowed, allowed)
    known = about(section.model_fields[cursor.field]) if cursor.field else None
    return Fault(path, f"is {type_word(value)}", allowed or "a table", _what_to_do(known, allowed))


_SHORT = {
    "range": "is out of range",
    "length": "has the wrong length",
    "direction": "has no direction: all zero",
    "text": "is empty",
}
_DO = {
    "range": "check the value and its unit",
    "length": "give that many numbers",
    "direction": "give a direction",
    "text": "write it, or leave the key out",
}


def _count(kind: str, context: Mapping[str, Any]) -> str:
    return f"at least {context['min_length']}" if kind == "too_short" else f"at most {context['max_length']}"


def _what_to_do(known: About | None, allowed: str) -> str:
    """What to do about a value of the wrong type; never one answer out of several."""
    if known is not None and known.kind == "flag":
        return "write one of these, without quotes"
    if known is not None and known.kind == "choice":
        return "write one of these"
    return f"write {allowed.split(';')[0].split(',')[0]}" if allowed else "write a table"


def _quantity_place(path: str, field: str, document: Mapping[str, Any], allowed: str) -> tuple[str, str, str]:
    """A plain number is its own path; in a table the value is a key of it."""
    outer = path.rsplit(".", 1)[0]
    name = outer.rsplit(".", 1)[-1]
    if isinstance(_at(document, outer), dict):
        return (
            path,
            field,
            allowed if field == "band" else f"a number in {unit_name(name)}" if unit_name(name) else "a number",
        )
    return outer, name, "a number, or a table { value, basis, source, band }"


def _tag_fault(cursor: Cursor, value: Any) -> Fault:
    choices = sections_in(cursor.annotation)
    tags = [t for c in choices if (t := tag_of(c))]
    name = tags[0][0] if tags else "kind"
    words = [w.strip('"') for _, word in tags for w in word.split(" or ")]
    given = value.get(name) if isinstance(value, dict) else None
    allowed = ", ".join(f'"{w}"' for w in words)
    if not isinstance(value, dict):
        return Fault(
            cursor.path,
            f"is {type_word(value)}",
            f"a table with {name} = {allowed}",
            f"write a table with {name}",
        )
    path = f"{cursor.path}.{name}"
    if given is None:
        close = difflib.get_close_matches(name, [str(key) for key in value], n=1, cutoff=0.6)
        instead = f" instead of {close[0]}" if close else ""
        return Fault(path, "is missing", allowed, f"write {name} = one of these{instead}")
    do = nearest(given, words) if isinstance(given, str) else "write one of these"
    return Fault(path, f"is {type_word(given)}", allowed, do)
