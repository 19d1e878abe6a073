"""Bonded overlaps: closed forms, another solver, equilibrium, symmetry, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson

from panelfem.errors import InputError, ModelError
from panelfem.joint import Bond, Strip, gap_edge, goland_reissner, patch_edge, solve, volkersen
from panelfem.joint.edge import bond, strip, turned
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.verify.joints import collocated

BOOK = library()
GLUE = BOOK["paste-epoxy"]
PARENT = Laminate(parse_stack("[0/45/-45/90]s", BOOK, "T300-5208"))
PATCH = Laminate(parse_stack("[45/-45/0]", BOOK, "T300-5208"))
SPRINGS = Bond(1.1e9 / 2e-4, 3e9 / 2e-4)
ONE = np.array([1.0])
ZERO = np.array([0.0])


@pytest.mark.parametrize("stiffness", [(1e8, 1e8), (1e8, 2e8), (5e7, 2e8)])
@pytest.mark.parametrize("overlap", [2e-3, 20e-3, 100e-3])
def test_volkersen(stiffness: tuple[float, float], overlap: float) -> None:
    """Strips bonded at their middle do not bend: Volkersen 1938."""
    first, second = (Strip(a, 0.0, 1e3, math.inf, 0.0) for a in stiffness)
    found = solve(first, second, SPRINGS, overlap, np.array([1e5, 0, 0, 0, 0, 0]), "cut 1")
    exact = volkersen(1e5, overlap, *stiffness, 1.1e9, 2e-4, found.s)
    np.testing.assert_allclose(found.shear[:, 0], exact, rtol=1e-6, atol=1e-6 * exact.max())
    assert np.abs(found.peel).max() < 1e-6 * exact.max()


@pytest.mark.parametrize("thickness", [1e-3, 2e-3, 4e-3])
def test_goland_reissner(thickness: float) -> None:
    """Goland & Reissner's end loads on the linear overlap give their shear and, at the loaded end, their peel."""
    lap = goland_reissner(1e5, 0.03, thickness, 70e9, 0.3, 3e9, 1.1e9, 2e-4)
    plane = 70e9 / 0.91
    pair = [Strip(plane * thickness, 0, plane * thickness**3 / 12, math.inf, s * thickness / 2) for s in (1, -1)]
    end = np.array([1e5, 1e5 * thickness * (1 - lap.k) / 0.03, lap.moment, 0, 0, 0])
    found = solve(*pair, SPRINGS, 0.03, end, "cut 1")
    assert found.shear[[0, -1], 0] == pytest.approx(lap.shear[1], rel=1e-6)
    end[1] = lap.shear_force
    assert solve(*pair, SPRINGS, 0.03, end, "cut 1").peel[0, 0] == pytest.approx(lap.peel[1], rel=2e-2)


def test_goland_reissner_peel_as_printed() -> None:
    """The peel in the printed form (recalled), E' = E/(1 − ν²) for E in λ: the same numbers."""
    P, L, t, E, nu, Ea, G, eta = 1e5, 0.02, 2e-3, 70e9, 0.3, 3e9, 1.1e9, 2e-4
    lap = goland_reissner(P, L, t, E, nu, Ea, G, eta)
    c, p = L / 2, P / t
    lam = (6 * Ea * t * (1 - nu**2) / E / eta) ** 0.25 * c / t
    force = lap.k * c / t * math.sqrt(3 * (1 - nu**2) * p / E)
    ch, sh, co, si = math.cosh(lam), math.sinh(lam), math.cos(lam), math.sin(lam)
    r1, r2 = ch * si + sh * co, -ch * si + sh * co
    peel = (
        p
        * t**2
        / c**2
        / (0.5 * (math.sin(2 * lam) + math.sinh(2 * lam)))
        * (
            (r2 * lam**2 * lap.k / 2 + lam * force * ch * co) * ch * co
            + (r1 * lam**2 * lap.k / 2 + lam * force * sh * si) * sh * si
        )
    )
    assert lap.peel[1] == pytest.approx(peel, rel=1e-9)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("degrees", [0, 30, 90])
