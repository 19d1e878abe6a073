"""Fasteners of any stiffness against a fresh factor, mean motions against rigid ones, springs against integrals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.mesh import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.anchors import Anchored
from panelfem.shell.element import full_stiffness
from panelfem.shell.held import HeldSystem
from panelfem.shell.rigid import RigidMotions, rigid_motions
from panelfem.shell.supports import (
    FastenerRows,
    edge_nodes,
    edge_springs,
    fastener_rows,
    nodes_of,
    tangent_frames,
)
from panelfem.verify.trials_holes import fixings

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


def washer(shell: Shell, corner: FloatArray, radius: float = 0.035) -> BoolArray:
    """Elements with their centre within `radius` of a corner, seen from above."""
    return np.asarray(np.linalg.norm(shell.mesh.centroids[:, :2] - corner, axis=1) < radius)


def fastened(shell: Shell, corners: FloatArray = CORNERS) -> FastenerRows:
    """Rows of washers of 35 mm at `corners`."""
    washers = [washer(shell, corner) for corner in corners]
    normals = np.column_stack([-0.6 * corners[:, 0], -0.4 * corners[:, 1], np.ones(len(corners))])
    return fastener_rows(shell, washers, normals)


def moderate(rows: FastenerRows) -> FloatArray:
    """Stiffnesses (nf, 6) of the order of the skin's own."""
    return np.tile([2e7, 2e7, 1e4, 60.0, 60.0, 2e4], (len(rows.area), 1))


def held_system(shell: Shell, rows: FastenerRows, fixed: BoolArray | None = None) -> HeldSystem:
    fixed = np.zeros((shell.mesh.nb, 6), bool) if fixed is None else fixed
    system = shell.factor(Supports(fixed, fixings=(rows.rows, moderate(rows).ravel())))
    return HeldSystem(system, rows.rows, [f"F{i + 1}" for i in range(len(rows.area))], system.anchored)


def whole_matrix(shell: Shell) -> FloatArray:
    """The matrix (n_total, n_total) of the active elements, inner unknowns kept."""
    layout, m = shell.layout, shell.layout.tables.boundary
    u, t = layout.displacement_unknowns.swapaxes(1, 2), layout.rotation_unknowns.swapaxes(1, 2)
    parts = [v.reshape(layout.ne, -1) for v in (u[..., :m], t[..., :m], u[..., m:], t[..., m:])]
    unknowns = np.concatenate(parts, axis=1)
    stiffness = full_stiffness(layout.tables, layout.x, shell.stiffness, shell.axis)
    K = np.zeros((shell.n_total,) * 2)
    for e in np.flatnonzero(shell.active):
        K[np.ix_(unknowns[e], unknowns[e])] += stiffness[e]
    return K


