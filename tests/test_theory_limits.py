"""Where first-order shell theory is good: exact elasticity checked against independent solutions, and what is said."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import CoreMaterial, library
from panelfem.mesh import PanelMesh
from panelfem.panel import Fastener, Panel
from panelfem.reference.curved_beam import CurvedBeam
from panelfem.reference.curved_strip import CurvedStrip
from panelfem.reference.elasticity import CrossPlyBlock, Layer, Orthotropic, PressureWave
from panelfem.reference.wave import FirstOrderWave, exact, solid
from panelfem.reserve import validity
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import ShellLimit, TheoryCheck
from panelfem.reserve.sampling import Sampling
from panelfem.reserve.theory import Theory, theory
from panelfem.reserve.validity import by_curvature, by_span, shell_limit, shell_limits, with_strain
from panelfem.verify.limits import layerwise, rows

PLY = Orthotropic(25.0, 1.0, 1.0, 0.25, 0.25, 0.25, 0.5, 0.5, 0.2)
ISO = Orthotropic(1.0, 1.0, 1.0, 0.3, 0.3, 0.3, 1 / 2.6, 1 / 2.6, 1 / 2.6)
FOAM = Orthotropic(1e-3, 1e-3, 1e-3, 0.3, 0.3, 0.3, 1e-3 / 2.6, 1e-3 / 2.6, 1e-3 / 2.6)
#: the sandwich of the typical panel
TYPICAL = "[0/45/0/foam-pvc-80:10mm]s"


def stack(text: str, material: str = "carbon-twill") -> Laminate:
    return Laminate(parse_stack(text, library(), material))


def layers(*parts: tuple[Orthotropic, float, float]) -> tuple[Layer, ...]:
    return tuple(Layer(ply, math.radians(degrees), t) for ply, degrees, t in parts)


# exact elasticity under a wave of pressure --------------------------------------------------------------------------


def airy(h: float, k: float) -> tuple[float, float, float]:
    """σx at the top, σx at the bottom, τxz at mid-height of an isotropic strip under cos kx on top.

    Closed form: φ = (A ch kz + B sh kz + C z ch kz + D z sh kz) cos kx, σz = φ,xx, σx = φ,zz, τxz = −φ,xz.
    """
    c = h / 2

    def f(z: float, order: int) -> FloatArray:
        a, b = math.cosh(k * z), math.sinh(k * z)
        return [
            np.array([a, b, z * a, z * b]),
            np.array([k * b, k * a, a + k * z * b, b + k * z * a]),
            np.array([k * k * a, k * k * b, 2 * k * b + k * k * z * a, 2 * k * a + k * k * z * b]),
        ][order]

    found = np.linalg.solve(np.array([f(c, 0), f(-c, 0), f(c, 1), f(-c, 1)]), [-1 / k**2, 0, 0, 0])
    return float(f(c, 2) @ found), float(f(-c, 2) @ found), float(k * f(0.0, 1) @ found)


@pytest.mark.parametrize("s", [0.5, 1.0, 4.0, 20.0, 300.0])
def test_isotropic_strip_is_airys(s: float) -> None:
    """Thick and thin: short waves in a thick strip, and thin ones, where a transfer matrix loses its digits."""
    wave = PressureWave(layers((ISO, 0, 0.4), (ISO, 0, 0.35), (ISO, 0, 0.25)), s, (0.0, 0.7), 1.0)
    top, bottom, shear = airy(1.0, math.pi / s)
    stress = wave.stresses[0]
    assert stress[2, 2, 0] == pytest.approx(top, rel=1e-6)
    assert stress[0, 0, 0] == pytest.approx(bottom, rel=1e-6, abs=1e-6 * abs(top))
    middle = PressureWave(layers((ISO, 0, 0.5), (ISO, 0, 0.5)), s, (0.0,), 1.0).stresses[0, 1, 0, 4]
    assert middle == pytest.approx(shear, rel=1e-6, abs=1e-8)
    assert stress[2, 2, 2] == pytest.approx(1.0)
    assert np.abs([stress[0, 0, 2:5], stress[2, 2, [3, 4, 4]]]).max() < 1e-6 * s
    # an isotropic strip does not know where the wave goes
    assert wave.deflection[0] == pytest.approx(wave.deflection[1], rel=1e-9)


def test_wave_is_the_limit_of_a_long_plate() -> None:
    """A simply supported cross-ply plate that is long in y bends as under a wave along x."""
    sizes = (0.2, 0.5, 0.3)
    block = CrossPlyBlock(PLY, tuple(zip((0, 90, 0), sizes, strict=True)), 5.0, 5e4, 1.0)
    wave = PressureWave(layers(*[(PLY, a, t) for a, t in zip((0.0, 90.0, 0.0), sizes, strict=True)]), 5.0, (0.0,), 1.0)
    assert wave.stresses[0, 2, 2, 0] == pytest.approx(block.stress(0.5, 2)[0], rel=1e-6)
    assert wave.deflection[0] == pytest.approx(block.deflection(), rel=1e-6)


@pytest.mark.parametrize("s", [1.0, 4.0, 30.0])
@pytest.mark.parametrize(
    "parts",
    [
        ((PLY, 30, 0.2), (PLY, -45, 0.3), (PLY, 75, 0.5)),
        ((PLY, 20, 0.05), (FOAM, 0, 0.9), (PLY, -70, 0.05)),
    ],
)
def test_angle_plies_against_polynomials(s: float, parts: tuple[tuple[Orthotropic, float, float], ...]) -> None:
    """Unsymmetric angle plies, and a soft core, against least energy with polynomials through each layer."""
    there = layers(*parts)
    moved, stress = layerwise(there, s, 2.0, order=11)
    wave = PressureWave(there, s, (0.0,), 2.0)
    from_ply = wave.stresses[0]
    for j, layer in enumerate(there):
        in_wave = from_ply[j] @ turned(layer.angle).T
        assert in_wave == pytest.approx(stress[j], abs=2e-5 * np.abs(stress).max())
    # mid-height is the border below the third layer, or the middle of the core
    mid = moved[1, 1] if parts[1][0] is FOAM else moved[2, 0]
    assert wave.deflection[0] == pytest.approx(mid, rel=1e-4)


def turned(angle: float) -> FloatArray:
    """Stresses from ply axes to wave axes, from the tensor itself."""
    c, s = math.cos(angle), math.sin(angle)
    r = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    pairs = [(0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
    out = np.zeros((6, 6))
    for col, (a, b) in enumerate(pairs):
        t = np.zeros((3, 3))
        t[a, b] = t[b, a] = 1.0
        full = r @ t @ r.T
        out[:, col] = [full[i, j] for i, j in pairs]
    return out


def test_turning_the_laminate_is_turning_the_wave() -> None:
    base = layers((PLY, 10, 0.4), (PLY, 55, 0.6))
    there = layers((PLY, 10 + 35, 0.4), (PLY, 55 + 35, 0.6))
    a = PressureWave(base, 3.0, (0.2,), 1.0)
    b = PressureWave(there, 3.0, (0.2 + math.radians(35),), 1.0)
    assert a.stresses == pytest.approx(b.stresses, abs=1e-9)
    assert a.deflection == pytest.approx(b.deflection)


def test_a_balanced_pair_is_alike_in_mirrored_directions() -> None:
    there = layers((PLY, 30, 0.25), (PLY, -30, 0.5), (PLY, 30, 0.25))
    mirrored = layers((PLY, -30, 0.25), (PLY, 30, 0.5), (PLY, -30, 0.25))
    a, b = PressureWave(there, 4.0, (0.6,), 1.0), PressureWave(mirrored, 4.0, (-0.6,), 1.0)
    assert a.deflection == pytest.approx(b.deflection)
    assert a.stresses[..., [0, 1, 2]] == pytest.approx(b.stresses[..., [0, 1, 2]], abs=1e-9)
    assert a.stresses[..., 5] == pytest.approx(-b.stresses[..., 5], abs=1e-9)


def test_a_wave_too_short_is_refused() -> None:
    with pytest.raises(ModelError, match="too short"):
        _ = PressureWave(layers((FOAM, 0, 1.0)), 1e-4, (0.0,), 1.0).deflection


# first-order theory -------------------------------------------------------------------------------------------------

STACKS = [
    (TYPICAL, "carbon-twill"),
    ("[0/45/honeycomb-aramid-48:9mm]s", "carbon-twill"),
    ("[0/45/-45/90]s", "T300-5208"),
    ("[30/-60/10]", "carbon-ud"),
]


@pytest.mark.parametrize(("text", "material"), STACKS)
def test_thin_laminates_are_as_first_order_theory_says(text: str, material: str) -> None:
    """The difference falls with (thickness/span)², so it is gone in the thin limit, for any direction and coupling."""
    lam = stack(text, material)
    directions = (0.0, 0.5, 1.9)
    off = []
    for s in (200, 400):
        truth, ours = (
            exact(lam, s * lam.thickness, directions),
            FirstOrderWave(lam, s * lam.thickness, directions, 1.0),
        )
        own = truth.stresses
        off.append(
            [
                np.abs(ours.deflection / truth.deflection - 1).max(),
                np.abs(ours.in_plane - own[..., [0, 1, 5]]).max() / np.abs(own[..., [0, 1, 5]]).max(),
                np.abs(ours.shear_from_gradients - own[..., [4, 3]]).max() / np.abs(own[..., [4, 3]]).max(),
            ]
        )
    assert np.max(off[0]) < 5e-3
    assert np.array(off[1]) == pytest.approx(np.array(off[0]) / 4, rel=0.1, abs=2e-6)


def test_first_order_deflection_of_a_strip_by_hand() -> None:
    """[0/90]s along 0°: w = q/(k⁴ D11) + q/(k² S11)."""
    lam, length = stack("[0/90]s", "T300-5208"), 0.02
    k = math.pi / length
    by_hand = 2.0 / (k**4 * lam.D[0, 0]) + 2.0 / (k**2 * lam.shear[0, 0])
    wave = FirstOrderWave(lam, length, (0.0,), 2.0)
    assert wave.deflection[0] == pytest.approx(by_hand)
    assert np.abs(wave.in_plane[0, 0, 0, 0]) == pytest.approx(
        abs(2.0 / k**2 / lam.D[0, 0] * lam.thickness / 2 * lam.ply_stiffness[0, 0, 0])
    )


def test_a_stated_shear_stiffness_is_used() -> None:
    lam = stack(TYPICAL)
    soft = Laminate(lam.plies, stated_shear=0.5 * lam.shear)
    assert by_span(soft, 0.2).deflection > 0.3 > abs(by_span(lam, 0.2).deflection)


@pytest.mark.parametrize("name", sorted(library()))
def test_every_material_has_positive_energy(name: str) -> None:
    """The three-dimensional constants that are assumed make a material, and reduce to the plane ones."""
    material = library()[name]
    c = solid(material).turned(0.3)
    assert np.linalg.eigvalsh(c).min() > 0
    s = np.linalg.inv(solid(material).turned(0.0))
    E1 = material.E_plane if isinstance(material, CoreMaterial) else getattr(material, "E1", getattr(material, "E", 0))
    assert 1 / s[0, 0] == pytest.approx(E1)


def test_transverse_isotropy_of_a_unidirectional_ply() -> None:
    """Turned about the fibre by any angle it is the same material: C22 − C23 = 2 C44, C22 = C33, C55 = C66."""
    c = solid(library()["T300-5208"]).turned(0.0)
    assert c[1, 1] - c[1, 2] == pytest.approx(2 * c[3, 3], rel=1e-3)
    assert (c[1, 1], c[4, 4]) == (pytest.approx(c[2, 2]), pytest.approx(c[5, 5]))


# curvature ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ply", [PLY, ISO, replace(PLY, E3=4.0)])
def test_curved_strip_of_one_material_is_the_closed_form(ply: Orthotropic) -> None:
    law = ply.turned(0.0)
    strip = CurvedStrip(layers((ply, 0, 0.3), (ply, 0, 0.2), (ply, 0, 0.5)), 1.0, 0.0, 3.0)
    beam = CurvedBeam(1.0, 2.0, float(law[0, 0] / law[2, 2]))
    r = np.array([1.0, 1.1, 1.4, 1.75, 2.0])
    found = np.array([strip.stress(x, j) for x, j in zip(r.tolist(), (0, 0, 1, 2, 2), strict=True)])
    assert found[:, 0] == pytest.approx(beam.hoop(r, 3.0), rel=1e-5)
    assert found[:, 2] == pytest.approx(beam.radial(r, 3.0), abs=1e-5)


def test_curved_strip_is_in_equilibrium_and_passes_from_layer_to_layer() -> None:
    strip = CurvedStrip(layers((PLY, 20, 0.1), (FOAM, 0, 0.8), (PLY, 70, 0.1)), 3.0, 0.4, 1.0)
    for j, r in ((0, 3.05), (1, 3.5), (2, 3.95)):
        step = 1e-5
        slope = (strip.stress(r + step, j)[2] - strip.stress(r - step, j)[2]) / (2 * step)
        here = strip.stress(r, j)
        assert slope == pytest.approx((here[0] - here[2]) / r, rel=1e-5, abs=1e-9)
    for j, r in enumerate(strip.radii[1:-1].tolist()):
        assert strip.stress(r, j)[2] == pytest.approx(strip.stress(r, j + 1)[2], rel=1e-9)
    assert abs(strip.stress(3.0, 0)[2]) + abs(strip.stress(4.0, 2)[2]) < 1e-9


def test_a_straight_section_is_a_third_of_thickness_over_radius_too_low() -> None:
    """Winkler's curved beam: inner stress over the straight one is 1 + h/(3R) and more; nothing for a flat one."""
    lam = stack("[0_8]", "carbon-ud")
    for curved in (0.01, 0.03, 0.06):
        assert by_curvature(lam, curved) == pytest.approx(-curved / 3, rel=0.1)
    assert by_curvature(lam, 1e-3) == 0.0
    assert math.isnan(by_curvature(lam, 2.0))


