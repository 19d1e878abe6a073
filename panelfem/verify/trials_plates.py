"""Flat plates for the test of the bars: thin and thick, laminated, sandwich, supported, clamped, circular, skew."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.mesh import Disc, Outline, PanelMesh, PlanPolygon, Ring, mesh_outline
from panelfem.reference import navier
from panelfem.reference.circular import CircularPlate, ClampedEllipse
from panelfem.reference.navier import Navier
from panelfem.reference.ritz import CLAMPED, COMPONENTS, RitzShell, flat
from panelfem.reference.ritz import SUPPORTED as RITZ_SUPPORTED
from panelfem.reference.stiffness import isotropic, laminate
from panelfem.shell import Shell, Supports
from panelfem.verify.grids import ALL, Grid, rectangle
from panelfem.verify.plates import ANGLE_PLY, CROSS_PLY, HELD
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
    trial,
)

NAVIER = "supported laminated plate: Reddy, Mechanics of Laminated Composite Plates and Shells (recalled)"
CLAMPED_PLATE = "clamped plate: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 44 (recalled)"
ANISOTROPIC = "anisotropic plate: Ashton & Whitney, Theory of Laminated Plates, 1970 (recalled)"
CIRCULAR = "circular plate: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, ch. 3 (recalled)"
MIDDLE = (0.5, 0.5)
BENT = ("z", "b1", "b2")


def stack(text: str, material: str = "carbon-ud") -> Laminate:
    """A laminate of the library's materials."""
    return Laminate(parse_stack(text, library(), material))


def even(m: int, n: int, a: float, b: float) -> Lay:
    """m × n equal cells of a flat rectangle."""
    return lambda k: Grid.even(m, n, k, rectangle(a, b))


def lines(s: FloatArray, t: FloatArray, a: float, b: float) -> Lay:
    """Cells between grid lines of a flat rectangle."""
    return lambda k: Grid.lift(s, t, k, rectangle(a, b))


def shaken(m: int, n: int, a: float, b: float, seed: int) -> Lay:
    """Cells with corners moved by up to 0.3 of a cell."""
    return lambda k: Grid.shaken(m, n, k, rectangle(a, b), 0.3, seed)


@cache
def plan(a: float, b: float, size: float, patch: tuple[float, float, float, float] | None = None) -> PanelMesh:
    """Unstructured mesh of a flat rectangle; `patch` (x0, x1, y0, y1) has edges of its own."""
    regions = []
    if patch is not None:
        x0, x1, y0, y1 = patch
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        regions.append(PlanPolygon("patch", corners, size))
    return mesh_outline(Outline(Ring.polygon([(0, 0), (a, 0), (a, b), (0, b)])), None, size, regions)


def free(a: float, b: float, size: float) -> Lay:
    """The panels' own mesher on a flat rectangle."""
    return lambda k: Grid.over(plan(a, b, size), k, (0.0, 0.0), (a, b))


def supported(
    name: str,
    lay: Lay,
    lam: Laminate | FloatArray,
    sides: tuple[float, float],
    load: navier.SineLoad,
    ours: Callable[..., FloatArray],
    order: int,
    quantities: Mapping[str, Quantity],
    family: navier.Family = "cross-ply",
) -> Trial:
    """A plate on Navier's supports."""
    C = lam.stiffness if isinstance(lam, Laminate) else lam

    def exact() -> Exact:
        return series(Navier(C, *sides, load, family), sides)

    held = CROSS_PLY if family == "cross-ply" else ANGLE_PLY
    how = f"Navier series, {len(load.m)} waves"
    return trial(name, NAVIER, lay, C, held, ours, exact, how, order, quantities)


def sine(q: float, a: float, b: float) -> Callable[[Grid, Shell], FloatArray]:
    """One sine wave of pressure each way, Pa."""

    def force(x: FloatArray, n: FloatArray) -> FloatArray:
        return np.asarray(n * (q * np.sin(np.pi * x[..., 0] / a) * np.sin(np.pi * x[..., 1] / b))[..., None])

    return lambda grid, shell: shell.traction(force)


