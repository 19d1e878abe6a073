"""Plates against published tables, exact series, and an independent Kirchhoff element."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial.legendre import legder, leggauss, legval
from shell_problems import X_AXIS, at, flat, grid, isotropic, marks, orthotropic, plate, stiffness, turned
from skfem import Basis, BilinearForm, ElementTriArgyris, LinearForm, MeshTri, condense, solve
from skfem.helpers import dd, ddot, eye, trace

from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports

MIDDLE = (0.5, 0.5, 0.0)


def deflection(k, n, law, edges, load=1.0, sides=(1.0, 1.0), distort=0.0) -> float:
    shell, _, u = plate(k, n, law, edges, load, sides, distort)
    return float(u[6 * at(shell, (sides[0] / 2, sides[1] / 2, 0.0)) + 2])


# --------------------------------------------------------------------------------------------- thin plates
# Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, tables 8 and 35 (recalled); ν = 0.3, w D/qa⁴, a the short
# side; the clamped square printed .00126, converged .0012653.
@pytest.mark.parametrize(
    ("ratio", "supported", "clamped", "moment"),
    [
        (1.0, 0.00406, 0.0012653, -0.0513),
        (1.2, 0.00564, 0.00172, -0.0639),
        (1.5, 0.00772, 0.00220, -0.0757),
        (2.0, 0.01013, 0.00254, -0.0829),
    ],
)
@pytest.mark.parametrize(("k", "n"), [(2, 14), (4, 4)])
def test_thin_plates_of_the_book(k, n, ratio, supported, clamped, moment):
    law = isotropic(1.0, 0.3, 1e-3)
    D, sides = law[3, 3], (1.0, ratio)
    assert deflection(k, n, law, "supported", D, sides) == pytest.approx(supported, rel=5e-3)
    shell, _, u = plate(k, n, law, "clamped", D, sides)
    assert u[6 * at(shell, (0.5, ratio / 2, 0)) + 2] == pytest.approx(clamped, rel=5e-3)
    recovery = shell.recovery(np.zeros(len(shell.mesh.triangles), int))
    point = np.argmin(np.linalg.norm(recovery.points - [0.0, ratio / 2, 0.0], axis=1))
    strain = recovery.strains(u)[point]
    # k11 = β1,1 = −w,xx: positive where the plate sags, so the book's edge moment has this sign
    assert D * (strain[3] + 0.3 * strain[4]) / D == pytest.approx(moment, rel=2e-2)


@pytest.mark.parametrize(("k", "n"), [(2, 16), (3, 8), (4, 6)])
def test_mindlin_plate(k, n):
    """h/a = 0.1, k = 5/6, ν = 0.3: .001505 clamped, .004273 supported (hard) (recalled; reproduced to 3e-4)."""
    law = isotropic(1.0, 0.3, 0.1)
    assert deflection(k, n, law, "clamped", law[3, 3]) == pytest.approx(0.001505, rel=2e-3)
    assert deflection(k, n, law, "supported", law[3, 3]) == pytest.approx(0.004273, rel=1e-3)


def navier(thickness: float, nu: float = 0.3, terms: int = 59) -> float:
    """w D/qa⁴ at the middle of a hard-supported square Mindlin plate: Kirchhoff's series plus the shear term."""
    law = isotropic(1.0, nu, thickness)
    D, S, w = law[3, 3], law[6, 6], 0.0
    for i in range(1, terms + 1, 2):
        for j in range(1, terms + 1, 2):
            a2 = np.pi**2 * (i * i + j * j)
            w += (-1) ** ((i + j) // 2 - 1) * 16 / np.pi**2 / i / j * (1 / a2**2 + D / S / a2)
    return w


@pytest.mark.parametrize("thickness", [1e-1, 1e-3, 1e-5])
@pytest.mark.parametrize(("k", "n", "within"), [(2, 12, 3e-3), (3, 6, 1e-3), (4, 4, 5e-4), (6, 2, 5e-4)])
def test_no_locking_on_distorted_meshes(k, n, within, thickness):
    law = isotropic(1.0, 0.3, thickness)
    w = deflection(k, n, law, "supported", law[3, 3], distort=0.25)
    assert w == pytest.approx(navier(thickness), rel=within)


@pytest.mark.parametrize(("k", "meshes"), [(2, (4, 8, 16)), (3, (2, 4, 8)), (4, (2, 4, 8)), (5, (1, 2, 4))])
def test_energy_converges_like_h_to_2k(k, meshes):
    """Smooth load, exact first-order solution: the work of the load converges at the full rate h^2k."""
    law = isotropic(1.0, 0.3, 0.2)
    D, S = law[3, 3], law[6, 6]
    exact = (1 / (4 * np.pi**4) + D / S / (2 * np.pi**2)) * D / 4

    def load(x):
        return D * np.sin(np.pi * x[..., 0]) * np.sin(np.pi * x[..., 1])

    errors = []
    for n in meshes:
        shell, _, u = plate(k, n, law, "supported", load)
        work = shell.traction(lambda x, n: np.stack([0 * x[..., 0], 0 * x[..., 0], load(x)], axis=-1)) @ u
        errors.append(abs(work / exact - 1))
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert rates[-1] > 2 * k - 0.5, (errors, rates)


# --------------------------------------------------------------------------------- an independent reference
def argyris(load: float, D: float, nu: float, refine: int = 3) -> float:
    """Deflection at the middle of a clamped square Kirchhoff plate with scikit-fem's Argyris element."""
    mesh = MeshTri.init_symmetric().refined(refine)
    basis = Basis(mesh, ElementTriArgyris(), intorder=8)

    @BilinearForm
    def bending(u, v, w):
        def moments(u):
            return D * ((1 - nu) * dd(u) + nu * eye(trace(dd(u)), 2))

        return ddot(moments(u), dd(v))

    @LinearForm
    def force(v, w):
        return load * v

    fixed = basis.get_dofs().all(["u", "u_x", "u_y", "u_xx", "u_xy", "u_yy", "u_n"])
    # on a straight clamped edge only the second derivative across it is free: along x = 0, 1 u_xx; along y = 0, 1 u_yy
    left_right = basis.get_dofs(lambda x: (x[0] < 1e-9) | (x[0] > 1 - 1e-9))
    top_bottom = basis.get_dofs(lambda x: (x[1] < 1e-9) | (x[1] > 1 - 1e-9))
    free = np.setdiff1d(
        np.union1d(left_right.all(["u_xx"]), top_bottom.all(["u_yy"])),
        np.intersect1d(left_right.all(["u_xx"]), top_bottom.all(["u_xx"])),
    )
    free = np.setdiff1d(free, np.intersect1d(left_right.all(["u_yy"]), top_bottom.all(["u_yy"])))
    system = condense(bending.assemble(basis), force.assemble(basis), D=np.setdiff1d(fixed, free))
    return float((basis.probes(np.array([[0.5], [0.5]])) @ solve(*system)).item())


def test_clamped_plate_agrees_with_an_argyris_plate():
    law = isotropic(1.0, 0.3, 1e-4)
    reference = argyris(1.0, 1.0, 0.3)
    assert reference == pytest.approx(0.00126532, rel=1e-4)
    assert deflection(4, 6, law, "clamped", law[3, 3]) == pytest.approx(reference, rel=5e-5)


# --------------------------------------------------------------------------------------------- laminates
def reddy(angles: list[float], h: float) -> np.ndarray:
    law, shear = orthotropic(25.0, 1.0, 0.25, 0.5), np.diag([0.5, 0.2])
    return stiffness([(*turned(law, shear, a), h / len(angles)) for a in angles])


# Reddy, Mechanics of Laminated Composite Plates and Shells, first-order theory, 100 w E2 h³/(q a⁴), sinusoidal load
# (recalled; reproduced to 2e-4).
@pytest.mark.parametrize(
    ("angles", "slenderness", "value", "edges"),
    [
        ([0, 90], 10, 1.2373, "supported"),
        ([0, 90], 100, 1.0653, "supported"),
        ([0, 90, 90, 0], 10, 0.6627, "supported"),
        ([0, 90, 90, 0], 100, 0.4337, "supported"),
        ([45, -45], 10, 0.8284, "angle"),
    ],
)
@pytest.mark.parametrize(("k", "n"), [(2, 12), (4, 4)])
def test_first_order_laminates(k, n, angles, slenderness, value, edges):
    h = 1 / slenderness

    def load(x):
        return np.sin(np.pi * x[..., 0]) * np.sin(np.pi * x[..., 1])

    w = deflection(k, n, reddy(angles, h), edges, load)
    assert 100 * w * h**3 == pytest.approx(value, rel=1.5e-3)


def ashton_ritz(terms: int) -> float:
    """w D11/(q a⁴) at the middle of Ashton's plate by a Ritz series of beam-like polynomials of its own.

    D22 = D11, D12 = .3, D66 = .6, D16 = D26 = −.5 D11, supported; functions x(1−x) P_i(2x−1).
    """
    x, weight = leggauss(terms + 4)
    s, weight = (x + 1) / 2, weight / 2
    p0, p1, p2 = (np.array([2**m * legval(x, legder(np.eye(terms)[i], m)) for i in range(terms)]) for m in range(3))
    b, b1, b2 = s * (1 - s), 1 - 2 * s, -2.0
    v, d, c = b * p0, b1 * p0 + b * p1, b2 * p0 + 2 * b1 * p1 + b * p2

    def product(a, b):
        return (a * weight) @ b.T

    D11, D22, D12, D66, D16, D26 = 1.0, 1.0, 0.3, 0.6, -0.5, -0.5
    vv, cc, vc, dd_ = product(v, v), product(c, c), product(v, c), product(d, d)
    cd, dv = product(c, d), product(d, v)
    K = D11 * np.kron(cc, vv) + D22 * np.kron(vv, cc) + D12 * (np.kron(vc.T, vc) + np.kron(vc, vc.T))
    K = K + 4 * D66 * np.kron(dd_, dd_)
    K = K + 2 * D16 * (np.kron(cd, dv.T) + np.kron(cd.T, dv)) + 2 * D26 * (np.kron(dv.T, cd) + np.kron(dv, cd.T))
    f = np.kron(v @ weight, v @ weight)
    middle = np.array([legval(0.0, np.eye(terms)[i]) for i in range(terms)]) / 4
    return float(np.kron(middle, middle) @ np.linalg.solve(K, f))


def test_ashtons_anisotropic_plate():
    """Ashton: about .00455 w D11/qa⁴ (the quoted .00452 is a little low); converged by the Ritz series above."""
    # singular corners: the series rises slowly, .0045444, .0045476, .0045494 with 20, 28, 40 terms
    reference = ashton_ritz(24)
    assert reference == pytest.approx(ashton_ritz(16), rel=2e-3)
    assert reference == pytest.approx(0.00455, rel=2e-3)
    D = np.array([[1.0, 0.3, -0.5], [0.3, 1.0, -0.5], [-0.5, -0.5, 0.6]])
    law = np.zeros((8, 8))
    law[:3, :3], law[3:6, 3:6], law[6:, 6:] = 12e6 * D, D, 5e6 * np.eye(2)  # thin: h = 1e-3
    p, t = grid(10, 10)
    shell = Shell(CurvedMesh.lift(p, t, 4, flat), law, X_AXIS)
    x = shell.mesh.x[: shell.mesh.nb]
    rim = ((x[:, :2] < 1e-9) | (x[:, :2] > 1 - 1e-9)).any(axis=1)
    u = shell.factor(Supports(marks(shell, (rim, [0, 1, 2])))).solve(shell.traction(np.array([0, 0, 1.0])))
    assert u[6 * at(shell, MIDDLE) + 2] == pytest.approx(0.00455, rel=4e-3)


# --------------------------------------------------------------------------- eccentric, stepped and heated strips
def strip(k: int, laws: np.ndarray | list[np.ndarray], n: int = 6, length: float = 0.2, width: float = 0.02) -> Shell:
    """A strip along x; the left half has the first law, the right half the last."""
    p, t = grid(n, 1)
    shell = Shell(CurvedMesh.lift(p * [length, width], t, k, flat), np.zeros((8, 8)), X_AXIS)
    laws = np.asarray(laws)
    law = np.where((shell.mesh.centroids[:, 0] < length / 2)[:, None, None], laws[0], laws[-1])
    return shell.exchanged(law)


def pull(shell: Shell, length: float, width: float, force: float) -> np.ndarray:
    """Load (n_total,) of a force per width at the end x = length, consistent with polynomials of order k along it."""
    k, x = shell.mesh.order, shell.mesh.x[: shell.mesh.nb]
    end = np.flatnonzero(np.abs(x[:, 0] - length) < 1e-9)
    end = end[np.argsort(x[end, 1])]
    s = np.linspace(0, 1, k + 1)
    weights = np.linalg.solve(np.vander(s, increasing=True).T, 1 / np.arange(1, k + 2))
    load = np.zeros(shell.n_total)
    load[6 * end] = force * width * weights
    return load


@pytest.mark.parametrize("k", [2, 3, 4])
def test_a_strip_with_eccentric_plies_bends_when_pulled(k):
    """Sheet with its mid-plane at z = c, ν = 0, pulled at z = 0: N/(Et) and curvature −N c/D about its own middle."""
    E, t, c, N, length, width = 70e9, 1e-3, 2e-3, 1e4, 0.2, 0.02
    law = isotropic(E, 0.0, t, bottom=c - t / 2)
    shell = strip(k, [law])
    x = shell.mesh.x[: shell.mesh.nb]
    held = marks(shell, (x[:, 0] < 1e-9, range(6)))
    u = shell.factor(Supports(held)).solve(pull(shell, length, width, N))
    D = E * t**3 / 12
    curvature = -N * c / D
    strain = shell.strains(u, np.array([[1 / 3], [1 / 3]]))[:, 0]
    assert strain[:, 3] == pytest.approx(curvature, rel=1e-6)
    assert strain[:, 0] == pytest.approx(N / E / t - c * curvature, rel=1e-6)
    tip = at(shell, (length, 0, 0))
    assert u[6 * tip + 2] == pytest.approx(-curvature * length**2 / 2, rel=1e-6)


@pytest.mark.parametrize("k", [2, 4])
def test_a_step_to_an_eccentric_zone(k):
    """Left half: the sheet alone; right half: a second sheet bonded on top.  Pulled, only the right half bends."""
    E, t, N, length, width = 70e9, 1e-3, 1e4, 0.2, 0.02
    single = isotropic(E, 0.0, t)
    double = isotropic(E, 0.0, 2 * t, bottom=-t / 2)
    shell = strip(k, [single, double])
    x = shell.mesh.x[: shell.mesh.nb]
    u = shell.factor(Supports(marks(shell, (x[:, 0] < 1e-9, range(6))))).solve(pull(shell, length, width, N))
    right = shell.mesh.centroids[:, 0] > length / 2
    curvature = -N * (t / 2) / (E * (2 * t) ** 3 / 12)
    strain = shell.strains(u, np.array([[1 / 3], [1 / 3]]))[:, 0]
    assert strain[right, 3] == pytest.approx(curvature, rel=1e-6)
    assert np.abs(strain[~right, 3]).max() < 1e-6 * abs(curvature)
    tip = at(shell, (length, 0, 0))
    assert u[6 * tip + 2] == pytest.approx(-curvature * (length / 2) ** 2 / 2, rel=1e-6)
    recovery = shell.recovery(right.astype(np.int64))
    found = recovery.strains(u)
    expected = np.where(recovery.group == 1, curvature, 0.0)
    assert found[:, 3] == pytest.approx(expected, abs=1e-6 * abs(curvature)), "groups are never averaged"


@pytest.mark.parametrize("k", [2, 3, 4, 6])
def test_a_heated_two_layer_strip_curls(k):
    """Two free sheets with expansions α1, α2 (ν = 0): Timoshenko 1925, J. Opt. Soc. Am. 11:233, equal sheets:
    κ = 3 (α_b − α_t) ΔT/(4 t) upwards (derived here from force and moment balance too)."""
    E, t, dT = 70e9, 1e-3, 80.0
    alpha_bottom, alpha_top = 23e-6, 3e-6
    law = isotropic(E, 0.0, 2 * t)
    N = E * t * dT * (alpha_bottom + alpha_top)
    M = E * t * dT * (alpha_top - alpha_bottom) * t / 2
    shell = strip(k, [law])
    thermal = shell.residual_strain(np.broadcast_to([N, N, 0, M, M, 0], (len(shell.mesh.triangles), 6)))
    a, b, c = at(shell, (0, 0, 0)), at(shell, (0.2, 0, 0)), at(shell, (0, 0.02, 0))
    fixed = marks(shell, ([a], [0, 1, 2]), ([b], [1, 2]), ([c], [2]))
    system = shell.factor(Supports(fixed))
    u = system.solve(thermal)
    strain = shell.strains(u, np.array([[0.2], [0.5]]))[:, 0]
    curvature = 3 * (alpha_top - alpha_bottom) * dT / (4 * t)
    assert strain[:, 3:5] == pytest.approx(curvature, rel=1e-6)
    assert strain[:, 0] == pytest.approx((alpha_bottom + alpha_top) / 2 * dT, rel=1e-6)
    reaction = system.reactions(u, thermal)[: shell.n_boundary]
    assert np.abs(reaction).max() < 1e-6 * np.abs(thermal).max(), "nothing is held, so nothing pushes"
