"""Contact with rigid shapes against closed forms of beam and plate theory, each derived here."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from panelfem.arrays import FloatArray
from panelfem.errors import InputError, ModelError
from panelfem.loads.obstacle import contact_notes, height, obstacle_rows, place_obstacle, split_for
from panelfem.loads.records import Contact, Flat, HalfRound, Ramp, Shape, Step
from panelfem.mesh import CurvedMesh
from panelfem.shell import Shell, Supports, System
from panelfem.shell.complementarity import push_only
from panelfem.shell.contact import ContactProblem, Free, Pusher
from panelfem.shell.held import HeldSystem
from panelfem.shell.supports import edge_nodes, fastener_rows

L, B, T, E = 0.4, 0.02, 1e-3, 70e9
EI = E * B * T**3 / 12
DOWN, UP = np.array([0.0, 0, -1]), np.array([0.0, 0, 1])


def isotropic(t: float, nu: float, modulus: float = E) -> FloatArray:
    """Stiffness (8, 8) of an isotropic sheet; shear stiff, so that thin theory holds."""
    Q = modulus / (1 - nu**2) * np.array([[1, nu, 0], [nu, 1, 0], [0, 0, (1 - nu) / 2]])
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6] = Q * t, Q * t**3 / 12
    C[6:, 6:] = 100 * modulus * t * np.eye(2)
    return C


def grid(nx: int, ny: int, lx: float, ly: float) -> tuple[FloatArray, np.ndarray]:
    """Points (n, 2) and triangles of a grid of squares, each cut in two along alternating diagonals."""
    x, y = np.meshgrid(np.linspace(0, lx, nx + 1), np.linspace(0, ly, ny + 1), indexing="ij")
    number = np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1)
    triangles = []
    for i in range(nx):
        for j in range(ny):
            a, b, c, d = number[i, j], number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]
            triangles += [[a, b, c], [a, c, d]] if (i + j) % 2 else [[a, b, d], [b, c, d]]
    return np.column_stack([x.ravel(), y.ravel()]), np.array(triangles)


def strip(ends: str, nx: int = 40, camber: float = 0.0, order: int = 2, nu: float = 0.0) -> tuple[Shell, HeldSystem]:
    """A strip of length L along x; ends 'supported' (z only), 'clamped', or 'cantilever'.

    With ν = 0 it is a beam of stiffness EI.  With ν > 0 its long sides may not turn about x (symmetry), so it is
    a strip of a wide plate: EI / (1 − ν²).  `camber` m: parabola up in the middle.
    """
    points, triangles = grid(nx, 1, L, B)
    mesh = CurvedMesh.lift(
        points, triangles, order, lambda p: np.column_stack([p, camber * (1 - (2 * p[:, 0] / L - 1) ** 2)])
    )
    shell = Shell(mesh, isotropic(T, nu), np.array([1.0, 0, 0]))
    x = mesh.x[: mesh.nb]
    fixed = np.zeros((mesh.nb, 6), bool)
    fixed[:, 1] = fixed[:, 3] = fixed[:, 5] = True  # bends in the xz plane only
    first, last = np.abs(x[:, 0]) < 1e-9, np.abs(x[:, 0] - L) < 1e-9
    fixed[first, 0] = fixed[first, 2] = True
    if ends == "clamped":
        fixed[first | last, 2] = fixed[first | last, 4] = True
    elif ends == "cantilever":
        fixed[first, 4] = True
    else:
        fixed[last, 2] = True
    return shell, held(shell, shell.factor(Supports(fixed)))


def held(shell: Shell, system: System) -> HeldSystem:
    """No fasteners."""
    return HeldSystem(system, fastener_rows(shell, [], np.zeros((0, 3))).rows)


def contact(
    shape: Shape, x: float = L / 2, direction: FloatArray = DOWN, amount: float = 1e-3, gap: float = 0.0
) -> Contact:
    """A shape over the middle line of the strip, travelling along x."""
    return Contact(shape, np.array([x, B / 2, 0]), direction, np.array([1.0, 0, 0]), "interference", amount, gap)


def problem(shell: Shell, panel: HeldSystem, *contacts: Contact, division: int | None = None) -> ContactProblem:
    shapes = [place_obstacle(c, shell) for c in contacts]
    pushers = [Pusher(panel, obstacle_rows(shape, shell, division)) for shape in shapes]
    return ContactProblem(panel, pushers, [c.car_stiffness for c in contacts])


def at_rest(p: ContactProblem, shell: Shell) -> Free:
    return p.free(np.zeros(shell.n_total))


def lifted_off(kappa: float, s: float, stiffness: float) -> tuple[float, float]:
    """Force and distance a from the supports to the outermost contact of a supported strip of curvature κ (against the
    shape's) pressed by s, from Euler–Bernoulli.

    Until the middle fits the shape the contact is one line: F = 48 EI s / L³, up to F L / 4 EI = κ, s = κ L² / 12.
    Beyond, the strip follows the shape between two lines where F/2 · a = EI κ (M is constant where
    curvature is, so nothing presses between them).  From support to lift-off the moment grows linearly, so
    s = κ L²/8 − κ a²/6.
    """
    if s <= kappa * L**2 / 12:
        return 48 * stiffness * s / L**3, L / 2
    a = float(np.sqrt(6 * (L**2 / 8 - s / kappa)))
    return 2 * stiffness * kappa / a, a


@pytest.mark.parametrize("share", [0.5, 0.9, 1.2, 1.35])
def test_cambered_strip_on_a_flat(share: float) -> None:
    """A flat presses a cambered strip: first one line, then two that part (derivation: lifted_off)."""
    camber = 0.003
    kappa = 8 * camber / L**2
    shell, panel = strip("supported", camber=camber)
    p = problem(shell, panel, contact(Flat()))
    s = share * kappa * L**2 / 12
    found = p.at(at_rest(p, shell), [s])
    force, a = lifted_off(kappa, s, EI)
    assert found.total[0] == pytest.approx(force, rel=0.01)
    where = p.place[found.touching][:, 0]
    assert abs(where.min() - a) < 1.1 * L / 40
    assert where.min() + where.max() == pytest.approx(L, abs=1e-6)
    assert found.error < 1e-8


@pytest.mark.parametrize("nu", [0.0, 0.3])
@pytest.mark.parametrize("share", [0.6, 1.2, 1.4])
def test_strip_wraps_a_cylinder(share: float, nu: float) -> None:
    """A flat strip (ν = 0: beam; 0.3: wide plate in cylindrical bending) pressed by a cylinder of radius R, κ = 1/R."""
    radius = 2.0
    stiffness = EI / (1 - nu**2)
    shell, panel = strip("supported", nu=nu)
    p = problem(shell, panel, contact(HalfRound(radius)))
    s = share / radius * L**2 / 12
    found = p.at(at_rest(p, shell), [s])
    force, a = lifted_off(1 / radius, s, stiffness)
    assert found.total[0] == pytest.approx(force, rel=0.02)
    where = p.place[found.touching][:, 0]
    assert abs(where.min() - a) < 1.5 * L / 40
    if share > 1:
        middle = np.flatnonzero(np.abs(shell.mesh.centroids[:, 0] - L / 2) < L / 80)
        strain = shell.strains(found.displacement(), np.array([[1 / 3], [1 / 3]]), middle)
        assert np.abs(strain[:, 0, 3]) == pytest.approx(1 / radius, rel=0.03)  # M = EI / R inside the contact


@pytest.mark.parametrize("division", [1, 2, 4])
@pytest.mark.parametrize("offset", [0.0, 0.003, 0.0083])
def test_narrow_half_round_is_a_line_load(division: int, offset: float) -> None:
    """R = 50 mm, elements of 17 mm, crest wherever it falls between them: F = 3 EI L s / x² (L − x)²."""
    shell, panel = strip("supported", nx=24)
    s, x = 2e-3, L / 2 + offset
    p = problem(shell, panel, contact(HalfRound(0.05), x=x, amount=s), division=division)
    found = p.at(at_rest(p, shell), [s])
    exact = 3 * EI * L * s / (x**2 * (L - x) ** 2)
    # between two places the crest stands out by at most (h/2)²/2R, h the distance of the places
    bound = (L / 24 / division / 2) ** 2 / (2 * 0.05) / s
    assert found.total[0] == pytest.approx(exact, rel=bound + 0.01)


def turned_plate(turn: float, order: int) -> tuple[Shell, HeldSystem]:
    """A clamped square of side 0.3 m, 3 mm thick, domed (radius 1.7 m); its mesh of 25 mm turned by `turn` rad."""
    points, triangles = grid(12, 12, 0.3, 0.3)
    c, s = np.cos(turn), np.sin(turn)
    flat = (points - 0.15) @ np.array([[c, s], [-s, c]])
    mesh = CurvedMesh.lift(flat, triangles, order, lambda p: np.column_stack([p, -0.3 * (p**2).sum(axis=1)]))
    shell = Shell(mesh, isotropic(3 * T, 0.3), np.array([1.0, 0, 0]))
    ends = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    key, count = np.unique(np.sort(ends, axis=1), axis=0, return_counts=True)
    fixed = np.zeros((mesh.nb, 6), bool)
    fixed[edge_nodes(mesh, key[count == 1])] = True
    return shell, held(shell, shell.factor(Supports(fixed)))


def across(shape: Shape, angle: float = 0.38) -> Contact:
    """A shape from above, a little off the middle, its line of travel at `angle` rad from x."""
    travel = np.array([np.cos(angle), np.sin(angle), 0])
    return Contact(shape, np.array([0.004, 0.003, 0.1]), DOWN, travel, "interference", 3e-3)


@pytest.mark.parametrize("division", [1, 2, 4])
@pytest.mark.parametrize("shape", [HalfRound(0.02), HalfRound(0.05), Step(0.01), Step(0.04)])
def test_no_place_is_off_a_shape_that_ends_inside_elements(shape: HalfRound | Step, division: int) -> None:
    """Every place is under the shape, gives way as it advances, and is not met before the shape meets the panel."""
    shell, _ = turned_plate(0.0, 2)
    # negative lobes over the bend of a shape: no more than the height of its circle over half a hat
    early = 0.5 * (0.0125 / division) ** 2 / (shape.radius if isinstance(shape, HalfRound) else shape.edge_radius)
    for angle in np.linspace(0.0, 2 * np.pi, 25):
        obstacle = place_obstacle(across(shape, angle), shell)
        rows = obstacle_rows(obstacle, shell, division)
        assert np.isfinite(obstacle.clearance(rows.place)).all()
        assert rows.share.min() > 0
        assert (rows.gap / rows.share).min() > -early


@pytest.mark.parametrize("turn", [0.0, 0.35, 0.7])
@pytest.mark.parametrize(("shape", "agree"), [(HalfRound(0.02), 0.02), (HalfRound(0.05), 0.01), (Step(0.01), 0.04)])
def test_order_and_lattice_hardly_show_in_the_force(shape: Shape, agree: float, turn: float) -> None:
    """A shape that ends inside elements, pushed by order 2 and by order 3 on the finer lattice."""
    forces = []
    for order, finer in ((2, False), (3, True)):
        shell, panel = turned_plate(turn, order)
        obstacle = place_obstacle(across(shape), shell)
        p = problem(shell, panel, obstacle.contact, division=split_for(obstacle, shell, finer))
        found = p.at(at_rest(p, shell), [3e-3])
        assert np.isfinite(obstacle.clearance(p.place[found.touching])).all()
        forces.append(found.total[0])
    assert forces[0] > 0
    assert forces[0] == pytest.approx(forces[1], rel=agree)


def test_the_finer_lattice_is_finer() -> None:
    """Round shapes, steps and flat faces get more places; a flat that lies against very many elements does not."""
    shell, _ = turned_plate(0.0, 2)
    for shape, low, high in (
        (HalfRound(0.05), 4, 6),
        (HalfRound(20.0), 1, 3),
        (Step(0.01), 2, 4),
        (Flat(), 1, 2),
        (Ramp(0.1), 1, 2),
    ):
        obstacle = place_obstacle(Contact(shape, np.zeros(3), DOWN, UP[[2, 0, 1]], "interference", 3e-3), shell)
        assert (split_for(obstacle, shell), split_for(obstacle, shell, finer=True)) == (low, high)
    plate = Shell(CurvedMesh.straight(*plane(20), 2), isotropic(T, 0.3), np.array([1.0, 0, 0]))
    lying = place_obstacle(Contact(Flat(), np.zeros(3), DOWN, UP[[2, 0, 1]], "interference", 3e-3), plate)
    assert split_for(lying, plate, finer=True) == 1


def plane(n: int) -> tuple[FloatArray, np.ndarray]:
    """A flat square of 2 n² triangles in space."""
    points, triangles = grid(n, n, 0.3, 0.3)
    return np.column_stack([points, 0 * points[:, 0]]), triangles


def test_a_flat_meets_the_free_edge_itself() -> None:
    """A cantilever that slopes towards a flat is met at its tip: F = 3 EI s / L³, on coarse elements too."""
    points, triangles = grid(10, 1, L, B)
    mesh = CurvedMesh.lift(points, triangles, 2, lambda p: np.column_stack([p, 0.1 * p[:, 0]]))
    shell = Shell(mesh, isotropic(T, 0.0), np.array([1.0, 0, 0]))
    fixed = np.zeros((mesh.nb, 6), bool)
    fixed[:, 1] = fixed[:, 3] = fixed[:, 5] = True
    fixed[np.abs(mesh.x[: mesh.nb, 0]) < 1e-9] = True
    p = problem(shell, held(shell, shell.factor(Supports(fixed))), contact(Flat()))
    s = 1e-3
    found = p.at(at_rest(p, shell), [s])
    slant = 1 + 0.1**2  # length L √1.01, pushed across it by F/√1.01 through s/√1.01 (it cannot stretch)
    assert found.total[0] == pytest.approx(3 * EI * s / (L**3 * slant**1.5) * slant, rel=0.02)
    assert p.place[found.touching][:, 0] == pytest.approx(L, abs=1e-3)


@pytest.mark.parametrize("ratio", [600.0, 1152.0 * 2, 1152.0 * 20])
def test_clamped_strip_pressed_onto_a_flat(ratio: float) -> None:
    """A clamped strip under pressure q (N/m) meets a flat at distance δ = q L⁴ / (ratio EI).

    Free: q L⁴/384 EI.  Up to ratio 1152 it touches at the middle only: F L³/192 EI = q L⁴/384 EI − δ.  Beyond, it
    lies flat from a on: w = q/24EI (x⁴ + α x³ + β x²) with w = δ, w' = w'' = 0 at a gives a⁴ = 72 EI δ /
    q, and the contact carries q (L − 2a) and two line forces q a / 3.
    """
    shell, panel = strip("clamped", nx=60)
    q = 3.0
    delta = q * L**4 / (ratio * EI)
    p = problem(shell, panel, contact(Flat(), direction=UP, gap=delta))
    load = shell.traction(np.array([0.0, 0, -q / B]))
    found = p.at(p.free(panel.system.solve(load)), [0.0])
    if ratio <= 1152:
        exact = 192 * EI / L**3 * (q * L**4 / (384 * EI) - delta)
    else:
        a = (72 * EI * delta / q) ** 0.25
        exact = q * (L - 2 * a) + 2 * q * a / 3
        assert abs(p.place[found.touching][:, 0].min() - a) < 1.1 * L / 60
    assert found.total[0] == pytest.approx(exact, rel=0.01)
    assert found.gap.min() > -1e-9 * q * L**4 / (384 * EI)


def test_clamped_round_plate_pressed_onto_a_flat() -> None:
    """A clamped round plate under pressure meets a flat at half its free deflection.

    Outside the contact of radius b: w = A + B r² + C ln r + D r² ln r + q r⁴/64D with w = w' = 0 at R and w = δ,
    w' = 0 and M_r = 0 at b (five conditions, solved here for b); the total follows from the shear at b and
    the pressure inside."""
    R, nu, q = 0.1, 0.3, 2000.0
    D = E * T**3 / 12 / (1 - nu**2)
    delta = 0.5 * q * R**4 / (64 * D)

    def rows(r: float) -> FloatArray:
        ln = np.log(r)
        return np.array(
            [
                [1, r**2, ln, r**2 * ln, q * r**4 / (64 * D)],
                [0, 2 * r, 1 / r, r * (2 * ln + 1), q * r**3 / (16 * D)],
                [0, 2, -1 / r**2, 2 * ln + 3, 3 * q * r**2 / (16 * D)],
            ]
        )

    def constants(b: float) -> FloatArray:
        outer, inner = rows(R), rows(b)
        M = np.array([outer[0], outer[1], inner[0], inner[1]])
        return np.linalg.solve(M[:, :4], np.array([0, 0, delta, 0]) - M[:, 4])

    b = brentq(lambda b: float(rows(b)[2] @ np.append(constants(b), 1.0)), 0.05 * R, 0.9 * R)
    # shear force per length D d/dr(∇²w), with ∇²w = 4B + 4D(ln r + 1) + q r²/4D
    edge_shear = D * (4 * constants(b)[3] / R + q * R / (2 * D))
    exact = q * np.pi * R**2 - 2 * np.pi * R * edge_shear  # what the clamped edge does not carry
    n = 24
    points, triangles = grid(n, n, 2.0, 2.0)
    p2 = points - 1
    disc = R * np.column_stack([p2[:, 0] * np.sqrt(1 - p2[:, 1] ** 2 / 2), p2[:, 1] * np.sqrt(1 - p2[:, 0] ** 2 / 2)])
    mesh = CurvedMesh.lift(disc, triangles, 2, lambda p: np.column_stack([p, 0 * p[:, 0]]))
    radius = np.linalg.norm(mesh.x[:, :2], axis=1)
    edges = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    key, count = np.unique(np.sort(edges, axis=1), axis=0, return_counts=True)
    rim = np.unique(edge_nodes(mesh, key[count == 1]))
    x = mesh.x.copy()
    x[rim, :2] *= (R / radius[rim])[:, None]
    mesh = mesh.moved(x)
    shell = Shell(mesh, isotropic(T, nu), np.array([1.0, 0, 0]))
    fixed = np.zeros((mesh.nb, 6), bool)
    fixed[rim] = True
    panel = held(shell, shell.factor(Supports(fixed)))
    place = Contact(Flat(), np.zeros(3), UP, np.array([1.0, 0, 0]), "interference", 0.0, delta)
    p = problem(shell, panel, place)
    found = p.at(p.free(panel.system.solve(shell.traction(lambda x, n: -q * n))), [0.0])
    assert found.total[0] == pytest.approx(exact, rel=0.01)
    assert abs(np.sqrt(found.area[0] / np.pi) - b) < 2 * R / n


@given(st.integers(1, 8), st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=60)
def test_push_only_solves_the_complementarity_problem(n: int, seed: int) -> None:
    """λ ≥ 0, g + Cλ ≥ 0, and one of them zero, for random positive definite C; the start does not matter."""
    random = np.random.default_rng(seed)
    A = random.normal(size=(n, n))
    C, g = A @ A.T + 1e-3 * np.eye(n), random.normal(size=n)
    force, _ = push_only(C, g)
    left = g + C @ force
    size = np.abs(g).max()
    assert force.min() >= 0
    assert left.min() > -1e-8 * size
    assert np.abs(force * left).max() < 1e-7 * size * max(1.0, force.max())
    again, _ = push_only(C, g, random.random(n) < 0.5)
    assert again == pytest.approx(force, rel=1e-6, abs=1e-9 * max(1.0, force.max()))


def test_push_only_with_a_singular_compliance() -> None:
    """Two places that are one: their forces share what one would carry."""
    force, _ = push_only(np.array([[2.0, 2.0], [2.0, 2.0]]), np.array([-1.0, -1.0]))
    assert force.sum() == pytest.approx(0.5)
    with pytest.raises(ModelError, match="does not give"):
        push_only(np.array([[0.0]]), np.array([-1.0]))


def test_force_grows_with_the_advance_and_is_found_back() -> None:
    """The force never falls as the shape advances; asking for that force gives that advance back."""
    shell, panel = strip("supported", camber=0.003)
    p = problem(shell, panel, contact(Flat()))
    free = at_rest(p, shell)
    advances = np.linspace(0, 0.0028, 15)
    forces = np.array([p.at(free, [s]).total[0] for s in advances])
    assert forces[0] == 0
    assert (np.diff(forces) > 0).all()
    for s, force in zip(advances[1::4], forces[1::4], strict=True):
        found = p.force(free, float(force))
        assert found.advance[0] == pytest.approx(s, rel=1e-7)
        assert found.total[0] == pytest.approx(force, rel=1e-9)
    assert p.force(free, 0.0).total[0] == 0


def test_car_stiffness_is_in_series() -> None:
    """With the car's stiffness c the shape advances s = δ − F/c, and carries what it carries at s without a car."""
    shell, panel = strip("supported", camber=0.003)
    c = contact(Flat())
    stiff = problem(shell, panel, c)
    delta, car = 0.002, 60.0
    soft = ContactProblem(panel, stiff.pushers, [car])
    found = soft.at(at_rest(soft, shell), [delta])
    force = found.total[0]
    assert found.advance[0] == pytest.approx(delta - force / car, rel=1e-12)
    assert stiff.at(at_rest(stiff, shell), [float(found.advance[0])]).total[0] == pytest.approx(force, rel=1e-8)
    assert 0 < force < stiff.at(at_rest(stiff, shell), [delta]).total[0]


def test_symmetry_balance_and_equilibrium() -> None:
    """Mirror-symmetric strip and shape give mirror-symmetric forces, and the supports carry what the shape pushes."""
    shell, panel = strip("clamped", nx=24)
    p = problem(shell, panel, contact(HalfRound(2.5), amount=4e-3))
    found = p.at(at_rest(p, shell), [4e-3])
    assert found.touching.sum() >= 2
    per_x: dict[float, float] = {}  # summed across the strip: the triangles are mirrored along x together with y
    for place, force in zip(p.place, found.force, strict=True):
        per_x[round(place[0], 6)] = per_x.get(round(place[0], 6), 0.0) + force
    for x, force in per_x.items():
        assert per_x[round(L - x, 6)] == pytest.approx(force, rel=1e-6, abs=1e-6 * found.total[0])
    u = found.displacement()
    load = found.load()
    r = panel.system.reactions(panel.system.solve(load), load)
    assert r[2 : shell.n_boundary : 6].sum() == pytest.approx(found.total[0], rel=1e-6)  # pushed down, held up
    assert u @ load > 0


def test_two_shapes_at_once_share_columns() -> None:
    """A road under a strip that a kerb presses, in one problem: it changes nothing until it is met."""
    shell, panel = strip("supported")
    kerb, road = contact(HalfRound(1.0)), contact(Flat(), direction=UP, gap=1.5e-3)
    alone = problem(shell, panel, kerb)
    both = ContactProblem(panel, [alone.pushers[0], Pusher(panel, obstacle_rows(place_obstacle(road, shell), shell))])
    free, free2 = at_rest(alone, shell), at_rest(both, shell)
    one, two = alone.at(free, [1e-3]), both.at(free2, [1e-3, 0.0])
    assert two.total == pytest.approx([one.total[0], 0.0])
    load = panel.system.solve(shell.traction(np.array([0.0, 0, -200.0])))
    pressed = both.at(both.free(load), [1e-3, 0.0])
    assert pressed.total[1] > 0
    # the kerb comes from above, the strip falls away from it on to the road
    assert pressed.gap.min() > -1e-9
    before = panel.back_solves
    both.at(both.free(load), [1e-3, 0.0])
    assert panel.back_solves == before


def test_answer_does_not_depend_on_what_was_asked_before() -> None:
    shell, panel = strip("supported", camber=0.003)
    p = problem(shell, panel, contact(Flat()))
    free = at_rest(p, shell)
    first = p.at(free, [0.0011])
    p.at(free, [0.0027])
    p.at(free, [0.0019])
    again = p.at(free, [0.0011])
    assert again.force == pytest.approx(first.force, abs=1e-9 * first.total[0])
    assert again.displacement() == pytest.approx(first.displacement(), abs=1e-12)


def test_pushing_against_a_clamp_is_refused() -> None:
    """A step narrower than a clamped end has nothing that gives."""
    shell, _ = strip("clamped", nx=20)
    mask = np.zeros((shell.mesh.nb, 6), bool)
    mask[shell.mesh.x[: shell.mesh.nb, 0] > L / 2] = True
    mask[:, 1] = True
    mask[np.abs(shell.mesh.x[: shell.mesh.nb, 0]) < 1e-9] = True
    clamped = held(shell, shell.factor(Supports(mask)))
    p = problem(shell, clamped, contact(Step(0.001), x=0.9 * L))
    with pytest.raises(ModelError, match="cannot give"):
        p.at(at_rest(p, shell), [1e-3])
    with pytest.raises(ModelError, match="cannot give"):
        p.force(at_rest(p, shell), 5.0)


@pytest.mark.parametrize(
    ("shape", "xi", "expected"),
    [
        (Flat(), [-1.0, 2.0], [0.0, 0.0]),
        (HalfRound(0.05), [0.0, 0.04, -0.06], [0.0, -0.02, -np.inf]),
        (Step(0.01), [0.5, 0.0, -0.006, -0.02], [0.0, 0.0, -0.002, -np.inf]),
        (Ramp(np.arctan(0.5)), [0.3, 0.0, -0.2], [0.0, 0.0, -0.1]),
    ],
)
def test_heights_and_slopes(shape: Shape, xi: list[float], expected: list[float]) -> None:
    """Heights by hand (3-4-5 triangles), slopes by differences."""
    h, slope = height(shape, np.array(xi))
    assert h == pytest.approx(expected)
    x = np.array([-0.0071, -0.0032, 0.004, 0.007])
    step = 1e-7
    difference = (height(shape, x + step)[0] - height(shape, x - step)[0]) / (2 * step)
    assert height(shape, x)[1] == pytest.approx(difference, abs=1e-5)
    assert len(slope) == len(xi)


def test_first_touch_and_gap() -> None:
    """No force until the shape has gone through the gap; the first touch of a camber by a flat is its crest."""
    shell, panel = strip("supported", camber=0.003)
    c = contact(Flat(), gap=5e-4)
    shape = place_obstacle(c, shell)
    assert shape.clearance(np.array([L / 2, 0, 0.003])) == pytest.approx(5e-4, abs=1e-9)
    p = problem(shell, panel, c)
    free = at_rest(p, shell)
    assert p.at(free, [4.9e-4]).total[0] == 0
    near = p.at(free, [6e-4]).total[0]
    assert near == pytest.approx(48 * EI * 1e-4 / L**3, rel=0.02)


def test_what_cannot_be_placed_is_refused() -> None:
    shell, _ = strip("supported", nx=4)
    with pytest.raises(InputError, match="misses the panel"):
        place_obstacle(contact(HalfRound(0.05), x=2.0), shell)
    with pytest.raises(InputError, match="along the direction"):
        place_obstacle(Contact(HalfRound(0.05), np.zeros(3), DOWN, UP, "interference", 1e-3), shell)
    with pytest.raises(InputError, match="no length"):
        place_obstacle(Contact(Flat(), np.zeros(3), np.zeros(3), UP, "interference", 1e-3), shell)
    with pytest.raises(InputError, match="radius"):
        place_obstacle(contact(HalfRound(0.0)), shell)
    with pytest.raises(InputError, match="angle"):
        place_obstacle(contact(Ramp(np.pi / 2)), shell)


def test_steep_touch_is_flagged() -> None:
    shell, _ = strip("supported", nx=4)
    shape = place_obstacle(contact(HalfRound(0.05)), shell)
    assert contact_notes(shape, np.array([[L / 2 + 0.01, 0, 0]])) == ()
    assert "37°" in contact_notes(shape, np.array([[L / 2 + 0.03, 0, 0]]))[0]