def test_curvature_of_a_surface_that_is_not_known() -> None:
    """From the normals of a faceted sphere and a tube; flat is flat."""
    u, v = np.meshgrid(np.linspace(-0.3, 0.3, 13), np.linspace(-0.3, 0.3, 13), indexing="ij")
    n = 13
    cell = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    triangles = np.concatenate(
        [np.column_stack([cell, cell + n, cell + 1]), np.column_stack([cell + n, cell + n + 1, cell + 1])]
    )
    inside = ((np.abs(u) < 0.2) & (np.abs(v) < 0.2)).ravel()
    for height, radius in (
        (np.sqrt(4.0 - u**2 - v**2), 2.0),
        (np.sqrt(0.25 - u**2), 0.5),
        (0.3 * u + 0.1 * v, math.inf),
    ):
        mesh = PanelMesh(np.column_stack([u.ravel(), v.ravel(), height.ravel()]), triangles)
        assert validity.curvature(mesh)[inside] == pytest.approx(1 / radius, rel=0.12, abs=1e-9)


def test_an_unsymmetric_laminate_is_bent_both_ways() -> None:
    lam = stack("[0_2/90_2]", "carbon-ud")
    turned_over = stack("[90_2/0_2]", "carbon-ud")
    assert by_curvature(lam, 0.2) == pytest.approx(by_curvature(turned_over, 0.2))


