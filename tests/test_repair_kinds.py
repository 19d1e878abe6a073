"""Every kind of repair: what it makes of a panel by hand, its bond line, what is left when the bond fails."""

from dataclasses import replace

import numpy as np
import pytest
from test_damage_repair import LIB, PARENT, PATCH, panel, patch  # noqa: F401

from panelfem.assess.plan import Inputs, plans, states
from panelfem.assess.remarks import remarks
from panelfem.assess.sweep import swept
from panelfem.case import Sweep
from panelfem.case.checks_repair import reach_faults
from panelfem.damage import SOFT, Hole, MissingFastener, Softened, damaged
from panelfem.damage.kinds.insert import TornInsert
from panelfem.errors import InputError
from panelfem.joint import pair_edge, taper_peaks, volkersen
from panelfem.joint.edge import strip
from panelfem.laminate import Laminate, parse_stack
from panelfem.repair import Insert, NoCredit, Option, ScarfRepair, cut, loose_half, near_skin, repaired

SANDWICH = Laminate(parse_stack("[0/45/foam-pvc-80:6mm/45/0]", LIB, "carbon-twill"))
HOLE = Hole("H", "hole", 3.8e-3)
DULL = Softened("D", "hole", 1e-3, 0.5)


def at(made, name):
    inside = made.mesh.inside
    where = inside["hole"] if name == "hole" else inside["patch"] & ~inside["hole"]
    return made.laminates[made.laminate_of[np.flatnonzero(where)[0]]]


def scarf(**change):
    made = ScarfRepair("S", "patch", PARENT, LIB["film-epoxy"], 0.2e-3, 1, 0.7, None, "hole", 30.0)
    return replace(made, **change)


def test_two_sided_patch_does_not_bend_a_whole_panel_that_is_pulled(panel):  # noqa: F811
    mended = repaired(panel, [replace(patch(), both_sides=True)])
    both = at(mended, "ring")
    assert both.thickness == pytest.approx(PARENT.thickness + 2 * (0.2e-3 + PATCH.thickness))
    assert np.abs(both.B).max() < 1e-9 * both.A.max() * both.thickness
    assert [p.side for p in mended.patches] == [1, -1]
    # each at its own height: hand calculation, as in the one-sided case
    face = PARENT.thickness / 2 + 0.2e-3
    assert mended.patches[0].laminate.interfaces[0] == pytest.approx(face)
    assert mended.patches[1].laminate.interfaces[-1] == pytest.approx(-face)
    assert mended.patches[1].laminate.plies[-1].angle == PATCH.plies[0].angle  # the first listed is at the bond


@pytest.mark.parametrize("plug", [None, LIB["foam-pvc-80"]])
def test_the_gap_between_two_patches_is_filled(panel, plug):  # noqa: F811
    mended = repaired(damaged(panel, [HOLE]), [replace(patch(), both_sides=True, plug=plug)])
    over = at(mended, "hole")
    assert over.plies[len(PATCH.plies) + 1].material == (plug or LIB["film-epoxy"])
    assert over.thickness == pytest.approx(at(mended, "ring").thickness)
    assert not mended.removed.any()


def test_doubler_keeps_its_plies_and_weakens_its_bond(panel):  # noqa: F811
    made = repaired(panel, [replace(patch(cured=0.5), precured=True)])
    assert at(made, "ring").plies[-1].material.Xt == LIB["T300-5208"].Xt
    assert made.patches[0].strength == 0.5


@pytest.mark.parametrize("side", [1, -1])
def test_core_plug_stands_on_the_far_skin(panel, side):  # noqa: F811
    sandwich = replace(panel, laminates=(SANDWICH,))
    plug = replace(patch(side, cut_out="hole"), plug=LIB["foam-pvc-80"])
    made = repaired(sandwich, [plug])
    over, ring = at(made, "hole"), at(made, "ring")
    assert over.thickness == pytest.approx(ring.thickness - near_skin(SANDWICH, side).thickness)
    assert over.interfaces[0 if side > 0 else -1] == pytest.approx(SANDWICH.interfaces[0 if side > 0 else -1])
    gone = cut(sandwich, [plug])
    assert not gone.removed.any()
    assert at(gone, "hole").thickness == pytest.approx(near_skin(SANDWICH, -side).thickness)
    with pytest.raises(InputError, match="far skin is gone"):
        repaired(damaged(sandwich, [HOLE]), [plug])


