"""The key reference, generated from the schema: ``python -m panelfem.case.keys > cases/KEYS.md``."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from itertools import groupby
from typing import Any

from panelfem.case.fields import Quantity, Section
from panelfem.case.schema import CaseFile
from panelfem.case.walk import Key, describe, keys, sections_in, tag_of
from panelfem.material import library

_HEAD = """# Keys of a case file

Generated from the schema by `python -m panelfem.case.keys > cases/KEYS.md`; do not edit.

A case is a TOML file. The unit of a number is the ending of its key: `thickness_mm`, `force_N`, `angle_deg`.
Unknown keys are refused. In a message, entries of a list are counted from 0: `load[0]` is the first load of
the file.

Where a value may be uncertain, the key takes a plain number or a table:

    car_stiffness_N_per_mm = 250
    car_stiffness_N_per_mm = { value = 250, basis = "assumed", source = "sister car", band = [180, 400] }

`band` is the lowest and the highest value, in the unit of the key. A plain number counts as *stated*, its
source the case file. An *assumed* value is listed in the report, swept over its band, and named if the
assessment flips; keys marked ◊ can be swept.

The frame is that of the outline or of the mesh file: x and y in plan, z up. Directions may have any length.
The first ply of a stack lies on the face the surface normal enters (below, for an outline), the last ply on
the face it leaves (above).
"""


def keys_markdown() -> str:
    """The whole reference, as Markdown.

    >>> "### `[panel.outline]`" in keys_markdown()
    True
    """
    names = ", ".join(f"`{name}`" for name in library())
    head = [_HEAD, f"Materials of the built-in library: {names}.\n"]
    return "\n".join([*head, *tables_markdown(CaseFile)])


def tables_markdown(root: type[Section], known: type[Section] | None = None) -> list[str]:
    """The tables of a kind of file, line by line; those that a file of the kind `known` has as well are left out."""
    lines: list[str] = []
    theirs = {key.owner for key in keys(known)} if known is not None else set()
    for title, section, entries in _tables(root):
        if section in theirs or (section is Quantity and known is not None):
            continue
        lines += [
            f"### {title}",
            "",
            (section.__doc__ or "").strip().split("\n\n")[0].replace("\n    ", " "),
            "",
        ]
        lines += ["| key | allowed | needed | meaning |", "| --- | --- | --- | --- |"]
        lines += [_row(key) for key in entries] + [""]
    return lines


def _tables(root: type[Section]) -> Iterator[tuple[str, type[Section], list[Key]]]:
    """Title, section and keys of every table, areas once at the end."""
    shared: dict[str, tuple[str, type[Section], list[Key]]] = {}
    everything = [k for k in keys(root) if k.owner is not root]
    for (path, _, owner), group in groupby(_grouped(everything), key=lambda k: (_parent(k), k.variant, k.owner)):
        entries = list(group)
        tag = tag_of(owner)
        with_tag = f" with `{tag[0]} = {tag[1]}`" if tag and _has_siblings(root, owner) else ""
        if owner.__module__.endswith("schema_area"):
            shared[owner.__name__] = (f"an area{with_tag}", owner, entries)
        elif path.startswith(("load[].held", "option[].actions[].damage")):
            continue
        else:
            yield f"`{_shown(path)}`{with_tag}", owner, entries
    yield from shared.values()
    quantity = [Key(name, "", Quantity, name, info) for name, info in Quantity.model_fields.items()]
    yield "a number that may be uncertain, as a table", Quantity, quantity


def _grouped(entries: list[Key]) -> list[Key]:
    """Keys of one section together, sections in the order of their first key, the kind first, repeats left
    out.
    """
    order: dict[tuple[str, str, type[Section]], list[Key]] = {}
    for key in entries:
        order.setdefault((_parent(key), "" if _repeats(key) else key.variant, key.owner), []).append(key)
    result: list[Key] = []
    seen: set[tuple[str, type[Section]]] = set()
    for (path, _, owner), group in order.items():
        if (path, owner) not in seen:
            seen.add((path, owner))
            unique = {key.name: key for key in group}.values()
            result += sorted(unique, key=lambda key: key.field not in ("kind", "shape", "form"))
    return result


def _repeats(key: Key) -> bool:
    return key.owner.__module__.endswith("schema_area")


def _parent(key: Key) -> str:
    return key.path.rsplit(".", 1)[0] if "." in key.path else ""


def _shown(path: str) -> str:
    return f"[[{path.removesuffix('[]').replace('[]', '')}]]" if path.endswith("[]") else f"[{path.replace('[]', '')}]"


def _has_siblings(root: type[Section], section: type[Section]) -> bool:
    return any(section in found and len(found) > 1 for k in keys(root) if (found := sections_in(k.info.annotation)))


def _row(key: Key) -> str:
    known = key.about
    mark = " ◊" if known.sweep else ""
    allowed = describe(key.info.annotation, known, key.name).replace("|", "\\|")
    return f"| `{key.name}`{mark} | {allowed} | {_needed(key)} | {known.description} |"


def _needed(key: Key) -> str:
    if key.required:
        return "yes"
    if key.about.needed:
        return key.about.needed
    default = key.info.get_default(call_default_factory=True)
    return (
        "no"
        if default in (None, []) or (isinstance(default, Section) and not isinstance(default, Quantity))
        else f"no: {_default(default)}"
    )


def _default(value: Any) -> str:
    if isinstance(value, Quantity):
        return f"{value.value:g} ({value.basis}: {value.source})"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, int | float) else str(value)


if __name__ == "__main__":
    sys.stdout.write(keys_markdown())
