"""Recovered nodal strains and transverse shear: exactness, groups, accuracy against exact solutions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shell_problems import X_AXIS, flat, grid, isotropic, marks, orthotropic, plate, stiffness

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.patches import INTERIOR, patch_weights, powers
from panelfem.shell.reference_triangle import displacement_basis


def whole(shell: Shell) -> np.ndarray:
    return np.zeros(len(shell.mesh.triangles), np.int64)


# ------------------------------------------------------------------------------------------------ exactness
@pytest.mark.parametrize("k", [2, 3])
@settings(deadline=None, max_examples=10)
@given(c=st.lists(st.floats(-1, 1), min_size=10, max_size=10), seed=st.integers(0, 50))
def test_patches_are_exact_for_degree_k_inside_and_k_minus_1_everywhere(k, c, seed):
    p, t = grid(5, 4, 0.25, seed)
    mesh = CurvedMesh.lift(p, t, k, flat)
    shell = Shell(mesh, isotropic(70e9, 0.3, 1e-2), X_AXIS)
    recovery = shell.recovery(whole(shell))
    x = shell.layout.x
    samples = displacement_basis(k)(INTERIOR[k])[0] @ x
    inner = len(mesh.x) - mesh.nb
    border = np.append(recovery.border, np.zeros(inner, bool))
    frame = np.broadcast_to(np.eye(3), (len(mesh.x), 3, 3))
    weights = patch_weights(k, x, mesh.nodes, border, frame)

    def field(x, degree):
        terms = powers(x[..., :2], degree)
        return terms @ np.array(c)[: terms.shape[-1]]

    assert weights @ field(samples, k - 1).ravel() == pytest.approx(field(mesh.x, k - 1), abs=1e-9)
    found = weights @ field(samples, k).ravel()
    valence = np.bincount(t.ravel(), minlength=len(p))
    fitted = np.zeros(len(found), bool)
    fitted[: len(p)] = ~recovery.border[: len(p)] & (valence >= 4)
    assert found[fitted] == pytest.approx(field(mesh.x, k)[fitted], abs=1e-8)
    deep = fitted[t].any(axis=1)  # nodes between take the fits of the vertices of their elements
    between = np.unique(mesh.nodes[deep][:, 3 * k :])
    assert found[between] == pytest.approx(field(mesh.x, k)[between], abs=1e-8)


@pytest.mark.parametrize("k", [2, 3, 4])
def test_elements_that_agree_have_no_spread(k):
    """Patch test: displacements of degree 2, whose strains every element has exactly."""
    p, t = grid(4, 4, 0.25)
    shell = Shell(CurvedMesh.lift(p, t, k, flat), isotropic(70e9, 0.3, 1e-2), X_AXIS)
    x, y = shell.layout.x[..., 0], shell.layout.x[..., 1]
    u = np.zeros(shell.n_total)
    u[shell.layout.displacement_unknowns[..., 0]] = 2 * x * x - x * y
    u[shell.layout.displacement_unknowns[..., 1]] = x + 3 * y * y
    u[shell.layout.displacement_unknowns[..., 2]] = x * x - y * y  # k11 = −2, k22 = 2
    turn = shell.layout.rotation_unknowns
    x, y = (shell.layout.tables.triangle.displacement(shell.layout.tables.triangle.rotation.nodes)[0] @ shell.layout.x)[
        ..., :2
    ].transpose(2, 0, 1)
    u[turn[..., 0]], u[turn[..., 1]] = -2 * y, -2 * x
    recovery = shell.recovery(whole(shell))
    assert np.abs(recovery.strains(u)[:, 3]).min() > 1.9
    assert recovery.spread(u).max() < 1e-10


@pytest.mark.parametrize("k", [2, 3, 4])
def test_a_kink_has_a_spread_and_the_elements_around_are_those(k):
    p, t = grid(6, 6)
    shell = Shell(CurvedMesh.lift(p, t, k, flat), isotropic(70e9, 0.3, 1e-2), X_AXIS)
    u = np.zeros(shell.n_total)
    u[shell.layout.displacement_unknowns[..., 0]] = np.maximum(shell.layout.x[..., 0] - 0.5, 0.0)
    recovery = shell.recovery(whole(shell))
    spread, strain = recovery.spread(u), recovery.strains(u)
    on = np.abs(recovery.points[:, 0] - 0.5) < 1e-9
    assert (spread[on, 0] >= 0.5 - 1e-9).all()
    assert spread[np.abs(recovery.points[:, 0] - 0.5) > 0.35].max() < 1e-9
    for at in np.flatnonzero(on)[:4].tolist():
        around = recovery.around(u, at)
        assert len(around) == (shell.mesh.boundary == recovery.node[at]).any(axis=1).sum()
        assert {round(e, 9) for e in around[:, 0]} == {0.0, 1.0}
        assert np.abs(around[:, :6] - strain[at, :6]).max(axis=0) == pytest.approx(spread[at])
        assert (around[:, 6:] == strain[at, 6:]).all()


@pytest.mark.parametrize("k", [2, 3, 4, 6])
def test_points_frames_and_elements_belong_together(k):
    p, t = grid(3, 3, 0.2)

    def dish(q):
        return np.column_stack([q, 0.2 * q[:, 0] ** 2 + 0.1 * q[:, 0] * q[:, 1]])

    shell = Shell(CurvedMesh.lift(p, t, k, dish), isotropic(70e9, 0.3, 1e-2), X_AXIS)
    group = (shell.mesh.centroids[:, 0] > 0.5).astype(np.int64)
    recovery = shell.recovery(group)
    assert recovery.points == pytest.approx(shell.mesh.x[recovery.node])
    assert (shell.mesh.nodes[recovery.element] == recovery.node[:, None]).any(axis=1).all()
    assert (group[recovery.element] == recovery.group).all()
    identity = np.einsum("nic,njc->nij", recovery.frame, recovery.frame)
    assert identity == pytest.approx(np.broadcast_to(np.eye(3), identity.shape), abs=1e-2)
    assert recovery.normal[:, 2].min() > 0.8
    assert (recovery.frame[:, 0, 0] > 0.8).all(), "t1 follows the axis"
    pairs = {(int(n), int(g)) for n, g in zip(recovery.node, recovery.group, strict=True)}
    expected = {(int(n), int(g)) for row, g in zip(shell.mesh.boundary, group, strict=True) for n in row}
    assert pairs == expected
    assert len(pairs) == len(recovery.node)


def test_inactive_elements_take_no_part():
    p, t = grid(4, 4)
    shell = Shell(CurvedMesh.lift(p, t, 2, flat), isotropic(70e9, 0.3, 1e-2), X_AXIS)
    middle = shell.mesh.centroids[:, :2]
    hole = (np.abs(middle - 0.5) < 0.25).all(axis=1)
    cut = shell.exchanged(shell.stiffness, ~hole)
    recovery = cut.recovery(whole(cut))
    assert not np.isin(recovery.element, np.flatnonzero(hole)).any()
    assert not (np.abs(recovery.points[:, :2] - 0.5) < 0.24).all(axis=1).any()
    rim = np.abs(recovery.points[:, :2] - 0.5).max(axis=1) < 0.26
    assert recovery.border[rim].all()


@pytest.mark.parametrize("k", [2, 4])
def test_many_columns_at_once(k):
    shell, _, u = plate(k, 4, isotropic(70e9, 0.3, 1e-2), "clamped", 1.0)
    recovery = shell.recovery(whole(shell))
    columns = np.column_stack([u, -2.0 * u, np.roll(u, 6)])
    many = recovery.strains(columns)
    assert many.shape == (3, len(recovery.node), 8)
    for i in range(3):
        one = recovery.strains(columns[:, i])
        assert many[i] == pytest.approx(one, abs=1e-12 * np.abs(one).max())
        assert recovery.shear(columns)[i] == pytest.approx(recovery.shear(columns[:, i]))
        q = np.einsum("ij,nj->ni", shell.stiffness[0, 6:, 6:], one[:, 6:])
        assert q == pytest.approx(recovery.shear(columns[:, i]), rel=1e-9, abs=1e-12 * np.abs(q).max())


# ------------------------------------------------------------------------------------------------ accuracy
class Navier:
    """Exact first-order solution of a hard-supported orthotropic square plate under a sinusoidal load."""

    def __init__(self, law: np.ndarray, a: float, q: float) -> None:
        D, S, m = law[3:6, 3:6], law[6:, 6:], np.pi / a
        K = np.array(
            [
                [(D[0, 0] + D[2, 2]) * m * m + S[0, 0], (D[0, 1] + D[2, 2]) * m * m, S[0, 0] * m],
                [(D[0, 1] + D[2, 2]) * m * m, (D[1, 1] + D[2, 2]) * m * m + S[1, 1], S[1, 1] * m],
                [S[0, 0] * m, S[1, 1] * m, (S[0, 0] + S[1, 1]) * m * m],
            ]
        )
        self.m, self.amplitude = m, np.linalg.solve(K, [0, 0, q])
        beta1, beta2, w = self.amplitude
        self.q = np.array([S[0, 0] * (m * w + beta1), S[1, 1] * (m * w + beta2)])
        self.moment = -m * (D[0, 0] * beta1 + D[0, 1] * beta2)

    def shear(self, x: np.ndarray) -> np.ndarray:
        a, b = self.m * x[:, 0], self.m * x[:, 1]
        return self.q * np.column_stack([np.cos(a) * np.sin(b), np.sin(a) * np.cos(b)])


def sandwich() -> np.ndarray:
    face = (orthotropic(70e9, 60e9, 0.05, 5e9), 4e9 * np.eye(2), 5e-4)
    core = (np.zeros((3, 3)), np.zeros((2, 2)), 1e-2)
    law = stiffness([face, core, face])
    law[6:, 6:] = np.diag([40e6, 25e6]) * 0.0105**2 / 0.01
    return law


def thin() -> np.ndarray:
    return stiffness([(orthotropic(140e9, 10e9, 0.3, 5e9), np.diag([5e9, 3.5e9]), 1e-3)])


# Errors over the greatest value, as measured and rounded up: moments; Q inside, Q at edges.
@pytest.mark.parametrize(
    ("law", "k", "n", "moment", "inside", "edges"),
    [
        (sandwich(), 2, 16, 6e-3, 2e-3, 1.5e-2),
        (sandwich(), 3, 8, 4e-3, 2e-3, 4e-3),
        (sandwich(), 4, 4, 3e-3, 2e-3, 4e-3),
        (thin(), 2, 16, 1e-2, 7e-2, 0.12),
        (thin(), 3, 8, 4e-3, 3e-2, 4e-2),
        (thin(), 4, 4, 3e-3, 2e-2, 4e-2),
    ],
)
@pytest.mark.parametrize("distort", [0.0, 0.25])
def test_moments_and_shear_on_plates_with_exact_solutions(law, k, n, moment, inside, edges, distort):
    a, load = 0.3, 1e3
    exact = Navier(law, a, load)

    def pressure(x):
        return load * np.sin(exact.m * x[..., 0]) * np.sin(exact.m * x[..., 1])

    shell, _, u = plate(k, n, law, "supported", pressure, (a, a), distort)
    recovery = shell.recovery(whole(shell))
    strain, q = recovery.strains(u), recovery.shear(u)
    x = exact.m * recovery.points[:, :2]
    m11 = strain[:, 3:5] @ law[3, 3:5]
    assert np.abs(m11 / exact.moment - np.sin(x[:, 0]) * np.sin(x[:, 1])).max() < moment
    error = np.abs(q - exact.shear(recovery.points)) / np.abs(exact.q)
    assert error[~recovery.border].max() < inside
    assert error[recovery.border].max() < edges


def test_the_better_source_of_shear_is_taken():
    """Own shear strain where it can be resolved (sandwich), equilibrium where it cannot (thin plate)."""
    for law, index in ((sandwich(), 0), (thin(), 1)):
        exact = Navier(law, 0.3, 1e3)

        def pressure(x, m=exact.m):
            return 1e3 * np.sin(m * x[..., 0]) * np.sin(m * x[..., 1])

        shell, _, u = plate(2, 12, law, "supported", pressure, (0.3, 0.3), 0.2)
        recovery = shell.recovery(whole(shell))
        expected = exact.shear(recovery.points)
        errors = [np.abs(q - expected).max() for q in recovery.shear_sources(u)]
        assert np.argmin(errors) == index
        assert np.abs(recovery.shear(u) - expected).max() <= 1.05 * errors[index]


@pytest.mark.parametrize(("k", "n", "within"), [(2, 12, 8e-2), (3, 8, 2e-2), (4, 4, 3e-2)])
def test_equilibrium_on_a_curved_surface(k, n, within):
    """Quarter circle arch under a radial end force P per width, ν = 0: Q = P sin a, M = P R cos a."""
    R, P, t = 1.0, 1.0, 0.02
    p, triangles = grid(n, n // 2)
    q_mesh = CurvedMesh.lift(p, triangles, k, flat)

    def surface(q):
        a = np.pi / 2 * q[:, 0]
        return np.column_stack([R * np.sin(a), q[:, 1] * 0.5, R * np.cos(a)])

    shell = Shell(q_mesh.moved(surface(q_mesh.x[:, :2])), isotropic(1e6, 0.0, t), np.array([0.0, 1.0, 0.0]))
    q = q_mesh.x[: q_mesh.nb, :2]
    system = shell.factor(Supports(marks(shell, (q[:, 0] < 1e-9, range(6)))))
    end = np.flatnonzero(q[:, 0] > 1 - 1e-9)
    end = end[np.argsort(q[end, 1])]
    s = np.linspace(0, 1, k + 1)
    share = np.linalg.solve(np.vander(s, increasing=True).T, 1 / np.arange(1, k + 2))
    weights = np.zeros(len(end))
    for i in range(0, len(end) - 1, k):
        weights[i : i + k + 1] += share * (q[end[i + k], 1] - q[end[i], 1]) * 0.5
    load = np.zeros(shell.n_total)
    load[6 * end] = P * weights
    u = system.solve(load)
    recovery = shell.recovery(whole(shell))
    own, balanced = recovery.shear_sources(u)
    a = np.arctan2(recovery.points[:, 0], recovery.points[:, 2])
    along = np.column_stack([np.cos(a), 0 * a, -np.sin(a)])
    direction = np.sign(np.einsum("nc,nc->n", recovery.frame[:, 1], along))  # t2 runs along ±a
    inside = ~recovery.border
    expected = np.sin(a) * P
    outward = np.sign(np.einsum("nc,nc->n", recovery.normal, np.column_stack([np.sin(a), 0 * a, np.cos(a)])))
    signed = balanced[:, 1] * direction * outward
    assert signed[inside] == pytest.approx(expected[inside], abs=within * P)
    assert np.abs(balanced[inside, 0]).max() < within * P
    moment = recovery.strains(u)[:, 4] * shell.stiffness[0, 4, 4] * outward
    assert np.abs(np.abs(moment) - P * R * np.cos(a))[inside].max() < within * P * R
    assert np.abs(own[inside, 1] * direction[inside] * outward[inside] - expected[inside]).max() < 0.6 * P


def test_a_rigid_turn_recovers_nothing():
    p, t = grid(4, 3, 0.2)

    def dish(q):
        return np.column_stack([q, 0.3 * q[:, 0] ** 2])

    shell = Shell(CurvedMesh.lift(p, t, 2, dish), isotropic(70e9, 0.3, 1e-2), X_AXIS)
    turn = np.array([0.3, -0.2, 0.5])
    u = np.zeros(shell.n_total)
    u[shell.layout.displacement_unknowns] = np.cross(turn, shell.layout.x)
    u[shell.layout.rotation_unknowns] = turn
    recovery = shell.recovery(whole(shell))
    assert np.abs(recovery.strains(u)).max() < 1e-10
