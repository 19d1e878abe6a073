"""Singular places: found, named, and averaged so that the number has a limit where the point value has none."""

from dataclasses import replace

import numpy as np
import pytest

from panelfem.assess.model import Model
from panelfem.assess.plan import CUT_LENGTH, State
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.mesh import Arc, Disc, Ellipse, Line, Outline, PanelMesh, PlanPolygon, Ring, mesh_outline
from panelfem.panel import BondedPatch, EdgeSupport, HeldArea, Panel, PointMass
from panelfem.reference.hole import OpenHole
from panelfem.repair import PatchRepair, repaired
from panelfem.reserve.check import mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.observe import State as Solved
from panelfem.reserve.plies import PlyCheck, Residual
from panelfem.reserve.records import ContactState
from panelfem.reserve.sampling import Notch, border_edges, node_weights, ray_rule, sampling
from panelfem.reserve.singular import notes, places
from panelfem.shell import Shell

LIB = library()
QUASI = Laminate(parse_stack("[0/45/-45/90]s", LIB, "T300-5208"))
STIFFER = Laminate(parse_stack("[0/45/-45/90]s", LIB, "T300-5208") * 2)
X = np.array([1.0, 0.0, 0.0])


def box(x0, y0, x1, y1):
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def panel_of(mesh, laminates=(QUASI,), of=None, **more):
    of = np.zeros(len(mesh.triangles), np.int64) if of is None else of
    return Panel("test", mesh, laminates, of, X, **more)


def found(panel, notches=(), order=2, forces=()):
    return places(panel, panel.mesh.curved(order), notches, forces)


def cells(x, y, gone=None):
    """Triangles of a grid of lines x and y without the cells whose middle is `gone`."""
    points = np.array([[a, b, 0.0] for a in x for b in y])
    n = len(y)
    triangles = []
    for i in range(len(x) - 1):
        for j in range(n - 1):
            if gone is not None and gone((x[i] + x[i + 1]) / 2, (y[j] + y[j + 1]) / 2):
                continue
            a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
            # diagonals point to the origin, so that all meshes look alike there
            toward = (x[i] + x[i + 1]) * (y[j] + y[j + 1]) > 0
            triangles += [(a, b, c), (a, c, d)] if toward else [(a, b, d), (b, c, d)]
    used, new = np.unique(np.array(triangles), return_inverse=True)
    return PanelMesh(points[used], new.reshape(-1, 3))


def graded(finest, reach=0.1, grow=1.35):
    """Lines from −reach to reach, `finest` apart at 0."""
    steps = finest * grow ** np.arange(60)
    half = np.cumsum(steps)
    half = half[half < 0.8 * reach]
    half = np.concatenate([half, [reach]])
    return np.concatenate([-half[::-1], [0.0], half])


def read(model, load):
    u = model.holding.system.solve(model.shell.traction(np.array(load, float)))
    return model.subject.observer(Solved(u, np.zeros((0, 6))))


# -------------------------------------------------------------------------------------------------------- places
def test_a_re_entrant_corner_is_found_and_named():
    outline = Outline(Ring.polygon([(0, 0), (0.2, 0), (0.2, 0.1), (0.1, 0.1), (0.1, 0.2), (0, 0.2)]))
    (place,) = found(panel_of(mesh_outline(outline, size=0.02)))
    assert (place.kind, place.what) == ("re-entrant corner", "re-entrant corner of the outline")
    assert place.point == pytest.approx([0.1, 0.1, 0.0])
    assert place.length == CUT_LENGTH == 3.8e-3
    # every ray runs into the panel, and they cover its three quarters
    ahead = place.point + 1e-3 * place.rays
    assert ((ahead[:, 0] < 0.1) | (ahead[:, 1] < 0.1)).all()
    assert (place.rays @ [-(0.5**0.5), -(0.5**0.5), 0.0]).max() == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("order", [2, 3])
def test_smooth_borders_have_no_corners(order):
    stadium = Ring(
        (0.05, 0.0),
        (Line((0.25, 0.0)), Arc((0.3, 0.05), (0.25, 0.1)), Line((0.05, 0.1)), Arc((0.0, 0.05), (0.05, 0.0))),
    )
    disc = Disc("hole", np.array([0.1, 0.05, 0.0]), 0.01, 0.006)
    slot = Ellipse("slot", np.array([0.2, 0.05, 0.0]), np.array([0, 0, 1.0]), X, (0.02, 0.006), 0.004)
    mesh = mesh_outline(Outline(stadium), size=0.03, regions=[disc, slot])
    removed = mesh.inside["hole"]
    panel = panel_of(mesh, (QUASI, STIFFER), mesh.inside["slot"].astype(np.int64), removed=removed)
    element, _ = border_edges(mesh, mesh.inside["hole"], ~mesh.inside["hole"])
    assert len(element) < 24, "the disc is to be coarse: its chords turn by more than 15° each"
    assert found(panel, order=order) == ()


