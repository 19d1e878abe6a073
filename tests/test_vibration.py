"""Natural frequencies against published tables and exact solutions; the printed value beside each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.spatial.transform import Rotation
from shell_problems import X_AXIS, flat, grid, isotropic, marks
from vibration_problems import HOLDS, frequency, sheet, square

from panelfem.mesh.curved import CurvedMesh
from panelfem.reference import navier_modes, vibrating_beam
from panelfem.reference.eigen_plate import EigenPlate
from panelfem.reference.stiffness import laminate
from panelfem.shell import Shell, Supports
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Acting, Equilibrium, Point, Shape
from panelfem.shell.large import ElementLoads
from panelfem.shell.mass import Mass, hung_mass, spread_mass
from panelfem.shell.modes import Modes, greatest_motion
from panelfem.shell.supports import edge_nodes, edge_springs, fastener_rows
from panelfem.shell.vibration import count_below, unloaded, vibration


# ------------------------------------------------------------------------------------------------ thin plates
# Leissa 1973, J. Sound Vib. 31:257, ω a² √(ρh/D), ν = .3 (from memory): exact with two opposite edges supported, else
# upper bounds; the last column is what later solutions give (from memory) or None.
@pytest.mark.parametrize(
    ("code", "printed", "converged"),
    [
        ("CCCC", 35.992, 35.985),
        ("SSCC", 28.951, None),
        ("SSSF", 11.685, None),
        ("SSFF", 9.631, None),
        ("SCSC", 27.056, None),
        ("CCSF", 23.46, 23.371),
        ("CFFF", 3.4917, 3.471),
        ("FFFF", 13.489, 13.468),
    ],
)
def test_thin_square_plates(code, printed, converged):
    h = 1e-3
    holds = tuple(HOLDS[c] for c in code)
    reference = EigenPlate(isotropic(12 * 0.91, 0.3, 1.0), 1.0, 1.0, holds, degree=14).frequencies(1, 1.0)[0]
    assert reference == pytest.approx(printed if converged is None else converged, rel=3e-4)
    assert reference == pytest.approx(printed, rel=7e-3)
    scale = np.sqrt(h / isotropic(1.0, 0.3, h)[3, 3])
    found = frequency(4, 4, h, code, 7)
    first = found.omega[found.omega > 0][0] * scale
    assert first == pytest.approx(reference, rel=1e-3)


def test_a_free_plate_has_six_zeros_and_says_so():
    for h in (1e-2, 1e-4):
        found = frequency(4, 3, h, "FFFF", 7)
        assert found.zeros == 6
        assert (found.omega[:6] == 0.0).all()
        assert found.notes == ("6 zero frequencies: the panel is free to move and turn as a whole: nothing holds it",)
        assert found.share.sum(axis=0) == pytest.approx(1.0, abs=1e-9)  # all of it moves in them


def test_what_is_free_is_named():
    found = frequency(3, 3, 1e-2, "SSSS", 1)  # held out of its plane only
    assert found.zeros == 3
    assert "3 zero frequencies: the panel is free to move along" in found.notes[0]
    assert "turn about the axis through" in found.notes[0]


def test_a_soft_suspension_is_not_taken_for_zero():
    """A plate on springs so soft that it bounces at 1/3000 of its first elastic frequency: ω = √(k/m), a rigid body."""
    h = 0.01
    shell, fixed = square(3, 4, isotropic(1.0, 0.3, h), "FFFF")
    corners = np.concatenate([shell.mesh.triangles[:, [a, b]] for a, b in ((0, 1), (1, 2), (2, 0))])
    rim = np.array([np.abs(shell.mesh.x[pair, :2] - 0.5).max(axis=1).min() > 0.5 - 1e-9 for pair in corners])
    mid = shell.mesh.x[corners].mean(axis=1)
    rim &= (np.abs(mid[:, :2] - 0.5) > 0.5 - 1e-9).any(axis=1)
    along = edge_nodes(shell.mesh, corners[rim])
    stiffness = h * (1e-3 * 13.47 / 3) ** 2 * isotropic(1.0, 0.3, h)[3, 3] / h
    springs = edge_springs(shell.mesh, along, translation=stiffness / 4)
    found = vibration(unloaded(shell, Supports(fixed, springs)), Mass(shell, sheet(h)), 7)
    assert found.zeros == 0
    bounce = np.sqrt(stiffness / h)
    assert np.abs(found.omega[:6] / bounce - 1).min() < 1e-5
    assert found.omega[6] > 500 * bounce


# ------------------------------------------------------------------------------------- thick and laminated plates
# Reddy, Mechanics of Laminated Composite Plates and Shells, first-order, k = 5/6, E1/E2 = 40, G12 = G13 = .6 E2,
# G23 = .5 E2, ν12 = .25, a/h = 10: ω a² √(ρ/E2)/h (from memory); Navier's series reproduces both.
@pytest.mark.parametrize(
    ("angles", "family", "printed", "in_plane"),
    [
        ((0, 90), "cross-ply", 10.473, ((1,), (1,), (0,), (0,))),
        ((45, -45), "angle-ply", 13.044, ((0,), (0,), (1,), (1,))),
    ],
)
def test_laminated_plates(angles, family, printed, in_plane):
    h = 0.1
    C = laminate(40, 1, 0.25, 0.6, 0.6, 0.5, [(a, h / 2) for a in angles])
    reference = navier_modes.frequencies(C, 1.0, 1.0, h, h**3 / 12, family=family)[0] / h
    assert reference == pytest.approx(printed, rel=1e-4)
    shell, fixed = square(4, 4, C, "SSSS", in_plane=in_plane)
    found = vibration(unloaded(shell, Supports(fixed)), Mass(shell, sheet(h)), 1)
    assert found.omega[0] / h == pytest.approx(reference, rel=1e-4)


@pytest.mark.parametrize(("k", "cells"), [(2, (4, 8)), (3, (2, 4)), (4, (1, 2))])
def test_frequencies_fall_to_the_exact_ones(k, cells):
    """Hard-supported thick plate against Navier's series: from above, at the rate h^2k of an eigenvalue."""
    h = 0.1
    law = isotropic(1.0, 0.3, h)
    exact = navier_modes.frequencies(law, 1.0, 1.0, h, h**3 / 12)[0]
    off = []
    for n in cells:
        shell, fixed = square(k, n, law, "SSSS", 0.0, ((1,), (1,), (0,), (0,)))
        off.append(vibration(unloaded(shell, Supports(fixed)), Mass(shell, sheet(h)), 1).omega[0] / exact - 1)
    assert off[0] > off[1] > 0
    assert np.log2(off[0] / off[1]) > 2 * k - 0.7


