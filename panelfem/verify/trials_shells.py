"""Curved panels and the classic shells for the test of the bars."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache, partial

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate
from panelfem.mesh import Formula, Lift, Outline, PanelMesh, Ring, TwoRadii, mesh_outline
from panelfem.reference import navier
from panelfem.reference.navier import Navier, pinched_cylinder
from panelfem.reference.ritz import CLAMPED, COMPONENTS, RitzShell
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.shell import Shell, System
from panelfem.verify.grids import ALL, Grid
from panelfem.verify.plates import HELD
from panelfem.verify.shells import MACNEAL, rigid_in_shear
from panelfem.verify.trial import (
    UP,
    Exact,
    Lay,
    Quantity,
    Trial,
    deflection,
    fibre,
    greatest,
    pressed,
    pressure,
    reserve,
    resultant,
    ritz,
    series,
    solved,
    trial,
)
from panelfem.verify.trials_plates import MIDDLE, stack

SHELL_SERIES = "supported cylindrical panel: Reddy, Mechanics of Laminated Composite Plates and Shells (recalled)"
OWN = "problem of this program; no printed value"
Surface = Callable[[FloatArray, FloatArray], FloatArray]


def cylindrical(a: float, radius: float, opening: float) -> Surface:
    """Cylinder of length a m along x, `opening` rad, one side along the xy plane's normal of a quarter turn."""

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([a * s, radius * np.sin(opening * t), radius * np.cos(opening * t)], axis=1)

    return surface


def quarter() -> Iterator[Trial]:
    """Quarter cylinders on diaphragms, which lie along the axes, against the exact series."""
    held = {"s0": ("uy", "uz", "rx"), "s1": ("uy", "uz", "rx"), "t0": ("ux", "uz", "ry"), "t1": ("ux", "uy", "rz")}
    half = np.sqrt(0.5)
    out = np.array([0, half, half])
    quarter_turn = np.pi / 2
    R, a, h = 0.5, 0.5, 0.01
    C = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(0, h / 2), (90, h / 2)])
    sides = (a, R * quarter_turn)
    surface = cylindrical(a, R, quarter_turn)

    def panel(
        name: str,
        lay: Lay,
        C: FloatArray,
        load: navier.SineLoad,
        ours: Callable[[Grid, Shell], FloatArray],
        order: int,
        quantities: Mapping[str, Quantity],
        curved: float,
    ) -> Trial:
        def exact() -> Exact:
            return series(Navier(C, *sides, load, curvature=(0.0, 1 / curved)), sides)

        how = "Navier series on the exact cylinder"
        return trial(
            name, SHELL_SERIES, lay, C, held, ours, exact, how, order, quantities, way=out, reference_error=1e-4
        )

    yield panel(
        "quarter cylinder [0/90], R/h = 50, uniform pressure, regular mesh",
        lambda k: Grid.even(6, 8, k, surface),
        C,
        navier.uniform(1e4, 200),
        pressure(1e4),
        3,
        {
            "deflection of the middle, m": deflection(),
            "hoop strain of the mid-surface there, -": fibre(MIDDLE, 0.0, 90),
            "hoop moment M22 there, N": resultant(C, 4, MIDDLE),
        },
        R,
    )
    yield panel(
        "quarter cylinder [0/90], R/h = 50, one sine wave, distorted mesh",
        lambda k: Grid.shaken(4, 4, k, surface, 0.3, 19),
        C,
        navier.sinusoidal(1e4),
        wave(1e4, a),
        2,
        {
            "deflection of the middle, m": deflection(),
            "hoop strain of the mid-surface there, -": fibre(MIDDLE, 0.0, 90),
            "axial strain of the outer face there, -": fibre(MIDDLE, h / 2),
        },
        R,
    )
    lam = stack("[0/90]3s")
    s = np.array([0, 0.2, 0.4, 0.6, 0.8, 1])
    t = np.array([0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1])
    place = (0.4, 0.5)
    yield panel(
        "quarter cylinder [0/90]3s, R/h = 280, pressure on a patch, regular mesh",
        lambda k: Grid.lift(s, t, k, surface),
        lam.stiffness,
        navier.patch(1e4, (0.4 * a, 0.5 * sides[1]), (0.4 * a, 0.2 * sides[1]), *sides, terms=300),
        pressed(1e4, (0.2, 0.6), (0.4, 0.6)),
        2,
        {
            "deflection at the patch, m": deflection(place),
            "hoop strain of the outer face there, -": fibre(place, lam.thickness / 2, 90),
            "reserve of the outer ply there, -": reserve(lam, -1, place),
        },
        R,
    )


