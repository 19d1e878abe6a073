"""References for vibration and buckling against printed values, limits and each other."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import legendre
from scipy.optimize import brentq
from scipy.special import iv, jn_zeros, jv

from panelfem.errors import ModelError
from panelfem.reference import navier_modes, vibrating_beam
from panelfem.reference.cylinder_buckling import classical_stress, cylinder_modes, donnell_load
from panelfem.reference.eigen import lowest
from panelfem.reference.eigen_plate import EigenPlate, Plane
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.reference.kirchhoff import Hold, edge_polynomials
from panelfem.reference.stiffness import isotropic, laminate

HOLDS: dict[str, Hold] = {"C": "clamped", "S": "supported", "F": "free"}
UNIT = isotropic(12 * 0.91, 0.3, 1.0)  # bending stiffness 1 N·m


def edges(code: str) -> tuple[Hold, Hold, Hold, Hold]:
    """x = 0, x = a, y = 0, y = b."""
    return tuple(HOLDS[c] for c in code)


def stiff(*angles: float) -> np.ndarray:
    """Reddy's material, E1/E2 = 40, a/h = 10 for a = 1."""
    return laminate(40, 1, 0.25, 0.6, 0.6, 0.5, [(a, 0.1 / len(angles)) for a in angles])


class TestVibratingPlates:
    @pytest.mark.parametrize(
        ("code", "value", "rel"),
        [
            ("CCCC", 35.992, 3e-4),
            ("SSCC", 28.951, 2e-5),  # exact there
            ("SSSF", 11.685, 5e-5),  # exact there
            ("SSFF", 9.631, 5e-5),  # exact there
            ("SCSC", 27.056, 1e-4),
            ("CCSF", 23.46, 4e-3),
            ("CFFF", 3.4917, 6e-3),
            ("FFFF", 13.489, 2e-3),
        ],
    )
    def test_square_plates(self, code: str, value: float, rel: float) -> None:
        """Leissa, J. Sound Vib. 31:257, 1973 (recalled): exact with two opposite edges supported, else upper bounds."""
        got = EigenPlate(UNIT, 1.0, 1.0, edges(code)).frequencies(1, 1.0)[0]
        assert got == pytest.approx(value, rel=rel)
        assert got < value + 6e-4

    @pytest.mark.parametrize(("code", "value"), [("CCSF", 23.371), ("CFFF", 3.471), ("FFFF", 13.468)])
    def test_converged_where_the_printed_bounds_are_not(self, code: str, value: float) -> None:
        """Values of later solutions (recalled); ours fall to them from above."""
        low, high = (EigenPlate(UNIT, 1.0, 1.0, edges(code), degree=p).frequencies(1, 1.0)[0] for p in (8, 16))
        assert low > high
        assert high == pytest.approx(value, rel=1e-4)

    def test_thick(self) -> None:
        """Mindlin, h/a = .1, ω a √(2(1+ν)ρ/E): supported .930, 2.219 (exact, k = 5/6); clamped 1.594, an upper bound
        with k = .8601 (Dawe & Roufaeil, J. Sound Vib. 69:345, 1980); recalled."""
        unit = np.sqrt(2.6 * 10 / (12 * 0.91e3))
        for code, k, values, rel in (("SSSS", 5 / 6, (0.930, 2.219), 4e-4), ("CCCC", 0.8601, (1.594, 3.039), 3e-3)):
            C = isotropic(12 * 0.91e3, 0.3, 0.1, k)
            got = EigenPlate(C, 1.0, 1.0, edges(code), thin=False).frequencies(2, 1.0, 1 / 1200) * unit
            assert got == pytest.approx(values, rel=rel)

    def test_a_thick_plate_of_no_thickness_is_thin(self) -> None:
        C = isotropic(12 * 0.91e9, 0.3, 1e-3)
        for code in ("CFSF", "FFFF"):
            thin, thick = (EigenPlate(C, 1.0, 1.3, edges(code), thin=t).frequencies(3, 1.0) for t in (True, False))
            assert thick == pytest.approx(thin, rel=5e-4)

    def test_free_plate_has_no_rigid_motion_among_its_modes(self) -> None:
        """Coupled: six rigid motions; stretched: the turns out of the plane swing, ω² = 12 N/(m a²) as if stiff."""
        C = stiff(0, 90)
        free = EigenPlate(C, 1.0, 1.0, edges("FFFF"), thin=False)
        first = free.frequencies(1, 0.1)[0]
        light = free.frequencies(3, 0.1, prestress=(1e-7, 0.0, 0.0))
        assert light[0] == pytest.approx(np.sqrt(12 * 1e-7 / 0.1), rel=1e-4)
        assert light[1] == pytest.approx(first, rel=1e-4)

    def test_prestress_and_buckling_agree(self) -> None:
        """ω² falls to nothing at the buckling load: along a line, but for the little that in-plane inertia bends it."""
        plate = EigenPlate(stiff(0, 90), 1.0, 1.0, edges("SSSS"), thin=False)
        critical = plate.factors(1, (-1.0, 0.0, 0.0))[0]
        none, half = (plate.frequencies(1, 0.1, prestress=(-s * critical, 0.0, 0.0))[0] for s in (0.0, 0.5))
        assert half**2 == pytest.approx(none**2 / 2, rel=1e-4)
        assert half**2 >= none**2 / 2  # the lowest eigenvalue is a concave function of the prestress
        assert plate.frequencies(1, 0.1, prestress=(-critical * (1 - 1e-6), 0, 0))[0] < 2e-3 * none
        with pytest.raises(ModelError, match="not stable"):
            plate.frequencies(1, 0.1, prestress=(-critical * (1 + 1e-6), 0.0, 0.0))

    def test_soft_edges_are_weaker(self) -> None:
        C = isotropic(12 * 0.91e3, 0.3, 0.1)
        hard, soft = (
            EigenPlate(C, 1.0, 1.0, edges("SSSS"), thin=False, soft=s).frequencies(1, 1.0)[0] for s in (False, True)
        )
        assert 0.95 * hard < soft < 0.999 * hard


