"""Outlines, lifts and the meshes made from them, against areas and shapes known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.errors import InputError, MeshError
from panelfem.mesh import (
    Arc,
    CurvedMesh,
    Disc,
    FlatLift,
    Formula,
    Line,
    Outline,
    PanelMesh,
    Ring,
    TwoRadii,
    mesh_outline,
)
from panelfem.mesh.lattice import lattice

ROUNDED = Ring(
    (0.0, 0.0),
    (
        Line((0.5, 0.0)),
        Line((0.5, 0.2)),
        Arc((0.4 + 0.1 * np.sqrt(0.5), 0.2 + 0.1 * np.sqrt(0.5)), (0.4, 0.3)),
        Line((0.0, 0.3)),
        Line((0.0, 0.0)),
    ),
)
LAMP = Ring.circle((0.15, 0.15), 0.04, "lamp")
SLOT = Ring.polygon([(0.3, 0.1), (0.36, 0.1), (0.33, 0.16)], "slot")
PANEL = Outline(ROUNDED, (LAMP, SLOT))


def curved_area(mesh: CurvedMesh, elements: np.ndarray | slice = slice(None)) -> float:
    """Area of the curved elements, by a rule exact to degree 14 on the node functions (Gauss on the square, folded)."""
    k = mesh.order
    g, w = np.polynomial.legendre.leggauss(8)
    g, w = (g + 1) / 2, w / 2
    u, v = np.meshgrid(g, g, indexing="ij")
    a, b, weight = u.ravel(), (v * (1 - u)).ravel(), (np.outer(w, w) * (1 - u)).ravel()
    powers = [(i, j) for i in range(k + 1) for j in range(k + 1 - i)]
    nodes = np.hstack(lattice(k))
    inverse = np.linalg.inv(np.stack([nodes[0] ** i * nodes[1] ** j for i, j in powers], 1))
    da = np.stack([i * a ** max(i - 1, 0) * b**j for i, j in powers], 1) @ inverse
    db = np.stack([j * a**i * b ** max(j - 1, 0) for i, j in powers], 1) @ inverse
    x = mesh.x[mesh.nodes[elements]]
    return float((np.linalg.norm(np.cross(da @ x, db @ x), axis=2) @ weight).sum())


def test_ring_area_with_arc_is_exact():
    assert ROUNDED.area == pytest.approx(0.15 - 0.01 + np.pi * 0.01 / 4, rel=1e-12)
    assert Ring.circle((0.2, 0.3), 0.05).area == pytest.approx(np.pi * 0.05**2, rel=1e-12)


@settings(deadline=None, max_examples=30)
@given(st.floats(0.1, 6.1), st.floats(-3.0, 3.0), st.booleans())
def test_arc_through_a_point_goes_the_way_of_the_point(sweep: float, first: float, forward: bool):
    turn = sweep if forward else -sweep
    spot = [(0.3 * np.cos(first + turn * t), 0.3 * np.sin(first + turn * t)) for t in (0.0, 0.4, 1.0)]
    ring = Ring(spot[0], (Arc(spot[1], spot[2]), Line(spot[0])))
    assert ring.arcs[3][0] == pytest.approx(0.3, rel=1e-6)
    assert ring.arcs[4][0] == pytest.approx(turn, rel=1e-6)
    assert ring.area == pytest.approx(0.045 * (sweep - np.sin(sweep)), rel=1e-5)


def test_flat_panel_area_euler_number_and_arcs():
    mesh = mesh_outline(PANEL, FlatLift(), 0.04)
    assert mesh.euler == 1 - 2
    assert set(mesh.components) == {0}
    assert (mesh.normals[:, 2] > 0.999999).all()
    curved = mesh.curved(4)
    assert curved_area(curved) == pytest.approx(PANEL.area, rel=1e-6)
    assert mesh.curve_notes(4) == ()
    assert mesh.quality.smallest_angle > np.radians(20.0)
    # boundary nodes on the circles to 1e-9 m: those nearer to a centre than anything else of the boundary
    edge = curved.x[mesh.vertices.shape[0] : curved.nb].reshape(-1, 3, 3)
    rim = edge[mesh.topology.count == 1].reshape(-1, 3)[:, :2]
    lamp = rim[np.hypot(*(rim - [0.15, 0.15]).T) < 0.06]
    assert len(lamp) >= 24
    assert np.abs(np.hypot(*(lamp - [0.15, 0.15]).T) - 0.04).max() < 1e-9
    round_corner = rim[(rim[:, 0] > 0.4 + 1e-6) & (rim[:, 1] > 0.2 + 1e-6)]
    assert len(round_corner) >= 9
    assert np.abs(np.hypot(*(round_corner - [0.4, 0.2]).T) - 0.1).max() < 1e-9


def test_boundary_runs_with_the_panel_on_its_left():
    mesh = mesh_outline(PANEL, FlatLift(), 0.05)
    a, b = mesh.vertices[mesh.boundary_edges[:, 0]], mesh.vertices[mesh.boundary_edges[:, 1]]
    assert 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() == pytest.approx(mesh.areas.sum(), rel=1e-9)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_nodes_lie_on_the_lift_and_its_area_converges(order: int):
    rx, ry = 1.2, 0.8
    lift = TwoRadii(rx, ry, (0.25, 0.15))
    mesh = mesh_outline(PANEL, lift, 0.06)
    curved = mesh.curved(order)
    x, y, z = curved.x.T
    exact = np.sqrt(rx**2 - (x - 0.25) ** 2) - rx + np.sqrt(ry**2 - (y - 0.15) ** 2) - ry
    assert np.abs(z - exact).max() < 1e-14
    straight = np.abs(lift.height(mesh.centroids[:, :2]) - mesh.centroids[:, 2]).max()
    assert straight > 1e-5, "the test would not see nodes left on the flat triangles"


def test_sphere_cap_area():
    # area of a spherical cap 2πRh (Archimedes)
    radius, half = 0.5, 0.2
    lift = Formula(f"sqrt({radius}**2 - x**2 - y**2)")
    mesh = mesh_outline(Outline(Ring.circle((0.0, 0.0), half)), lift, 0.06)
    height = radius - np.sqrt(radius**2 - half**2)
    assert curved_area(mesh.curved(4)) == pytest.approx(2 * np.pi * radius * height, rel=1e-6)
    assert np.abs(np.linalg.norm(mesh.curved(3).x, axis=1) - radius).max() < 1e-12


def test_two_radii_against_formula():
    plan = np.random.default_rng(1).uniform(-0.3, 0.3, (50, 2))
    text = "sqrt(2000**2 - x**2) - 2000 + sqrt(1500**2 - y**2) - 1500"
    assert np.allclose(TwoRadii(2.0, 1.5).height(plan), Formula(text, 1e-3).height(plan), atol=1e-12)
    assert np.allclose(TwoRadii(-2.0, -1.5).height(plan), -TwoRadii(2.0, 1.5).height(plan), atol=0)


def test_same_input_same_mesh():
    lift = TwoRadii(2.0, 1.5)
    hole = Disc("hole", np.array([0.25, 0.05, lift.height(np.array([[0.25, 0.05]]))[0]]), 0.02, 0.006)
    one, two = (mesh_outline(PANEL, lift, 0.05, [hole]) for _ in range(2))
    assert np.array_equal(one.vertices, two.vertices)
    assert np.array_equal(one.triangles, two.triangles)
    assert np.array_equal(one.inside["hole"], two.inside["hole"])
    assert np.array_equal(one.curved(3).x, two.curved(3).x)


def test_nearest_agrees_with_brute_force():
    mesh = mesh_outline(PANEL, TwoRadii(0.5, 0.6, (0.2, 0.1)), 0.08)
    points = np.random.default_rng(2).uniform([-0.1, -0.1, -0.3], [0.6, 0.4, 0.1], (60, 3))
    element, bary = mesh.nearest(points)
    assert np.allclose(bary.sum(axis=1), 1.0)
    assert bary.min() > -1e-12
    gap = np.linalg.norm(np.einsum("ni,nij->nj", bary, mesh.vertices[mesh.triangles[element]]) - points, axis=1)
    weights = np.array([(i, j, 12 - i - j) for i in range(13) for j in range(13 - i)]) / 12
    cloud = (weights @ mesh.vertices[mesh.triangles]).reshape(-1, 3)
    brute = np.linalg.norm(points[:, None] - cloud, axis=2).min(axis=1)
    assert (gap <= brute + 1e-12).all()
    assert (brute - gap).max() < 0.01


def test_mesh_without_a_surface_is_fitted_to_itself():
    i, j = np.meshgrid(np.arange(13), np.arange(9), indexing="ij")
    angle, y = 0.08 * i.ravel(), 0.02 * j.ravel()
    x = np.column_stack([0.3 * np.sin(angle), y, 0.3 * np.cos(angle)])
    a = (np.arange(12)[:, None] * 9 + np.arange(8)).ravel()
    mesh = PanelMesh(x, np.concatenate([np.stack([a, a + 9, a + 10], 1), np.stack([a, a + 10, a + 1], 1)]))
    off = np.abs(np.hypot(mesh.curved(3).x[:, 0], mesh.curved(3).x[:, 2]) - 0.3).max()
    sagitta = 0.3 * (1 - np.cos(0.04))
    assert off < 0.02 * sagitta


BAD_FORMULAS = [
    ("__import__('os')", "is not known"),
    ("x.real", "is not allowed"),
    ("[x]", "is not allowed"),
    ("x if y else 1", "is not allowed"),
    ("tan(x)", "the function 'tan' is not known"),
    ("sqrt(x, y)", "'sqrt' takes one value"),
    ("x +", "cannot be read"),
    ("q*2", "the name 'q' is not known"),
    ("True", "is no number"),
    ("'a'", "is no number"),
    ("x" + "+x" * 600, "longer than"),
]


@pytest.mark.parametrize(("text", "said"), BAD_FORMULAS)
def test_formula_refuses(text: str, said: str):
    with pytest.raises(InputError, match="formula") as caught:
        Formula(text)
    assert said in str(caught.value)
    assert "sqrt, sin, cos, exp" in str(caught.value)


def test_formula_without_a_value_names_the_place():
    with pytest.raises(InputError, match=r"no number at x = 300, y = 0"):
        Formula("sqrt(200**2 - x**2)", 1e-3).height(np.array([[0.1, 0.0], [0.3, 0.0]]))


def test_radius_smaller_than_the_panel():
    with pytest.raises(InputError, match=r"beyond its radius of 0.2 m"):
        mesh_outline(PANEL, TwoRadii(0.2, np.inf), 0.05)


def square(name: str = "outline") -> Ring:
    return Ring.polygon([(0, 0), (0.3, 0), (0.3, 0.3), (0, 0.3)], name)


FAULTY = {
    "crosses or touches itself": lambda: Outline(Ring.polygon([(0, 0), (0.3, 0.3), (0.3, 0), (0, 0.3)])),
    "ring does not close": lambda: Ring((0.0, 0.0), (Line((1.0, 0.0)), Line((1.0, 1.0)))),
    "lie on a line or coincide": lambda: Ring((0.0, 0.0), (Arc((0.5, 0.0), (1.0, 0.0)), Line((0.0, 0.0)))),
    "a line has no length": lambda: Ring((0.0, 0.0), (Line((0.0, 0.0)), Line((1.0, 0.0)))),
    "fewer than three corners": lambda: Ring.polygon([(0, 0), (1, 0)]),
    "the radius is -1": lambda: Ring.circle((0, 0), -1.0, "cut"),
    "a point is not a number": lambda: Ring.polygon([(0, 0), (1, float("nan")), (1, 1)]),
    "reaches the edge of the outline": lambda: Outline(square(), (Ring.circle((0.3, 0.1), 0.05, "cut"),)),
    "meets cut-out 'a'": lambda: Outline(
        square(), (Ring.circle((0.1, 0.1), 0.05, "a"), Ring.circle((0.15, 0.1), 0.05, "b"))
    ),
    "larger than the panel": lambda: mesh_outline(Outline(square()), FlatLift(), 0.4),
    "would give a huge mesh": lambda: mesh_outline(Outline(square()), FlatLift(), 1e-4),
    "the element size is -1": lambda: mesh_outline(Outline(square()), FlatLift(), -1.0),
}


@pytest.mark.parametrize("said", FAULTY)
def test_faulty_outlines(said: str):
    with pytest.raises(InputError) as caught:
        FAULTY[said]()
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("vertices", "triangles", "said"),
    [
        (np.zeros((3, 2)), np.array([[0, 1, 2]]), "no mesh"),
        (np.eye(3), np.array([[0, 1, 3]]), "not there"),
        (np.eye(3), np.zeros((0, 3), int), "no mesh"),
    ],
)
def test_panel_mesh_refuses_nonsense(vertices: np.ndarray, triangles: np.ndarray, said: str):
    with pytest.raises(MeshError, match=said):
        PanelMesh(vertices, triangles)
