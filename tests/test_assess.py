"""The whole line, from a case file to an assessment, against hand calculation and against itself."""

from dataclasses import replace

import numpy as np
import pytest

from panelfem.assess import Declined, assess
from panelfem.balance import changed, placed
from panelfem.case import load_case
from panelfem.disposition import Outcome

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
corners_mm = [[0, 0], [200, 0], [200, 40], [0, 40]]

[panel.lift]
kind = "flat"

[[panel.edges]]
name = "left"
hold = "hinged"
area = { shape = "polygon", corners_mm = [[-1, -1], [1, -1], [1, 41], [-1, 41]] }

[[panel.edges]]
name = "right"
hold = "hinged"
area = { shape = "polygon", corners_mm = [[199, -1], [201, -1], [201, 41], [199, 41]] }

[settings]
lose_each_fastener = false
vibrations = false
large_displacements = false
element_size_mm = 10

[[load]]
kind = "air load"
name = "push"
pressure_kPa = { value = 40, basis = "assumed", source = "test", band = [20, 80] }
"""

PLATE = """
[case]
title = "plate"
invented = true
consequence = "cosmetic"
minutes_left = 60

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0/45/0/foam-pvc-80:6mm]s"
material = "carbon-twill"

[panel.outline]
corners_mm = [[0, 0], [240, 0], [240, 160], [0, 160]]

[panel.lift]
kind = "flat"
{fasteners}
{damage}
[settings]
vibrations = false
flip_sizes = false
large_displacements = false
element_size_mm = 30

[[load]]
kind = "handling"
name = "hand"
area = {{ shape = "disc", centre_mm = [120, 80], diameter_mm = 50 }}
force_N = 200
direction = [0, 0, -1]

[[load]]
kind = "kerb strike"
name = "kerb"
shape = {{ form = "half-round", radius_mm = 100 }}
place_mm = [120, 80]
push_direction = [0, 0, 1]
travel_direction = [1, 0, 0]
interference_mm = 1
car_stiffness_N_per_mm = 300
dynamic_factor = 1.0
"""

CORNERS = {"A": (15, 15), "B": (225, 15), "C": (225, 145), "D": (15, 145), "E": (120, 15)}


def fasteners(names="ABCDE"):
    return "".join(
        f'\n[[panel.fasteners]]\nname = "{n}"\nplace_mm = [{CORNERS[n][0]}, {CORNERS[n][1]}]\nwasher_radius_mm = 8\n'
        'hold = "pinned"\nrating_pull_N = 900\n'
        for n in names
    )


HOLE = """
[[damage]]
kind = "hole"
name = "H"
area = {{ shape = "disc", centre_mm = [170, 110], diameter_mm = {size} }}
"""

DULL = """
[[damage]]
kind = "softened"
name = "dull"
area = { shape = "disc", centre_mm = [80, 100], diameter_mm = 40 }
strength_share = { value = 0.5, basis = "assumed", source = "test", band = [0.4, 0.6] }
"""

PATCH = """
[[option]]
name = "patch"
minutes = 30
permitted = true

