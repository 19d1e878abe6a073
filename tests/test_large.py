"""The element at large displacements: tangent, convergence, objectivity, energy, and the factor with rows inside.

Everything here is held to definitions (central differences, dense algebra, the energy), so no values are printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse
from scipy.linalg import null_space
from shell_problems import X_AXIS, grid, isotropic, marks

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.bordered import Bordered, Rows
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Acting, Equilibrium, Fixings, Point, Shape, settled
from panelfem.shell.large import ElementLoads, LargeShell, Pose, rotations
from panelfem.shell.supports import edge_nodes, edge_springs, fastener_rows

EPS = 1e-4


def saddle(p: np.ndarray) -> np.ndarray:
    """A doubly curved piece, about 0.3 × 0.2 m."""
    x, y = 0.3 * p[:, 0], 0.2 * p[:, 1]
    return np.column_stack([x, y, 0.5 * x**2 - 0.8 * y**2 + 0.4 * x * y])


def laminate(rng: np.random.Generator, ne: int) -> np.ndarray:
    """A different unbalanced, unsymmetric laminate on each element (ne, 8, 8): all couplings there."""
    base = isotropic(7e10, 0.3, 0.002)
    size = np.sqrt(np.diag(base))
    mix = rng.uniform(-0.15, 0.15, (ne, 8, 8))
    mix[:, 6:, :6] = mix[:, :6, 6:] = 0.0
    return (base / np.outer(size, size) + 0.5 * (mix + mix.swapaxes(1, 2))) * np.outer(size, size)


def piece(k: int, n: int = 2) -> Shell:
    p, t = grid(n, n)
    mesh = CurvedMesh.lift(p, t, k, saddle)
    return Shell(mesh, laminate(np.random.default_rng(k), len(t)), np.array([1.0, 0.2, 0.0]))


def element_loads(shell: Shell, rng: np.random.Generator) -> ElementLoads:
    """Uneven follower pressure and initial resultants."""
    ne = shell.layout.ne
    pressure = 1e4 * rng.uniform(0.5, 1.5, (ne, shell.layout.tables.nq))
    return ElementLoads(pressure, rng.uniform(-1, 1, (ne, 8)) * np.array([5e3] * 3 + [5.0] * 3 + [1e3] * 2))


def rich(k: int, shapes: bool = False) -> Equilibrium:
    """A panel with everything that acts or holds: follower pressures and initial resultants in both parts of the loads,
    an edge on springs that resist turning, two washers (one with tilt springs, one partly rigid), and three shapes."""
    shell, rng = piece(k), np.random.default_rng(3)
    mesh, n = shell.mesh, shell.n_total
    held, scaled = (Acting(rng.normal(0, 3.0, n), element_loads(shell, rng)) for _ in range(2))
    nodes = np.arange(mesh.nb)
    fixed = marks(shell, (nodes[mesh.x[: mesh.nb, 0] < 1e-9], (0, 2, 4)))
    sides = np.concatenate([mesh.triangles[:, pair] for pair in ([0, 1], [1, 2], [2, 0])])
    far = sides[(mesh.x[sides][:, :, 0] > 0.3 - 1e-9).all(axis=1)]
    springs = edge_springs(mesh, edge_nodes(mesh, far), translation=2e5, rotation=3e3)
    washers = [np.arange(shell.layout.ne) == e for e in (1, 6)]
    rows = fastener_rows(shell, washers, np.array([[0.1, 0.0, 1.0], [0.0, 0.2, 1.0]])).rows
    stiffness = np.array([1e6, 2e6, 5e5, 40.0, 60.0, 25.0, np.inf, 1e6, np.inf, 30.0, np.inf, 0.0])
    fixings = Fixings(rows, stiffness, rng.normal(0, 1e-4, 12))
    return Equilibrium(shell, held, scaled, fixed, springs, fixings, some_shapes(shell) if shapes else ())


def some_shapes(shell: Shell) -> tuple[Shape, ...]:
    """Three shapes at two places each: a force, an advance, an advance with a spring behind."""
    rng = np.random.default_rng(5)
    controls = (("force", 40.0, None, True), ("advance", 1e-3, None, True), ("advance", 2e-3, 3e4, False))
    out = []
    for number, control in enumerate(controls):
        rows = shell.displacement_operator(np.array([2 * number, 2 * number + 1]), np.full((2, 3), 1 / 3))
        normal = sparse.kron(np.eye(2), rng.normal(size=(1, 3)))
        out.append(Shape(sparse.csr_array(normal @ rows), rng.normal(0, 1e-3, 2), rng.uniform(0.7, 1, 2), *control))
    return tuple(out)


def turned_whole(shell: Shell, turn: np.ndarray, shift: Sequence[float], pose: Pose) -> Pose:
    """The pose with a rigid rotation (3, 3) and a shift on top."""
    x, unknowns = shell.mesh.x[shell.mesh.nodes], shell.layout.displacement_unknowns
    u = np.zeros(shell.n_total)
    u[unknowns] = (x + pose.u[unknowns]) @ turn.T + shift - x
    return Pose(u, turn @ pose.turned)


def somewhere(eq: Equilibrium, factor: float = 0.7) -> Point:
    """A random point far from equilibrium: turned by 1.3 rad as a whole, with strains of some per cent."""
    rng, large, rest = np.random.default_rng(11), eq.large, eq.rest()
    u = rng.normal(0, 1e-4, eq.shell.n_total)
    u[large.rotation_unknowns] = rng.uniform(-0.05, 0.05, large.rotation_unknowns.shape)
    turn = rotations(np.array([[0.8, -0.9, 0.5]]))[0]
    pose = turned_whole(eq.shell, turn, (0.01, 0.02, -0.01), large.moved(large.rest(), u))
    places = len(eq.gap)
    touching = np.arange(places) != 1
    way = np.array([s.at(factor) if s.control == "advance" and s.car is None else 3e-4 for s in eq.shapes])
    return Point(factor, pose, rng.normal(0, 20, len(rest.mu)), rng.uniform(1, 9, places) * touching, way, touching)


def shifted(eq: Equilibrium, point: Point, step: np.ndarray, mu: np.ndarray, s: np.ndarray, change: float) -> Point:
    """The point moved along a step of its pose, forces of fixings and shapes, free ways and factor."""
    nf, push, way = len(point.mu), point.push.copy(), point.way.copy()
    push[point.touching] -= mu[nf:]
    free = 0
    for i, shape in enumerate(eq.shapes):
        if shape.control == "force" or shape.car is not None:
            way[i] += s[free]
            free += 1
        else:
            way[i] = shape.at(point.factor + change)
    pose = eq.large.moved(point.pose, step)
    return Point(point.factor + change, pose, point.mu + mu[:nf], push, way, point.touching)


def distance(a: np.ndarray, b: np.ndarray, size: np.ndarray) -> float:
    return float(np.abs(a - b).max() / np.abs(size).max())


def whole_matrix(eq: Equilibrium, point: Point) -> np.ndarray:
    """The matrix (n_total, n_total) of elements and springs that the factor is made from."""
    _, full, _, _, extra, _ = eq._evaluate(point, True)
    return dense(eq, full, extra)


def dense(eq: Equilibrium, full: np.ndarray, extra: sparse.csr_array | None) -> np.ndarray:
    whole = np.zeros((eq.shell.n_total,) * 2)
    for unknowns, matrix in zip(eq.large.unknowns, full, strict=True):
        whole[np.ix_(unknowns, unknowns)] += matrix
    if extra is not None:
        whole[: extra.shape[0], : extra.shape[0]] += extra.toarray()
    return whole


# ------------------------------------------------------------------------------------------------ tangent
@pytest.mark.parametrize("shapes", [False, True])
@pytest.mark.parametrize("k", [2, 3, 4])
def test_tangent_is_the_derivative_of_what_is_out_of_balance(k, shapes):
    """Central differences along a random step of the pose, of the forces of fixings and shapes, of the ways and of the
    factor: all that is out of balance falls as the matrix, its rows and the rates say."""
    eq = rich(k, shapes)
    point, rng = somewhere(eq), np.random.default_rng(k)
    tangent, whole = eq.tangent(point), whole_matrix(eq, point)
    rows = tangent.factor.rows
    step, held = rng.normal(0, 1.0, eq.shell.n_total), np.flatnonzero(eq.held)
    step[held] = 0.0
    mu, s = rng.normal(0, 1e3, len(rows.give)), rng.normal(0, 1.0, len(rows.tail))
    assert len(mu) == 11 + 5 * shapes
    assert len(s) == 2 * shapes
    for change in (0.0, 20.0):
        there = {
            d: eq.tangent(shifted(eq, point, *(d * EPS * v for v in (step, mu, s, change)))) for d in (2, 1, -1, -2)
        }
        for name, falls, rate in (
            ("residual", whole @ step + rows.rows.T @ mu, tangent.rate),
            ("row_miss", rows.rows @ step - rows.give * mu + rows.coupling @ s, tangent.row_rate),
            ("tail_miss", rows.coupling.T @ mu + rows.tail * s, tangent.tail_rate),
        ):
            far, near = (getattr(there[d], name) - getattr(there[-d], name) for d in (2, 1))
            wanted = change * rate - falls
            if name == "residual":
                wanted[held] = 0.0
            if len(wanted):
                assert distance((8 * near - far) / (12 * EPS), wanted, wanted) < 1e-9, name


@pytest.mark.parametrize("k", [2, 3, 4])
def test_every_column_of_the_tangent(k):
    """Unknown by unknown, each column to its own size: a soft one cannot hide behind the membrane."""
    eq = rich(k)
    point = somewhere(eq)
    whole, free = whole_matrix(eq, point), np.setdiff1d(np.arange(eq.shell.n_total), np.flatnonzero(eq.held))
    for column in np.random.default_rng(k).choice(free, 40, replace=False):
        step = np.zeros(eq.shell.n_total)
        step[column] = 1e-2 if np.isin(column, eq.large.rotation_unknowns) else 1e-4
        there = {d: eq.forces(replace(point, pose=eq.large.moved(point.pose, d * step))) for d in (2, 1, -1, -2)}
        found = (8 * (there[-1] - there[1]) - there[-2] + there[2]) / (12 * step[column])
        assert distance(found[free], whole[free, column], whole[free, column]) < 1e-6
    assert distance(whole, whole.T, whole) > 1e-6  # out of balance it is not symmetric


def loaded(k: int) -> Equilibrium:
    """The rich panel pushed by a follower pressure and pulled at its washers, by many thicknesses."""
    eq = rich(k)
    shell = eq.shell
    pressure = ElementLoads(np.full((shell.layout.ne, shell.layout.tables.nq), -4e4))
    pull = np.asarray(eq.fixings.rows[:3].sum(axis=0)).ravel() * 200.0
    held = Acting(np.zeros(shell.n_total))
    return Equilibrium(shell, held, Acting(pull, pressure), eq.held, eq.extra, eq.fixings)


@pytest.mark.parametrize("k", [2, 3, 4])
def test_at_a_solution_the_predicted_stress_is_that_of_the_state(k):
    """So the matrix that the next step is made with is the exact tangent there."""
    eq = loaded(k)
    path = LoadPath(Newton(eq, tolerance=1e-20))
    point = path.at(1.0)
    assert np.abs(point.pose.u).max() > 3 * 0.002
    assert np.abs(eq.large.vector(point.pose)[eq.large.rotation_unknowns]).max() > 0.2
    after = eq.stepped(point, eq.tangent(point))[0]
    assert after.predicted is not None
    full = [eq._evaluate(p, True)[1] for p in (after, settled(after))]
    assert distance(full[0], full[1], full[1]) < 1e-8
    far = eq.stepped(eq.rest(), eq.tangent(eq.rest()), 1.0)[0]
    full = [eq._evaluate(p, True)[1] for p in (far, settled(far))]
    assert distance(full[0], full[1], full[1]) > 1e-3


@pytest.mark.parametrize("k", [2, 3, 4])
def test_newton_converges_quadratically(k):
    """Order of the last corrections above round-off, from their norms: e₃ ~ e₂^p, e₂ ~ e₁^p."""
    eq = loaded(k)
    start = LoadPath(Newton(eq)).at(0.5)
    point, sizes = start, []
    for step in range(12):
        after, _ = eq.stepped(point, eq.tangent(point), 0.5 if step == 0 else 0.0)
        sizes.append(float(np.linalg.norm(eq.large.between(point.pose, after.pose))))
        point = after
        if sizes[-1] < 1e-9 * sizes[0]:
            break
    sizes = [s for s in sizes if s > 1e-11 * sizes[0]]
    assert len(sizes) > 3
    orders = [np.log(c / b) / np.log(b / a) for a, b, c in zip(sizes, sizes[1:], sizes[2:], strict=False)]
    assert orders[-1] > 1.8


# ------------------------------------------------------------------------------------------------ motion, energy
def strains(large: LargeShell, pose: Pose) -> np.ndarray:
    return np.concatenate([large.at(chunk, pose).strain for chunk in large.chunks])


def energy(large: LargeShell, pose: Pose) -> float:
    out = 0.0
    for chunk in large.chunks:
        strain = large.at(chunk, pose).strain
        out += 0.5 * float(np.vdot(chunk.law(strain[..., None]), strain))
    return out


@pytest.mark.parametrize("k", [2, 3, 4])
def test_turning_a_strained_shell_strains_it_no_further(k):
    """A rigid motion on top of a strained state: the same strains, and all forces turn along."""
    shell = piece(k)
    eq = Equilibrium(shell, *(Acting(np.zeros(shell.n_total)) for _ in range(2)), np.zeros((shell.mesh.nb, 6), bool))
    large, point = eq.large, somewhere(eq)
    turn = rotations(np.array([[1.1, -2.0, 0.7]]))[0]
    moved = turned_whole(shell, turn, (3.0, -1.0, 0.5), point.pose)
    before, after = strains(large, point.pose), strains(large, moved)
    assert np.abs(before).max() > 1e-2
    assert distance(after, before, before) < 1e-11
    forces = eq.forces(point), eq.forces(replace(point, pose=moved))
    for places in (shell.layout.displacement_unknowns, large.rotation_unknowns):
        assert distance(forces[0][places] @ turn.T, forces[1][places], forces[0]) < 1e-10
    rigid = turned_whole(shell, turn, (3.0, -1.0, 0.5), large.rest())
    assert np.abs(strains(large, rigid)).max() < 1e-12


@pytest.mark.parametrize("k", [2, 3, 4])
def test_small_loads_give_the_linear_answer(k):
    """The first step from rest is the linear solution, and a load small enough leaves it at that."""
    shell, rng = piece(k), np.random.default_rng(k)
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    load = shell.traction(np.array([20.0, -30.0, 10.0])) + rng.normal(0, 1e-2, shell.n_total)
    linear = shell.factor(Supports(fixed)).solve(load)
    eq = Equilibrium(shell, Acting(np.zeros(shell.n_total)), Acting(1e-6 * load), fixed)
    step = eq.tangent(eq.rest()).factor.solve(load)[0]
    assert distance(step, linear, linear) < 1e-7
    point = LoadPath(Newton(eq)).at(1.0)
    assert distance(1e6 * eq.large.vector(point.pose), linear, linear) < 1e-4


def test_no_energy_is_gained_on_a_closed_load_path():
    """Load A, then B, then A off, then B off: no work is left over; and half way it is the energy of the strains.

    With F·u summed by parts, the work of a leg is its jump less the integral of u times the leg's own load, which
    twelve Gauss points give to many digits.
    """
    shell = piece(3)
    mesh, n = shell.mesh, shell.n_total
    fixed = marks(shell, (mesh.x[: mesh.nb, 0] < 1e-9, range(6)))
    far = np.flatnonzero(mesh.x[: mesh.nb, 0] > 0.3 - 1e-9)
    loads = np.zeros((2, n))
    loads[0, 6 * far + 2] = 60.0 / len(far)
    loads[1, 6 * far] = 100.0 / len(far)
    loads[1, 6 * far + 2] = 40.0 / len(far)
    points, weights = np.polynomial.legendre.leggauss(12)
    large = LargeShell(shell)
    here = Equilibrium(shell, Acting(loads[0] * 0), Acting(loads[0]), fixed, large=large).rest()
    held, work, ends, sizes = np.zeros(n), 0.0, [], []
    for leg in (loads[0], loads[1], -loads[0], -loads[1]):
        eq = Equilibrium(shell, Acting(held), Acting(leg), fixed, large=large)
        path = LoadPath(Newton(eq, tolerance=1e-22), points=[replace(here, factor=0.0)])
        sweep = np.array([path.at(x).pose.u @ leg for x in 0.5 * (points + 1)])
        here = path.at(1.0)
        held = held + leg
        work -= 0.5 * float(weights @ sweep)
        ends.append(work + float(held @ here.pose.u))
        sizes.append(energy(large, here.pose))
    assert np.abs(here.pose.u).max() < 1e-9
    assert max(sizes) > 0.05
    assert ends[0] == pytest.approx(sizes[0], rel=1e-7)
    assert ends[1] == pytest.approx(sizes[1], rel=1e-7)
    assert abs(ends[3]) < 1e-7 * max(sizes)
    assert abs(ends[1] - ends[0]) > 0.1 * ends[0]


def test_poses_are_kept_past_half_a_turn():
    """Rotations are matrices: ten steps of a third of a turn add up, and the way back undoes them."""
    large = LargeShell(piece(2))
    pose, step = large.rest(), np.zeros(large.shell.n_total)
    step[large.rotation_unknowns] = [0.0, 2 * np.pi / 3, 0.0]
    for _ in range(10):
        pose = large.moved(pose, step)
    assert np.abs(large.vector(pose)[large.rotation_unknowns] - [0, 2 * np.pi / 3, 0]).max() < 1e-12
    assert np.abs(large.between(pose, large.moved(pose, -step)) + step).max() < 1e-12
    assert np.abs(large.pose(large.vector(pose)).turned - pose.turned).max() < 1e-12


def test_moments_alone_find_their_way():
    """No force does work here, so the size of the work must come from the strains: an arc, θ = ML/EI = 1."""
    p, t = grid(4, 1)
    mesh = CurvedMesh.lift(p * [1.0, 0.2], t, 3, lambda q: np.column_stack([q, 0 * q[:, 0]]))
    shell = Shell(mesh, isotropic(7e10, 0.0, 0.002), X_AXIS)
    x = mesh.x[: mesh.nb]
    far = np.flatnonzero(x[:, 0] > 1 - 1e-9)
    far = far[np.argsort(x[far, 1])]
    moment = np.zeros(shell.n_total)
    moment[6 * far + 4] = -7e10 * 0.2 * 0.002**3 / 12 * np.array([1, 3, 3, 1]) / 8  # the weights of a cubic
    eq = Equilibrium(shell, Acting(np.zeros(shell.n_total)), Acting(moment), marks(shell, (x[:, 0] < 1e-9, range(6))))
    point = LoadPath(Newton(eq)).at(1.0)
    assert point.pose.u[6 * far] == pytest.approx(np.sin(1.0) - 1.0, rel=1e-3)
    assert point.pose.u[6 * far + 2] == pytest.approx(1.0 - np.cos(1.0), rel=1e-3)


# ------------------------------------------------------------------------------------------------ factor with rows
def bordered(
    k: int, seed: int, tail: bool, symmetric: bool = True
) -> tuple[Bordered, np.ndarray, np.ndarray, np.ndarray, Rows]:
    """A shell's own matrices plus noise, springs that push, rigid and elastic rows on boundary and inner unknowns."""
    shell, rng = piece(k), np.random.default_rng(seed)
    n = shell.n_total
    eq = Equilibrium(shell, Acting(np.zeros(n)), Acting(np.ones(n)), np.zeros((shell.mesh.nb, 6), bool))
    full = eq._evaluate(eq.rest(), True)[1].copy()
    noise = rng.normal(0, 1, full.shape) * 1e-3 * np.abs(full).max(axis=(1, 2), keepdims=True)
    full += noise + noise.swapaxes(1, 2) if symmetric else noise
    full = np.where((np.arange(len(full)) == 3)[:, None, None], 0.0, full)  # one element is gone
    held = (rng.uniform(size=shell.n_boundary) < 0.1) | ~np.isin(
        np.arange(shell.n_boundary), shell.layout.boundary_unknowns[np.arange(8) != 3]
    )
    springs = rng.normal(0, 0.3, shell.n_boundary) * np.abs(full).max() * (rng.uniform(size=shell.n_boundary) < 0.2)
    extra = sparse.csr_array(sparse.diags_array(springs))
    columns = eq.large.unknowns[np.arange(8) != 3].ravel()
    H = np.zeros((7, n))
    for row in H:
        some = rng.choice(columns, 9)
        row[some] = rng.normal(size=9)
    H[5, :] = 0.0
    H[5, rng.choice(columns[columns >= shell.n_boundary], 4)] = 1.0  # on inner unknowns alone
    give = np.array([0.0, 1e-9, 0.0, 1e-7, 2e-8, 0.0, 1e-6])
    rows = Rows.of(sparse.csr_array(H), give)
    if tail:
        coupling = np.zeros((7, 2))
        coupling[2:5, 0], coupling[6, 1] = [-1.0, -0.8, -0.9], -1.0
        rows = Rows(rows.rows, give, coupling, np.array([0.0, 1e6]))
    factor = Bordered(shell.layout, full, held, extra, rows)
    whole = dense(eq, full, extra)
    free = np.ones(n, bool)
    free[: len(held)] = ~held
    free &= whole.any(axis=0)
    return factor, whole, free, H, rows


