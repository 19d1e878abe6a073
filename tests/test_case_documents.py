"""Case documents that hold every key of the schema between them, for the other tests of the case file."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

from damage_examples import board

from panelfem.case.fields import Quantity, Section
from panelfem.case.read import check
from panelfem.case.schema import CaseFile
from panelfem.case.walk import keys

OUTLINE = """
[case]
title = "Everything an outline can say"
invented = true
minutes_left = 80
consequence = "aerodynamic"
required_factor = 1.4
required_factor_source = "team rule"

[safety]
protects_people = "no"
fastened_to_such_a_part = true
such_a_part = "the front bulkhead"
covers_high_voltage = false

[materials.tape-ply]
kind = "unidirectional"
E1_GPa = 130
E2_GPa = 9
G12_GPa = 5
nu12 = 0.3
G13_GPa = 5
G23_GPa = 3.2
Xt_MPa = { value = 1800, basis = "assumed", source = "data sheet of a like ply", band = [1500, 2000] }
Xc_MPa = 1200
Yt_MPa = 50
Yc_MPa = 200
S_MPa = 80
Sil_MPa = 70
S23_MPa = 60
GIc_J_per_m2 = 200
GIIc_J_per_m2 = 700
mixed_mode = 1.8
shear_softening_per_GPa3 = 30
strain_limits_percent = [1.3, 0.9, 0.5, 2.0, 1.8]
alpha1_1e-6_per_K = 0.1
alpha2_1e-6_per_K = 28
beta1 = 0.0
beta2 = 0.5
density_kg_per_m3 = 1580
thickness_mm = 0.25
stress_free_temperature_C = 120

[materials.cloth]
like = "carbon-twill"
thickness_mm = 0.3

[materials.comb]
kind = "honeycomb"
E_MPa = 120
E_plane_MPa = 1
nu = 0.3
G13_MPa = 40
G23_MPa = 25
shear_strength_13_MPa = 1.2
shear_strength_23_MPa = 0.7
crush_strength_MPa = 2
density_kg_per_m3 = 48
cell_size_mm = 3.2
alpha_1e-6_per_K = 35

[materials.soft-foam]
like = "foam-pvc-80"

[materials.glue]
kind = "adhesive"
E_MPa = 2500
nu = 0.37
shear_strength_MPa = 20
peel_strength_MPa = 15
density_kg_per_m3 = 1200
alpha_1e-6_per_K = 55
beta = 0.2

[materials.paste]
like = "paste-epoxy"

[panel]
name = "test panel"
zero_direction = [1, 0, 0]
down = [0, 0, -1]
stack = "[0/45]s"
material = "cloth"
stress_free_temperature_C = 120
fitting_temperature_C = 22
service_temperature_C = { value = 40, basis = "measured", source = "label", band = [30, 60] }
moisture_percent = 0.5

[panel.outline]
corners_mm = [[0, 0], [400, 0], [400, 300], [0, 300]]
arcs = [{ after_corner = 2, through_mm = [420, 150] }]
cut_outs = [
    { name = "slot", corners_mm = [[50, 200], [90, 200], [90, 230], [50, 230]] },
    { name = "port", centre_mm = [300, 220], diameter_mm = 40 },
]

[panel.lift]
kind = "two radii"
radius_x_mm = 3000
radius_y_mm = -2000
apex_mm = [200, 150]

[[panel.zones]]
name = "rim"
stack = "[0/45/0]s"
material = "cloth"
near_edge_mm = 20

[[panel.zones]]
name = "doublers"
stack = "[0/45/0/45]s"
near_fasteners_mm = 25
fasteners = ["F1", "F2"]

[[panel.zones]]
name = "middle"
stack = "[0/45/comb:5mm]s"
area = { shape = "polygon", corners_mm = [[150, 100], [250, 100], [250, 200], [150, 200]], heights_mm = [-50,
50] }

[[panel.fasteners]]
name = "F1"
place_mm = [30, 30]
washer_radius_mm = 8
hold = "springs"
in_plane_N_per_mm = { value = 3000, basis = "assumed", source = "sister panel", band = [1000, 9000] }
out_of_plane_N_per_mm = 2000
tilt_Nm_per_rad = 10
twist_Nm_per_rad = 1
rating_shear_N = 1500
rating_pull_N = 800
hole_diameter_mm = 6
bearing_strength_MPa = { value = 350, basis = "assumed", source = "like laminates", band = [250, 450] }

