"""From a layup file to candidates and measurements."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.build_loads import G
from panelfem.case.read import read_as
from panelfem.case.schema_layup import BentPlate, BentStrip, LayupFile, Measure
from panelfem.errors import CaseError, Fault
from panelfem.knowledge.bending import Bending, Plate, Strip
from panelfem.knowledge.layup import Bent, Measured
from panelfem.knowledge.stacks import Candidates
from panelfem.knowledge.weighted import HALF
from panelfem.material import CoreMaterial, PlyMaterial, library


@dataclass(frozen=True, eq=False)
class Unknown:
    """A layup to be found; `level` as a share, `load` (6,) N/m and N or None."""

    title: str
    invented: bool
    level: float
    candidates: Candidates
    measured: Measured
    load: FloatArray | None


def load_layup(path: Path) -> Unknown:
    """Read and check a layup file.  Raises CaseError listing all its faults."""
    model = read_as(path, LayupFile)
    if faults := tuple(_contradictions(model)):
        raise CaseError(str(path), faults)
    piece, keys = model.piece, model.candidates
    areal = None
    if piece.mass_g is not None and piece.area_cm2 is not None:
        value = 10.0 * piece.mass_g.value / piece.area_cm2.value
        areal = value, value * math.hypot(*(m.plus_minus / m.value / HALF for m in (piece.mass_g, piece.area_cm2)))
    load = None
    if model.load is not None:
        load = np.array([*(1e3 * n for n in model.load.force_N_per_mm), *model.load.moment_N])
    angle = model.seen.outer_angle_deg
    cores: list[tuple[CoreMaterial, float] | None] = [None] if keys.no_core else []
    for core in keys.core:
        material = library()[core.material]
        assert isinstance(material, CoreMaterial)
        cores.append((material, 1e-3 * core.thickness_mm))
    return Unknown(
        model.layup.title,
        model.layup.invented,
        1e-2 * model.layup.level_percent,
        Candidates(
            tuple(m for name in keys.plies if isinstance(m := library()[name], PlyMaterial)),
            tuple(math.radians(a) for a in keys.angles_deg),
            tuple(cores),
            model.seen.least_plies,
            model.seen.most_plies,
            keys.unsymmetric,
            model.seen.outer_ply,
            None if angle is None else math.radians(angle),
        ),
        Measured(areal, _millimetres(piece.thickness_mm), tuple(_bent(b) for b in model.bent)),
        load,
    )


def _millimetres(measure: Measure | None) -> tuple[float, float] | None:
    """Value and standard deviation, m."""
    return None if measure is None else (1e-3 * measure.value, 1e-3 * measure.plus_minus / HALF)


def _bent(keys: BentStrip | BentPlate) -> Bent:
    force, length, width = G * keys.mass_kg, 1e-3 * keys.length_mm, 1e-3 * keys.width_mm
    piece: Bending
    if isinstance(keys, BentStrip):
        piece = Strip(keys.supports, length, width, math.radians(keys.along_deg), force)
    else:
        piece = Plate(length, width, 1e-3 * keys.pad_mm, force)
    return Bent(piece, 1e-3 * keys.deflection_mm.value, 1e-3 * keys.deflection_mm.plus_minus / HALF)


def _contradictions(model: LayupFile) -> Iterator[Fault]:
    """What no section can tell by itself."""
    piece, keys, seen = model.piece, model.candidates, model.seen
    for have, lacks, name in ((piece.mass_g, piece.area_cm2, "area_cm2"), (piece.area_cm2, piece.mass_g, "mass_g")):
        if have is not None and lacks is None:
            yield Fault(f"piece.{name}", "is missing", "mass and area together", "measure it, or leave the other out")
    if piece.mass_g is None and piece.thickness_mm is None and not model.bent:
        yield Fault("piece", "nothing was measured", "mass and area, thickness, [[bent]]", "measure one of them")
    if seen.least_plies > seen.most_plies:
        what = f"the plies run from {seen.least_plies} to {seen.most_plies}"
        yield Fault("seen.most_plies", what, "least_plies or more", "mend one of them")
    if not keys.no_core and not keys.core:
        yield Fault(
            "candidates.core", "there is none, and no_core is false", "a core", "name one, or leave no_core out"
        )
    for i, name in enumerate(keys.plies):
        yield from _known(name, PlyMaterial, f"candidates.plies[{i}]", "ply")
        if name in keys.plies[:i]:
            yield Fault(f"candidates.plies[{i}]", f"{name!r} is there already", "each once", "leave one out")
    for i, core in enumerate(keys.core):
        yield from _known(core.material, CoreMaterial, f"candidates.core[{i}].material", "core")
    measures = {f"piece.{name}": getattr(piece, name) for name in ("mass_g", "area_cm2", "thickness_mm")}
    measures |= {f"bent[{i}].deflection_mm": bent.deflection_mm for i, bent in enumerate(model.bent)}
    for path, measure in measures.items():
        if measure is not None and measure.plus_minus >= measure.value:
            what = f"{measure.plus_minus:g} is as much as what was measured, {measure.value:g}"
            yield Fault(f"{path}.plus_minus", what, "less than the value", "check both, and their unit")
    for i, bent in enumerate(model.bent):
        if isinstance(bent, BentStrip) and bent.width_mm > bent.length_mm:
            what = f"a strip {bent.width_mm:g} mm wide and {bent.length_mm:g} mm long is no strip"
            yield Fault(f"bent[{i}].width_mm", what, "up to the length", "bend it as a plate, or cut a narrower strip")
        if isinstance(bent, BentPlate) and bent.pad_mm > 0.5 * min(bent.length_mm, bent.width_mm):
            yield Fault(f"bent[{i}].pad_mm", "the pad is over half the plate", "up to half", "take a smaller pad")
    if model.load is not None and not any((*model.load.force_N_per_mm, *model.load.moment_N)):
        yield Fault("load", "all of it is zero", "a force or a moment", "write one, or leave [load] out")


def _known(name: str, kind: type[PlyMaterial] | type[CoreMaterial], path: str, what: str) -> Iterator[Fault]:
    if isinstance(library().get(name), kind):
        return
    names = [key for key, material in library().items() if isinstance(material, kind)]
    near = difflib.get_close_matches(name, names, 1)
    do = f"did you mean {near[0]!r}" if near else f"name a {what} of the library: panelfem materials"
    yield Fault(path, f"no {what} of the library is called {name!r}", ", ".join(names), do)
