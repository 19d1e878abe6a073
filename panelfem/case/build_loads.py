"""From ``[held]`` and ``[[load]]`` to load cases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.checks_loads import severity_of
from panelfem.case.fields import Quantity
from panelfem.case.ground import unit
from panelfem.case.samples import read_samples
from panelfem.case.schema import CaseFile
from panelfem.case.schema_loads import (
    AirLoad,
    Compression,
    HalfRoundKerb,
    Held,
    KerbStrike,
    LoadKeys,
    LoadTest,
    RampKerb,
    StepKerb,
    WallContact,
)
from panelfem.case.schema_loads import (
    Inertia as InertiaKeys,
)
from panelfem.case.schema_panel import Panel as PanelKeys
from panelfem.case.site import Site
from panelfem.loads.records import (
    AreaForce,
    Contact,
    Cure,
    DeflectionLimit,
    Flat,
    HalfRound,
    Inertia,
    Load,
    LoadCase,
    Misfit,
    Parameter,
    Pressure,
    Ramp,
    Shape,
    Step,
)
from panelfem.mesh import Disc
from panelfem.units import si

G = si(1.0, "gee")


def build_loads(model: CaseFile, site: Site, folder: Path) -> tuple[LoadCase, ...]:
    """The load cases; the regions they need are kept for the mesh."""
    return tuple(_case(load, f"load[{i}]", model, site, folder) for i, load in enumerate(model.load))


def _case(load: LoadKeys, path: str, model: CaseFile, site: Site, folder: Path) -> LoadCase:
    obstacles: tuple[Contact, ...] = ()
    down = model.panel.down
    scaled: Load
    parameter: Parameter
    match load:
        case KerbStrike() | WallContact():
            key, severity = severity_of(load)
            scaled = _contact(load, key, severity, path, site)
            parameter = "force" if key == "force_N" else "interference"
        case Compression() | InertiaKeys():
            severity = load.acceleration_gee
            scaled, parameter = Inertia(G * severity.value * unit(load.direction or down)), "acceleration"
            if isinstance(load, Compression) and load.road is not None:
                obstacles = (_road(load.road.direction, 1e-3 * load.road.gap_mm, site.middle),)
        case AirLoad():
            severity = load.pressure_kPa or load.multiplier or Quantity(value=1.0)
            scaled, parameter = _air(load, path, site, folder), "pressure"
        case _:
            severity = load.force_N
            region = site.area(load.area, f"load {load.name}", f"{path}.area")
            limit = 1e-3 * load.limit_mm if isinstance(load, LoadTest) else None
            how = {"load test": "ram", "handling": "handling", "patch force": "patch"}[load.kind]
            scaled, parameter = AreaForce(region, severity.value * unit(load.direction), limit, how), "force"  # type: ignore[arg-type]
    held = build_held(load.held if load.held is not None else model.held, f"{path}.held", model.panel, site, folder)
    band = load.dynamic_factor.band
    return LoadCase(
        load.name, load.kind, parameter, scaled, held, obstacles,
        _limits(load, path, site), load.dynamic_factor.value,
        (band[0], band[1]) if band else None, severity.relative,
    )  # fmt: skip


def build_held(held: Held, path: str, panel: PanelKeys, site: Site, folder: Path) -> tuple[Load, ...]:
    """What stays on the panel, in SI."""
    built: list[Load] = []
    if held.one_g:
        built.append(Inertia(G * unit(panel.down)))
    if held.air_pressure_kPa is not None:
        built.append(Pressure(1e3 * held.air_pressure_kPa.value))
    if held.air_file is not None:
        built.append(_sampled(folder / held.air_file, f"{path}.air_file", 1.0, site))
    if held.cure:
        built.append(_cure(panel))
    return (*built, *(Misfit(m.fastener, 1e-3 * m.gap_mm) for m in held.misfits))


def _cure(panel: PanelKeys) -> Cure:
    """Residual strain: from the stress-free temperature, and for the fixings from the temperature at fitting."""
    named = (panel.stress_free_temperature_C, panel.fitting_temperature_C, panel.service_temperature_C)
    free, fitted, service = (math.nan if t is None else t.value for t in named)
    if math.isnan(free + fitted + service):
        raise TypeError("cure without temperatures, which the checks of a case refuse")
    return Cure(service - free, 1e-2 * panel.moisture_percent.value, service - fitted)


def _air(load: AirLoad, path: str, site: Site, folder: Path) -> Pressure:
    if load.pressure_file is not None:
        factor = 1.0 if load.multiplier is None else load.multiplier.value
        return _sampled(folder / load.pressure_file, f"{path}.pressure_file", factor, site)
    value = 0.0 if load.pressure_kPa is None else 1e3 * load.pressure_kPa.value
    region = None if load.area is None else site.area(load.area, f"load {load.name}", f"{path}.area")
    return Pressure(value, region)


def _sampled(file: Path, path: str, factor: float, site: Site) -> Pressure:
    """A sampled pressure as its peak (so that the severity reads as a pressure) and the share of it at each
    sample.
    """
    points, values, deep = read_samples(file, path)
    if not deep:
        points = site.ground.raised(points, path)
    peak = float(values[np.argmax(np.abs(values))])
    shares = values / peak if peak else values
    return Pressure(factor * peak, None, points, shares)


def _contact(load: KerbStrike | WallContact, key: str, severity: Quantity, path: str, site: Site) -> Contact:
    push, travel = unit(load.push_direction), unit(load.travel_direction)
    travel = travel - (travel @ push) * push
    travel /= np.linalg.norm(travel)
    shape: Shape = Flat()
    place, gap = site.middle, 0.0
    if isinstance(load, KerbStrike):
        match load.shape:
            case HalfRoundKerb(radius_mm=radius):
                shape = HalfRound(1e-3 * radius)
            case StepKerb(edge_radius_mm=radius):
                shape = Step(1e-3 * radius)
            case RampKerb(angle_deg=angle):
                shape = Ramp(math.radians(angle))
        place, _ = site.ground.put(load.place_mm, f"{path}.place_mm")
        radius = 5e-4 * load.footprint_mm
        site.add(Disc(f"footprint {load.name}", place, radius, min(site.coarse, 0.4 * radius)))
    else:
        gap = 1e-3 * load.gap_mm
    car = load.car_stiffness_N_per_mm
    amount = severity.value if key == "force_N" else 1e-3 * severity.value
    control: Literal["force", "interference"] = "force" if key == "force_N" else "interference"
    return Contact(shape, place, push, travel, control, amount, gap, None if car is None else 1e3 * car.value)


def _road(direction: Sequence[float], gap: float, middle: FloatArray) -> Contact:
    """A flat road that stays where it is, `gap` m from the unloaded panel."""
    push = unit(list(direction))
    across = np.cross(push, [0.0, 1.0, 0.0] if abs(push[1]) < 0.9 else [1.0, 0.0, 0.0])
    return Contact(Flat(), middle, push, across / np.linalg.norm(across), "interference", 0.0, gap)


def _limits(load: LoadKeys, path: str, site: Site) -> tuple[DeflectionLimit, ...]:
    built = []
    for i, limit in enumerate(load.limits):
        region = None
        if limit.area is not None:
            region = site.area(
                limit.area,
                f"limit {load.name}: {limit.name}",
                f"{path}.limits[{i}].area",
                least=site.coarse / 3,
            )
        direction = None if limit.direction is None else unit(limit.direction)
        built.append(DeflectionLimit(limit.name, 1e-3 * limit.limit_mm, region, direction))
    return tuple(built)