@pytest.mark.parametrize("load", [(1e5, 0, 0), (0, 20, 0), (0, -20, 0), (0, 0, 1e3), (5e4, 4, -300)])
def test_patch_functions_against_collocation(side: int, degrees: float, load: tuple[float, float, float]) -> None:
    """scipy's collocation of the same equations: peaks within 2 % (its own grid misses a narrow peak by that much)."""
    angle = math.radians(degrees)
    first, second = strip(PARENT, angle, side, "parent"), strip(PATCH, angle, side, "patch")
    N, M, Q = load[0], side * load[1], side * load[2]
    arrays = [np.array([v]) for v in load]
    for function, start in ((patch_edge, [N, Q, M, 0, 0, 0]), (gap_edge, [0, 0, 0, N, Q, M])):
        shear, peel = function(PARENT, PATCH, GLUE, 2e-4, 0.02, *arrays, angle=angle, side=side)
        r_shear, r_peel = collocated(first, second, bond(GLUE, 2e-4), 0.02, np.array(start, float))
        assert shear[0] == pytest.approx(r_shear, rel=2e-2)
        assert peel[0] == pytest.approx(r_peel, rel=2e-2, abs=1e-3 * r_shear)


def test_forces_balance_along_the_overlap() -> None:
    """What leaves the parent by shear and peel is what the equations say: ∫τ = N over a cut, ∫σ = Q."""
    first, second = strip(PARENT, 0.3, 1, "parent"), strip(PATCH, 0.3, 1, "patch")
    springs = bond(GLUE, 2e-4)
    found = solve(first, second, springs, 0.02, np.diag([1e5, 300.0, 10.0, 0, 0, 0])[:, :3], "cut 1")
    s = found.s
    total = simpson(found.shear, x=s, axis=0)
    np.testing.assert_allclose(total, [1e5, 0, 0], atol=2e-3 * 1e5)
    peel = simpson(found.peel, x=s, axis=0)
    assert abs(peel[0]) < 1e-3 * 1e5
    assert peel[1] == pytest.approx(300.0, rel=0.02)


def test_long_overlaps_do_not_matter_and_do_not_overflow() -> None:
    short, long = (patch_edge(PARENT, PATCH, GLUE, 2e-4, L, 1e5 * ONE, ZERO, ZERO) for L in (0.03, 3.0))
    assert short[0] == pytest.approx(long[0], rel=1e-3)
    assert short[1] == pytest.approx(long[1], rel=1e-3)


@settings(deadline=None, max_examples=20)
@given(st.tuples(st.floats(-1e5, 1e5), st.floats(-30, 30), st.floats(-1e3, 1e3)), st.floats(0.1, 10), st.floats(-3, 3))
def test_linear_in_the_load_and_blind_to_a_half_turn(
    load: tuple[float, float, float], factor: float, angle: float
) -> None:
    arrays = [np.array([v, factor * v]) for v in load]
    shear, peel = patch_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, *arrays, angle=angle)
    assert shear[1] == pytest.approx(factor * shear[0], rel=1e-9)
    assert peel[1] == pytest.approx(factor * peel[0], rel=1e-9, abs=1e-9)
    again = patch_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, *arrays, angle=angle + math.pi)
    np.testing.assert_allclose(again, (shear, peel), rtol=1e-9, atol=1e-3)


@settings(deadline=None, max_examples=20)
@given(st.tuples(st.floats(-1e5, 1e5), st.floats(-30, 30), st.floats(-1e3, 1e3)))
def test_upside_down_is_the_same_joint(load: tuple[float, float, float]) -> None:
    """A patch below a laminate and load seen from the other side is a patch above."""
    N, M, Q = (np.array([v]) for v in load)
    below = Laminate(PARENT.plies[::-1]), Laminate(PATCH.plies[::-1])
    up = patch_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, N, M, Q)
    down = patch_edge(*below, GLUE, 2e-4, 0.02, N, -M, -Q, side=-1)
    np.testing.assert_allclose(up, down, rtol=1e-9, atol=1e-6)