def simply() -> Iterator[Trial]:
    """Supported plates against Navier's series."""
    q = 1e3
    C = isotropic(70e9, 0.3, 0.5e-3)
    yield supported(
        "thin square plate, h/a = 0.001, uniform pressure, regular mesh",
        even(4, 4, 0.5, 0.5),
        C,
        (0.5, 0.5),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection of the middle, m": deflection(),
            "strain e11 of the face at the middle, -": fibre(MIDDLE, 0.25e-3),
            "greatest deflection, m": greatest(),
        },
    )
    C = isotropic(70e9, 0.3, 4e-3)
    yield supported(
        "plate 2:1, h/a = 0.01, uniform pressure, distorted mesh",
        shaken(4, 6, 0.4, 0.8, 3),
        C,
        (0.4, 0.8),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection of the middle, m": deflection(),
            "moment M11 at the middle, N": resultant(C, 3, MIDDLE),
            "deflection near a quarter point, m": deflection((0.25, 0.3)),
        },
    )
    C = isotropic(70e9, 0.3, 0.04)
    yield supported(
        "thick square plate, h/a = 0.1, uniform pressure, distorted mesh",
        shaken(4, 4, 0.4, 0.4, 5),
        C,
        (0.4, 0.4),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection of the middle, m": deflection(),
            "strain e22 of the face at the middle, -": fibre(MIDDLE, 0.02, 90),
        },
    )
    C = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(angle, 0.01) for angle in (0, 90, 90, 0)])
    yield supported(
        "[0/90/90/0] of modulus ratio 25, h/a = 0.1, one sine wave, 2 × 2 cells",
        even(2, 2, 0.4, 0.4),
        C,
        (0.4, 0.4),
        navier.sinusoidal(q),
        sine(q, 0.4, 0.4),
        3,
        {"deflection of the middle, m": deflection(), "fibre strain of the face at the middle, -": fibre(MIDDLE, 0.02)},
    )
    C = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(0, 2e-3), (90, 2e-3)])
    yield supported(
        "[0/90] of modulus ratio 25, h/a = 0.01, uniform pressure, distorted mesh",
        shaken(4, 4, 0.4, 0.4, 7),
        C,
        (0.4, 0.4),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection of the middle, m": deflection(),
            "fibre strain of the upper face, -": fibre(MIDDLE, -2e-3),
            "membrane strain e11 near a quarter point, -": fibre((0.25, 0.25), 0.0),
        },
    )
    C = laminate(40e9, 1e9, 0.25, 0.6e9, 0.6e9, 0.5e9, [(45, 2e-3), (-45, 2e-3)])
    yield supported(
        "[45/-45] of modulus ratio 40, h/a = 0.01, uniform pressure, regular mesh",
        even(4, 4, 0.4, 0.4),
        C,
        (0.4, 0.4),
        navier.uniform(q),
        pressure(q),
        2,
        {"deflection of the middle, m": deflection(), "fibre strain at 45° of the face, -": fibre(MIDDLE, -2e-3, 45)},
        "angle-ply",
    )
    lam = stack("[0/90]2s")
    s, t = np.array([0, 0.2, 0.4, 0.6, 0.8, 1]), np.array([0, 0.2, 0.4, 0.6, 0.8, 1])
    place = (0.4, 0.4)
    yield supported(
        "[0/90]2s, h/a = 0.003, pressure on a patch off the middle, regular mesh",
        lines(s, t, 0.4, 0.4),
        lam,
        (0.4, 0.4),
        navier.patch(q, (0.4 * 0.3, 0.4 * 0.4), (0.4 * 0.2, 0.4 * 0.4), 0.4, 0.4),
        pressed(q, (0.2, 0.4), (0.2, 0.6)),
        2,
        {
            "deflection at the patch, m": deflection(place),
            "greatest deflection, m": greatest(),
            "reserve of the outer ply at the patch, -": reserve(lam, -1, place),
        },
    )
    sandwich = stack("[0/90/foam-pvc-80:10mm/90/0]")
    yield supported(
        "sandwich, core 10 mm, uniform pressure, regular mesh",
        even(3, 3, 0.5, 0.3),
        sandwich,
        (0.5, 0.3),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection near the middle, m": deflection((0.4, 0.4)),
            "fibre strain of the lower face there, -": fibre((0.4, 0.4), -0.0053),
            "reserve of the upper ply there, -": reserve(sandwich, -1, (0.4, 0.4), "maximum stress"),
        },
    )
    mesh = plan(0.5, 0.3, 0.07, (0.2, 0.3, 0.1, 0.2))
    yield supported(
        "sandwich, core 10 mm, pressure on a patch, unstructured mesh",
        lambda k: Grid.over(mesh, k, (0.0, 0.0), (0.5, 0.3)),
        sandwich,
        (0.5, 0.3),
        navier.patch(1e4, (0.25, 0.15), (0.1, 0.1), 0.5, 0.3, 300),
        lambda grid, shell: shell.traction(lambda x, n: 1e4 * n, mesh.inside["patch"]),
        2,
        {
            "deflection near the middle, m": deflection(),
            "greatest deflection, m": greatest(),
            "fibre strain of the lower face beside the patch, -": fibre((0.25, 0.3), -0.0053),
        },
    )
    graded = np.linspace(0, 1, 6) ** 1.5
    lam = stack("[0/90/0/90]s")
    yield supported(
        "[0/90/0/90]s, 3:2, uniform pressure, cells graded to a corner",
        lines(graded, graded, 0.3, 0.2),
        lam,
        (0.3, 0.2),
        navier.uniform(q),
        pressure(q),
        2,
        {
            "deflection near the middle, m": deflection(),
            "strain of the upper face near the middle, -": fibre(MIDDLE, 6e-4),
            "reserve of the upper ply near the middle, -": reserve(lam, -1, MIDDLE),
        },
    )
    fabric = stack("[0/0/honeycomb-aramid-48:6mm/0/0]", "carbon-twill")
    yield supported(
        "fabric sandwich on honeycomb, uniform pressure, regular mesh",
        even(2, 2, 0.35, 0.25),
        fabric,
        (0.35, 0.25),
        navier.uniform(q),
        pressure(q),
        3,
        {
            "deflection of the middle, m": deflection(),
            "reserve of the upper ply there, -": reserve(fabric, -1, MIDDLE, "maximum stress by direction"),
        },
    )


