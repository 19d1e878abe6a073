"""Compression after impact: a struck laminate against the strain it takes with its damage."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from damage_examples import AREAS
from test_damage_kinds import RADII, sandwich

from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, plans
from panelfem.assess.respond import Responder
from panelfem.damage import Damage, Delamination, damaged, ends
from panelfem.laminate import Laminate, parse_stack
from panelfem.loads import AreaForce, LoadCase
from panelfem.material import library
from panelfem.mesh import Disc, Ellipse, Outline, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.impact import MODE, ImpactCheck, factors
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import Residual
from panelfem.reserve.records import LoadResult
from panelfem.reserve.sampling import Sampling

X, WIDE, FORCE = np.array([1.0, 0.0, 0.0]), 0.04, 4e3
STRIP = Laminate(parse_stack("[0/45/-45/90]_2s", library(), "T300-5208"))


@cache
def strip() -> tuple[Model, LoadCase]:
    """A strip 160 × 40 mm, held at one end and pressed at the other, delaminated in its middle."""
    area = Disc("D", np.array([0.07, WIDE / 2, 0]), 0.008, 0.006)
    end = Ellipse("end", np.array([0.15, WIDE / 2, 0]), np.array([0.0, 0, 1]), X, (0.009, WIDE), 0.02)
    mesh = mesh_outline(Outline(Ring.polygon([(0, 0), (0.16, 0), (0.16, WIDE), (0, WIDE)])), None, 0.02, (area, end))
    left = EdgeSupport("left", "clamped", Disc("held", np.array([-1.0, WIDE / 2, 0.0]), 1.0 + 2e-3, 1.0))
    panel = Panel("strip", mesh, (STRIP,), np.zeros(len(mesh.triangles), np.int64), X, edges=(left,))
    found = Delamination("D", "D", np.array([0.07, WIDE / 2, 0]), X, (0.008, 0.008), 8, impact_strain=3e-3)
    load = LoadCase("press", "patch", "force", AreaForce("end", np.array([-FORCE, 0, 0])))
    state = next(p for p in plans(Inputs(panel, (found,), (), (load,))) if p.name == "as found").states[0]
    return Model(state, 2, str), load


def pressed(*strains: float) -> LoadResult:
    """The strip with another value, or none."""
    model, load = strip()
    (area,), subject = model.panel.struck, model.subject
    panel = replace(model.panel, struck=tuple(replace(area, strain=strain) for strain in strains))
    subject = replace(subject.on(panel), struck=subject.struck[: len(strains)])
    return analyse(subject, load, Responder(model, (load,)).linear(load), Settings())[0]


def test_a_pressed_strip_breaks_at_its_strain_after_impact() -> None:
    """By hand: e = F/W (A⁻¹)₁₁, the same over the width far from the ends; the factor is the value over it."""
    strain = FORCE / WIDE * np.linalg.inv(STRIP.A)[0, 0]
    mode = next(m for m in pressed(3e-3).modes if m.mode == MODE)
    assert mode.factor == pytest.approx(3e-3 / strain, rel=0.01)
    assert (mode.grade, mode.where) == ("release", "at D")
    low = pressed(1.2e-3).release
    assert (low.mode, low.factor) == (MODE, pytest.approx(1.2e-3 / strain, rel=0.01))


def test_without_a_value_nothing_is_checked() -> None:
    assert MODE not in {m.mode for m in pressed().modes}


def test_factor_of_the_least_principal_strain() -> None:
    """Pure shear g has −g/2; a pull held back lowers nothing across it; what is held already counts."""
    shear = np.array([[0.0, 0.0, 2e-3]])
    assert factors(0 * shear, shear, 4e-3) == pytest.approx([4.0])
    assert factors(np.array([[-2e-3, 0.0, 0.0]]), np.array([[-1e-3, 0.0, 0.0]]), 4e-3) == pytest.approx([2.0])
    assert np.isinf(factors(0 * shear, np.array([[1e-3, 1e-3, 0.0]]), 4e-3)).all()
    assert np.isnan(factors(np.array([[-5e-3, 0.0, 0.0]]), shear, 4e-3)).all()


def check(record: Damage, k11: float, warmed: float = 0.0) -> list[float]:
    """The factor of a record on the sandwich under a curvature k11 (1/m), or of what is held alone."""
    panel = damaged(sandwich(), [record], ends([record])[0])
    at = int(np.flatnonzero(panel.mesh.inside["r2"])[0])
    points, empty = panel.mesh.centroids[[at]], np.zeros((0, 8))
    rows = [np.array([[0.0, 0, 0, k, 0, 0, 0, 0]]) for k in (0.0, k11)]
    held, now = (Observed(e, e[:, 6:], empty, empty[:, :2], empty[:, :6], empty[:, :6], ()) for e in rows)
    group = panel.laminate_of[[at]]
    none = Sampling(points, group, None, np.zeros(1), None)  # type: ignore[arg-type]
    residual = Residual(since_fitting=warmed)
    found = ImpactCheck(panel, none, (np.array([0]),), residual).reserves(held, now, True)
    return [m.factor for m in found]


@pytest.mark.parametrize("word", ["delamination", "dent", "softened"])
def test_which_skin_of_a_sandwich_is_looked_at(word: str) -> None:
    """Bent by k, a skin at z is strained by k z: of a dent its own skin counts, else either; at the soft end, where the
    area carries nothing, none."""
    record = replace(AREAS[word]("r2", RADII[2]), impact_strain=2e-3)
    z = sandwich().laminates[0].interfaces
    top = (z[-1] + z[3]) / 2 - (1e-3 if word == "dent" else 0.0)
    (up,), (down,) = check(record, -0.5), check(record, 0.5)
    assert up == pytest.approx(2e-3 / (0.5 * top))
    assert down == (np.inf if word == "dent" else pytest.approx(2e-3 / (0.5 * top)))
    assert not damaged(sandwich(), [record], ends([record])[-1]).struck or record.bracket is None
    assert not damaged(sandwich(), [AREAS[word]("r2", RADII[2])], ends([record])[0]).struck


def test_free_expansion_is_no_compression() -> None:
    """Held flat while it warms by 40 K, a laminate is compressed by what it would have grown, mid-skin: α ΔT."""
    record = replace(AREAS["softened"]("r2", RADII[2]), impact_strain=2e-3)
    laminate = sandwich().laminates[0]
    free = np.linalg.solve(laminate.ABD, laminate.thermal_resultants(40.0))
    z = (laminate.interfaces[-1] + laminate.interfaces[3]) / 2
    (factor,) = check(record, -0.5, warmed=40.0)
    least = (free[:3] + z * free[3:])[0]
    assert factor == pytest.approx((2e-3 - least) / (0.5 * z), rel=1e-3)
