"""A delamination in a case file: what it becomes, what is refused, and what an assessment makes of it."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from panelfem.assess import assess
from panelfem.assess.records import Assessment, Configuration
from panelfem.case import Case, build
from panelfem.case.read import check
from panelfem.damage import Delamination
from panelfem.disposition import Outcome
from panelfem.errors import CaseError, Fault
from panelfem.material import library
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.report import wording
from panelfem.report.pictures import panel_picture

STRIP = """
[case]
title = "strip"
invented = true
consequence = "cosmetic"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "strip"
zero_direction = [1, 0, 0]
stack = "[0]_16"
material = "T300-5208"

[panel.outline]
corners_mm = [[0, 0], [200, 0], [200, 60], [0, 60]]

[panel.lift]
kind = "flat"

[[panel.edges]]
name = "left"
hold = "hinged"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 61], [-1, 61]] }

[[panel.edges]]
name = "right"
hold = "supported"
area = { shape = "polygon", corners_mm = [[199, -1], [201, -1], [201, 61], [199, 61]] }

[settings]
flip_sizes = false
lose_each_fastener = false
element_size_mm = 12

[[damage]]
kind = "delamination"
name = "L1"
area = { shape = "disc", centre_mm = [100, 30], diameter_mm = 24 }
interface = 15
tolerance_mm = 2

[[load]]
kind = "air load"
name = "push"
pressure_kPa = 0.8
"""

OPTIONS = """
[[option]]
name = "{name}"
minutes = 10
permitted = true

