"""Fasteners in a laminate: the published rules by hand, laminate strengths, and the check on a panel."""

import math
from dataclasses import replace

import numpy as np
import pytest

from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, plans
from panelfem.assess.respond import Responder
from panelfem.errors import InputError
from panelfem.joint import bolted
from panelfem.joint.bolted import Hole, net_tension, strengths
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.loads import AreaForce, LoadCase
from panelfem.material import library
from panelfem.mesh import Disc, Outline, PanelMesh, PlanPolygon, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Fastener, Panel
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.bolted import BoltedCheck, advice, edge_distance, limits
from panelfem.reserve.observe import Observed

BOOK = library()
X, Z = np.array([1.0, 0, 0]), np.array([0.0, 0, 1])
SKIN = Laminate(parse_stack("[0/45/-45/90]s", BOOK, "T300-5208"))


def test_net_tension_by_hand():
    """d 6, w 30, e 30, t 2 mm, F 400 MPa: k = 2 + 4 − 1.5·4/6 = 5, relieved to 1 + 0.25·4 = 2 (Hart-Smith, recalled);
    the open hole: 2 + 0.8³ = 2.512, relieved to 1.378 (Heywood, recalled)."""
    hole = Hole(6e-3, 2e-3, 0.03, 0.03)
    net = 400e6 * 24e-3 * 2e-3
    assert net_tension(hole, 400e6) == pytest.approx(net / 2)
    assert net_tension(hole, 400e6, by_pass=4e3) == pytest.approx((net - 4e3 * 1.378) / 2)
    assert net_tension(hole, 400e6, by_pass=1e5) == 0.0
    # a shorter edge concentrates more: θ = 1.5 − 0.5·30/15 = 0.5, k = 2 + 4 − 0.5 = 5.5
    assert bolted.loaded_concentration(Hole(6e-3, 2e-3, 0.015, 0.03)) == pytest.approx(5.5)


def test_laminate_strengths_in_closed_form():
    """One direction of fibre by hand; a fabric on the bias; a quasi-isotropic stack by the strain of its 0° plies."""
    ud = PLY = BOOK["T300-5208"]
    across = strengths(Laminate(parse_stack("[90]4", BOOK, "T300-5208")), 0.0)
    assert (across.tension, across.shear) == pytest.approx((ud.Yt, ud.S))
    # a fabric at 45° pulled along 0: shear in its own axes is half the stress
    cloth = BOOK["carbon-twill"]
    bias = strengths(Laminate(parse_stack("[45]4", BOOK, "carbon-twill")), 0.0)
    assert bias.tension == pytest.approx(2 * cloth.S)
    assert bias.shear == pytest.approx(min(cloth.Xc, cloth.Yc))
    # quasi-isotropic: the same in all directions of its fibres, by the strain at which a 0° ply breaks
    quasi = strengths(SKIN, 0.0)
    Ex = SKIN.engineering_constants().Ex
    strain = quasi.tension / Ex
    nu = SKIN.engineering_constants().nuxy
    Q = PLY.E1 / (1 - PLY.nu12**2 * PLY.E2 / PLY.E1)
    assert Q * strain * (1 - PLY.nu12 * PLY.E2 / PLY.E1 * nu) == pytest.approx(PLY.Xt, rel=1e-6)
    assert strengths(SKIN, math.pi / 4).tension == pytest.approx(quasi.tension)
    with pytest.raises(InputError, match="no ply of fibre"):
        strengths(Laminate(parse_stack("[foam-pvc-80:10mm]", BOOK, "carbon-twill")), 0.0)


def test_advice_and_what_cannot_be():
    assert len(bolted.hole_advice(Hole(6e-3, 2e-3, 0.012, 0.024))) == 2
    assert not bolted.hole_advice(Hole(6e-3, 2e-3, 0.0181, 0.0301))
    with pytest.raises(InputError, match="runs into the edge"):
        Hole(6e-3, 2e-3, 2e-3, 0.030)
    with pytest.raises(InputError, match="diameter is 0"):
        Hole(0.0, 2e-3, 2e-3, 0.030)


