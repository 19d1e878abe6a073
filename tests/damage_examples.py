"""One example of every kind of damage over a disc round the middle of a sandwich, for tests of all kinds."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import numpy as np

from panelfem.case.fields import Quantity
from panelfem.case.schema_found import SECTIONS
from panelfem.damage import KINDS, Damage, Delamination, Hole, MissingFastener, Softened
from panelfem.damage.kinds.abraded import Abraded
from panelfem.damage.kinds.core import DamagedCore
from panelfem.damage.kinds.crack import Crack
from panelfem.damage.kinds.dent import Dent
from panelfem.damage.kinds.disbond import Disbond
from panelfem.damage.kinds.earlier_repair import EarlierRepair
from panelfem.damage.kinds.edge_notch import EdgeNotch
from panelfem.damage.kinds.heat import Heat
from panelfem.damage.kinds.insert import TornInsert
from panelfem.damage.kinds.loose_fastener import LooseFastener
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Adhesive, library

MIDDLE = np.array([0.15, 0.1, 0.0])
X = np.array([1.0, 0.0, 0.0])
STACK = "[0/90/foam-pvc-80:6mm]s"

_GLUE = library()["film-epoxy"]
assert isinstance(_GLUE, Adhesive)
#: A patch of an earlier repair, its bond, thickness m and share of strength.
EARLIER = Laminate(parse_stack("[0/90]", library(), "carbon-ud")), _GLUE, 2e-4, 0.5

Oval = tuple[np.ndarray, np.ndarray, tuple[float, float]]


def _oval(r: float) -> Oval:
    return MIDDLE, X, (r, r)


#: Word of the kind -> the record over a mesh region of radius r (m).
AREAS: dict[str, Callable[[str, float], Damage]] = {
    "abraded": lambda region, r: Abraded("D", region, "last ply", 1, 0),
    "crack": lambda region, r: Crack("D", region, 3.8e-3, 1e-3),
    "damaged core": lambda region, r: DamagedCore("D", region, 0.3, 0.4, 0.2),
    "delamination": lambda region, r: Delamination("D", region, *_oval(r), 1),
    "dent": lambda region, r: Dent("D", region, *_oval(r), "last ply", 1e-3, 0.5),
    "disbond": lambda region, r: Disbond("D", region, *_oval(r), "last ply", 1e-3),
    "earlier repair": lambda region, r: EarlierRepair("D", region, False, 0.0, 3.8e-3, None, "last ply", *EARLIER),
    "edge notch": lambda region, r: EdgeNotch("D", region, 3.8e-3),
    "heat": lambda region, r: Heat("D", region, 0.6, 0.7),
    "hole": lambda region, r: Hole("D", region, 3.8e-3),
    "softened": lambda region, r: Softened("D", region, 1e-3, 0.5),
}
#: Word of the kind -> the record of a fixing.
FIXINGS: dict[str, Callable[[str], Damage]] = {
    "loose fastener": lambda name: LooseFastener("D", name, 0.2, 0.0, 0.8),
    "missing fastener": lambda name: MissingFastener("D", name),
    "torn insert": lambda name: TornInsert("D", name, 0.5, 1.0),
}

#: Word of the kind -> what a case says of it besides kind, name and area; fixings name theirs.
IN_A_CASE: dict[str, dict[str, object]] = {
    "abraded": {"side": "last ply", "plies": 1, "tolerance_mm": 2},
    "crack": {},
    "damaged core": {"stiffness_share": 0.3, "strength_share": 0.4, "water_g_per_m2": 200},
    "delamination": {"interface": 1},
    "dent": {"side": "last ply", "depth_mm": 1.0}
    | {
        "compression_after_impact_strain_percent": {"value": 0.4, "basis": "assumed", "source": "S", "band": [0.2, 0.8]}
    },
    "disbond": {"side": "first ply"},
    "earlier repair": {"side": "last ply", "stack": "[0/90]", "adhesive": "film-epoxy", "bond_thickness_mm": 0.2}
    | {"strength_share": 0.5, "cut_out": True, "overlap_mm": 8, "tolerance_mm": 2},
    "edge notch": {},
    "heat": {},
    "hole": {},
    "softened": {"strength_share": 0.5},
    "loose fastener": {"fastener": "F1", "gap_mm": 0.5},
    "missing fastener": {"fastener": "F2"},
    "torn insert": {"fastener": "F3", "pull_share": 0.5, "shear_share": 1.0},
}

_BOARD = """
[case]
title = "one damage of every kind"
invented = true
consequence = "cosmetic"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "board"
zero_direction = [1, 0, 0]
stack = "STACK"
material = "carbon-ud"

[panel.outline]
corners_mm = [[0, 0], [380, 0], [380, 240], [0, 240]]

[panel.lift]
kind = "flat"

[[panel.edges]]
name = "left"
hold = "hinged"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 241], [-1, 241]] }

[settings]
element_size_mm = 40

[[load]]
kind = "air load"
name = "push"
pressure_kPa = 0.8
""".replace("STACK", STACK)


def board() -> dict[str, Any]:
    """A case of a sandwich with one damage of every kind, each key of them given."""
    found = tomllib.loads(_BOARD)
    found["panel"]["fasteners"] = [
        {"name": f"F{i}", "place_mm": [75 + 70 * i, 225], "washer_radius_mm": 8, "hold": "pinned", "rating_pull_N": 500}
        for i in range(1, 4)
    ]
    found["damage"] = []
    for i, word in enumerate(sorted(KINDS, key=lambda w: "fastener" in IN_A_CASE[w])):
        entry: dict[str, Any] = {"kind": word, "name": f"D {word}"} | IN_A_CASE[word]
        if "fastener" not in entry:
            entry["area"] = _place(i, word)
        for name, info in SECTIONS[word].model_fields.items():
            default = info.default
            entry.setdefault(name, default.model_dump(exclude_none=True) if isinstance(default, Quantity) else default)
        found["damage"].append(entry)
    return found


def _place(i: int, word: str) -> dict[str, Any]:
    x, y = 40 + 70 * (i % 5), 40 + 80 * (i // 5)
    if word == "crack":
        return {"shape": "slot", "centre_mm": [x, y], "length_mm": 24, "width_mm": 0.3, "along": [1, 1, 0]}
    if word == "edge notch":
        return {"shape": "disc", "centre_mm": [x, 0], "diameter_mm": 16}
    return {"shape": "disc", "centre_mm": [x, y], "diameter_mm": 24}
