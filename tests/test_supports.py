"""Fasteners of any stiffness against a fresh factor, mean motions against rigid ones, springs against integrals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.mesh import CurvedMesh
from panelfem.mesh.lattice import lattice
from panelfem.shell import Shell, Supports
from panelfem.shell.held import HeldSystem
from panelfem.shell.rigid import rigid_motions
from panelfem.shell.supports import (
    FastenerRows,
    boundary_weights,
    edge_nodes,
    edge_springs,
    fastener_rows,
    moderate_stiffness,
    nodes_of,
    springs,
    tangent_frames,
)

SIDE = 0.3


def bowed(p: FloatArray) -> FloatArray:
    """A doubly curved sheet."""
    return np.column_stack([p, 0.3 * p[:, 0] ** 2 + 0.2 * p[:, 1] ** 2 + 0.1 * p[:, 0] * p[:, 1]])


def sheet(n: int = 10, order: int = 2) -> Shell:
    """A doubly curved sheet of SIDE × SIDE, 1 mm of a quasi-isotropic laminate."""
    x, y = np.meshgrid(np.linspace(0, SIDE, n + 1), np.linspace(0, SIDE, n + 1), indexing="ij")
    number = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = (v.ravel() for v in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    triangles = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    mesh = CurvedMesh.lift(np.column_stack([x.ravel(), y.ravel()]), triangles, order, bowed)
    E, nu, t = 50e9, 0.3, 1e-3
    Q = E / (1 - nu**2) * np.array([[1, nu, 0], [nu, 1, 0], [0, 0, (1 - nu) / 2]])
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = Q * t, Q * t**3 / 12, E * t / 3 * np.eye(2)
    return Shell(mesh, C, np.array([1.0, 0, 0]))


CORNERS = np.array([[0.03, 0.03], [0.27, 0.03], [0.27, 0.27], [0.03, 0.27], [0.15, 0.15]])


def fastened(shell: Shell, corners: FloatArray = CORNERS) -> FastenerRows:
    """Rows of washers of 35 mm at `corners`."""
    places = bowed(corners)
    washers = [np.linalg.norm(shell.mesh.centroids - place, axis=1) < 0.035 for place in places]
    normals = np.column_stack([-0.6 * corners[:, 0], -0.4 * corners[:, 1], np.ones(len(corners))])
    return fastener_rows(shell.mesh, washers, normals, np.array([1.0, 0, 0]))


def base_of(shell: Shell, rows: FastenerRows) -> FloatArray:
    return moderate_stiffness(shell.stiffness[0], SIDE**2, rows)


def held_system(shell: Shell, rows: FastenerRows, base: FloatArray) -> HeldSystem:
    fixed = np.zeros((shell.mesh.nb, 6), bool)
    system = shell.factor(Supports(fixed, springs(rows.rows, base)))
    return HeldSystem(system, rows.rows, base, shell.n_total, [f"F{i + 1}" for i in range(len(base))])


def loads(shell: Shell) -> FloatArray:
    """Pressure, and a sideways push, (n_total, 2)."""
    return np.column_stack([shell.traction(lambda x, n: -500 * n), shell.traction(np.array([200.0, 100.0, 0.0]))])


@pytest.mark.parametrize("k", [2, 3, 4, 5, 6])
def test_mean_weights_are_exact_for_quadratics(k: int) -> None:
    """Means over the reference triangle by hand: r^i s^j has 2 i! j! / (i + j + 2)!."""
    w, (r, s) = boundary_weights(k), lattice(k)[0]
    for f, mean in ((r**0, 1), (r, 1 / 3), (s, 1 / 3), (r * r, 1 / 6), (r * s, 1 / 12), (s * s, 1 / 6)):
        assert w @ f == pytest.approx(mean, abs=1e-12)


@pytest.mark.parametrize("order", [2, 3])
def test_rows_are_exact_for_rigid_motions(order: int) -> None:
    """A rigid motion v + θ × x gives v + θ × place and θ in the fastener's axes."""
    shell = sheet(8, order)
    rows = fastened(shell)
    motion = np.array([1.0, -2.0, 0.5, 0.3, -0.7, 0.4])
    nodes = rigid_motions(shell.mesh.x[: shell.mesh.nb], np.zeros(3)) @ motion
    seen = (rows.rows @ nodes.ravel()).reshape(-1, 6)
    for f, (place, frame) in enumerate(zip(rows.place, rows.frame, strict=True)):
        assert seen[f, :3] == pytest.approx(frame @ (motion[:3] + np.cross(motion[3:], place)), abs=1e-12)
        assert seen[f, 3:] == pytest.approx(frame @ motion[3:], abs=1e-11)
    assert rows.area[4] == pytest.approx(np.pi * 0.035**2, rel=0.25)


