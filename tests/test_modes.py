"""Natural modes against dense algebra: counts, effective masses, states, which mode is which, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.spatial.transform import Rotation
from shell_problems import X_AXIS, flat, grid, isotropic, marks
from vibration_problems import dish, frequency, sheet, square

from panelfem.errors import ModelError
from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports
from panelfem.shell.krylov import Krylov
from panelfem.shell.large import Pose, carried
from panelfem.shell.mass import Mass, hung_mass, spread_mass
from panelfem.shell.modes import Modes, assurance, counterparts, greatest_motion
from panelfem.shell.rigid import RigidMotions
from panelfem.shell.supports import fastener_rows
from panelfem.shell.vibration import count_below, unloaded, vibration


def test_a_state_turned_as_a_whole_has_the_same_frequencies():
    """A free dish turned by 2 rad without strain, with mass off its reference surface: only the directors know."""
    shell = dish(3, 2)
    equilibrium = unloaded(shell, Supports(np.zeros((shell.mesh.nb, 6), bool)))
    mass = Mass(shell, np.array([0.05, 5e-4, 2e-5]))
    turn = Rotation.from_rotvec([1.2, -0.9, 1.3])
    rest = equilibrium.rest()
    u = np.zeros(shell.n_total)
    u[shell.layout.displacement_unknowns] = turn.apply(shell.layout.x.reshape(-1, 3)).reshape(shell.layout.x.shape)
    u[shell.layout.displacement_unknowns] -= shell.layout.x
    turned = np.broadcast_to(turn.as_matrix(), rest.pose.turned.shape)
    there = vibration(equilibrium, mass, 12, replace(rest, pose=Pose(u, np.array(turned))))
    here = vibration(equilibrium, mass, 12)
    assert (here.zeros, there.zeros) == (6, 6)
    assert there.notes == ("6 zero frequencies: motions that nothing resists",)
    assert there.omega[6:] == pytest.approx(here.omega[6:], rel=1e-6)
    assert vibration(equilibrium, mass, 12, rest).omega[6:] == pytest.approx(here.omega[6:], rel=1e-6)


def test_energy_of_rigid_motions():
    """½ ∫ρ |v + ω × x|² over the thickness of a dish whose mass lies off its reference surface, by fine quadrature."""
    shell = dish(4, 4)
    moments = np.array([2.0, 0.02, 4e-4])
    mass = Mass(shell, moments)
    motion = RigidMotions.of(shell.layout, shell.active)
    _, x, normal, weight = shell.quadrature()
    arm = x - motion.centre[0]
    expected = np.zeros((6, 6))
    move = np.concatenate([np.broadcast_to(np.eye(3), (*x.shape[:2], 3, 3)), np.zeros((*x.shape[:2], 3, 3))], axis=2)
    tilt = np.zeros_like(move)
    for i, axis in enumerate(np.eye(3)):
        move[:, :, 3 + i] = np.cross(axis, arm) / motion.radius[0]
        tilt[:, :, 3 + i] = np.cross(axis, normal) / motion.radius[0]
    for m, a, b in ((2.0, move, move), (0.02, move, tilt), (0.02, tilt, move), (4e-4, tilt, tilt)):
        expected += m * np.einsum("eq,eqic,eqjc->ij", weight, a, b)
    rigid = motion.motion.toarray()
    assert rigid.T @ mass(rigid) == pytest.approx(expected, abs=1e-6 * expected[0, 0])


# ------------------------------------------------------------------------------------ against dense algebra; counts
def dense(shell: Shell, fixed: np.ndarray, mass: Mass) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stiffness and mass of the free unknowns, and their numbers."""
    equilibrium = unloaded(shell, Supports(fixed))
    full = equilibrium.stiffness(equilibrium.rest()).full
    K, M = np.zeros((2, shell.n_total, shell.n_total))
    for where, k, m in zip(equilibrium.large.unknowns, full, mass.full(), strict=True):
        K[np.ix_(where, where)] += k
        M[np.ix_(where, where)] += m
    M += (mass.hung.T @ mass.hung).toarray()
    free = np.ones(shell.n_total, bool)
    free[: shell.n_boundary] = ~fixed.ravel()
    return 0.5 * (K + K.T), M, np.flatnonzero(free)


