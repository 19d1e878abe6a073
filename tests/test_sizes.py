"""Damage at measured size and with its tolerance, and the size at which the outcome flips."""

import json
from dataclasses import replace
from math import pi, sqrt

import pytest

from panelfem import report
from panelfem.assess import assess
from panelfem.assess.configure import left_open
from panelfem.assess.sizes import MOST_LOOKS, Smaller, gaps
from panelfem.case import load_case
from panelfem.disposition import Disposition, LoadOutcome, Outcome
from panelfem.units import show

HEAD = """
[case]
title = "plate"
consequence = "cosmetic"
[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false
[settings]
lose_each_fastener = false
vibrations = false
large_displacements = false
element_size_mm = {element}
element_order = 2
flip_sizes = {flips}
"""

#: Four pinned fixings share alike what pushes on a square plate with damage in its middle.
PLATE = (
    HEAD
    + """
[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0/45/0/foam-pvc-80:10mm]s"
material = "carbon-twill"
[panel.outline]
corners_mm = [[0, 0], [200, 0], [200, 200], [0, 200]]
{fixings}
[[damage]]
name = "D"
area = {{ shape = "disc", centre_mm = {centre}, diameter_mm = {size} }}
tolerance_mm = {tolerance}
{damage}
[[load]]
name = "load"
{load}
"""
)
SIDE, RATING = 0.2, 33
HOLE = 'kind = "hole"\ncharacteristic_length_mm = 20'
#: A wet core: the more of it, the more the panel weighs.
WET, WATER = 'kind = "damaged core"\nstiffness_share = 0.9\nstrength_share = 0.9\nwater_g_per_m2 = 20000', 20.0
SUCTION, PRESSURE = 'kind = "air load"\npressure_kPa = 4', 4e3
DIP = 'kind = "compression"\nacceleration_gee = {gee}\ndynamic_factor = 1'


