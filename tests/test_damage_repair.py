"""What damage and repair make of a panel, on a flat square of which every number can be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from panelfem.assess.plan import Inputs, plans, states
from panelfem.damage import SOFT, STIFF, Hole, MissingFastener, Softened, damaged, ends
from panelfem.errors import InputError
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.material import library
from panelfem.mesh import PanelMesh
from panelfem.panel import Fastener, Panel
from panelfem.repair import Option, PatchRepair, Refit, Spare, Tape, cut, repaired

LIB = library()
PARENT = Laminate(parse_stack("[0/90]s", LIB, "T300-5208"))
PATCH = Laminate(parse_stack("[0/90]", LIB, "T300-5208"))


@pytest.fixture
def panel():
    x = np.linspace(0.0, 0.4, 5)
    points = np.array([[a, b, 0.0] for a in x for b in x])
    cells = [(5 * i + j, 5 * (i + 1) + j, 5 * (i + 1) + j + 1, 5 * i + j + 1) for i in range(4) for j in range(4)]
    triangles = np.array([t for a, b, c, d in cells for t in ((a, b, c), (a, c, d))])
    centre = points[triangles].mean(1)[:, :2] - 0.2
    inside = {"hole": (abs(centre) < 0.1).all(1), "patch": (abs(centre) < 0.2).all(1) & (abs(centre).max(1) < 0.15)}
    mesh = PanelMesh(points, triangles, inside)
    fixing = Fastener("F1", points[0], np.array([0.0, 0, 1]), 0.05, np.inf, np.inf)
    return Panel("square", mesh, (PARENT,), np.zeros(len(triangles), np.int64), np.array([1.0, 0, 0]), (fixing,))


def patch(side=1, cured=1.0, cut_out=None):
    return PatchRepair("P", "patch", PATCH, LIB["film-epoxy"], 0.2e-3, side, cured, None, cut_out)


def test_hole_takes_its_elements_and_mass(panel):
    holed = damaged(panel, [Hole("H", "hole", 3.8e-3)])
    area = panel.mesh.areas[panel.mesh.inside["hole"]].sum()
    assert panel.mass() - holed.mass() == pytest.approx(area * PARENT.areal_mass)
    assert (holed.removed == panel.mesh.inside["hole"]).all()


def test_softened_is_weak_at_one_end_and_slack_at_the_other(panel):
    dull = Softened("D", "hole", 1e-3, 0.5)
    assert ends([dull]) == (STIFF, SOFT)
    at = np.flatnonzero(panel.mesh.inside["hole"])[0]
    stiff, soft = (damaged(panel, [dull], end) for end in (STIFF, SOFT))
    assert stiff.stiffness()[at] == pytest.approx(PARENT.stiffness)
    assert stiff.laminates[stiff.laminate_of[at]].plies[0].material.Xt == 0.5 * PARENT.plies[0].material.Xt
    assert soft.stiffness()[at] == pytest.approx(1e-3 * PARENT.stiffness)
    assert soft.slack[at]
    assert not stiff.slack.any()


def test_refit_puts_the_fixing_back_as_it_was(panel):
    gone = damaged(panel, [MissingFastener("gone", "F1")])
    assert repaired(gone, [Refit("back", "F1")]).fasteners == panel.fasteners


def test_missing_fastener_is_not_fitted(panel):
    assert not damaged(panel, [MissingFastener("gone", "F1")]).fasteners[0].fitted
    with pytest.raises(InputError, match="no fixing is called 'F9'"):
        damaged(panel, [MissingFastener("gone", "F9")])


@pytest.mark.parametrize("side", [1, -1])
def test_patch_is_eccentric_and_spans_a_hole_at_its_own_height(panel, side):
    holed = damaged(panel, [Hole("H", "hole", 3.8e-3)])
    mended = repaired(holed, [patch(side)])
    over = np.flatnonzero(panel.mesh.inside["patch"] & ~panel.mesh.inside["hole"])[0]
    gap = np.flatnonzero(panel.mesh.inside["hole"])[0]
    both, alone = (mended.laminates[mended.laminate_of[i]] for i in (over, gap))
    face = PARENT.thickness / 2 + 0.2e-3
    assert both.thickness == pytest.approx(PARENT.thickness + 0.2e-3 + PATCH.thickness)
    assert np.sign(both.B[0, 0]) == side
    low, high = (face, face + PATCH.thickness) if side > 0 else (-face - PATCH.thickness, -face)
    assert alone.interfaces[[0, -1]] == pytest.approx([low, high])
    # hand calculation: first moment of a layer is A times the height of its middle
    assert alone.B[0, 0] == pytest.approx(PATCH.A[0, 0] * (low + high) / 2 + side * PATCH.B[0, 0], rel=1e-9)
    assert not mended.removed.any()
    bond = mended.patches[0]
    assert (bond.bridging == panel.mesh.inside["hole"]).all()


def test_the_ply_at_the_bond_is_the_first_listed_on_either_side(panel):
    for side, at in ((1, 0), (-1, -1)):
        mended = repaired(damaged(panel, [Hole("H", "hole", 3.8e-3)]), [patch(side)])
        assert mended.patches[0].laminate.plies[at].angle == PATCH.plies[0].angle


def test_a_cure_weakens_plies_and_bond_but_not_their_stiffness(panel):
    mended = repaired(panel, [patch(cured=0.6)])
    top = mended.laminates[mended.laminate_of[np.flatnonzero(panel.mesh.inside["patch"])[0]]].plies[-1].material
    assert top.Xt == pytest.approx(0.6 * LIB["T300-5208"].Xt)
    assert top.E1 == LIB["T300-5208"].E1
    assert mended.patches[0].strength == 0.6


def test_a_patch_over_a_slack_area_spans_it(panel):
    slack = damaged(panel, [Softened("D", "hole", 1e-3, 0.5)], SOFT)
    mended = repaired(slack, [patch()])
    assert (mended.patches[0].bridging == panel.mesh.inside["hole"]).all()
    assert not mended.slack.any()


def test_cutting_out_leaves_a_hole_when_the_patch_is_gone(panel):
    assert (cut(panel, [patch(cut_out="hole")]).removed == panel.mesh.inside["hole"]).all()


def test_tape_adds_mass_only(panel):
    taped = repaired(panel, [Tape("T", "hole", 0.2)])
    area = panel.mesh.areas[panel.mesh.inside["hole"]].sum()
    assert taped.mass() - panel.mass() == pytest.approx(0.2 * area)
    assert (taped.stiffness() == panel.stiffness()).all()


def test_spare_is_an_option_of_its_own(panel):
    with pytest.raises(InputError, match="not a repair"):
        repaired(panel, [Spare("S")])


def test_states_are_shared_where_the_panel_is_the_same(panel):
    options = (
        Option("tape", (Tape("T", "hole", 0.2),), 5.0),
        Option("patch", (patch(),), 30.0),
        Option("spare", (Spare("S"),), 40.0),
    )
    every = plans(Inputs(panel, (Hole("H", "hole", 3.8e-3),), options, ()))
    assert [p.name for p in every] == ["undamaged", "as found", "tape", "patch", "spare"]
    # undamaged (and spare); as found (and taped, and patch gone); patched; half bonded
    assert len(states(every)) == 4
    assert [s.name for s in every[3].contingencies] == ["patch gone", "patch half bonded"]
    assert every[3].contingencies[0].key == every[1].states[0].key


def test_cutting_the_dull_area_out_ends_its_bracket(panel):
    option = Option("cut", (patch(cut_out="hole"),), 30.0)
    plan = plans(Inputs(panel, (Softened("D", "hole", 1e-3, 0.5),), (option,), ()))[2]
    assert len(plan.states) == 1
    assert plan.left == ()


def test_a_laminate_keeps_its_layers_when_plies_are_exchanged(panel):
    other = Laminate((Ply(LIB["T300-5208"], 1e-3, 0.0),))
    changed = panel.relaid(panel.mesh.inside["hole"], {0: other})
    assert changed.stiffness()[panel.mesh.inside["hole"]] == pytest.approx(np.broadcast_to(other.stiffness, (8, 8, 8)))
    assert replace(changed).mass() > panel.mass()