@pytest.mark.parametrize("k", [2, 3])
def test_against_a_dense_solution(k):
    """All of frequencies, shapes, effective masses and counts of a curved shell with a hung mass, every mode of it."""
    shell = dish(k, 2)
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    hung = hung_mass(
        fastener_rows(shell, [shell.mesh.centroids[:, 0] > 0.7], np.array([[0.0, 0, 1]])),
        0,
        0.02,
        np.array([0.0, 0.1, 0.05]),
        np.diag([1e-3, 2e-3, 1e-3]),
    )
    mass = Mass(shell, np.array([0.05, 1e-4, 1.5e-5]), hung)
    K, M, free = dense(shell, fixed, mass)
    rng = np.random.default_rng(0)
    v = rng.normal(size=(shell.n_total, 3))
    assert mass(v) == pytest.approx(M @ v, abs=1e-12)
    mu, vectors = eigh(M[np.ix_(free, free)], K[np.ix_(free, free)])
    real = mu > 1e-12 * mu[-1]
    squares = 1 / mu[real][::-1]
    found = vibration(unloaded(shell, Supports(fixed)), mass, 12)
    n = len(found.squares)
    assert found.squares == pytest.approx(squares[:n], rel=1e-8)
    assert found.shapes.T @ M @ found.shapes == pytest.approx(np.eye(n), abs=1e-8)
    assert found.shapes.T @ K @ found.shapes == pytest.approx(np.diag(found.squares), abs=1e-6 * found.squares[-1])
    for i in (0, 5, 11):
        assert count_below(unloaded(shell, Supports(fixed)), mass, found.omega[i] * (1 + 1e-4)) == i + 1
    # the effective masses of all modes are what the held edge does not carry along by itself
    shapes = vectors[:, real] / np.sqrt(mu[real])
    held = np.setdiff1d(np.arange(shell.n_total), free)
    carried = (
        M[np.ix_(held, held)] - M[np.ix_(held, free)] @ np.linalg.pinv(M[np.ix_(free, free)]) @ M[np.ix_(free, held)]
    )
    for c in range(3):
        shift = mass.shifts[:, c]
        assert found.participation[:, c] ** 2 == pytest.approx(((M @ shift) @ found.shapes) ** 2, abs=1e-12)
        every = ((M @ shift)[free] @ shapes) ** 2 / (shapes * (M[np.ix_(free, free)] @ shapes)).sum(axis=0)
        assert every.sum() == pytest.approx(mass.total - shift[held] @ carried @ shift[held], rel=1e-6)
    assert mass.total == pytest.approx(0.05 * mass.area.sum() + 0.02)
    assert (found.effective.sum(axis=0) < mass.total).all()
    assert found.effective.sum() / 3 > 0.5 * mass.total


def test_more_modes_than_there_are():
    shell = dish(2, 1)
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    mass = Mass(shell, np.array([0.05, 0.0, 0.0]))
    with pytest.raises(ModelError, match="1000 modes are asked for and the model has") as fault:
        vibration(unloaded(shell, Supports(fixed)), mass, 1000)
    number = int(str(fault.value).split("the model has ")[1].split()[0])
    every = vibration(unloaded(shell, Supports(fixed)), mass, number)
    M, free = dense(shell, fixed, mass)[1:]
    assert number == np.linalg.matrix_rank(M[np.ix_(free, free)])  # drilling and all other turns have no mass
    assert len(every.squares) == number


def test_none_is_missed_of_a_multiple_frequency():
    """Twelve equal strips side by side: each frequency twelve times, more than are iterated together; never cut."""
    p, t = grid(2, 1)
    points = np.concatenate([p * [1.0, 0.1] + [0.0, 0.2 * i] for i in range(12)])
    triangles = np.concatenate([t + len(p) * i for i in range(12)])
    h = 0.01
    shell = Shell(CurvedMesh.lift(points, triangles, 3, flat), isotropic(1.0, 0.0, h), X_AXIS)
    fixed = marks(shell, (shell.mesh.x[: shell.mesh.nb, 0] < 1e-9, range(6)))
    equilibrium, mass = unloaded(shell, Supports(fixed)), Mass(shell, sheet(h))
    found = vibration(equilibrium, mass, 3)
    assert len(found.squares) == 12
    assert np.ptp(found.omega) < 1e-6 * found.omega[0]
    assert found.omega[0] == pytest.approx(1.8751**2 * np.sqrt(shell.stiffness[0, 3, 3] / h), rel=2e-3)
    assert count_below(equilibrium, mass, found.omega[0] * 1.01) == 12
    loose = vibration(unloaded(shell, Supports(np.zeros_like(fixed))), mass, 1)
    assert loose.zeros == 72
    assert loose.notes == ("72 zero frequencies: motions that nothing resists",)


