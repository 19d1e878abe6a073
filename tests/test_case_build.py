"""From a case file to records in SI: every number that is stated arrives, converted, where it belongs."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_case_documents import documents

from panelfem.case import Case, Sweep, build, load_case
from panelfem.case.inputs import assumed_inputs, input_rows
from panelfem.case.read import check
from panelfem.damage import Hole, MissingFastener, Softened
from panelfem.errors import CaseError, InputError
from panelfem.loads.records import (
    AreaForce,
    Contact,
    Cure,
    Flat,
    HalfRound,
    Inertia,
    LoadCase,
    Misfit,
    Pressure,
    Ramp,
    Step,
)
from panelfem.mesh import Disc, Ellipse
from panelfem.repair.records import PatchRepair, Refit, Spare, Tape

CASES = sorted((Path(__file__).parents[1] / "cases").glob("*.toml"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("case")


@pytest.fixture(scope="module")
def originals(folder: Path) -> dict[str, dict[str, Any]]:
    return documents(folder)


def built(document: dict[str, Any], folder: Path) -> Case:
    """The case of a document whose files lie in `folder`."""
    return build(check(document, folder / "case.toml"), folder / "case.toml")


@pytest.fixture(scope="module")
def case(originals: dict[str, dict[str, Any]], folder: Path) -> Case:
    return built(originals["outline"], folder)


def load(case: Case, name: str) -> LoadCase:
    """A load of the case by its name."""
    return next(entry for entry in case.loads if entry.name == name)


def area(case: Case, region: str) -> float:
    """Area of a mesh region, m²."""
    assert case.panel is not None
    return float(case.panel.mesh.areas[case.panel.mesh.inside[region]].sum())


def test_mesh_carries_every_region(case: Case) -> None:
    """Each region that a record names is on the mesh, with its size, tolerance and overlap."""
    assert case.panel is not None
    named = {d.region for d in case.damage if not isinstance(d, MissingFastener)}
    named |= {r for o in case.options for a in o.actions if (r := getattr(a, "region", None))}
    named |= {a.cut_out for o in case.options for a in o.actions if isinstance(a, PatchRepair) and a.cut_out}
    named |= {r for entry in case.loads if (r := getattr(entry.scaled, "region", None))}
    named |= {m.region for m in case.panel.masses} | {h.region for h in case.panel.held_areas}
    named |= {limit.region for entry in case.loads for limit in entry.limits if limit.region}
    named |= {f"washer {f.name}" for f in case.panel.fasteners}
    assert named <= set(case.panel.mesh.inside)
    assert all(case.panel.mesh.inside[name].any() for name in named)
    shapes = {region.name: region for region in case.panel.mesh.regions}
    hole, soft, patch = (shapes[n] for n in ("damage H1", "damage S1", "patch patch on H1"))
    assert isinstance(hole, Ellipse)
    assert hole.semi_axes == pytest.approx((0.015 + 0.001, 0.006 + 0.001)), "measured and tolerance"
    assert hole.centre[:2] == pytest.approx([0.120, 0.080])
    assert isinstance(soft, Disc)
    assert soft.radius == pytest.approx(0.025 + 0.005)
    assert isinstance(patch, Ellipse)
    assert patch.semi_axes == pytest.approx((0.015 + 0.025, 0.006 + 0.025)), "measured and overlap"
    assert area(case, "load ram") == pytest.approx(0.100 * 0.050, rel=0.01)
    for name, region in shapes.items():
        outside = region.distance(case.panel.mesh.centroids) > 0.0
        assert (outside != case.panel.mesh.inside[name]).mean() > 0.99, name


def test_panel(case: Case) -> None:
    """Lift, stacks, zones, fixings, masses."""
    panel = case.panel
    assert panel is not None
    x, y, z = panel.mesh.vertices.T
    rise = 3.0 - np.sqrt(9.0 - (x - 0.2) ** 2)
    dish = 2.0 - np.sqrt(4.0 - (y - 0.15) ** 2)
    assert np.abs(z - (dish - rise)).max() < 1e-4
    assert panel.axis.tolist() == [1.0, 0.0, 0.0]
    assert len(panel.laminates) == 4
    assert panel.laminates[0].thickness == pytest.approx(4 * 0.3e-3)
    assert panel.laminates[3].kind == "sandwich"
    middle = panel.mesh.inside["zone middle"]
    assert set(panel.laminate_of[middle].tolist()) == {3}
    edge = (
        panel.mesh.inside["zone rim"] & ~panel.mesh.inside["zone doublers F1"] & ~panel.mesh.inside["zone doublers F2"]
    )
    assert set(panel.laminate_of[edge].tolist()) == {1}
    one, two, three = panel.fasteners
    assert (one.in_plane, one.out_of_plane, one.tilt, one.twist) == (3e6, 2e6, 10.0, 1.0)
    assert (one.rating_shear, one.rating_pull) == (1500.0, 800.0)
    assert (two.in_plane, two.tilt, two.twist) == (math.inf, math.inf, math.inf)
    assert (three.out_of_plane, three.tilt, three.twist) == (math.inf, 0.0, 0.0)
    assert one.normal[2] > 0.99
    assert one.washer_radius == 0.008
    assert one.place[2] == pytest.approx(z.min(), abs=0.01)
    (elastic,) = panel.edges
    assert (elastic.translation, elastic.rotation) == (10e6, 5.0)
    assert panel.masses[0].mass == 0.150


def test_damage_and_options(case: Case) -> None:
    """Shares, lengths, sides; what is cut out; what nobody has asked yet."""
    hole, soft, missing = case.damage
    assert isinstance(hole, Hole)
    assert hole.characteristic_length == pytest.approx(0.003)
    assert isinstance(soft, Softened)
    assert (soft.strength, soft.remaining_stiffness) == (0.6, 0.01)
    assert isinstance(missing, MissingFastener)
    wet, tape, spare, _ = case.options
    assert (wet.minutes, wet.permitted, wet.note) == (30.0, None, "one person")
    first, second, refit = wet.actions
    assert isinstance(first, PatchRepair)
    assert isinstance(second, PatchRepair)
    assert (first.side, second.side) == (1, -1)
    assert (first.cut_out, second.cut_out) == ("damage H1", None)
    assert (first.cured, first.cured_band, first.bond_thickness) == (0.6, (0.4, 0.8), pytest.approx(2e-4))
    assert first.adhesive.E == 2.5e9
    assert len(first.laminate.plies) == 2
    assert isinstance(refit, Refit)
    assert isinstance(tape.actions[0], Tape)
    assert tape.actions[0].areal_mass == pytest.approx(0.3)
    assert tape.permitted is True
    assert isinstance(spare.actions[0], Spare)


def test_loads(case: Case) -> None:
    """Each kind of load, in SI, with its parameter and the sign of its direction."""
    force, heights, ramp = (load(case, n) for n in ("kerb by force", "kerb by heights", "kerb by interference"))
    assert isinstance(force.scaled, Contact)
    assert (force.parameter, force.scaled.control, force.scaled.amount) == ("force", "force", 600.0)
    assert force.scaled.shape == Step(0.010)
    assert isinstance(heights.scaled, Contact)
    assert heights.scaled.amount == pytest.approx(0.005)
    assert heights.scaled.car_stiffness == 250e3
    assert heights.scaled.shape == HalfRound(0.060)
    assert heights.dynamic == 1.2
    assert heights.dynamic_band == (1.0, 1.5)
    assert isinstance(ramp.scaled, Contact)
    assert ramp.scaled.shape == Ramp(math.radians(20.0))
    assert ramp.severity_band == pytest.approx((0.5, 1.5))
    assert ramp.limits[0].limit == pytest.approx(0.012)
    wall = load(case, "wall").scaled
    assert isinstance(wall, Contact)
    assert (wall.shape, wall.gap, wall.car_stiffness) == (Flat(), pytest.approx(0.001), 300e3)
    dip = load(case, "dip")
    assert isinstance(dip.scaled, Inertia)
    assert dip.scaled.field == pytest.approx([0, 0, -4 * 9.80665])
    assert dip.obstacles[0].gap == pytest.approx(0.015)
    assert dip.obstacles[0].direction.tolist() == [0.0, 0.0, 1.0]
    suction = load(case, "suction")
    assert isinstance(suction.scaled, Pressure)
    assert suction.scaled.value == -3000.0
    ram, hand, tyre = (load(case, n).scaled for n in ("ram", "hand", "tyre"))
    assert isinstance(ram, AreaForce)
    assert (ram.kind, ram.limit, ram.force.tolist()) == ("ram", pytest.approx(0.010), [0.0, 0.0, -500.0])
    assert isinstance(hand, AreaForce)
    assert (hand.kind, hand.limit) == ("handling", None)
    assert isinstance(tyre, AreaForce)
    assert tyre.force.tolist() == [-400.0, 0.0, 0.0]


def test_what_is_held(case: Case) -> None:
    """The held part of the case goes to every load without one of its own."""
    weight, air, cure, misfit = load(case, "wall").held
    assert isinstance(weight, Inertia)
    assert weight.field == pytest.approx([0, 0, -9.80665])
    assert isinstance(air, Pressure)
    assert air.value == 1500.0
    assert isinstance(cure, Cure)
    assert (cure.temperature_change, cure.moisture) == (-80.0, pytest.approx(0.005))
    assert cure.since_fitting == pytest.approx(40.0 - 22.0)
    assert misfit == Misfit("F1", pytest.approx(3e-4))
    (own,) = load(case, "kerb by interference").held
    assert isinstance(own, Pressure)
    assert own.points is not None
    assert len(own.points) == 3


def test_sampled_pressure(case: Case) -> None:
    """A sampled pressure is its peak times shares: the severity reads as a pressure, and the product is the
    file.
    """
    mapped = load(case, "mapped air")
    assert isinstance(mapped.scaled, Pressure)
    assert mapped.expected == pytest.approx(1.1 * 2000.0)
    assert mapped.scaled.values is not None
    assert mapped.scaled.value * mapped.scaled.values == pytest.approx([1100.0, 2200.0, 1650.0])
    assert mapped.scaled.points is not None
    assert mapped.scaled.points[2, :2] == pytest.approx([0.4, 0.3])


def test_assumed_inputs(case: Case) -> None:
    """Each assumed input has its value, its band as shown, the sweep as factors, and what would settle it."""
    found = {(a.sweep.kind, a.sweep.target): a for a in case.assumed if a.sweep is not None}
    soft = found["softened strength", "S1"]
    assert soft.sweep is not None
    assert (soft.sweep.low, soft.sweep.high) == pytest.approx((0.5, 1.5))
    assert soft.band_shown == ("0.3", "0.9")
    assert soft.key == "damage[1].strength_share"
    assert "inspection" in soft.measure
    car = found["car stiffness", "kerb by heights"]
    assert car.shown == "250 N/mm"
    assert car.band_shown == ("180 N/mm", "400 N/mm")
    assert ("cured", "patch on H1") in found
    assert ("severity", "kerb by interference") in found
    assert ("dynamic", "kerb by heights") in found
    assert ("fastener stiffness", "F1") in found
    assert ("strength", "cloth") in found
    assert ("stiffness", "cloth") in found
    assert ("characteristic length", "H1") not in found, "it is stated"
    assert all(a.measure for a in found.values())


def test_default_notch_length_is_assumed(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """What the program assumes surfaces as an assumption, with its source and band."""
    document = copy.deepcopy(originals["outline"])
    del document["damage"][0]["characteristic_length_mm"]
    model = check(document, folder / "case.toml")
    key = "damage[0].characteristic_length_mm"
    assumed = next(a for a in assumed_inputs(model, ()) if a.key == key)
    assert "Whitney" in assumed.source
    assert (assumed.shown, assumed.band_shown) == ("3.8 mm", ("2 mm", "6 mm"))
    assert assumed.sweep == Sweep(
        "characteristic length", "H1", pytest.approx(2 / 3.8), pytest.approx(6 / 3.8), "characteristic_length_mm"
    )
    assert next(row for row in input_rows(model, ()) if row.key == key).basis == "assumed"


def test_inputs(case: Case) -> None:
    """Every number of the file is listed as it stands there, with where it comes from; so are defaults and
    the library.
    """
    rows = {row.key: row for row in case.inputs}
    assert rows["panel.fasteners[0].washer_radius_mm"].shown == "8 mm"
    assert rows["damage[1].strength_share"].source == "like finding"
    assert rows["damage[1].strength_share"].basis == "assumed"
    assert rows["option[1].actions[1].areal_mass_g_per_m2"].basis == "default"
    assert rows["materials.cloth.thickness"].shown == "0.3 mm"
    assert rows["materials.cloth.E1"].shown == "60 GPa"
    assert rows["materials.cloth.E1"].source.startswith("generic")
    assert "materials.tape-ply.E1" not in rows, "no laminate uses it"


def test_accuracy_is_asked_unless_the_size_is_given(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """The default is listed as such, a stated one as stated; with an element size there is none, and no row of it."""

    def accuracy(settings: dict[str, Any]) -> tuple[float | None, list[tuple[str, str]]]:
        found = built(originals["flat"] | {"settings": settings}, folder)
        return found.accuracy, [(r.shown, r.basis) for r in found.inputs if r.key == "settings.accuracy"]

    assert accuracy({}) == (0.02, [("0.02", "default")])
    assert accuracy({"accuracy": 0.05}) == (0.05, [("0.05", "stated")])
    assert accuracy({"element_size_mm": 40.0}) == (None, [])


def test_factor_is_the_greatest(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """Class, own factor and high voltage: the greatest counts, and its reason is kept."""
    document = copy.deepcopy(originals["mesh"])
    document["safety"]["protects_people"] = "is one"
    case = built(document, folder)
    assert (case.required_factor, case.consequence) == (1.5, "debris")
    document["case"] |= {"required_factor": 1.7, "required_factor_source": "team rule"}
    case = built(document, folder)
    assert (case.required_factor, case.factor_basis) == (1.7, "team rule")
    document["safety"]["covers_high_voltage"] = True
    case = built(document, folder)
    assert (case.required_factor, case.consequence) == (2.0, "high voltage")
    assert "high voltage" in case.factor_basis


def test_part_that_protects_people_is_not_meshed(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """Nothing is computed for such a part; its file is checked all the same."""
    document = copy.deepcopy(originals["mesh"])
    document["safety"]["protects_people"] = "bonded into one"
    assert built(document, folder).panel is None
    document["panel"]["stack"] = "[0/"
    with pytest.raises(CaseError, match=r"panel\.stack"):
        built(document, folder)


def test_mesh_panel(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A panel from a file in mm: its size in m, its normals the stated way; a tag that no triangle has is a
    fault.
    """
    document = copy.deepcopy(originals["mesh"])
    del document["panel"]["zones"]
    for towards in (1.0, -1.0):
        document["panel"]["mesh"]["normals_towards"] = [0, 0, towards]
        case = built(document, folder)
        assert case.panel is not None
        assert case.panel.mesh.areas.sum() == pytest.approx(0.04, rel=1e-6)
        assert np.all(case.panel.mesh.normals[:, 2] * towards > 0.99)
        assert area(case, "load hand") == pytest.approx(math.pi * 0.03**2, rel=0.15)
    with pytest.raises(CaseError, match="no triangle has the tag 3"):
        built(originals["mesh"], folder)