def clamped(
    name: str,
    lay: Lay,
    lam: Laminate | FloatArray,
    surface: Callable[[FloatArray, FloatArray], FloatArray],
    order: int,
    quantities: Mapping[str, Quantity],
    *,
    q: float = 1e3,
    degree: int = 18,
    held: Mapping[str, tuple[str, ...]] = HELD,
    ritz_held: Mapping[str, tuple[str, ...]] = CLAMPED,
    source: str = ANISOTROPIC,
    reference_error: float = 1e-5,
) -> Trial:
    """A flat symmetric laminate under uniform pressure, against Ritz."""
    C = lam.stiffness if isinstance(lam, Laminate) else lam

    def exact() -> Exact:
        return ritz(RitzShell(surface, C, (1, 0, 0), degree, ritz_held, active=BENT), lambda x, n: q * n, UP)

    how = f"Ritz, first-order, degree {degree}"
    fixed = {**held, "everywhere": ("ux", "uy", "rz")}
    return trial(
        name, source, lay, C, fixed, pressure(q), exact, how, order, quantities, reference_error=reference_error
    )


def held_fast() -> Iterator[Trial]:
    """Clamped and cantilever plates, D16 not zero, against Ritz of high degree."""
    C = isotropic(70e9, 0.3, 4e-3)
    yield clamped(
        "clamped square plate, h/a = 0.01, unstructured mesh",
        free(0.4, 0.4, 0.12),
        C,
        flat(0.4, 0.4),
        2,
        {
            "deflection near the middle, m": deflection(),
            "edge moment M11 at the middle of a side, N": resultant(C, 3, (0, 0.5)),
            "strain e11 of the face near the middle, -": fibre(MIDDLE, 2e-3),
        },
        source=CLAMPED_PLATE,
        degree=24,
        reference_error=5e-5,
    )
    C = isotropic(70e9, 0.3, 0.4e-3)
    yield clamped(
        "clamped plate 3:2, h/a = 0.001, distorted mesh",
        shaken(6, 4, 0.6, 0.4, 11),
        C,
        flat(0.6, 0.4),
        2,
        {
            "deflection of the middle, m": deflection(),
            "edge moment M22 at the middle of a side, N": resultant(C, 4, (0.5, 0)),
            "greatest deflection, m": greatest(),
        },
        source=CLAMPED_PLATE,
        degree=26,
        reference_error=1e-4,
    )
    lam = stack("[0/45/-45/90]s")
    yield clamped(
        "clamped [0/45/-45/90]s, 0.4 × 0.3 m, unstructured mesh",
        free(0.4, 0.3, 0.1),
        lam,
        flat(0.4, 0.3),
        2,
        {
            "deflection near the middle, m": deflection(),
            "edge moment M22 at the middle of a side, N": resultant(lam.stiffness, 4, (0.5, 0)),
            "reserve of the outer ply at the edge, -": reserve(lam, -1, (0.5, 0)),
        },
        degree=28,
        reference_error=6e-4,
    )
    lam = stack("[30]4")
    yield clamped(
        "clamped [30]4, h/a = 0.002, distorted mesh",
        shaken(4, 4, 0.3, 0.3, 13),
        lam,
        flat(0.3, 0.3),
        3,
        {
            "deflection of the middle, m": deflection(),
            "fibre strain of the face at the middle, -": fibre(MIDDLE, 3e-4, 30),
            "deflection near a quarter point, m": deflection((0.25, 0.25)),
        },
        degree=20,
    )
    C = laminate(25e9, 1e9, 0.25, 0.5e9, 0.5e9, 0.2e9, [(30, 0.01), (-45, 0.01), (-45, 0.01), (30, 0.01)])
    yield clamped(
        "clamped thick [30/-45]s of modulus ratio 25, h/a = 0.1, regular mesh",
        even(4, 4, 0.4, 0.4),
        C,
        flat(0.4, 0.4),
        2,
        {
            "deflection of the middle, m": deflection(),
            "moment M12 at the middle, N": resultant(C, 5, MIDDLE),
            "strain e11 of the face at the middle, -": fibre(MIDDLE, 0.02),
        },
        degree=28,
        reference_error=1e-4,
    )
    sandwich = stack("[0/45/foam-pvc-80:10mm/45/0]")
    yield clamped(
        "clamped sandwich [0/45/core/45/0], unstructured mesh",
        free(0.5, 0.3, 0.11),
        sandwich,
        flat(0.5, 0.3),
        2,
        {
            "deflection near the middle, m": deflection(),
            "fibre strain of the upper face there, -": fibre(MIDDLE, 5.3e-3),
            "reserve of the upper ply there, -": reserve(sandwich, -1, MIDDLE, "maximum stress"),
        },
        degree=22,
        reference_error=5e-5,
    )
    D = np.array([[1, 0.3, -0.5], [0.3, 1, -0.5], [-0.5, -0.5, 0.6]])
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = 12e4 * D, D, 5e4 * np.eye(2)
    yield clamped(
        "Ashton's supported plate, D16 = D26 = -0.5 D11, regular mesh",
        even(6, 6, 1, 1),
        C,
        flat(1, 1),
        2,
        {"deflection of the middle, m": deflection(), "moment M12 at the middle, N": resultant(C, 5, MIDDLE)},
        q=1.0,
        degree=32,
        held=CROSS_PLY,
        ritz_held=RITZ_SUPPORTED,
        reference_error=4e-4,
    )
    lam = stack("[30/0]s")
    root = {"s0": ALL}
    yield clamped(
        "cantilever [30/0]s, 0.2 × 0.1 m, distorted mesh",
        shaken(6, 4, 0.2, 0.1, 17),
        lam,
        flat(0.2, 0.1),
        2,
        {
            "deflection of a tip corner, m": deflection((1, 1)),
            "deflection of the other corner, m": deflection((1, 0)),
            "fibre strain of the face at mid-length, -": fibre(MIDDLE, 3e-4, 30),
        },
        q=50.0,
        degree=28,
        held=root,
        ritz_held={"xi0": COMPONENTS},
        reference_error=5e-4,
    )
    lam = stack("[0/45/-45/90]s")
    two = {"s0": ALL, "s1": ALL}
    yield clamped(
        "[0/45/-45/90]s clamped on two sides, two free, unstructured mesh",
        free(0.3, 0.2, 0.08),
        lam,
        flat(0.3, 0.2),
        2,
        {
            "deflection near the middle, m": deflection(),
            "deflection at the middle of a free side, m": deflection((0.5, 0)),
            "moment M11 near the middle, N": resultant(lam.stiffness, 3, MIDDLE),
        },
        degree=24,
        held=two,
        ritz_held={"xi0": COMPONENTS, "xi1": COMPONENTS},
        reference_error=1e-4,
    )
    yield skew()