def test_a_polygon_hole_lends_its_length_to_its_corners():
    mesh = mesh_outline(
        Outline(Ring.polygon(box(0, 0, 0.2, 0.1))),
        size=0.02,
        regions=[PlanPolygon("damage H1", np.array(box(0.08, 0.03, 0.12, 0.07)), 0.008)],
    )
    inside = mesh.inside["damage H1"]
    corners = found(panel_of(mesh, removed=inside), [Notch(inside, 2.5e-3)])
    assert {(p.kind, p.what, p.length) for p in corners} == {
        ("re-entrant corner", "re-entrant corner of damage H1", 2.5e-3)
    }
    assert sorted(p.point[:2].round(6).tolist() for p in corners) == sorted(map(list, box(0.08, 0.03, 0.12, 0.07)))


def test_the_corners_of_a_clamped_pad_and_none_of_a_round_one():
    mesh = mesh_outline(
        Outline(Ring.polygon(box(0, 0, 0.2, 0.1))),
        size=0.02,
        regions=[
            PlanPolygon("pad", np.array(box(0.03, 0.03, 0.06, 0.07)), 0.008),
            Disc("button", np.array([0.15, 0.05, 0]), 0.012, 0.008),
        ],
    )
    corners = found(panel_of(mesh, held_areas=(HeldArea("PAD1", "pad"), HeldArea("PAD2", "button"))))
    assert {(p.kind, p.what) for p in corners} == {("held corner", "corner of held area PAD1")}
    assert sorted(p.point[:2].round(6).tolist() for p in corners) == sorted(map(list, box(0.03, 0.03, 0.06, 0.07)))


def test_the_ends_of_a_clamped_edge_and_not_its_corners():
    mesh = mesh_outline(Outline(Ring.polygon(box(0, 0, 0.2, 0.1))), size=0.02)
    left = PlanPolygon("left", np.array(box(-0.01, -0.01, 0.01, 0.11)), 0.01)
    ends = found(panel_of(mesh, edges=(EdgeSupport("left", "clamped", left),)))
    assert {(p.kind, p.what) for p in ends} == {
        ("end of a held edge", "end of the clamped edge left, which is free beyond")
    }
    assert sorted(p.point[:2].round(6).tolist() for p in ends) == [[0, 0], [0, 0.1]]
    # clamped all round, a right angle bounds the strains; a spring along an edge never makes them singular
    assert found(panel_of(mesh, edges=(EdgeSupport("rim", "clamped"),))) == ()
    assert found(panel_of(mesh, edges=(EdgeSupport("left", "elastic", left, 1e6),))) == ()


@pytest.mark.parametrize("kind", ["polygon", "ellipse"])
def test_a_patchs_corners(kind):
    middle, up = np.array([0.1, 0.05, 0.0]), np.array([0, 0, 1.0])
    region = (
        PlanPolygon("patch P", np.array(box(0.07, 0.03, 0.13, 0.07)), 0.01)
        if kind == "polygon"
        else Ellipse("patch P", middle, up, X, (0.03, 0.02), 0.01)
    )
    mesh = mesh_outline(Outline(Ring.polygon(box(0, 0, 0.2, 0.1))), size=0.02, regions=[region])
    over = mesh.inside["patch P"].astype(np.int64)
    corners = found(panel_of(mesh, (QUASI, STIFFER), over))
    if kind == "ellipse":
        assert corners == ()
    else:
        assert [(p.kind, p.what) for p in corners] == [("laminate border", "corner of patch P")] * 4
    # a laminate of the same stiffness, only weaker, makes no corner
    assert found(panel_of(mesh, (QUASI, Laminate(QUASI.plies)), over)) == ()