def fresh(
    shell: Shell, rows: FastenerRows, k: FloatArray, load: FloatArray, gap: float = 0.0, fixed: BoolArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Displacements (n_total, m) and fastener forces (6 nf, m) from one dense system: the whole matrix, springs as
    energy, rigid rows with multipliers.  `gap` is that of the last fastener along its normal."""
    K, G, k = whole_matrix(shell), rows.rows.toarray(), k.ravel()
    gaps = np.zeros(len(k))
    gaps[-4] = gap
    stiff = np.isinf(k)
    soft = np.where(stiff, 0.0, k)
    free = np.ones(shell.n_total, bool)
    if fixed is not None:
        free[: shell.n_boundary] = ~fixed.ravel()
    A, f = K + G.T @ (soft[:, None] * G), load + (G.T @ (soft * gaps))[:, None]
    scale = 1 / np.sqrt(A.diagonal()[free])
    A, border = scale[:, None] * A[np.ix_(free, free)] * scale, G[stiff][:, free] * scale
    size = np.linalg.norm(border, axis=1, keepdims=True)
    border /= size
    bordered = np.block([[A, border.T], [border, np.zeros((len(border),) * 2)]])
    right = np.vstack([scale[:, None] * f[free], np.tile(gaps[stiff, None] / size, (1, load.shape[1]))])
    found = np.linalg.solve(bordered, right)
    found += np.linalg.solve(bordered, right - bordered @ found)
    u, n = np.zeros_like(load), int(free.sum())
    u[free] = scale[:, None] * found[:n]
    force = soft[:, None] * (G @ u - gaps[:, None])
    force[stiff] = found[n:] / size
    return u, force


def loads(shell: Shell) -> FloatArray:
    """Pressure, and a sideways push, (n_total, 2)."""
    return np.column_stack([shell.traction(lambda x, n: -500 * n), shell.traction(np.array([200.0, 100.0, 0.0]))])


@pytest.mark.parametrize("order", [2, 3, 4])
def test_rows_are_exact_for_rigid_motions(order: int) -> None:
    """A rigid motion v + θ × x gives v + θ × place and θ in the fastener's axes; so for every motion of the panel."""
    shell = sheet(8, order)
    rows = fastened(shell)
    motions = RigidMotions.of(shell.layout, shell.active)
    seen = (rows.rows @ motions.motion).toarray().reshape(-1, 6, 6)
    exact = rigid_motions(rows.place, motions.centre[0])
    exact[:, :, 3:] /= motions.radius[0]
    for found, motion, frame in zip(seen, exact, rows.frame, strict=True):
        assert found[:3] == pytest.approx(frame @ motion[:3], abs=1e-12)
        assert found[3:] == pytest.approx(frame @ motion[3:], abs=1e-10)
    assert rows.area[4] == pytest.approx(np.pi * 0.035**2, rel=0.25)


@pytest.mark.parametrize("order", [2, 3, 4])
def test_a_force_on_a_row_is_an_even_pressure(order: int) -> None:
    """The load of 1 N on a displacement row is that of 1/area under the washer; nothing that is gone counts."""
    shell = sheet(6, order)
    gone = washer(shell, CORNERS[4], 0.02)
    cut = shell.exchanged(shell.stiffness, ~gone)
    rows = fastened(cut)
    for f, corner in enumerate(CORNERS):
        under = washer(shell, corner)
        area = cut.traction(np.array([1.0, 0, 0]), under).sum()
        assert rows.area[f] == pytest.approx(area, rel=1e-12)
        for row, axis in enumerate(rows.frame[f]):
            load, exact = rows.rows[[6 * f + row]].toarray()[0], cut.traction(axis / area, under)
            assert load == pytest.approx(exact, abs=1e-13 * np.abs(exact).max())
    nothing = fastener_rows(cut, [gone], np.array([[0.0, 0, 1]]))
    assert nothing.rows.nnz == 0
    assert nothing.area.tolist() == [0.0]


def test_frames_where_the_axis_is_along_the_normal() -> None:
    frame = tangent_frames(np.array([[2.0, 0, 0], [0, 0, 1]]), np.array([1.0, 0, 0]))
    assert frame @ frame.transpose(0, 2, 1) == pytest.approx(np.broadcast_to(np.eye(3), (2, 3, 3)), abs=1e-12)
    assert np.linalg.det(frame) == pytest.approx([1, 1])


STIFFNESSES = ["rigid", "springs", "lost", "lost rigid", "soft", "very stiff", "no twist", "three soft springs"]


def stiffnesses(what: str, rows: FastenerRows) -> FloatArray:
    k = moderate(rows)
    if what in ("rigid", "lost rigid"):
        k[:, :3], k[:, 3:] = np.inf, 0
    if what in ("lost", "lost rigid"):
        k[1] = 0
    if what == "springs":
        k *= np.geomspace(0.02, 30, k.size).reshape(k.shape)
    if what == "soft":
        k[:] = 100, 100, 100, 0, 0, 0
    if what == "very stiff":
        k[:, :3] = 1e12
    if what == "no twist":
        k[:, 5] = 0
    if what == "three soft springs":
        k[:] = 0
        k[:3, :3] = 100
    return k


@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("what", STIFFNESSES)
def test_any_stiffness_equals_a_fresh_system(what: str, order: int) -> None:
    """Displacements and reactions by the small update equal those of one dense system with these stiffnesses, in which
    no unknown is condensed.  On soft or very stiff springs that system's rounding shows; statics is met to 1e-9."""
    shell = sheet(5, order)
    rows = fastened(shell)
    assert (rows.area > 0).all()
    rtol = 2e-7 if "soft" in what else 1e-8 if what == "very stiff" else 2e-9
    panel, F, k = held_system(shell, rows), loads(shell), stiffnesses(what, rows)
    U, R = panel.correct(panel.system.solve(F), k), panel.reactions(panel.system.solve(F), k)
    exact, force = fresh(shell, rows, k, F)
    for c in range(2):
        assert U[:, c] == pytest.approx(exact[:, c], abs=rtol * np.abs(exact[:, c]).max())
    assert pytest.approx(force, abs=rtol * np.abs(force).max()) == R.reshape(-1, 2)
    total = np.einsum("fac,fam->cm", rows.frame, R[:, :3])
    area = shell.traction(np.array([1.0, 0, 0])).sum()
    assert total[:, 1] == pytest.approx([200 * area, 100 * area, 0], abs=1e-9 * 200 * area)


@pytest.mark.parametrize("edge", ["supported", "hinged", "nearly hinged", "a bit of clamp"])
def test_edges_that_hold_some_motions(edge: str) -> None:
    """What edges hold hardly or not at all is anchored and answers as a fresh system does: an edge held along z; one
    in a line, or nearly so, about which the panel turns with next to no stiffness; one cell's side clamped, which holds
    all."""
    shell = sheet(5)
    x = shell.mesh.x[: shell.mesh.nb].copy()
    rim = x[:, 0] < 1e-9
    fixed = np.zeros((len(x), 6), bool)
    if edge == "a bit of clamp":
        fixed[rim & (np.abs(x[:, 1] - SIDE / 2) < 0.031)] = True
    elif edge == "supported":
        fixed[rim, 2] = True
    else:
        height = 0.0 if edge == "hinged" else 1e-3
        moved = shell.mesh.x * (1, 1, 0) + np.outer(height * shell.mesh.x[:, 1] ** 2, [0, 0, 1])
        shell = Shell(shell.mesh.moved(moved), shell.stiffness, shell.axis)
        fixed[rim, :3] = True
    rows = fastened(shell)
    panel, F = held_system(shell, rows, fixed), loads(shell)
    assert len(panel.anchors) == {"supported": 4, "hinged": 1, "nearly hinged": 1, "a bit of clamp": 0}[edge]
    for what in ("rigid", "springs", "soft"):
        k = stiffnesses(what, rows)
        exact, force = fresh(shell, rows, k, F, fixed=fixed)
        U, R = panel.correct(panel.system.solve(F), k), panel.reactions(panel.system.solve(F), k)
        assert pytest.approx(exact, abs=1e-8 * np.abs(exact).max()) == U
        assert pytest.approx(force, abs=1e-8 * np.abs(force).max()) == R.reshape(-1, 2)


def test_a_washer_on_fixed_nodes_changes_nothing() -> None:
    shell = sheet(6)
    rows = fastened(shell)
    fixed = np.zeros((shell.mesh.nb, 6), bool)
    fixed[nodes_of(shell.mesh, washer(shell, CORNERS[0]))] = True
    panel, F = held_system(shell, rows, fixed), loads(shell)
    k = stiffnesses("rigid", rows)
    lost = k.copy()
    lost[0] = 0
    U = panel.system.solve(F)
    assert panel.correct(U, k) == pytest.approx(panel.correct(U, lost), abs=1e-12 * np.abs(U).max())


def test_two_pieces_are_anchored_apart() -> None:
    """Each of two pieces of a panel cut through hangs on its own two fasteners."""
    shell = sheet(8)
    cut = shell.exchanged(shell.stiffness, np.abs(shell.mesh.centroids[:, 0] - SIDE / 2) > SIDE / 8)
    rows = fastened(cut, CORNERS[:4])
    panel, F = held_system(cut, rows), loads(cut)
    assert len(panel.anchors) == 12
    there = np.zeros(shell.n_total, bool)
    there[shell.layout.displacement_unknowns[cut.active]] = there[shell.layout.rotation_unknowns[cut.active]] = True
    k = moderate(rows)
    exact = np.zeros_like(F)
    K = whole_matrix(cut) + rows.rows.T @ (k.ravel()[:, None] * rows.rows.toarray())
    exact[there] = np.linalg.solve(K[np.ix_(there, there)], F[there])
    U = panel.correct(panel.system.solve(F), k)
    assert pytest.approx(exact, abs=1e-6 * np.abs(exact).max()) == U
    k[[1, 2]] = 0
    with pytest.raises(ModelError, match=r"free to move.*F[23]"):
        panel.at(k)


def test_rigid_rows_do_not_move_and_misfit_pulls_them() -> None:
    """Rigid: the mean motion is zero, or the gap; a spring of k pulled by g gives k g short of its own motion."""
    shell = sheet(5)
    rows = fastened(shell)
    panel, F = held_system(shell, rows), loads(shell)[:, :1]
    U = panel.system.solve(F[:, 0])
    gaps = np.zeros((5, 6))
    gaps[4, 2] = 1e-3
    for what in ("rigid", "springs", "very stiff"):
        k = stiffnesses(what, rows)
        u, r = panel.correct(U, k, gaps), panel.reactions(U, k, gaps)
        exact, force = fresh(shell, rows, k, F, gap=1e-3)
        assert u == pytest.approx(exact[:, 0], abs=1e-9 * np.abs(u).max())
        assert r.ravel() == pytest.approx(force[:, 0], abs=1e-8 * np.abs(force).max())
        motion = (panel.rows @ u).reshape(-1, 6)
        if what == "rigid":
            assert motion[:, :3] == pytest.approx(gaps[:, :3], abs=1e-12)


def test_a_free_panel_is_refused_in_words() -> None:
    """Two fasteners hold a panel by springs along their axes only; without one of them it turns freely."""
    shell = sheet(6)
    rows = fastened(shell, CORNERS[:3])
    panel = held_system(shell, rows)
    k = np.full((3, 6), np.inf)
    k[:, 3:] = 0
    panel.correct(panel.system.solve(loads(shell)), k)
    k[2] = 0
    with pytest.raises(ModelError, match=r"free to move.*F3") as fault:
        panel.correct(panel.system.solve(loads(shell)), k)
    assert "Do:" in str(fault.value)
    with pytest.raises(ModelError, match="free to move"):
        panel.at()
    with pytest.raises(ModelError, match="negative"):
        panel.at(-moderate(rows))


def test_fixings_that_do_not_hold_are_refused_before_the_factor() -> None:
    """Anchors hold nothing: what counts are the fasteners with the stiffness they have, rigid ones too."""
    shell = sheet(4)
    rows, fixed = fastened(shell), np.zeros((shell.mesh.nb, 6), bool)
    k = np.zeros((5, 6))
    for stiffness in (np.inf, 1e5):
        k[:2, :3] = stiffness
        with pytest.raises(ModelError, match="the panel is free to turn about the axis through") as fault:
            shell.factor(Supports(fixed, fixings=(rows.rows, k.ravel())))
        assert "its fixings" in str(fault.value)
    with pytest.raises(ModelError, match="nothing holds it"):
        shell.factor(Supports(fixed, fixings=(rows.rows, 0 * k.ravel())))


def test_twin_rigid_fasteners_are_refused() -> None:
    shell = sheet(6)
    panel = held_system(shell, fastened(shell, CORNERS[[0, 1, 2, 2]]))
    with pytest.raises(ModelError, match="same motion"):
        panel.at(np.full((4, 6), np.inf))


def test_only_rows_in_use_cost_back_solves() -> None:
    """Anchors that nothing else holds cost none."""
    shell = sheet(6)
    rows = fastened(shell)
    panel = held_system(shell, rows)
    U = panel.system.solve(loads(shell))
    assert panel.back_solves == 0
    k = stiffnesses("three soft springs", rows)
    panel.correct(U, k)
    panel.correct(2 * U, 3 * k)
    assert panel.back_solves == 9
    k[3, :3] = np.inf
    panel.correct(U, k)
    assert panel.back_solves == 12


def test_orders_answer_the_same_problem() -> None:
    """A sandwich on four fixings on a coarse mesh: orders 2, 3, 4 close in on the exact pulls and deflection (Navier
    series and force method, `reference/on_springs`)."""
    trial = next(t for t in fixings() if "sandwich on four fixings" in t.name)
    exact = trial.reference()
    counted = [name for name in exact if "strain" not in name]
    worst = []
    for order in (2, 3, 4):
        found = trial.solve(order).numbers
        worst.append(max(abs(found[name] / exact[name] - 1) for name in counted))
    assert worst[0] < 0.016
    assert worst[1] < 1.5e-3
    assert worst[2] < 2e-4


@given(st.lists(st.sampled_from([0.0, 0.1, 0.5, 1.0, 3.0, np.inf]), min_size=30, max_size=30))
@settings(deadline=None, max_examples=25)
def test_update_on_a_small_dense_model(factors: list[float]) -> None:
    """The same algebra on a random 40 × 40 matrix that holds all but two motions, against NumPy; and stiffer fasteners
    never give more at the load."""
    random = np.random.default_rng(5)
    A = random.normal(size=(40, 38))
    K, G = A @ A.T, random.normal(size=(30, 40))
    loose = np.linalg.svd(A.T)[2][38:].T
    anchor = np.diag([3.0, 3.0] + 38 * [0.0])
    responses = loose @ np.linalg.inv(loose[:2]) / 3.0

    class Dense:
        def solve(self, load: FloatArray, /) -> FloatArray:
            return np.linalg.solve(K + anchor, load)

    picked = sparse.csr_array(np.eye(2, 40))
    panel = HeldSystem(Dense(), sparse.csr_array(G), anchored=Anchored(picked, responses, np.zeros((2, 2))))
    k = random.uniform(0.5, 2, (5, 6)) * np.array(factors).reshape(5, 6)
    k[0, :2] = 1.0  # something must hold
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
