"""Regions: element edges along every border, on the border, with the areas of closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_mesh_outline import curved_area

from panelfem.errors import InputError, MeshError
from panelfem.mesh import (
    Disc,
    EdgeBand,
    Ellipse,
    FlatLift,
    Outline,
    PanelMesh,
    PlanPolygon,
    Ring,
    TwoRadii,
    mesh_outline,
)
from panelfem.mesh.region import Region

PLATE = Outline(Ring.polygon([(0, 0), (0.5, 0), (0.5, 0.3), (0, 0.3)]))


def on_flat(x: float, y: float) -> np.ndarray:
    return np.array([x, y, 0.0])


def border_nodes(mesh: PanelMesh, name: str, k: int) -> np.ndarray:
    """All nodes of the edges between inside and outside."""
    first, second = mesh.topology.sides.T
    flag = mesh.inside[name]
    between = (second >= 0) & (flag[first] != flag[second])
    curved = mesh.curved(k)
    edge = curved.x[len(mesh.vertices) : curved.nb].reshape(-1, k - 1, 3)[between].reshape(-1, 3)
    return np.vstack([mesh.vertices[np.unique(mesh.edges[between])], edge])


@pytest.mark.parametrize("radius", [0.0025, 0.01, 0.06])
@pytest.mark.parametrize("order", [2, 4])
def test_disc_on_a_plate(radius: float, order: int):
    disc = Disc("hole", on_flat(0.21, 0.14), radius, 0.02)
    mesh = mesh_outline(PLATE, FlatLift(), 0.05, [disc])
    nodes = border_nodes(mesh, "hole", order)
    assert len(nodes) >= 8 * order
    assert np.abs(np.hypot(nodes[:, 0] - 0.21, nodes[:, 1] - 0.14) - radius).max() < 1e-9
    assert curved_area(mesh.curved(order), mesh.inside["hole"]) == pytest.approx(np.pi * radius**2, rel=1e-3)
    assert curved_area(mesh.curved(order)) == pytest.approx(0.15, rel=1e-12)
    assert mesh.quality.smallest_angle > np.radians(18.0)


@settings(deadline=None, max_examples=12)
@given(st.floats(0.02, 0.48), st.floats(0.02, 0.28), st.floats(0.004, 0.05))
def test_disc_anywhere_even_over_the_edge(x: float, y: float, radius: float):
    import shapely

    mesh = mesh_outline(PLATE, FlatLift(), 0.06, [Disc("d", on_flat(x, y), radius, 0.02)])
    exact = shapely.Point(x, y).buffer(radius, quad_segs=400).intersection(shapely.box(0, 0, 0.5, 0.3)).area
    # a border edge that would have turned an element over stays straight, and the mesh says so
    allowed = 1e-2 if mesh.curve_notes(3) else 2e-3
    assert curved_area(mesh.curved(3), mesh.inside["d"]) == pytest.approx(exact, rel=allowed)
    assert curved_area(mesh.curved(3)) == pytest.approx(0.15, rel=1e-9)


def test_ellipse_polygon_and_band_areas():
    normal, way = np.array([0, 0, 1.0]), np.array([1.0, 1.0, 0.3])
    regions = [
        Ellipse("slot", on_flat(0.3, 0.15), normal, way, (0.06, 0.02), 0.01),
        PlanPolygon(
            "L", np.array([(0.03, 0.03), (0.2, 0.03), (0.2, 0.1), (0.1, 0.1), (0.1, 0.25), (0.03, 0.25)]), 0.03
        ),
        EdgeBand("band", PLATE.edge_lines(), 0.02, 0.03),
    ]
    mesh = mesh_outline(PLATE, FlatLift(), 0.05, regions)
    curved = mesh.curved(4)
    area = {region.name: curved_area(curved, mesh.inside[region.name]) for region in regions}
    assert area["slot"] == pytest.approx(np.pi * 0.06 * 0.02, rel=1e-3)
    assert area["L"] == pytest.approx(0.17 * 0.07 + 0.07 * 0.15, rel=1e-9)
    assert area["band"] == pytest.approx(0.15 - 0.46 * 0.26, rel=1e-9)
    for x, y in ((0.02, 0.02), (0.48, 0.02), (0.48, 0.28), (0.02, 0.28), (0.1, 0.1), (0.2, 0.1)):
        assert np.linalg.norm(mesh.vertices - on_flat(x, y), axis=1).min() < 1e-9, "a corner of a border is no vertex"


def test_overlapping_regions_part_the_panel():
    import shapely

    regions: list[Region] = [
        Disc("patch", on_flat(0.2, 0.15), 0.06, 0.015),
        Disc("hole", on_flat(0.21, 0.15), 0.015, 0.005),
        Disc("dull", on_flat(0.26, 0.16), 0.05, 0.012),
        PlanPolygon("zone", np.array([(0.22, 0.02), (0.45, 0.02), (0.45, 0.28), (0.22, 0.28)]), 0.03),
    ]
    mesh = mesh_outline(PLATE, FlatLift(), 0.05, regions)
    shape = {
        "patch": shapely.Point(0.2, 0.15).buffer(0.06, quad_segs=500),
        "hole": shapely.Point(0.21, 0.15).buffer(0.015, quad_segs=500),
        "dull": shapely.Point(0.26, 0.16).buffer(0.05, quad_segs=500),
        "zone": shapely.box(0.22, 0.02, 0.45, 0.28),
    }
    curved = mesh.curved(4)
    whole = shapely.box(0, 0, 0.5, 0.3)
    total = 0.0
    for code in range(16):
        flag, part = np.ones(len(mesh.triangles), bool), whole
        for i, name in enumerate(shape):
            inner = bool(code >> i & 1)
            flag &= mesh.inside[name] == inner
            part = part.intersection(shape[name]) if inner else part.difference(shape[name])
        area = curved_area(curved, flag) if flag.any() else 0.0
        assert area == pytest.approx(part.area, rel=2e-3, abs=1e-9)
        total += area
    assert total == pytest.approx(0.15, rel=1e-9)
    assert not (mesh.inside["hole"] & ~mesh.inside["patch"]).any()


def test_disc_on_a_sphere_lies_on_both():
    # area of the cap cut from a sphere by a ball of radius r about a point of it: πr², whatever R (Archimedes)
    from panelfem.mesh import Formula

    big, radius = 0.4, 0.05
    lift = Formula("sqrt(0.4**2 - x**2 - y**2)")
    centre = np.array([0.08, 0.05, np.sqrt(big**2 - 0.08**2 - 0.05**2)])
    outline = Outline(Ring.circle((0.0, 0.0), 0.2))
    mesh = mesh_outline(outline, lift, 0.05, [Disc("d", centre, radius, 0.015)])
    nodes = border_nodes(mesh, "d", 4)
    assert np.abs(np.linalg.norm(nodes, axis=1) - big).max() < 1e-12
    assert np.abs(np.linalg.norm(nodes - centre, axis=1) - radius).max() < 1e-9
    assert curved_area(mesh.curved(4), mesh.inside["d"]) == pytest.approx(np.pi * radius**2, rel=1e-5)


def test_demo_panel_with_many_regions():
    lift = TwoRadii(2.0, 1.5, (0.25, 0.15))

    def lifted(x: float, y: float) -> np.ndarray:
        return np.array([x, y, lift.height(np.array([[x, y]]))[0]])

    regions: list[Region] = [
        Disc(f"washer {i}", lifted(x, y), 0.009, 0.005)
        for i, (x, y) in enumerate([(0.03, 0.03), (0.47, 0.03), (0.03, 0.27), (0.47, 0.27)])
    ]
    regions += [Disc("hole", lifted(0.2, 0.2), 0.01, 0.004), Disc("patch", lifted(0.2, 0.2), 0.04, 0.012)]
    regions += [EdgeBand("band", PLATE.edge_lines(lift), 0.02, 0.02)]
    mesh = mesh_outline(PLATE, lift, 0.045, regions)
    assert mesh.quality.below_10 == 0, "the washers and the band are only 1 mm apart, but no needles"
    assert mesh.quality.elements < 3000
    for region in regions[:6]:
        assert np.abs(region.distance(border_nodes(mesh, region.name, 3))).max() < 1e-9
    assert mesh.euler == 1
    assert any("smallest angle" in note for note in mesh.notes)


def test_polygon_limited_in_height():
    zone = PlanPolygon("z", np.array([(0, 0), (1, 0), (1, 1), (0, 1)]), 0.1, between=(-0.1, 0.2))
    x = np.array([(0.5, 0.5, 0.1), (0.5, 0.5, 0.5), (0.5, 0.5, -0.15), (2.0, 0.5, 0.0)])
    assert np.allclose(zone.distance(x), [-0.1, 0.3, 0.05, 1.0])


@settings(deadline=None, max_examples=40)
@given(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2))
def test_polygon_distance_agrees_with_shapely(x: float, y: float):
    import shapely

    corners = np.array([(0, 0), (1, 0.1), (0.8, 0.9), (0.5, 0.3), (0.1, 1.0)])
    value = PlanPolygon("p", corners, 0.1).distance(np.array([[x, y, 0.0]]))[0]
    polygon, point = shapely.Polygon(corners), shapely.Point(x, y)
    assert abs(value) == pytest.approx(polygon.exterior.distance(point), abs=1e-12)
    assert value <= 1e-12 if polygon.contains(point) else value >= -1e-12


FAULTY = {
    "it lies outside the panel": lambda: Disc("far", on_flat(2.0, 0.1), 0.02, 0.01),
    "the mesh cannot hold it": lambda: Disc("dot", on_flat(0.2, 0.1), 5e-5, 0.01),
    "the radius is 0": lambda: Disc("none", on_flat(0.2, 0.1), 0.0, 0.01),
    "the element size is nan": lambda: Disc("none", on_flat(0.2, 0.1), 0.01, float("nan")),
    "a semi-axis is -1": lambda: Ellipse("e", on_flat(0, 0), np.eye(3)[2], np.eye(3)[0], (-1.0, 1.0), 0.1),
    "the normal is no direction": lambda: Ellipse("e", on_flat(0, 0), np.zeros(3), np.eye(3)[0], (1.0, 1.0), 0.1),
    "seen along the normal is no direction": lambda: Ellipse(
        "e", on_flat(0, 0), np.eye(3)[2], np.eye(3)[2], (1.0, 1.0), 0.1
    ),
    "crosses itself": lambda: PlanPolygon("p", np.array([(0, 0), (1, 1), (1, 0), (0, 1)]), 0.1),
    "no three corners": lambda: PlanPolygon("p", np.array([(0, 0), (1, 1)]), 0.1),
    "not at right angles": lambda: PlanPolygon("p", np.array([(0, 0), (1, 0), (1, 1)]), 0.1, second=(1.0, 1.0, 0.0)),
    "the edge has no line": lambda: EdgeBand("b", (), 0.1, 0.1),
}


@pytest.mark.parametrize("said", FAULTY)
def test_faulty_regions(said: str):
    with pytest.raises(InputError) as caught:
        mesh_outline(PLATE, FlatLift(), 0.05, [FAULTY[said]()])
    assert said in str(caught.value)
    assert "region '" in str(caught.value)


def test_two_regions_of_one_name():
    disc = Disc("same", on_flat(0.2, 0.1), 0.02, 0.01)
    with pytest.raises(InputError, match="two regions are called 'same'"):
        mesh_outline(PLATE, FlatLift(), 0.05, [disc, disc])


def test_region_just_beside_the_panel():
    with pytest.raises(MeshError, match=r"no element lies inside it|lies outside the panel"):
        mesh_outline(PLATE, FlatLift(), 0.05, [Disc("beside", on_flat(-0.03, 0.1), 0.02, 0.01)])