class TestBuckling:
    @pytest.mark.parametrize(
        ("code", "prestress", "value", "rel"),
        [
            ("SSSS", (-1.0, 0.0, 0.0), 4.0, 1e-9),
            ("SSSS", (-1.0, -1.0, 0.0), 2.0, 1e-9),
            ("SSSS", (0.0, 0.0, 1.0), 9.34, 2e-3),  # 9.3245 converged: the printed one is an older bound
            ("CCCC", (-1.0, 0.0, 0.0), 10.07, 5e-4),
            ("CCCC", (-1.0, -1.0, 0.0), 5.30, 1e-3),
            ("CCCC", (0.0, 0.0, 1.0), 14.64, 3e-4),  # often printed 14.71, an older bound
        ],
    )
    def test_square_plates(self, code: str, prestress: tuple[float, float, float], value: float, rel: float) -> None:
        """k = N b²/(π² D): Timoshenko & Gere, *Theory of Elastic Stability*; clamped: later solutions (recalled)."""
        k = EigenPlate(UNIT, 1.0, 1.0, edges(code)).factors(1, prestress)[0] / np.pi**2
        assert k == pytest.approx(value, rel=rel)

    @pytest.mark.parametrize(("code", "value"), [("SSSF", 0.425), ("SSCF", 1.277), ("SSCC", 6.97), ("SSSC", 5.42)])
    def test_long_plates(self, code: str, value: float) -> None:
        """Flange and web factors of long plates: .425 (ν = .3), 1.277, 6.97, 5.42 (NACA TN 3781; recalled).  The first
        is the limit of (b/a)² + .425 (ν = .3), so that is added; the others at the length of a whole wave or more."""
        length = {"SSSF": 10.0, "SSCF": 1.64, "SSCC": 0.66, "SSSC": 0.79}[code]
        k = EigenPlate(UNIT, length, 1.0, edges(code)).factors(1, (-1.0, 0.0, 0.0))[0] / np.pi**2
        assert k == pytest.approx(value + (0.01 if code == "SSSF" else 0.0), rel=5e-3)

    def test_sign_of_shear_matters_to_angle_ply_only(self) -> None:
        one, other = (EigenPlate(UNIT, 1.0, 1.0, edges("CCCC")).factors(1, (0.0, 0.0, s))[0] for s in (1.0, -1.0))
        assert one == pytest.approx(other, rel=1e-9)
        skew = EigenPlate(stiff(45, 45), 1.0, 1.0, edges("CCCC"))
        one, other = (skew.factors(1, (0.0, 0.0, s))[0] for s in (1.0, -1.0))
        assert one < other / 2  # positive shear presses across the fibres, where they do not stiffen the plate

    def test_mirrored(self) -> None:
        """Turning the plate a quarter exchanges edges, prestress and plies; in-plane holds too."""
        C, D = stiff(30, -60, 90, 0), stiff(-60, 30, 0, 90)
        one = EigenPlate(C, 1.0, 1.4, edges("CSFS"), thin=False).factors(2, (-1.0, -0.3, 0.2))
        two = EigenPlate(D, 1.4, 1.0, edges("SFCS"), thin=False).factors(2, (-0.3, -1.0, -0.2))
        assert one == pytest.approx(two, rel=1e-8)

    def test_gradient_in_the_plane(self) -> None:
        """What prestress on u and v changes: .9 % for a thick coupled plate, nothing to speak of for a thin one."""
        for thickness, share in ((0.1, 8.8e-3), (0.001, 1.14e-6)):
            C = laminate(40, 1, 0.25, 0.6, 0.6, 0.5, [(0, thickness / 2), (90, thickness / 2)])
            less, more = (
                EigenPlate(C, 1.0, 1.0, edges("SSSS"), full=f, thin=False).factors(1, (-1.0, 0.0, 0.0))[0]
                for f in (True, False)
            )
            assert 1 - less / more == pytest.approx(share, rel=0.02)

    def test_refusals(self) -> None:
        plate = EigenPlate(UNIT, 1.0, 1.0, edges("SFFF"))
        with pytest.raises(ModelError, match="rigid body"):
            plate.factors(1, (-1.0, 0.0, 0.0))
        with pytest.raises(ModelError, match="0 are positive"):
            EigenPlate(UNIT, 1.0, 1.0, edges("SSSS")).factors(1, (1.0, 1.0, 0.0))
        with pytest.raises(ModelError, match="positive mass"):
            plate.frequencies(1, 0.0)
        with pytest.raises(ModelError, match="not stable"):
            lowest(-np.eye(2), np.eye(2), 1, "here")


