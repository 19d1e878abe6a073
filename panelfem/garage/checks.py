"""What contradicts itself in prepared files, each alone and one against the other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from panelfem.case.checks import contradictions, stakes_faults
from panelfem.case.checks_loads import across
from panelfem.case.checks_materials import material_faults, materials_of
from panelfem.case.checks_panel import area_faults, place_faults
from panelfem.case.checks_stacks import of_adhesive, of_stack
from panelfem.case.draft import Draft, named, one_of, twice
from panelfem.case.faults import nearest
from panelfem.case.plan import plan_of
from panelfem.case.read import draft_of
from panelfem.errors import Fault
from panelfem.garage.library import Library, label, located
from panelfem.garage.on_car import on_car
from panelfem.garage.schema_car import Car
from panelfem.garage.schema_circuit import Circuit
from panelfem.garage.schema_kit import CureTable, Kit
from panelfem.garage.schema_panel import Exposure, PreparedPanel

#: A kerb and the road push up, to within this angle: clearance and stiffness are vertical, and its cosine is left out.
_UP = math.radians(15.0)
#: Exposure and position of the panel on the car are two measurements of one place: farther apart, one is a slip.
_APART_MM = 100.0


def library_faults(library: Library) -> list[Fault]:
    """The contradictions in all files of a library."""
    documents = library.documents
    faults: list[Fault] = []
    names = [where.removeprefix("panels/").removesuffix(".toml") for where in documents if where.startswith("panels/")]
    for where, document in documents.items():
        if where.startswith("panels/"):
            draft = draft_of(None, document)
            alone = contradictions(draft, document, library.folder / "panels")
            faults += located(alone, where)
    for name, panel in library.panels.items():
        faults += located(list(_panel(panel)), label("panels", name))
    for name, car in library.cars.items():
        faults += located(list(_car(car, names)), label("cars", name))
        faults += located(list(_positions(car, library.panels)), label("cars", name))
    for name, circuit in library.circuits.items():
        faults += located(list(_circuit(circuit)), label("circuits", name))
    for name, kit in library.kits.items():
        faults += located(list(_kit(kit)), label("kits", name))
    return faults


def unknown(name: str, valid: Sequence[str], path: str, thing: str) -> Iterator[Fault]:
    """A fault if there is no prepared file of that name.

    >>> print(next(unknown("lit", ["lid", "floor"], "finding.panel", "panel")))
    there is no panel 'lit' (finding.panel). Allowed: lid, floor. Do: write "lid", if that is what is meant.
    """
    if name not in valid:
        allowed = ", ".join(valid) or "none is prepared"
        yield Fault(path, f"there is no {thing} {name!r}", allowed, nearest(name, valid))


def _panel(file: PreparedPanel) -> Iterator[Fault]:
    for fault in stakes_faults(file.prepared, file.safety):
        yield Fault(fault.path.replace("case.", "prepared.", 1), fault.what, fault.allowed, fault.do)
    plan = plan_of(file.panel.outline) if file.panel.outline is not None else None
    on_mesh = file.panel.mesh is not None
    yield from twice(enumerate(e.name for e in file.exposure), "exposure", "exposure")
    yield from twice(enumerate(limit.name for limit in file.limit), "limit", "limit")
    for i, limit in enumerate(file.limit):
        yield from area_faults(limit.area, f"limit[{i}].area", plan, on_mesh)
    for i, exposure in enumerate(file.exposure):
        path = f"exposure[{i}]"
        yield from place_faults(exposure.place_mm, f"{path}.place_mm", plan, on_mesh)
        yield from across(exposure.push_direction, exposure.travel_direction, f"{path}.travel_direction")
        yield from _upward(exposure, file.panel.down, path)


def _upward(exposure: Exposure, down: Sequence[float], path: str) -> Iterator[Fault]:
    push = exposure.push_direction
    cosine = -sum(a * b for a, b in zip(push, down, strict=True)) / (math.hypot(*push) * math.hypot(*down))
    if {"kerb", "road"} & set(exposure.meets) and cosine < math.cos(_UP):
        what = f"is {math.degrees(math.acos(max(cosine, -1.0))):.0f}° off up, but a kerb or the road pushes up"
        do = "check it against panel.down, or take kerb and road out of meets"
        yield Fault(f"{path}.push_direction", what, f"up, to within {math.degrees(_UP):.0f}°", do)


def _car(file: Car, panels: Sequence[str]) -> Iterator[Fault]:
    head = file.car
    if head.rear_axle_mm <= head.front_axle_mm:
        what = f"is not behind the front axle at {head.front_axle_mm:g} mm"
        do = "x runs rearward: check the axles"
        yield Fault("car.rear_axle_mm", what, f"more than {head.front_axle_mm:g} mm", do)
    yield from twice(enumerate(s.name for s in file.station), "station", "station")
    for i, station in enumerate(file.station):
        if not station.least_kg <= station.mass_kg <= station.most_kg:
            what = f"{station.mass_kg:g} kg is not within its limits"
            allowed = f"{station.least_kg:g} to {station.most_kg:g} kg"
            yield Fault(f"station[{i}].mass_kg", what, allowed, "weigh it again, or put the limits right")
    for i, carried in enumerate(file.carries):
        yield from unknown(carried.panel, panels, f"carries[{i}].panel", "panel")
        if carried.panel in [c.panel for c in file.carries[:i]]:
            what = f"{carried.panel!r} is carried already"
            do = "take one of the two out; left and right are panels of their own"
            yield Fault(f"carries[{i}].panel", what, "each panel once", do)
        x, y = carried.x_axis, carried.y_axis
        if abs(sum(a * b for a, b in zip(x, y, strict=True))) > 0.02 * math.hypot(*x) * math.hypot(*y):
            yield Fault(f"carries[{i}].y_axis", "is not square to x_axis", "square to it", "check the two directions")


def _positions(file: Car, panels: Mapping[str, PreparedPanel]) -> Iterator[Fault]:
    for i, carried in enumerate(file.carries):
        for exposure in panels[carried.panel].exposure if carried.panel in panels else ():
            place = np.array([*exposure.place_mm, 0.0][:3])
            there = 1e3 * float(on_car(carried, 1e-3 * place)[0]) - file.car.front_axle_mm
            if abs(there - exposure.behind_front_axle_mm) > _APART_MM:
                what = (
                    f"puts exposure {exposure.name!r} {there:.0f} mm behind the front axle, where the panel file says "
                    f"{exposure.behind_front_axle_mm:g} mm"
                )
                allowed = f"the two within {_APART_MM:.0f} mm"
                yield Fault(f"carries[{i}].origin_mm", what, allowed, "measure both again: one is wrong")


def _circuit(file: Circuit) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for kind in ("kerb", "wall", "compression"):
        for i, name in named([{"name": thing.name} for thing in getattr(file, kind)]):
            path = f"{kind}[{i}]"
            if name in seen:
                what = f"{seen[name]} is called {name!r} as well"
                yield Fault(f"{path}.name", what, "a name of its own", "rename one of them")
            seen.setdefault(name, path)
    for i, kerb in enumerate(file.kerb):
        ways = (("suspension_travel_mm",), ("interference_mm",), ("force_N",))
        yield from one_of(kerb, f"kerb[{i}]", ways, "how hard it strikes")
    for i, wall in enumerate(file.wall):
        yield from one_of(wall, f"wall[{i}]", (("interference_mm",), ("force_N",)), "how hard it pushes")


def travel_faults(library: Library, car: str, circuit: str) -> Iterator[Fault]:
    """Faults of a circuit that takes the car farther down than it can go."""
    head = library.cars[car].car
    most = max(head.travel_front_mm, head.travel_rear_mm)
    for kind in ("kerb", "compression"):
        for i, thing in enumerate(getattr(library.circuits[circuit], kind)):
            if (travel := thing.suspension_travel_mm) is not None and travel.value > most:
                path = f"{label('circuits', circuit)}: {kind}[{i}].suspension_travel_mm"
                what = f"{travel.value:g} mm is more than either axle of {label('cars', car)} can go down"
                yield Fault(path, what, f"up to {most:g} mm", "check the logger, or the travel of the car")


def _kit(file: Kit) -> Iterator[Fault]:
    of_materials = list(material_faults(Draft(materials=file.materials)))
    yield from of_materials
    yield from twice(enumerate(p.name for p in file.patch), "patch", "patch")
    if of_materials:
        return
    materials = materials_of(file.materials)
    for i, table in enumerate(file.cure):
        yield from of_adhesive(table.material, f"cure[{i}].material", materials)
        yield from _table(table, f"cure[{i}]")
        if table.material in [c.material for c in file.cure[:i]]:
            what = f"{table.material!r} has a table already"
            yield Fault(f"cure[{i}].material", what, "one table a material", "put the two together")
    cured = [table.material for table in file.cure]
    for i, patch in enumerate(file.patch):
        path = f"patch[{i}]"
        yield from of_stack(patch.stack, patch.material, path, materials)
        wrong = list(of_adhesive(patch.adhesive, f"{path}.adhesive", materials))
        yield from wrong
        if not wrong and patch.adhesive not in cured:
            what = f"nothing says what {patch.adhesive!r} is worth after this cure"
            do = "add a [[cure]] table for it, from its data sheet or from coupons"
            yield Fault(f"{path}.adhesive", what, ", ".join(cured) or "no [[cure]] is given", do)
        for side in {s for s in patch.sides if patch.sides.count(s) > 1}:
            yield Fault(f"{path}.sides", f"{side!r} is there twice", "each side once", "take one out")


def _table(table: CureTable, path: str) -> Iterator[Fault]:
    for key in ("temperatures_C", "times_min"):
        values = getattr(table, key)
        if any(b <= a for a, b in pairwise(values)):
            yield Fault(f"{path}.{key}", "do not rise", "each greater than the one before", "put them in order")
    wanted = (len(table.temperatures_C), len(table.times_min))
    if len(table.shares) != wanted[0] or any(len(row) != wanted[1] for row in table.shares):
        what = "does not fit temperatures_C and times_min"
        yield Fault(f"{path}.shares", what, f"{wanted[0]} rows of {wanted[1]} shares", "give one share for each pair")