def test_frames_where_the_axis_is_along_the_normal() -> None:
    frame = tangent_frames(np.array([[2.0, 0, 0], [0, 0, 1]]), np.array([1.0, 0, 0]))
    assert frame @ frame.transpose(0, 2, 1) == pytest.approx(np.broadcast_to(np.eye(3), (2, 3, 3)), abs=1e-12)
    assert np.linalg.det(frame) == pytest.approx([1, 1])


@pytest.mark.parametrize("what", ["rigid", "springs", "lost", "lost rigid", "stiffer", "twist"])
def test_any_stiffness_equals_a_fresh_factor(what: str) -> None:
    """Displacements and reactions by the small update equal those of a matrix factored with these stiffnesses.

    Rigid rows are compared with springs 1e7 times the base: their difference from rigid is 1e-7 at most.
    """
    shell = sheet()
    rows = fastened(shell)
    base = base_of(shell, rows)
    panel = held_system(shell, rows, base)
    F = loads(shell)
    k = base.copy()
    rtol = 1e-9
    if what == "rigid":
        k[:, :3], k[:, 3:], rtol = np.inf, 0, 1e-5
    elif what == "springs":
        k *= np.geomspace(0.02, 30, k.size).reshape(k.shape)
    elif what == "lost":
        k[1] = 0
    elif what == "lost rigid":
        k[:, :3], k[:, 3:], k[2], rtol = np.inf, 0, 0, 1e-5
    elif what == "stiffer":
        k[0] *= 1.05
    else:
        k[:, 5] = 0
    U = panel.correct(panel.system.solve(F), k)
    R = panel.reactions(panel.system.solve(F), k)
    finite = np.where(np.isinf(k), 1e7 * base, k)
    fresh = shell.factor(Supports(np.zeros((shell.mesh.nb, 6), bool), springs(rows.rows, finite)))
    exact = fresh.solve(F)
    for c in range(2):
        assert U[:, c] == pytest.approx(exact[:, c], abs=rtol * np.abs(exact[:, c]).max())
    force = finite[:, :, None] * (rows.rows @ exact[: shell.n_boundary]).reshape(-1, 6, 2)
    assert np.abs(R - force).max() <= 3 * rtol * np.abs(force).max()
    total = np.einsum("fac,fam->cm", rows.frame, R[:, :3])
    area = shell.traction(np.array([1.0, 0, 0])).sum()
    assert total[:, 1] == pytest.approx([200 * area, 100 * area, 0], abs=1e-6 * 200 * area)


def test_rigid_rows_do_not_move_and_misfit_pulls_them() -> None:
    """Rigid: the mean motion is zero, or the gap; a spring of k pulled by g gives k g short of its own motion."""
    shell = sheet()
    rows = fastened(shell)
    base = base_of(shell, rows)
    panel = held_system(shell, rows, base)
    U = panel.system.solve(loads(shell)[:, 0])
    k = base.copy()
    k[:, :3] = np.inf
    gaps = np.zeros((5, 6))
    gaps[4, 2] = 1e-3
    u = panel.correct(U, k, gaps)
    motion = (panel.rows @ u).reshape(-1, 6)
    assert motion[:, :3] == pytest.approx(gaps[:, :3], abs=1e-12)
    for change in (0.3, 1.0, 4.0):
        k = base.copy()
        k[4] *= change
        u = panel.correct(U, k, gaps)
        pulled = k * ((panel.rows @ u).reshape(-1, 6) - gaps)
        assert panel.reactions(U, k, gaps) == pytest.approx(pulled, abs=1e-9 * np.abs(pulled).max())
        fresh = shell.factor(Supports(np.zeros((shell.mesh.nb, 6), bool), springs(rows.rows, k)))
        load = loads(shell)[:, 0]
        load[: shell.n_boundary] += rows.rows.T @ (k * gaps).ravel()
        assert u == pytest.approx(fresh.solve(load), abs=1e-9 * np.abs(u).max())


def test_a_free_panel_is_refused_in_words() -> None:
    """Two fasteners hold a panel by springs along their axes only; without one of them it turns freely."""
    shell = sheet(6)
    rows = fastened(shell, CORNERS[:3])
    base = base_of(shell, rows)
    panel = held_system(shell, rows, base)
    k = np.full((3, 6), np.inf)
    k[:, 3:] = 0
    panel.correct(panel.system.solve(loads(shell)), k)
    k[2] = 0
    with pytest.raises(ModelError, match=r"free to move.*F3") as fault:
        panel.correct(panel.system.solve(loads(shell)), k)
    assert "Do:" in str(fault.value)
    with pytest.raises(ModelError, match="negative"):
        panel.at(-base)