[[panel.fasteners]]
name = "F2"
place_mm = [370, 30]
washer_radius_mm = 8
hold = "rigid"

[[panel.fasteners]]
name = "F3"
place_mm = [370, 270, 0]
washer_radius_mm = 8
hold = "pinned"

[[panel.edges]]
name = "left edge"
hold = "elastic"
area = { shape = "rectangle", centre_mm = [2, 150], length_mm = 200, width_mm = 20, along = [0, 1, 0] }
translation_N_per_mm2 = 10
rotation_Nm_per_rad_per_m = 5

[[panel.held_areas]]
name = "bracket"
area = { shape = "disc", centre_mm = [60, 270], diameter_mm = 30 }

[[panel.masses]]
name = "camera"
area = { shape = "disc", centre_mm = [200, 60], diameter_mm = 40 }
mass_g = 150

[[damage]]
kind = "hole"
name = "H1"
area = { shape = "ellipse", centre_mm = [120, 80], length_mm = 30, width_mm = 12, along = [1, 1, 0] }
tolerance_mm = 1
characteristic_length_mm = 3

[[damage]]
kind = "softened"
name = "S1"
area = { shape = "disc", centre_mm = [280, 100], diameter_mm = 50 }
tolerance_mm = 5
strength_share = { value = 0.6, basis = "assumed", source = "like finding", band = [0.3, 0.9] }
remaining_stiffness_share = 0.01

[[damage]]
kind = "missing fastener"
name = "M3"
fastener = "F3"

[[option]]
name = "wet patch"
minutes = 30
permitted = "ask"
note = "one person"

[[option.actions]]
kind = "patch"
name = "patch on H1"
over = "H1"
overlap_mm = 25
stack = "[0/45]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = { value = 0.6, basis = "assumed", source = "hand lay-up at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60
cut_out = true

[[option.actions]]
kind = "patch"
name = "patch on S1"
area = { shape = "rectangle", centre_mm = [280, 100], length_mm = 90, width_mm = 80 }
stack = "[0]"
adhesive = "paste"
bond_thickness_mm = 0.2
side = "first ply"
cured_share = 0.6

[[option.actions]]
kind = "refit"
name = "F3 back"
fastener = "F3"

[[option]]
name = "tape"
minutes = 5
permitted = true

[[option.actions]]
kind = "tape"
name = "tape on H1"
over = "H1"
overlap_mm = 20
areal_mass_g_per_m2 = 300

[[option.actions]]
kind = "tape"
name = "tape on S1"
area = { shape = "disc", centre_mm = [280, 100], diameter_mm = 70 }
thickness_mm = { value = 0.3, basis = "assumed", source = "cloth tape", band = [0.2, 0.4] }

[[option]]
name = "spare"
minutes = 45
permitted = true

[[option.actions]]
kind = "spare"
name = "the spare"

[[option.actions.damage]]
kind = "abraded"
name = "scuff of the spare"
side = "first ply"
plies = 1
area = { shape = "disc", centre_mm = [280, 100], diameter_mm = 30 }

[[option]]
name = "every other repair"
minutes = 200
permitted = "ask"

