"""Papers: flat templates against exact developments and known bounds; sizes measured in the files; folders, names."""

from __future__ import annotations

import html
import io
import json
import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pypdf
import pytest
import synthetic

import panelfem.files
from panelfem import papers
from panelfem.case import load_case
from panelfem.cli import main
from panelfem.errors import InputError
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.mesh import (
    Disc,
    FlatLift,
    Formula,
    Lift,
    Outline,
    PanelMesh,
    PlanPolygon,
    Region,
    Ring,
    TwoRadii,
    mesh_outline,
)
from panelfem.panel import Fastener, Panel
from panelfem.papers.amounts import amounts
from panelfem.papers.card import work_card
from panelfem.papers.develop import Development, develop, ring_area
from panelfem.papers.drawing import Drawing, Line, Words
from panelfem.papers.files import file_names, papers_of
from panelfem.papers.gores import LIMIT, gores, worst
from panelfem.papers.grid import damage_grid
from panelfem.papers.pdf import pdf
from panelfem.papers.skin import skins
from panelfem.papers.svg import svg
from panelfem.papers.template import patch_template, scarf_template, stepped
from panelfem.papers.tiles import EDGE, FOOT, OVERLAP, tiling
from panelfem.repair import PatchRepair, Tape

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
MM = 25.4 / 72.0
STACK = Laminate(parse_stack("[0/45]", library(), "carbon-twill"))


def panel_mesh(lift: Lift, *regions: Region, half: float = 0.3, size: float = 0.05) -> PanelMesh:
    corners = [(-half, -half), (half, -half), (half, half), (-half, half)]
    return mesh_outline(Outline(Ring.polygon(corners)), lift, size, regions)


def flat(mesh: PanelMesh, region: str) -> Development:
    (skin,) = skins(mesh, mesh.inside[region])
    return develop(skin)


