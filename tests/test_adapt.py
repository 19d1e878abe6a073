"""Meshes of an assessment: what is carried over, where they are finer, and that they end sound."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from test_assess import DULL, STRIP, plate

from panelfem.arrays import FloatArray
from panelfem.assess import assess
from panelfem.assess.adapt import FINEST, MOST_ELEMENTS, SHARP, on_mesh, refined, sharpened
from panelfem.assess.plan import Inputs, State, plans, states
from panelfem.assess.shares import Wish
from panelfem.case import Case, build
from panelfem.case.schema import CaseFile
from panelfem.mesh import adapt
from panelfem.panel import Panel
from panelfem.verify.adapted import PROBLEMS, Problem, judged


def case_of(text: str) -> Case:
    """A case from its text, made for meshes that are not adapted unless it says otherwise."""
    return build(CaseFile.model_validate(tomllib.loads(text)), Path("made up.toml"))


def edge_lengths(panel: Panel) -> FloatArray:
    return np.linalg.norm(np.diff(panel.mesh.vertices[panel.mesh.edges], axis=1)[:, 0], axis=1)


L_SHAPE = STRIP.replace(
    "corners_mm = [[0, 0], [200, 0], [200, 40], [0, 40]]",
    "corners_mm = [[0, 0], [200, 0], [200, 80], [100, 80], [100, 200], [0, 200]]",
).replace("element_size_mm = 10", "")


def test_zones_regions_and_supported_stretches_are_carried_over() -> None:
    panel = case_of(plate(DULL)).panel
    assert panel is not None
    made = on_mesh(panel, adapt(panel.mesh, np.full(len(panel.mesh.vertices), 0.012)))
    assert len(made.mesh.triangles) != len(panel.mesh.triangles)
    for number in range(len(panel.laminates)):
        areas = [p.mesh.areas[p.laminate_of == number].sum() for p in (panel, made)]
        assert areas[1] == pytest.approx(areas[0], rel=1e-2)
    for name, inside in panel.mesh.inside.items():
        assert made.mesh.areas[made.mesh.inside[name]].sum() == pytest.approx(panel.mesh.areas[inside].sum(), rel=5e-2)


def test_a_supported_stretch_keeps_its_ends() -> None:
    """A region that takes the edges whose middles it holds would grow and shrink with them."""
    text = STRIP.replace("[[199, -1], [201, -1], [201, 41], [199, 41]]", "[[149, -1], [201, -1], [201, 1], [149, 1]]")
    panel = case_of(text).panel
    assert panel is not None
    for size in (0.006, 0.023):
        made = on_mesh(panel, adapt(panel.mesh, np.full(len(panel.mesh.vertices), size), _stretch_ends(panel)))
        lengths = []
        for p in (panel, made):
            ends = p.mesh.vertices[p.mesh.boundary_edges]
            region = p.edges[1].region
            assert region is not None
            on = region.distance(ends.mean(axis=1)) <= 0
            lengths.append(np.linalg.norm(np.diff(ends[on], axis=1)[:, 0], axis=1).sum())
        assert lengths[1] == pytest.approx(lengths[0], abs=1e-6)


def _stretch_ends(panel: Panel) -> np.ndarray:
    from panelfem.assess.adapt import _ends

    return _ends(panel)


def test_singular_places_are_fine_from_the_start() -> None:
    case = case_of(L_SHAPE)
    panel = case.panel
    assert panel is not None

    def again(panel: Panel) -> tuple[State, ...]:
        return tuple(states(plans(Inputs(panel, (), (), case.loads))).values())

    made = sharpened(panel, again, 2)
    corner = np.array([0.1, 0.08, 0.0])
    nearest = int(np.linalg.norm(made.mesh.vertices - corner, axis=1).argmin())
    assert np.linalg.norm(made.mesh.vertices[nearest] - corner) < 1e-9
    at = (made.mesh.edges == nearest).any(axis=1)
    assert edge_lengths(made)[at].mean() < 3.0 * SHARP * 3.8e-3


def test_the_next_mesh_is_finer_where_the_error_comes_from_and_nowhere_coarser() -> None:
    panel = case_of(plate(DULL)).panel
    assert panel is not None
    near = np.linalg.norm(panel.mesh.centroids - panel.mesh.centroids[0], axis=1) < 0.03
    shares = np.where(near, 4.0 / near.sum(), 1e-4)[:, None]
    none = np.zeros(0, np.int64)
    made = refined(panel, [Wish(shares, np.ones(len(shares)), none)], 2)
    assert made is not None
    again = np.linalg.norm(made.mesh.centroids - panel.mesh.centroids[0], axis=1) < 0.03
    assert made.mesh.areas[again].mean() < 0.5 * panel.mesh.areas[near].mean()
    assert len(panel.mesh.triangles) < len(made.mesh.triangles) <= MOST_ELEMENTS
    assert edge_lengths(made).min() > 0.3 * FINEST


def test_where_smaller_elements_do_not_help_it_stops_and_says_so() -> None:
    """Interlaminar shear at the end of a hinged edge of a thin laminate lies in a zone thinner than any element."""
    found = assess(case_of(L_SHAPE))
    assert found.meshing is not None
    assert not found.meshing.met
    assert found.meshing.stopped == "smaller elements no longer help"
    assert found.meshing.meshes[-1].what == "interlaminar shear"
    assert found.meshing.meshes[-1].worst > found.meshing.accuracy == 0.02
    result = found.configurations[0].variants[0].loads[0]
    assert result.deflection.bar <= 0.02 * result.deflection.value


@pytest.mark.parametrize("problem", PROBLEMS[:1], ids=lambda p: p.name)
def test_default_accuracy_is_met_and_true(problem: Problem) -> None:
    """The others are in `panelfem verify --full`."""
    for row in judged(problem):
        what = (row.quantity, row.ours, row.reference, row.bar)
        assert row.passed, what
        assert row.covered, what


def test_the_same_case_gives_the_same_mesh_and_numbers() -> None:
    one, two = (assess(case_of(L_SHAPE)) for _ in range(2))
    assert np.array_equal(one.mesh.vertices, two.mesh.vertices)
    assert [m.factor for m in one.configurations[0].variants[0].loads[0].modes] == [
        m.factor for m in two.configurations[0].variants[0].loads[0].modes
    ]
