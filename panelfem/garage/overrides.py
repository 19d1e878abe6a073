"""What a finding puts in place of what the prepared files say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from panelfem.errors import Fault
from panelfem.garage.schema_finding import Finding

#: The three ways of saying how hard a contact pushes: one put in takes the others out.
_WAYS = (("interference_mm",), ("force_N",), ("kerb_height_mm", "suspension_travel_mm", "clearance_mm"))
#: What a finding may not say: nothing lifts an outcome.
KEPT = ("consequence", "required_factor", "required_factor_source")


def kept_faults(finding: Finding) -> Iterator[Fault]:
    """Faults of a finding that would change what belongs to the panel file."""
    for key in KEPT:
        if key in finding.case:
            do = "take it out, or change the panel file"
            yield Fault(f"case.{key}", "belongs to the panel file", "title, minutes_left, invented", do)


def override(document: dict[str, Any], raw: Mapping[str, Any]) -> Iterator[str]:
    """Put the keys of a finding into a document, all but those of options, and yield the path of each."""
    for name in ("case", "panel", "materials", "held", "settings"):
        for key, value in raw.get(name, {}).items():
            section = document.setdefault(name, {})
            if _named(value) and _named(section.get(key)):
                yield from _merged(section[key], value, f"{name}.{key}")
            else:
                section[key] = value
                yield f"{name}.{key}"
    yield from override_list(document, raw, "load")


def override_list(document: dict[str, Any], raw: Mapping[str, Any], name: str) -> Iterator[str]:
    """The same for a list of the document."""
    yield from _merged(document.setdefault(name, []), raw.get(name, []), name)


def _named(value: Any) -> bool:
    entries = value if isinstance(value, list) else []
    return bool(entries) and all(isinstance(e, dict) and isinstance(e.get("name"), str) for e in entries)


def _merged(entries: list[dict[str, Any]], given: list[dict[str, Any]], path: str) -> Iterator[str]:
    """Replace keys of the entries of the same name, or add entries."""
    for entry in given:
        there = {e.get("name"): i for i, e in enumerate(entries)}
        i = there.get(entry.get("name"), len(entries))
        if i == len(entries):
            entries.append(dict(entry))
            yield f"{path}[{i}]"
            continue
        merged = dict(entries[i])
        ways = [way for way in _WAYS if set(way) & set(entry)]
        if len(ways) == 1:
            for key in {k for way in _WAYS if way not in ways for k in way} & set(merged):
                del merged[key]
            if "force_N" in entry:
                merged.pop("car_stiffness_N_per_mm", None)
        entries[i] = merged | entry
        yield from (f"{path}[{i}].{key}" for key in entry if key != "name")
