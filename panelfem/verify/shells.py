"""Curved shells: the classic obstacle course, each against a solution of the same theory."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference import navier
from panelfem.reference.navier import Navier, pinched_cylinder
from panelfem.reference.ritz import COMPONENTS, RitzShell
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.shell import Shell
from panelfem.verify.barred import ORDER, barred
from panelfem.verify.grids import ALL, Grid, at_node
from panelfem.verify.row import STRESS, VALUE, Row

MACNEAL = "MacNeal & Harder 1985, Finite Elem. Anal. Des. 1:3 (recalled)"


def rigid_in_shear(C: FloatArray, factor: float = 1e4) -> FloatArray:
    """The stiffness with transverse shear `factor` times stiffer: thin theory as a limit."""
    out = C.copy()
    out[6:, 6:] *= factor
    return out


_ROOF = np.radians(40)


def _barrel(s: FloatArray, t: FloatArray) -> FloatArray:
    return np.stack([25 * t, 25 * np.sin(_ROOF * s), 25 * np.cos(_ROOF * s)], axis=1)


@cache
def _roof() -> tuple[FloatArray, float, float]:
    """Stiffness; deflection and axial strain of the middle of the free edge."""
    C = rigid_in_shear(isotropic(4.32e8, 0.0, 0.25))
    ritz = RitzShell(_barrel, C, (1, 0, 0), 20, {"eta0": ("x", "b2"), "eta1": ("y", "z", "b1"), "xi0": ("y", "b1")})
    v = ritz.solve(ritz.traction(lambda x, n: np.tile([0, 0, -90.0], (len(x), 1))))
    strain = ritz.strains(v, np.array([1.0]), np.array([0.0]))[0]
    return C, -float(ritz.displacement(v, 1.0, 0.0)[2]), float(strain[0])


def roof(order: int = ORDER) -> Iterator[Row]:
    """Scordelis-Lo roof; a quarter of it; the crown is s = 0, mid-length t = 0, the diaphragm t = 1."""
    C, deflection, strain = _roof()
    grid = Grid.even(6, 6, order, _barrel)
    shell = Shell(grid.mesh, C, np.array([1.0, 0, 0]))
    held = {"t0": ("ux", "ry", "rz"), "t1": ("uy", "uz", "rx"), "s0": ("uy", "rx", "rz")}
    u = shell.factor(grid.supports(held)).solve(shell.traction(np.array([0, 0, -90.0])))
    where = grid.node(1.0, 0.0)
    yield Row(
        "shells",
        "Scordelis-Lo roof",
        "deflection, middle of the free edge",
        MACNEAL + "; deep-shell series .3006",
        0.3024,
        deflection,
        "Ritz, degree 20, thin",
        -float(u[6 * where + 2]),
        "ft",
        VALUE,
        "thin limit (shear stiffness × 1e4) in both",
    )
    yield Row(
        "shells",
        "Scordelis-Lo roof",
        "axial strain there",
        "none printed",
        None,
        strain,
        "Ritz, degree 20, thin",
        float(at_node(shell, u, where)[0]),
        "-",
        STRESS,
    )


@cache
def _pinched() -> float:
    return pinched_cylinder(3e6, 0.3, 300.0, 600.0, 3.0, 1.0, waves=1200)


def cylinder(order: int = ORDER) -> Iterator[Row]:
    """Pinched cylinder with diaphragms; an eighth; load at s = 0, t = 0, the diaphragm t = 1."""
    R, L = 300.0, 600.0

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([L / 2 * t, R * np.sin(np.pi / 2 * s), R * np.cos(np.pi / 2 * s)], axis=1)

    exact = _pinched()
    line = np.linspace(0, 1, 11) ** 1.6
    grid = Grid.lift(line, line, order, surface)
    shell = Shell(grid.mesh, rigid_in_shear(isotropic(3e6, 0.3, 3.0)), np.array([1.0, 0, 0]))
    held = {"t0": ("ux", "ry", "rz"), "t1": ("uy", "uz", "rx"), "s0": ("uy", "rx", "rz"), "s1": ("uz", "rx", "ry")}
    load = np.zeros(shell.n_total)
    node = grid.node(0.0, 0.0)
    load[6 * node + 2] = -0.25
    u = shell.factor(grid.supports(held)).solve(load)
    yield Row(
        "shells",
        "pinched cylinder with diaphragms",
        "deflection under the load",
        "Lindberg, Olson & Cowper 1969 (recalled)",
        1.8248e-5,
        exact,
        "double series, thin, 600 × 600 waves",
        -float(u[6 * node + 2]),
        "in",
        VALUE,
        "thin limit in both: under a point load shear would add without bound",
    )


def _strip(s: FloatArray, t: FloatArray) -> FloatArray:
    y, g = 1.1 * (s - 0.5), np.pi / 2 * t
    return np.stack([12 * t, y * np.cos(g), y * np.sin(g)], axis=1)


@cache
def _tip(thick: float, direction: int) -> float:
    """Mean deflection of the end under a unit force spread over it."""
    ritz = RitzShell(_strip, isotropic(29e6, 0.22, thick), (1, 0, 0), (10, 26), {"eta0": COMPONENTS})
    g, w = np.polynomial.legendre.leggauss(12)
    points = np.zeros((12, 3))
    points[:, direction] = w / 2
    load = ritz.forces((g + 1) / 2, np.ones(12), points)
    return float(load @ ritz.solve(load))


def twisted(order: int = ORDER) -> Iterator[Row]:
    """Beam twisted by 90°, clamped at t = 0, unit force spread evenly over the end t = 1."""
    for t, force, printed in ((0.32, 1.0, (5.424e-3, 1.754e-3)), (0.0032, 1e-6, (5.256e-3, 1.294e-3))):
        C = isotropic(29e6, 0.22, t)
        grid = Grid.even(4, 16, order, _strip)
        shell = Shell(grid.mesh, C, np.array([1.0, 0, 0]))
        system = shell.factor(grid.supports({"t0": ALL}))
        for direction, what, value in ((2, "in plane", printed[0]), (1, "out of plane", printed[1])):
            line = np.zeros(3)
            line[direction] = force / 1.1
            pull = grid.line_load(shell, "t1", line)
            ours = float(pull @ system.solve(pull)) / force
            yield Row(
                "shells",
                f"twisted beam, t = {t}",
                f"tip deflection {what}, mean over the end",
                MACNEAL,
                value,
                _tip(t, direction) * force,
                "Ritz, degree 10 × 26",
                ours,
                "in",
                VALUE,
                "first-order shell; the printed value is beam theory",
            )


def _dome(s: FloatArray, t: FloatArray) -> FloatArray:
    p, q = np.pi / 2 * s, np.radians(72) * t
    return 10 * np.stack([np.cos(p) * np.cos(q), np.sin(p) * np.cos(q), np.sin(q)], axis=1)


@cache
def _under_load() -> float:
    """Deflection of the hemisphere under a load."""
    C, pins = isotropic(6.825e7, 0.3, 0.04), (("z", 0.5, 0.0),)
    ritz = RitzShell(_dome, C, (0, 0, 1), 22, {"xi0": ("y", "b1"), "xi1": ("x", "b1")}, pins=pins)
    v = ritz.solve(ritz.forces(np.array([0.0, 1.0]), np.zeros(2), np.array([[1.0, 0, 0], [0, -1.0, 0]])))
    return float(ritz.displacement(v, 0.0, 0.0)[0])


def hemisphere(order: int = ORDER) -> Iterator[Row]:
    """Hemisphere with an 18° hole, two pairs of forces of 2; a quarter."""
    C = isotropic(6.825e7, 0.3, 0.04)
    grid = Grid.even(8, 8, order, _dome)
    shell = Shell(grid.mesh, C, np.array([0, 0, 1.0]))
    held = {"s0": ("uy", "rx", "rz"), "s1": ("ux", "ry", "rz")}
    load = np.zeros(shell.n_total)
    a, b = grid.node(0.0, 0.0), grid.node(1.0, 0.0)
    load[6 * a], load[6 * b + 1] = 1.0, -1.0
    u = shell.factor(grid.supports(held, {(0.5, 0.0): ("uz",)})).solve(load)
    yield Row(
        "shells",
        "hemisphere with an 18° hole",
        "deflection under a load",
        MACNEAL,
        0.0940,
        _under_load(),
        "Ritz, degree 22",
        float(u[6 * a]),
        "in",
        VALUE,
    )


def panel(order: int = ORDER) -> Iterator[Row]:
    """Laminated quarter cylinder, diaphragms all round, one sine wave of pressure."""
    R, a, h = 1.0, 1.0, 0.02
    C = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(0, h / 2), (90, h / 2)])

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([a * s, R * np.sin(np.pi / 2 * t), R * np.cos(np.pi / 2 * t)], axis=1)

    def pressure(x: FloatArray, n: FloatArray) -> FloatArray:
        wave = np.sin(np.pi * x[..., 0] / a) * np.sin(2 * np.arctan2(x[..., 1], x[..., 2]))
        return np.asarray(1e4 * n * wave[..., None])

    arc = R * np.pi / 2
    exact = Navier(C, a, arc, navier.sinusoidal(1e4), curvature=(0.0, 1 / R))
    grid = Grid.even(6, 6, order, surface)
    shell = Shell(grid.mesh, C, np.array([1.0, 0, 0]))
    held = {"s0": ("uy", "uz", "rx"), "s1": ("uy", "uz", "rx"), "t0": ("ux", "uz", "ry"), "t1": ("ux", "uy", "rz")}
    u = shell.factor(grid.supports(held)).solve(shell.traction(pressure))
    node, middle = grid.node(0.5, 0.5), (np.array([a / 2]), np.array([arc / 2]))
    name, how = "[0/90] quarter cylinder, R/h = 50", "Navier series on the exact cylinder"
    outward = float(u[6 * node + 1 : 6 * node + 3].sum() / np.sqrt(2))
    yield Row(
        "shells",
        name,
        "deflection of the middle",
        "none printed",
        None,
        float(exact.deflection(*middle)[0]),
        how,
        outward,
        "m",
        VALUE,
    )
    expected, ours = exact.strains(*middle)[0], at_node(shell, u, node)
    for k, what, unit in ((0, "axial strain", "-"), (1, "hoop strain", "-"), (4, "hoop curvature", "1/m")):
        yield Row(
            "shells",
            name,
            f"{what} at mid-surface",
            "none printed",
            None,
            float(expected[k]),
            how,
            float(ours[k]),
            unit,
            STRESS,
        )


def rows() -> Iterator[Row]:
    """All rows of curved shells."""
    yield from barred(roof)
    yield from barred(cylinder, 0.0001)
    yield from barred(twisted, 0.0001)
    yield from barred(hemisphere, 0.001)
    yield from barred(panel)