def case_of(folder, damage, load, rating, size, tolerance, centre=(100, 100), flips=True):
    """The case of a plate."""
    corners = ((35, 35), (165, 35), (165, 165), (35, 165))
    fixings = "".join(
        f'[[panel.fasteners]]\nname = "F{i}"\nplace_mm = {list(at)}\nwasher_radius_mm = 30\n'
        f'hold = "pinned"\nrating_pull_N = {rating}\n'
        for i, at in enumerate(corners)
    )
    keys = {"damage": damage, "load": load, "centre": list(centre), "size": size, "tolerance": tolerance}
    file = folder / "case.toml"
    file.write_text(PLATE.format(fixings=fixings, element=80, flips=str(flips).lower(), **keys))
    return load_case(file)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Assess a plate, with only the bands swept that the tests are about."""

    def call(*about, **more):
        case = case_of(tmp_path_factory.mktemp("case"), *about, **more)
        return assess(replace(case, assumed=tuple(a for a in case.assumed if a.sweep and a.sweep.kind == "severity")))

    return call


def found(assessment):
    return next(c for c in assessment.configurations if c.kind == "as found")


@pytest.fixture(scope="module")
def grown(run):
    """A small wet area: it meets the factor."""
    return run(WET, DIP.format(gee=50), RATING, 60, 2.5)


def wet_limit(gee):
    """Across a wet area with which each of four fixings carries its rating: (m + w π d²/4) n g / 4."""
    plies, core = 6 * 0.25e-3 * 1550, 10e-3 * 80  # kg/m²: library values of carbon-twill and foam-pvc-80
    return sqrt((4 * RATING / (gee * 9.80665) - (plies + core) * SIDE**2) / WATER * 4 / pi)


def flips_about(flip, size):
    """Whether the size lies where the outcome flips, and that is known to 5 %."""
    return flip.above <= 1.051 * flip.below and flip.below < size < flip.above


def test_a_size_that_grows_until_the_outcome_flips_is_that_of_statics(grown):
    (flip,) = grown.flip_sizes
    assert flips_about(flip, wet_limit(50))
    assert (flip.outcome_below, flip.outcome_above) == (Outcome.MEETS, Outcome.DOES_NOT)
    assert (flip.load, flip.mode, flip.size) == ("load", "pull beyond the rating", pytest.approx(0.065))
    assert found(grown).result("load").release.factor == pytest.approx(
        RATING * 4 / (50 * 9.80665) / ((6 * 0.25e-3 * 1550 + 0.8) * SIDE**2 + WATER * pi * 0.065**2 / 4), rel=2e-3
    )
    assert flip.looks <= MOST_LOOKS


def test_a_size_that_shrinks_until_the_outcome_flips_counts_the_ends_of_bands(run):
    """At the top of the band of its severity the panel must take more: there a smaller size decides."""
    severity = '{ value = 50, basis = "assumed", source = "test", band = [45, 55] }'
    (flip,) = run(WET, DIP.format(gee=severity), RATING, 108, 0).flip_sizes
    assert flip.size == pytest.approx(0.108)
    assert flips_about(flip, wet_limit(55))
    assert flip.above < wet_limit(50)
    assert (flip.outcome_below, flip.outcome_above) == (Outcome.MEETS, Outcome.CANNOT_TELL)


def test_where_no_size_flips_it_the_greatest_looked_at_is_said(run):
    a = run(WET, DIP.format(gee=5), RATING, 60, 2.5)
    (flip,) = a.flip_sizes
    assert flip.outcome_above is None
    assert flip.outcome is found(a).disposition.outcome
    # washers begin 65 √2 - 30 mm from the middle, and a tenth of the gap to them stays clear
    assert flip.reached == pytest.approx(0.065 + 2 * 0.9 * (0.065 * sqrt(2) - 0.03 - 0.0325), rel=0.01)
    assert "washer F" in flip.bound
    assert any("may be up to" in words and "washer F" in words for words in found(a).disposition.inspect)


@pytest.mark.parametrize(("centre", "gap"), [((100, 40), 10), ((100, 26), None)])
def test_damage_may_grow_up_to_an_edge_it_does_not_reach(tmp_path, centre, gap):
    panel = case_of(tmp_path, WET, SUCTION, RATING, 56, 2, centre).panel
    edges = [far for far, what in gaps(panel, "damage D", set()) if what == "an edge"]
    assert edges == ([] if gap is None else [pytest.approx(1e-3 * gap, rel=0.03)])


@pytest.fixture(scope="module")
def smaller_is_worse(run):
    """The smaller the hole, the more of the plate is left for the pressure to push on."""
    return run(HOLE, SUCTION, 35, 60, 20)


def test_the_measured_size_rules_where_it_is_the_worse_one(smaller_is_worse):
    worse = found(smaller_is_worse)
    assert {v.name for v in worse.variants} == {"at size plus tolerance", "at measured size"}
    assert worse.governing == {"load": "at measured size"}
    for variant in worse.variants:
        d = 0.06 if variant.name == "at measured size" else 0.1
        pull = PRESSURE * (SIDE**2 - pi * d**2 / 4) / 4
        assert variant.loads[0].release.factor == pytest.approx(35 / pull, rel=1e-3)
    assert worse.disposition.outcome is Outcome.DOES_NOT
    assert not [s for s in smaller_is_worse.screened if "measured" in s.configuration]


def test_the_measured_size_is_screened_where_it_is_the_better_one(grown):
    (screened,) = (s for s in grown.screened if "measured" in s.configuration)
    weight = [(6 * 0.25e-3 * 1550 + 0.8) * SIDE**2 + WATER * pi * d**2 / 4 for d in (0.06, 0.065)]
    assert screened.factor == pytest.approx(
        found(grown).result("load").release.factor * weight[1] / weight[0], rel=5e-3
    )
    (part,) = (p for p in found(grown).disposition.uncertainty.parts if p.name == "damage size")
    assert part.high == pytest.approx(weight[1] / weight[0], rel=5e-3)
    assert len(found(grown).variants) == 1


def test_where_no_mesh_carries_both_borders_the_outcome_is_left_open():
    """Nothing is run for it: an outcome that a look at measured size puts in doubt is lowered, never lifted."""
    meets = Disposition(Outcome.MEETS, "load", "enough", (), ("look",), ())
    look = Smaller(LoadOutcome("load", Outcome.DOES_NOT, 1.0, 0.9, ""), 0.9, worse=True)
    lowered = left_open(meets, look)
    assert lowered.outcome is Outcome.CANNOT_TELL
    assert "measured size" in lowered.reason
    fails = replace(meets, outcome=Outcome.DOES_NOT)
    assert left_open(fails, look) is fails


def test_report_json_and_terminal_say_where_it_flips(grown, tmp_path):
    from panelfem.cli.summary import summary

    report.write(grown, tmp_path / "out")
    (flip,) = grown.flip_sizes
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    sentence = f"must be found smaller than {show(flip.below, 'mm')} across (taken as 65 mm)"
    assert sentence in page.split("Next inspection", 1)[1]
    assert "The size at which the outcome flips" in page
    (kept,) = json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))["flip_sizes"]
    assert kept["below_mm"] == pytest.approx(1e3 * flip.below)
    assert kept["outcome_above"] == Outcome.DOES_NOT.value
    assert any(sentence in str(part) for part in summary(grown))
