"""Buckling over a delamination against closed forms, against Ritz put together otherwise, and along the whole line."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.special import jn_zeros
from test_large import turned_whole

from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, State, plans
from panelfem.assess.respond import Responder
from panelfem.damage import Delamination, Hole, damaged, ends
from panelfem.errors import InputError, ModelError
from panelfem.laminate import Laminate, Ply, parse_stack
from panelfem.loads import Cure, Inertia, LoadCase
from panelfem.material import PlyMaterial, library
from panelfem.mesh import Disc, Ellipse, Outline, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.repair import Option, PatchRepair, Spare, Tape
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.areas import area_means
from panelfem.reserve.delaminated import DelaminationCheck, buckling_factor, part_share
from panelfem.reserve.observe import Observed
from panelfem.reserve.observe import State as Solution
from panelfem.reserve.plies import Residual
from panelfem.shell.large import rotations

LIB = library()
J11 = float(jn_zeros(1, 1)[0])
X, Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
SIZE = np.array([0.3, 0.1])


def material(E1: float, E2: float, nu: float, G: float, shear: float = 4e9, **more: float) -> PlyMaterial:
    return replace(
        LIB["T300-5208"], name="ply", E1=E1, E2=E2, nu12=nu, G12=G, G13=shear, G23=shear, provenance={}, **more
    )


ISOTROPIC = material(70e9, 70e9, 0.3, 70e9 / 2.6)


def sheet(count: int, ply: PlyMaterial = ISOTROPIC, t: float = 0.2e-3, angles: tuple[float, ...] = (0.0,)) -> Laminate:
    return Laminate(tuple(Ply(ply, t, angles[i % len(angles)]) for i in range(count)))


def panel(laminate: Laminate, axes: tuple[float, float] = (0.02, 0.02), along: np.ndarray = X, x: float = 0.1) -> Panel:
    """A strip whose edge x = 0.3 m is held, with an ellipse in it."""
    centre = np.array([x, 0.05, 0.0])
    region = (
        Disc("area", centre, axes[0], 0.01)
        if axes[0] == axes[1]
        else Ellipse("area", centre, Z, along, axes, 0.6 * min(axes))
    )
    outline = Outline(Ring.polygon([(0, 0), (SIZE[0], 0), (SIZE[0], SIZE[1]), (0, SIZE[1])]))
    mesh = mesh_outline(outline, None, 0.025, (region, Disc("hole", np.array([0.2, 0.05, 0.0]), 0.01, 0.01)))
    right = EdgeSupport("right", "clamped", Disc("end", np.array([SIZE[0] + 1.0, 0.05, 0.0]), 1.0 + 2e-3, 1.0))
    return Panel("strip", mesh, (laminate,), np.zeros(len(mesh.triangles), np.int64), X, edges=(right,))


def found(after: int, axes: tuple[float, float] = (0.02, 0.02), along: np.ndarray = X, x: float = 0.1) -> Delamination:
    return Delamination("L1", "area", np.array([x, 0.05, 0.0]), along, axes, after)


def observed(strain: np.ndarray) -> Observed:
    """A state of which only the mean strain over the area is looked at."""
    none = np.zeros((0, 8))
    return Observed(none, none, none, none, none, none, (), area_strain=np.r_[strain, np.zeros(8 - len(strain))][None])


def factors(
    bad: Panel, added: np.ndarray, held: np.ndarray | None = None, residual: Residual | None = None
) -> dict[str, float]:
    """Factor of each part, by where it is said to be."""
    before = np.zeros(6) if held is None else held
    check = DelaminationCheck(bad, residual or Residual())
    return {r.where: r.factor for r in check.reserves(observed(before), observed(before + added), True)}


def strain_of(laminate: Laminate, force: tuple[float, float, float]) -> np.ndarray:
    """Membrane strain (6,) of resultants (3,) N/m in a laminate without curvature."""
    return np.r_[np.linalg.solve(laminate.A, force), np.zeros(3)]


@pytest.mark.parametrize("shear", [4e9, 4e13])
def test_disc_under_even_compression(shear: float) -> None:
    """N a²/D = 14.682 (Timoshenko & Gere; exact, the square of the first zero of J1); with transverse shear exactly
    1/N = a²/(14.682 D) + 1/S, which is Mindlin's clamped disc."""
    ply = material(70e9, 70e9, 0.3, 70e9 / 2.6, shear)
    whole, a, e = sheet(10, ply), 0.02, 1e-3
    bad = damaged(panel(whole), [found(8)])
    got = factors(bad, np.array([-e, -e, 0, 0, 0, 0]))
    assert set(got) == {"at L1 (plies 1 to 8)", "at L1 (plies 9 to 10)"}
    for where, t in (("at L1 (plies 9 to 10)", 0.4e-3), ("at L1 (plies 1 to 8)", 1.6e-3)):
        D, N = 70e9 * t**3 / 12 / 0.91, 70e9 * t / 0.7 * e
        exact = 1.0 / (N * (a**2 / (J11**2 * D) + 1.2 / (shear * t)))
        assert got[where] == pytest.approx(exact, rel=1e-8)
    thin = got["at L1 (plies 9 to 10)"] * 70e9 * 0.4e-3 / 0.7 * e * a**2 / (70e9 * 0.4e-3**3 / 12 / 0.91)
    assert thin == pytest.approx(14.682, rel=0.02 if shear == 4e9 else 1e-4)