# what is said -------------------------------------------------------------------------------------------------------


def test_the_difference_grows_as_the_span_falls() -> None:
    lam = stack(TYPICAL)
    off = [abs(by_span(lam, span).along) for span in (0.4, 0.3, 0.2, 0.15, 0.1, 0.06)]
    assert np.all(np.diff(off) > 0)
    assert off[0] < 0.03
    assert off[-1] > 0.4


def test_levels() -> None:
    """Silent, warning, outside, in that order as the bay narrows; a place that may not lower only warns."""
    lam = stack("[0/45/honeycomb-aramid-48:9mm]s")
    levels = [shell_limit(0, lam, "widest", span).level for span in (0.4, 0.2, 0.06)]
    assert levels == ["silent", "warning", "outside"]
    assert shell_limit(0, lam, "widest", 0.4).words == ()
    wide = shell_limit(3, lam, "widest", 0.06)
    assert wide.words[0].startswith("first-order theory is ")
    assert f"span/thickness = {0.06 / lam.thickness:.0f} " in wide.words[0]
    assert "laminate 4" in wide.words[0]
    assert wide.slenderness == pytest.approx(6.0)
    for bay in ("narrowest", "widest"):
        assert shell_limit(0, lam, bay, 0.06, lowers=False).level == "warning"