def test_forces_on_small_areas_act_as_in_a_point():
    regions = [
        Disc("ballast", np.array([0.05, 0.05, 0]), 2e-3, 2e-3),
        Disc("hand", np.array([0.15, 0.05, 0]), 2e-2, 1e-2),
    ]
    mesh = mesh_outline(Outline(Ring.polygon(box(0, 0, 0.2, 0.1))), size=0.02, regions=regions)
    panel = panel_of(mesh, masses=(PointMass("lead", "ballast", 0.1),))
    assert [(p.kind, p.what) for p in found(panel, forces=("hand",))] == [("concentrated force", "the point mass lead")]
    assert [p.what for p in found(panel_of(mesh), forces=("hand", "ballast"))] == ["the force on ballast"]


# --------------------------------------------------------------------------------------------------------- averages
def test_the_rule_along_a_ray_is_exact_for_a_crack_and_for_smooth_fields():
    r, w = ray_rule()
    assert w.sum() == pytest.approx(1.0, rel=1e-14)
    length, k = 3.8e-3, 2.7
    # σ = K/√(2πr) has the mean 2K/√(2πL): Whitney & Nuismer's own example, by hand
    assert w @ (k / np.sqrt(2 * np.pi * r * length)) == pytest.approx(2 * k / np.sqrt(2 * np.pi * length), rel=1e-12)
    for power in range(6):
        assert w @ r**power == pytest.approx(1 / (power + 1), rel=1e-12)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_strains_between_nodes_are_interpolated_exactly_for_quadratics(order):
    from panelfem.mesh.lattice import lattice

    nodes = lattice(order)[0]
    bary = np.random.default_rng(1).dirichlet(np.ones(3), 20)

    def value(r, s):
        return 1 + 2 * r - s + 3 * r * s - 2 * s * s + r * r

    assert node_weights(order, bary) @ value(*nodes) == pytest.approx(value(bary[:, 1], bary[:, 2]), rel=1e-12)


def test_the_mean_ahead_of_a_hole_is_that_of_the_exact_field():
    law = QUASI.stiffness[:3, :3]
    hole = OpenHole(law * np.array([[1.0, 1, 1], [1, 0.6, 1], [1, 1, 0.8]]), 6e-3, 6e-3, (1.0, 0.0, 0.0))
    region = Disc("hole", np.array([0.05, 0.05, 0.0]), 6e-3, 1.2e-3)
    mesh = mesh_outline(Outline(Ring.polygon(box(0, 0, 0.1, 0.1))), size=6e-3, regions=[region])
    inside = mesh.inside["hole"]
    shell = Shell(mesh.curved(2), np.tile(QUASI.stiffness, (len(inside), 1, 1)), X, ~inside)
    recovery = shell.recovery(np.zeros(len(inside), np.int64))
    s = sampling(mesh, recovery, np.zeros(len(inside), np.int64), ~inside, [Notch(inside, CUT_LENGTH)])
    x = recovery.points - [0.05, 0.05, 0.0]
    push = np.maximum(1.0, 6e-3 / np.linalg.norm(x[:, :2], axis=1))[:, None]  # nodes on the chord side of the rim
    exact = hole.resultants(*(x[:, :2] * push * (1 + 1e-12)).T)
    ours = s.rows @ exact
    side = np.flatnonzero((s.length > 0) & (np.abs(s.points[:, 0] - 0.05) < 3e-4) & (s.points[:, 1] > 0.05))
    assert len(side)
    gauss, weight = np.polynomial.legendre.leggauss(40)
    y = 6e-3 + CUT_LENGTH * (gauss + 1) / 2
    mean = weight / 2 @ hole.resultants(0 * y, y)[:, 0]
    assert ours[side, 0] == pytest.approx(mean, rel=0.01)
    assert mean < 0.75 * hole.resultants(np.zeros(1), np.array([6e-3 * (1 + 1e-12)]))[0, 0]
    near = np.linalg.norm(s.points[s.length == 0][:, :2] - 0.05, axis=1) - 6e-3
    assert near.min() > CUT_LENGTH * 0.99, "no point value is left within the length"


def corner_model(finest, order=2):
    lines = graded(finest)
    mesh = cells(lines, lines, gone=lambda x, y: x > 0 and y > 0)
    top = PlanPolygon("top", np.array(box(-0.11, 0.099, 0.01, 0.11)), 0.01)
    panel = panel_of(mesh, edges=(EdgeSupport("top", "clamped", top),))
    return Model(State(("L",), "L", panel, ()), order, lambda x: "", None)