def test_stretched_circle_turned_on_a_turned_panel() -> None:
    """With D11/a⁴ = D22/b⁴ = (D12 + 2 D66)/(ab)² and N1/a² = N2/b² the equation is the isotropic circle's; ellipse,
    ply and strain turned together change nothing."""
    a, b, t = 0.03, 0.02, 0.2e-3
    share = (a / b) ** 4
    E2 = 10e9
    nu = 0.3
    m = 1 - nu**2 / share
    ply = material(share * E2, E2, nu, 0.5 * (math.sqrt(share) * E2 / m - nu * E2 / m), 1e14)
    for turn in (0.0, math.radians(35.0), math.radians(-70.0)):
        along = np.array([math.cos(turn), math.sin(turn), 0.0])
        whole = sheet(6, ply, t, (turn,))
        bad = damaged(panel(whole, (a, b), along), [found(5, (a, b), along)])
        assert bad.delaminations[0].angle == pytest.approx(turn)
        c, s = along[:2]
        turned = np.array([[c, -s], [s, c]]) @ np.diag([-(a**2), -(b**2)]) @ np.array([[c, s], [-s, c]])
        N = 1e7 * np.array([turned[0, 0], turned[1, 1], turned[0, 1]])  # of the part
        part = bad.delaminations[0].whole.split(5)[1]
        got = factors(bad, np.r_[np.linalg.solve(part.A, N), np.zeros(3)])["at L1 (ply 6)"]
        D11 = share * E2 / m * t**3 / 12
        assert got == pytest.approx(J11**2 * D11 / a**4 / 1e7, rel=1e-7)


def test_the_axis_of_the_panel_and_its_normal_count() -> None:
    """The ellipse's angle runs from the 0° axis towards t2 = n × t1."""
    along = np.array([0.0, 1.0, 0.0])
    bad = panel(sheet(6), (0.03, 0.02), along)
    turned = replace(bad, axis=np.array([0.0, 2.0, 1.0]))
    assert damaged(bad, [found(3, (0.03, 0.02), along)]).delaminations[0].angle == pytest.approx(math.pi / 2)
    assert damaged(turned, [found(3, (0.03, 0.02), along)]).delaminations[0].angle == pytest.approx(0.0)
    assert damaged(turned, [found(3, (0.03, 0.02), X)]).delaminations[0].angle == pytest.approx(-math.pi / 2)