def test_a_bend_is_said_and_lowers() -> None:
    lam = stack("[0/45]s")
    for curved, level in ((0.01, "silent"), (0.15, "warning"), (0.5, "outside"), (3.0, "outside")):
        got = shell_limit(0, lam, "widest", 0.3, curved)
        bends = [w for w in got.words if "bend" in w]
        assert (got.level == "outside") == (level == "outside")
        assert bool(bends) == (level != "silent")
        assert all("thickness/radius" in w for w in bends)
    assert shell_limit(0, lam, "widest", 0.3, 0.5, bend_lowers=False).level == "warning"
    edge = validity.sharp(lam, 0.5)
    assert abs(by_curvature(lam, edge)) == pytest.approx(validity.TOO_FAR, rel=0.1)
    assert validity.sharp(lam, 0.1) == math.inf


def test_strain() -> None:
    limit = shell_limit(0, stack(TYPICAL), "widest", 1.0)
    assert limit.level == "silent"
    assert with_strain(limit, 0.019).level == "silent"
    assert with_strain(limit, 0.03).level == "warning"
    assert "strain 3 %" in with_strain(limit, 0.03).words[0]
    far = with_strain(limit, 0.2)
    assert validity.reasons([far, limit]) == (far.words[0],)


def test_what_cannot_be_solved_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise ModelError("no")

    lam = stack("[0/30/77]s")
    monkeypatch.setattr(validity, "by_span", refuse)
    got = shell_limit(0, lam, "widest", 0.3)
    assert got.level == "warning"
    assert "could not be compared" in got.words[0]
    assert math.isnan(got.along)


