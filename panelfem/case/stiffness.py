"""From a case and a readings file to what a stiffness check is made from: one mesh with the damage in several sizes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.case.build_loads import G
from panelfem.case.builder import build
from panelfem.case.draft import twice
from panelfem.case.ground import unit
from panelfem.case.read import parse, read_as
from panelfem.case.records import Case
from panelfem.case.regions import smallest_half_width
from panelfem.case.schema import CaseFile
from panelfem.case.schema_area import Area, Disc, Polygon
from panelfem.case.schema_loads import Handling
from panelfem.case.schema_stiffness import ReadingsFile
from panelfem.case.site import site_of
from panelfem.damage import Damage
from panelfem.errors import CaseError, Fault
from panelfem.knowledge.compliance import Gauge, Weight
from panelfem.knowledge.posterior import Prior
from panelfem.knowledge.weighted import HALF
from panelfem.loads.records import AreaForce
from panelfem.units import si

#: Sizes of the damage that are solved (a choice; the error of what lies between is measured).
SIZES = 5
#: Kinds of damage whose size changes the stiffness.
SIZED = ("hole", "softened")


@dataclass(frozen=True)
class Reading:
    """What gauge number `gauge` shows under weight number `weight`, m."""

    gauge: int
    weight: int
    deflection: float


@dataclass(frozen=True, eq=False)
class Check:
    """A stiffness check to be made.

    `case`: the case on a mesh that carries weights and every size.  `sizes` (ns,) m of the damage called `damage`
    (empty: none), with the records that stand for it in `sized` (None: not there), and its size as `measured`;
    `believed`: the state the panel is taken to be in; `level` as a share; `repeatability` m; `weighed`: relative
    standard deviation of a weight.
    """

    title: str
    invented: bool
    believed: str
    level: float
    case: Case
    damage: str
    sizes: FloatArray
    sized: tuple[Damage | None, ...]
    measured: float
    prior: Prior
    repeatability: float
    weighed: float
    weights: tuple[Weight, ...]
    gauges: tuple[Gauge, ...]
    readings: tuple[Reading, ...]


def load_check(case_file: Path, readings_file: Path) -> Check:
    """Read, check and build.  Raises CaseError listing the faults of either file."""
    model = parse(case_file)
    keys = read_as(readings_file, ReadingsFile)
    if faults := tuple(_contradictions(keys, model)):
        raise CaseError(str(readings_file), faults)
    own = next((d for d in model.damage if keys.damage is not None and d.name == keys.damage.name), None)
    sizes = _sizes(keys, 0.0 if own is None else _length(own))
    case = build(_changed(model, keys, sizes), case_file)
    rest, copies = case.damage[: len(model.damage)], iter(case.damage[len(model.damage) :])
    itself = next((d for d in rest if own is not None and d.name == own.name), None)
    sized = [None if s == 0 else itself if own is not None and s == _length(own) else next(copies) for s in sizes]
    spread = 1e-2 * keys.prior.skin_percent / HALF
    factor = math.log(keys.prior.fixings_factor) / HALF
    return Check(
        keys.check.title,
        keys.check.invented,
        keys.check.state,
        1e-2 * keys.check.level_percent,
        replace(case, damage=rest),
        "" if keys.damage is None else keys.damage.name,
        sizes,
        tuple(sized),
        0.0 if own is None else _length(own),
        Prior(float(sizes[0]), float(sizes[-1]), spread, factor),
        1e-3 * keys.gauge.repeatability_mm,
        1e-2 * keys.gauge.weights_percent / HALF,
        tuple(_weight(case, w.name) for w in keys.weight),
        _gauges(keys, model, case_file, readings_file),
        tuple(_readings(keys)),
    )


def _sizes(keys: ReadingsFile, measured: float) -> FloatArray:
    """Even steps over the sizes that may be, one of them moved to the size as `measured` m, so that no two borders lie
    so close that the mesh has to be fine between them; 0 alone without a damage to be sized.
    """
    if keys.damage is None:
        return np.zeros(1)
    sizes = np.linspace(1e-3 * keys.damage.least_mm, 1e-3 * keys.damage.most_mm, SIZES)
    near = 1 + int(np.argmin(np.abs(sizes[1:-1] - measured)))
    if abs(sizes[near] - measured) < sizes[1] - sizes[0]:
        sizes[near] = measured
    return sizes


def _changed(model: CaseFile, keys: ReadingsFile, sizes: FloatArray) -> CaseFile:
    """The case with a copy of the damage for each size, and the weights for loads."""
    damage = [_blunt(d) for d in model.damage]
    if keys.damage is not None:
        own = next(d for d in model.damage if d.name == keys.damage.name)
        damage += [_blunt(_scaled(own, float(size))) for size in sizes if size not in (0.0, _length(own))]
    down = model.panel.down
    loads = [
        Handling(
            kind="handling",
            name=w.name,
            area=Disc(shape="disc", centre_mm=w.place_mm, diameter_mm=w.pad_mm),
            force_N={"value": G * w.mass_kg},  # type: ignore[arg-type]
            direction=w.direction or down,
        )
        for w in keys.weight
    ]
    return model.model_copy(update={"damage": damage, "load": loads})


def _blunt(damage: Any) -> Any:
    """The damage with elements at its border as large as stiffness allows: no stress is looked at there."""
    if damage.kind != "hole":
        return damage
    half = smallest_half_width(damage.area, 1e-3 * damage.tolerance_mm)
    length = damage.characteristic_length_mm.model_copy(update={"value": 1e3 * half})
    return damage.model_copy(update={"characteristic_length_mm": length})


def _scaled(damage: Any, size: float) -> Any:
    """The damage with its length made `size` m, its shape kept."""
    factor = size / _length(damage)
    area: Area = damage.area
    assert not isinstance(area, Polygon)
    names = ("diameter_mm",) if isinstance(area, Disc) else ("length_mm", "width_mm")
    grown = {name: factor * _grown(area, name, damage.tolerance_mm) for name in names}
    name = f"{damage.name} at {1e3 * size:.6g} mm"
    return damage.model_copy(update={"name": name, "tolerance_mm": 0.0, "area": area.model_copy(update=grown)})


def _grown(area: Area, name: str, tolerance: float) -> float:
    return float(getattr(area, name)) + 2.0 * tolerance


def _length(damage: Any) -> float:
    """The greatest measure of a damage, with its tolerance, m."""
    area: Area = damage.area
    names = ("diameter_mm",) if isinstance(area, Disc) else ("length_mm", "width_mm")
    return 1e-3 * max(_grown(area, name, damage.tolerance_mm) for name in names)


def _weight(case: Case, name: str) -> Weight:
    scaled = next(load.scaled for load in case.loads if load.name == name)
    assert isinstance(scaled, AreaForce)
    return Weight(name, scaled.region, np.asarray(scaled.force, float))


def _gauges(keys: ReadingsFile, model: CaseFile, case_file: Path, readings_file: Path) -> tuple[Gauge, ...]:
    ground = site_of(model, case_file).ground
    found = []
    for i, dial in enumerate(keys.dial):
        place, _ = ground.put(dial.place_mm, f"dial[{i}].place_mm")
        found.append(Gauge(dial.name, place, np.asarray(unit(dial.direction or model.panel.down))))
    if ground.faults:
        raise CaseError(str(readings_file), tuple(dict.fromkeys(ground.faults)))
    return tuple(found)


def _readings(keys: ReadingsFile) -> Iterator[Reading]:
    names = [dial.name for dial in keys.dial]
    for j, weight in enumerate(keys.weight):
        for one in weight.readings:
            yield Reading(names.index(one.dial), j, si(one.deflection_mm, "mm"))


def _contradictions(keys: ReadingsFile, model: CaseFile) -> Iterator[Fault]:
    """What no section can tell by itself."""
    states = ["undamaged", *(["as found"] if model.damage else []), *(o.name for o in model.option)]
    if model.safety.protects_people != "no":
        yield Fault("check", "the case is of a part that protects people", "any other part", "see its manufacturer")
    if keys.check.state not in states:
        what = f"the case has no state {keys.check.state!r}"
        yield Fault("check.state", what, ", ".join(states), "write one of these")
    yield from _of_damage(keys, model)
    for key, names in (("dial", [d.name for d in keys.dial]), ("weight", [w.name for w in keys.weight])):
        yield from twice(enumerate(names), key, key)
    dials = [d.name for d in keys.dial]
    for i, weight in enumerate(keys.weight):
        read = enumerate(r.dial for r in weight.readings)
        yield from twice(read, f"weight[{i}].readings", "the dial of reading", "dial")
        for j, one in enumerate(weight.readings):
            if one.dial not in dials:
                what = f"no gauge is called {one.dial!r}"
                yield Fault(f"weight[{i}].readings[{j}].dial", what, ", ".join(dials), "name one of these")


def _of_damage(keys: ReadingsFile, model: CaseFile) -> Iterator[Fault]:
    if keys.damage is None:
        return
    own: Any = next((d for d in model.damage if d.name == keys.damage.name), None)
    if own is None:
        allowed = ", ".join(d.name for d in model.damage) or "none: leave [damage] out"
        yield Fault("damage.name", f"the case has no damage {keys.damage.name!r}", allowed, "name one of these")
    elif own.kind not in SIZED:
        what = f"a {own.kind} has no size that changes the stiffness"
        yield Fault("damage.name", what, "a hole or a softened area", "leave [damage] out")
    elif isinstance(own.area, Polygon):
        what = f"{own.name!r} is a polygon, which is not scaled"
        yield Fault("damage.name", what, "a disc, an ellipse or a rectangle", "give the damage as one of these")
    if keys.damage.least_mm >= keys.damage.most_mm:
        what = f"the sizes run from {keys.damage.least_mm:g} to {keys.damage.most_mm:g} mm"
        yield Fault("damage.most_mm", what, "more than least_mm", "mend one of them")