def test_a_matrix_carries_where_fibres_lie_close_together():
    """Three directions a few degrees apart are no net: across them a laminate is as strong as its matrix."""
    ply = BOOK["T300-5208"]
    for stack in ("[0/10/-10]s", "[0/1/2]", "[0/30/-30]s"):
        found = strengths(Laminate(parse_stack(stack, BOOK, "T300-5208")), math.pi / 2)
        assert found.tension < 2.0 * ply.Yt
    fanned = strengths(Laminate(parse_stack("[0/60/-60]s", BOOK, "T300-5208")), math.pi / 2)
    assert fanned.tension > 5.0 * ply.Yt


def test_a_washer_is_pulled_through_the_thinner_skin():
    panel = square()
    sandwich = Laminate(parse_stack("[0/45/foam-pvc-80:6mm/0]", BOOK, "T300-5208"))
    thin = limits(replace(panel, laminates=(sandwich,)), panel.fasteners[0])[1]
    alone = Laminate(parse_stack("[0]", BOOK, "T300-5208"))
    assert thin == pytest.approx(limits(replace(panel, laminates=(alone,)), panel.fasteners[0])[1])


def test_what_is_odd_about_a_hole_is_said():
    panel = square()
    assert not advice(panel)
    close = replace(panel.fasteners[0], hole_diameter=10e-3)
    assert advice(replace(panel, fasteners=(close,)))[0].startswith("at F1, an edge distance of 2 diameters")


def square():
    x = np.linspace(0.0, 0.1, 11)
    points = np.array([[a, b, 0.0] for a in x for b in x])
    cells = [(11 * i + j, 11 * (i + 1) + j, 11 * (i + 1) + j + 1, 11 * i + j + 1) for i in range(10) for j in range(10)]
    triangles = np.array([t for a, b, c, d in cells for t in ((a, b, c), (a, c, d))])
    middles = points[triangles].mean(axis=1)
    at = np.array([0.03, 0.02, 0.0])
    washer = np.linalg.norm(middles - at, axis=1) < 0.01
    fixing = Fastener("F1", at, np.array([0.0, 0, 1]), 8e-3, np.inf, np.inf, hole_diameter=5e-3, bearing_strength=400e6)
    mesh = PanelMesh(points, triangles, {"washer F1": washer})
    return Panel("square", mesh, (SKIN,), np.zeros(len(triangles), np.int64), np.array([1.0, 0, 0]), (fixing,))


def observed(panel, force, strain=(0.0,) * 8):
    nothing = np.zeros((0, 8))
    fields = dict.fromkeys(Observed.__dataclass_fields__, nothing)
    around = np.array([strain])
    return Observed(**{**fields, "reactions": np.array([[*force, 0.0, 0.0, 0.0]]), "area_strain": around})


def test_the_check_on_a_panel():
    panel = square()
    fixing = panel.fasteners[0]
    assert edge_distance(panel, fixing) == pytest.approx(0.02)
    along, pull = limits(panel, fixing)
    assert along["bearing at the hole"] == pytest.approx(400e6 * 5e-3 * 1e-3)
    weak = min(strengths(SKIN, a).shear for a in np.radians(np.arange(0, 180, 15)))
    assert along["shear-out to the edge"] == pytest.approx(2 * weak * 0.02 * 1e-3)
    assert pull == pytest.approx(math.pi * 0.016 * 1e-3 * BOOK["T300-5208"].Sil)
    held, now = observed(panel, (0.0, 0.0, 0.0)), observed(panel, (600.0, -800.0, 100.0))
    found = {m.mode: m for m in BoltedCheck(panel, lambda p: "").reserves(held, now, True)}
    assert found["bearing at the hole"].factor == pytest.approx(2000 / 1000)
    assert found["pull-through of the washer"].factor == pytest.approx(pull / 100)
    assert {m.where for m in found.values()} == {"at F1"}


def test_damage_that_reaches_the_hole_leaves_nothing():
    panel = square()
    middles = panel.mesh.vertices[panel.mesh.triangles].mean(axis=1)
    gone = (middles[:, 0] > 0.03) & (middles[:, 0] < 0.05) & (middles[:, 1] < 0.05)
    torn = replace(panel, removed=gone)
    held, now = observed(torn, (0.0, 0.0, 0.0)), observed(torn, (1.0, 0.0, 0.0))
    found = BoltedCheck(torn, lambda p: "").reserves(held, now, True)
    assert found[0].status == "zero load"
    loose = replace(panel, fasteners=(replace(panel.fasteners[0], fitted=False),))
    assert not BoltedCheck(loose, lambda p: "").reserves(held, now, True)
    silent = replace(panel, fasteners=(replace(panel.fasteners[0], bearing_strength=None),))
    assert not BoltedCheck(silent, lambda p: "").reserves(held, now, True)