def strip_panel(lam: Laminate, span: float) -> tuple[Panel, Sampling, IntArray]:
    """A square of side `span` held all round, sampled at its vertices."""
    n = 9
    x, y = np.meshgrid(np.linspace(0, span, n), np.linspace(0, span, n), indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), np.zeros(n * n)])
    cell = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    triangles = np.concatenate(
        [np.column_stack([cell, cell + n, cell + 1]), np.column_stack([cell + n, cell + n + 1, cell + 1])]
    )
    mesh = PanelMesh(vertices, triangles)
    fixing = Fastener("F", vertices[0], np.array([0.0, 0, 1]), 0.01, math.inf, math.inf)
    panel = Panel("p", mesh, (lam,), np.zeros(len(triangles), np.int64), np.array([1.0, 0, 0]), (fixing,))
    sampling = cast(Sampling, SimpleNamespace(points=vertices, group=np.zeros(len(vertices), np.int64)))
    held = np.unique(mesh.boundary_edges)
    return panel, sampling, held


def judged(lam: Laminate, span: float, strain: float = 1e-4) -> TheoryCheck:
    panel, sampling, held = strip_panel(lam, span)
    measure: Theory = theory(panel, sampling, held, np.ones(len(panel.mesh.triangles), bool))
    n = len(sampling.points)
    strains = np.zeros((n, 8))
    strains[:, 0] = strain
    nothing = np.zeros((n, 2))
    return measure(Observed(strains, nothing, strains[:0], nothing[:0], np.zeros((n, 6)), np.zeros((0, 6)), ()))


def test_a_normal_panel_is_silent() -> None:
    for text, span in (("[0/45/honeycomb-aramid-48:9mm]s", 0.4), ("[0/45]", 0.3), (TYPICAL, 0.6)):
        check = judged(stack(text), span)
        assert check.holds
        wide = [limit for limit in check.shell if limit.bay == "widest"]
        assert [limit.level for limit in wide] == ["silent"], (text, wide)
        assert wide[0].span == pytest.approx(span, rel=0.01)
        assert wide[0].strain == pytest.approx(1e-4)


def test_a_panel_too_thick_for_its_bay_is_caught_and_lowers_the_outcome() -> None:
    check = judged(stack(TYPICAL), 0.1, 5e-3)
    assert not check.holds
    assert len(check.reasons) == 1
    assert check.reasons[0].startswith("first-order theory is ")
    assert "span/thickness = 8.7" in check.reasons[0]
    assert judged(stack(TYPICAL), 0.25, 5e-3).holds, "a warning does not lower"
    assert judged(stack(TYPICAL), 0.25, 5e-3).shell[0].level == "warning"