[[option.actions]]
kind = "patch"
name = "P"
over = "{over}"
overlap_mm = 15
stack = "[0/45]"
material = "carbon-twill-wet"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "last ply"
cured_share = 0.7
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Assess a case text; the same text is assessed once."""
    done = {}

    def call(text):
        if text not in done:
            path = tmp_path_factory.mktemp("case") / "case.toml"
            path.write_text(text)
            done[text] = assess(load_case(path))
        return done[text]

    return call


def plate(damage="", names="ABCDE"):
    return PLATE.format(fasteners=fasteners(names), damage=damage)


def only(assessment, name="undamaged"):
    return next(c for c in assessment.configurations if c.name == name)


def test_supported_strip_against_beam_theory(run):
    # uniform q on a strip held at both ends: M = q L²/8, w = 5 q L⁴ / 384 EI per width (E1 of T300/5208: Tsai & Hahn
    # 1980)
    result = only(run(STRIP)).result("push")
    q, length, h, e1, xt = 40e3, 0.2, 16 * 0.125e-3, 181e9, 1.5e9
    moment, inertia = q * length**2 / 8, h**3 / 12
    assert result.deflection.value == pytest.approx(5 * q * length**4 / (384 * e1 * inertia), rel=0.02)
    assert result.release.factor == pytest.approx(xt / (6 * moment / h**2), rel=0.02)
    assert result.release.mode in ("fibre tension", "fibre compression")
    assert result.release.place[0] == pytest.approx(0.1, abs=0.01)


def test_severity_band_divides_the_factor(run):
    strip = only(run(STRIP))
    swept = next(a for a in strip.disposition.assumptions if "pressure" in a.key)
    stated = strip.result("push").release.factor
    assert swept.factors == pytest.approx((2 * stated, stated / 2), rel=1e-9)


def test_total_uncertainty_of_the_strip_is_that_of_its_load(run):
    strip = only(run(STRIP))
    total = strip.disposition.uncertainty
    assert (total.load, total.factor) == ("push", strip.result("push").release.factor)
    severity = next(p for p in total.parts if p.name == "load severity")
    assert (severity.low, severity.high) == pytest.approx((0.5, 2.0))
    assert severity.basis == "computed"
    assert total.parts[0] is severity
    assert total.low <= 0.5
    assert total.high >= 2.0


def test_only_what_a_configuration_has_is_uncertain_in_it(run):
    a = run(plate(HOLE.format(size=24) + PATCH.format(over="H")))
    named = {c.name: {p.what for p in c.disposition.uncertainty.parts} for c in a.configurations}
    wet = {name: any("carbon-twill-wet" in what for what in parts) for name, parts in named.items()}
    assert wet == {"undamaged": False, "as found": False, "patch": True}
    notch = {name: any("H: " in what for what in parts) for name, parts in named.items()}
    assert notch == {"undamaged": False, "as found": True, "patch": True}


def test_the_same_case_gives_the_same_answer_to_the_digit(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(plate(HOLE.format(size=8)))
    first, second = (assess(load_case(path)) for _ in range(2))
    for a, b in zip(first.configurations, second.configurations, strict=True):
        for load in ("hand", "kerb"):
            assert a.result(load).release.factor == b.result(load).release.factor
            assert a.result(load).deflection.value == b.result(load).deflection.value


def test_a_pinhole_does_not_ground_a_panel(run):
    small = only(run(plate(HOLE.format(size=2))), "as found")
    for restored in small.restoration:
        assert restored.release > 0.97


def test_a_lost_fixing_by_update_agrees_with_a_panel_that_never_had_it(run):
    whole = only(run(plate()))
    lost, load = whole.variants[0].fastener_lost["E"]
    missing = '[[damage]]\nkind = "missing fastener"\nname = "gone"\nfastener = "E"\n'
    without = only(run(plate(missing)), "as found")
    # found with elements of order 2 and moved by what order 3 changes with all fixings in place
    assert lost == pytest.approx(min(without.result(name).release.factor for name in ("hand", "kerb")), rel=1e-2)
    assert without.result(load).release.factor == pytest.approx(lost, rel=1e-2)


def test_the_dull_area_is_bracketed_and_its_soft_end_deflects_more(run):
    found = only(run(plate(DULL)), "as found")
    stiff, soft = found.variants
    assert "full stiffness" in stiff.name
    assert "nothing" in soft.name
    assert soft.loads[0].deflection.value > stiff.loads[0].deflection.value
    worst = min((v.loads[0].release.rank, v.name) for v in found.variants)[1]
    assert found.governing["hand"] == worst
    assert any("dull area" in c for c in found.disposition.conditions) or found.disposition.outcome is not Outcome.MEETS


def test_patch_gone_is_the_panel_as_found(run):
    a = run(plate(HOLE.format(size=24) + PATCH.format(over="H")))
    gone = only(a, "patch").contingencies[0]
    found = only(a, "as found").variants[0]
    assert gone.name == "patch gone"
    for x, y in zip(gone.loads, found.loads, strict=True):
        assert x.release.factor == y.release.factor
    patched = only(a, "patch")
    assert patched.mass > only(a, "as found").mass
    bodies = [placed(c.mass, c.centre_of_mass) for c in (only(a, "as found"), patched)]
    assert changed(*bodies).place[:2] == pytest.approx([0.170, 0.110], abs=1e-4), "the patch lies over the hole"
    assert {b.name for b in patched.result("hand").bonds} == {"P"}
    assert patched.result("hand").deflection.value < found.loads[0].deflection.value


def test_kerb_force_meets_the_car_in_series(run):
    result = only(run(plate())).result("kerb")
    (contact,) = result.contacts
    # what the car lifts and what the shape advances add up to the interference
    assert contact.advance + contact.force / 300e3 == pytest.approx(1e-3, rel=1e-9)
    assert contact.force > 0
    assert contact.error < 1e-8


def test_fixings_carry_the_load_that_is_put_on(run):
    result = only(run(plate())).result("hand")
    assert sum(f.pull for f in result.fixings) == pytest.approx(200.0, rel=1e-6)


def test_a_factor_along_a_contact_path_is_where_the_mode_is_reached(run, tmp_path):
    result = only(run(plate())).result("kerb")
    factor = result.release.factor
    text = plate().replace("interference_mm = 1\n", f"interference_mm = {factor:.9f}\n")
    again = only(run(text)).result("kerb")
    # the places of contact depend on how far the shape is expected to go in
    assert again.release.factor == pytest.approx(1.0, rel=1e-2)


def test_residual_stress_is_held_while_the_load_grows(run):
    # stress-free at 177 °C, 0/90: the transverse plies are in tension before any load, so matrix tension comes sooner
    base = STRIP.replace('stack = "[0]_16"', 'stack = "[0/90]_4s"')
    heat = "stress_free_temperature_C = 177\nfitting_temperature_C = 20\nservice_temperature_C = 20\n"
    cured = base.replace("[panel.outline]", heat + "\n[panel.outline]") + "\n[load.held]\ncure = true\n"
    plain, held = only(run(base)).result("push"), only(run(cured)).result("push")

    def of(result, mode):
        return next(m for m in result.modes if m.criterion == "Hashin" and m.mode == mode)

    assert of(held, "matrix tension").rank < 0.8 * of(plain, "matrix tension").rank
    assert held.deflection.value == pytest.approx(plain.deflection.value, rel=1e-6)
    # and the result says so
    assert held.scaled == plain.scaled
    assert any(words.startswith("cure stress: ") for words in held.held)
    assert not any(words.startswith("cure stress: ") for words in plain.held)


def test_a_part_that_protects_people_is_declined(run):
    a = run(plate().replace('protects_people = "no"', 'protects_people = "bonded into one"'))
    assert isinstance(a, Declined)
    assert "bonded into" in a.reason


def test_high_voltage_is_never_better_than_conditional(run):
    easy = STRIP.replace("covers_high_voltage = false", "covers_high_voltage = true")
    easy = easy.replace("value = 40", "value = 0.5").replace("[20, 80]", "[0.25, 1]")
    strip = only(run(easy))
    assert strip.disposition.outcome is Outcome.MEETS_IF
    assert any("isolation" in c for c in strip.disposition.conditions)


def test_a_thin_skin_cannot_be_told(run):
    thin = STRIP.replace('stack = "[0]_16"', 'stack = "[0/90]s"')
    d = only(run(thin)).disposition
    assert d.outcome is Outcome.CANNOT_TELL
    assert "outside linear theory" in d.reason


def test_ply_rows_are_the_stresses_of_the_governing_place(run):
    result = only(run(STRIP)).result("push")
    extreme = max(abs(row.stress[0]) for row in result.plies)
    assert extreme * result.release.factor == pytest.approx(1.5e9, rel=1e-6)
    assert np.all([replace(row).residual == 0 for row in result.plies])
