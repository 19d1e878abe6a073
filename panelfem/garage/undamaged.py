"""Panels assessed before anything happened, and kept beside the library until an input changes."""

from __future__ import annotations

import hashlib
import json
import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from panelfem import __version__
from panelfem.errors import InputError
from panelfem.garage.composition import Base, compose_base, files_beside
from panelfem.garage.library import Library
from panelfem.material import library as materials

#: Where they are kept, in the folder of the library.
FOLDER = "prepared"
_FORMAT = "panelfem-undamaged/1"


@dataclass(frozen=True)
class UndamagedLoad:
    """The undamaged panel under one load.

    `factor`: the least reserve factor that governs release; None: reached by what is held alone.  The bars are those of
    the mesh; None: not estimated.  `beyond`: the factor is a lower bound.  `place_mm` (3,): None for modes without one.
    """

    load: str
    kind: str
    outcome: str
    required_factor: float
    factor: float | None
    bar_factor: float | None
    beyond: bool
    mode: str
    where: str
    place_mm: tuple[float, ...] | None
    deflection_mm: float
    deflection_bar_mm: float | None
    large_displacements: bool


@dataclass(frozen=True)
class Undamaged:
    """The undamaged assessment of a panel on a car at a circuit; `hash` is that of all its inputs.

    `mass_g` is that of the model, `weighed_g` that of the panel file.
    """

    panel: str
    car: str
    circuit: str
    hash: str
    version: str
    outcome: str
    reason: str
    governing_load: str
    mass_g: float
    weighed_g: float | None
    loads: tuple[UndamagedLoad, ...]
    left_out: tuple[str, ...]


def cached(library: Library, panel: str, car: str, circuit: str) -> Undamaged | None:
    """What is kept of an undamaged assessment; None if nothing is, or an input changed since (see :func:`state`)."""
    return state(library, panel, car, circuit)[0]


def state(library: Library, panel: str, car: str, circuit: str) -> tuple[Undamaged | None, str]:
    """What is kept, and why it is not used, in words; one of the two is empty."""
    path = place(library, panel, car, circuit)
    if not path.is_file():
        return None, "not assessed yet"
    try:
        found = _read(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, KeyError):
        return None, "cannot be read: assess it again"
    if found.hash != hash_of(compose_base(library, panel, car, circuit)):
        return None, "stale: an input or the program changed since it was assessed"
    return found, ""


def place(library: Library, panel: str, car: str, circuit: str) -> Path:
    """Where the undamaged assessment of a panel on a car at a circuit is kept."""
    return library.folder / FOLDER / f"{panel}--{car}--{circuit}.json"


def combinations(library: Library, panel: str | None = None) -> Iterator[tuple[str, str, str]]:
    """Panel, car and circuit of everything that may meet, or of one panel."""
    for name in library.panels if panel is None else (panel,):
        for car, file in library.cars.items():
            if name in [carried.panel for carried in file.carries]:
                for circuit in library.circuits:
                    yield name, car, circuit


def hash_of(base: Base) -> str:
    """sha256 of the program's version and materials, of what an undamaged case says, and of every file it names."""
    document, beside = files_beside(base.document)
    built_in = [(material, material.provenance) for material in materials().values()]
    digest = hashlib.sha256(f"{__version__}\0{built_in}\0{json.dumps(document, sort_keys=True)}".encode())
    for name in sorted(beside):
        content = beside[name].read_bytes()
        digest.update(f"\0{name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


def assess_undamaged(
    library: Library, panel: str, car: str, circuit: str, progress: Callable[[str, float], None] | None = None
) -> Undamaged | None:
    """Assess a panel before anything happened; None if it is declined or nothing meets it there."""
    from panelfem.assess import Declined, assess
    from panelfem.case.builder import build
    from panelfem.case.read import check

    base = compose_base(library, panel, car, circuit)
    if not base.document["load"]:
        return None
    file = library.folder / f"{panel}, {car}, {circuit}"
    found = assess(build(check(base.document, file), file, base.origins), progress)
    if isinstance(found, Declined):
        return None
    (whole,) = found.configurations
    judged = {outcome.load: outcome for outcome in whole.disposition.loads}
    loads = []
    for result in whole.variants[0].loads:
        mode, moved, outcome = result.release, result.deflection, judged[result.load]
        loads.append(
            UndamagedLoad(
                load=result.load,
                kind=result.kind,
                outcome=outcome.outcome.value,
                required_factor=outcome.required,
                factor=None if mode.status == "zero load" else _number(mode.factor),
                bar_factor=_number(mode.bar),
                beyond=mode.status == "beyond search",
                mode=mode.mode,
                where=mode.where,
                place_mm=None if mode.place is None else tuple(round(1e3 * float(x), 3) for x in mode.place),
                deflection_mm=float(1e3 * moved.value),
                deflection_bar_mm=_number(1e3 * moved.bar),
                large_displacements=result.theory.large,
            )
        )
    weighed = library.panels[panel].prepared.mass_g
    return Undamaged(
        panel, car, circuit, hash_of(base), __version__, whole.disposition.outcome.value, whole.disposition.reason,
        whole.disposition.governing_load, 1e3 * whole.mass, None if weighed is None else weighed.value, tuple(loads),
        base.left_out,
    )  # fmt: skip


def keep(library: Library, found: Undamaged) -> Path:
    """Write an undamaged assessment into the library; raises InputError if it cannot be written."""
    from panelfem.files import put

    path = place(library, found.panel, found.car, found.circuit)
    text = json.dumps({"format": _FORMAT} | asdict(found), indent=1, ensure_ascii=False, allow_nan=False)
    return put(ready(library), path.name, f"{text}\n".encode())


def ready(library: Library) -> Path:
    """The folder they are kept in, made if need be; raises InputError if it cannot be written to."""
    folder = library.folder / FOLDER
    try:
        folder.mkdir(exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(
            f"cannot write to the folder of undamaged assessments: {error.strerror or error}",
            where=str(folder),
            allowed="a folder you may write to, on a disk with room",
            do=f"make room, or take what is in the way of {FOLDER} in the library",
        ) from error
    return folder


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _read(raw: dict[str, Any]) -> Undamaged:
    if raw.pop("format") != _FORMAT:
        raise ValueError("another format")
    loads = tuple(
        UndamagedLoad(**load | {"place_mm": None if load["place_mm"] is None else tuple(load["place_mm"])})
        for load in raw.pop("loads")
    )
    return Undamaged(**raw | {"loads": loads, "left_out": tuple(raw["left_out"])})
