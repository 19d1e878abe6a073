"""What must hold whatever the numbers are: mirrored cases, damage that shrinks or grows, a patch that gets thicker."""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from damage_examples import AREAS, MIDDLE, X
from test_case_delamination import built
from test_damage_kinds import RADII, compliance, sandwich
from test_damage_own import FABRIC

from panelfem.assess.assess import settings_of
from panelfem.assess.evaluate import evaluate, looked_at
from panelfem.assess.plan import Inputs, plans
from panelfem.case import Case
from panelfem.damage import Damage, Hole, Softened, damaged, ends
from panelfem.damage.keys import keys_of
from panelfem.damage.kinds.abraded import Abraded
from panelfem.damage.kinds.core import DamagedCore
from panelfem.damage.kinds.crack import Crack
from panelfem.damage.kinds.dent import Dent
from panelfem.damage.kinds.disbond import Disbond
from panelfem.damage.kinds.edge_notch import EdgeNotch
from panelfem.damage.kinds.heat import Heat
from panelfem.failure.notched import NotchedLaminate
from panelfem.joint import Bond, Strip, patch_edge, solve
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.loads import AreaForce, LoadCase
from panelfem.material import library
from panelfem.mesh import Disc, Ellipse, Outline, PlanPolygon, Ring, Slot, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve.analyse import Settings
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.shell import Shell

# ---- a mirrored case

ONE_SIDED = """
[case]
title = "nothing in it is its own mirror image"
invented = true
consequence = "cosmetic"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0/30/0/foam-pvc-80:6mm/-45/0]"
material = "carbon-ud"

[panel.outline]
corners_mm = [[0, 0], [240, 0], [240, 160], [60, 160], [0, 120]]

[panel.lift]
kind = "flat"

[[panel.edges]]
name = "left"
hold = "hinged"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 121], [-1, 121]] }

[[panel.fasteners]]
name = "A"
place_mm = [215, 25]
washer_radius_mm = 14
hold = "pinned"
rating_pull_N = 900

[[panel.fasteners]]
name = "B"
place_mm = [215, 140]
washer_radius_mm = 14
hold = "pinned"
rating_pull_N = 900

[[damage]]
kind = "hole"
name = "H"
area = { shape = "ellipse", centre_mm = [150, 90], length_mm = 50, width_mm = 40, along = [1, 0.5, 0] }
characteristic_length_mm = 10
tolerance_mm = 0

[[option]]
name = "patch"
minutes = 30
permitted = true

[[option.actions]]
kind = "patch"
name = "P"
over = "H"
overlap_mm = 20
stack = "[20/65]"
material = "carbon-twill-wet"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = 0.7

[settings]
large_displacements = false
element_size_mm = 30

[[load]]
kind = "handling"
name = "hand"
area = { shape = "disc", centre_mm = [90, 60], diameter_mm = 60 }
force_N = 600
direction = [0.4, 0.2, -1]

[[load]]
kind = "kerb strike"
name = "kerb"
shape = { form = "half-round", radius_mm = 100 }
place_mm = [130, 70]
push_direction = [0, 0, 1]
travel_direction = [1, 0.3, 0]
interference_mm = 4
car_stiffness_N_per_mm = 300
dynamic_factor = 1.0
"""
_WIDE = 240.0
_PLACES = ("place_mm", "centre_mm", "corners_mm")
_WAYS = ("zero_direction", "direction", "push_direction", "travel_direction", "along")


def mirrored(found: Any, key: str = "") -> Any:
    """A document with x turned into _WIDE − x: places, directions, and the signs of all ply angles."""
    if isinstance(found, dict):
        return {k: mirrored(v, k) for k, v in found.items()}
    if isinstance(found, list) and (not found or not isinstance(found[0], int | float)):
        return [mirrored(v, key) for v in found]
    if key in _PLACES:
        return [_WIDE - found[0], *found[1:]]
    if key in _WAYS:
        return [-found[0], *found[1:]]
    if key == "stack":
        return re.sub(r"(?<=[\[/])-?\d+(?=[/\]])", lambda m: str(-int(m[0])), found)
    return found