def test_scarf_patch_restores_the_laminate(panel):  # noqa: F811
    mended = repaired(damaged(panel, [HOLE]), [scarf()])
    assert mended.stiffness() == pytest.approx(panel.stiffness())
    assert mended.mass() == pytest.approx(panel.mass())
    assert at(mended, "hole").plies[0].material.Xt == pytest.approx(0.7 * PARENT.plies[0].material.Xt)
    assert (cut(panel, [scarf()]).removed == panel.mesh.inside["patch"]).all()


def test_scarf_patch_restores_one_skin_of_a_sandwich_and_no_more(panel):  # noqa: F811
    sandwich = replace(panel, laminates=(SANDWICH,))
    skin = Laminate(near_skin(SANDWICH, 1).plies)
    mended = repaired(sandwich, [scarf(laminate=skin)])
    assert mended.stiffness() == pytest.approx(sandwich.stiffness())
    assert at(cut(sandwich, [scarf(laminate=skin)]), "ring").thickness == pytest.approx(6e-3 + skin.thickness)
    with pytest.raises(InputError, match="holed through a sandwich"):
        repaired(damaged(sandwich, [HOLE]), [scarf(laminate=skin)])


def test_re_potted_insert_changes_rating_and_stiffness(panel):  # noqa: F811
    springs = replace(panel.fasteners[0], in_plane=1e6, out_of_plane=2e6, fitted=False, rating_pull=900.0)
    loose = replace(panel, fasteners=(springs,))
    insert = Insert("I", "F1", "re-potted", 1000.0, 500.0, 0.5, 0.6)
    made = repaired(loose, [insert]).fasteners[0]
    assert (made.fitted, made.in_plane, made.rating_shear, made.rating_pull) == (True, 5e5, 600.0, 300.0)
    option = Option("potted", (insert,), 20.0)
    inputs = Inputs(loose, (MissingFastener("torn", "F1"),), (option,), ())
    plan = plans(inputs)[2]
    assert not plan.contingencies
    assert plan.states[0].panel.fasteners[0].rating_pull == 300.0
    weaker = swept(inputs, Sweep("cured", "I", 0.5, 1.0), 0.5).inputs
    assert plans(weaker)[2].states[0].panel.fasteners[0].rating_pull == pytest.approx(150.0)


def test_oversize_insert_ends_the_damage_of_its_fixing(panel):  # noqa: F811
    """By hand: ratings by the cured share, stiffness by its own share of the sound fixing's, at either end of a torn
    insert, of which nothing is left."""
    springs = replace(panel.fasteners[0], in_plane=1e6, out_of_plane=2e6, rating_shear=700.0)
    held = replace(panel, fasteners=(springs,))
    insert = Insert("I", "F1", "oversize", 1000.0, None, 1.5, 0.9)
    plan = plans(Inputs(held, (TornInsert("torn", "F1", 0.5, 0.5),), (Option("larger", (insert,), 20.0),), ()))[2]
    (made,) = (state.panel.fasteners[0] for state in plan.states)
    assert (made.out_of_plane, made.in_plane) == (3e6, 1.5e6)
    assert (made.rating_shear, made.rating_pull, made.fitted) == (900.0, None, True)
    assert plan.left == ()


def no_credit(panel, what):  # noqa: F811
    option = Option("recorded", (NoCredit("N", what, "D"),), 20.0)
    every = plans(Inputs(panel, (DULL,), (option,), ()))
    assert [s.key for s in every[2].states] == [s.key for s in every[1].states]
    assert every[2].left == (DULL,)
    assert f"N: {what} of D is recorded, and no strength is counted for it" in every[2].remarks