class TestNavierModes:
    @pytest.mark.parametrize(
        ("angles", "thin", "value"),
        [
            ((0, 90, 90, 0), False, 23.453),
            ((0, 90, 90, 0), True, 36.160),
            ((0, 90), False, 11.353),
            ((0, 90), True, 12.957),
            ((45, -45), False, 17.552),
            ((45, -45), True, 21.709),
        ],
    )
    def test_buckling(self, angles: tuple[float, ...], thin: bool, value: float) -> None:
        """Reddy, *Mechanics of Laminated Composite Plates and Shells* (recalled): N a²/(E2 h³), a = 10 h."""
        got = navier_modes.buckling_factors(stiff(*angles), 1, 1, (-1e-3, 0), family=family(angles), thin=thin)[0]
        assert got == pytest.approx(value, abs=6e-4)

    @pytest.mark.parametrize(("angles", "value"), [((0, 90), 10.473), ((45, -45), 13.044)])
    def test_frequencies(self, angles: tuple[float, ...], value: float) -> None:
        """There: ω a² √(ρ/E2)/h; rotary inertia kept."""
        got = navier_modes.frequencies(stiff(*angles), 1, 1, 0.1, 1e-3 / 12, family=family(angles))[0]
        assert got / 0.1 == pytest.approx(value, abs=6e-4)

    @pytest.mark.parametrize("angles", [(0, 90, 90, 0), (0, 90), (45, -45)])
    @pytest.mark.parametrize("thin", [False, True])
    @pytest.mark.parametrize("full", [False, True])
    def test_ritz_agrees(self, angles: tuple[float, ...], thin: bool, full: bool) -> None:
        """The same edges by polynomials: the series' own are held, nothing more; in-plane modes among the first."""
        C, which = stiff(*angles), family(angles)
        plane: Plane = "tangential" if which == "cross-ply" else "normal"
        plate = EigenPlate(C, 1, 1.2, edges("SSSS"), (plane,) * 4, thin, full=full, membrane=True, degree=10)
        load = (-1e-3, -2e-4)
        exact = navier_modes.buckling_factors(C, 1, 1.2, load, 2, which, thin=thin, full=full)
        assert plate.factors(2, (*load, 0.0)) == pytest.approx(exact, rel=1e-6)
        stretch = (0.02, -1e-3)
        series = navier_modes.frequencies(C, 1, 1.2, 0.1, 1e-3 / 12, stretch, 4, which, thin=thin, full=full)
        assert plate.frequencies(4, 0.1, 1e-3 / 12, (*stretch, 0.0)) == pytest.approx(series, rel=1e-4)

    def test_refusals(self) -> None:
        with pytest.raises(ModelError, match="couplings"):
            navier_modes.buckling_factors(stiff(45, -45), 1, 1, (-1.0, 0.0))
        with pytest.raises(ModelError, match="buckles nothing"):
            navier_modes.buckling_factors(UNIT, 1, 1, (1.0, 0.0))
        with pytest.raises(ModelError, match="buckles it"):
            navier_modes.frequencies(UNIT, 1, 1, 1.0, prestress=(-40.0, 0.0))
        with pytest.raises(ModelError, match="positive mass"):
            navier_modes.frequencies(UNIT, 1, 1, 0.0)
        soft = isotropic(12 * 0.91, 0.3, 1.0, 1e-5)  # wrinkles of no length: the load falls to the shear stiffness
        with pytest.raises(ModelError, match="end of the waves"):
            navier_modes.buckling_factors(soft, 1, 1, (-1.0, 0.0))


