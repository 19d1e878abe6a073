"""What must never pass in silence: a mesh too coarse, a needle, a loaded re-entrant corner, a laminate too thick.

Each is put through the whole line, and looked for in what a reader is told.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_assess import STRIP

from panelfem.assess import Assessment, assess
from panelfem.case import build
from panelfem.case.schema import CaseFile
from panelfem.disposition import Consequence, Outcome, judge_load
from panelfem.report.html import report
from panelfem.reserve.records import LoadResult, TheoryCheck

RIM = STRIP[STRIP.index("[[panel.edges]]") : STRIP.index("[settings]")]
L_SHAPE = (
    STRIP.replace(
        "corners_mm = [[0, 0], [200, 0], [200, 40], [0, 40]]",
        "corners_mm = [[0, 0], [200, 0], [200, 80], [100, 80], [100, 200], [0, 200]]",
    )
    .replace(RIM, '[[panel.edges]]\nname = "rim"\nhold = "clamped"\n\n')
    .replace("element_size_mm = 10", "")
)


def run(text: str, folder: Path = Path(".")) -> Assessment:
    found = assess(build(CaseFile.model_validate(tomllib.loads(text)), folder / "case.toml"))
    assert isinstance(found, Assessment)
    return found


def only(found: Assessment) -> LoadResult:
    return found.configurations[0].variants[0].loads[0]


def test_a_mesh_too_coarse_shows_in_its_bars_and_lowers_the_outcome() -> None:
    """A clamped L under pressure on elements half as wide as its legs, against the adapted mesh."""
    hard = L_SHAPE.replace("[0]_16", "[0]_8").replace("value = 40", "value = 80")
    coarse = hard.replace("[settings]", "[settings]\nelement_size_mm = 60")
    fine, first = only(run(hard)), only(run(coarse))
    assert first.release.bar > 0.02 * first.release.factor
    assert first.release.bar > 5 * fine.release.bar
    assert abs(first.release.factor - fine.release.factor) <= first.release.bar + fine.release.bar
    # linear theory aside, no outcome where what is asked lies within the bar
    asked = first.release.factor - 0.5 * first.release.bar
    plain = replace(first, theory=TheoryCheck(0.0, 0.0, 0.0))
    outcome = judge_load(plain, Consequence("cosmetic", asked, "a test"))
    assert outcome.outcome is Outcome.CANNOT_TELL
    assert "mesh" in outcome.reason
    surely = judge_load(plain, Consequence("cosmetic", first.release.factor - 2.0 * first.release.bar, "a test"))
    assert surely.outcome is Outcome.MEETS


def test_a_needle_is_told() -> None:
    from panelfem.mesh import PanelMesh
    from panelfem.shell import Shell
    from panelfem.shell.quality import check_elements

    x = np.array([[0.0, 0, 0], [0.1, 0, 0], [0.2, 0, 0], [0.1, 0.002, 0], [0.1, 0.1, 0]])
    mesh = PanelMesh(x, np.array([[0, 1, 3], [1, 2, 3], [0, 3, 4], [3, 2, 4]]))
    C = np.diag([1e7, 1e7, 3e6, 10.0, 10.0, 3.0, 1e6, 1e6])
    (said,) = check_elements(Shell(mesh.curved(2), C, np.array([1.0, 0, 0])))
    assert "angle under 5°" in said
    assert "1.1°" in said


def test_a_loaded_re_entrant_corner_is_averaged_and_said() -> None:
    found = run(L_SHAPE)
    result = only(found)
    corner = np.array([0.1, 0.08, 0.0])
    near = [m for m in result.modes if m.place is not None and np.linalg.norm(m.place - corner) < 4e-3]
    assert near
    assert all(m.averaged == pytest.approx(3.8e-3) for m in near)
    said = [note for note in result.notes if "singular" in note]
    assert said
    assert "averaged over 3.8 mm" in said[0]
    assert "averaged over" in report(found, b"", None)


def test_a_laminate_too_thick_lowers_the_outcome_and_is_said() -> None:
    thick = STRIP.replace("[0]_16", "[0_80/foam-pvc-80:40mm/0_80]").replace("element_size_mm = 10", "")
    found = run(thick)
    result = only(found)
    assert not result.theory.holds
    assert any("from exact elasticity" in reason for reason in result.theory.reasons)
    assert found.configurations[0].disposition.outcome is Outcome.CANNOT_TELL
    assert "exact elasticity" in report(found, b"", None)