@pytest.mark.parametrize("symmetric", [True, False])
@pytest.mark.parametrize("tail", [False, True])
@pytest.mark.parametrize("k", [2, 3, 4])
def test_factor_with_rows_solves_as_dense_algebra_does(k, tail, symmetric):
    factor, whole, free, H, rows = bordered(k, 10 + k, tail, symmetric)
    m, ns, nf, n = len(H), len(rows.tail), int(free.sum()), len(whole)
    big = np.block(
        [
            [whole[np.ix_(free, free)], H[:, free].T, np.zeros((nf, ns))],
            [H[:, free], -np.diag(rows.give), rows.coupling],
            [np.zeros((ns, nf)), rows.coupling.T, np.diag(rows.tail)],
        ]
    )
    rng = np.random.default_rng(k)
    load, target, end = rng.normal(size=(n, 2)), rng.normal(0, 1e-6, (m, 2)), rng.normal(size=(ns, 2))
    size = np.sqrt(np.abs(np.diag(big)).clip(1e-12))
    size[nf:] = 1.0 / np.sqrt(np.abs(np.diag(whole)).max())
    scaled = np.linalg.solve(big / np.outer(size, size), np.vstack([load[free], target, end]) / size[:, None])
    expected = scaled / size[:, None]
    u, mu, s = factor.solve(load, target, end)
    assert distance(u[free], expected[:nf], expected[:nf]) < 1e-7
    assert not u[: len(factor.held)][factor.held].any()
    assert distance(mu, expected[nf : nf + m], expected[nf : nf + m]) < 1e-7
    if tail:
        assert distance(s, expected[nf + m :], expected[nf + m :]) < 1e-7
    one, mu_one, s_one = factor.solve(load[:, 0], target[:, 0], end[:, 0])
    for single, both in ((one, u), (mu_one, mu), (s_one, s)):
        assert single.shape == both.shape[:1]
        if len(single):
            assert distance(single, both[:, 0], both) < 1e-12


@pytest.mark.parametrize("tail", [False, True])
@pytest.mark.parametrize(("k", "seed"), [(2, 1), (2, 2), (3, 3), (3, 4), (4, 5)])
def test_factor_counts_the_ways_a_held_panel_gives(k, seed, tail):
    """Against the eigenvalues of the matrix on the motions that rigid rows allow, elastic rows added as springs."""
    factor, whole, free, H, rows = bordered(k, seed, tail)
    ns = len(rows.tail)
    K = np.block(
        [
            [whole[np.ix_(free, free)], np.zeros((int(free.sum()), ns))],
            [np.zeros((ns, int(free.sum()))), np.diag(rows.tail)],
        ]
    )
    every = np.hstack([H[:, free], rows.coupling])
    soft = rows.give > 0
    K += every[soft].T @ (every[soft] / rows.give[soft, None])
    kept = null_space(every[~soft])
    expected = int((np.linalg.eigvalsh(kept.T @ K @ kept) < 0).sum())
    assert expected > 2
    assert factor.negatives == expected