def test_bending_presses_one_face_only() -> None:
    """Curvature that shortens the top: the ply there is pressed by e = z k at its own middle, the rest is pulled."""
    a, t, k = 0.02, 0.2e-3, 2.0
    bad = damaged(panel(sheet(10)), [found(9)])
    got = factors(bad, np.array([0, 0, 0, -k, -k, 0]))
    D, e = 70e9 * t**3 / 12 / 0.91, k * 0.9e-3
    exact = 1.0 / (70e9 * t / 0.7 * e * (a**2 / (J11**2 * D) + 1.2 / (4e9 * t)))
    assert got["at L1 (ply 10)"] == pytest.approx(exact, rel=1e-8)
    # the other nine are centred 0.1 mm below the middle: pulled by a ninth of that
    assert got["at L1 (plies 1 to 9)"] == math.inf
    other = factors(bad, np.array([0, 0, 0, k, k, 0]))
    assert other["at L1 (ply 10)"] == math.inf
    D, N = 70e9 * (9 * t) ** 3 / 12 / 0.91, 70e9 * 9 * t / 0.7 * k * 0.1e-3
    exact = 1.0 / (N * (a**2 / (J11**2 * D) + 1.2 / (4e9 * 9 * t)))
    assert other["at L1 (plies 1 to 9)"] == pytest.approx(exact, rel=1e-8)


def test_a_part_that_is_not_symmetric_bends_about_its_own_neutral_surface() -> None:
    """[0/90] over [0_4]: D − B A⁻¹ B about the part's own middle, worked out ply by ply; the pull of curvature on it is
    B's as well."""
    ply, t = LIB["T300-5208"], 0.25e-3
    whole = Laminate(tuple(Ply(ply, t, a) for a in (0, 0, 0, 0, 0, math.pi / 2)))
    part = whole.split(4)[1]
    q = 1 - ply.nu12**2 * ply.E2 / ply.E1
    Q = np.array([[ply.E1, ply.nu12 * ply.E2, 0], [ply.nu12 * ply.E2, ply.E2, 0], [0, 0, q * ply.G12]]) / q
    Q90 = Q[np.ix_([1, 0, 2], [1, 0, 2])]
    A, B, D = t * (Q + Q90), t**2 / 2 * (Q90 - Q), t**3 / 3 * (Q + Q90)
    assert part.reduced_bending == pytest.approx(D - B @ np.linalg.solve(A, B), rel=1e-9)
    strain = np.array([-1e-3, -4e-4, 2e-4, 0.3, -0.2, 0.1])
    middle = strain[:3] + 0.5e-3 * strain[3:]  # z of the middle of plies 5 and 6
    N = A @ middle + B @ strain[3:]
    shares = ClampedEllipseModes(D - B @ np.linalg.solve(A, B), 0.02, 0.02).factors(1, tuple(N))[0]
    bad = damaged(panel(whole), [found(4)])
    stiff = factors(bad, strain)["at L1 (plies 5 to 6)"]
    sheared = float(eigh(-np.array([[N[0], N[2]], [N[2], N[1]]]), part.shear, eigvals_only=True)[-1])
    assert stiff == pytest.approx(1.0 / (1.0 / shares + sheared), rel=1e-4)


def test_tension_never_buckles_it() -> None:
    bad = damaged(panel(sheet(6)), [found(2)])
    assert set(factors(bad, np.array([1e-3, 2e-3, 0, 0, 0, 0])).values()) == {math.inf}
    assert set(factors(bad, np.zeros(6)).values()) == {math.inf}
    one, other = (factors(bad, np.array([0, 0, s * 1e-3, 0, 0, 0])) for s in (1, -1))
    assert all(0 < f < math.inf for f in one.values())
    assert list(one.values()) == pytest.approx(list(other.values()))


def test_what_is_held_stays() -> None:
    """Along the same line the factor is what is left; across, the pencil K + G(held) + r G(added) solved at once."""
    ply = material(70e9, 70e9, 0.3, 70e9 / 2.6, 1e14)
    bad = damaged(panel(sheet(6, ply)), [found(5)])
    part, where = bad.delaminations[0].whole.split(5)[1], "at L1 (ply 6)"
    down, across = (strain_of(part, load) for load in ((-100.0, -30.0, 40.0), (20.0, -90.0, 10.0)))
    alone = factors(bad, down)[where]
    for share in (0.4, -1.5):
        assert factors(bad, down, share * down)[where] == pytest.approx(alone - share, rel=1e-9)
    assert math.isnan(factors(bad, across, 1.01 * alone * down)[where])
    plate = ClampedEllipseModes(part.D - part.B @ np.linalg.solve(part.A, part.B), 0.02, 0.02)
    for held, added in ((0.8 * alone * down, across), (-2.0 * down, across), (0.5 * alone * down, down + across)):
        before, more = (plate._geometric(tuple(part.A @ e[:3])) for e in (held, added))
        r = eigh(-more, plate._elastic + before, eigvals_only=True)[-1]
        assert factors(bad, added, held)[where] == pytest.approx(1.0 / r, rel=1e-6)