def test_ply_stress_that_is_off_lowers_only_where_plies_come_near_failure() -> None:
    """Far below the failing strain (0.87 %) it cannot decide."""
    for strain, holds in ((1e-3, True), (4e-3, False), (8e-3, False)):
        check = judged(stack(TYPICAL), 0.1, strain)
        assert check.holds == holds
        assert check.shell[0].level == ("warning" if holds else "outside")


def test_deflection_and_shear_that_are_off_lower_always() -> None:
    """A bay hardly wider than the sandwich is thick: shear and deflection are off as well."""
    check = judged(stack(TYPICAL), 0.03)
    assert not check.holds
    assert "transverse shear too low" in check.reasons[0]


def test_a_narrow_bay_alone_does_not_lower() -> None:
    """Two laminates' worth of points: most in a wide bay, some between two fixings that stand close."""
    lam = stack(TYPICAL)
    mesh = strip_panel(lam, 0.4)[0].mesh
    points, group = mesh.vertices, np.zeros(len(mesh.vertices), np.int64)
    width = np.where(points[:, 0] < 0.1, 0.06, 0.4)
    found = shell_limits(mesh, (lam,), points, group, width, np.zeros(len(points), bool))(np.zeros((len(points), 8)))
    levels = {limit.bay: limit.level for limit in found}
    assert levels["narrowest"] == "warning"
    assert levels["widest"] != "outside"
    assert not validity.reasons(found)


def test_a_gap_under_a_patch_warns_only() -> None:
    lam = stack("[0/45/45/0]")
    mesh = strip_panel(lam, 0.1)[0].mesh
    points = mesh.vertices
    width, group = np.full(len(points), 0.003), np.zeros(len(points), np.int64)
    strain = np.zeros((len(points), 8))
    strain[:, 0] = 6e-3
    for bridge, level in ((True, "warning"), (False, "outside")):
        limits = shell_limits(mesh, (lam,), points, group, width, np.full(len(points), bridge))
        assert {x.bay: x.level for x in limits(strain)}["widest"] == level
    nowhere = shell_limits(mesh, (lam,), points, group, 1e-3 * width, np.ones(len(points), bool))
    assert [x.slenderness for x in nowhere(strain)] == [pytest.approx(1.0)] * 2


def test_a_sharp_bend_lowers_only_where_it_decides() -> None:
    """A quarter tube 1 mm thick of 2.5 mm radius beside flat ground."""
    lam = stack("[0/45]s")
    turn = np.linspace(0, math.pi / 2, 9)
    profile = np.concatenate(
        [np.column_stack([np.linspace(-0.2, 0, 12)[:-1], np.zeros(11)]),
         2.5e-3 * np.column_stack([np.sin(turn), 1 - np.cos(turn)])]
    )  # fmt: skip
    m = len(profile)
    vertices = np.concatenate([np.column_stack([profile[:, 0], np.full(m, y), profile[:, 1]]) for y in (0.0, 0.01)])
    i = np.arange(m - 1)
    triangles = np.concatenate([np.column_stack([i, i + 1, i + m]), np.column_stack([i + 1, i + m + 1, i + m])])
    mesh = PanelMesh(vertices, triangles)
    n = len(vertices)
    limits = shell_limits(mesh, (lam,), vertices, np.zeros(n, np.int64), np.full(n, 0.3), np.zeros(n, bool))
    bent = vertices[:, 0] > 1e-4
    tight = limits.bays[0].tight
    assert tight[bent].mean() > 0.5
    assert not tight[vertices[:, 0] < -0.05].any()
    for inside, outside, level in (
        (5e-3, 5e-3, "outside"),  # over half of the failing strain, 0.87 %
        (1e-3, 1e-3, "warning"),  # far below it
        (5e-3, 9e-3, "warning"),  # another place decides
    ):
        strain = np.zeros((n, 8))
        strain[:, 0] = np.where(vertices[:, 0] > -0.05, inside, outside)
        widest: ShellLimit = limits(strain)[0]
        assert widest.level == level
        assert widest.curvature > 0.3


def test_every_row_of_the_checks_holds() -> None:
    found = list(rows())
    assert len(found) > 30
    assert not [f"{row.name}, {row.quantity}: {row.error:+.2e}" for row in found if not row.passed]
    printed = [d for row in found if (d := row.printed_difference) is not None]
    assert len(printed) == 4
    assert np.abs(printed).max() < 1e-3, "the recalled values are reproduced to their last digit"