def test_twin_rigid_fasteners_are_refused() -> None:
    shell = sheet(6)
    rows = fastened(shell, CORNERS[[0, 1, 2, 2]])
    base = base_of(shell, rows)
    panel = held_system(shell, rows, base)
    with pytest.raises(ModelError, match="same motion"):
        panel.at(np.full((4, 6), np.inf))


def test_only_changed_rows_cost_back_solves() -> None:
    shell = sheet(6)
    rows = fastened(shell)
    base = base_of(shell, rows)
    panel = held_system(shell, rows, base)
    U = panel.system.solve(loads(shell))
    assert panel.correct(U, base) == pytest.approx(U, abs=0)
    assert panel.back_solves == 0
    k = base.copy()
    k[0, :3] = np.inf
    panel.correct(U, k)
    panel.correct(2 * U, k)
    assert panel.back_solves == 3


@given(st.lists(st.sampled_from([0.1, 0.5, 1.0, 3.0, np.inf]), min_size=30, max_size=30))
@settings(deadline=None, max_examples=25)
def test_update_on_a_small_dense_model(factors: list[float]) -> None:
    """The same algebra on a random 40 × 40 matrix, against NumPy; and stiffer fasteners never give more at the load."""
    random = np.random.default_rng(5)
    A = random.normal(size=(40, 40))
    K, G = A @ A.T + np.eye(40), random.normal(size=(30, 40))
    base = random.uniform(0.5, 2, (5, 6))

    class Dense:
        def solve(self, load: FloatArray, /) -> FloatArray:
            return np.linalg.solve(K + G.T @ np.diag(base.ravel()) @ G, load)

    panel = HeldSystem(Dense(), sparse.csr_array(G), base, 40)
    k = base * np.array(factors).reshape(5, 6)
    f = random.normal(size=40)
    u = panel.correct(Dense().solve(f), k)
    rigid = np.isinf(k.ravel())
    soft = np.where(rigid, 0, k.ravel())
    whole = np.block([[K + G.T @ np.diag(soft) @ G, G[rigid].T], [G[rigid], np.zeros((rigid.sum(),) * 2)]])
    exact = np.linalg.solve(whole, np.append(f, np.zeros(rigid.sum())))
    assert u == pytest.approx(exact[:40], abs=1e-9 * np.abs(exact).max())
    reaction = panel.reactions(Dense().solve(f), k).ravel()
    assert reaction[rigid] == pytest.approx(exact[40:], abs=1e-8 * np.abs(exact).max())
    assert f @ panel.correct(Dense().solve(f), 2 * k) <= f @ u * (1 + 1e-9)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_edge_springs_integrate_to_length(order: int) -> None:
    """A unit translation takes k × length; a unit turn about a straight edge k × length; turning across it nothing."""
    shell = sheet(4, order)
    flat = shell.mesh.moved(shell.mesh.x * (1, 1, 0))
    edge = np.column_stack([np.arange(0, 20, 5), np.arange(5, 25, 5)])  # y = 0
    along = edge_nodes(flat, edge)
    assert along.shape == (4, order + 1)
    assert np.abs(flat.x[along][..., 1]).max() == 0
    move, turn_x, turn_y = np.zeros((flat.nb, 6)), np.zeros((flat.nb, 6)), np.zeros((flat.nb, 6))
    move[:, 2] = turn_x[:, 3] = turn_y[:, 4] = 1
    K = edge_springs(flat, along, translation=7.0, rotation=3.0)
    for v, expected in ((move, 7 * SIDE), (turn_x, 3 * SIDE), (turn_y, 0.0)):
        assert v.ravel() @ K @ v.ravel() == pytest.approx(expected, abs=1e-12)
    sideways = np.tile([0.0, 0, 1], (4, 1))
    K = edge_springs(flat, along, translation=7.0, normals=sideways)
    move[:, 0] = 5
    assert move.ravel() @ K @ move.ravel() == pytest.approx(7 * SIDE)
    gone = np.ones(len(flat.triangles), bool)
    gone[np.isin(flat.triangles, [0, 5]).sum(axis=1) == 2] = False
    assert len(edge_nodes(flat, edge, gone)) == 3
    assert len(nodes_of(flat, ~gone)) == 3 * order