def skew() -> Trial:
    """Clamped parallelogram, 60°."""
    a, angle, lam = 0.3, np.radians(60), stack("[0/90]2s")
    u, v = np.cos(angle), np.sin(angle)
    ring = Ring.polygon([(0, 0), (a, 0), (a + a * u, a * v), (a * u, a * v)])

    @cache
    def mesh() -> PanelMesh:
        return mesh_outline(Outline(ring), None, 0.08)

    def lay(k: int) -> Grid:
        curved = mesh().curved(k)
        t = curved.x[:, 1] / (a * v)
        return Grid(curved, np.column_stack([curved.x[:, 0] / a - u * t, t]))

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.stack([a * s + a * u * t, a * v * t, 0 * s], axis=1)

    return clamped(
        "clamped rhombus of 60°, [0/90]2s, unstructured mesh",
        lay,
        lam,
        surface,
        2,
        {
            "deflection near the middle, m": deflection(),
            "fibre strain of the face near the middle, -": fibre(MIDDLE, 6e-4),
            "reserve of the outer ply near the middle, -": reserve(lam, -1, MIDDLE),
        },
        degree=24,
        reference_error=1e-4,
    )


#: deflection and strains of a closed form at (x, y), made when called
Closed = Callable[[], tuple[Callable[[float, float], float], Callable[[float, float], FloatArray]]]