def test_fixings_rigid_and_elastic():
    """A plate on four washers: rigid ones as the limit of stiff ones; soft ones bounce it, ω² = Σk/m."""
    h = 0.01
    p, t = grid(8, 8)
    shell = Shell(CurvedMesh.lift(p, t, 2, flat), isotropic(1.0, 0.3, h), X_AXIS)
    centres = shell.mesh.centroids[:, :2]
    washers = [np.linalg.norm(centres - c, axis=1) < 0.1 for c in ((0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8))]
    rows = fastener_rows(shell, washers, np.tile([0.0, 0, 1], (4, 1))).rows
    mass, fixed = Mass(shell, sheet(h)), np.zeros((shell.mesh.nb, 6), bool)

    def first(stiffness: float, count: int = 1) -> Modes:
        k = np.tile([stiffness, stiffness, stiffness, 0, 0, 0], 4)
        return vibration(unloaded(shell, Supports(fixed, None, (rows, k))), mass, count)

    assert first(np.inf).omega[0] == pytest.approx(first(1e4).omega[0], rel=1e-5)
    assert first(np.inf).omega[0] > 1.1 * first(1e-6).omega[0]
    soft = first(1e-12, 7)
    assert soft.zeros == 0
    assert soft.omega[:6] == pytest.approx(np.sqrt(4e-12 / h) * np.ones(6), rel=1.0)
    assert np.abs(soft.omega[:6] / np.sqrt(4e-12 / h) - 1).min() < 1e-5
    assert soft.share[:6].sum(axis=0) == pytest.approx(1.0, abs=1e-6)


def test_rest_is_the_state_without_loads():
    h = 0.01
    shell, fixed = square(3, 3, isotropic(1.0, 0.3, h), "CCCC")
    equilibrium, mass = unloaded(shell, Supports(fixed)), Mass(shell, sheet(h))
    plain = vibration(equilibrium, mass, 4)
    about = vibration(equilibrium, mass, 4, equilibrium.rest())
    assert about.omega == pytest.approx(plain.omega, rel=1e-7)
    assert np.abs(np.diag(assurance(plain.shapes, about.shapes, mass))[[0, 3]]) == pytest.approx(1.0, abs=1e-8)
    again = vibration(equilibrium, mass, 4)
    assert (again.shapes == plain.shapes).all()


# ------------------------------------------------------------------------------------------------ which is which
def test_modes_of_a_damaged_panel_are_known_again():
    """A rectangle with a soft corner and a hole: modes change their order, and shapes still tell them apart."""
    h = 0.01
    law = isotropic(1.0, 0.3, h)
    p, t = grid(8, 8)
    shell = Shell(CurvedMesh.lift(p * [1.0, 0.97], t, 2, flat), law, X_AXIS)
    x = shell.mesh.x[: shell.mesh.nb]
    rim = (x[:, 0] < 1e-9) | (x[:, 0] > 1 - 1e-9) | (x[:, 1] < 1e-9) | (x[:, 1] > 0.97 - 1e-9)
    fixed = marks(shell, (rim, range(6)))
    mass = Mass(shell, sheet(h))
    whole = vibration(unloaded(shell, Supports(fixed)), mass, 4)
    middle = shell.mesh.centroids
    laws = shell.stiffness.copy()
    soft = (np.abs(middle[:, 0] - 0.5) < 0.13) & (np.abs(middle[:, 1] - 0.485) > 0.1)
    laws[soft] *= 0.3
    hole = (np.abs(middle[:, 0] - 0.1) < 0.06) & (np.abs(middle[:, 1] - 0.1) < 0.06)
    hurt = shell.exchanged(laws, ~hole)
    damaged_mass = Mass(hurt, sheet(h))
    damaged = vibration(unloaded(hurt, Supports(fixed)), damaged_mass, 4)
    assured = assurance(whole.shapes, damaged.shapes, mass)
    assert assured.shape == (4, 4)
    assert ((assured >= 0) & (assured <= 1 + 1e-9)).all()
    partner = counterparts(assured)
    assert partner.tolist() == [0, 2, 1, 3]
    assert assured[partner, np.arange(4)].min() > 0.8
    assert (damaged.omega < whole.omega[partner]).all()
    assert assurance(whole.shapes, whole.shapes, mass) == pytest.approx(np.eye(4), abs=1e-7)
    assert damaged_mass.total < mass.total