def test_net_tension_takes_the_by_pass_from_the_field():
    """By hand, a quasi-isotropic skin: P = 1 kN, and N w round it; pressed, or pulled by less than P/2, P alone is
    left; without P the open hole is."""
    panel = square()
    hole = Hole(5e-3, 1e-3, 0.02, 0.04)
    loaded, free = bolted.relieved(hole)
    net = min(strengths(SKIN, a).tension for a in np.radians(np.arange(0, 180, 15))) * 35e-3 * 1e-3

    def factor(P, passing, held=0.0):
        pulled = np.linalg.solve(SKIN.A, [1.0, 0, 0])
        strains = [np.r_[pulled * (by + own / 2) / 0.04, np.zeros(5)] for by, own in ((held, 0.0), (passing + held, P))]
        before, after = observed(panel, (0.0, 0, 0), strains[0]), observed(panel, (P, 0.0, 0.0), strains[1])
        found = {m.mode: m for m in BoltedCheck(panel, lambda p: "").reserves(before, after, True)}
        return found["net tension at the hole"].factor

    assert factor(1e3, 2e3) == pytest.approx(net / (1e3 * loaded + 2e3 * free), rel=1e-6)
    assert factor(1e3, 0.0) == pytest.approx(net / (1e3 * loaded), rel=1e-6)
    assert factor(1e3, -3e3) == pytest.approx(net / (1e3 * loaded), rel=1e-6)
    assert factor(0.0, 2e3) == pytest.approx(net / (2e3 * free), rel=1e-6)
    assert factor(1e3, 0.0, held=2e3) == pytest.approx((net - 2e3 * free) / (1e3 * loaded), rel=1e-6)
    assert math.isnan(factor(1e3, 0.0, held=2 * net / free))


def test_half_the_load_of_a_strip_passes_its_bolt():
    """A strip 60 mm wide is held at its end and by a bolt in its middle, and pulled at the other end: what the bolt
    does not take passes by (statics): about half, its spring being about as stiff as the strip behind it."""
    wide, long, pull = 0.06, 0.3, 2e3
    skin = Laminate((Ply(replace(BOOK["carbon-twill"], nu12=0.0), 2e-3, 0.0),))
    at = np.array([long / 2, wide / 2, 0.0])
    spring = 1.25 * float(skin.A[0, 0]) * wide / (long / 2)  # a quarter more for what gives way round the washer
    bolt = Fastener("F1", at, Z, 8e-3, spring, np.inf, hole_diameter=6e-3, bearing_strength=400e6)
    end = PlanPolygon("end", np.array([[long - 0.02, -1], [1, -1], [1, 1], [long - 0.02, 1]]), 0.02)
    corners = [(0, 0), (long, 0), (long, wide), (0, wide)]
    mesh = mesh_outline(Outline(Ring.polygon(corners)), None, 0.02, (Disc("washer F1", at, 8e-3, 6e-3), end))
    left = PlanPolygon("left", np.array([[-1.0, -1], [1e-4, -1], [1e-4, 1], [-1, 1]]), 1.0)
    everywhere = np.zeros(len(mesh.triangles), np.int64)
    panel = Panel("strip", mesh, (skin,), everywhere, X, (bolt,), edges=(EdgeSupport("left", "clamped", left),))
    load = LoadCase("pull", "patch", "force", AreaForce("end", np.array([pull, 0, 0])))
    model = Model(plans(Inputs(panel, (), (), (load,)))[0].states[0], 2, str)
    result, _, _ = analyse(model.subject, load, Responder(model, (load,)).linear(load), Settings(followed=False))
    taken = result.fixings[0].shear
    assert taken == pytest.approx(pull / 2, rel=0.05)
    loaded, free = bolted.relieved(Hole(6e-3, 2e-3, wide / 2, wide))
    found = next(m for m in result.modes if m.mode == "net tension at the hole")
    weakest = min(strengths(skin, a).tension for a in np.radians(np.arange(0, 180, 15)))
    by_hand = weakest * 54e-3 * 2e-3 / (taken * loaded + (pull - taken) * free)
    assert found.factor == pytest.approx(by_hand, rel=0.03)
