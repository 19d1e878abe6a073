"""What is sound key by key but cannot all be true: each contradiction with its path and what to do."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from test_case_documents import documents

from panelfem.case import parse
from panelfem.case.read import check
from panelfem.errors import CaseError, Fault

Change = Callable[[dict[str, Any]], Any]


def load(document: dict[str, Any], name: str) -> dict[str, Any]:
    """A load of the document by its name."""
    return next(entry for entry in document["load"] if entry["name"] == name)


#: Name -> (what is changed in the document, path of the fault, a word of the message).
CONTRADICTIONS: dict[str, tuple[Change, str, str]] = {
    "factor below the class": (
        lambda d: d["case"].update(required_factor=1.1),
        "case.required_factor",
        "below the factor",
    ),
    "factor without source": (
        lambda d: d["case"].pop("required_factor_source"),
        "case.required_factor_source",
        "is missing",
    ),
    "source without factor": (
        lambda d: d["case"].pop("required_factor"),
        "case.required_factor",
        "is missing",
    ),
    "a part named, not fastened to one": (
        lambda d: d["safety"].update(fastened_to_such_a_part=False),
        "safety.such_a_part",
        "said not to be fastened",
    ),
    "high voltage class, none covered": (
        lambda d: d["case"].update(consequence="high voltage", required_factor=2.5),
        "safety.covers_high_voltage",
        "is false",
    ),
    "a hole without its bearing strength": (
        lambda d: d["panel"]["fasteners"][0].pop("bearing_strength_MPa"),
        "panel.fasteners[0].bearing_strength_MPa",
        "is missing",
    ),
    "a bearing strength without its hole": (
        lambda d: d["panel"]["fasteners"][0].pop("hole_diameter_mm"),
        "panel.fasteners[0].hole_diameter_mm",
        "is missing",
    ),
    "a hole as large as its washer": (
        lambda d: d["panel"]["fasteners"][0].update(hole_diameter_mm=16),
        "panel.fasteners[0].hole_diameter_mm",
        "no smaller than the washer",
    ),
    "a hole that runs into the edge": (
        lambda d: d["panel"]["fasteners"][0].update(hole_diameter_mm=14, place_mm=[6, 30]),
        "panel.fasteners[0].hole_diameter_mm",
        "runs into the edge",
    ),
    "a plug that is no core": (
        lambda d: d["option"][3]["actions"][4].update(plug="cloth"),
        "option[3].actions[4].plug",
        "not a core",
    ),
    "a core plug no larger than the damage may be": (
        lambda d: (
            d["option"][3]["actions"][4].update(overlap_mm=5)
            or next(x for x in d["damage"] if x["name"] == "S1").update(tolerance_mm=6)
        ),
        "option[3].actions[4].overlap_mm",
        "tolerance of the damage",
    ),
    "a scarf on nothing": (
        lambda d: d["option"][3]["actions"][5].update(over="H9"),
        "option[3].actions[5].over",
        "no damage 'H9'",
    ),
    "a cure hotter than that of the panel": (
        lambda d: (
            d["panel"].update(stress_free_temperature_C=120)
            or d["option"][3]["actions"][5].update(cure_temperature_C=130)
        ),
        "option[3].actions[5].cure_temperature_C",
        "hotter than the panel was cured",
    ),
    "an insert for no fastener": (
        lambda d: d["option"][3]["actions"][7].update(fastener="F9"),
        "option[3].actions[7].fastener",
        "no fastener 'F9'",
    ),
    "resin into nothing": (
        lambda d: d["option"][3]["actions"][8].update(over="H9"),
        "option[3].actions[8].over",
        "no damage 'H9'",
    ),
    "unknown library material": (
        lambda d: d["materials"]["cloth"].update(like="carbon-twil"),
        "materials.cloth.like",
        "carbon-twil",
    ),
    "library material of another kind": (
        lambda d: (
            d["materials"]["cloth"].update(kind="fabric", like="T300-5208")
            or d["materials"]["soft-foam"].update(kind="honeycomb", like="carbon-twill")
        ),
        "materials.soft-foam.kind",
        "not of the kind",
    ),
    "neither like nor kind": (
        lambda d: d["materials"]["cloth"].pop("like"),
        "materials.cloth.kind",
        "is missing",
    ),
    "property missing without like": (
        lambda d: d["materials"]["tape-ply"].pop("G12_GPa"),
        "materials.tape-ply.G12_GPa",
        "is missing",
    ),
    "E1 and E2 swapped": (
        lambda d: d["materials"]["tape-ply"].update(E1_GPa=9, E2_GPa=130),
        "materials.tape-ply",
        "law of energy",
    ),
    "material name that no stack can hold": (
        lambda d: d["materials"].update({"my cloth": {"like": "carbon-twill"}}),
        "materials.my cloth",
        "cannot be written",
    ),
    "unknown default material": (lambda d: d["panel"].update(material="clth"), "panel.material", "clth"),
    "a core as default material": (
        lambda d: d["panel"].update(material="comb"),
        "panel.material",
        "not a ply",
    ),
    "stack that cannot be read": (lambda d: d["panel"].update(stack="[0/45//0]"), "panel.stack", "ply"),
    "unknown material in a zone's stack": (
        lambda d: d["panel"]["zones"][2].update(stack="[0/45/kork:5mm]s"),
        "panel.zones[2].stack",
        "kork",
    ),
    "unknown material in a patch": (
        lambda d: d["option"][0]["actions"][0].update(material="cloths"),
        "option[0].actions[0].material",
        "cloths",
    ),
    "a ply as adhesive": (
        lambda d: d["option"][0]["actions"][0].update(adhesive="cloth"),
        "option[0].actions[0].adhesive",
        "not an adhesive",
    ),
    "outline and mesh": (
        lambda d: d["panel"].update(mesh={"file": "sheet.stl", "unit": "mm"}),
        "panel.mesh",
        "contradict each other",
    ),
    "neither outline nor mesh": (
        lambda d: d["panel"].pop("outline") and d["panel"].pop("lift"),
        "panel.outline",
        "nothing says what shape",
    ),
    "a lift without an outline": (lambda d: d["panel"].pop("outline"), "panel.lift", "without an outline"),
    "two radii, none given": (
        lambda d: [d["panel"]["lift"].pop(k) for k in ("radius_x_mm", "radius_y_mm")],
        "panel.lift.radius_x_mm",
        "neither radius",
    ),
    "arc after a corner that is not there": (
        lambda d: d["panel"]["outline"]["arcs"][0].update(after_corner=9),
        "panel.outline.arcs[0].after_corner",
        "no corner 9",
    ),
    "two arcs on one side": (
        lambda d: d["panel"]["outline"]["arcs"].append({"after_corner": 2, "through_mm": [430, 150]}),
        "panel.outline.arcs[1].after_corner",
        "an arc already",
    ),
    "outline that crosses itself": (
        lambda d: d["panel"]["outline"].update(corners_mm=[[0, 0], [400, 300], [400, 0], [0, 300]], arcs=[]),
        "panel.outline.corners_mm",
        "crosses itself",
    ),
    "opening both round and straight": (
        lambda d: d["panel"]["outline"]["cut_outs"][0].update(centre_mm=[60, 210]),
        "panel.outline.cut_outs[0].centre_mm",
        "contradict",
    ),
    "round opening without diameter": (
        lambda d: d["panel"]["outline"]["cut_outs"][1].pop("diameter_mm"),
        "panel.outline.cut_outs[1].diameter_mm",
        "is missing",
    ),
    "zone in two places": (
        lambda d: d["panel"]["zones"][0].update(near_fasteners_mm=30),
        "panel.zones[0].near_fasteners_mm",
        "contradict",
    ),
    "zone nowhere": (
        lambda d: d["panel"]["zones"][0].pop("near_edge_mm"),
        "panel.zones[0].area",
        "nothing says where",
    ),
    "zone by the tag of an outline": (
        lambda d: d["panel"]["zones"][0].pop("near_edge_mm") and d["panel"]["zones"][0].update(mesh_tag=1),
        "panel.zones[0].mesh_tag",
        "has no tags",
    ),
    "zone round an unknown fastener": (
        lambda d: d["panel"]["zones"][1].update(fasteners=["F1", "G2"]),
        "panel.zones[1].fasteners",
        "'G2'",
    ),
    "fasteners without distance": (
        lambda d: d["panel"]["zones"][0].update(fasteners=["F1"]),
        "panel.zones[0].fasteners",
        "means nothing",
    ),
    "polygon from high to low": (
        lambda d: d["panel"]["zones"][2]["area"].update(heights_mm=[50, -50]),
        "panel.zones[2].area.heights_mm",
        "high to low",
    ),
    "zone off the panel": (
        lambda d: d["panel"]["zones"][2]["area"].update(corners_mm=[[900, 0], [950, 0], [950, 50]]),
        "panel.zones[2].area.corners_mm",
        "off the panel",
    ),
    "fastener off the panel": (
        lambda d: d["panel"]["fasteners"][1].update(place_mm=[700, 30]),
        "panel.fasteners[1].place_mm",
        "off the panel",
    ),
    "fastener in an opening": (
        lambda d: d["panel"]["fasteners"][1].update(place_mm=[300, 220]),
        "panel.fasteners[1].place_mm",
        "cut-out",
    ),
    "stiffness of a rigid fastener": (
        lambda d: d["panel"]["fasteners"][1].update(tilt_Nm_per_rad=3),
        "panel.fasteners[1].tilt_Nm_per_rad",
        "contradicts",
    ),
    "springs without stiffness": (
        lambda d: d["panel"]["fasteners"][0].pop("out_of_plane_N_per_mm"),
        "panel.fasteners[0].out_of_plane_N_per_mm",
        "is missing",
    ),
    "springs that hold nothing": (
        lambda d: d["panel"]["fasteners"][0].update(
            in_plane_N_per_mm=0, out_of_plane_N_per_mm=0, tilt_Nm_per_rad=0, twist_Nm_per_rad=0
        ),
        "panel.fasteners[0].hold",
        "holds nothing",
    ),
    "elastic edge without stiffness": (
        lambda d: d["panel"]["edges"][0].update(translation_N_per_mm2=0, rotation_Nm_per_rad_per_m=0),
        "panel.edges[0].translation_N_per_mm2",
        "is zero",
    ),
    "stiffness of a clamped edge": (
        lambda d: d["panel"]["edges"][0].update(hold="clamped"),
        "panel.edges[0].translation_N_per_mm2",
        "contradicts",
    ),
    "edge area away from the edge": (
        lambda d: d["panel"]["edges"][0].update(
            area={"shape": "polygon", "corners_mm": [[150, 100], [160, 100], [160, 110]]}
        ),
        "panel.edges[0].area.corners_mm",
        "no part of the edge",
    ),
    "nothing holds the panel": (
        lambda d: [d["panel"].pop(k) for k in ("fasteners", "edges", "held_areas")] and d["panel"]["zones"].pop(1),
        "panel.fasteners",
        "nothing holds the panel",
    ),
    "two fasteners of one name": (
        lambda d: d["panel"]["fasteners"][1].update(name="F1"),
        "panel.fasteners[1].name",
        "called 'F1' as well",
    ),
    "two loads of one name": (
        lambda d: d["load"][1].update(name="wall"),
        "load[3].name",
        "called 'wall' as well",
    ),
    "two options of one name": (
        lambda d: d["option"][1].update(name="spare"),
        "option[2].name",
        "called 'spare'",
    ),
    "two damages of one name": (lambda d: d["damage"][1].update(name="H1"), "damage[1].name", "called 'H1'"),
    "two zones of one name": (
        lambda d: d["panel"]["zones"][1].update(name="rim"),
        "panel.zones[1].name",
        "called 'rim'",
    ),
    "two patches of one name": (
        lambda d: d["option"][0]["actions"][1].update(name="patch on H1"),
        "option[0].actions[1].name",
        "called 'patch on H1'",
    ),
    "unknown fastener missing": (
        lambda d: d["damage"][2].update(fastener="F33"),
        "damage[2].fastener",
        "'F33'",
    ),
    "one fastener missing twice": (
        lambda d: d["damage"].append({"kind": "missing fastener", "name": "again", "fastener": "F3"}),
        "damage[3].fastener",
        "missing already",
    ),
    "all fasteners missing": (
        lambda d: (
            [d["panel"].pop(k) for k in ("edges", "held_areas")]
            and d["damage"].extend({"kind": "missing fastener", "name": f"no {f}", "fastener": f} for f in ("F1", "F2"))
        ),
        "damage[4].fastener",
        "nothing holds the panel",
    ),
    "hole off the panel": (
        lambda d: d["damage"][0]["area"].update(centre_mm=[-50, 80]),
        "damage[0].area.centre_mm",
        "off the panel",
    ),
    "a hole on an option": (
        lambda d: d["option"][1]["actions"].append(dict(d["damage"][0])),
        "option[1].actions[2].kind",
        "'hole'",
    ),
    "a patch among the damage": (
        lambda d: d["damage"].append(dict(d["option"][0]["actions"][0])),
        "damage[3].kind",
        "'patch'",
    ),
    "patch on an unknown side": (
        lambda d: d["option"][0]["actions"][0].update(side="outside"),
        "option[0].actions[0].side",
        "'outside'",
    ),
    "patch over an unknown damage": (
        lambda d: d["option"][0]["actions"][0].update(over="H2"),
        "option[0].actions[0].over",
        "no damage 'H2'",
    ),
    "patch over a missing fastener": (
        lambda d: d["option"][0]["actions"][0].update(over="M3"),
        "option[0].actions[0].over",
        "no area to cover",
    ),
    "patch in two places": (
        lambda d: d["option"][0]["actions"][0].update(area=d["damage"][1]["area"]),
        "option[0].actions[0].area",
        "contradict",
    ),
    "patch nowhere": (
        lambda d: d["option"][0]["actions"][1].pop("area"),
        "option[0].actions[1].over",
        "nothing says what the patch",
    ),
    "patch without overlap": (
        lambda d: d["option"][0]["actions"][0].pop("overlap_mm"),
        "option[0].actions[0].overlap_mm",
        "is missing",
    ),
    "overlap without damage": (
        lambda d: d["option"][0]["actions"][1].update(overlap_mm=20),
        "option[0].actions[1].overlap_mm",
        "without over",
    ),
    "overlap within the tolerance": (
        lambda d: d["damage"][0].update(tolerance_mm=30),
        "option[0].actions[0].overlap_mm",
        "tolerance",
    ),
    "cut out without a damage": (
        lambda d: d["option"][0]["actions"][1].update(cut_out=True),
        "option[0].actions[1].cut_out",
        "what is cut out",
    ),
    "refit of an unknown fastener": (
        lambda d: d["option"][0]["actions"][2].update(fastener="F8"),
        "option[0].actions[2].fastener",
        "'F8'",
    ),
    "refit of a fastener that is there": (
        lambda d: d["option"][0]["actions"][2].update(fastener="F1"),
        "option[0].actions[2].fastener",
        "not among the damage",
    ),
    "a spare and something else": (
        lambda d: d["option"][2]["actions"].append({"kind": "refit", "name": "r", "fastener": "F3"}),
        "option[2].actions[0].kind",
        "nothing else is done",
    ),
    "interference and force": (
        lambda d: load(d, "kerb by force").update(interference_mm=3),
        "load[0].force_N",
        "contradict each other",
    ),
    "kerb without severity": (
        lambda d: load(d, "kerb by force").pop("force_N"),
        "load[0].interference_mm",
        "nothing says how hard",
    ),
    "heights and force": (
        lambda d: load(d, "kerb by heights").update(force_N=300),
        "load[1].kerb_height_mm",
        "contradict each other",
    ),
    "heights without clearance": (
        lambda d: load(d, "kerb by heights").pop("clearance_mm"),
        "load[1].clearance_mm",
        "is missing",
    ),
    "kerb below the panel": (
        lambda d: load(d, "kerb by heights").update(clearance_mm=90),
        "load[1].clearance_mm",
        "does not reach",
    ),
    "force and the car's stiffness": (
        lambda d: load(d, "kerb by force").update(car_stiffness_N_per_mm=200),
        "load[0].car_stiffness_N_per_mm",
        "nothing for the car",
    ),
    "pushed the way it travels": (
        lambda d: load(d, "wall").update(travel_direction=[0, 0, -2]),
        "load[3].travel_direction",
        "same way",
    ),
    "kerb off the panel": (
        lambda d: load(d, "kerb by force").update(place_mm=[200, 900]),
        "load[0].place_mm",
        "off the panel",
    ),
    "wall without severity": (
        lambda d: load(d, "wall").pop("interference_mm"),
        "load[3].interference_mm",
        "nothing says how hard",
    ),
    "air load of nothing": (
        lambda d: load(d, "suction").pop("pressure_kPa"),
        "load[6].pressure_kPa",
        "nothing says what is scaled",
    ),
    "pressure of zero": (
        lambda d: load(d, "suction").update(pressure_kPa=0),
        "load[6].pressure_kPa",
        "nothing is scaled",
    ),
    "pressure and file": (
        lambda d: load(d, "suction").update(pressure_file="air.csv"),
        "load[6].pressure_file",
        "contradict",
    ),
    "multiplier without file": (
        lambda d: load(d, "suction").update(multiplier=1.2),
        "load[6].multiplier",
        "without a file",
    ),
    "area of a mapped pressure": (
        lambda d: load(d, "mapped air").update(area=load(d, "suction")["area"]),
        "load[7].area",
        "everywhere",
    ),
    "missing pressure file": (
        lambda d: load(d, "mapped air").update(pressure_file="wind.csv"),
        "load[7].pressure_file",
        "no file",
    ),
    "missing held air file": (
        lambda d: d["load"][2]["held"].update(air_file="wind.csv"),
        "load[2].held.air_file",
        "no file",
    ),
    "held pressure and file": (lambda d: d["held"].update(air_file="air.csv"), "held.air_file", "contradict"),
    "misfit of an unknown fastener": (
        lambda d: d["held"]["misfits"][0].update(fastener="F0"),
        "held.misfits[0].fastener",
        "'F0'",
    ),
    "two misfits of one fastener": (
        lambda d: d["held"]["misfits"].append({"fastener": "F1", "gap_mm": 1}),
        "held.misfits[1].fastener",
        "already",
    ),
    "cure without temperature": (
        lambda d: d["panel"].pop("service_temperature_C"),
        "panel.service_temperature_C",
        "is missing",
    ),
    "two limits of one name": (
        lambda d: d["load"][2]["limits"].append({"name": "tyre", "limit_mm": 3}),
        "load[2].limits[1].name",
        "called 'tyre'",
    ),
    "limit off the panel": (
        lambda d: d["load"][2]["limits"][0]["area"].update(centre_mm=[600, 0]),
        "load[2].limits[0].area.centre_mm",
        "off the panel",
    ),
    "a ram without limit": (lambda d: load(d, "ram").pop("limit_mm"), "load[8].limit_mm", "is missing"),
    "hand off the panel": (
        lambda d: load(d, "hand")["area"].update(centre_mm=[200, 500]),
        "load[9].area.centre_mm",
        "off the panel",
    ),
    "unknown criterion": (
        lambda d: d["settings"].update(fabric_criterion="maximum stres"),
        "settings.fabric_criterion",
        "no criterion",
    ),
    "a criterion that would govern nothing": (
        lambda d: d["settings"].update(fabric_criterion="Tsai-Wu", criteria_without_mode_govern=False),
        "settings.fabric_criterion",
        "no failure of fabric plies would govern release",
    ),
    "a criterion made for one direction of fibre": (
        lambda d: d["settings"].update(fabric_criterion="Puck"),
        "settings.fabric_criterion",
        "no criterion for fabric plies",
    ),
    "no load at all": (lambda d: d["load"].clear(), "load", "0 entries"),
    "an option that does nothing": (
        lambda d: d["option"][0]["actions"].clear(),
        "option[0].actions",
        "0 entries",
    ),
    "an accuracy and an element size": (
        lambda d: d["settings"].update(accuracy=0.02),
        "settings.accuracy",
        "contradicts element_size_mm",
    ),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("case")


@pytest.fixture(scope="module")
def originals(folder: Path) -> dict[str, dict[str, Any]]:
    return documents(folder)


def faults(document: dict[str, Any], folder: Path) -> tuple[Fault, ...]:
    """The faults of a document; none if it is sound."""
    try:
        check(document, folder / "case.toml")
    except CaseError as error:
        return error.faults
    return ()


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_contradiction(name: str, originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """Each contradiction is found at its path, with what is allowed and what to do."""
    change, path, word = CONTRADICTIONS[name]
    document = copy.deepcopy(originals["outline"])
    change(document)
    found = faults(document, folder)
    fault = next((f for f in found if f.path == path and word in f.what), None)
    assert fault is not None, found
    assert fault.allowed
    assert fault.do


def test_the_originals_contradict_nothing(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """Without a change there is no fault, so the faults above come from the changes."""
    for document in originals.values():
        assert faults(document, folder) == ()


def test_one_slip_is_one_fault(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A misspelt fastener in the damage is not also a fault of the option that refits the right one."""
    document = copy.deepcopy(originals["outline"])
    document["case"]["consequence"] = "aerodinamic"
    found = faults(document, folder)
    assert len(found) == 1
    assert 'write "aerodynamic"' in found[0].do


