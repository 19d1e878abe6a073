"""Flat plates through the shell: thin, thick, laminated, anisotropic."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference import navier
from panelfem.reference.kirchhoff import ThinPlate
from panelfem.reference.navier import Navier
from panelfem.reference.ritz import CLAMPED, RitzShell, flat
from panelfem.reference.ritz import SUPPORTED as RITZ_SUPPORTED
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.shell import Shell
from panelfem.verify.barred import ORDER, barred
from panelfem.verify.grids import ALL, Grid, at_node, rectangle
from panelfem.verify.row import STRESS, VALUE, Row

AXIS = np.array([1.0, 0.0, 0.0])
#: w and the turn along the edge held, and the in-plane motion along it (cross-ply) or across it (angle-ply)
CROSS_PLY: Mapping[str, tuple[str, ...]] = {
    "s0": ("uy", "uz", "rx"),
    "s1": ("uy", "uz", "rx"),
    "t0": ("ux", "uz", "ry"),
    "t1": ("ux", "uz", "ry"),
}
ANGLE_PLY: Mapping[str, tuple[str, ...]] = {
    "s0": ("ux", "uz", "rx"),
    "s1": ("ux", "uz", "rx"),
    "t0": ("uy", "uz", "ry"),
    "t1": ("uy", "uz", "ry"),
}
HELD: Mapping[str, tuple[str, ...]] = {"s0": ALL, "s1": ALL, "t0": ALL, "t1": ALL}
#: in-plane rigid motions, stopped where the edges leave them free
PINS = {(0.5, 0.5): ("ux", "uy", "rz")}


def plate(
    C: FloatArray,
    a: float,
    b: float,
    held: Mapping[str, tuple[str, ...]],
    load: str = "uniform",
    cells: int = 6,
    order: int = ORDER,
) -> tuple[Grid, Shell, FloatArray]:
    """Grid, shell and unknowns of a plate under unit pressure along +z, uniform or one sine wave each way."""
    grid = Grid.even(cells, cells, order, rectangle(a, b))
    shell = Shell(grid.mesh, C, AXIS)

    def pressure(x: FloatArray, n: FloatArray) -> FloatArray:
        wave = np.sin(np.pi * x[..., 0] / a) * np.sin(np.pi * x[..., 1] / b) if load == "sine" else 1.0
        return np.asarray(n * np.broadcast_to(wave, x.shape[:-1])[..., None])

    system = shell.factor(grid.supports(held, PINS if held is not HELD else None))
    return grid, shell, system.solve(shell.traction(pressure))


def centre(grid: Grid, u: FloatArray) -> float:
    """Deflection of the middle, m."""
    return float(u[6 * grid.node(0.5, 0.5) + 2])


@cache
def _clamped(b: float) -> ThinPlate:
    """Thin clamped plate 1 × b of unit bending stiffness under unit pressure."""
    bending = np.array([[1, 0.3, 0], [0.3, 1, 0], [0, 0, 0.35]])
    return ThinPlate(bending, 1.0, b, ("clamped",) * 4, 1.0)


@cache
def _clamped_thick() -> float:
    """Deflection of the middle of Mindlin's clamped plate."""
    ritz = RitzShell(flat(1, 1), isotropic(12 * 0.91 / 1e-3, 0.3, 0.1), (1, 0, 0), 14, CLAMPED)
    return float(ritz.displacement(ritz.solve(ritz.traction(lambda x, n: n)), 0.5, 0.5)[2])


def thin(order: int = ORDER) -> Iterator[Row]:
    """Supported and clamped thin plates."""
    source = "Timoshenko & Woinowsky-Krieger, tables 8 and 35 (recalled)"
    thickness = 1e-3
    C = isotropic(12 * (1 - 0.09) / thickness**3, 0.3, thickness)
    printed = {
        1.0: (0.00406, 0.00126, -0.0513),
        1.2: (0.00564, 0.00172, -0.0639),
        1.5: (0.00772, 0.00220, -0.0757),
        2.0: (0.01013, 0.00254, -0.0829),
    }
    for b, (supported, clamped, moment) in printed.items():
        name = f"thin plate, b/a = {b}"
        series = Navier(C, 1.0, b, navier.uniform(1.0), thin=True).deflection(np.array([0.5]), np.array([b / 2]))[0]
        grid, _, u = plate(C, 1.0, b, CROSS_PLY, order=order)
        yield Row(
            "plates",
            name,
            "supported: w D/qa⁴",
            source,
            supported,
            float(series),
            "Navier series",
            centre(grid, u),
            "-",
            VALUE,
            "h/a = 0.001 stands for thin",
        )
        ritz = _clamped(b)
        grid, shell, u = plate(C, 1.0, b, HELD, cells=8, order=order)
        yield Row(
            "plates",
            name,
            "clamped: w D/qa⁴",
            source,
            clamped,
            ritz.deflection(0.5, b / 2),
            "Ritz, degree 18",
            centre(grid, u),
            "-",
            VALUE,
            "h/a = 0.001 stands for thin",
        )
        edge = at_node(shell, u, grid.node(0.0, 0.5))
        yield Row(
            "plates",
            name,
            "clamped: edge moment/qa²",
            source,
            moment,
            float(ritz.moments(0.0, b / 2)[0]),
            "Ritz, degree 18",
            float(C[3, 3:6] @ edge[3:6]),
            "-",
            STRESS,
        )


