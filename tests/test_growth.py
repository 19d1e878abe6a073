"""Energy release rates at the front of a delamination: closed forms, compliance by meshes, a buckled disc."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from test_delamination import found, observed, panel

from panelfem.assess.model import Model
from panelfem.assess.plan import State
from panelfem.assess.respond import Responder
from panelfem.damage import damaged
from panelfem.errors import InputError
from panelfem.failure.toughness import Toughness, toughness_of
from panelfem.laminate import Laminate, Ply
from panelfem.laminate.front import ANGLES, CrackTip, Section
from panelfem.loads import AreaForce, LoadCase
from panelfem.material import PlyMaterial, library
from panelfem.mesh import Disc, Outline, PlanPolygon, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve.delaminated import DelaminationCheck
from panelfem.reserve.growth import CRITERION, MODE, Front
from panelfem.reserve.plies import Residual

E, H, B, A = 120e9, 1.5e-3, 0.02, 0.06
PLY = replace(library()["AS4-3501-6"], name="ply", E1=E, E2=E, nu12=0.0, G12=E / 2, G13=1e13, G23=1e13, provenance={})
ARM = Section.plane(Laminate((Ply(PLY, H),)))
TOUGH = toughness_of([PLY])
assert TOUGH is not None


def test_double_cantilever_beam() -> None:
    """G = P²a²/(b E I) (textbook; Kanninen & Popelar, recalled), all of it opening, for parts of one ply and of two."""
    load = 30.0 * A / B
    for arm in (ARM, Section.beam(Laminate((Ply(PLY, H / 2),) * 2, bottom=0.01))):
        n, m = CrackTip(arm, arm).pair(np.array([0.0, -load]), np.array([0.0, load]))
        exact = (30.0 * A) ** 2 / (B * E * B * H**3 / 12)
        for angle in ANGLES:
            assert CrackTip(arm, arm).modes(n, m, angle) == pytest.approx((exact, 0.0), rel=1e-9, abs=1e-6)


def test_end_notched_flexure() -> None:
    """G = 9P²a²/(16 b²E h³), h the thickness of one arm (Russell & Street, recalled), all of it sliding."""
    half = 400.0 / 2 * A / B / 2  # M = P a/2, half of it to each arm
    exact = 9 * 400.0**2 * A**2 / (16 * B**2 * E * H**3)
    for way in (1.0, -1.0):
        n, m = CrackTip(ARM, ARM).pair(np.array([0.0, way * half]), np.array([0.0, way * half]))
        assert CrackTip(ARM, ARM).modes(n, m) == pytest.approx((0.0, exact), rel=1e-9, abs=1e-6)


def test_a_split_strip_sheared_along_its_front() -> None:
    """Antiplane shear of a strip split over a: δ = S a/(b)·(1/(G h) + 1/(G H)) between the loaded arms, so that
    G_III = S²/(2b²)·(1/(G h) + 1/(G H)) by the change of compliance (own derivation); at any angle of an isotropic ply.
    """
    even = replace(PLY, nu12=0.25, G12=E / 2.5)
    shear, h, force = E / 2.5, 0.4 * H, 900.0
    compliance = [a / B * (1 / (shear * h) + 1 / (shear * H)) for a in (A, A + 1e-6)]
    exact = force**2 / (2 * B) * (compliance[1] - compliance[0]) / 1e-6
    for angle in (0.0, 0.7):
        low, up = (Section.plane(Laminate((Ply(even, t),)), angle) for t in (H, h))
        assert float(CrackTip(low, up).tearing(np.array(force / B))) == pytest.approx(exact, rel=1e-6)


def test_a_buckled_part_that_is_sheared_tears() -> None:
    """Shear along the rim of a part that has buckled adds what it releases; before it buckles, nothing."""
    thin = Laminate((Ply(PLY, 1e-4),) * 8)
    front = Front(damaged(panel(thin), [found(7)]).delaminations[0], Toughness(1.0, 1.0, 1.0))  # the index is G
    push, sheared = np.array([[-4e3, -4e3, 0.0]]), np.array([[-4e3, -4e3, 3e3]])
    assert front.buckled_index(sheared, True)[0] > front.buckled_index(push, True)[0] > 0.0
    assert front.buckled_index(1e-4 * sheared, True)[0] == 0.0


@pytest.mark.parametrize("ratio", [0.2, 0.5, 0.9])
def test_thicknesses_that_differ(ratio: float) -> None:
    """Suo and Hutchinson's G and modes (recalled), thin part on top and, mirrored, below."""
    low, up = (Section.plane(Laminate((Ply(PLY, t),))) for t in (H, ratio * H))
    U = 1 / (1 + 4 * ratio + 6 * ratio**2 + 3 * ratio**3)
    V = 1 / (12 * (1 + ratio**3))
    gamma = math.asin(6 * ratio**2 * (1 + ratio) * math.sqrt(U * V))
    omega, h, P, M = math.radians(52.1 - 3 * ratio), ratio * H, 2e3, 3.0
    for p, q in ((P, 0.0), (0.0, M), (P, 0.4 * M)):
        first = p / math.sqrt(2 * U * h) * math.cos(omega) + q / math.sqrt(2 * V * h**3) * math.sin(omega + gamma)
        second = p / math.sqrt(2 * U * h) * math.sin(omega) - q / math.sqrt(2 * V * h**3) * math.cos(omega + gamma)
        n, m = CrackTip(low, up).of_difference(np.array([-p, -q]))
        assert CrackTip(low, up).modes(n, m) == pytest.approx((first**2 / E, second**2 / E), rel=1e-9)
        n, m = CrackTip(up, low).of_difference(np.array([p, -q - p * (H + h) / 2]))  # what the lower part gains, on top
        assert CrackTip(up, low).modes(n, m) == pytest.approx((first**2 / E, second**2 / E), rel=1e-6)