def wave(q: float, a: float) -> Callable[[Grid, Shell], FloatArray]:
    """One sine wave of pressure each way over a quarter cylinder, Pa."""

    def force(x: FloatArray, n: FloatArray) -> FloatArray:
        amount = q * np.sin(np.pi * x[..., 0] / a) * np.sin(2 * np.arctan2(x[..., 1], x[..., 2]))
        return np.asarray(n * amount[..., None])

    return lambda grid, shell: shell.traction(force)


def fixed(
    name: str,
    lay: Lay,
    lam: Laminate | FloatArray,
    surface: Surface,
    order: int,
    quantities: Mapping[str, Quantity],
    *,
    q: float = 1e4,
    degree: int = 18,
    held: Mapping[str, tuple[str, ...]] = HELD,
    ritz_held: Mapping[str, tuple[str, ...]] = CLAMPED,
    reference_error: float = 1e-5,
) -> Trial:
    """A curved panel under uniform pressure, against Ritz on the same surface."""
    C = lam.stiffness if isinstance(lam, Laminate) else lam

    def exact() -> Exact:
        return ritz(RitzShell(surface, C, (1, 0, 0), degree, ritz_held), lambda x, n: q * n, UP)

    how = f"Ritz on the same surface, first-order, degree {degree}"
    return trial(name, OWN, lay, C, held, pressure(q), exact, how, order, quantities, reference_error=reference_error)


def lifted(lift: Lift, a: float, b: float) -> Surface:
    """The surface over a rectangle a × b whose corner is the origin."""

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        plan = np.column_stack([a * s, b * t])
        return np.column_stack([plan, lift.height(plan)])

    return surface


def meshed(lift: Lift, a: float, b: float, size: float) -> Lay:
    """The panels' own mesher on that surface."""

    @cache
    def mesh() -> PanelMesh:
        return mesh_outline(Outline(Ring.polygon([(0, 0), (a, 0), (a, b), (0, b)])), lift, size)

    return lambda k: Grid.over(mesh(), k, (0.0, 0.0), (a, b))


def panels() -> Iterator[Trial]:
    """Clamped panels of single and double curvature."""
    lam = stack("[0/45/-45/90]s")
    bowl = TwoRadii(1.0, 1.5, (0.2, 0.15))
    yield fixed(
        "clamped doubly curved [0/45/-45/90]s, radii 1 and 1.5 m, unstructured mesh",
        meshed(bowl, 0.4, 0.3, 0.05),
        lam,
        lifted(bowl, 0.4, 0.3),
        2,
        {
            "deflection near the middle, m": deflection(),
            "strain e11 of the outer face near the middle, -": fibre(MIDDLE, lam.thickness / 2),
            "edge moment M22 at the middle of a side, N": resultant(lam.stiffness, 4, (0.5, 0)),
            "reserve of the outer ply near the middle, -": reserve(lam, -1, MIDDLE),
        },
        degree=26,
        reference_error=1e-4,
    )
    saddle = TwoRadii(1.0, -1.0, (0.2, 0.2))
    lam = stack("[0/90]2s")
    yield fixed(
        "clamped saddle [0/90]2s, radii 1 and -1 m, distorted mesh",
        lambda k: Grid.shaken(4, 4, k, lifted(saddle, 0.4, 0.4), 0.3, 23),
        lam,
        lifted(saddle, 0.4, 0.4),
        3,
        {
            "deflection of the middle, m": deflection(),
            "strain e11 of the outer face there, -": fibre(MIDDLE, 6e-4),
            "reserve of the outer ply there, -": reserve(lam, -1, MIDDLE),
        },
        degree=24,
    )
    barrel = TwoRadii(np.inf, 0.8, (0.2, 0.2))
    lam = stack("[45/-45]2s")
    yield fixed(
        "clamped cylindrical [45/-45]2s, radius 0.8 m, unstructured mesh",
        meshed(barrel, 0.4, 0.4, 0.06),
        lam,
        lifted(barrel, 0.4, 0.4),
        2,
        {
            "deflection near the middle, m": deflection(),
            "fibre strain of the outer face near the middle, -": fibre(MIDDLE, 6e-4, 45),
            "edge moment M22 at the middle of a side, N": resultant(lam.stiffness, 4, (0.5, 0)),
        },
        degree=32,
        reference_error=5e-4,
    )
    crown = Formula("0.03*sin(pi*x/0.5)*sin(pi*y/0.3) + 0.1*x*y")
    sandwich = stack("[0/45/foam-pvc-80:6mm/45/0]")
    yield fixed(
        "clamped crowned and twisted sandwich, unstructured mesh",
        meshed(crown, 0.5, 0.3, 0.08),
        sandwich,
        lifted(crown, 0.5, 0.3),
        2,
        {
            "deflection near the middle, m": deflection(),
            "greatest deflection, m": greatest(),
            "reserve of the upper ply near the middle, -": reserve(sandwich, -1, MIDDLE, "maximum stress"),
        },
        degree=20,
        reference_error=5e-5,
    )
    shelf = TwoRadii(0.5, np.inf, (0.0, 0.1))
    lam = stack("[0/45/-45/90]s")
    yield fixed(
        "curved cantilever [0/45/-45/90]s, radius 0.5 m, distorted mesh",
        lambda k: Grid.shaken(6, 4, k, lifted(shelf, 0.2, 0.2), 0.3, 29),
        lam,
        lifted(shelf, 0.2, 0.2),
        2,
        {
            "deflection of a tip corner, m": deflection((1, 1)),
            "strain e11 of the face at mid-length, -": fibre(MIDDLE, 6e-4),
        },
        q=50.0,
        degree=24,
        held={"s0": ALL},
        ritz_held={"xi0": COMPONENTS},
        reference_error=3e-4,
    )


