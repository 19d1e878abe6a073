"""Contradictions in ``[held]`` and ``[[load]]``."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from panelfem.case.checks_panel import area_faults, place_faults, unknown_fastener
from panelfem.case.draft import Draft, Names, no_such_file, one_of
from panelfem.case.fields import Quantity
from panelfem.case.samples import read_samples
from panelfem.case.schema_loads import (
    AirLoad,
    Handling,
    Held,
    KerbStrike,
    LoadKeys,
    LoadTest,
    PatchForce,
    WallContact,
)
from panelfem.errors import CaseError, Fault

if TYPE_CHECKING:
    import shapely

_CSV = "a CSV with the heading x_mm,y_mm,pressure_kPa or x_mm,y_mm,z_mm,pressure_kPa"


def held_faults(held: Held, path: str, draft: Draft, names: Names, folder: Path) -> Iterator[Fault]:
    """Faults of what is held: two air loads, unknown fasteners, cure without temperatures."""
    if held.air_pressure_kPa is not None and held.air_file is not None:
        what = "air_pressure_kPa and air_file contradict each other"
        yield Fault(f"{path}.air_file", what, "one of the two", "keep one")
    if held.air_file is not None:
        yield from _samples(held.air_file, folder, f"{path}.air_file")
    for i, misfit in enumerate(held.misfits):
        yield from unknown_fastener(misfit.fastener, names, f"{path}.misfits[{i}].fastener")
        if misfit.fastener in [m.fastener for m in held.misfits[:i]]:
            what = f"fastener {misfit.fastener!r} has a misfit already"
            yield Fault(f"{path}.misfits[{i}].fastener", what, "each fastener once", "take one of the two out")
    if held.cure and draft.panel is not None:
        for key in ("stress_free_temperature_C", "fitting_temperature_C", "service_temperature_C"):
            if getattr(draft.panel, key) is None:
                what = f"is missing, but {path}.cure is true"
                yield Fault(f"panel.{key}", what, "a temperature in °C", f"write {key}, or cure = false")


def _samples(file: str, folder: Path, path: str) -> Iterator[Fault]:
    missing = list(no_such_file(file, folder, path, _CSV))
    yield from missing
    if not missing:
        try:
            read_samples(folder / file, path)
        except CaseError as error:
            yield from error.faults


def load_faults(
    load: LoadKeys, path: str, draft: Draft, names: Names, plan: shapely.Polygon | None, folder: Path
) -> Iterator[Fault]:
    """Faults of one load."""
    on_mesh = draft.panel is not None and draft.panel.mesh is not None
    if load.held is not None:
        yield from held_faults(load.held, f"{path}.held", draft, names, folder)
    for i, limit in enumerate(load.limits):
        yield from area_faults(limit.area, f"{path}.limits[{i}].area", plan, on_mesh)
        if limit.name in [other.name for other in load.limits[:i]]:
            what = f"another limit of the load is called {limit.name!r}"
            yield Fault(f"{path}.limits[{i}].name", what, "a name of its own", "rename one of them")
    if isinstance(load, LoadTest | Handling | PatchForce):
        yield from area_faults(load.area, f"{path}.area", plan, on_mesh)
    if isinstance(load, AirLoad):
        yield from area_faults(load.area, f"{path}.area", plan, on_mesh)
        yield from _air(load, path, folder)
    if isinstance(load, KerbStrike):
        yield from place_faults(load.place_mm, f"{path}.place_mm", plan, on_mesh)
    if isinstance(load, KerbStrike | WallContact):
        yield from _push(load, path)


def _air(load: AirLoad, path: str, folder: Path) -> Iterator[Fault]:
    yield from one_of(load, path, (("pressure_kPa",), ("pressure_file",)), "what is scaled")
    if load.pressure_kPa is not None and load.pressure_kPa.value == 0.0:
        yield Fault(
            f"{path}.pressure_kPa",
            "is zero: nothing is scaled",
            "a pressure or a suction",
            "state it, or leave the load out",
        )
    if load.pressure_file is not None:
        yield from _samples(load.pressure_file, folder, f"{path}.pressure_file")
        if load.area is not None:
            what = "a sampled pressure acts where it was sampled: everywhere"
            yield Fault(f"{path}.area", what, "with pressure_kPa", "take it out")
    elif load.multiplier is not None:
        yield Fault(f"{path}.multiplier", "means nothing without a file", "with pressure_file", "take it out")


def _push(load: KerbStrike | WallContact, path: str) -> Iterator[Fault]:
    ways: tuple[tuple[str, ...], ...] = (("interference_mm",), ("force_N",))
    if isinstance(load, KerbStrike):
        ways += (("kerb_height_mm", "suspension_travel_mm", "clearance_mm"),)
        heights = (load.kerb_height_mm, load.suspension_travel_mm, load.clearance_mm)
        lacking = [key for key, value in zip(ways[-1], heights, strict=True) if value is None]
        if 0 < len(lacking) < 3:
            for key in lacking:
                yield Fault(f"{path}.{key}", "is missing", " with ".join(ways[-1]), f"write {key}")
        elif not lacking and (deep := interference_of(heights)) <= 0.0:
            what = f"the kerb does not reach the panel: height + travel − clearance = {deep:g} mm"
            yield Fault(
                f"{path}.clearance_mm",
                what,
                "an interference above 0",
                "check the heights, or leave the load out",
            )
    yield from one_of(load, path, ways, "how hard it pushes")
    if load.force_N is not None and load.car_stiffness_N_per_mm is not None:
        what = "a stated force leaves nothing for the car's stiffness to do"
        yield Fault(
            f"{path}.car_stiffness_N_per_mm",
            what,
            "with an interference",
            "take it out, or state the interference",
        )
    yield from across(load.push_direction, load.travel_direction, f"{path}.travel_direction")


def across(push: Sequence[float], travel: Sequence[float], path: str) -> Iterator[Fault]:
    """A fault if a line of travel runs the way of the push."""
    dot = sum(a * b for a, b in zip(push, travel, strict=True))
    if abs(dot) > 0.9 * math.hypot(*push) * math.hypot(*travel):
        what = "runs the same way as push_direction"
        yield Fault(path, what, "a direction across push_direction", "check the two directions")


def interference_of(heights: Sequence[float | None]) -> float:
    """Interference in mm from kerb height, suspension travel and clearance.

    >>> interference_of((50.0, 20.0, 65.0))
    5.0
    """
    height, travel, clearance = (value or 0.0 for value in heights)
    return height + travel - clearance


def severity_of(load: KerbStrike | WallContact) -> tuple[str, Quantity]:
    """The key that says how hard a contact pushes, and its value; heights are turned into an interference."""
    if load.force_N is not None:
        return "force_N", load.force_N
    if load.interference_mm is not None or not isinstance(load, KerbStrike):
        assert load.interference_mm is not None  # one of the ways is given: checked
        return "interference_mm", load.interference_mm
    deep = interference_of((load.kerb_height_mm, load.suspension_travel_mm, load.clearance_mm))
    return "interference_mm", Quantity(value=deep, source="kerb height + suspension travel − clearance")