class TestBeamsAndMembranes:
    @pytest.mark.parametrize("tip", [0.0, 1e-9, 0.2, 1.0, 30.0])
    def test_tip_mass_by_polynomials(self, tip: float) -> None:
        """The same energy by Ritz; β for a tip as heavy as the beam: 1.2479, 4.0311, 7.1341 (Blevins, recalled)."""
        c = edge_polynomials(14, "clamped", "free")
        t, w = legendre.leggauss(20)
        value, bend = legendre.legval(t, c).T, legendre.legval(t, legendre.legder(c, 2, axis=0)).T
        end = legendre.legval(1.0, c)
        K, M = 8 * bend.T @ (w[:, None] * bend), value.T @ (w[:, None] * value) / 2 + tip * np.outer(end, end)
        exact = vibrating_beam.cantilever(4, 1.0, 1.0, 1.0, tip)
        assert np.sqrt(lowest(K, M, 4, "beam")) == pytest.approx(exact, rel=1e-7)
        if tip == 1.0:
            assert np.sqrt(exact[:3]) == pytest.approx([1.2479, 4.0311, 7.1341], abs=6e-5)

    def test_units(self) -> None:
        got = vibrating_beam.cantilever(1, 3.0, 2.0, 0.5, 0.1)[0]
        assert got == pytest.approx(vibrating_beam.cantilever(1, 1.0, 1.0, 1.0, 0.1)[0] * np.sqrt(1.5) * 4, rel=1e-12)

    @pytest.mark.parametrize("tension", [0.0, 5.0, -9.0])
    def test_strip_is_a_beam(self, tension: float) -> None:
        """A strip without Poisson's effect, its long edges free, bends as a beam of width 1."""
        C = isotropic(12.0, 0.0, 1.0)
        strip = EigenPlate(C, 1.0, 0.3, edges("SSFF")).frequencies(1, 2.0, prestress=(tension, 0.0, 0.0))
        assert strip == pytest.approx(vibrating_beam.supported_beam(1, 1.0, 2.0, 1.0, tension), rel=1e-9)

    def test_strongly_stretched_plate_is_a_membrane(self) -> None:
        got = EigenPlate(UNIT, 1.0, 1.5, edges("SSSS")).frequencies(3, 2.0, prestress=(1e6, 4e5, 0.0))
        assert got == pytest.approx(vibrating_beam.membrane(3, (1e6, 4e5), 2.0, 1.0, 1.5), rel=2e-4)

    def test_refusals(self) -> None:
        with pytest.raises(ModelError, match="buckles"):
            vibrating_beam.supported_beam(1, 1.0, 1.0, 1.0, -9.87)
        with pytest.raises(ModelError, match="EI and length must be positive"):
            vibrating_beam.cantilever(1, 0.0, 1.0, -1.0)
        with pytest.raises(ModelError, match="negative"):
            vibrating_beam.cantilever(1, 1.0, 1.0, 1.0, -0.1)
        with pytest.raises(ModelError, match="tension"):
            vibrating_beam.membrane(1, (1.0, 0.0), 1.0, 1.0, 1.0)