def disc(
    name: str,
    C: FloatArray,
    exact: Closed,
    how: str,
    order: int,
    quantities: Mapping[str, Quantity],
    *,
    size: float,
    edge: str,
    q: float,
    radius: float = 0.2,
    loaded: float | None = None,
    stretch: float = 1.0,
    reference_error: float = 1e-5,
) -> Trial:
    """A circular plate (stretched along x: an ellipse) under pressure on a disc, unstructured mesh."""

    @cache
    def mesh() -> PanelMesh:
        regions = [] if loaded is None else [Disc("load", np.zeros(3), loaded, size)]
        return mesh_outline(Outline(Ring.circle((0.0, 0.0), radius)), None, size, regions)

    def lay(k: int) -> Grid:
        curved = mesh().curved(k)
        par = curved.x[:, :2] / (2 * radius) + 0.5
        return Grid(curved.moved(curved.x * [stretch, 1, 1]), par)

    def supports(grid: Grid) -> Supports:
        fixed: BoolArray = np.zeros((grid.mesh.nb, 6), bool)
        fixed[:, [0, 1, 5]] = True
        rim = np.linalg.norm(grid.par[: grid.mesh.nb] - 0.5, axis=1) > 0.5 - 1e-7
        fixed[np.ix_(rim, range(6) if edge == "clamped" else [2])] = True
        return Supports(fixed)

    def field() -> Exact:
        w, e = exact()

        def at(s: float, t: float) -> tuple[float, float]:
            return 2 * radius * stretch * (s - 0.5), 2 * radius * (t - 0.5)

        return Exact(lambda s, t: w(*at(s, t)), lambda s, t: e(*at(s, t)))

    def load(grid: Grid, shell: Shell) -> FloatArray:
        return shell.traction(np.array([0, 0, q]), None if loaded is None else mesh().inside["load"])

    return trial(name, CIRCULAR, lay, C, supports, load, field, how, order, quantities, reference_error=reference_error)


