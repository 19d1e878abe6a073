"""What a composition is: a case document, where each part of it came from, and the task clock of its options."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Step:
    """One step of an option on the task clock: `minutes`, with basis and source."""

    name: str
    minutes: float
    basis: str
    source: str


@dataclass(frozen=True)
class Composed:
    """A case put together from prepared files and a finding.

    `document` is a case as its TOML reads, `text` that TOML with a comment at each section saying where it came from.
    `files` are all files read.  `beside` maps each file the case names to where it is now: it belongs beside the case.
    `origins` maps a path in the document to the file it came from (see :func:`panelfem.case.inputs.input_rows`).
    `overrides` are the keys that the finding replaces, `left_out` what was not taken in, and why.
    `steps` maps the name of an option to its steps; their minutes sum to those of the option.
    """

    document: Mapping[str, Any]
    text: str
    files: tuple[Path, ...]
    beside: Mapping[str, Path]
    origins: Mapping[str, str]
    overrides: tuple[str, ...]
    left_out: tuple[str, ...]
    steps: Mapping[str, tuple[Step, ...]]
    panel: str
    car: str
    circuit: str
    kit: str
    who: str

    def write(self, folder: Path) -> Path:
        """Write ``case.toml`` and the files it names into a folder that is there; returns its path.

        Raises InputError if one cannot be written.
        """
        from panelfem.files import put

        for name, source in self.beside.items():
            put(folder, name, source.read_bytes())
        return put(folder, "case.toml", self.text.encode("utf-8"))