def test_what_is_not_pulled_apart_releases_nothing() -> None:
    """Parts that move together: any strain and curvature of the whole, of unlike and unsymmetric laminates."""
    ply = library()["AS4-3501-6"]
    low = Laminate(tuple(Ply(ply, 2e-4, a) for a in (0.0, 0.7, 1.2)))
    up = Laminate(tuple(Ply(ply, 2e-4, a) for a in (0.3, 1.5)))
    tip = CrackTip(Section.plane(low, 0.4), Section.plane(up, 0.4))
    for strain, curve in ((1e-3, 0.0), (0.0, 2.0), (-1e-3, 1.0)):
        parts = [
            s.stiffness @ np.array([strain + curve * z, curve]) for s, z in ((tip.upper, 2e-4), (tip.lower, -3e-4))
        ]
        n, m = tip.pair(*parts)
        assert abs(float(tip.total(n, m))) < 1e-9 * float(parts[0] @ parts[0])


def _deflection(stiff: float, a: float, hold: str, force: tuple[float, ...], at: float, length: float) -> float:
    """Mean deflection (m) per the load that a pad at `at` feels of a strip with one softened stretch x < a."""
    outline = Outline(Ring.polygon([(0.0, 0.0), (length, 0.0), (length, B), (0.0, B)]))

    def box(name: str, x0: float, x1: float) -> PlanPolygon:
        return PlanPolygon(name, np.array([[x0, 0], [x1, 0], [x1, B], [x0, B]]), 0.01)

    mesh = mesh_outline(outline, None, 0.02, (box("crack", 0.0, a), box("pad", at - 1e-3, at + 1e-3)))
    whole, apart = (Laminate((Ply(replace(PLY, E1=E * s, E2=E * s), 2 * H),)) for s in (1.0, stiff))
    ends = (
        Disc("left", np.array([-1.0, B / 2, 0]), 1.0 + 5e-4, 1.0),
        Disc("right", np.array([length + 1, B / 2, 0]), 1.0 + 5e-4, 1.0),
    )
    edges = tuple(EdgeSupport(r.name, hold, r) for r in ends)  # type: ignore[arg-type]
    edges = edges if hold == "hinged" else edges[1:]
    strip = Panel(
        "strip", mesh, (whole, apart), mesh.inside["crack"].astype(np.int64), np.array([1.0, 0, 0]), edges=edges
    )
    load = LoadCase("push", "handling", "force", AreaForce("pad", np.array(force)))
    model = Model(State(("strip",), "strip", strip, ()), 2, str)
    moved = Responder(model, (load,)).linear(load).at(1.0).unknowns[: 6 * len(mesh.vertices)].reshape(-1, 6)
    pad = np.unique(mesh.triangles[mesh.inside["pad"]])
    return float(moved[pad, 2].mean())


def test_flexure_by_the_compliance_of_meshes() -> None:
    """G = P²/(2b) dC/da of a three-point bend whose cracked stretch has a quarter of the stiffness, by shells."""
    P, span, step = 400.0, 0.2, 2e-3
    c = [_deflection(0.25, a, "hinged", (0.0, 0.0, P), span / 2, span) / P for a in (A - step, A + step)]
    by_mesh = P**2 / (2 * B) * (c[1] - c[0]) / (2 * step)
    half = P / 2 * A / B / 2
    n, m = CrackTip(ARM, ARM).pair(np.array([0.0, half]), np.array([0.0, half]))
    assert by_mesh == pytest.approx(float(CrackTip(ARM, ARM).total(n, m)), rel=0.01)


def test_double_cantilever_by_the_compliance_of_meshes() -> None:
    """G = P²/(2b) dC/da, C twice the deflection of one arm under its end load, by shells."""
    P, step, tip = 30.0, 2e-3, 1e-3
    c = [2 * _deflection(1.0, a / 2, "clamped", (0.0, 0.0, P), tip, a + tip) / P for a in (A - step, A + step)]
    by_mesh = P**2 / (2 * B) * (c[1] - c[0]) / (2 * step)
    double = Section.plane(Laminate((Ply(PLY, 2 * H),)))
    load = P * A / B
    n, m = CrackTip(double, double).pair(np.array([0.0, -load]), np.array([0.0, load]))
    assert by_mesh == pytest.approx(float(CrackTip(double, double).modes(n, m)[0]), rel=0.01)


