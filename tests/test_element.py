"""The shell element: zero modes, patch tests, invariances, and what the solver refuses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.spatial.transform import Rotation
from shell_problems import X_AXIS, flat, grid, isotropic, marks, orthotropic, stiffness, turned

from panelfem.errors import MeshError, ModelError
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import lattice
from panelfem.shell import Shell, Supports
from panelfem.shell import assembly as assembly_module
from panelfem.shell.element import full_stiffness
from panelfem.shell.rigid import rigid_motions

ORDERS = (2, 3, 4, 5, 6)
POINTS = np.array([[0.2, 0.6, 0.05], [0.3, 0.1, 0.9]])


def eccentric() -> np.ndarray:
    """Angle plies on one side of the reference surface: every coupling is there."""
    law, shear = orthotropic(140e9, 10e9, 0.3, 5e9), np.diag([5e9, 3.5e9])
    return stiffness([(*turned(law, shear, a), 5e-4) for a in (0.0, 30.0, 75.0)], bottom=1e-3)


def dish(p: np.ndarray) -> np.ndarray:
    """A doubly curved surface over the unit square."""
    x, y = p.T
    return np.column_stack([x, y, 0.3 * x**2 - 0.2 * x * y + 0.15 * y**2 + 0.1 * np.sin(x + 2 * y)])


def bowl(k: int, n: int = 2, law: np.ndarray | None = None, distort: float = 0.2) -> Shell:
    p, t = grid(n, n, distort)
    return Shell(CurvedMesh.lift(p, t, k, dish), eccentric() if law is None else law, X_AXIS)


def all_unknowns(shell: Shell, u, theta) -> np.ndarray:
    """Unknowns (n_total,) of displacement and rotation fields of position, (n, 3) -> (n, 3) each."""
    layout, out = shell.layout, np.zeros(shell.n_total)
    k = shell.mesh.order
    out[layout.displacement_unknowns] = u(layout.x.reshape(-1, 3)).reshape(layout.x.shape)
    nodes = layout.tables.triangle.displacement(layout.tables.triangle.rotation.nodes)[0]
    x = nodes @ layout.x
    out[layout.rotation_unknowns] = theta(x.reshape(-1, 3)).reshape(x.shape)
    assert nodes.shape[1] == (k + 1) * (k + 2) // 2
    return out


def rigid(shell: Shell, motion: np.ndarray) -> np.ndarray:
    shift, turn = motion[:3], motion[3:]
    return all_unknowns(shell, lambda x: shift + np.cross(turn, x), lambda x: np.broadcast_to(turn, x.shape))


def internal(shell: Shell, u: np.ndarray) -> np.ndarray:
    """Internal forces (nb, 6) of displacements whose inner unknowns are in balance."""
    matrices, layout = shell.element_matrices(), shell.layout
    return layout.scatter(matrices.stiffness @ layout.gather(u[:, None])).reshape(-1, 6)


def rounding(shell: Shell, u: np.ndarray) -> float:
    """Force that the cancelling of the greatest stiffness times displacement leaves by rounding."""
    return 1e-12 * float(np.abs(shell.element_matrices().stiffness).max() * np.abs(u).max())


# ------------------------------------------------------------------------------------------------ zero modes
@pytest.mark.parametrize("k", ORDERS)
def test_a_curved_element_has_six_zero_modes(k):
    corners = np.array([[0.1, 0.0], [1.0, 0.2], [0.3, 0.9]])
    mesh = CurvedMesh.lift(corners, np.array([[0, 1, 2]]), k, dish)
    shell = Shell(mesh, isotropic(70e9, 0.3, 0.1), X_AXIS)
    matrix = full_stiffness(shell.layout.tables, shell.layout.x, shell.stiffness, shell.axis)[0]
    scale = 1 / np.sqrt(matrix.diagonal())
    values = np.linalg.eigvalsh(matrix * scale[:, None] * scale)
    assert np.abs(values[:6]).max() < 1e-11 * values[-1]
    assert values[6] > 1e-6 * values[-1]


@settings(deadline=None, max_examples=12)
@given(st.sampled_from(ORDERS), st.lists(st.floats(-1, 1), min_size=6, max_size=6))
def test_a_rigid_motion_gives_no_strain_and_no_force(k, motion):
    shell = bowl(k)
    u = rigid(shell, np.array(motion))
    assert np.abs(shell.strains(u, POINTS)).max() < 1e-10
    scale = np.abs(shell.element_matrices().stiffness).max()
    assert np.abs(internal(shell, u)).max() < 1e-10 * scale


# ------------------------------------------------------------------------------------------------ patch tests
def patch(k: int, tilt: Rotation) -> Shell:
    p, t = grid(3, 3, 0.25, seed=4)
    return Shell(CurvedMesh.lift(p, t, k, lambda q: tilt.apply(flat(q))), eccentric(), tilt.apply(X_AXIS))


def inner_nodes(shell: Shell, tilt: Rotation) -> np.ndarray:
    x = tilt.inv().apply(shell.mesh.x[: shell.mesh.nb])[:, :2]
    return ((x > 1e-9) & (x < 1 - 1e-9)).all(axis=1)


def states(tilt: Rotation):
    """Displacement, rotation and strain of constant membrane and bending states on the tilted plane."""
    e = np.array([1.1e-3, -0.7e-3, 0.9e-3])
    c = np.array([0.8, -0.5, 0.6])

    def local(u, theta):
        return (lambda x: tilt.apply(u(tilt.inv().apply(x))), lambda x: tilt.apply(theta(tilt.inv().apply(x))))

    def membrane(x):
        return np.column_stack([e[0] * x[:, 0] + e[2] * x[:, 1] / 2, e[1] * x[:, 1] + e[2] * x[:, 0] / 2, 0 * x[:, 0]])

    def bending(x):
        w = -(c[0] * x[:, 0] ** 2 + c[1] * x[:, 1] ** 2 + c[2] * x[:, 0] * x[:, 1]) / 2
        return np.column_stack([0 * w, 0 * w, w])

    def turn(x):  # β = −grad w so that there is no shear; β1 = θ2, β2 = −θ1
        beta1, beta2 = c[0] * x[:, 0] + c[2] * x[:, 1] / 2, c[1] * x[:, 1] + c[2] * x[:, 0] / 2
        return np.column_stack([-beta2, beta1, 0 * x[:, 0]])

    zero = np.zeros_like
    return {
        "membrane": (*local(membrane, zero), np.r_[e, 0, 0, 0, 0, 0]),
        "bending": (*local(bending, turn), np.r_[0, 0, 0, c, 0, 0]),
    }


@pytest.mark.parametrize("k", ORDERS)
@pytest.mark.parametrize("state", ["membrane", "bending"])
def test_patch_of_constant_strain(k, state):
    tilt = Rotation.from_rotvec([0.4, -0.7, 0.3])
    shell = patch(k, tilt)
    u, theta, strain = states(tilt)[state]
    values = all_unknowns(shell, u, theta)
    found = shell.strains(values, POINTS)
    assert np.abs(found - strain).max() < 1e-9 * np.abs(strain).max()
    force = internal(shell, values)[inner_nodes(shell, tilt)]
    assert np.abs(force).max() < rounding(shell, values)
    assert np.abs(internal(shell, values)).max() > 1e3 * rounding(shell, values)


@pytest.mark.parametrize("k", ORDERS)
def test_patch_of_constant_shear_strain(k):
    """w = γ·x without turning: constant shear strain; only the moments it takes to hold the turning are left."""
    shell = patch(k, Rotation.identity())
    gamma = np.array([2e-3, -1e-3])
    values = all_unknowns(shell, lambda x: np.column_stack([0 * x[:, :2], x[:, :2] @ gamma]), np.zeros_like)
    found = shell.strains(values, POINTS)
    assert np.abs(found - np.r_[np.zeros(6), gamma]).max() < 1e-12
    full = full_stiffness(shell.layout.tables, shell.layout.x, shell.stiffness, shell.axis)
    layout, m = shell.layout, 3 * k
    moves, turns = layout.displacement_unknowns.swapaxes(1, 2), layout.rotation_unknowns.swapaxes(1, 2)
    parts = (moves[:, :, :m], turns[:, :, :m], moves[:, :, m:], turns[:, :, m:])
    order = np.concatenate([part.reshape(layout.ne, -1) for part in parts], axis=1)
    force = np.bincount(order.ravel(), (full @ values[order][..., None]).ravel(), shell.n_total)
    nodal = force[: shell.n_boundary].reshape(-1, 6)
    inside = inner_nodes(shell, Rotation.identity())
    assert np.abs(nodal[inside, :3]).max() < 1e-9 * np.abs(nodal).max()
    q = shell.stiffness[0, 6:, 6:] @ gamma  # moments sum to Q × area: β1 = θ2, β2 = −θ1
    total = np.zeros(3)
    for c in range(3):
        total[c] = force[np.unique(layout.rotation_unknowns[:, :, c])].sum()
    assert total == pytest.approx([-q[1], q[0], 0.0], rel=1e-9, abs=1e-9 * np.abs(q).max())


@pytest.mark.parametrize("k", [3, 4, 5, 6])
def test_patch_of_linear_bending_with_its_shear(k):
    """Cylindrical bending by an end force, M linear and Q constant, is met exactly from order 3."""
    law = isotropic(70e9, 0.0, 0.01)
    p, t = grid(3, 3, 0.25, seed=4)
    shell = Shell(CurvedMesh.lift(p, t, k, flat), law, X_AXIS)
    D, S, c = law[3, 3], law[6, 6], 0.4

    # β1 = c x²/2, M = D c x, Q = D c, w,x = Q/S − β1
    def u(x):
        return np.column_stack([0 * x[:, 0], 0 * x[:, 0], D * c / S * x[:, 0] - c * x[:, 0] ** 3 / 6])

    values = all_unknowns(shell, u, lambda x: np.column_stack([0 * x[:, 0], c * x[:, 0] ** 2 / 2, 0 * x[:, 0]]))
    strain = shell.strains(values, POINTS)
    x = np.einsum("pn,enc->epc", shell.layout.tables.triangle.displacement(POINTS)[0], shell.layout.x)[..., 0]
    assert np.abs(strain[..., 3] - c * x).max() < 1e-10
    assert np.abs(strain[..., 6] - D * c / S).max() < 1e-10
    force = internal(shell, values)
    assert np.abs(force[inner_nodes(shell, Rotation.identity())]).max() < rounding(shell, values)
    assert np.abs(force).max() > 1e3 * rounding(shell, values)


# ------------------------------------------------------------------------------------------------ invariances
def held_bowl(shell: Shell, fixed: np.ndarray, load) -> np.ndarray:
    return shell.factor(Supports(fixed)).solve(load)


@settings(deadline=None, max_examples=6)
@given(st.sampled_from((2, 3, 4)), st.lists(st.floats(-3, 3), min_size=3, max_size=3))
def test_turning_everything_changes_nothing(k, rotation):
    turn = Rotation.from_rotvec(rotation)
    first = bowl(k)
    fixed = marks(first, (first.mesh.x[: first.mesh.nb, 0] < 1e-9, range(6)))
    u = held_bowl(first, fixed, first.traction(np.array([1.0, 2.0, -3.0])))
    other = Shell(first.mesh.moved(turn.apply(first.mesh.x)), first.stiffness, turn.apply(first.axis))
    v = held_bowl(other, fixed, other.traction(turn.apply([1.0, 2.0, -3.0])))
    expected = turn.apply(u[: first.n_boundary].reshape(-1, 3)).ravel()
    assert np.abs(v[: first.n_boundary] - expected).max() < 1e-7 * np.abs(expected).max()
    e, f = first.strains(u, POINTS), other.strains(v, POINTS)
    assert np.abs(f - e).max() < 1e-7 * np.abs(e).max()


@settings(deadline=None, max_examples=6)
@given(st.sampled_from((2, 3, 4)), st.integers(0, 1000))
def test_renumbering_changes_nothing(k, seed):
    rng = np.random.default_rng(seed)
    p, t = grid(2, 2, 0.2)
    new = rng.permutation(len(p))
    q = np.empty_like(p)
    q[new] = p
    shuffled = rng.permutation(len(t))
    s = np.array([np.roll(new[row], r) for row, r in zip(t[shuffled], rng.integers(0, 3, len(t)), strict=True)])
    deflections = []
    for points, triangles in ((p, t), (q, s)):
        shell = Shell(CurvedMesh.lift(points, triangles, k, dish), eccentric(), X_AXIS)
        fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
        u = held_bowl(shell, fixed, shell.traction(np.array([0, 0, -1.0])))
        corner = np.argmax(shell.mesh.x[: shell.mesh.nb, :2].sum(axis=1))
        deflections.append(u[6 * corner : 6 * corner + 6])
    assert np.abs(deflections[1] - deflections[0]).max() < 1e-7 * np.abs(deflections[0]).max()


@pytest.mark.parametrize("k", [2, 4])
def test_flipping_the_normals_changes_nothing_for_a_symmetric_laminate(k):
    p, t = grid(2, 2, 0.2)
    tips = []
    for triangles in (t, t[:, [0, 2, 1]]):
        shell = Shell(CurvedMesh.lift(p, triangles, k, dish), isotropic(70e9, 0.3, 0.01), X_AXIS)
        fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
        u = held_bowl(shell, fixed, shell.traction(np.array([0, 0, -1.0])))
        corner = np.argmax(shell.mesh.x[: shell.mesh.nb, :2].sum(axis=1))
        tips.append(u[6 * corner : 6 * corner + 3])
    assert tips[1] == pytest.approx(tips[0], rel=1e-9)


# ------------------------------------------------------------------------------------------------ the system
def clamped_bowl(k: int = 3) -> tuple[Shell, Supports]:
    shell = bowl(k)
    return shell, Supports(marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6))))


@pytest.mark.parametrize("k", [2, 4])
def test_sparse_and_dense_factors_agree_and_take_many_loads(k, monkeypatch):
    shell, supports = clamped_bowl(k)
    loads = np.random.default_rng(3).standard_normal((shell.n_total, 5))
    extra = csr_array((np.full(3, 1e7), ([100, 101, 40], [100, 101, 40])), shape=(shell.n_boundary,) * 2)
    supports = Supports(supports.fixed, extra)
    answers = []
    for limit in (10**9, 0):
        monkeypatch.setattr(assembly_module, "DENSE_LIMIT", limit)
        system = shell.factor(supports)
        u = system.solve(loads)
        for i in range(5):
            assert system.solve(loads[:, i]) == pytest.approx(u[:, i], rel=1e-8, abs=1e-9 * np.abs(u[:, i]).max())
        assert np.abs(system.residual(u, loads)).max() < 1e-8 * np.abs(loads).max()
        answers.append(u)
    assert np.abs(answers[1] - answers[0]).max() < 1e-8 * np.abs(answers[0]).max()


@pytest.mark.parametrize("k", [2, 3, 5])
def test_reactions_balance_the_load(k):
    shell, supports = clamped_bowl(k)
    system = shell.factor(supports)
    load = shell.traction(lambda x, n: 5.0 * n + np.array([0, 0, 1.0]) * x[..., :1])
    reaction = system.reactions(system.solve(load), load)
    nodal = reaction[: shell.n_boundary].reshape(-1, 6)
    free = ~supports.fixed
    assert np.abs(nodal[free]).max() < 1e-8 * np.abs(nodal).max()
    motions = np.stack([rigid(shell, row) for row in np.eye(6)])
    work = motions @ load
    moved = rigid_motions(shell.mesh.x[: shell.mesh.nb], np.zeros(3)).reshape(-1, 6)
    assert moved.T @ nodal.ravel() == pytest.approx(-work, rel=1e-7, abs=1e-7 * np.abs(work).max())


def test_traction_on_chosen_elements_and_its_forms_agree():
    shell = bowl(3)
    q = np.array([1.0, -2.0, 3.0])
    some = np.array([0, 3])
    per_element = np.zeros((len(shell.mesh.triangles), 3))
    per_element[some] = q
    first = shell.traction(q, some)
    assert shell.traction(per_element) == pytest.approx(first)
    assert shell.traction(lambda x, n: np.broadcast_to(q, x.shape), some) == pytest.approx(first)
    _, _, _, weight = shell.quadrature()
    total = rigid(shell, np.r_[q, 0, 0, 0]) @ first
    assert total == pytest.approx(q @ q * weight[some].sum())


def test_inactive_elements_drop_out():
    p, t = grid(3, 3)
    gone = np.arange(len(t)) % 5 == 0
    law = eccentric()
    whole = Shell(CurvedMesh.lift(p, t, 3, dish), law, X_AXIS, ~gone)
    rest = Shell(CurvedMesh.lift(p, t[~gone], 3, dish), law, X_AXIS)
    tips = []
    for shell in (whole, rest):
        fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
        u = shell.factor(Supports(fixed)).solve(shell.traction(np.array([0, 0, -1.0])))
        tips.append(u[6 * 15 : 6 * 16])
    assert tips[0] == pytest.approx(tips[1], rel=1e-8)


def test_exchanged_equals_made_afresh():
    shell = bowl(4)
    shell.element_matrices()
    law = np.broadcast_to(shell.stiffness[0], shell.stiffness.shape).copy()
    law[:3] *= 0.3
    active = np.ones(len(law), bool)
    active[5] = False
    quick, fresh = shell.exchanged(law, active), Shell(shell.mesh, law, X_AXIS, active)
    assert quick.layout is shell.layout
    for name in ("stiffness", "flexibility", "transfer"):
        a, b = getattr(quick.element_matrices(), name), getattr(fresh.element_matrices(), name)
        assert np.abs(a - b).max() <= 1e-9 * np.abs(b).max()
    assert shell.element_matrices().stiffness[5].any(), "the first shell keeps its own matrices"


@pytest.mark.parametrize("k", ORDERS)
def test_operators_give_displacement_and_rotation_of_points(k):
    shell = bowl(k)
    rng = np.random.default_rng(k)
    elements = rng.integers(0, len(shell.mesh.triangles), 7)
    bary = rng.dirichlet(np.ones(3), 7)
    turn, shift = np.array([0.2, -0.4, 0.3]), np.array([1.0, 2.0, 3.0])
    u = rigid(shell, np.r_[shift, turn])
    x, normal = shell.points(elements, bary)
    assert (shell.displacement_operator(elements, bary) @ u).reshape(-1, 3) == pytest.approx(shift + np.cross(turn, x))
    assert (shell.rotation_operator(elements, bary) @ u).reshape(-1, 3) == pytest.approx(np.tile(turn, (7, 1)))
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1.0)


# ------------------------------------------------------------------------------------------------ refusals
def refused(shell: Shell, fixed: np.ndarray, extra: csr_array | None = None) -> str:
    with pytest.raises(ModelError) as caught:
        shell.factor(Supports(fixed, extra))
    return str(caught.value)


def sheet(k: int = 2) -> Shell:
    p, t = grid(2, 2)
    return Shell(CurvedMesh.lift(p, t, k, flat), isotropic(70e9, 0.3, 0.01), X_AXIS)


def test_a_panel_free_to_move_is_refused_and_the_motion_named():
    shell = sheet()
    x = shell.mesh.x[: shell.mesh.nb]
    assert "nothing holds it" in refused(shell, marks(shell))
    line = refused(shell, marks(shell, (x[:, 0] < 1e-9, [0, 1, 2])))
    assert "free to turn about the axis through (0, " in line
    assert "along (0, 1, 0)" in line
    assert "move along" not in line
    slide = refused(shell, marks(shell, (x[:, 0] < 1e-9, [1, 2, 3, 4, 5])))
    assert "free to move along (1, 0, 0)" in slide
    assert "turn" not in slide.split("Allowed")[0]
    pin = refused(shell, marks(shell, (x[:, 2] < 1, [2]), ([8], [0, 1])))
    assert "turn about the axis through (1000, 1000, 0) mm along (0, 0, 1)" in pin


def test_a_loose_piece_is_named_by_its_place():
    p, t = grid(4, 1)
    shell = Shell(CurvedMesh.lift(p, t, 2, flat), isotropic(70e9, 0.3, 0.01), X_AXIS)
    middle = shell.mesh.centroids[:, 0]
    cut = shell.exchanged(shell.stiffness, (middle < 0.25) | (middle > 0.5))
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    text = refused(cut, fixed)
    assert "the piece of" in text
    assert "(750, 500, 0) mm" in text


def test_springs_can_hold_a_panel_and_weak_ones_do():
    shell = sheet()
    for stiffness_ in (1e6, 1.0):
        extra = csr_array((np.full(9, stiffness_), (range(9), range(9))), shape=(shell.n_boundary,) * 2)
        everything = csr_array(np.diag(np.full(shell.n_boundary, 0.0))) + extra
        system = shell.factor(Supports(marks(shell), everything))
        load = shell.traction(np.array([0, 0, 1.0]))
        u = system.solve(load)
        reaction = system.reactions(u, load)[: shell.n_boundary].reshape(-1, 6)
        assert reaction[:, 2].sum() == pytest.approx(-1.0, rel=1e-6)
    hinge = csr_array((np.full(3, 1e6), (range(3), range(3))), shape=(shell.n_boundary,) * 2)
    assert "turn about" in refused(shell, marks(shell), hinge)


def test_a_spring_between_two_pieces_joins_them():
    p, t = grid(4, 1)
    shell = Shell(CurvedMesh.lift(p, t, 2, flat), isotropic(70e9, 0.3, 0.01), X_AXIS)
    middle = shell.mesh.centroids[:, 0]
    cut = shell.exchanged(shell.stiffness, (middle < 0.25) | (middle > 0.5))
    x = shell.mesh.x[: shell.mesh.nb]
    a = int(np.flatnonzero((np.abs(x[:, 0] - 0.25) < 1e-9) & (x[:, 1] < 1e-9))[0])
    b = int(np.flatnonzero((np.abs(x[:, 0] - 0.5) < 1e-9) & (x[:, 1] < 1e-9))[0])
    jump = np.zeros((6, shell.n_boundary))
    jump[range(6), range(6 * a, 6 * a + 6)] = -1.0
    jump[range(6), range(6 * b, 6 * b + 6)] = 1.0
    jump[1, 6 * a + 5] = -0.25  # turning of a moves b
    jump[2, 6 * a + 4] = 0.25
    fixed = marks(shell, (x[:, 0] < 1e-9, range(6)))
    stiff = csr_array(1e6 * jump.T @ jump)
    load = cut.traction(np.array([0, 0, 1.0]))
    u = cut.factor(Supports(fixed, stiff)).solve(load)
    assert np.isfinite(u).all()
    loose = csr_array(1e6 * jump[:3].T @ jump[:3])
    assert "turn about" in refused(cut, fixed, loose)


def test_bad_elements_are_refused():
    shell = sheet()
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    across = Shell(shell.mesh, shell.stiffness, np.array([0, 0, 1.0]))
    assert "0° axis" in refused(across, fixed)
    law = isotropic(70e9, 0.3, 0.01)
    law[5, 5] = -law[5, 5]
    assert "no positive stiffness" in refused(Shell(shell.mesh, law, X_AXIS), fixed)
    folded = shell.mesh.x.copy()
    folded[9:] = folded[9:] + np.random.default_rng(0).uniform(-0.6, 0.6, folded[9:].shape) * [1, 1, 0]
    assert "folded" in refused(Shell(shell.mesh.moved(folded), shell.stiffness, X_AXIS), fixed)
    with pytest.raises(ModelError, match="not a number"):
        Shell(shell.mesh, law * np.nan, X_AXIS)
    with pytest.raises(MeshError, match="order 1 is not offered"):
        CurvedMesh.straight(shell.mesh.x[:9], shell.mesh.triangles, 1)
    with pytest.raises(ModelError, match="fixed has the shape"):
        shell.factor(Supports(np.zeros((2, 6), bool)))


def test_a_load_that_is_not_a_number_is_refused():
    shell, supports = clamped_bowl(2)
    system = shell.factor(supports)
    load = shell.traction(np.array([0, 0, 1.0]))
    load[3 * 6] = np.nan
    with pytest.raises(ModelError, match="the equations are not met"):
        system.solve(load)


def test_slivers_are_noted():
    p = np.array([[0, 0], [1, 0], [1, 0.03], [0, 1.0]])
    mesh = CurvedMesh.lift(p, np.array([[0, 1, 2], [0, 2, 3]]), 2, flat)
    shell = Shell(mesh, isotropic(70e9, 0.3, 0.01), X_AXIS)
    system = shell.factor(Supports(marks(shell, (mesh.x[: mesh.nb, 0] < 1e-9, range(6)))))
    assert any("angle under 5°" in note for note in system.notes)


@pytest.mark.parametrize("k", ORDERS)
def test_neighbours_share_the_nodes_of_their_edge(k):
    p, t = grid(3, 2)
    mesh = CurvedMesh.lift(p, t, k, dish)
    local = np.hstack(lattice(k))
    places = np.column_stack([1 - local[0] - local[1], local[0], local[1]]) @ p[t]
    assert dish(places.reshape(-1, 2)).reshape(len(t), -1, 3) == pytest.approx(mesh.x[mesh.nodes], abs=1e-12)