[[option.actions]]
kind = "two-sided patch"
name = "both faces of H1"
over = "H1"
overlap_mm = 20
stack = "[0]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
plug = "comb"
cured_share = { value = 0.6, basis = "assumed", source = "hand lay-up at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60
cut_out = true

[[option.actions]]
kind = "two-sided patch"
name = "both faces of S1"
area = { shape = "disc", centre_mm = [280, 100], diameter_mm = 90 }
stack = "[0]"
adhesive = "glue"
bond_thickness_mm = 0.2
cured_share = 0.6

[[option.actions]]
kind = "doubler"
name = "doubler on H1"
over = "H1"
overlap_mm = 20
stack = "[0]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = { value = 0.6, basis = "assumed", source = "paste at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60
cut_out = true

[[option.actions]]
kind = "doubler"
name = "doubler on S1"
area = { shape = "disc", centre_mm = [280, 100], diameter_mm = 90 }
stack = "[0]"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "first ply"
cured_share = 0.6

[[option.actions]]
kind = "core plug"
name = "plug in S1"
over = "S1"
overlap_mm = 20
plug = "comb"
stack = "[0]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = { value = 0.6, basis = "assumed", source = "hand lay-up at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60

[[option.actions]]
kind = "scarf patch"
name = "scarf on S1"
over = "S1"
scarf_ratio = 30
stack = "[0/45/45/0]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = { value = 0.6, basis = "assumed", source = "hand lay-up at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60

[[option.actions]]
kind = "stepped patch"
name = "steps on H1"
over = "H1"
step_mm = 12.7
stack = "[0/45/45/0]"
material = "cloth"
adhesive = "glue"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = { value = 0.6, basis = "assumed", source = "hand lay-up at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60

[[option.actions]]
kind = "insert"
name = "F1 potted again"
fastener = "F1"
method = "re-potted"
rating_shear_N = 900
rating_pull_N = 500
stiffness_share = 0.8
cured_share = { value = 0.6, basis = "assumed", source = "paste at 25 °C", band = [0.4, 0.8] }
cure_temperature_C = 60

[[option.actions]]
kind = "resin injection"
name = "resin into S1"
over = "S1"

[[option.actions]]
kind = "stop-drilling"
name = "end of H1 drilled"
over = "H1"

[held]
one_g = true
air_pressure_kPa = 1.5
cure = true
misfits = [{ fastener = "F1", gap_mm = 0.3 }]

[[load]]
kind = "kerb strike"
name = "kerb by force"
shape = { form = "step", edge_radius_mm = 10 }
place_mm = [200, 150]
push_direction = [0, 0, 1]
travel_direction = [-1, 0, 0]
force_N = 600
dynamic_factor = 1.2
footprint_mm = 60

[[load]]
kind = "kerb strike"
name = "kerb by heights"
shape = { form = "half-round", radius_mm = 60 }
place_mm = [200, 150]
push_direction = [0, 0, 1]
travel_direction = [-1, 0, 0]
kerb_height_mm = 50
suspension_travel_mm = 20
clearance_mm = 65
car_stiffness_N_per_mm = { value = 250, basis = "assumed", source = "sister car", band = [180, 400] }
dynamic_factor = { value = 1.2, basis = "assumed", source = "like strikes", band = [1.0, 1.5] }

[[load]]
kind = "kerb strike"
name = "kerb by interference"
shape = { form = "ramp", angle_deg = 20 }
place_mm = [200, 150]
push_direction = [0, 0, 1]
travel_direction = [-1, 0, 0]
interference_mm = { value = 4, basis = "assumed", source = "like kerbs", band = [2, 6] }
dynamic_factor = 1.2

[[load.limits]]
name = "tyre"
limit_mm = 12
area = { shape = "disc", centre_mm = [380, 150], diameter_mm = 30 }
direction = [0, 0, 1]

[load.held]
one_g = false
air_file = "air.csv"
cure = false

[[load]]
kind = "wall contact"
name = "wall"
push_direction = [0, 0, 1]
travel_direction = [1, 0, 0]
interference_mm = 3
gap_mm = 1
car_stiffness_N_per_mm = 300
dynamic_factor = 1.1

[[load]]
kind = "compression"
name = "dip"
acceleration_gee = 4
direction = [0, 0, -1]
road = { gap_mm = 15, direction = [0, 0, 1] }
dynamic_factor = 1.1

[[load]]
kind = "inertia"
name = "braking"
acceleration_gee = 5
direction = [-1, 0, 0]
dynamic_factor = 1.0

[[load]]
kind = "air load"
name = "suction"
pressure_kPa = -3
area = { shape = "rectangle", centre_mm = [200, 150], length_mm = 200, width_mm = 100 }

[[load]]
kind = "air load"
name = "mapped air"
pressure_file = "air.csv"
multiplier = 1.1
dynamic_factor = 1.0

[[load]]
kind = "load test"
name = "ram"
area = { shape = "rectangle", centre_mm = [200, 150], length_mm = 100, width_mm = 50 }
force_N = 500
direction = [0, 0, -1]
limit_mm = 10

[[load]]
kind = "handling"
name = "hand"
area = { shape = "disc", centre_mm = [200, 150], diameter_mm = 60 }
force_N = 300
direction = [0, 0, -1]

[[load]]
kind = "patch force"
name = "tyre"
area = { shape = "disc", centre_mm = [380, 150], diameter_mm = 60 }
force_N = 400
direction = [-1, 0, 0]

[settings]
unidirectional_criterion = "UD"
fabric_criterion = "FABRIC"
criteria_without_mode_govern = false
flip_sizes = false
in_situ_strength = true
lose_each_fastener = true
vibrations = false
large_displacements = false
accuracy_near_governing_only = true
imperfection_mm = 0.3
element_size_mm = 30
element_order = 2
"""

MESH = """
[case]
title = "Everything a mesh can say"
consequence = "debris"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "meshed panel"
zero_direction = [1, 0, 0]
stack = "[0/45]s"
material = "carbon-twill"
mesh = { file = "sheet.stl", unit = "mm", normals_towards = [0, 0, 1] }
zones = [{ name = "tagged", stack = "[0]", mesh_tag = 3 }]
edges = [{ name = "all round", hold = "hinged" }]

[[damage]]
kind = "delamination"
name = "L1"
area = { shape = "ellipse", centre_mm = [150, 50, 0], length_mm = 40, width_mm = 20, along = [1, 1, 0] }
interface = 1
tolerance_mm = 4

[[load]]
kind = "handling"
name = "hand"
area = { shape = "disc", centre_mm = [100, 100, 0], diameter_mm = 60 }
force_N = 100
direction = [0, 0, -1]

[settings]
accuracy = 0.05
"""

FLAT = 'lift = { kind = "flat" }'
FORMULA = 'lift = { kind = "formula", z_mm = "x**2/4000" }'


def criteria() -> tuple[str, str]:
    """A criterion for unidirectional plies and one for fabrics."""
    from panelfem.failure import CRITERIA

    first = {
        kind: next(n for n, c in CRITERIA.items() if kind in c.applies_to) for kind in ("unidirectional", "fabric")
    }
    return first["unidirectional"], first["fabric"]


def documents(folder: Path) -> dict[str, dict[str, Any]]:
    """Documents by name, and in `folder` the files they read."""
    (folder / "air.csv").write_text("x_mm,y_mm,pressure_kPa\n0,0,1.0\n400,0,2.0\n400,300,1.5\n")
    (folder / "sheet.stl").write_text(_sheet())
    ud, fabric = criteria()
    outline = tomllib.loads(OUTLINE.replace('"UD"', f'"{ud}"').replace('"FABRIC"', f'"{fabric}"'))
    flat, formula = copy.deepcopy(outline), copy.deepcopy(outline)
    flat["panel"] |= tomllib.loads(FLAT)
    formula["panel"] |= tomllib.loads(FORMULA)
    loads = copy.deepcopy(outline)
    for load in loads["load"]:
        load |= {"held": {"one_g": True}, "limits": [{"name": "tyre", "limit_mm": 12}], "dynamic_factor": 1.1}
        if load["kind"] == "wall contact":
            del load["interference_mm"], load["car_stiffness_N_per_mm"]
            load["force_N"] = 800
    mesh = tomllib.loads(MESH)
    return {"outline": outline, "mesh": mesh, "flat": flat, "formula": formula, "loads": loads, "damage": board()}


def _sheet() -> str:
    """A flat square of 200 mm, in triangles, as text STL."""
    n, step = 4, 50.0
    lines = ["solid sheet"]
    for i in range(n):
        for j in range(n):
            corner = [((i + p) * step, (j + q) * step) for p, q in ((0, 0), (1, 0), (1, 1), (0, 1))]
            for tri in ((0, 1, 2), (0, 2, 3)):
                lines.append("facet normal 0 0 1\n outer loop")
                lines += [f"  vertex {corner[k][0]} {corner[k][1]} 0" for k in tri]
                lines.append(" endloop\nendfacet")
    return "\n".join([*lines, "endsolid sheet", ""])


def used(model: Section) -> set[tuple[type[Section], str]]:
    """Every key that a checked document sets, as section class and field."""
    found: set[tuple[type[Section], str]] = set()
    for name in model.model_fields_set:
        found.add((type(model), name))
        found |= _inside(getattr(model, name))
    return found


def _inside(value: Any) -> set[tuple[type[Section], str]]:
    if isinstance(value, Section):
        return used(value)
    if isinstance(value, dict):
        value = list(value.values())
    return set().union(*(_inside(item) for item in value)) if isinstance(value, list) else set()


def test_documents_hold_every_key(tmp_path: Path) -> None:
    """The mutations of the other tests start from these documents, so every key of the schema must occur in
    them.
    """
    models = [check(document, tmp_path / "case.toml") for document in documents(tmp_path).values()]
    everything = {(key.owner, key.field) for key in keys(CaseFile)}
    everything |= {(Quantity, name) for name in Quantity.model_fields}
    assert everything - set().union(*(used(model) for model in models)) == set()
