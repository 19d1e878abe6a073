"""What of a case file is sound by itself, and the names it gives: what the checks for contradictions look
at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from panelfem.case.schema import CaseFile, Safety, Settings, Stakes
from panelfem.case.schema_found import DamageSection
from panelfem.case.schema_loads import Held, LoadKeys
from panelfem.case.schema_materials import MaterialKeys
from panelfem.case.schema_option import OptionKeys
from panelfem.case.schema_panel import Panel
from panelfem.errors import Fault


@dataclass(frozen=True)
class Draft:
    """The sections of a case that are sound by themselves; lists keep the position an entry has there."""

    case: Stakes | None = None
    safety: Safety | None = None
    materials: Mapping[str, MaterialKeys] = field(default_factory=dict)
    panel: Panel | None = None
    damage: Sequence[tuple[int, DamageSection]] = ()
    option: Sequence[tuple[int, OptionKeys]] = ()
    held: Held | None = None
    load: Sequence[tuple[int, LoadKeys]] = ()
    settings: Settings | None = None

    @classmethod
    def of(cls, model: CaseFile) -> Draft:
        """The draft of a model that is sound throughout."""
        return cls(
            model.case,
            model.safety,
            model.materials,
            model.panel,
            list(enumerate(model.damage)),
            list(enumerate(model.option)),
            model.held,
            list(enumerate(model.load)),
            model.settings,
        )


@dataclass(frozen=True)
class Names:
    """The names a file gives to things, whether or not these are sound, so that a slip in one is not
    reported as two.
    """

    materials: tuple[str, ...]
    fasteners: tuple[str, ...]
    damage: tuple[str, ...]

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Names:
        """The names in a parsed file."""
        panel = document.get("panel")
        fasteners = panel.get("fasteners") if isinstance(panel, dict) else None
        materials = document.get("materials")
        return cls(
            tuple(materials) if isinstance(materials, dict) else (),
            tuple(name for _, name in named(fasteners)),
            tuple(name for _, name in named(document.get("damage"))),
        )


def named(entries: Any) -> Iterator[tuple[int, str]]:
    """Position and name of every entry of a list of tables that has one."""
    for i, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict) and isinstance(name := entry.get("name"), str):
            yield i, name


def twice(names: Iterable[tuple[int, str]], path: str, thing: str, key: str = "name") -> Iterator[Fault]:
    """A fault for every numbered name that an earlier one has; `key` is where it stands."""
    seen: dict[str, int] = {}
    for i, name in names:
        if name in seen:
            what = f"{thing} {seen[name]} is called {name!r} as well"
            yield Fault(f"{path}[{i}].{key}", what, "a name of its own", "rename one of them")
        seen.setdefault(name, i)


def one_of(section: Any, path: str, ways: Sequence[tuple[str, ...]], what: str) -> Iterator[Fault]:
    """A fault unless exactly one of some ways of saying something is used; each way is the keys it takes."""
    used = [way for way in ways if getattr(section, way[0]) is not None]
    allowed = "exactly one of " + "; ".join(" with ".join(way) for way in ways)
    if not used:
        yield Fault(f"{path}.{ways[0][0]}", f"nothing says {what}", allowed, "write one of these")
    elif len(used) > 1:
        both = " and ".join(way[0] for way in used)
        yield Fault(f"{path}.{used[1][0]}", f"{both} contradict each other", allowed, f"keep one: {both}")


def no_such_file(file: str, folder: Path, path: str, allowed: str) -> Iterator[Fault]:
    """A fault if a file named in the case is not there."""
    if not (folder / file).is_file():
        where = f"there is no file {file!r} beside the case"
        yield Fault(path, where, allowed, f"put it there, or mend the path (looked for {(folder / file).as_posix()})")
