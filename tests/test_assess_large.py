"""Loads followed with large displacements, through the whole line, against von Karman plates by Ritz."""

import numpy as np
import pytest

from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.disposition import Outcome
from panelfem.reference.large_plate import LargePlate, PlateEdge

SIDE, PRESSURE = 0.3, 4e3

CLAMPED = """
[case]
title = "thin plate, clamped all round"
invented = true
consequence = "cosmetic"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[panel]
name = "plate"
zero_direction = [1, 0, 0]
stack = "[0/45/0]"
material = "carbon-twill"

[panel.outline]
corners_mm = [[0, 0], [300, 0], [300, 300], [0, 300]]

[panel.lift]
kind = "flat"

[[panel.edges]]
name = "rim"
hold = "clamped"

[settings]
vibrations = false
flip_sizes = false
lose_each_fastener = false
element_size_mm = 25
{settings}

[[load]]
kind = "air load"
name = "pressure"
pressure_kPa = {{ value = 4, basis = "stated", source = "test" }}
limits = [{{ name = "gap", limit_mm = {limit} }}]
"""


def assessed(folder, limit=50.0, settings=""):
    """The case, and the result under its only load."""
    path = folder / "plate.toml"
    path.write_text(CLAMPED.format(limit=limit, settings=settings), encoding="utf-8")
    case = load_case(path)
    found = assess(case).configurations[0]
    return case, found, found.variants[0].loads[0]


def test_a_thin_plate_is_followed_and_true(tmp_path):
    """Deflection within 1 % of Ritz with von Karman strains (and within its bar and a tenth of a per cent), a third of
    what linear theory says; the limit between the two turns the outcome.
    """
    case, found, result = assessed(tmp_path, limit=6.0)
    edge = PlateEdge("clamped", "held", "held")
    law = case.panel.laminates[0].stiffness[:6, :6]
    plate = LargePlate(law, SIDE, SIDE, (edge,) * 4, PRESSURE, degree=14)
    exact = float(plate.solve([0.25, 0.5, 1.0])[-1].deflection(SIDE / 2, SIDE / 2))
    assert result.linear is not None
    assert result.linear.reasons
    assert result.linear.deflection > 2.0 * exact
    assert result.deflection.value == pytest.approx(exact, rel=1e-2)
    assert abs(result.deflection.value - exact) < result.deflection.bar + 4e-3 * exact
    assert result.theory.large
    assert result.theory.holds
    assert result.residual < 1e-4
    assert found.disposition.outcome is Outcome.MEETS
    assert found.disposition.loads[0].linear is not Outcome.MEETS
    curve = np.array([(p.factor, p.deflection) for p in result.curve])
    assert (np.diff(curve, axis=0) > 0).all()
    stiffening = curve[1:, 0] / curve[1:, 1]
    assert (np.diff(stiffening) > 0).all()
    limit = next(m for m in result.modes if m.mode == "limit 'gap'")
    assert limit.factor > 6e-3 / exact  # stiffer as it goes, so more than in proportion


def test_a_case_may_keep_to_linear_theory(tmp_path):
    """Then what leaves it cannot be told."""
    _, found, result = assessed(tmp_path, settings="large_displacements = false")
    assert result.linear is None
    assert not result.theory.holds
    assert found.disposition.outcome is Outcome.CANNOT_TELL


def test_a_path_that_is_lost_names_the_share_reached_and_lowers_the_outcome(tmp_path, monkeypatch):
    """No step settles beyond 0.6 of the load: what was found up to there is shown, and the rest cannot be told."""
    from panelfem import report
    from panelfem.shell import continuation

    settle, plane, end = continuation.Newton.settle, continuation._plane, 0.6

    def lost(self, start, factor):
        return None if factor > end else settle(self, start, factor)

    def lost_on_the_plane(*arguments):
        found = plane(*arguments)
        return None if found is None or found[0].factor > end else found

    monkeypatch.setattr(continuation.Newton, "settle", lost)
    monkeypatch.setattr(continuation, "_plane", lost_on_the_plane)
    path = tmp_path / "plate.toml"
    path.write_text(CLAMPED.format(limit=50.0, settings=""), encoding="utf-8")
    whole = assess(load_case(path))
    found = whole.configurations[0]
    result = found.variants[0].loads[0]
    mode = next(m for m in result.modes if m.mode == "no equilibrium found")
    assert 0.4 < mode.factor <= end
    assert found.disposition.outcome is Outcome.CANNOT_TELL
    share = f"{mode.factor:.3g}"
    assert f"no equilibrium was found beyond {share} times" in found.disposition.reason
    assert any(f"those at {share} times the expected severity" in note for note in result.notes)
    assert result.curve[-1].factor == pytest.approx(mode.factor, rel=0.02)
    assert 0.0 < result.deflection.value < 6e-3
    report.write(whole, tmp_path / "out")
    assert f"no equilibrium was found beyond {share} times" in (tmp_path / "out" / "report.html").read_text("utf-8")