def test_offset_laminate_has_the_frequencies_of_the_same_plate_seen_from_its_middle():
    """A sheet whose reference surface lies at its bottom, free: first and second moments of mass go with B and D (on
    this mesh to 1.1e-4: the bases do not hold each other)."""
    h = 0.1
    middle, bottom = (isotropic(1.0, 0.3, h, bottom=z) for z in (None, 0.0))
    found = []
    for law, moments in ((middle, sheet(h)), (bottom, np.array([h, h * h / 2, h**3 / 3]))):
        shell, fixed = square(4, 3, law, "FFFF")
        found.append(vibration(unloaded(shell, Supports(fixed)), Mass(shell, moments), 12).omega)
    assert found[1][6:12] == pytest.approx(found[0][6:12], rel=3e-4)
    wrong = vibration(unloaded(shell, Supports(fixed)), Mass(shell, sheet(h)), 12).omega
    assert abs(wrong[6:12] / found[0][6:12] - 1).max() > 1e-2


def test_clamped_circle():
    """ω R² √(ρh/D) = 10.2158 (Leissa, Vibration of Plates, 1969; from memory), 21.26 twice, 34.88 twice, 39.771."""
    rings, h = 3, 1e-3
    points, triangles = _hexagon(rings)

    def disc(q: np.ndarray) -> np.ndarray:
        angle = np.arctan2(q[:, 1], q[:, 0])
        turn = np.mod(angle, np.pi / 3) - np.pi / 6
        return np.column_stack([q * (np.cos(turn) / np.cos(np.pi / 6))[:, None], 0 * q[:, 0]])

    shell = Shell(CurvedMesh.lift(points, triangles, 4, disc), isotropic(1.0, 0.3, h), X_AXIS)
    rim = np.linalg.norm(shell.mesh.x[: shell.mesh.nb], axis=1) > 1 - 1e-9
    found = vibration(unloaded(shell, Supports(marks(shell, (rim, range(6))))), Mass(shell, sheet(h)), 6)
    scaled = found.omega * np.sqrt(h / isotropic(1.0, 0.3, h)[3, 3])
    assert scaled == pytest.approx([10.2158, 21.26, 21.26, 34.88, 34.88, 39.771], rel=1e-3)
    assert np.linalg.norm(greatest_motion(shell, found.shapes[:, 0]).place) < 0.1