def test_place_off_the_mesh(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A place too far from the surface is a fault with its distance; all such faults come at once."""
    document = copy.deepcopy(originals["mesh"])
    del document["panel"]["zones"]
    document["load"][0]["area"]["centre_mm"] = [100, 100, 40]
    document["panel"]["fasteners"] = [
        {"name": "F1", "place_mm": [20, 20, -30], "washer_radius_mm": 8, "hold": "pinned"}
    ]
    with pytest.raises(CaseError) as caught:
        built(document, folder)
    assert {f.path for f in caught.value.faults} == {"load[0].area.centre_mm", "panel.fasteners[0].place_mm"}
    assert "40 mm off the surface" in str(caught.value)


def test_place_off_the_lifted_outline(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A height that does not agree with the lift is a fault."""
    document = copy.deepcopy(originals["flat"])
    document["panel"]["fasteners"][2]["place_mm"] = [370, 270, 80]
    with pytest.raises(CaseError, match="80 mm off the surface"):
        built(document, folder)


def test_formula_that_cannot_be_used(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A formula with an unknown function, or one that has no value somewhere on the panel."""
    for text in ("tan(x)", "sqrt(100 - x)", "__import__('os')"):
        document = copy.deepcopy(originals["formula"])
        document["panel"]["lift"]["z_mm"] = text
        with pytest.raises(CaseError, match=r"panel\.lift"):
            built(document, folder)


def test_hash_follows_every_file(originals: dict[str, dict[str, Any]], folder: Path, tmp_path: Path) -> None:
    """The hash changes with the case file and with each file it reads, and with nothing else."""
    document = copy.deepcopy(originals["mesh"])
    document["safety"]["protects_people"] = "is one"
    file = tmp_path / "case.toml"
    documents(tmp_path)
    file.write_text("a")
    first = build(check(document, file), file).hash
    assert build(check(document, file), file).hash == first
    file.write_text("b")
    second = build(check(document, file), file).hash
    (tmp_path / "sheet.stl").write_text((tmp_path / "sheet.stl").read_text() + "\n")
    third = build(check(document, file), file).hash
    assert len({first, second, third}) == 3


@pytest.mark.parametrize("file", CASES, ids=[f.stem for f in CASES])
def test_demonstration_cases_are_sound(file: Path) -> None:
    """Every case of the demonstration is read and built, says that it is invented, and holds the panel."""
    try:
        case = load_case(file)
    except InputError as error:
        pytest.fail(str(error))
    assert case.invented
    if case.panel is not None:
        assert case.panel.fasteners or case.panel.edges
        assert case.panel.mass() > 0.05


def test_demonstration_shows_everything() -> None:
    """Each kind of load, damage and repair occurs in some case of the demonstration, and so does each kind
    of panel.
    """
    from panelfem.case import parse

    models = [parse(file) for file in CASES]
    assert {entry.kind for m in models for entry in m.load} == {
        "kerb strike", "compression", "wall contact", "air load", "load test", "handling", "inertia",
        "patch force",
    }  # fmt: skip
    assert {d.kind for m in models for d in m.damage} == {"hole", "softened", "missing fastener", "abraded"}
    assert {a.kind for m in models for o in m.option for a in o.actions} == {
        "patch",
        "two-sided patch",
        "tape",
        "refit",
        "spare",
    }
    shapes = {entry.shape.form for m in models for entry in m.load if entry.kind == "kerb strike"}
    assert shapes == {"half-round", "step", "ramp"}
    assert any(m.panel.mesh for m in models)
    assert any(m.safety.covers_high_voltage for m in models)
    assert any(m.safety.protects_people != "no" for m in models)