def test_place_on_a_mesh_needs_its_height(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """On a mesh x and y do not say where."""
    document = copy.deepcopy(originals["mesh"])
    document["load"][0]["area"]["centre_mm"] = [100, 100]
    assert [(f.path, f.what) for f in faults(document, folder)] == [("load[0].area.centre_mm", "has no height")]


def test_mesh_file_that_is_not_there(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """The path is named, and so is where it was looked for."""
    document = copy.deepcopy(originals["mesh"])
    document["panel"]["mesh"]["file"] = "shete.stl"
    (fault,) = faults(document, folder)
    assert fault.path == "panel.mesh.file"
    assert str(folder) in fault.do


def test_mesh_file_of_an_unknown_kind(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """Only some endings are read."""
    (folder / "sheet.xyz").write_text("no mesh")
    document = copy.deepcopy(originals["mesh"])
    document["panel"]["mesh"]["file"] = "sheet.xyz"
    (fault,) = faults(document, folder)
    assert "'.xyz'" in fault.what
    assert ".stl" in fault.allowed


@pytest.mark.parametrize(
    ("content", "word"),
    [
        ("x_mm,y_mm,pressure_Pa\n0,0,1\n", "heading"),
        ("x_mm,y_mm,pressure_kPa\n0,0,one\n", "line 2"),
        ("x_mm,y_mm,pressure_kPa\n0,0,1\n0,0\n", "line 3"),
        ("x_mm,y_mm,pressure_kPa\n0,0,nan\n", "line 2"),
        ("x_mm,y_mm,pressure_kPa\n", "no sample"),
        ("", "heading"),
    ],
)
def test_pressure_file(content: str, word: str, originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """A pressure file that cannot be used: the key that names it, the line, and the heading wanted."""
    (folder / "bad.csv").write_text(content)
    document = copy.deepcopy(originals["outline"])
    load(document, "mapped air")["pressure_file"] = "bad.csv"
    (fault,) = faults(document, folder)
    assert fault.path == "load[7].pressure_file"
    assert word in fault.what
    assert "x_mm,y_mm,pressure_kPa" in fault.allowed


def test_not_toml(tmp_path: Path) -> None:
    """A slip of TOML: one message with the line."""
    file = tmp_path / "slip.toml"
    file.write_text('[case]\ntitle = "ok"\nminutes_left = eighty\n')
    with pytest.raises(CaseError) as caught:
        parse(file)
    (fault,) = caught.value.faults
    assert "line 3" in fault.path
    assert "not TOML" in fault.what


def test_not_text(tmp_path: Path) -> None:
    """A file that is no text."""
    file = tmp_path / "binary.toml"
    file.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(CaseError, match="UTF-8"):
        parse(file)


def test_no_such_file(tmp_path: Path) -> None:
    """A path that leads nowhere."""
    with pytest.raises(CaseError, match="no such file"):
        parse(tmp_path / "none.toml")


def test_message_reads_as_one(originals: dict[str, dict[str, Any]], folder: Path) -> None:
    """The whole message: the file, how many faults, and each with where, what, allowed and what to do."""
    document = copy.deepcopy(originals["outline"])
    document["panel"]["fasteners"][0]["washer_radius_mm"] = 800
    del document["safety"]["covers_high_voltage"]
    with pytest.raises(CaseError) as caught:
        check(document, folder / "case.toml")
    lines = str(caught.value).splitlines()
    assert lines[0].endswith("case.toml: 2 faults")
    assert lines[1:] == [
        "  1. is missing (safety.covers_high_voltage). Allowed: true, false. Do: write covers_high_voltage.",
        "  2. 800 is out of range (panel.fasteners[0].washer_radius_mm). Allowed: 2 to 60 mm. "
        "Do: check the value and its unit.",
    ]
