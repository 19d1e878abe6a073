"""Linearised buckling against handbook values, exact series, closed forms, dense solutions, and the path beyond."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import eigh, null_space
from scipy.sparse import csr_array
from shell_problems import X_AXIS, isotropic

from panelfem.errors import ModelError
from panelfem.reference import strut
from panelfem.reference.stiffness import laminate
from panelfem.shell import Shell
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Acting, Equilibrium, Fixings, Shape
from panelfem.shell.lanczos import greatest
from panelfem.shell.large import ElementLoads
from panelfem.shell.linearised import Linearised
from panelfem.shell.stability import buckling, imperfect, stable
from panelfem.shell.supports import edge_springs, fastener_rows
from panelfem.verify import buckling as checks
from panelfem.verify.buckling import EDGES, HELD, PINS, nothing, prestress, pushed
from panelfem.verify.grids import Grid, rectangle


def plate(law, resultants, hold, n=4, k=4, sides=(1.0, 1.0), held_part=None) -> Equilibrium:
    grid = Grid.even(n, n, k, rectangle(*sides))
    shell = Shell(grid.mesh, law, X_AXIS)
    first = nothing(shell) if held_part is None else pushed(grid, shell, held_part)
    return Equilibrium(shell, first, pushed(grid, shell, resultants), grid.supports(HELD[hold], PINS).fixed)


# ------------------------------------------------------------------------------------------------------------ checks
@pytest.mark.parametrize(
    ("problems", "printed", "within"),
    [
        (checks.plates, 6, 1e-4),  # thin plates of the book
        (checks.laminates, 3, 1e-5),  # the printed ones have less of the prestress: 0.9 %
        (checks.cylinder, 0, 2e-4),
        (checks.ring, 2, 3e-4),
        (checks.sublaminate, 1, 1e-4),
        (checks.washers, 0, 1e-6),
        (checks.beyond, 2, 5e-4),
    ],
)
def test_checks_with_a_source(problems, printed, within):
    """Those of `panelfem verify`, each with its source there: ours against the reference, and what was printed."""
    rows = list(problems(4))
    assert [row.error for row in rows] == pytest.approx(np.zeros(len(rows)), abs=within)
    books = [row for row in rows if row.printed is not None]
    assert len(books) == printed
    assert [row.ours for row in books] == pytest.approx([row.printed for row in books], rel=1e-2)


def test_beyond_buckling_it_is_stable_again():
    path, _ = checks.supported_square(3, "straight")
    points = [path.at(level) for level in (0.9, 0.98, 1.0, 1.02, 1.04)]
    assert [stable(path.equilibrium, point) for point in points] == [0] * len(points)
    middle = [
        np.abs(point.pose.u[path.equilibrium.shell.layout.displacement_unknowns[..., 2]]).max() for point in points
    ]
    assert (np.diff(middle) > 0).all()
    assert middle[-1] > 100 * checks.INITIAL * checks.THIN


def test_a_long_plate_has_its_modes_in_order():
    """a/b = 2, supported: (m b/a + a/(m b))² for m = 2, 3, 4, 1: 4, 4.694, 6.25, 6.25; h/b = .002."""
    law = isotropic(1.0, 0.3, 2e-3)
    grid = Grid.even(8, 4, 4, rectangle(2.0, 1.0))
    shell = Shell(grid.mesh, law, X_AXIS)
    pushes = pushed(grid, shell, (-1.0, 0.0, 0.0))
    eq = Equilibrium(shell, nothing(shell), pushes, grid.supports(HELD["supported"], PINS).fixed)
    found = buckling(eq, eq.rest(), 3)
    k = found.factors / np.pi**2 / law[3, 3]
    assert k == pytest.approx([4.0, 4.6944, 6.25, 6.25], rel=3e-4)  # the third comes with its like
    assert found.counted > found.factors[-1]


def test_from_a_held_tension_and_from_half_way():
    """Supported square under held Ny = N: Nx (m/a)² + Ny (n/b)² = π² D ((m/a)² + (n/b)²)² (textbook)."""
    law = isotropic(1.0, 0.3, 2e-3)
    unit = np.pi**2 * law[3, 3]
    eq = plate(law, (-unit, 0.0, 0.0), "supported", n=6, held_part=(0.0, 2 * unit, 0.0))
    path = LoadPath(Newton(eq))
    found = buckling(eq, path.held(), 2).factors
    exact = sorted((m * m + 1) ** 2 / m**2 + 2 / m**2 for m in range(1, 5))[:2]
    assert found[:2] == pytest.approx(exact, rel=2e-4)
    half = path.at(0.5 * found[0])
    assert buckling(eq, half, 2).factors == pytest.approx(found, rel=5e-5)  # but for the strain there
    assert stable(eq, half) == 0
    assert stable(eq, path.at(0.5 * (found[0] + found[1]))) == 1  # the flat state beyond buckling
    with pytest.raises(ModelError, match="already give in 1 way "):
        buckling(eq, path.at(0.5 * (found[0] + found[1])))


# ------------------------------------------------------------------------------------------------------------ struts
LENGTH, WIDTH = 1.0, 0.05


def strip(h: float, n: int = 8, k: int = 4) -> tuple[Grid, Shell]:
    grid = Grid.even(n, 1, k, rectangle(LENGTH, WIDTH))
    return grid, Shell(grid.mesh, isotropic(1.0, 0.0, h), X_AXIS)


def hinged(grid: Grid) -> np.ndarray:
    return grid.supports({"everywhere": ("uy", "rx", "rz"), "s0": ("ux", "uz"), "s1": ("uz",)}).fixed


def test_strut_on_hinges_and_rotational_springs():
    """ν = 0: π² EI/L², with shear (Engesser); with springs along the end edges, and as rows: tan y = −2 y EI/(c L)."""
    h = 0.01
    grid, shell = strip(h)
    bending, shear = WIDTH * h**3 / 12, 5 / 12 * WIDTH * h
    push = Acting(grid.line_load(shell, "s1", np.array([-1.0 / WIDTH, 0.0, 0.0])))
    eq = Equilibrium(shell, nothing(shell), push, hinged(grid))
    assert buckling(eq, eq.rest(), 1).factors[0] == pytest.approx(
        strut.sprung_ends(bending, LENGTH, 0.0, shear), rel=1e-6
    )
    ends = [grid.edges[e][np.argsort(grid.par[grid.edges[e], 1])] for e in ("s0", "s1")]
    for c in (0.5, 5.0, 500.0):
        spring = c * bending / LENGTH
        exact = strut.sprung_ends(bending, LENGTH, spring, shear)
        springs = edge_springs(grid.mesh, np.array(ends), rotation=spring / WIDTH)
        eq = Equilibrium(shell, nothing(shell), push, hinged(grid), springs)
        assert buckling(eq, eq.rest(), 1).factors[0] == pytest.approx(exact, rel=1e-5)
        rows = np.zeros((2, shell.n_total))
        for row, nodes in zip(rows, ends, strict=True):
            share = np.array([springs[6 * i + 4].sum() for i in nodes])
            row[6 * nodes + 4] = share / share.sum()
        fixings = Fixings(csr_array(rows), np.full(2, spring), np.zeros(2))
        eq = Equilibrium(shell, nothing(shell), push, hinged(grid), None, fixings)
        assert buckling(eq, eq.rest(), 1).factors[0] == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize("stiffness", [20.0, 100.0, 200.0])
def test_strut_with_a_sprung_prop(stiffness):
    """A lateral spring at the middle; from k = 16 π² EI/L³ on it stays at rest and the second mode is the first."""
    h = 2e-3
    grid, shell = strip(h)
    bending = WIDTH * h**3 / 12
    push = Acting(grid.line_load(shell, "s1", np.array([-1.0 / WIDTH, 0.0, 0.0])))
    middle = np.flatnonzero(np.abs(grid.mesh.x[: grid.mesh.nb, 0] - LENGTH / 2) < 1e-9)
    middle = middle[np.argsort(grid.mesh.x[middle, 1])]
    spring = stiffness * bending / LENGTH**3
    props = edge_springs(grid.mesh, middle[None], translation=spring / WIDTH, normals=np.array([[0.0, 0.0, 1.0]]))
    eq = Equilibrium(shell, nothing(shell), push, hinged(grid), props)
    assert buckling(eq, eq.rest(), 1).factors[0] == pytest.approx(strut.propped(bending, LENGTH, spring), rel=2e-5)


# ------------------------------------------------------------------------------------------ the solver and the counts
def test_greatest_against_dense():
    rng = np.random.default_rng(3)
    n = 60
    a = rng.standard_normal((n, n))
    a = a @ a.T + 0.1 * np.eye(n)
    g = np.zeros((n, n))
    g[:40, :40] = rng.standard_normal((40, 40))
    g = g + g.T
    exact = eigh(g, a, eigvals_only=True)[::-1]
    values, vectors = greatest(lambda f: np.linalg.solve(a, f), lambda v: g @ v, n, 5)
    assert values[:5] == pytest.approx(exact[:5], rel=1e-9)
    assert vectors.T @ a @ vectors == pytest.approx(np.eye(len(values)), abs=1e-8)
    every, _ = greatest(lambda f: np.linalg.solve(a, f), lambda v: g @ v, n, n)
    positive = exact[exact > 1e-9]
    assert every == pytest.approx(positive, rel=1e-6)
    none, _ = greatest(lambda f: np.linalg.solve(a, f), lambda v: 0.0 * v, n, 2)
    assert len(none) == 0


def held_all_ways() -> Equilibrium:
    """A small curved panel with a corner gone, fixed, sprung and fastened, pushed and pressed."""
    rng = np.random.default_rng(5)
    grid = Grid.even(4, 3, 2, lambda s, t: np.stack([s, 0.8 * t, 0.2 * s * (1 - s) + 0.1 * t * t], axis=1))
    active = ~grid.within((0.75, 1.0), (0.6, 1.0))
    law = laminate(20, 1, 0.3, 0.5, 0.5, 0.4, [(30, 0.01), (-10, 0.02)])
    shell = Shell(grid.mesh, law, X_AXIS, active)
    washers = [grid.within((0.5, 0.75), (0.0, 0.34)), grid.within((0.0, 0.25), (0.66, 1.0))]
    rows = fastener_rows(shell, washers, np.array([[0.0, 0.0, 1.0]] * 2)).rows
    k = np.array([np.inf, np.inf, np.inf, 1e-3, 0.0, np.inf, 0.5, 0.2, np.inf, np.inf, 1e-4, 0.0])
    edge = grid.edges["t0"][np.argsort(grid.par[grid.edges["t0"], 0])]
    along = np.array([edge[i : i + 3] for i in range(0, 8, 2)])
    springs = edge_springs(grid.mesh, along, translation=0.02, rotation=1e-4)
    load = shell.traction(lambda x, n: np.stack([-1 - x[..., 1], 0.3 * x[..., 0], 0.1 + 0 * x[..., 0]], axis=-1))
    elements = ElementLoads(pressure=0.2 * rng.random((shell.layout.ne, len(shell.quadrature()[0]))))
    fixed = grid.supports({"s0": ("ux", "uz")}).fixed
    return Equilibrium(shell, nothing(shell), Acting(load, elements), fixed, springs, Fixings(rows, k, np.zeros(12)))


def dense(eq: Equilibrium, line: Linearised) -> np.ndarray:
    """All positive factors from rest by a dense solution in what fixed unknowns and rigid rows leave."""
    n, unknowns = eq.shell.n_total, eq.large.unknowns
    found = eq.symmetric(eq.rest())
    full, springs = found.full, found.extra
    K = np.zeros((n, n))
    for matrix, at in zip(full, unknowns, strict=True):
        K[np.ix_(at, at)] += matrix
    nb = eq.shell.n_boundary
    K[:nb, :nb] += springs.toarray()
    change = np.stack([line.change(v[:, None])[:, 0] for v in np.eye(n)], axis=1)
    rows, k = eq.fixings.rows.toarray(), eq.fixings.k
    soft = np.isfinite(k)
    K += rows[soft].T @ (k[soft, None] * rows[soft])
    used = np.abs(K).sum(axis=0) > 0
    used[:nb] &= ~eq.held
    left = np.eye(n)[:, used]
    left = left @ null_space(rows[~soft] @ left)
    mu = eigh(-left.T @ change @ left, left.T @ K @ left, eigvals_only=True)[::-1]
    return np.asarray(1 / mu[mu > 1e-9 * mu[0]])


def test_every_way_of_holding_against_a_dense_solution():
    eq = held_all_ways()
    line = Linearised(eq, eq.rest())
    exact = dense(eq, line)
    found = buckling(eq, eq.rest(), 6)
    assert found.factors[:6] == pytest.approx(exact[:6], rel=1e-8)
    for mode in found.modes:  # each satisfies K φ = 0 between rows that hold it
        for factor, ways in ((1 - 1e-6, 0), (1 + 1e-6, 1)):
            assert line.at(factor * mode.factor).negatives == (exact < mode.factor * (1 - 1e-7)).sum() + ways
    between = 0.5 * (exact[2] + exact[3])
    assert len(buckling(eq, eq.rest(), 6, within=between).modes) == 3
    below = buckling(eq, eq.rest(), within=0.9 * exact[0])
    assert below.modes == ()
    assert below.counted == pytest.approx(0.9 * exact[0])


def test_the_amount_of_the_load_and_where_it_lies_do_not_matter():
    law, turn = isotropic(1.0, 0.3, 0.02), np.linalg.qr(np.random.default_rng(1).standard_normal((3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    grid = Grid.even(3, 3, 3, lambda s, t: np.stack([s, t, 0.1 * s * t + 0.2 * s * s], axis=1))
    found = []
    for amount, turned in ((1.0, np.eye(3)), (1e6, np.eye(3)), (1.0, turn)):
        mesh = grid.mesh.moved(grid.mesh.x @ turned.T)
        shell = Shell(mesh, law, turned @ X_AXIS)
        force = amount * turned @ np.array([-1.0, 0.2, 0.1])
        fixed = np.zeros((mesh.nb, 6), bool)
        fixed[np.concatenate([grid.edges["s0"]])] = True
        eq = Equilibrium(shell, nothing(shell), Acting(grid.line_load(shell, "s1", force)), fixed)
        result = buckling(eq, eq.rest(), 3)
        found.append((amount * result.factors, result.modes[0].place @ turned, result.modes[0].spread))
    for factors, place, spread in found[1:]:
        assert factors == pytest.approx(found[0][0], rel=1e-7)
        assert place == pytest.approx(found[0][1], abs=1e-9)
        assert spread == pytest.approx(found[0][2], rel=1e-9)


def test_whole_derivative_is_that_of_the_tangent():
    """Against differences of the exact tangent along the path, from a bent, stressed, pressed start."""
    grid = Grid.even(3, 3, 3, lambda s, t: np.stack([s, t, 0.1 * np.sin(np.pi * s) * np.sin(np.pi * t)], axis=1))
    shell = Shell(grid.mesh, isotropic(1e3, 0.3, 0.02), X_AXIS)
    even = np.ones((shell.layout.ne, len(shell.quadrature()[0])))
    push = shell.traction(np.array([0.1, 0.0, 0.0]))
    free = np.tile([0.05, 0, 0, 1e-3, 0, 0, 2e-3, 0], (shell.layout.ne, 1))
    held = dict.fromkeys(EDGES, ("ux", "uy", "uz"))
    eq = Equilibrium(
        shell,
        Acting(push, ElementLoads(0.02 * even)),
        Acting(push, ElementLoads(0.01 * even, free)),
        grid.supports(held).fixed,
    )
    start = LoadPath(Newton(eq, tolerance=1e-20)).at(1.0)
    line = Linearised(eq, start, displaced=True)
    v = np.random.default_rng(0).standard_normal(shell.n_total)
    v[: shell.n_boundary][eq.held] = 0.0

    def product(side: float) -> np.ndarray:
        pose = eq.large.moved(start.pose, side * line.rate)
        full = eq.symmetric(replace(start, factor=start.factor + side, pose=pose)).full
        out = np.zeros(shell.n_total)
        np.add.at(out, eq.large.unknowns, (full @ v[eq.large.unknowns][..., None])[..., 0])
        out[: shell.n_boundary][eq.held] = 0.0
        return out

    step = 1e-3
    difference = (product(step) - product(-step)) / (2 * step)
    ours = line.change(v[:, None])[:, 0]
    assert np.linalg.norm(ours - difference) < 1e-7 * np.linalg.norm(difference)


def test_a_cap_that_bends_first():
    """Hinged cap under pressure: the stress alone says too much, the whole derivative too little, less so from near."""
    grid = Grid.even(4, 4, 3, lambda s, t: np.stack([s, t, 0.05 * np.sin(np.pi * s) * np.sin(np.pi * t)], axis=1))
    shell = Shell(grid.mesh, isotropic(1e3, 0.3, 0.01), X_AXIS)
    even = np.ones((shell.layout.ne, len(shell.quadrature()[0])))
    fixed = grid.supports(dict.fromkeys(EDGES, ("ux", "uy", "uz"))).fixed
    eq = Equilibrium(shell, nothing(shell), Acting(np.zeros(shell.n_total), ElementLoads(even)), fixed)
    guess = buckling(eq, eq.rest(), 1).factors[0]
    path = LoadPath(Newton(eq), first=0.1 * guess)
    assert stable(eq, path.at(0.64 * guess)) == 0
    assert stable(eq, path.at(0.72 * guess)) == 1
    both = [
        [buckling(eq, path.at(share * guess), 1, displaced=d).factors[0] / guess for d in (False, True)]
        for share in (0.0, 0.3, 0.6)
    ]
    above, below = np.array(both).T
    assert (above > 0.64).all()
    assert (below < 0.72).all()
    assert (np.diff(above) < 0).all()
    assert (np.diff(below) > 0).all()
    assert above[-1] - below[-1] < 0.2


def test_what_does_not_buckle():
    law = isotropic(1.0, 0.3, 0.01)
    eq = plate(law, (1.0, 1.0, 0.0), "supported", k=3)  # tension
    assert buckling(eq, eq.rest(), within=1.0).modes == ()
    still = Equilibrium(eq.shell, nothing(eq.shell), nothing(eq.shell), eq.held.reshape(-1, 6))
    with pytest.raises(ModelError, match="change nothing"):
        buckling(still, still.rest())
    for count, within in ((0, 1.0), (1, 0.0), (1, float("nan"))):
        with pytest.raises(ModelError, match="are asked for"):
            buckling(eq, eq.rest(), count, within)


def test_contact_is_kept():
    """A strut pushed against a rigid stop at its middle, which it touches: the stop takes the first mode away."""
    h = 2e-3
    grid, shell = strip(h)
    push = grid.line_load(shell, "s1", np.array([-1.0 / WIDTH, 0.0, 0.0]))
    middle = np.flatnonzero(np.abs(grid.mesh.x[: grid.mesh.nb, 0] - LENGTH / 2) < 1e-9)
    rows = np.zeros((len(middle), shell.n_total))
    rows[range(len(middle)), 6 * middle + 2] = 1.0
    stop = Shape(csr_array(rows), np.zeros(len(middle)), np.ones(len(middle)), "advance", 1e-7, None, False)
    eq = Equilibrium(shell, nothing(shell), Acting(push), hinged(grid), None, None, (stop,))
    held = LoadPath(Newton(eq)).held()
    assert held.touching.any()
    euler = np.pi**2 * WIDTH * h**3 / 12
    assert buckling(eq, held, 1).factors[0] / euler == pytest.approx(4.0, rel=1e-3)


# ------------------------------------------------------------------------------------- shapes, imperfections, the path
def test_a_local_mode_is_named():
    """A thin square in one corner of a plate held in its plane buckles there, and nowhere else."""
    grid = Grid.even(8, 8, 3, rectangle(1.0, 1.0))
    thin = grid.within((0.625, 0.875), (0.125, 0.375))
    law = np.where(thin[:, None, None], isotropic(1.0, 0.3, 1e-3), isotropic(1.0, 0.3, 0.02))
    shell = Shell(grid.mesh, law, X_AXIS)
    edges = dict.fromkeys(EDGES, ("uz", "rx", "ry"))
    eq = Equilibrium(shell, nothing(shell), prestress(shell, (-1.0, -1.0, 0.0)), grid.supports(edges, PINS).fixed)
    local = buckling(eq, eq.rest(), 1).modes[0]
    assert local.spread < 0.0625 + 1e-9
    assert thin[local.element]
    assert local.place == pytest.approx([0.75, 0.25, 0.0], abs=0.05)
    assert local.direction == pytest.approx([0.0, 0.0, 1.0], abs=1e-6)
    assert np.abs(local.shape[shell.layout.displacement_unknowns]).max() == pytest.approx(1.0)
    even = plate(isotropic(1.0, 0.3, 0.01), (-1.0, 0.0, 0.0), "supported")
    assert buckling(even, even.rest(), 1).modes[0].spread > 0.5


def test_an_imperfection_has_its_amount():
    grid = Grid.even(3, 3, 3, lambda s, t: np.stack([s, t, 0.3 * s * s], axis=1))
    shell = Shell(grid.mesh, isotropic(1.0, 0.3, 0.01), X_AXIS)
    fixed = np.zeros((grid.mesh.nb, 6), bool)
    fixed[grid.edges["s0"]] = True
    eq = Equilibrium(shell, nothing(shell), Acting(grid.line_load(shell, "s1", np.array([-1.0, 0, 0]))), fixed)
    shape = buckling(eq, eq.rest(), 1).modes[0].shape
    for amount in (1e-3, -1e-3):
        mesh = imperfect(shell, 7.0 * shape, amount)
        moved = mesh.x - shell.mesh.x
        normal = np.stack([-0.6 * shell.mesh.x[:, 0], 0 * moved[:, 0], np.ones(len(moved))], axis=1)
        along = np.sum(moved * normal / np.linalg.norm(normal, axis=1, keepdims=True), axis=1)
        assert along[np.abs(along).argmax()] == pytest.approx(amount, rel=1e-6)
        assert (mesh.nodes == shell.mesh.nodes).all()
    stretched = np.zeros(shell.n_total)
    stretched[shell.layout.displacement_unknowns[..., 1]] = shell.layout.x[..., 1]
    with pytest.raises(ModelError, match="does not leave"):
        imperfect(shell, stretched, 1e-3)