def test_mirroring_twice_changes_nothing() -> None:
    document = tomllib.loads(ONE_SIDED)
    assert mirrored(document)["panel"]["stack"] == "[0/-30/0/foam-pvc-80:6mm/45/0]"
    assert mirrored(mirrored(document)) == document


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[tuple[LoadResult, ...], ...]:
    """What is found of the patched panel, and of its mirror image."""
    document, folder = tomllib.loads(ONE_SIDED), tmp_path_factory.mktemp("mirror")
    return tuple(_patched(built(d, folder)) for d in (document, mirrored(document)))


def _patched(case: Case) -> tuple[LoadResult, ...]:
    assert case.panel is not None
    inputs = Inputs(case.panel, case.damage, case.options, case.loads)
    state = next(p for p in plans(inputs) if p.name == "patch").states[0]
    return evaluate(state, inputs, settings_of(case), 2, str, (), False, (None, None))[0].results


def _numbers(result: LoadResult) -> dict[str, tuple[float, float]]:
    """Every number of a result that has a bar, with it."""
    modes: dict[tuple[str, str], ModeReserve] = {}
    for m in sorted(result.modes, key=lambda m: m.rank, reverse=True):
        modes[m.criterion, m.mode] = m
    out = {f"{c}, {n}": (m.factor, m.bar) for (c, n), m in modes.items() if m.status == "found"}
    out["deflection"] = result.deflection.value, result.deflection.bar
    for f in result.fixings:
        out |= {f"{f.name} shear": (f.shear, f.bar[0]), f"{f.name} pull": (f.pull, f.bar[1])}
    for i, b in enumerate(result.bonds):
        out |= {f"bond {i} shear": (b.shear, b.bar[0]), f"bond {i} peel": (b.peel, b.bar[1])}
    for c in result.contacts:
        out |= {"contact force": (c.force, c.bar[0]), "advance": (c.advance, c.bar[1])}
    return out


def test_a_mirrored_case_gives_the_mirrored_answer(pair: tuple[tuple[LoadResult, ...], ...]) -> None:
    """Another mesh of the same thing: every number within the bars of the two, the greatest deflection at its image."""
    for one, other in zip(*pair, strict=True):
        a, b = _numbers(one), _numbers(other)
        assert len(a.keys() & b.keys()) > 20
        off = {k: (a[k], b[k]) for k in a.keys() & b.keys() if abs(a[k][0] - b[k][0]) > a[k][1] + b[k][1]}
        # which places of the lattice touch is another matter, and no bar tells of it
        crushed = [name for name in a if "core crushing" in name]
        assert off.keys() <= set(crushed)
        assert all(a[name][0] == pytest.approx(b[name][0], rel=0.1) for name in crushed)
        assert one.release.mode == other.release.mode
        image = other.deflection.place * [-1, 1, 1] + [_WIDE / 1e3, 0, 0]
        assert np.linalg.norm(one.deflection.place - image) < 0.01
        share = one.deflection.bar / one.deflection.value
        assert one.deflection.vector * [-1, 1, 1] == pytest.approx(other.deflection.vector, abs=0.01 + share)


def test_the_bars_of_the_mirrored_case_say_something(pair: tuple[tuple[LoadResult, ...], ...]) -> None:
    """What the two are compared by is narrow."""
    for one in pair[0]:
        found = _numbers(one)
        narrow = [name for name, (value, bar) in found.items() if bar < 0.05 * abs(value)]
        assert {"deflection", "A shear", "A pull", "B shear", "B pull"} <= set(narrow)
        assert found["bonded overlap, bond shear at the edge of P"][1] < 0.05


# ---- damage that shrinks

_LENGTH, _BROAD, _A0, _PULL = 0.2, 0.08, 3.8e-3, 30e3
_SHEET = Laminate((Ply(replace(FABRIC, nu12=0.0, G12=30e9), 1e-3, 0.0),))
_SMALL, _LARGE = 1e-3, 6e-3