def test_resin_injection_changes_nothing_and_says_so(panel):  # noqa: F811
    no_credit(panel, "resin injection")


def test_stop_drilling_changes_nothing_and_says_so(panel):  # noqa: F811
    no_credit(panel, "stop-drilling")


def test_out_of_the_ordinary_joints_are_said(panel):  # noqa: F811
    steep = repaired(panel, [scarf(slope=10.0)])
    assert "steeper than 1:20" in remarks([scarf(slope=10.0)], steep)[0]
    assert not remarks([scarf()], steep)
    short = remarks([scarf(slope=None, step=5e-3)], steep)
    assert "12.7 mm a ply" in short[0]
    assert not remarks([patch()], repaired(panel, [patch()]))


@pytest.mark.parametrize("action", [patch(), replace(patch(), both_sides=True), scarf()], ids=["one", "two", "scarf"])
def test_half_a_bond_leaves_half_the_repair(panel, action):  # noqa: F811
    off_centre = panel.mesh.inside["patch"] & (panel.mesh.centroids[:, 0] < 0.25)
    made = replace(panel, mesh=replace(panel.mesh, inside={**panel.mesh.inside, "patch": off_centre}))
    off = loose_half(made, "patch")
    middle = made.mesh.areas[off_centre] @ made.mesh.centroids[off_centre] / made.mesh.areas[off_centre].sum()
    assert (made.mesh.centroids[off][:, 0] > middle[0]).all()
    assert 0.3 < made.mesh.areas[off].sum() / made.mesh.areas[off_centre].sum() < 0.7
    holed = damaged(made, [HOLE])
    half, gone, whole = repaired(holed, [action], half_bonded=True), cut(holed, [action]), repaired(holed, [action])
    assert half.stiffness()[off] == pytest.approx(gone.stiffness()[off])
    assert (half.removed[off] == gone.removed[off]).all()
    on = off_centre & ~off
    assert half.stiffness()[on] == pytest.approx(whole.stiffness()[on])
    assert (half.patches[0].off == off).all()


def test_gone_and_half_bonded_are_always_run(panel):  # noqa: F811
    options = tuple(
        Option(name, (action,), 9.0)
        for name, action in (("scarf", scarf()), ("pair", replace(patch(), name="Q", both_sides=True)))
    )
    every = plans(Inputs(panel, (DULL,), options, ()))
    for plan in every[2:]:
        names = {s.name.split(",")[0] for s in plan.contingencies}
        assert names == {"patch gone", "patch half bonded"}
    # cut down over the whole scarf, the panel is not the one as found
    assert every[2].contingencies[0].key not in [s.key for s in every[1].states]
    assert len(states(every)) == len({s.key for p in every for s in (*p.states, *p.contingencies)})
    assert SOFT not in [s.name for s in every[2].states]


def test_a_pair_is_a_double_lap():
    """Pulled, long: half of a double lap that does not bend has τ = k ε/λ at its edge, λ² = k (1/A1 + 1/A2) (Volkersen
    1938, recalled); a patch that bends freely gives way as 4/A2, and the truth, held by peel, lies between."""
    N, none = np.array([1e5]), np.zeros(1)
    glue = LIB["paste-epoxy"]
    thin = Laminate(parse_stack("[0]2", LIB, "T300-5208"))
    shear, _ = pair_edge(PARENT, thin, glue, 2e-4, 0.05, N, none, none)
    a, b, k = strip(PARENT, 0.0, 1, "parent").A / 2, strip(thin, 0.0, 1, "patch").A, glue.G / 2e-4
    lag, free = (k * 0.5e5 / a / np.sqrt(k * (1 / a + soft / b)) for soft in (1, 4))
    assert free < shear[0] < lag
    volkersen_long = volkersen(0.5e5, 0.05, a, b, glue.G, 2e-4)[0]
    assert lag == pytest.approx(volkersen_long, rel=1e-3)
    inner, _ = pair_edge(PARENT, thin, glue, 2e-4, 0.05, N, none, none, inner=True)
    assert free * 2 * a / b < inner[0] < lag * 2 * a / b
    # bent: the middle of the parent does not stretch, its face by M t/(2 D); the patch is as before
    D, t = strip(PARENT, 0.0, 1, "parent").D, PARENT.thickness
    bent, _ = pair_edge(PARENT, thin, glue, 2e-4, 0.05, none, np.array([10.0]), none)
    lower, upper = (k * 10.0 * t / 2 / D / np.sqrt(k * (t**2 / 4 / (D / 2) + soft / b)) for soft in (4, 1))
    assert lower < bent[0] < 1.1 * upper