def roofs() -> Iterator[Trial]:
    """Scordelis-Lo roof; a quarter of it; the crown is s = 0, mid-length t = 0."""
    half = np.radians(40)

    def barrel(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([25 * t, 25 * np.sin(half * s), 25 * np.cos(half * s)], axis=1)

    C = rigid_in_shear(isotropic(4.32e8, 0.0, 0.25))
    diaphragm = {"eta0": ("x", "b2"), "eta1": ("y", "z", "b1"), "xi0": ("y", "b1")}

    def exact() -> Exact:
        patch = RitzShell(barrel, C, (1, 0, 0), 20, diaphragm)
        return ritz(patch, lambda x, n: np.tile([0, 0, -90.0], (len(x), 1)), -UP)

    def regular(k: int) -> Grid:
        return Grid.even(4, 4, k, barrel)

    def distorted(k: int) -> Grid:
        return Grid.shaken(4, 4, k, barrel, 0.3, 31)

    lays: tuple[tuple[Lay, str, int], ...] = ((regular, "regular", 2), (distorted, "distorted", 3))
    for lay, mesh, order in lays:
        yield trial(
            f"Scordelis-Lo roof, {mesh} mesh",
            MACNEAL,
            lay,
            C,
            {"t0": ("ux", "ry", "rz"), "t1": ("uy", "uz", "rx"), "s0": ("uy", "rx", "rz")},
            lambda grid, shell: shell.traction(np.array([0, 0, -90.0])),
            exact,
            "Ritz, degree 20, thin limit in both",
            order,
            {
                "deflection of the middle of the free edge, ft": deflection((1, 0)),
                "axial strain there, -": fibre((1, 0), 0.0),
                "deflection of the crown, ft": deflection((0, 0)),
            },
            way=-UP,
        )


def classic() -> Iterator[Trial]:
    """The obstacle course, on meshes coarser than those of the table of shells."""
    yield from roofs()
    yield pinched_one()
    yield from twisted()
    yield hemisphere()


def pinched_one() -> Trial:
    """Pinched cylinder; an eighth; load at s = 0, t = 0, the diaphragm t = 1."""

    def pinched(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([300 * t, 300 * np.sin(np.pi / 2 * s), 300 * np.cos(np.pi / 2 * s)], axis=1)

    C = rigid_in_shear(isotropic(3e6, 0.3, 3.0))

    def point(grid: Grid, shell: Shell) -> FloatArray:
        load = np.zeros(shell.n_total)
        load[6 * grid.node(0.0, 0.0) + 2] = -0.25
        return load

    def under(grid: Grid, system: System, load: FloatArray, u: FloatArray) -> Mapping[str, float]:
        return {"deflection under the load, in": -float(u[6 * grid.node(0.0, 0.0) + 2])}

    line = np.linspace(0, 1, 9) ** 1.4
    return trial(
        "pinched cylinder with diaphragms, cells graded to the load",
        "Lindberg, Olson & Cowper 1969 (recalled)",
        lambda k: Grid.lift(line, line, k, pinched),
        C,
        {"t0": ("ux", "ry", "rz"), "t1": ("uy", "uz", "rx"), "s0": ("uy", "rx", "rz"), "s1": ("uz", "rx", "ry")},
        point,
        lambda: Exact(lambda s, t: 0.0, lambda s, t: np.zeros(8)),
        "double series, thin, 600 × 600 waves",
        3,
        {},
        more=under,
        more_exact=lambda: {"deflection under the load, in": pinched_cylinder(3e6, 0.3, 300, 600, 3, 1, waves=1200)},
        reference_error=1e-4,
    )


def even(cells: tuple[int, int], surface: Surface, k: int) -> Grid:
    """Equal cells of order k on a surface."""
    return Grid.even(*cells, k, surface)


def end_load(line: FloatArray, grid: Grid, shell: Shell) -> FloatArray:
    """A force per length (3,) N/m along the edge t = 1."""
    return grid.line_load(shell, "t1", line)


def twisted() -> Iterator[Trial]:
    """Beam twisted by 90°, unit force spread over its end."""

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        y, g = 1.1 * (s - 0.5), np.pi / 2 * t
        return np.stack([12 * t, y * np.cos(g), y * np.sin(g)], axis=1)

    g, w = np.polynomial.legendre.leggauss(12)
    for thick, order, cells in ((0.32, 2, (1, 8)), (0.0032, 3, (2, 8))):
        for direction, what in ((2, "in plane"), (1, "out of plane")):
            C = isotropic(29e6, 0.22, thick)
            force = thick**3 / 0.32**3
            line = np.eye(3)[direction] * force / 1.1

            def mean(
                grid: Grid, system: System, load: FloatArray, u: FloatArray, f: float = force
            ) -> Mapping[str, float]:
                return {"tip deflection, mean over the end, in": float(load @ u) / f}

            def expected(C: FloatArray = C, f: float = force, direction: int = direction) -> Mapping[str, float]:
                patch = RitzShell(surface, C, (1, 0, 0), (10, 26), {"eta0": COMPONENTS})
                points = np.zeros((12, 3))
                points[:, direction] = f * w / 2
                load = patch.forces((g + 1) / 2, np.ones(12), points)
                return {"tip deflection, mean over the end, in": float(load @ patch.solve(load)) / f}

            yield trial(
                f"twisted beam, t = {thick}, force {what}",
                MACNEAL,
                partial(even, cells, surface),
                C,
                {"t0": ALL},
                partial(end_load, line),
                lambda: Exact(lambda s, t: 0.0, lambda s, t: np.zeros(8)),
                "Ritz, degree 10 × 26",
                order,
                {},
                more=mean,
                more_exact=expected,
                reference_error=1e-4,
            )


def hemisphere() -> Trial:
    """Hemisphere with an 18° hole, a quarter."""

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        p, q = np.pi / 2 * s, np.radians(72) * t
        return 10 * np.stack([np.cos(p) * np.cos(q), np.sin(p) * np.cos(q), np.sin(q)], axis=1)

    C = rigid_in_shear(isotropic(6.825e7, 0.3, 0.04))

    def exact() -> Exact:
        patch = RitzShell(surface, C, (0, 0, 1), 28, {"xi0": ("y", "b1"), "xi1": ("x", "b1")}, pins=(("z", 0.5, 0.0),))
        forces = np.array([[1.0, 0, 0], [0, -1.0, 0]])
        return solved(
            patch, patch.solve(patch.forces(np.array([0.0, 1.0]), np.zeros(2), forces)), np.array([1.0, 0, 0])
        )

    def load(grid: Grid, shell: Shell) -> FloatArray:
        out = np.zeros(shell.n_total)
        out[6 * grid.node(0, 0)], out[6 * grid.node(1, 0) + 1] = 1.0, -1.0
        return out

    return trial(
        "hemisphere with an 18° hole, regular mesh",
        MACNEAL,
        lambda k: Grid.even(4, 4, k, surface),
        C,
        {"s0": ("uy", "rx", "rz"), "s1": ("ux", "ry", "rz")},
        load,
        exact,
        "Ritz, degree 28, thin limit in both",
        3,
        {
            "deflection under a load, in": deflection((0, 0)),
            "deflection of the rim of the hole, in": deflection((0, 1)),
        },
        way=np.array([1.0, 0, 0]),
        axis=UP,
        points={(0.5, 0.0): ("uz",)},
        reference_error=2e-4,
    )


def trials() -> Iterator[Trial]:
    """All curved shells."""
    yield from quarter()
    yield from panels()
    yield from classic()