class TestClampedEllipse:
    def test_circle(self) -> None:
        """Isotropic, equal prestress: squares of the zeros of J1 and, with one nodal diameter, J2; vibration: λ² =
        10.2158, 21.26, 34.88 (Leissa, *Vibration of Plates*, 1969; recalled)."""
        disc = ClampedEllipseModes(3.0 * UNIT[3:6, 3:6], 2.0, 2.0)
        exact = [jn_zeros(1, 1)[0] ** 2, jn_zeros(2, 1)[0] ** 2, jn_zeros(2, 1)[0] ** 2]
        assert disc.factors(3, (-1.0, -1.0, 0.0)) * 4 / 3 == pytest.approx(exact, rel=1e-9)
        got = disc.frequencies(4, 2.0) * 4 * np.sqrt(2 / 3)
        assert got == pytest.approx([10.2158, 21.26, 21.26, 34.88], rel=1e-4)

    def test_ellipse_that_is_a_stretched_circle(self) -> None:
        """With D11/a⁴ = D22/b⁴ = (D12 + 2 D66)/(ab)² and Nx/a² = Ny/b² the equation is the isotropic circle's."""
        a, b = 0.3, 0.5
        D = np.diag([a**4, b**4, 0.3 * (a * b) ** 2])
        D[0, 1] = D[1, 0] = 0.4 * (a * b) ** 2
        got = ClampedEllipseModes(D, a, b).factors(2, (-(a**2), -(b**2), 0.0))
        assert got == pytest.approx([jn_zeros(1, 1)[0] ** 2, jn_zeros(2, 1)[0] ** 2], rel=1e-9)

    def test_turned_axes(self) -> None:
        """Fibres at 45° of a disc under shear are fibres at 0° under Nx = −Ny, of either sign."""
        straight, skew = (ClampedEllipseModes(stiff(angle)[3:6, 3:6], 1.0, 1.0) for angle in (0, 45))
        for sign in (1.0, -1.0):
            assert skew.factors(2, (0, 0, sign)) == pytest.approx(straight.factors(2, (sign, -sign, 0)), rel=1e-8)

    def test_long_ellipse_is_a_strip(self) -> None:
        """A strip of width 2a, clamped: N a²/D = π², from above."""
        long = [ClampedEllipseModes(UNIT[3:6, 3:6], 1.0, b, 16).factors(1, (-1.0, 0, 0))[0] for b in (2.0, 4.0, 12.0)]
        assert long == sorted(long, reverse=True)
        assert np.pi**2 < long[-1] < 1.05 * np.pi**2

    def test_inside_its_rectangle(self) -> None:
        """More room only lowers the load: between the clamped rectangles inside and around it."""
        D = stiff(30, -60)
        D[:3, 3:6] = D[3:6, :3] = 0.0
        load = (-1.0, -0.5, 0.3)
        oval = ClampedEllipseModes(D[3:6, 3:6], 1.0, 0.7).factors(1, load)[0]
        outer = EigenPlate(D, 2.0, 1.4, edges("CCCC")).factors(1, load)[0]
        inner = EigenPlate(D, np.sqrt(2), 0.7 * np.sqrt(2), edges("CCCC")).factors(1, load)[0]
        assert outer < oval < inner

    @pytest.mark.parametrize("force", [-13.0, 5.0])
    def test_prestressed_disc(self, force: float) -> None:
        """Exact: w = J0(αr)/J0(α) − I0(βr)/I0(β) with α J1(α)/J0(α) + β I1(β)/I0(β) = 0, β² − α² = N a²/D, ω² m a⁴/D =
        α²β², from D ∇⁴w − N ∇²w = m ω² w."""

        def slope(alpha: float) -> float:
            beta = np.sqrt(alpha**2 + force)
            return alpha * jv(1, alpha) * iv(0, beta) + beta * iv(1, beta) * jv(0, alpha)

        alpha = brentq(slope, np.sqrt(max(0.0, -force)) + 1e-9, 4.0)
        got = ClampedEllipseModes(UNIT[3:6, 3:6], 1.0, 1.0).frequencies(1, 1.0, (force, force, 0.0))[0]
        assert got == pytest.approx(alpha * np.sqrt(alpha**2 + force), rel=1e-9)

    def test_refusals(self) -> None:
        disc = ClampedEllipseModes(UNIT[3:6, 3:6], 1.0, 1.0)
        with pytest.raises(ModelError, match="not stable"):
            disc.frequencies(1, 1.0, (-15.0, -15.0, 0.0))
        with pytest.raises(ModelError, match="positive mass"):
            disc.frequencies(1, 0.0)
        with pytest.raises(ModelError, match="positive semi-axes"):
            ClampedEllipseModes(UNIT[3:6, 3:6], 1.0, 0.0)