def test_where_a_mode_moves_most():
    found = frequency(4, 4, 1e-2, "CCCC", 1)
    shell, _ = square(4, 4, isotropic(1.0, 0.3, 1e-2), "CCCC")
    most = greatest_motion(shell, found.shapes[:, 0])
    assert most.place == pytest.approx([0.5, 0.5, 0.0], abs=1e-9)
    assert most.direction == pytest.approx([0.0, 0.0, 1.0], abs=1e-6)
    assert most.element in np.flatnonzero((shell.mesh.nodes == shell.mesh.nodes[most.element, 0]).any(axis=1))


# ------------------------------------------------------------------------------------------------------- refusals
def test_what_is_refused():
    shell, fixed = square(2, 2, isotropic(1.0, 0.3, 0.01), "CCCC")
    equilibrium = unloaded(shell, Supports(fixed))
    mass = Mass(shell, sheet(0.01))
    with pytest.raises(ModelError, match="0 modes"):
        vibration(equilibrium, mass, 0)
    with pytest.raises(ModelError, match="nothing has a mass"):
        vibration(equilibrium, Mass(shell, np.zeros(3)), 1)
    with pytest.raises(ModelError, match="another mesh"):
        vibration(equilibrium, Mass(square(2, 2, isotropic(1.0, 0.3, 0.01), "CCCC")[0], sheet(0.01)), 1)
    for wrong in ([-1.0, 0, 0], [1.0, 0.1, 1e-3], [np.nan, 0, 0]):
        with pytest.raises(ModelError, match="moments of mass"):
            Mass(shell, np.array(wrong))
    with pytest.raises(ModelError, match="not there"):
        spread_mass(shell, 1.0, np.zeros(shell.layout.ne, bool))
    rows = fastener_rows(shell, [np.ones(shell.layout.ne, bool)], np.array([[0.0, 0, 1]]))
    with pytest.raises(ModelError, match="negative or not symmetric"):
        hung_mass(rows, 0, 1.0, None, np.diag([1.0, 1.0, -1.0]))
    with pytest.raises(ModelError, match="above 0"):
        count_below(equilibrium, mass, 0.0)
    with pytest.raises(ModelError, match="different meshes"):
        assurance(np.zeros((3, 1)), np.zeros((3, 1)), mass)


# ---------------------------------------------------------------------------------------- from shapes known roughly
def test_a_start_saves_work_and_hides_nothing():
    """Shapes of elements of the lower order as a start give the same modes; so do some that leave out the lowest."""
    found = {}
    for k in (2, 3):
        shell, fixed = square(k, 4, isotropic(1.0, 0.3, 0.02), "CSCF")
        mass = Mass(shell, sheet(0.02))
        found[k] = shell, unloaded(shell, Supports(fixed)), mass, vibration(unloaded(shell, Supports(fixed)), mass, 6)
    shell, equilibrium, mass, plain = found[3]
    near = np.stack([carried(found[2][0], shell, shape) for shape in found[2][3].shapes.T], axis=1)
    for start in (near, near[:, 3:]):
        again = vibration(equilibrium, mass, 4, start=start)
        assert again.omega == pytest.approx(plain.omega[: len(again.omega)], rel=1e-9)
        assert np.diag(assurance(plain.shapes[:, :4], again.shapes[:, :4], mass)) == pytest.approx(1.0, abs=1e-9)
    calls = []
    answers = Krylov(lambda f: calls.append(1) or f / 2.0, lambda v: v, 3, np.eye(3)[:, :1])
    assert answers.greatest(1)[0] == pytest.approx([0.5])
    assert len(calls) == 2  # one for the start, one for what it leads to: nothing new