@pytest.fixture(scope="module")
def sheet() -> Panel:
    """A sheet pulled along x, with room on one mesh for a hole, a slot and an edge notch, each small and large."""
    z, y = np.array([0.0, 0, 1]), np.array([0.0, 1, 0])
    regions = []
    for a in (_SMALL, _LARGE):
        half = max(a, 2e-3)
        regions += [
            Disc(f"hole {a}", np.array([0.06, 0.04, 0]), a, a),
            Disc(f"notch {a}", np.array([0.1, 0.0, 0]), a, a),
            Slot(f"slot {a}", np.array([0.14, 0.04, 0]), z, y, half, half / 3, half),
        ]
    pull = Ellipse("pull", np.array([_LENGTH, _BROAD / 2, 0]), z, X, (0.02, 4.0), 0.05)
    corners = [(0, 0), (_LENGTH, 0), (_LENGTH, _BROAD), (0, _BROAD)]
    mesh = mesh_outline(Outline(Ring.polygon(corners)), None, 0.05, (*regions, pull))
    end = PlanPolygon("end", np.array([[-1.0, -1], [1e-4, -1], [1e-4, 1], [-1, 1]]), 1.0)
    edges = (EdgeSupport("left", "clamped", end),)
    return Panel("sheet", mesh, (_SHEET,), np.zeros(len(mesh.triangles), np.int64), X, edges=edges)


def _notches(a: float) -> dict[str, Damage]:
    half = max(a, 2e-3)
    return {
        "hole": Hole("D", f"hole {a}", _A0),
        "edge notch": EdgeNotch("D", f"notch {a}", _A0),
        "crack": Crack("D", f"slot {a}", _A0, half / 3),
    }


def test_strength_and_stiffness_go_to_those_of_the_undamaged_sheet(sheet: Panel) -> None:
    """Uniform tension without lateral contraction: undamaged, Xt over the stress.  The meshed strength of every notch
    falls as it grows; that of a hole is the closed form (Lekhnitskii's stresses averaged, as failure/notched.py)."""
    load = LoadCase("pull", "patch", "force", AreaForce("pull", np.array([_PULL, 0, 0])))
    far = np.array([_PULL / _BROAD, 0.0, 0.0])
    whole = FABRIC.Xt * 1e-3 * _BROAD / _PULL
    like: Shell | None = None

    def look(record: Damage | None) -> LoadResult:
        nonlocal like
        inputs = Inputs(sheet, () if record is None else (record,), (), (load,))
        state = plans(inputs)[-1].states[0]
        found, solved = looked_at(state, inputs, Settings(followed=False), 3, str, like)
        like = solved.model.shell
        return found.results[0]

    undamaged = look(None)
    assert undamaged.release.factor == pytest.approx(whole, rel=0.003)
    for word in _notches(_SMALL):
        small, large = look(_notches(_SMALL)[word]), look(_notches(_LARGE)[word])
        assert whole > 1.1 * small.release.factor > 1.3 * large.release.factor, word
        stretch = [r.deflection.value for r in (undamaged, small, large)]
        assert stretch == sorted(stretch), word
        assert stretch[1] < 1.004 * stretch[0], word
        if word == "hole":
            for a, found in ((_SMALL, small), (_LARGE, large)):
                exact = NotchedLaminate(_SHEET, (a, a), 0.0, _BROAD).factors(far, None, _A0)
                assert found.release.factor == pytest.approx(exact[1], rel=0.015)


def test_the_closed_form_of_a_slit_goes_to_the_whole_laminate() -> None:
    """By both rules, whatever the way it is loaded, and it never gains as it grows."""
    quasi = Laminate(parse_stack("[0/45/-45/90]s", library(), "T300-5208"))
    for force in (np.array([2e5, 0.0, 0.0]), np.array([-1e5, 2e5, 6e4])):
        plain = NotchedLaminate(quasi, (1e-9, 1e-9), 0.0).factors(force, None, 1.0)
        for share in (1.0, 0.05):
            sizes = (1e-7, 1e-3, 4e-3, 16e-3)
            found = [NotchedLaminate(quasi, (a, share * a), 0.5).factors(force, None, _A0) for a in sizes]
            assert found[0] == pytest.approx(plain, rel=2e-3)
            for larger, smaller in pairwise(reversed(found)):
                assert larger[0] <= smaller[0] * (1 + 1e-9)
                assert larger[1] <= smaller[1] * (1 + 1e-9)


# ---- damage that grows