def _hexagon(rings: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of a regular hexagon of radius one."""
    e = np.exp(1j * np.pi / 3 * np.arange(7))
    points: dict[tuple[int, int], int] = {}
    where, triangles = [], []

    def number(z: complex) -> int:
        key = (round(z.real * 1e6), round(z.imag * 1e6))
        if key not in points:
            points[key] = len(where)
            where.append((z.real, z.imag))
        return points[key]

    for s in range(6):
        a, b = e[s] / rings, e[s + 1] / rings
        for i in range(rings):
            for j in range(rings - i):
                corner = i * a + j * b
                triangles.append([number(corner), number(corner + a), number(corner + b)])
                if i + j < rings - 1:
                    triangles.append([number(corner + a), number(corner + a + b), number(corner + b)])
    return np.array(where), np.array(triangles)


# ------------------------------------------------------------------------------------------------- curved shells
def ring(k: int, around: int, turn: np.ndarray | None = None) -> tuple[Shell, Mass, float]:
    """A closed ring of radius 1, 0.1 wide, h = .01, ν = 0, with its mass and √(EI/m) per width."""
    h = 0.01
    p, t = grid(around, 1)
    numbers = np.arange(len(p))
    numbers[p[:, 0] > 1 - 1e-9] = numbers[p[:, 0] < 1e-9]
    flat_mesh = CurvedMesh.lift(p, t, k, flat)
    angle = 2 * np.pi * flat_mesh.x[:, 0]
    x = np.column_stack([np.cos(angle), 0.1 * flat_mesh.x[:, 1], -np.sin(angle)])
    closed = numbers[t]
    mesh = CurvedMesh.straight(np.column_stack([p, 0 * p[:, 0]]), closed, k)
    at = np.zeros_like(mesh.x)
    at[mesh.nodes] = x[flat_mesh.nodes]
    at[: len(p)] = x[: len(p)]
    turn = np.eye(3) if turn is None else turn
    shell = Shell(mesh.moved(at @ turn.T), isotropic(1.0, 0.0, h), turn @ [0.0, 1.0, 0.0])
    return shell, Mass(shell, sheet(h)), h / np.sqrt(12)


def test_free_ring():
    """In its plane ω² = n²(n² − 1)²/(n² + 1) EI/(m R⁴): 2.6833, 7.5895 for n = 2, 3, each twice (Hoppe 1871; Love, The
    Mathematical Theory of Elasticity, art. 293; from memory), inextensional and thin."""
    shell, mass, scale = ring(4, 12)
    supports = Supports(np.zeros((shell.mesh.nb, 6), bool))
    found = vibration(unloaded(shell, supports), mass, 16)
    assert found.zeros == 6
    radial = found.omega / scale
    for value in (2.6833, 7.5895):
        assert (np.abs(radial / value - 1) < 2e-3).sum() == 2


def test_turning_everything_changes_nothing():
    turn = Rotation.from_rotvec([0.7, -0.4, 1.1]).as_matrix()
    kept: list[Modes] = []
    for rotation in (None, turn):
        shell, mass, _ = ring(3, 12, rotation)
        held = shell.mesh.x[: shell.mesh.nb] @ (np.eye(3) if rotation is None else rotation)[:, 0] > 0.9
        hung = hung_mass(fastener_rows(shell, [np.arange(shell.layout.ne) == 5], np.ones((1, 3))), 0, 0.01)
        mass = Mass(shell, mass.moments, hung)
        kept.append(vibration(unloaded(shell, Supports(marks(shell, (held, range(6))))), mass, 6))
    assert kept[1].omega == pytest.approx(kept[0].omega, rel=1e-7)
    tensors = [np.einsum("ni,nj->nij", one.participation, one.participation) for one in kept]
    assert turn.T @ tensors[1] @ turn == pytest.approx(tensors[0], abs=1e-6 * kept[0].mass)


# --------------------------------------------------------------------------------------------- beams and pre-stress
def strip(k: int, n: int, h: float, length: float = 1.0, width: float = 0.05) -> Shell:
    p, t = grid(n, 1)
    return Shell(CurvedMesh.lift(p * [length, width], t, k, flat), isotropic(1.0, 0.0, h), X_AXIS)


def ends(shell: Shell) -> tuple[np.ndarray, np.ndarray]:
    x = shell.mesh.x[: shell.mesh.nb, 0]
    return x < 1e-9, x > x.max() - 1e-9


def moved(equilibrium: Equilibrium, factor: float) -> Point:
    return LoadPath(Newton(equilibrium)).at(factor)


def edge_force(shell: Shell, force: Sequence[float]) -> np.ndarray:
    """Dead load (n_total,) of a force per width N/m on the end of a strip, as its nodes carry it (Gauss–Lobatto like
    weights of the element's own polynomials)."""
    end = np.flatnonzero(ends(shell)[1])
    y = shell.mesh.x[end, 1]
    order = np.argsort(y)
    width = y.max()
    basis = np.linalg.inv(np.vander(y[order] / width, increasing=True))
    weights = (1.0 / np.arange(1, len(end) + 1)) @ basis
    out = np.zeros(shell.n_total)
    for c in range(3):
        out[6 * end[order] + c] = weights * width * force[c]
    return out


def test_strip_under_tension_and_compression():
    """Supported beam: m ω² = EI κ⁴ + T κ², κ = jπ/L (exact for a thin beam), about the state at each load."""
    h = 1e-3
    shell = strip(4, 8, h)
    a, b = ends(shell)
    # the strip only bends: no motion across, no twist
    every = np.ones(shell.mesh.nb, bool)
    fixed = marks(shell, (a, [0, 2]), (b, [2]), (every, [1, 3, 5]))
    euler = np.pi**2 * shell.stiffness[0, 3, 3]
    still = Acting(np.zeros(shell.n_total))
    equilibrium = Equilibrium(shell, still, Acting(edge_force(shell, (euler, 0, 0))), fixed)
    mass = Mass(shell, sheet(h))
    for factor in (0.0, 3.0):
        expected = vibrating_beam.supported_beam(3, shell.stiffness[0, 3, 3], h, 1.0, factor * euler)
        found = vibration(equilibrium, mass, 3, moved(equilibrium, factor))
        assert found.omega == pytest.approx(expected, rel=2e-4)
    squeezed = Equilibrium(shell, still, Acting(-edge_force(shell, (euler, 0, 0))), fixed)
    point = moved(squeezed, 0.75)
    found = vibration(squeezed, mass, 2, point)
    assert found.omega == pytest.approx(
        vibrating_beam.supported_beam(2, shell.stiffness[0, 3, 3], h, 1.0, -0.75 * euler), rel=5e-4
    )
    assert count_below(squeezed, mass, 1.001 * found.omega[1], point) == 2
    # beyond buckling the straight strip stays in equilibrium, but not a stable one: ω² = (κ⁴ EI − T κ²)/m < 0
    past = vibration(squeezed, mass, 2, moved(squeezed, 1.5))
    wave = np.pi * np.arange(1, 3)
    exact = (shell.stiffness[0, 3, 3] * wave**4 - 1.5 * euler * wave**2) / h
    assert past.squares == pytest.approx(exact, rel=2e-3)
    assert np.isnan(past.omega[0])
    assert past.notes == ("the state is not stable: it can give in 1 way, with ω² < 0",)


def test_stretched_membrane():
    """A plate so thin that a free shrinkage held back makes it a membrane: m ω² = T κ² + D κ⁴, κ² = π²(j² + k²)."""
    h, tension = 1e-3, 1e-5
    law = isotropic(1.0, 0.3, h)
    shell, fixed = square(4, 4, law, "SSSS", in_plane=((0, 1, 5),) * 4)
    initial = np.zeros((shell.layout.ne, 8))
    initial[:, :2] = -tension
    nothing = np.zeros(shell.n_total)
    equilibrium = Equilibrium(shell, Acting(nothing, ElementLoads(initial=initial)), Acting(nothing), fixed)
    found = vibration(equilibrium, Mass(shell, sheet(h)), 4, LoadPath(Newton(equilibrium)).held())
    wave = np.pi**2 * np.array([2.0, 5.0, 5.0, 8.0])
    assert found.omega == pytest.approx(np.sqrt((tension * wave + law[3, 3] * wave**2) / h), rel=2e-4)
    bare = vibrating_beam.membrane(4, (tension, tension), h, 1.0, 1.0)
    assert found.omega == pytest.approx(bare, rel=6e-4)
    slack = vibration(equilibrium, Mass(shell, sheet(h)), 1)
    assert slack.omega[0] < 0.1 * found.omega[0]


def test_cantilever_with_a_mass_at_its_tip():
    """1 + cos β cosh β + μ β (cos β sinh β − sin β cosh β) = 0: β = 1.8751, 4.6941 bare; with the beam's own mass
    1.2479, 4.0311 (Blevins 1979, from memory)."""
    h = 1e-3
    shell = strip(4, 16, h)
    supports = Supports(marks(shell, (ends(shell)[0], range(6)), (np.ones(shell.mesh.nb, bool), [1, 3, 5])))
    beam = h * 0.05
    tip = shell.mesh.centroids[:, 0] > 15 / 16
    rows = fastener_rows(shell, [tip], np.array([[0.0, 0, 1]]))
    scale = np.sqrt(h / shell.stiffness[0, 3, 3])
    for mass, printed in ((0.0, (1.8751, 4.6941)), (beam, (1.2479, 4.0311))):
        exact = vibrating_beam.cantilever(2, shell.stiffness[0, 3, 3], h, 1.0, mass / 0.05)
        assert np.sqrt(exact * scale) == pytest.approx(printed, rel=5e-5)
        arm = np.array([1.0, 0.025, 0.0]) - rows.place[0]
        found = vibration(unloaded(shell, supports), Mass(shell, sheet(h), hung_mass(rows, 0, mass, arm)), 2)
        assert found.omega == pytest.approx(exact, rel=1e-3)
        assert found.mass == pytest.approx(beam + mass)
    # a turning inertia at the tip: lower again; a heavy one alone swings on the beam, ω² = 3 EI/L³/M for a point mass
    block = hung_mass(rows, 0, 100 * beam, arm, 1e-3 * beam * np.eye(3))
    heavy = vibration(unloaded(shell, supports), Mass(shell, sheet(h), block), 1).omega[0]
    lone = np.sqrt(3 * 0.05 * shell.stiffness[0, 3, 3] / (100 + 33 / 140) / beam)
    assert heavy == pytest.approx(lone, rel=1e-3)


def test_a_mass_spread_over_a_region():
    """Three times the plate's own mass over all of it halves every frequency; kilograms and heights by hand."""
    h = 1e-3
    shell, fixed = square(3, 3, isotropic(1.0, 0.3, h), "CCCC")
    equilibrium = unloaded(shell, Supports(fixed))
    bare = vibration(equilibrium, Mass(shell, sheet(h)), 2)
    everywhere = np.ones(shell.layout.ne, bool)
    laden = vibration(equilibrium, Mass(shell, sheet(h) + spread_mass(shell, 3 * h, everywhere)), 2)
    assert laden.omega == pytest.approx(bare.omega / 2, rel=1e-5)
    assert laden.mass == pytest.approx(4 * h)
    part = spread_mass(shell, 0.5, shell.mesh.centroids[:, 0] < 0.5, 0.01)
    assert Mass(shell, part).total == pytest.approx(0.5)
    on = part[:, 0] > 0
    assert part[on, 1] == pytest.approx(0.01 * part[on, 0])
    assert part[on, 2] == pytest.approx(1e-4 * part[on, 0])


def test_a_shape_that_touches_stays_in_touch():
    """A clamped beam on an edge at its middle: halves that are clamped and supported (β = 3.9266 over L/2), or clamped
    at both ends (4.7300); bare 4.7300, 7.8532 over L (roots of cos β cosh β = 1 and tan β = tanh β; from memory)."""
    h = 1e-3
    shell = strip(4, 8, h)
    a, b = ends(shell)
    every = np.ones(shell.mesh.nb, bool)
    fixed = marks(shell, (a | b, range(6)), (every, [1, 3, 5]))
    middle = np.flatnonzero(np.abs(shell.mesh.x[: shell.mesh.nb, 0] - 0.5) < 1e-9)
    m = len(middle)
    rows = csr_array((np.ones(m), (np.arange(m), 6 * middle + 2)), shape=(m, shell.n_total))
    shape = Shape(rows, np.zeros(m), np.ones(m), "advance", 1e-9, None, True)
    still = Acting(np.zeros(shell.n_total))
    equilibrium = Equilibrium(shell, still, still, fixed, shapes=[shape])
    point = moved(equilibrium, 1.0)
    assert point.touching.any()
    mass, scale = Mass(shell, sheet(h)), np.sqrt(h / shell.stiffness[0, 3, 3])
    touched = np.sqrt(vibration(equilibrium, mass, 2, point).omega * scale)
    free = np.sqrt(vibration(equilibrium, mass, 2).omega * scale)
    assert free == pytest.approx([4.7300, 7.8532], rel=5e-4)
    assert touched == pytest.approx([2 * 3.9266, 2 * 4.7300], rel=5e-4)
