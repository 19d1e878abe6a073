"""Natural vibrations in the assessment: against closed forms, between states of one panel, and what is said instead."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shell_problems import grid
from test_adapt import L_SHAPE, case_of
from test_assess import DULL, STRIP, plate

from panelfem.assess import assess
from panelfem.assess.records import Vibration
from panelfem.assess.vibrate import COUNT, Whole, vibrate
from panelfem.damage import SOFT, STIFF, Softened, damaged
from panelfem.laminate import Laminate, parse_stack
from panelfem.laminate.degrade import softened
from panelfem.loads.fixings import supported
from panelfem.loads.masses import panel_mass
from panelfem.material import library
from panelfem.mesh import Disc, PanelMesh
from panelfem.panel import EdgeSupport, Panel, PointMass
from panelfem.reference import navier_modes
from panelfem.shell import Shell
from panelfem.shell.layout import Layout
from panelfem.shell.vibration import unloaded, vibration

A, B = 0.24, 0.16
LIB = library()


def sheet(stack="[0]_4", material="T300-5208", size=(A, B), n=8, distort=0.1, **inside) -> Panel:
    """A flat rectangle hinged all round; `inside`: regions as functions of centroids (ne, 2) over the sides."""
    p, t = grid(n, n, distort)
    regions = {name: region(p[t].mean(axis=1)) for name, region in inside.items()}
    mesh = PanelMesh(np.column_stack([p * size, np.zeros(len(p))]), t, regions)
    laminate = Laminate(parse_stack(stack, LIB, material))
    of = np.zeros(len(t), np.int64)
    return Panel("sheet", mesh, (laminate,), of, np.array([1.0, 0, 0]), edges=(EdgeSupport("rim", "hinged"),))


def box(x, y):
    """Whether centroids lie in a box x[0] … x[1], y[0] … y[1] of the unit square."""
    return lambda c: (c[:, 0] > x[0]) & (c[:, 0] < x[1]) & (c[:, 1] > y[0]) & (c[:, 1] < y[1])


def layouts(panel, order=2):
    return Layout(panel.mesh.curved(order)), Layout(panel.mesh.curved(order + 1))


def at(place):
    return ", ".join(f"{1e3 * c:.0f}" for c in place.tolist())


def tones_of(panel, whole=None, order=2) -> tuple[Vibration, Whole]:
    return vibrate(panel, layouts(panel, order), at, whole)


def hertz(found: Vibration) -> np.ndarray:
    return np.array([tone.frequency for tone in found.tones])


def bars(found: Vibration) -> np.ndarray:
    return np.array([tone.bar for tone in found.tones])


# ------------------------------------------------------------------------------------------------ closed forms
@pytest.fixture(scope="module")
def plain():
    panel = sheet(middle=box((0.37, 0.63), (0.37, 0.63)))
    return panel, *tones_of(panel)


def test_a_hinged_orthotropic_plate(plain):
    """ρh ω² = π⁴ [D11 (m/a)⁴ + 2 (D12 + 2 D66) (m/a)² (n/b)² + D22 (n/b)⁴]: thin specially orthotropic plates, Reddy,
    *Mechanics of Laminated Composite Plates and Shells* (from memory); first-order theory by Navier's series, which
    lies a little below.  Effective mass of mode m, n odd: 64/(π⁴ m² n²), by integrating its sines."""
    panel, found, _ = plain
    laminate = panel.laminates[0]
    D, rho = laminate.stiffness[3:6, 3:6], laminate.areal_mass
    m, n = (w.ravel() for w in np.meshgrid(np.arange(1, 7), np.arange(1, 7), indexing="ij"))
    x, y = (np.pi * m / A) ** 2, (np.pi * n / B) ** 2
    thin = np.sqrt((D[0, 0] * x**2 + 2 * (D[0, 1] + 2 * D[2, 2]) * x * y + D[1, 1] * y**2) / rho) / (2 * np.pi)
    order = np.argsort(thin)[:COUNT]
    inertia = laminate.mass_moments[2]
    first = navier_modes.frequencies(laminate.stiffness, A, B, rho, inertia, n=COUNT) / (2 * np.pi)
    assert first == pytest.approx(thin[order], rel=2e-3)
    assert len(found.tones) == COUNT
    assert not found.notes
    assert (np.abs(hertz(found) - first) <= bars(found)).all()
    assert (bars(found) < 0.02 * hertz(found)).all()
    exact = np.where((m % 2 == 1) & (n % 2 == 1), 64 / (np.pi**4 * m**2 * n**2), 0.0)[order]
    assert np.array([t.effective[2] for t in found.tones]) == pytest.approx(exact, abs=5e-3)
    assert max(np.abs(t.effective[:2]).max() for t in found.tones) < 1e-9
    assert found.mass == pytest.approx(rho * A * B, rel=1e-9)


def test_what_a_tone_says(plain):
    panel, found, _ = plain
    first = found.tones[0]
    assert first.where == "120, 80, 0"
    assert first.shape.shape == (len(panel.mesh.vertices), 3)
    x, y = panel.mesh.vertices[:, :2].T
    assert first.shape[:, 2] == pytest.approx(np.sin(np.pi * x / A) * np.sin(np.pi * y / B), abs=0.01)
    for i, tone in enumerate(found.tones, 1):
        assert np.linalg.norm(tone.shape, axis=1).max() == pytest.approx(1.0)
        assert (tone.like, tone.likeness) == (i, 1.0)


def test_a_mass_lowers_what_moves_it(plain):
    """Rayleigh's quotient of the undisturbed shape: ω²/ω0² = 1/(1 + 4 μ s), μ the mass hung over that of the plate and
    s the mean of sin² sin² over its area; 4, because that mean over the plate is 1/4.  An upper bound, close for small
    masses."""
    panel, found, whole = plain
    weight = 0.05 * found.mass
    hung, _ = tones_of(replace(panel, masses=(PointMass("sensor", "middle", weight),)), whole)
    inside = panel.mesh.inside["middle"]
    x, y = panel.mesh.centroids[inside, :2].T
    mean = np.average((np.sin(np.pi * x / A) * np.sin(np.pi * y / B)) ** 2, weights=panel.mesh.areas[inside])
    rayleigh = found.tones[0].frequency / np.sqrt(1 + 4 * 0.05 * mean)
    assert hung.tones[0].frequency == pytest.approx(rayleigh, rel=3e-3)
    assert hung.mass == pytest.approx(found.mass + weight)
    assert (hung.tones[0].like, hung.tones[0].likeness) == (1, pytest.approx(1.0, abs=2e-3))
    taped, _ = tones_of(replace(panel, extra_mass=weight), whole)
    assert hertz(taped) == pytest.approx(hertz(found) / np.sqrt(1.05), rel=1e-3)  # spread over the whole skin
    lost = replace(panel, masses=(PointMass("sensor", "middle", weight),), removed=inside)
    assert "sensor has nothing left to hang on and is left out" in tones_of(lost, whole)[0].notes


def test_orders_agree_and_bars_cover(plain):
    """On a mesh four times coarser, and with elements of orders 3 and 4."""
    panel, found, _ = plain
    coarse, _ = tones_of(sheet(n=4))
    better, _ = tones_of(panel, order=3)
    assert (np.abs(hertz(coarse) - hertz(better)) <= bars(coarse) + bars(better)).all()
    assert (np.abs(hertz(found) - hertz(better)) <= bars(found)).all()
    assert (bars(coarse) > bars(found)).all()
    assert (bars(found) >= bars(better) - 1e-9).all()


def test_the_same_to_the_digit(plain):
    panel, found, _ = plain
    again, _ = tones_of(panel)
    for a, b in zip(found.tones, again.tones, strict=True):
        assert (a.frequency, a.bar, a.where) == (b.frequency, b.bar, b.where)
        assert (a.shape == b.shape).all()


# ------------------------------------------------------------------------------------------------ damaged panels
def test_a_soft_area_lowers_and_its_own_tones_are_left_out():
    panel = sheet(n=8, dull=box((0.37, 0.63), (0.37, 0.63)), ring=box((0.25, 0.75), (0.25, 0.75)))
    whole_tones, whole = tones_of(panel)
    dull = (Softened("D", "dull", 1e-6, 0.5),)
    stiff, soft = (damaged(panel, dull, end) for end in (STIFF, SOFT))
    assert tones_of(stiff, whole)[0] is whole_tones  # strength is all that is lost
    found, _ = tones_of(soft, whole)
    assert found.mass == pytest.approx(whole_tones.mass, rel=1e-9)
    assert found.tones[0].frequency < 0.98 * whole_tones.tones[0].frequency
    assert [t.like for t in found.tones[:3]] == [1, 2, 3]
    assert min(t.likeness for t in found.tones[:3]) > 0.8
    assert "moves with the skin around it; tones of its own are left out" in found.notes[0]
    # with its own mass the soft area has tones far below, which mean nothing
    shell = Shell(panel.mesh.curved(2), soft.stiffness(), panel.axis)
    rattling = vibration(unloaded(shell, supported(soft, shell)[0]), panel_mass(soft, shell), 1).hertz
    assert rattling[0] < 0.5 * found.tones[0].frequency
    # the same panel with a hole whose weight hangs on the elements around it
    weight = panel.areal_mass() @ (panel.mesh.areas * panel.mesh.inside["dull"])
    nodes = np.unique(panel.mesh.triangles[panel.mesh.inside["dull"]])
    around = np.isin(panel.mesh.triangles, nodes).any(axis=1) & ~panel.mesh.inside["dull"]
    mesh = replace(panel.mesh, inside={**panel.mesh.inside, "around": around})
    holed = replace(panel, mesh=mesh, removed=panel.mesh.inside["dull"], masses=(PointMass("w", "around", weight),))
    assert hertz(tones_of(holed)[0]) == pytest.approx(hertz(found), rel=2e-3)


def test_tones_that_change_places_are_known_again():
    """A slightly oblong sheet, softened along its middle line: the second and third tone change places."""
    panel = sheet("[0]_2", "carbon-twill", (0.2, 0.194), strip=lambda c: np.abs(c[:, 0] - 0.5) < 0.13)
    _, whole = tones_of(panel)
    bent = panel.relaid(panel.mesh.inside["strip"], {0: softened(panel.laminates[0], 0.3)})
    found, _ = tones_of(bent, whole)
    assert {t.like for t in found.tones[:4]} == {1, 2, 3, 4}
    assert [t.like for t in found.tones[:3]] != [1, 2, 3]
    assert all(t.likeness > 0.6 for t in found.tones[:4])


def test_tones_of_a_multiple_frequency_are_known_together():
    """A square sheet of balanced fabric has its second frequency twice, in any combination of its shapes; a hole on the
    diagonal chooses those along the diagonals."""
    panel = sheet("[0]_2", "carbon-twill", (0.2, 0.2), hole=box((0.24, 0.51), (0.24, 0.51)))
    whole_tones, whole = tones_of(panel)
    assert whole_tones.tones[1].frequency == pytest.approx(whole_tones.tones[2].frequency, rel=2e-3)
    holed = replace(panel, removed=panel.mesh.inside["hole"])
    found, _ = tones_of(holed, whole)
    assert {t.like for t in found.tones[1:3]} == {2, 3}
    assert all(t.likeness > 0.9 for t in found.tones[1:3])
    gone = np.setdiff1d(panel.mesh.triangles[holed.removed], panel.mesh.triangles[~holed.removed])
    assert len(gone)
    assert (found.tones[0].shape[gone] == 0.0).all()


# ---------------------------------------------------------------------------------------------------- said instead
def test_a_part_that_only_a_soft_area_holds_is_said():
    panel = sheet(n=5, distort=0.0, dull=box((0.4, 0.6), (-1, 2)), all=box((-1, 2), (-1, 2)))
    left = Disc("left", np.array([-10.0, B / 2, 0.0]), 10.001, 0.1)  # a border all but straight along x = 0
    held = replace(panel, edges=(EdgeSupport("left", "clamped", left),))
    _, whole = tones_of(held)
    soft = damaged(held, (Softened("D", "dull", 1e-3, 0.5),), SOFT)
    found, same = tones_of(soft, whole)
    assert found.tones == ()
    assert same is whole
    assert "without what is taken to carry nothing, the panel is free to move and turn as a whole" in found.notes[0]
    assert found.mass == pytest.approx(panel.mass())
    nothing = damaged(held, (Softened("D", "all", 1e-3, 0.5),), SOFT)
    assert "all of a part of the panel is taken to carry nothing" in tones_of(nothing, whole)[0].notes[0]


def test_a_panel_that_nothing_holds_has_no_number_for_its_zeros():
    panel = sheet(n=4)
    loose = replace(panel, edges=(EdgeSupport("rim", "supported"),))  # along the normal only
    found, _ = tones_of(loose)
    assert len(found.tones) == COUNT - 3
    assert all(tone.frequency > 0.0 for tone in found.tones)
    assert "3 zero frequencies: the panel is free to move" in found.notes[0]


# ------------------------------------------------------------------------------------------------------ whole cases
def test_a_case_asks_for_them_unless_it_says_no():
    text = plate(DULL, "ABCD").replace("vibrations = false\n", "").replace("force_N = 200", "force_N = 10")
    case = case_of(text[: text.rindex("[[load]]")])  # the hand alone, pushing lightly
    assert case.vibrations
    undamaged, as_found = assess(replace(case, lose_each_fastener=False, assumed=())).configurations
    (variant,) = undamaged.variants
    stiff, soft = as_found.variants
    assert len(variant.vibration.tones) == COUNT
    assert variant.vibration.mass == pytest.approx(undamaged.mass)
    assert stiff.vibration is variant.vibration
    assert soft.vibration.tones[0].like == 1
    assert soft.vibration.tones[0].frequency < variant.vibration.tones[0].frequency
    assert " mm from " in variant.vibration.tones[0].where
    quiet = case_of(STRIP.replace("value = 40", "value = 0.1").replace("[20, 80]", "[0.05, 0.2]"))
    assert not quiet.vibrations
    assert assess(replace(quiet, assumed=())).configurations[0].variants[0].vibration is None


def test_only_the_last_mesh_vibrates():
    text = L_SHAPE.replace("vibrations = false\n", "").replace("[settings]", "[settings]\naccuracy = 0.003")
    case = case_of(text.replace("value = 40", "value = 0.1").replace("[20, 80]", "[0.05, 0.2]"))
    stages: list[tuple[str, float]] = []
    found = assess(replace(case, assumed=()), lambda stage, share: stages.append((stage, share)))
    assert found.meshing is not None
    assert len(found.meshing.meshes) > 1
    assert [stage for stage, _ in stages[-2:]] == ["vibrations of undamaged (1 of 1)", "disposition"]
    assert sum(stage.startswith("vibrations") for stage, _ in stages) == 1
    shares = [share for _, share in stages]
    assert shares == sorted(shares)
    vibrations = found.configurations[0].variants[0].vibration
    assert vibrations.tones[0].shape.shape == (len(found.mesh.vertices), 3)