def test_a_scarf_bond_in_numbers():
    """Equal plies: mean shear over the length (Hart-Smith 1974, recalled); bending counts as 6 M/t; either side."""
    even = Laminate(parse_stack("[0]4", LIB, "T300-5208"))
    N, M = np.array([1e5, 0.0, -1e5]), np.array([0.0, 10.0, 0.0])
    for side in (1, -1):
        shear, peel = taper_peaks(even, even, (30.0, None), LIB["film-epoxy"], 2e-4, side, N, M)
        assert shear == pytest.approx(np.array([1e5, 60.0 / even.thickness, 1e5]) / (30 * even.thickness), rel=1e-3)
        assert peel == pytest.approx([shear[0] / 30, shear[1] / 30, 0.0])
    quasi = Laminate(parse_stack("[0/45/-45/90]s", LIB, "T300-5208"))
    flat, steep = (taper_peaks(quasi, quasi, (n, None), LIB["film-epoxy"], 2e-4, 1, N, M)[0][0] for n in (50.0, 20.0))
    assert steep > flat > 1e5 / (50 * quasi.thickness)
    turned = [taper_peaks(quasi, quasi, (None, 0.01), LIB["film-epoxy"], 2e-4, 1, N, M, a)[0][0] for a in (0.0, np.pi)]
    assert turned[0] == pytest.approx(turned[1])
    with pytest.raises(InputError, match="3 new plies take the place of 8"):
        taper_peaks(quasi, Laminate(quasi.plies[:3]), (30.0, None), LIB["film-epoxy"], 2e-4, 1, N, M)


def test_stepped_patch_sheds_a_ply_at_each_step(panel):  # noqa: F811
    """Equal plies: each step hands over its own n-th of the load, over its own length, so that the mean shear is
    N/(n step), and steps as long as their plies' scarf bear alike (by hand)."""
    made = scarf(slope=None, step=0.02)
    mended = repaired(damaged(panel, [HOLE]), [made])
    assert mended.stiffness() == pytest.approx(panel.stiffness())
    assert mended.patches[0].taper.step == 0.02
    even = Laminate(parse_stack("[0]4", LIB, "T300-5208"))
    pull, none = np.array([1e5]), np.zeros(1)
    shear, _ = taper_peaks(even, even, (None, 0.02), LIB["film-epoxy"], 2e-4, 1, pull, none)
    assert shear[0] >= 1e5 / 4 / 0.02
    longer, _ = taper_peaks(even, even, (None, 0.04), LIB["film-epoxy"], 2e-4, 1, pull, none)
    assert shear[0] / 2 <= longer[0] < shear[0]


def test_a_taper_keeps_clear_of_edges_and_fixings(panel):  # noqa: F811
    option = Option("let in", (scarf(),), 50.0)

    def over(where):
        return replace(panel, mesh=replace(panel.mesh, inside={**panel.mesh.inside, "patch": where}))

    inner = panel.mesh.inside["hole"]
    assert not list(reach_faults([option], replace(over(inner), fasteners=())))
    (fault,) = reach_faults([option], over(np.ones_like(inner)))
    assert fault.path == "option[0].actions[0]"
    assert "the taper of 'S' runs" in fault.what
    (edge,) = reach_faults([option], replace(over(np.ones_like(inner)), fasteners=()))
    assert "runs over an edge of the panel" in edge.what