def test_pulling_one_way_may_free_what_is_held() -> None:
    """Pressed along x to nine tenths, then pulled along x and pressed along y: below the share before it is above."""
    bad = damaged(panel(sheet(6)), [found(5)])
    down = np.array([-1e-3, 0, 0, 0, 0, 0])
    where = "at L1 (ply 6)"
    held = 0.9 * factors(bad, down)[where] * down
    swap = np.array([1e-3, -1e-3, 0, 0, 0, 0])
    part = bad.delaminations[0].whole.split(5)[1]
    share, A = part_share(part, 0.0, (0.02, 0.02)), part.A
    r = factors(bad, swap, held)[where]
    assert share(A @ (held + r * swap)[:3])[0] == pytest.approx(1.0, rel=1e-9)
    assert all(share(A @ (held + f * r * swap)[:3])[0] < 1.0 for f in np.linspace(0, 0.999, 20))


def test_stress_left_by_the_cure_is_held() -> None:
    """[90/0_4/90] cooled: N of the outer ply is what the common strain and its own free strain leave, by hand."""
    ply = LIB["T300-5208"]
    whole = Laminate(tuple(Ply(ply, 0.25e-3, a) for a in (math.pi / 2, 0, 0, 0, 0, math.pi / 2)))
    residual = Residual(-100.0)
    bad = damaged(panel(whole), [found(5)])
    q = 1 - ply.nu12**2 * ply.E2 / ply.E1
    Q = np.array([[ply.E1, ply.nu12 * ply.E2], [ply.nu12 * ply.E2, ply.E2]]) / q
    Q90 = Q[::-1, ::-1]
    alpha = np.array([ply.alpha1, ply.alpha2])
    # by hand: one strain for all, the resultants sum to nothing
    free = np.linalg.solve(4 * Q + 2 * Q90, -100.0 * (4 * Q @ alpha + 2 * Q90 @ alpha[::-1]))
    N = 0.25e-3 * Q90 @ (free + 100.0 * alpha[::-1])
    assert N[0] > 0 > N[1]  # pulled across its fibres, pressed along them
    part, where = whole.split(5)[1], "at L1 (ply 6)"
    down = np.array([0, -1e-3, 0, 0, 0, 0])
    share = part_share(part, 0.0, (0.02, 0.02))
    got = factors(bad, down, None, residual)[where]
    assert got == pytest.approx(buckling_factor(share, np.r_[N, 0.0], part.A @ down[:3]), rel=1e-9)
    assert got < factors(bad, down)[where]
    assert math.isnan(factors(bad, down, None, Residual(-2000.0))[where])


def test_parts_with_a_core_are_not_plates() -> None:
    """Of a sandwich only the plies outside the interface are looked at."""
    whole = Laminate(parse_stack("[0/45/0/foam-pvc-80:6mm]s", LIB, "carbon-twill"))
    bad = damaged(panel(whole), [found(6)])
    assert set(factors(bad, np.array([-1e-3, 0, 0, 0, 0, 0]))) == {"at L1 (ply 7)"}


def test_ply_and_place_are_told() -> None:
    """The ply at the interface and the face of it; plies bonded on below count, but do not stiffen the part."""
    whole = sheet(6)
    bad = damaged(panel(whole), [found(4)])
    patch = PatchRepair("P", "area", sheet(2), LIB["film-epoxy"], 0.1e-3, -1, 1.0)
    every = plans(Inputs(panel(whole), (found(4),), (Option("patch", (patch,), 1.0),), ()))
    strain = np.array([-1e-3, -1e-3, 0, 0, 0, 0])
    low, high = DelaminationCheck(bad, Residual()).reserves(observed(np.zeros(6)), observed(strain), True)
    assert (low.ply, low.position, high.ply, high.position) == (4, "top", 5, "bottom")
    assert (low.mode, low.grade, low.laminate, low.ply_name) == ("sublaminate buckling", "release", 0, "ply")
    assert low.place == pytest.approx([0.1, 0.05, 0.0])
    patched = next(p for p in every if p.name == "patch").states[0].panel
    below, above = DelaminationCheck(patched, Residual()).reserves(observed(np.zeros(6)), observed(strain), True)
    assert (below.ply, above.ply) == (7, 8)
    assert above.where == "at L1 (plies 8 to 9)"
    assert (below.factor, above.factor) == (low.factor, high.factor)
    assert patched.laminates[above.laminate].plies[6].material.name == "ply"