def corner_strain(finest, order):
    """Greatest direct strain at the corner: of the point values, and of the averages."""
    model = corner_model(finest, order)
    u = model.holding.system.solve(model.shell.traction(np.array([-1e5, 0.0, 0.0])))
    strain, s = model.recovery.strains(u), model.subject.sampling

    def greatest(e):
        return float(((e[:, 0] + e[:, 1]) / 2 + np.hypot((e[:, 0] - e[:, 1]) / 2, e[:, 2] / 2)).max())

    at = np.linalg.norm(model.recovery.points, axis=1) < 1e-9
    mine = (s.length > 0) & (np.linalg.norm(s.points, axis=1) < 1e-9)
    return greatest(strain[at]), greatest((s.rows @ strain)[mine])


@pytest.mark.parametrize("order", [2, 3])
def test_the_average_at_a_re_entrant_corner_has_a_limit_and_the_point_value_none(order):
    sizes = np.array([CUT_LENGTH / n for n in (1, 2, 4, 8)])
    point, mean = np.array([corner_strain(h, order) for h in sizes]).T
    assert (point[1:] > 1.2 * point[:-1]).all()
    assert mean[2:] == pytest.approx(mean[3], rel=0.02)
    # strains at a free right-angled corner grow as r^(0.5445 − 1) (Williams 1952, isotropic; recalled), on top of some
    # that do not
    assert 0.3 < np.log2(point[3] / point[2]) < 0.4555


def test_modes_at_an_average_carry_its_length_and_notes_say_so():
    model = corner_model(CUT_LENGTH / 4)
    now, held = read(model, [-1e5, 0.0, 0.0]), read(model, [0.0, 0.0, 0.0])
    plies = PlyCheck(model.panel, model.subject.sampling, Residual(), lambda x: "at the corner")
    modes = [m for m in plies.reserves(held, now, False) if m.grade == "release"]
    worst = min(modes, key=lambda m: m.factor)
    (at,) = [p for p in model.subject.sampling.places if np.allclose(p.point, worst.place)]
    assert worst.averaged == CUT_LENGTH
    (said,) = notes(model.subject.sampling.places, (worst, worst))
    assert said.startswith(f"the stress at the corner is singular ({at.what}): averaged over 3.8 mm")
    corner = replace(worst, place=np.zeros(3))
    (said,) = notes(model.subject.sampling.places, (corner,))
    assert said == "the stress at the corner is singular (re-entrant corner of the outline): averaged over 3.8 mm"
    (said,) = notes(corner_model(3 * CUT_LENGTH).subject.sampling.places, (corner,))
    assert said.endswith("too coarse for it, so the stress is too low")
    # the table of plies shows the ray that governs, of all that start there
    i = plies.nearest(worst.place, worst.laminate, held, now)
    rows = plies.rows(worst.laminate, held.strain[i], now.strain[i])
    row = next(r for r in rows if r.ply == worst.ply and r.position == worst.position)
    assert plies.field(held, now).min() <= worst.factor * (1 + 1e-9)
    ply = LIB["T300-5208"]
    assert worst.mode == "fibre tension"
    # Hashin 1980 (recalled): (s11/Xt)² + (s12/S)² = 1 at the factor; nothing is held
    assert worst.factor * np.hypot(row.stress[0] / ply.Xt, row.stress[2] / ply.S) == pytest.approx(1.0, rel=1e-9)

    # a point value elsewhere says nothing, and one under a shape that presses in a point says so
    away = mode_reserve("m", "c", "release", 1.0, np.array([-0.05, -0.05, 0]), None)
    assert notes(model.subject.sampling.places, (away,)) == ()
    point = ContactState(1.0, 0.0, 0.0, away.place[None] + 1e-3, 0.0)
    broad = ContactState(1.0, 0.0, 0.0, away.place + np.array([[0.0, 0, 0], [0.02, 0, 0]]), 0.0)
    assert "presses as in a point" in notes((), (away,), (point,), 2e-3)[0]
    assert notes((), (away,), (broad,), 2e-3) == ()


