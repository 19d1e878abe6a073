"""The folder of prepared files, read and checked as one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from panelfem.case.fields import Section
from panelfem.case.read import read, validated
from panelfem.errors import CaseError, Fault
from panelfem.garage.schema_car import Car
from panelfem.garage.schema_circuit import Circuit
from panelfem.garage.schema_kit import Kit
from panelfem.garage.schema_panel import PreparedPanel

S = TypeVar("S", bound=Section)
#: A name that is safe in a file name, a stack of names and a report.
_NAME = re.compile(r"(?!.*--)[^\W_][\w.\-]{0,60}")


@dataclass(frozen=True)
class Library:
    """The prepared files of a folder, by the stems of their names, in alphabetical order; `documents` are the files as
    read, by label.
    """

    folder: Path
    panels: Mapping[str, PreparedPanel]
    cars: Mapping[str, Car]
    circuits: Mapping[str, Circuit]
    kits: Mapping[str, Kit]
    documents: Mapping[str, Mapping[str, Any]] = field(repr=False)

    @classmethod
    def open(cls, folder: Path) -> Library:
        """Read and check ``panels/``, ``cars/``, ``circuits/`` and ``kits/`` of a folder.

        Raises CaseError listing the faults of all files, each with file and key.
        """
        from panelfem.garage.checks import library_faults

        if not folder.is_dir():
            what = "there is no such folder" if not folder.exists() else "is a file"
            do = "check the path; a library is a folder with panels, cars, circuits and kits"
            raise CaseError(str(folder), (Fault(str(folder), what, "a folder", do),))
        faults: list[Fault] = []
        documents: dict[str, dict[str, Any]] = {}
        library = cls(
            folder,
            _read_all(folder, "panels", PreparedPanel, faults, documents),
            _read_all(folder, "cars", Car, faults, documents),
            _read_all(folder, "circuits", Circuit, faults, documents),
            _read_all(folder, "kits", Kit, faults, documents),
            documents,
        )
        faults += library_faults(library)
        if faults:
            raise CaseError(str(folder), tuple(faults))
        return library

    def path(self, folder: str, name: str) -> Path:
        """Where a prepared file is: ``path("panels", "lid")``."""
        return self.folder / folder / f"{name}.toml"


def label(folder: str, name: str) -> str:
    """A prepared file as messages and comments call it.

    >>> label("panels", "lid")
    'panels/lid.toml'
    """
    return f"{folder}/{name}.toml"


def _read_all(
    folder: Path, name: str, root: type[S], faults: list[Fault], documents: dict[str, dict[str, Any]]
) -> dict[str, S]:
    """The files of one kind that are sound by themselves; what is wrong with the others goes to `faults`, and what
    can be read of all to `documents`, by label.
    """
    found: dict[str, S] = {}
    paths = sorted((folder / name).glob("*.toml"), key=lambda p: p.name) if (folder / name).is_dir() else []
    if not paths:
        allowed, do = "at least one NAME.toml in it", "write one, or check the path of the library"
        faults.append(Fault(name, "holds no file", allowed, do))
    for path in paths:
        where = label(name, path.stem)
        if not _NAME.fullmatch(path.stem):
            allowed = "a letter or digit first, then letters, digits, _ . - (no --), 61 at most"
            faults.append(Fault(f"{name}/{path.name!r}", "cannot be a name", allowed, "rename the file"))
            continue
        try:
            documents[where] = read(path)
        except CaseError as error:
            faults += located(error.faults, where)
            continue
        section, wrong = validated(documents[where], root)
        faults += located(wrong, where)
        if section is not None:
            found[path.stem] = section
    return found


def located(faults: tuple[Fault, ...] | list[Fault], where: str) -> Iterator[Fault]:
    """Faults of one file, with the file before the key."""
    for fault in faults:
        yield Fault(f"{where}: {fault.path}", fault.what, fault.allowed, fault.do)