def mindlin(order: int = ORDER) -> Iterator[Row]:
    """Thick isotropic plate."""
    C = isotropic(12 * 0.91 / 1e-3, 0.3, 0.1)
    source = "Mindlin plate, h/a = 0.1, k = 5/6 (recalled)"
    series = Navier(C, 1.0, 1.0, navier.uniform(1.0)).deflection(np.array([0.5]), np.array([0.5]))[0]
    grid, _, u = plate(C, 1.0, 1.0, CROSS_PLY, order=order)
    yield Row(
        "plates",
        "Mindlin plate",
        "supported: w D/qa⁴",
        source,
        0.004273,
        float(series),
        "Navier series",
        centre(grid, u),
        "-",
        VALUE,
    )
    w = _clamped_thick()
    grid, _, u = plate(C, 1.0, 1.0, HELD, order=order)
    yield Row(
        "plates",
        "Mindlin plate",
        "clamped: w D/qa⁴",
        source,
        0.001505,
        float(w),
        "Ritz, degree 14",
        centre(grid, u),
        "-",
        VALUE,
    )


def laminated(order: int = ORDER) -> Iterator[Row]:
    """First-order laminated plates under one sine wave."""
    source = "Reddy, Mechanics of Laminated Composite Plates and Shells (recalled)"
    cases: tuple[tuple[tuple[float, ...], float, float], ...] = (
        ((0, 90), 10, 1.2373),
        ((0, 90), 100, 1.0653),
        ((0, 90, 90, 0), 10, 0.6627),
        ((0, 90, 90, 0), 100, 0.4337),
        ((45, -45), 10, 0.8284),
    )
    for angles, slender, printed in cases:
        h = 1 / slender
        C = laminate(25, 1, 0.25, 0.5, 0.5, 0.2, [(angle, h / len(angles)) for angle in angles])
        family: navier.Family = "angle-ply" if 45 in angles else "cross-ply"
        exact = Navier(C, 1.0, 1.0, navier.sinusoidal(1.0), family)
        grid, shell, u = plate(C, 1.0, 1.0, ANGLE_PLY if family == "angle-ply" else CROSS_PLY, "sine", order=order)
        name, scale = f"[{'/'.join(f'{a:g}' for a in angles)}], a/h = {slender:g}", 100 * h**3
        middle = np.array([0.5])
        yield Row(
            "plates",
            name,
            "100 w E2h³/qa⁴",
            source,
            printed,
            scale * float(exact.deflection(middle, middle)[0]),
            "Navier series",
            scale * centre(grid, u),
            "-",
            VALUE,
            "first-order, k = 5/6",
        )
        strain, ours = exact.strains(middle, middle)[0], at_node(shell, u, grid.node(0.5, 0.5))
        faces = [e[0] + h / 2 * e[3] for e in (strain, ours)]
        yield Row(
            "plates",
            name,
            "fibre strain e11 at +h/2 × E2h²/qa²",
            "none printed",
            None,
            faces[0] * h * h,
            "Navier series",
            faces[1] * h * h,
            "-",
            STRESS,
            "first-order, k = 5/6",
        )


@cache
def _ashton() -> tuple[FloatArray, float]:
    """Stiffness, and the deflection of the middle."""
    D = np.array([[1, 0.3, -0.5], [0.3, 1, -0.5], [-0.5, -0.5, 0.6]])
    h = 0.01
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = 12 / h**2 * D, D, 5.0 / h**2 * np.eye(2)
    ritz = RitzShell(flat(1, 1), C, (1, 0, 0), 28, RITZ_SUPPORTED, active=("z", "b1", "b2"))
    return C, float(ritz.displacement(ritz.solve(ritz.traction(lambda x, n: n)), 0.5, 0.5)[2])


def ashton(order: int = ORDER) -> Iterator[Row]:
    """Anisotropic supported plate."""
    C, w = _ashton()
    held = {**CROSS_PLY, "everywhere": ("ux", "uy", "rz")}
    grid, _, u = plate(C, 1.0, 1.0, held, cells=10, order=order)
    yield Row(
        "plates",
        "Ashton's plate, D16 = D26 = −.5 D11",
        "w D11/qa⁴",
        "Ashton & Whitney 1970 (quoted .00452, from memory)",
        0.00452,
        w,
        "Ritz, degree 28, first-order",
        centre(grid, u),
        "-",
        VALUE,
        "h/a = 0.01; quoted value is thin theory from a short series",
    )


def rows() -> Iterator[Row]:
    """All rows of flat plates."""
    yield from barred(thin, 1e-4)
    yield from barred(mindlin)
    yield from barred(laminated)
    yield from barred(ashton, 5e-4)