def test_a_buckled_disc_is_on_the_safe_side() -> None:
    """G/G0 = c2 (1 − (σc/σ)²), G0 = (1 − ν) σ²h/E, c2 = 1/(1 + 0.9021 (1 − ν)) (Evans & Hutchinson 1984, recalled):
    the strip releases 12 % more at forty times buckling, 1.9 times as much at twice, and never less."""
    nu, h, a = 0.3, 0.1e-3, 0.02
    ply = replace(PLY, E1=E, E2=E, nu12=nu, G12=E / 2.6)
    thick = Laminate((Ply(ply, 0.02), Ply(ply, h)))
    disc = damaged(panel(thick), [found(1)]).delaminations[0]
    flat = Front(disc, Toughness(1.0, 1.0, 1.0))  # then the index is G itself
    critical = 1.2235 * E / (1 - nu**2) * (h / a) ** 2
    ratios = []
    for over in (1.2, 1.5, 2.0, 4.0, 10.0, 40.0):
        stress = over * critical
        exact = (1 - nu) * stress**2 * h / E / (1 + 0.9021 * (1 - nu)) * (1 - over**-2)
        ratios.append(float(flat.buckled_index(np.array([[-stress * h, -stress * h, 0.0]]), True)[0]) / exact)
    assert all(b < a for a, b in pairwise(ratios))
    assert ratios[-1] == pytest.approx(1.12, abs=0.01)
    assert ratios[2] == pytest.approx(1.88, abs=0.05)


def test_the_check_tells_growth_or_says_that_it_cannot() -> None:
    """Shear across the area by end-notched flexure, and the buckled part; without toughness a sentence, no number."""
    sheet = Laminate((Ply(PLY, H),) * 2)
    bad = damaged(panel(sheet), [found(1)])
    check = DelaminationCheck(bad, Residual())
    shear = 5e3
    strain = np.r_[np.zeros(6), np.linalg.solve(sheet.shear, [0.0, shear])]
    rest = observed(np.zeros(8))
    growth = next(r for r in check.reserves(rest, observed(strain), True) if (r.mode, r.criterion) == (MODE, CRITERION))
    exact = (shear * 0.02) ** 2 / 2 * 12 / E * (1 / (2 * H**3) - 1 / (2 * H) ** 3)
    assert growth.factor == pytest.approx(math.sqrt(TOUGH.sliding / exact), rel=1e-6)
    assert growth.grade == "release"
    assert not check.untold()
    unknown = replace(PLY, GIc=None)
    silent = DelaminationCheck(damaged(panel(Laminate((Ply(unknown, H), Ply(PLY, H)))), [found(1)]), Residual())
    assert all(r.mode != MODE for r in silent.reserves(rest, observed(strain), True))
    assert "whether L1 grows cannot be told" in silent.untold()[0]
    assert "GIc_J_per_m2" in silent.untold()[0]
    foam = Ply(library()["foam-pvc-80"], 5e-3)  # type: ignore[arg-type]
    disbond = DelaminationCheck(damaged(panel(Laminate((Ply(PLY, H), foam, Ply(PLY, H)))), [found(1)]), Residual())
    assert "between a skin and a core is not computed" in disbond.untold()[0]


def test_growth_never_comes_before_its_part_buckles() -> None:
    thin = Laminate((Ply(PLY, 1e-4),) * 8)
    check = DelaminationCheck(damaged(panel(thin), [found(7)]), Residual())
    for size in (1e-5, 1e-3):
        push = np.array([-size, 0.2 * size, 0, 0, 0, 0, 0, 0])
        got = {
            r.mode: r.factor
            for r in check.reserves(observed(np.zeros(8)), observed(push), True)
            if "1 to" not in r.where
        }
        assert got[MODE] >= got["sublaminate buckling"] > 0.0


def test_what_shears_and_what_buckles_feed_one_front() -> None:
    """Together they release at least what the greater of both does, and with one of them none what the other does."""
    thin = Laminate((Ply(PLY, 1e-4),) * 8)
    front = Front(damaged(panel(thin), [found(7)]).delaminations[0], Toughness(1.0, 1.0, 1.0))
    force, shear = np.array([[-4e3, -4e3, 0.0]]), np.array([[300.0, 0.0]])
    none = np.zeros((1, 2))
    apart = front.buckled_index(force, True)[0], front.sliding_index(shear)[0]
    both = front.buckled_index(force, True, shear)[0]
    assert min(apart) > 0.0
    assert both > 1.05 * max(apart)
    assert front.buckled_index(force, True, none)[0] == apart[0]


def test_toughness() -> None:
    """At the ends and half way (by hand), more sliding is tougher, and what is no toughness is refused."""
    assert TOUGH.index(np.array([TOUGH.opening]), np.array([0.0])) == pytest.approx([1.0])
    assert TOUGH.index(np.array([0.0]), np.array([0.0]), np.array([TOUGH.sliding])) == pytest.approx([1.0])
    assert (np.diff(TOUGH.critical(np.linspace(0, 1, 9))) > 0).all()
    assert isinstance(PLY, PlyMaterial)
    with pytest.raises(InputError):
        Toughness(0.0, 1.0, 1.0)