def test_delamination_leaves_the_panel_its_stiffness() -> None:
    sound = panel(sheet(6))
    bad = damaged(sound, [found(4)])
    assert (bad.stiffness() == sound.stiffness()).all()
    assert (bad.mass(), ends([found(4)])) == (sound.mass(), ("as measured",))


def test_options_cut_it_out_cover_it_or_replace_it() -> None:
    def option(name: str, *actions: object) -> Option:
        return Option(name, actions, 1.0)  # type: ignore[arg-type]

    over = PatchRepair("P", "area", sheet(2), LIB["film-epoxy"], 0.1e-3, 1, 1.0)
    options = (
        option("tape", Tape("T", "area", 0.2)),
        option("over", over),
        option("cut", replace(over, cut_out="area")),
        option("cut elsewhere", replace(over, cut_out="hole")),
        option("spare", Spare("S")),
    )
    sound = panel(sheet(6))
    every = {p.name: p for p in plans(Inputs(sound, (found(4), Hole("H", "hole", 3e-3)), options, ()))}
    left = {name: any(isinstance(d, Delamination) for d in p.left) for name, p in every.items()}
    assert left == {
        "undamaged": False, "as found": True, "tape": True, "over": True, "cut": False, "cut elsewhere": True,
        "spare": False,
    }  # fmt: skip
    for name, plan in every.items():
        for state in (*plan.states, *plan.contingencies):
            assert [d.name for d in state.panel.delaminations] == (["L1"] if left[name] else [])
    assert every["over"].contingencies[0].key == every["as found"].states[0].key


def test_refusals() -> None:
    sound = panel(sheet(6))
    with pytest.raises(InputError, match="no interface after ply 6"):
        damaged(sound, [found(6)])
    half = sound.mesh.inside["area"] & (sound.mesh.centroids[:, 0] < 0.1)
    with pytest.raises(InputError, match="more than one laminate"):
        damaged(sound.relaid(half, {0: sheet(5)}), [found(4)])
    bad = damaged(sound, [found(4), Hole("H", "area", 3e-3)])
    with pytest.raises(ModelError, match="part of the delaminated area is cut away"):
        Model(State(("x",), "x", bad, ()), 2, str)


def result(bad: Panel, load: LoadCase, order: int = 3):
    model = Model(State(("x",), "x", bad, ()), order, str)
    return analyse(model.subject, load, Responder(model, (load,)).linear(load), Settings())


#: A body force towards the held edge, whose N = −m g x is straight, so that its mean over the ellipse is that at its
#: centre.
PUSH = LoadCase("push", "inertia", "acceleration", Inertia(np.array([5e4, 0.0, 0.0])))


@pytest.mark.parametrize("axes", [(0.02, 0.02), (0.03, 0.015)])
def test_a_pushed_strip(axes: tuple[float, float]) -> None:
    """Along the whole line, on an ellipse at an angle: N of the part is its share of m g x, the rest is Ritz."""
    turn = 0.6
    along = np.array([math.cos(turn), math.sin(turn), 0.0])
    whole, t = sheet(10), 0.2e-3
    bad = damaged(panel(whole, axes, along), [found(9, axes, along)])
    answer, _, path = result(bad, PUSH)
    N = -whole.areal_mass * 5e4 * 0.1 / 10
    strain = path.state(1.0).area_strain[0]
    assert strain[:3] == pytest.approx(np.linalg.solve(whole.A, [10 * N, 0, 0]), rel=1e-3, abs=1e-3 * abs(strain[0]))
    assert np.abs(strain[3:]).max() * whole.thickness < 1e-9 * abs(strain[0])
    c, s = along[:2]
    plate = ClampedEllipseModes(sheet(1).D, *axes, degree=16)
    bending = plate.factors(1, (N * c * c, N * s * s, -N * c * s))[0]
    exact = 1.0 / (1.0 / bending - N / (4e9 * t / 1.2))
    got = next(m for m in answer.modes if m.mode == "sublaminate buckling")
    assert got.where == "at L1 (ply 10)"
    assert answer.release == got
    assert got.factor == pytest.approx(exact, rel=1e-3)