def disc(radius: float, centre: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Disc:
    return Disc("patch", np.array(centre), radius, 0.5 * radius)


def rectangle(x: float, y: float) -> PlanPolygon:
    return PlanPolygon("patch", np.array([[-x, -y], [x, -y], [x, y], [-x, y]]), 0.03)


# ---- development


@pytest.mark.parametrize("radius", [0.2, 1.0, -3.0])
def test_a_cylinder_develops_to_its_arc(radius: float) -> None:
    x, y = 0.12, 0.08
    found = flat(panel_mesh(TwoRadii(radius, math.inf), rectangle(x, y), half=0.15, size=0.03), "patch")
    # exact: a chord of 2x on a circle has the arc 2 R asin(x/R)
    arc = 2 * abs(radius) * math.asin(x / abs(radius))
    corners = found.rings[0]
    diagonal = np.linalg.norm(corners[:, None] - corners[None], axis=2).max()
    assert found.distortion < 1e-4
    assert diagonal == pytest.approx(math.hypot(arc, 2 * y), rel=1e-4)
    assert ring_area(corners) == pytest.approx(arc * 2 * y, rel=1e-4)


def test_a_cone_develops_to_its_sector() -> None:
    # z = -r/2: exact development is polar, slant s = r √1.25, angle φ r/s
    place = (0.15, 0.0, -0.075)
    found = flat(panel_mesh(Formula("-sqrt(x**2 + y**2)/2", 1e-3), disc(0.06, place), half=0.3), "patch")
    x, y, _ = found.skin.points.T
    r, k = np.hypot(x, y), math.sqrt(1.25)
    angle = np.arctan2(y, x) / k
    exact = r[:, None] * k * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    a, b = exact - exact.mean(axis=0), found.flat - found.flat.mean(axis=0)
    u, _, v = np.linalg.svd(b.T @ a)
    assert np.linalg.det(u @ v) > 0, "not turned over"
    assert np.abs(b @ (u @ v) - a).max() < 2e-5
    assert found.distortion < 1e-3


@pytest.mark.parametrize("radius", [0.06, 0.1, 0.15])
def test_a_cap_of_a_sphere_is_near_the_best_there_is(radius: float) -> None:
    found = flat(panel_mesh(Formula("sqrt(500**2 - x**2 - y**2) - 500", 1e-3), disc(radius), half=0.2), "patch")
    angle = 2 * math.asin(radius / 2 / 0.5)
    # Milnor 1969 (from memory): no map of the cap does better than the azimuthal equidistant one, α / sin α
    ratio = (1 + found.greatest) / (1 + found.least)
    assert ratio > angle / math.sin(angle)
    assert found.distortion > (angle / math.sin(angle) - 1) / (angle / math.sin(angle) + 1)
    # derived here: a membrane without cross-contraction pressed flat (u = −α²/16 r + r³/48) stretches by α²/8 at the
    # rim and shrinks by α²/16 at the centre; evened out, ±3α²/32, to terms of the order α⁴
    assert found.distortion == pytest.approx(3 * angle**2 / 32, rel=0.03)
    assert found.greatest == pytest.approx(-found.least, rel=1e-9)


def test_a_plane_keeps_every_length_and_its_handedness() -> None:
    found = flat(panel_mesh(Formula("x/3 - y/4", 1e-3), disc(0.06)), "patch")
    p, q = found.skin.points, found.flat
    pairs = np.random.default_rng(1).integers(len(p), size=(200, 2)).T
    true, ours = (np.linalg.norm(a[pairs[0]] - a[pairs[1]], axis=1) for a in (p, q))
    assert np.abs(true - ours).max() < 1e-9
    assert ring_area(found.rings[0]) > 0


@pytest.mark.parametrize(
    "lift", [Formula("sqrt(400**2 - x**2 - y**2) - 400", 1e-3), TwoRadii(0.35, -0.5)], ids=["sphere", "saddle"]
)
def test_gores_bring_the_distortion_below_one_percent(lift: Lift) -> None:
    region = rectangle(0.15, 0.17)
    whole = flat(panel_mesh(lift, region, half=0.2), "patch")
    cut = gores(whole)
    assert whole.distortion > LIMIT
    assert len(cut) > 1
    assert worst(cut) <= LIMIT
    assert sum(sheet.skin.area for sheet in cut) == pytest.approx(whole.skin.area, rel=1e-3)
    assert sum(ring_area(sheet.rings[0]) for sheet in cut) == pytest.approx(whole.skin.area, rel=0.01)


def test_gores_run_along_the_lesser_curvature() -> None:
    whole = flat(panel_mesh(TwoRadii(0.2, 2.5), rectangle(0.12, 0.14), half=0.15), "patch")
    limit = 0.4 * whole.distortion
    cut = gores(whole, limit)
    for sheet in cut:
        width, length, _ = np.ptp(sheet.skin.points, axis=0)
        assert length > 0.27
        assert width < 0.15
    assert worst(cut) <= limit


def test_what_cannot_lie_flat_says_so() -> None:
    made = made_panel(Formula("sqrt(12**2 - x**2 - y**2) - 12", 1e-3), disc(0.0075), half=0.0078)
    template = patch_template(made, "patch", STACK, 1, "deep")
    assert template.distortion > LIMIT
    assert not template.lies_flat
    assert "DOES NOT LIE FLAT" in words(template.drawing)


# ---- templates


def made_panel(lift: Lift, *regions: Region, half: float = 0.3, axis: Any = (1.0, 0.0, 0.0)) -> Panel:
    mesh = panel_mesh(lift, *regions, half=half, size=half / 6)

    def fixing(name: str, x: float, y: float) -> Fastener:
        place = np.array([x, y, float(lift.height(np.array([[x, y]]))[0])])
        return Fastener(name, place, np.array([0.0, 0.0, 1.0]), 0.005, 1e9, 1e9)

    fixings = (fixing("F1", 0.06 * half / 0.3, 0.8 * half), fixing("F2", -0.5 * half, 0.0), fixing("F3", half, half))
    return Panel("floor", mesh, (STACK,), np.zeros(len(mesh.triangles), np.int64), np.array(axis), fixings)


def words(drawing: Drawing) -> str:
    return " ".join(mark.text for mark in drawing.marks if isinstance(mark, Words))


def named(drawing: Drawing, name: str) -> list[np.ndarray]:
    return [mark.drawn for mark in drawing.marks if isinstance(mark, Line) and mark.name == name]


@pytest.fixture(scope="module")
def patch() -> Any:
    """A flat disc of 120 mm on the first ply face, 0° along y."""
    made = made_panel(FlatLift(), disc(0.06), Disc("hole", np.array([0.0, 0.0, 0.0]), 0.02, 0.01), axis=(0.0, 1.0, 0.0))
    return made, patch_template(made, "patch", STACK, -1, "disc", ["said"], [("hole", "cut out")])


def svg_paths(content: bytes) -> tuple[Any, dict[str, list[np.ndarray]]]:
    """The root element and the paths of an SVG by class, in its user units."""
    root = ET.fromstring(content.decode())
    found: dict[str, list[np.ndarray]] = {}
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        numbers = np.array(re.findall(r"-?[\d.]+", path.get("d", "")), float).reshape(-1, 2)
        found.setdefault(path.get("class", ""), []).append(numbers)
    return root, found


def pdf_paths(content: bytes | Path) -> list[tuple[tuple[float, float], list[np.ndarray]]]:
    """Of each page its size and the lines drawn on it, in mm."""
    pages = []
    for page in pypdf.PdfReader(io.BytesIO(content) if isinstance(content, bytes) else content).pages:
        size = (float(page.mediabox.width) * MM, float(page.mediabox.height) * MM)
        lines: list[list[tuple[float, float]]] = []
        stack: list[np.ndarray] = []
        now = np.eye(3)
        numbers: list[float] = []
        for token in page.get_contents().get_data().decode("latin1").split():
            if token == "cm":
                a, b, c, d, e, f = numbers[-6:]
                now = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ now
            elif token == "q":
                stack.append(now)
            elif token == "Q":
                now = stack.pop()
            elif token in ("m", "l"):
                at = np.array([*numbers[-2:], 1.0]) @ now
                if token == "m":
                    lines.append([])
                lines[-1].append((float(at[0]) * MM, float(at[1]) * MM))
            try:
                numbers.append(float(token))
            except ValueError:
                numbers = []
        pages.append((size, [np.array(line) for line in lines]))
    return pages


def lengths(lines: list[np.ndarray]) -> list[float]:
    return [float(np.linalg.norm(line[1] - line[0])) for line in lines if len(line) == 2]


def widest(lines: list[np.ndarray]) -> np.ndarray:
    """Extent of the line with the most points, mm."""
    return np.ptp(max(lines, key=len), axis=0)


def test_a_disc_of_120_mm_measures_120_mm_in_svg(patch: Any) -> None:
    root, paths = svg_paths(svg(patch[1].drawing))
    _, _, width, height = map(float, root.get("viewBox").split())
    assert root.get("width") == f"{width:g}mm"
    assert root.get("height") == f"{height:g}mm"
    (bar,) = paths["scale bar"]
    assert np.linalg.norm(bar[1] - bar[0]) == pytest.approx(100.0, abs=0.05)
    (outline,) = paths["outline"]
    assert np.ptp(outline, axis=0) == pytest.approx([120.0, 120.0], abs=0.05)
    assert abs(ring_area(outline)) == pytest.approx(math.pi / 4 * 120**2, rel=2e-3)
    (cut,) = paths["cut out"]
    assert np.ptp(cut, axis=0) == pytest.approx([40.0, 40.0], abs=0.05)


def test_a_disc_of_120_mm_measures_120_mm_in_pdf(patch: Any) -> None:
    (((wide, high), lines),) = pdf_paths(pdf(patch[1].drawing))
    assert sorted((wide, high)) == pytest.approx([210.0, 297.0], abs=0.01)
    # one in the drawing, one at the foot of the sheet
    bars = [length for length in lengths(lines) if abs(length - 100.0) < 1.0]
    assert bars == pytest.approx([100.0, 100.0], abs=0.05)
    assert widest(lines) == pytest.approx([120.0, 120.0], abs=0.05)


def test_a_template_is_seen_on_its_own_face(patch: Any) -> None:
    made, under = patch
    over = patch_template(made, "patch", STACK, 1, "disc")
    for template, up in ((over, 1.0), (under, -1.0)):
        (outline,) = named(template.drawing, "outline")
        middle = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
        at = {m.text: np.array([m.x, m.y]) - middle for m in template.drawing.marks if isinstance(m, Words)}
        # 0° is +y and lies to the right: F1, along 0°, is to the right; F2 at −x is 90° from 0° (t2 = n × t1)
        assert at["F1"][0] > 60.0
        assert up * at["F2"][1] > 60.0
        label = next(m for m in template.drawing.marks if isinstance(m, Words) and m.text == "ply 2: 45°")
        assert label.turn == pytest.approx(45.0 * up)


def test_distances_to_fixings_are_those_on_the_panel(patch: Any) -> None:
    text = words(patch[1].drawing)
    # F2 lies 150 mm from the middle, F1 at (60, 240)
    assert "150.0 mm to the middle of F2" in text
    assert "F2 90.0 mm" in text
    assert f"{math.hypot(60, 240):.1f} mm to the middle of F1" in text
    assert "F3" not in text


def test_a_distance_along_a_cylinder_is_the_arc() -> None:
    made = made_panel(TwoRadii(0.4, math.inf), disc(0.05))
    text = words(patch_template(made, "patch", STACK, 1, "disc").drawing)
    assert f"{400 * math.asin(150 / 400):.1f} mm to the middle of F2" in text


def test_no_distance_along_a_skin_that_does_not_lead_there() -> None:
    # a trough 0.38 m wide and 0.3 m deep there: from wall to wall the straight line leaves the skin
    lift = Formula("(x**2)**2/4300000", 1e-3)
    made = made_panel(lift, disc(0.02, (0.19, 0.0, float(lift.height(np.array([[0.19, 0.0]]))[0]))), half=0.2)
    bare = replace(made, mesh=replace(made.mesh, surface=None))
    far = replace(made.fasteners[1], place=np.array([-0.19, 0.0, float(lift.height(np.array([[-0.19, 0.0]]))[0])]))
    text = words(patch_template(replace(bare, fasteners=(far,)), "patch", STACK, 1, "wall").drawing)
    assert "380.0 mm to the middle of F2 (STRAIGHT, not along it)" in text
    assert "mm F2" not in text


def test_gores_are_marked_alike_on_both_sides() -> None:
    made = made_panel(Formula("sqrt(500**2 - x**2 - y**2) - 500", 1e-3), disc(0.24))
    template = patch_template(made, "patch", STACK, 1, "dome")
    assert template.pieces > 1
    assert template.lies_flat
    seams: dict[str, int] = {}
    for mark in template.drawing.marks:
        if isinstance(mark, Line) and mark.name.startswith("seam "):
            seams[mark.name] = seams.get(mark.name, 0) + 1
    assert len(seams) == 3 * (template.pieces - 1)
    assert set(seams.values()) == {2}
    assert f"Piece 1 of {template.pieces}" in words(template.drawing)


def test_steps_of_a_scarf_are_slope_times_thickness() -> None:
    turn = np.linspace(0, 2 * np.pi, 721)[:-1]
    circle = 60.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    out = stepped(circle, 30.0, [0.25, 0.5])
    inner = stepped(circle, 30.0, [-0.25, -0.5])
    for ring, radius in zip((*out, *inner), (67.5, 82.5, 52.5, 37.5), strict=True):
        assert np.linalg.norm(ring, axis=1) == pytest.approx(radius, abs=0.01)
    with pytest.raises(InputError, match="nothing in one piece is left"):
        stepped(circle, 30.0, [-2.5])
    for slope in (0.0, -20.0, math.nan, math.inf):
        with pytest.raises(InputError, match="slope"):
            stepped(circle, slope, [0.25])


def test_a_scarf_template_nests_the_plies() -> None:
    made = made_panel(TwoRadii(1.0, math.inf), disc(0.06))
    plies = Laminate(parse_stack("[0/45/0]", library(), "carbon-twill"))
    template = scarf_template(made, "patch", plies, 1, 30.0, "scarf")
    (outer,) = named(template.drawing, "outline")
    widths = [np.ptp(ring, axis=0)[1] for name in ("ply 2", "ply 1") for ring in named(template.drawing, name)]
    # 0.25 mm at 1:30 is 7.5 mm a step all round
    assert widths == pytest.approx([np.ptp(outer, axis=0)[1] - 15.0, np.ptp(outer, axis=0)[1] - 30.0], abs=0.05)
    with pytest.raises(InputError, match="nothing in one piece is left"):
        scarf_template(made, "patch", plies, 1, 200.0, "scarf")
    with pytest.raises(InputError, match="no area"):
        scarf_template(made, "elsewhere", plies, 1, 30.0, "scarf")


# ---- sheets


@pytest.mark.parametrize("size", [(100, 100), (194, 269), (195, 270), (500, 300), (300, 900), (1200, 700)])
def test_sheets_cover_all_and_overlap(size: tuple[float, float]) -> None:
    laid = tiling(*size)
    spots = np.stack(np.meshgrid(np.linspace(0, size[0], 60), np.linspace(0, size[1], 60)), axis=-1).reshape(-1, 2)
    seen = np.zeros(len(spots), int)
    windows = [laid.corner(r, c) for r in range(laid.rows) for c in range(laid.columns)]
    for corner in windows:
        inside = (spots >= np.array(corner) - 1e-9) & (spots <= np.array(corner) + laid.window + 1e-9)
        seen += inside.all(axis=1)
    assert (seen > 0).all()
    assert laid.columns == 1 or laid.corner(0, 1)[0] + OVERLAP == pytest.approx(laid.window[0])
    assert laid.window[0] + 2 * EDGE == laid.page[0]
    for _, x, y in laid.seams:
        on = [
            c for c in windows if c[0] + 2 < x < c[0] + laid.window[0] - 2 and c[1] + 2 < y < c[1] + laid.window[1] - 2
        ]
        assert len(on) >= 2


def test_tiled_sheets_put_together_give_the_drawing() -> None:
    made = made_panel(FlatLift(), rectangle(0.2, 0.15))
    drawing = patch_template(made, "patch", STACK, 1, "large").drawing
    laid = tiling(drawing.width, drawing.height)
    pages = pdf_paths(pdf(drawing))
    assert len(pages) == laid.rows * laid.columns > 1
    (outline,) = named(drawing, "outline")
    crosses: dict[tuple[float, float], int] = {}
    for i, (size, lines) in enumerate(pages):
        assert size == pytest.approx(laid.page, abs=0.01)
        assert sum(abs(length - 100.0) < 0.05 for length in lengths(lines)) >= 1
        shift = np.array(laid.corner(*divmod(i, laid.columns))) - [EDGE, FOOT]
        shown = [line + shift for line in lines]
        near = min((s for s in shown if len(s) == len(outline)), key=lambda s: np.abs(s - outline).max(), default=None)
        if near is not None:
            assert np.abs(near - outline).max() < 0.01
        for name, x, y in laid.seams:
            level = [s for s in shown if len(s) == 2 and np.abs(s - [[x - 4, y], [x + 4, y]]).max() < 0.01]
            crosses[name] = crosses.get(name, 0) + len(level)
    assert min(crosses.values()) >= 2


def test_words_with_odd_letters_are_drawn_as_they_are() -> None:
    drawing = Drawing(
        "a\x07", 100.0, 50.0, (Words(5.0, 20.0, r"$x_1$ <b> & \frac"), Words(5.0, 9.0, "\x00\u6f22\ud7ff"))
    )
    assert svg_paths(svg(drawing))[1] == {}, "well-formed"
    assert "$x_1$ &lt;b&gt; &amp;" in svg(drawing).decode()
    assert r"$x_1$ <b> & \frac" in pypdf.PdfReader(io.BytesIO(pdf(drawing))).pages[0].extract_text()


# ---- the damage map


@pytest.mark.parametrize("full", [False, True])
def test_the_grid_has_a_line_every_50_mm(full: bool) -> None:
    made = made_panel(FlatLift(), disc(0.06))
    drawing = damage_grid(made, full=full)
    scale = float(re.search(r"Scale 1:([\d.]+)", words(drawing)).group(1))  # type: ignore[union-attr]
    assert (scale == 1.0) is full
    at = [named(drawing, f"grid {x}")[0][0, 0] for x in range(-300, 301, 50)]
    assert np.diff(at) == pytest.approx(50.0 / scale)
    (edge,) = named(drawing, "edge")
    assert np.ptp(edge, axis=0) == pytest.approx([600.0 / scale] * 2, abs=1e-3)
    (fixing,) = named(drawing, "fixing F2")
    zero = named(drawing, "grid 0")[0][0, 0]
    assert fixing.mean(axis=0)[0] - zero == pytest.approx(-150.0 / scale, abs=0.2)
    for asked in ("Finding", "Size (mm)", "Date", "By whom"):
        assert (asked in words(drawing)) is not full
    assert (len(pdf_paths(pdf(drawing))) > 1) is full


def test_the_map_of_an_arc_follows_it() -> None:
    ring = Ring.circle((0.0, 0.0), 0.1)
    mesh = mesh_outline(Outline(ring), FlatLift(), 0.05)
    made = Panel("lid", mesh, (STACK,), np.zeros(len(mesh.triangles), np.int64), np.array([1.0, 0, 0]))
    (edge,) = named(damage_grid(made, full=True), "edge")
    middle = 0.5 * (edge.min(axis=0) + edge.max(axis=0))
    halfway = 0.5 * (edge[1:] + edge[:-1])
    for points in (edge, halfway):
        assert np.linalg.norm(points - middle, axis=1) == pytest.approx(100.0, abs=0.15)


# ---- amounts


def test_amounts_are_areas_times_the_records() -> None:
    made = made_panel(FlatLift(), disc(0.06))
    known = library()
    patch = PatchRepair("P", "patch", STACK, known["paste-epoxy"], 2.5e-4, 1, 0.8)  # type: ignore[arg-type]
    plies, glue = amounts(made, patch)
    covered = math.pi * 0.06**2
    assert plies.mass == pytest.approx(2 * covered * 2.5e-4 * known["carbon-twill"].density, rel=2e-3)
    assert glue.mass == pytest.approx(covered * 2.5e-4 * known["paste-epoxy"].density, rel=2e-3)
    # rule of mixtures by hand: (1550 − 1200)/(1780 − 1200) = 0.603 of 5.65 cm³ times 1.78 g/cm³ = 6.07 g
    assert "about 6.1 g fibre" in plies.amount
    assert "2 × 113 cm²" in plies.amount
    (tape,) = amounts(made, Tape("T", "patch", 0.2))
    assert tape.mass == pytest.approx(0.2 * covered, rel=2e-3)


# ---- the folder

CASE = """
[case]
title = "Corner & <hole>"
invented = true
minutes_left = 80
consequence = "debris"
[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false
[panel]
name = "floor corner"
zero_direction = [1, 0, 0]
stack = "[0/45/0]"
material = "carbon-twill"
[panel.outline]
corners_mm = [[0, 0], [400, 0], [400, 300], [0, 300]]
[[panel.fasteners]]
name = "F1"
place_mm = [30, 30]
washer_radius_mm = 10
hold = "pinned"
[[panel.fasteners]]
name = "F2"
place_mm = [370, 30]
washer_radius_mm = 10
hold = "pinned"
[[damage]]
kind = "hole"
name = "H1"
area = { shape = "disc", centre_mm = [200, 150], diameter_mm = 40 }
[[option]]
name = "../../<wet> patch"
minutes = 45
permitted = true
note = "on top"
[[option.actions]]
kind = "patch"
name = "../..\\\\P 1"
over = "H1"
overlap_mm = 40
stack = "[0/45]"
material = "carbon-twill-wet"
adhesive = "wet-resin"
bond_thickness_mm = 0.2
side = "last ply"
cut_out = true
cured_share = { value = 0.6, basis = "assumed", source = "25 minutes under a lamp", band = [0.4, 0.8] }
[[option]]
name = "spare"
minutes = 20
permitted = "ask"
[[option.actions]]
kind = "spare"
name = "the spare"
[[load]]
kind = "air load"
name = "suction"
pressure_kPa = -2
[settings]
element_size_mm = 60
vibrations = false
"""
OPTION = "../../<wet> patch"


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Any:
    file = tmp_path_factory.mktemp("case") / "case.toml"
    file.write_text(CASE, encoding="utf-8")
    return load_case(file)


@pytest.fixture(scope="module")
def written(case: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("papers") / "new"
    papers.write(case, OPTION, folder, by="N. N. <1>")
    return folder


def test_hostile_names_stay_in_the_folder(written: Path) -> None:
    assert sorted(p.name for p in written.iterdir()) == [
        "damage-grid.pdf", "papers.json", "sign-off.html", "template-p-1.pdf", "template-p-1.svg", "work-card.html",
    ]  # fmt: skip
    assert [p.name for p in written.parent.iterdir()] == ["new"]
    for page in ("work-card.html", "sign-off.html"):
        text = (written / page).read_text("utf-8")
        assert "<wet>" not in text
        assert "&lt;wet&gt;" in text
        assert "N. N. &lt;1&gt;" in text
        assert not re.search(r"https?://", re.sub(r"<svg.*?</svg>", "", text))


def test_file_names_are_never_more_than_a_name() -> None:
    names = ["con", "a/b", "a\\b", "a\0b", "." * 300, "x" * 300, "a b", "a-b", "\N{SNOWMAN}", "template-", "-rf *"]
    made = file_names(names)
    assert len(set(made)) == len(names)
    for name in made:
        assert re.fullmatch(r"[a-z0-9-]{1,64}", name)


def test_the_same_case_gives_the_same_bytes(case: Any, written: Path, tmp_path: Path) -> None:
    for path in papers.write(case, OPTION, tmp_path, by="N. N. <1>"):
        assert path.read_bytes() == (written / path.name).read_bytes(), path.name


def test_the_patch_template_of_a_case_is_to_size(written: Path) -> None:
    _, paths = svg_paths((written / "template-p-1.svg").read_bytes())
    assert np.ptp(paths["outline"][0], axis=0) == pytest.approx([120.0, 120.0], abs=0.05)
    # the hole with its tolerance of 1 mm all round, which a case has unless it says otherwise
    assert np.ptp(paths["cut out H1"][0], axis=0) == pytest.approx([42.0, 42.0], abs=0.05)


def test_the_card_lists_what_is_needed_and_checked(written: Path) -> None:
    text = re.sub(r"<[^>]+>", " ", (written / "work-card.html").read_text("utf-8").split("<main>")[1])
    text = " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())
    for said in (
        "Invented scenario", "45 min in all of 80 min left", "carbon-twill-wet, plies 1, 2", "wet-resin",
        "Share of book strength counted on: 0.6 (assumed: 25 minutes under a lamp)", "coupon of the same mix",
        "tap test", "surface dry", "temperature of panel", "Carbon dust", "Uncured resin", "Heated cure", "sharp",
        "Batteries", "Released by", "Not assessed here", "cut-out to the dashed line", "Prepared by N. N.",
    ):  # fmt: skip
        assert said in text, said


def test_steps_add_up_or_it_says_so(case: Any) -> None:
    steps = (
        SimpleNamespace(name="abrade & wipe", minutes=15.0, basis="measured", source="a watch"),
        SimpleNamespace(name="cure", minutes=30.0, basis="stated", source="data sheet"),
    )
    text = work_card(papers_of(case, OPTION, steps), {}).decode()  # type: ignore[arg-type]
    assert "abrade &amp; wipe" in text
    assert "Sum 45\N{NO-BREAK SPACE}min" in text
    assert "THE CASE SAYS" not in text
    assert "THE CASE SAYS 45" in work_card(papers_of(case, OPTION, steps[:1]), {}).decode()  # type: ignore[arg-type]


def test_an_assessment_fills_the_sheets(case: Any, tmp_path: Path) -> None:
    found = replace(synthetic.assessment(resolution=(12, 8)), case_hash=case.hash)
    conf = next(c for c in found.configurations if c.name == "wet patch, two plies")
    named = replace(
        found, configurations=tuple(replace(c, name=OPTION) if c is conf else c for c in found.configurations)
    )
    papers.write(case, OPTION, tmp_path, assessment=named)
    for page in ("work-card.html", "sign-off.html"):
        text = html.unescape((tmp_path / page).read_text("utf-8"))
        assert conf.disposition.outcome.value in text
        for condition in conf.disposition.conditions:
            assert condition.rstrip(".")[1:] in text
        assert "Released by" in text
    text = html.unescape((tmp_path / "sign-off.html").read_text("utf-8"))
    assert conf.disposition.inspect
    for look in conf.disposition.inspect:
        assert look.rstrip(".")[1:] in text
    with pytest.raises(InputError, match="not of this case"):
        papers.write(case, OPTION, tmp_path, assessment=replace(named, case_hash="other"))
    with pytest.raises(InputError, match="has no option"):
        papers.write(case, OPTION, tmp_path, assessment=found)


def test_papers_of_another_option_replace_the_earlier_ones(case: Any, tmp_path: Path) -> None:
    papers.write(case, OPTION, tmp_path)
    index = json.loads((tmp_path / "papers.json").read_text("utf-8"))
    index["files"] += ["../case.toml", "notes.txt"]
    (tmp_path / "papers.json").write_text(json.dumps(index), "utf-8")
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    papers.write(case, "spare", tmp_path)
    assert not list(tmp_path.glob("template-*"))
    assert (tmp_path / "notes.txt").read_text("utf-8") == "mine"


def test_what_cannot_be_done_is_one_message(case: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match=r"no option is called 'tape'.*spare"):
        papers.write(case, "tape", tmp_path)
    with pytest.raises(InputError, match="protects people"):
        papers.write(replace(case, panel=None), OPTION, tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    (other / "notes.txt").write_text("mine", "utf-8")
    with pytest.raises(InputError, match="not a result of this tool"):
        papers.write(case, "spare", other)
    folder = tmp_path / "full"
    papers.write(case, "spare", folder)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}

    def full(source: object, target: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(panelfem.files.os, "replace", full)
    with pytest.raises(InputError, match="No space left on device"):
        papers.write(case, "spare", folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_the_command_writes_papers(case: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["papers", case.file, "--out", str(tmp_path / "out"), "--quiet", "--option"]
    assert main([*arguments, "spare"]) == 0
    said = capsys.readouterr()
    assert "work-card.html" in said.out
    assert "Print at 100 %" in said.out
    assert main([*arguments, "nothing"]) == 2
    said = capsys.readouterr()
    assert "no option is called 'nothing'" in said.err
    assert "Traceback" not in said.err


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")
def test_a_browser_prints_the_svg_to_size(written: Path, tmp_path: Path) -> None:
    target = tmp_path / "printed.pdf"
    flags = ["no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking"]
    flags += ["disable-component-update", "disable-sync", "no-pdf-header-footer", f"print-to-pdf={target}"]
    flags.append(f"user-data-dir={tmp_path / 'profile'}")
    subprocess.run(
        [str(BROWSER), "--headless", *(f"--{flag}" for flag in flags), (written / "template-p-1.svg").as_uri()],
        capture_output=True,
        timeout=60,
        check=True,
    )  # fmt: skip
    lines = [line for _, page in pdf_paths(target) for line in page]
    assert min(abs(length - 100.0) for length in lengths(lines)) < 0.05
    assert widest(lines) == pytest.approx([120.0, 120.0], abs=0.05)