def test_the_height_of_reference_does_not_matter() -> None:
    """A patch given with the height it has in the panel model, and its moment about that height: the same stresses."""
    bottom = PARENT.interfaces[-1]
    lifted = Laminate(PATCH.plies, bottom=bottom)
    arm = bottom + PATCH.thickness / 2
    N, M, Q = 4e4 * ONE, 3.0 * ONE, 100.0 * ONE
    about_own = gap_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, N, M, Q)
    about_panel = gap_edge(PARENT, lifted, GLUE, 2e-4, 0.02, N, M + arm * N, Q)
    np.testing.assert_allclose(about_own, about_panel, rtol=1e-8)


def test_angles_are_taken_point_by_point() -> None:
    angles = np.radians([0.0, 30.0, 90.0])
    all_at_once = patch_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, 1e5 * np.ones(3), np.zeros(3), np.zeros(3), angle=angles)
    for i, angle in enumerate(angles):
        one = patch_edge(PARENT, PATCH, GLUE, 2e-4, 0.02, 1e5 * ONE, ZERO, ZERO, angle=angle)
        assert (all_at_once[0][i], all_at_once[1][i]) == (one[0][0], one[1][0])


@settings(deadline=None, max_examples=20)
@given(st.floats(-3, 3), st.lists(st.floats(-1, 1), min_size=8, max_size=8))
def test_turning_keeps_the_energy(angle: float, strain: list[float]) -> None:
    """The strains turned as tensors give the same energy in turned axes."""
    c, s = math.cos(angle), math.sin(angle)
    R = np.array([[c, s], [-s, c]])
    e = np.array(strain)

    def tensor(v: np.ndarray) -> np.ndarray:
        return np.array([[v[0], v[2] / 2], [v[2] / 2, v[1]]])

    parts = [R @ tensor(e[i : i + 3]) @ R.T for i in (0, 3)]
    new = np.concatenate([*[[p[0, 0], p[1, 1], 2 * p[0, 1]] for p in parts], R @ e[6:]])
    C = PATCH.stiffness
    assert new @ turned(C, angle) @ new == pytest.approx(e @ C @ e, rel=1e-9, abs=1e-3)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"bond_thickness": 0.0}, r"bond thickness is 0.0 m"),
        ({"bond_thickness": math.nan}, "bond thickness is nan"),
        ({"overlap": -1.0}, "overlap is -1.0 m"),
        ({"side": 2}, "side is 2"),
        ({"overlap": math.nan}, "overlap is nan"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, float], message: str) -> None:
    arguments = {"bond_thickness": 2e-4, "overlap": 0.02, "N": ONE, "M": ZERO, "Q": ZERO, **change}
    with pytest.raises(InputError, match=message):
        patch_edge(PARENT, PATCH, GLUE, **arguments)


def test_bare_records_refuse_too() -> None:
    with pytest.raises(InputError, match="positive definite"):
        Strip(1.0, 2.0, 1.0, 1.0, 0.0)
    with pytest.raises(InputError, match="bond stiffness"):
        Bond(0.0, 1.0)
    with pytest.raises(ModelError, match="decay lengths long"):
        solve(
            Strip(1e8, 0, 1.0, math.inf, 1e-3),
            Strip(1e8, 0, 1.0, math.inf, -1e-3),
            SPRINGS,
            50.0,
            np.eye(6)[0],
            "cut 1",
        )
    with pytest.raises(InputError, match="overlap is -1"):
        volkersen(1.0, -1.0, 1.0, 1.0, 1.0, 1.0)


def test_fast_enough_for_an_edge_of_many_points() -> None:
    import time

    n = 3000
    rng = np.random.default_rng(1)
    start = time.process_time()
    shear, peel = patch_edge(
        PARENT,
        PATCH,
        GLUE,
        2.1e-4,
        0.02,
        1e5 * rng.normal(size=n),
        rng.normal(size=n),
        rng.normal(size=n),
        angle=rng.integers(0, 36, n) * math.radians(5),
    )
    assert time.process_time() - start < 4.0
    assert shear.shape == peel.shape == (n,)