class TestCylinders:
    WALL = isotropic(1.0, 0.3, 0.002)
    CLASSICAL = 0.002 * classical_stress(1.0, 0.3, 1.0, 0.002)

    @pytest.mark.parametrize(("length", "arc"), [(0.3, 0.25), (1.0, 0.8), (0.15, 2.0), (1.0, None)])
    def test_donnell(self, length: float, arc: float | None) -> None:
        """The closed form's least value over the same whole waves; none is below the classical load, many reach it."""
        got = cylinder_modes(1, self.WALL, 1.0, length, arc, (-1.0, 0.0), "shallow", thin=True)[0]
        step = 1.0 if arc is None else np.pi / arc
        loads = {
            (m, n): donnell_load(1.0, 0.3, 1.0, 0.002, m * np.pi / length, n * step)
            for m in range(1, 30)
            for n in range(1 if arc else 0, 60)
        }
        least = min(loads, key=lambda key: loads[key])
        assert (got.m, got.n) == least
        assert got.factor == pytest.approx(loads[least], rel=1e-9)
        assert self.CLASSICAL * (1 - 1e-12) < got.factor < 1.03 * self.CLASSICAL

    @pytest.mark.parametrize("length", [40.0, 80.0])
    def test_long_cylinder_is_a_column(self, length: float) -> None:
        """Euler: 2πR N = π² E (π R³ h)/L²; m = n = 1; with shear by Timoshenko, G A/2 for a thin tube."""
        C = isotropic(1.0, 0.3, 0.01)
        euler = np.pi**2 * 0.01 / (2 * length**2)
        shear = 0.01 / 2.6 / 2
        got = cylinder_modes(1, C, 1.0, length, None, (-1.0, 0.0), "deep", waves=(40, 6))[0]
        assert (got.m, got.n) == (1, 1)
        assert got.factor == pytest.approx(euler / (1 + euler / shear), rel=100 / length**2)
        assert got.factor < euler

    def test_long_ring(self) -> None:
        """Compressed by loads that keep their direction: N = n² D/R² (Timoshenko & Gere, Boresi: 4 for n = 2, where a
        follower pressure gives 3; recalled, and from inextensional bending: D (n²−1)²/R⁴ against N (n²−1)²/(n²R²))."""
        alpha, n = np.full(3, 1e-5), np.array([2.0, 3.0, 4.0])
        C = isotropic(12 * 0.91e3, 0.3, 0.1) * 1e-3
        C[:3, :3] *= 1e6  # no stretch
        k, _ = navier_modes.matrices(C, alpha, n, curvature=(0.0, 1.0), thin=True)
        g = navier_modes.geometric(alpha, n, (0.0, -1.0), 3, True, (0.0, 1.0))
        for i, value in enumerate(C[3, 3] * n**2):
            assert lowest(k[i], -g[i], 1, "ring")[0] == pytest.approx(value, rel=1e-4)

    def test_vibrating_ring(self) -> None:
        """Long tube, n = 2 round it: ω² = D n²(n² − 1)²/((n² + 1) m R⁴) (Hoppe; Love, *Elasticity*; recalled)."""
        C = isotropic(1.0, 0.3, 0.002)
        got = navier_modes.frequencies(C, 1e3, np.pi / 2, 3.0, curvature=(0.0, 1.0), waves=3)[0]
        assert got**2 == pytest.approx(C[3, 3] * 36 / (5 * 3.0), rel=1e-4)

    def test_flat_limit(self) -> None:
        """Radius without end: the plate of the other series, shear and coupling in."""
        C = stiff(0, 90)
        flat = navier_modes.buckling_factors(C, 1.0, 1.2, (-1.0, -0.5), 2, full=True)
        got = cylinder_modes(2, C, 1e6, 1.0, 1.2, (-1.0, -0.5), waves=(12, 12))
        assert [b.factor for b in got] == pytest.approx(list(flat), rel=1e-6)
        flat = navier_modes.buckling_factors(C, 1.0, 1.2, (-1.0, -0.5), 2)
        donnell = cylinder_modes(2, C, 1e6, 1.0, 1.2, (-1.0, -0.5), "shallow", waves=(12, 12))
        assert [b.factor for b in donnell] == pytest.approx(list(flat), rel=1e-6)

    def test_theories_agree_on_shallow_thin_panels(self) -> None:
        deep, shallow, thin = (
            cylinder_modes(1, isotropic(1.0, 0.3, 1e-3), 1.0, 0.2, 0.15, (-1.0, 0.0), theory, thin=t)[0].factor
            for theory, t in (("deep", False), ("shallow", False), ("shallow", True))
        )
        assert deep == pytest.approx(shallow, rel=1e-2)
        assert shallow == pytest.approx(thin, rel=2e-3)
        assert shallow < thin

    def test_refusals(self) -> None:
        with pytest.raises(ModelError, match="end of the waves"):
            cylinder_modes(1, self.WALL, 1.0, 1.0, 0.8, (-1.0, 0.0), waves=(4, 4))
        with pytest.raises(ModelError, match="buckles nothing"):
            cylinder_modes(1, self.WALL, 1.0, 1.0, 0.8, (1.0, 0.0))
        with pytest.raises(ModelError, match="positive dimensions"):
            cylinder_modes(1, self.WALL, 1.0, 1.0, 0.0, (-1.0, 0.0))
        with pytest.raises(ModelError, match="too many"):
            cylinder_modes(1, self.WALL, 1.0, 100.0, 0.8, (-1.0, 0.0))
        with pytest.raises(ModelError, match="couplings"):
            cylinder_modes(1, stiff(45, -45), 1.0, 1.0, 0.8, (-1.0, 0.0))


def family(angles: tuple[float, ...]) -> navier_modes.Family:
    return "angle-ply" if 45 in angles else "cross-ply"