_FACED = replace(sandwich(), laminates=(Laminate(parse_stack("[0/90/45/foam-pvc-80:6mm]s", library(), "carbon-ud")),))
_OVAL = (MIDDLE, X, (RADII[-1], RADII[-1]))
#: Kinds that have more than an area to grow by in stiffness: the record by the share of it.
_GROWING: dict[str, tuple[str, Any]] = {
    "abraded": ("plies", lambda s: Abraded("D", "r2", "last ply", round(1 + s), 0)),
    "damaged core": ("stiffness", lambda s: DamagedCore("D", "r2", 1.0 - 0.95 * s, 0.4, 0.0)),
    "dent": ("depth", lambda s: Dent("D", "r2", *_OVAL, "last ply", 0.05e-3 + 4e-3 * s, 0.5)),
    "disbond": ("remaining_stiffness", lambda s: Disbond("D", "r2", *_OVAL, "last ply", 1e-3 + 0.9 * (1.0 - s))),
    "softened": ("remaining_stiffness", lambda s: Softened("D", "r2", 1e-3 + 0.9 * (1.0 - s), 0.5)),
    "heat": ("stiffness", lambda s: Heat("D", "r2", 0.6, 1.0 - 0.95 * s)),
}
#: Fields of other keys, which change no stiffness of the panel here: strength, mass, where on the normal, what is held.
_OTHERWISE = {"characteristic_length", "strength", "core_strength", "water", "interface", "side", "doubtful"}
_OTHERWISE |= {"impact_strain", "laminate", "adhesive", "bond_thickness", "cut_out", "overlap"}


def test_every_size_of_a_kind_grows_in_a_test() -> None:
    """Sizes beside the area are those of the table above, or change no stiffness."""
    for word, make in AREAS.items():
        fields = set(keys_of(type(make("r2", RADII[-1]))))
        grown = {_GROWING[word][0]} if word in _GROWING else set()
        assert fields - grown <= _OTHERWISE, word


@pytest.mark.parametrize("word", sorted(_GROWING))
def test_more_of_it_is_never_stiffer(word: str) -> None:
    """A force across the skin away from the damage, fixed on the undamaged outline: its work never falls."""
    records, whole = [_GROWING[word][1](s) for s in (0.0, 0.5, 1.0)], compliance(_FACED)
    for end in ends(records[:1]):
        found = [compliance(damaged(_FACED, [record], end)) for record in records]
        assert (np.diff([whole, *found]) >= -1e-9 * whole).all(), (end, found)


def test_a_delamination_costs_no_stiffness_at_any_depth() -> None:
    for interface in (1, 2, 5):
        record = replace(AREAS["delamination"]("r2", RADII[-1]), interface=interface)  # type: ignore[call-arg]
        assert compliance(damaged(_FACED, [record])) == pytest.approx(compliance(_FACED), rel=1e-12)


# ---- a thicker patch


def test_a_thicker_patch_loads_its_bond_more() -> None:
    """A long overlap, the far force fixed: N λ A2/(A1 + A2), λ² = k (1/A1 + 1/A2) (Volkersen 1938) where nothing bends,
    which is N √k √(A2/(A1 (A1 + A2))): it rises with A2.  So does the real one, which bends."""
    k, first, force = 1.1e9 / 2e-4, 1e8, 1e5
    peaks = []
    for second in (0.3e8, 1e8, 3e8):
        strips = (Strip(a, 0.0, 1e3, math.inf, 0.0) for a in (first, second))
        found = solve(*strips, Bond(k, k), 0.2, np.array([force, 0, 0, 0, 0, 0]))
        peaks.append(float(np.abs(found.shear).max()))
        assert peaks[-1] == pytest.approx(force * math.sqrt(k * second / (first * (first + second))), rel=1e-6)
    assert peaks == sorted(peaks)
    parent = Laminate(parse_stack("[0/45/-45/90]s", library(), "T300-5208"))
    for stack in ("[0]{}", "[45/-45]{}"):
        bent = []
        for plies in (1, 2, 4, 8):
            patch = Laminate(parse_stack(stack.format(plies), library(), "T300-5208"))
            shear, _ = patch_edge(
                parent, patch, library()["paste-epoxy"], 2e-4, 0.1, np.array([force]), np.zeros(1), np.zeros(1)
            )
            bent.append(float(shear[0]))
        assert bent == sorted(bent), bent