def test_what_is_held_in_the_strip() -> None:
    """Pushed already by two fifths of what it takes: three fifths are left."""
    bad = damaged(panel(sheet(10)), [found(9)])
    alone = result(bad, PUSH)[0].release.factor
    half = replace(PUSH, held=(Inertia(0.4 * alone * np.array([5e4, 0.0, 0.0])),))
    assert result(bad, half)[0].release.factor == pytest.approx(0.6 * alone, rel=1e-6)
    over = replace(PUSH, held=(Inertia(1.1 * alone * np.array([5e4, 0.0, 0.0])),))
    assert result(bad, over)[0].release.status == "zero load"
    away = replace(PUSH, scaled=Inertia(np.array([-5e4, 0.0, 0.0])))
    mode = next(m for m in result(bad, away)[0].modes if m.mode == "sublaminate buckling")
    assert mode.status == "beyond search"


def test_the_cure_is_held_in_the_strip() -> None:
    """Locked in since before the fixings: the free panel moves nothing, the outer ply is pressed along its fibres."""
    ply = LIB["T300-5208"]
    whole = Laminate(tuple(Ply(ply, 0.25e-3, a) for a in (0, math.pi / 2, math.pi / 2, 0)))
    bad = damaged(panel(whole), [found(3)])
    plain, cured = (
        next(m for m in result(bad, replace(PUSH, held=held))[0].modes if m.mode == "sublaminate buckling").factor
        for held in ((), (Cure(-60.0),))
    )
    part = whole.split(3)[1]
    strain = np.linalg.solve(whole.A, [-whole.areal_mass * 5e4 * 0.1, 0, 0])
    N = part.A @ np.linalg.solve(whole.A, whole.thermal_resultants(-60.0)[:3]) - part.thermal_resultants(-60.0)[:3]
    exact = buckling_factor(part_share(part, 0.0, (0.02, 0.02)), N, part.A @ strain)
    assert N[0] < 0
    assert cured == pytest.approx(exact, rel=2e-3)
    assert cured < plain


def test_mean_over_an_area() -> None:
    """Of x and x² + xy at the nodes: x̄ and, of a disc, x̄² + x̄ȳ + a²/4; elements of the mesh are cut a little short."""
    sound = panel(sheet(6))
    model = Model(State(("x",), "x", sound, ()), 3, str)
    area = sound.mesh.inside["area"]
    rows = area_means(sound.mesh, model.recovery, sound.laminate_of, [area])
    assert np.asarray(rows.sum(axis=1)).ravel() == pytest.approx([1.0])
    x, y, _ = model.recovery.points.T
    got = (rows @ np.column_stack([x, x**2 + x * y]))[0]
    assert got[0] == pytest.approx(0.1, rel=1e-3)
    assert got[1] == pytest.approx(0.1**2 + 0.1 * 0.05 + 0.02**2 / 4, rel=2e-3)
    assert area_means(sound.mesh, model.recovery, sound.laminate_of, []) is None


def test_large_displacements_are_read_as_well() -> None:
    """Where they are small both readings agree; turned by a large angle the panel is not strained."""
    bad = damaged(panel(sheet(6)), [found(4)])
    model = Model(State(("x",), "x", bad, ()), 3, str)
    observe = model.subject.observer
    linear = result(bad, PUSH)[2].found(1e-3).unknowns
    small, large = (observe(Solution(linear, np.zeros((0, 6)), large=way)).area_strain for way in (False, True))
    assert large == pytest.approx(small, rel=1e-3, abs=1e-6 * np.abs(small).max())
    turn = rotations(np.array([[0.4, 1.2, -0.3]]))[0]
    pose = turned_whole(model.shell, turn, (0.1, 0.0, 0.0), model.large.rest())
    turned = Solution(model.large.vector(pose), np.zeros((0, 6)), large=True)
    assert np.abs(observe(turned).area_strain).max() < 1e-9