def round_plates() -> Iterator[Trial]:
    """Circular plates and an ellipse against closed forms."""
    R = 0.2

    def closed(edge: str, h: float, q: float, loaded: float) -> Closed:
        C = isotropic(70e9, 0.3, h)
        plate = CircularPlate(R, C[3, 3], 0.3, C[6, 6], "clamped" if edge == "clamped" else "supported", q, loaded)
        return lambda: (lambda x, y: plate.deflection(float(np.hypot(x, y))), plate.strains)

    how = "closed form with shear"
    h = 4e-3
    C = isotropic(70e9, 0.3, h)
    yield disc(
        "clamped circular plate, h/R = 0.02, uniform pressure, unstructured mesh",
        C,
        closed("clamped", h, 1e4, R),
        how,
        2,
        {
            "deflection near the middle, m": deflection(),
            "edge moment M11, N": resultant(C, 3, (1, 0.5)),
            "strain e11 of the face near the middle, -": fibre(MIDDLE, h / 2),
        },
        size=0.1,
        edge="clamped",
        q=1e4,
    )
    h = 0.02
    C = isotropic(70e9, 0.3, h)
    yield disc(
        "supported circular plate, h/R = 0.1, uniform pressure, unstructured mesh",
        C,
        closed("supported", h, 1e5, R),
        how,
        2,
        {
            "deflection near the middle, m": deflection(),
            "strain e11 of the face near half radius, -": fibre((0.75, 0.5), h / 2),
            "greatest deflection, m": greatest(),
        },
        size=0.09,
        edge="supported",
        q=1e5,
    )
    h = 2e-3
    C = isotropic(70e9, 0.3, h)
    yield disc(
        "clamped circular plate, h/R = 0.01, pressure on a central disc, unstructured mesh",
        C,
        closed("clamped", h, 1e5, 0.06),
        how,
        2,
        {
            "deflection near the middle, m": deflection(),
            "edge moment M11, N": resultant(C, 3, (1, 0.5)),
            "strain e11 of the face near the middle, -": fibre(MIDDLE, h / 2),
        },
        size=0.1,
        edge="clamped",
        q=1e5,
        loaded=0.06,
    )
    h = 0.01
    C = isotropic(70e9, 0.3, h)
    yield disc(
        "supported circular plate, h/R = 0.05, pressure on a central disc, unstructured mesh",
        C,
        closed("supported", h, 1e5, 0.1),
        how,
        3,
        {
            "deflection near the middle, m": deflection(),
            "strain e22 of the face near half radius, -": fibre((0.75, 0.5), h / 2, 90),
        },
        size=0.15,
        edge="supported",
        q=1e5,
        loaded=0.1,
    )
    lam = stack("[30]4")
    thin = lam.stiffness.copy()
    thin[6:, 6:] *= 1e4
    ellipse = ClampedEllipse(lam.D, 0.3, R, 1e3)
    yield disc(
        "clamped ellipse 3:2, [30]4, uniform pressure, unstructured mesh, thin limit",
        thin,
        lambda: (ellipse.deflection, ellipse.strains),
        "closed form of thin theory (shear stiffness × 1e4 in ours)",
        2,
        {
            "deflection near the middle, m": deflection(),
            "fibre strain of the face near the middle, -": fibre(MIDDLE, 3e-4, 30),
            "reserve of the outer ply near the middle, -": reserve(lam, -1, MIDDLE),
        },
        size=0.11,
        edge="clamped",
        q=1e3,
        stretch=1.5,
    )


def trials() -> Iterator[Trial]:
    """All flat plates."""
    yield from simply()
    yield from held_fast()
    yield from round_plates()