[[option.actions]]
kind = "patch"
name = "patch {name}"
over = "L1"
overlap_mm = 8
cut_out = {cut}
stack = "[0_2]"
adhesive = "film-epoxy"
bond_thickness_mm = 0.15
side = "first ply"
cured_share = 0.8
"""

FOAM = "[0/90/0/film-epoxy:0.15mm/foam-pvc-80:6mm]s"


def document(text: str = STRIP, **damage: Any) -> dict[str, Any]:
    """The strip, with other keys of its damage."""
    found = tomllib.loads(text)
    found["damage"][0] |= damage
    return found


def built(found: dict[str, Any], folder: Path) -> Case:
    file = folder / "case.toml"
    file.write_text("")
    return build(check(found, file), file)


def faults(found: dict[str, Any], folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(CaseError) as caught:
        built(found, folder)
    return caught.value.faults


def only(case: Case) -> Delamination:
    (found,) = case.damage
    assert isinstance(found, Delamination)
    return found


def test_it_arrives_larger_by_its_tolerance(tmp_path: Path) -> None:
    case = built(document(), tmp_path)
    found = only(case)
    assert (found.name, found.region, found.interface) == ("L1", "damage L1", 15)
    assert found.semi_axes == pytest.approx((0.014, 0.014))
    assert found.place == pytest.approx([0.1, 0.03, 0.0])
    assert case.panel is not None
    mesh = case.panel.mesh
    assert mesh.areas[mesh.inside["damage L1"]].sum() == pytest.approx(math.pi * 0.014**2, rel=0.05)
    assert case.places["L1"] == pytest.approx([0.1, 0.03, 0.0])
    plain = document()
    del plain["damage"][0]["tolerance_mm"]
    assert only(built(plain, tmp_path)).semi_axes == pytest.approx((0.017, 0.017))


def test_shapes(tmp_path: Path) -> None:
    """An ellipse is itself, of a rectangle it is the one through the corners, which hold x²/a² + y²/b² = 1."""
    oval = {"shape": "ellipse", "centre_mm": [100, 30], "length_mm": 40, "width_mm": 20, "along": [1, 1, 0]}
    found = only(built(document(area=oval), tmp_path))
    assert found.semi_axes == pytest.approx((0.022, 0.012))
    assert found.along == pytest.approx([math.sqrt(0.5), math.sqrt(0.5), 0])
    box = {"shape": "rectangle", "centre_mm": [100, 30], "length_mm": 20, "width_mm": 36, "along": [1, 0, 1]}
    found = only(built(document(area=box), tmp_path))
    assert found.along == pytest.approx([1, 0, 0])
    a, b = found.semi_axes
    assert (0.012 / a) ** 2 + (0.02 / b) ** 2 == pytest.approx(1.0)
    assert a / b == pytest.approx(12 / 20)
    (fault,) = faults(document(area={"shape": "polygon", "corners_mm": [[90, 20], [110, 20], [100, 40]]}), tmp_path)
    assert fault.path == "damage[0].area.shape"
    assert '"ellipse"' in fault.allowed
    assert '"polygon"' not in fault.allowed


@pytest.mark.parametrize(
    ("stack", "interface", "what", "allowed"),
    [
        ("[0]_16", 16, "no interface after ply 16: the stack has 16 plies", "1 to 15"),
        ("[0]_16", 40, "no interface after ply 40", "1 to 15"),
        ("[0]", 1, "the stack has one ply", "two plies or more"),
        ("[0/90/foam-pvc-80:6mm]s", 2, "the core 'foam-pvc-80' lies right above the interface", 'kind = "disbond"'),
        ("[0/90/foam-pvc-80:6mm]s", 3, "the core 'foam-pvc-80' lies right below the interface", 'kind = "disbond"'),
        (FOAM, 3, "that is a disbond", "between two plies"),
        (FOAM, 4, "that is a disbond", "between two plies"),
        (FOAM, 6, "that is a disbond", "between two plies"),
    ],
)
def test_interfaces_that_are_refused(stack: str, interface: int, what: str, allowed: str, tmp_path: Path) -> None:
    """Found without a mesh, all faults of the file at once."""
    found = document(interface=interface)
    found["panel"]["stack"] = stack
    with pytest.raises(CaseError) as caught:
        check(found, tmp_path / "case.toml")
    (fault,) = caught.value.faults
    assert fault.path == "damage[0].interface"
    assert what in fault.what
    assert allowed in fault.allowed


def test_skins_of_a_sandwich_may_be_delaminated(tmp_path: Path) -> None:
    for interface in (1, 2, 7, 8):
        found = document(interface=interface)
        found["panel"]["stack"] = FOAM
        assert only(built(found, tmp_path)).interface == interface


def test_the_stack_at_the_place_counts(tmp_path: Path) -> None:
    """A zone of two plies: which of the stacks the area lies in is known on the mesh only; over two of them it is
    refused."""
    zone = {"name": "thin", "stack": "[0]_2"}
    left = {"shape": "polygon", "corners_mm": [[-1, -1], [60, -1], [60, 61], [-1, 61]]}
    found = document(interface=14)
    found["panel"]["zones"] = [zone | {"area": left}]
    assert only(built(found, tmp_path)).interface == 14
    found["panel"]["zones"] = [zone | {"area": left | {"corners_mm": [[-1, -1], [130, -1], [130, 61], [-1, 61]]}}]
    (fault,) = faults(found, tmp_path)
    assert (fault.path, fault.allowed) == ("damage[0].interface", "1 to 1")
    assert "the stack has 2 plies" in fault.what
    found["panel"]["zones"] = [zone | {"area": left | {"corners_mm": [[-1, -1], [100, -1], [100, 61], [-1, 61]]}}]
    (fault,) = faults(found, tmp_path)
    assert fault.path == "damage[0].area"
    assert "lies in 2 laminates" in fault.what
    found["panel"]["zones"][0]["stack"] = "[0]_16"  # the same all over
    assert only(built(found, tmp_path)).interface == 14


def test_edges_and_other_damage_are_kept_clear_of(tmp_path: Path) -> None:
    """The rim has to be held all round."""
    near = {"shape": "disc", "centre_mm": [100, 12], "diameter_mm": 24}
    (fault,) = faults(document(area=near), tmp_path)
    assert fault.path == "damage[0].area"
    assert "reaches the edge" in fault.what
    hole = {"kind": "hole", "name": "H", "area": {"shape": "disc", "centre_mm": [100, 30], "diameter_mm": 6}}
    dull = {
        "kind": "softened",
        "name": "D",
        "area": {"shape": "disc", "centre_mm": [125, 30], "diameter_mm": 30},
        "strength_share": 0.5,
    }
    for other in (hole, dull):
        found = document()
        found["damage"].append(other)
        (fault,) = faults(found, tmp_path)
        assert fault.path == "damage[0].area"
        assert f"L1 and {other['name']} overlap or touch" in fault.what
    apart = document()
    apart["damage"].append(hole | {"area": {"shape": "disc", "centre_mm": [150, 30], "diameter_mm": 6}})
    assert len(built(apart, tmp_path).damage) == 2


@pytest.fixture(scope="module")
def assessment(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    options = OPTIONS.format(name="over", cut="false") + OPTIONS.format(name="cut", cut="true")
    found = assess(built(document(STRIP + options), tmp_path_factory.mktemp("case")))
    assert isinstance(found, Assessment)
    return found


def configuration(assessment: Assessment, name: str) -> Configuration:
    return next(c for c in assessment.configurations if c.name == name)


def test_a_bent_strip_by_hand(assessment: Assessment) -> None:
    """One ply of sixteen over the pressed face of a strip on two supports: the moment q (L² − a²/2)/8 per width, mean
    over the disc; stress by the beam, since the strip is free to bend across; then the plate, and its shear."""
    ply = library()["T300-5208"]
    t, a, length, q = 16 * ply.thickness, 0.014, 0.2, 0.8e3
    moment = q * (length**2 - a**2) / 8
    part = ply.thickness
    N = -12 * moment / t**3 * (t - part) / 2 * part
    m = 1 - ply.nu12**2 * ply.E2 / ply.E1
    D = part**3 / 12 * np.array([[ply.E1, ply.nu12 * ply.E2, 0], [ply.nu12 * ply.E2, ply.E2, 0], [0, 0, m * ply.G12]])
    bending = ClampedEllipseModes(D / m, a, a).factors(1, (N, 0.0, 0.0))[0]
    exact = 1.0 / (1.0 / bending - N / (5 / 6 * ply.G13 * part))
    result = configuration(assessment, "as found").result("push")
    mode = next(m for m in result.modes if m.mode == "sublaminate buckling")
    assert mode.factor == pytest.approx(exact, rel=0.01)
    assert result.release == mode
    assert (mode.ply, mode.position, mode.where) == (16, "bottom", "at L1 (ply 16)")
    assert 0.0 < mode.bar < 0.02 * mode.factor


def test_what_options_do_to_it(assessment: Assessment) -> None:
    """Cut out it is gone; under a patch it stays, and feels what strain the patch leaves."""
    factor = {
        c.name: next((m.factor for m in c.result("push").modes if m.mode == "sublaminate buckling"), None)
        for c in assessment.configurations
    }
    assert factor["undamaged"] is None
    assert factor["cut"] is None
    assert factor["over"] is not None
    assert factor["as found"] is not None
    assert factor["over"] > factor["as found"]
    gone = configuration(assessment, "over").contingencies[0].loads[0]
    assert gone.release.factor == factor["as found"]
    assert configuration(assessment, "as found").result("push").deflection.value == pytest.approx(
        configuration(assessment, "undamaged").result("push").deflection.value, rel=1e-12
    )


def test_it_is_to_be_tapped_again_unless_it_is_cut_out(assessment: Assessment) -> None:
    for name in ("as found", "over", "cut"):
        d = configuration(assessment, name).disposition
        assert any("tap the delaminated area" in c and "run by run is not" in c for c in d.conditions) == (
            name != "cut"
        )
    d = configuration(assessment, "as found").disposition
    assert d.outcome is Outcome.MEETS_IF
    assert d.uncertainty is not None
    assert "damage size" in [part.name for part in d.uncertainty.parts]


def test_the_report_names_and_draws_it(assessment: Assessment) -> None:
    assert assessment.damage_regions["L1"].any()
    assert "L1" in assessment.places
    mode = configuration(assessment, "as found").result("push").release
    assert wording.mode_text(mode) == "sublaminate buckling, ply 16 (T300-5208), bottom, at L1 (ply 16)"
    assert panel_picture(assessment) != panel_picture(replace(assessment, marked=()))