def test_peaks_between_vertices_are_found_beside_the_leading_vertices():
    mesh = mesh_outline(Outline(Ring.polygon(box(0, 0, 0.2, 0.1))), size=0.02)
    left = PlanPolygon("left", np.array(box(-0.01, -0.01, 0.01, 0.11)), 0.01)
    panel = panel_of(mesh, edges=(EdgeSupport("left", "clamped", left),))
    model = Model(State(("p",), "p", panel, ()), 2, lambda x: "", None)
    s = model.subject.sampling
    x = s.points
    # a bump of strain narrower than an element, whose top is on a node between two vertices
    late = s.first + np.argmin(np.linalg.norm(x[s.first :] - [0.1, 0.05, 0.0], axis=1))
    bump = np.exp(-(((x - x[late]) / 0.015) ** 2).sum(1))
    strain = np.zeros((len(x), 8))
    strain[:, 0] = 1e-3 * bump

    def seen(e):
        return Observed(e, *(np.zeros((0, k)) for k in (2, 8, 2, 6, 6)), ())

    check = PlyCheck(panel, s, Residual(), lambda x: "")
    for mode in check.reserves(seen(0 * strain), seen(strain), True):
        if mode.mode == "fibre tension":
            assert mode.place == pytest.approx(x[late])
            assert mode.averaged == 0.0
    assert strain[: s.first, 0].max() < 0.9 * strain[late, 0]


# ------------------------------------------------------------------------------------------------------ bond lines
def slot_model(finest):
    """A plate 100 × 60 mm with a slot 20 × 0.8 mm under a patch 60 × 30 mm, pulled across the slot."""

    def both_ways(at, finest, low, high):
        steps = finest * 1.4 ** np.arange(60)
        up, down = np.cumsum(steps), np.cumsum(steps)
        return np.concatenate(
            [[low], (at - down[down < 0.85 * (at - low)])[::-1], [at], at + up[up < 0.85 * (high - at)], [high]]
        )

    right = both_ways(0.01, finest, 0.0, 0.05)
    x = np.concatenate([-right[:0:-1], right])
    x = np.unique(np.concatenate([x, [-0.03, 0.03]]).round(9))
    top = 4e-4 + np.concatenate([[0.0], np.cumsum(finest * 1.4 ** np.arange(60))])
    top = np.concatenate([top[top < 0.027], [0.03]])
    top = np.unique(np.concatenate([top, [0.015]]).round(9))
    inside = np.linspace(0, 4e-4, max(1, round(4e-4 / finest)) + 1)[:-1]
    upper = np.concatenate([inside, top])
    y = np.concatenate([-upper[:0:-1], upper])
    mesh = cells(x, y)
    c = np.abs(mesh.centroids)
    hole = (c[:, 0] < 0.01) & (c[:, 1] < 4e-4)
    patch = (c[:, 0] < 0.03) & (c[:, 1] < 0.015)
    mesh = PanelMesh(mesh.vertices, mesh.triangles, {"hole": hole, "patch": patch})
    bottom = PlanPolygon("bottom", np.array(box(-0.06, -0.031, 0.06, -0.029)), 0.01)
    whole = panel_of(mesh, edges=(EdgeSupport("bottom", "clamped", bottom),), removed=hole)
    plies = Laminate(parse_stack("[0/90]", LIB, "T300-5208"))
    mended = repaired(whole, [PatchRepair("P", "patch", plies, LIB["film-epoxy"], 0.2e-3, 1, 1.0, None, None)])
    assert isinstance(mended.patches[0], BondedPatch)
    return Model(State(("slot",), "slot", mended, (Notch(hole, CUT_LENGTH),)), 2, lambda x: "", None)


def test_the_bond_line_at_the_tip_of_a_slot_has_a_limit():
    """Under pressure the transverse shear that crosses the border of the gap grows without limit at its tip."""
    point, mean = [], []
    for finest in (4e-4, 2e-4, 1e-4):
        model = slot_model(finest)
        now, held = read(model, [0.0, 0.0, 2e3]), read(model, [0.0, 0.0, 0.0])
        bonds = model.subject.bonds
        (edge,) = [e for e in bonds.edges if e.inner]
        at_node = (np.abs(model.recovery.points[bonds.points[edge.rows], 0]) > 0.009)[:, None]
        shear = now.edge_shear[edge.rows]
        point.append(np.abs((edge.cosines * shear * at_node).sum(1)).max())
        tip = np.abs(np.abs(edge.points[:, 0]) - 0.01) < 1e-9
        mean.append(np.abs(edge.crossing(now.edge_strain, now.edge_shear)[:, tip]).max(1))
        for mode in bonds.reserves(held, now, True):
            assert mode.averaged == CUT_LENGTH
    assert point[1] > 1.1 * point[0]
    assert point[2] > 1.1 * point[1]
    (n1, m1, q1), (n2, m2, q2) = mean[1:]
    assert (n1, m1) == pytest.approx((n2, m2), rel=0.01)
    assert q1 == pytest.approx(q2, rel=0.07)
