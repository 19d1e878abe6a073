"""Open holes, strips and fixings for the test of the bars."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from itertools import pairwise

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.laminate import Laminate
from panelfem.mesh import Disc, Outline, PanelMesh, PlanPolygon, Ring, mesh_outline
from panelfem.reference import navier
from panelfem.reference.hole import OpenHole, kirsch
from panelfem.reference.navier import Navier
from panelfem.reference.on_springs import PlateOnFixings
from panelfem.reference.ritz import RitzShell, flat
from panelfem.reference.stiffness import isotropic
from panelfem.reference.strip import ProppedStrip
from panelfem.shell import Shell, Supports, System
from panelfem.shell.held import HeldSystem
from panelfem.shell.supports import fastener_rows
from panelfem.verify.grids import ALL, Grid, rectangle
from panelfem.verify.laminates import t300
from panelfem.verify.plates import CROSS_PLY
from panelfem.verify.trial import (
    AXIS,
    UP,
    Exact,
    Found,
    Lay,
    Ours,
    Quantity,
    Trial,
    deflection,
    fibre,
    plies,
    pressure,
    reserve,
    resultant,
    series,
    solved,
    trial,
)
from panelfem.verify.trials_plates import MIDDLE, stack

LEKHNITSKII = "Lekhnitskii, Anisotropic Plates, 1968, ch. VI (recalled)"
OWN = "problem of this program; no printed value"
FORCES = "force method of statically indeterminate plates (textbook); no printed value"


def plane(A: FloatArray) -> FloatArray:
    """A plate of membrane stiffness A (3, 3) N/m and unit thickness."""
    C = np.zeros((8, 8))
    C[:3, :3], C[3:6, 3:6], C[6:, 6:] = A, A / 12, 0.3 * A[2, 2] * np.eye(2)
    return C


def edge_traction(far: Callable[[FloatArray, FloatArray], FloatArray], normal: FloatArray, x: FloatArray) -> FloatArray:
    """Force per length (m, 3) at points x (m, 3) of an edge with outer `normal` (2,) or (m, 2), where the resultants
    are far(x, y) (m, 3)."""
    f = far(x[:, 0], x[:, 1])
    nx, ny = normal[..., 0], normal[..., 1]
    return np.stack([f[:, 0] * nx + f[:, 2] * ny, f[:, 2] * nx + f[:, 1] * ny, 0 * f[:, 0]], axis=1)


def perforated(
    name: str,
    A: FloatArray,
    resultants: Callable[[FloatArray, FloatArray], FloatArray],
    how: str,
    order: int,
    quantities: Callable[[FloatArray], Mapping[str, Quantity]],
    *,
    size: float,
    near: tuple[float, float] | None = None,
    source: str = LEKHNITSKII,
) -> Trial:
    """A square plate of side 10 about a circular hole of radius 1, unstructured mesh (`near`: radius of a circle
    about it, and the mesh size there), loaded on its edges by the exact resultants."""
    side = 5.0

    @cache
    def mesh() -> PanelMesh:
        corners = [(-side, -side), (side, -side), (side, side), (-side, side)]
        regions = [] if near is None else [Disc("near", np.zeros(3), *near)]
        outline = Outline(Ring.polygon(corners), (Ring.circle((0.0, 0.0), 1.0, "hole"),))
        return mesh_outline(outline, None, size, regions)

    def load(grid: Grid, shell: Shell) -> FloatArray:
        out = np.zeros(shell.n_total)
        for edge, outer in (("s0", (-1, 0)), ("s1", (1, 0)), ("t0", (0, -1)), ("t1", (0, 1))):
            out += grid.line_load(shell, edge, partial(edge_traction, resultants, np.array(outer, float)))
        return out

    flexible = np.linalg.inv(A)

    def exact() -> Exact:
        def strains(s: float, t: float) -> FloatArray:
            n = resultants(np.array([2 * side * (s - 0.5)]), np.array([2 * side * (t - 0.5)]))[0]
            return np.concatenate([flexible @ n, np.zeros(5)])

        return Exact(lambda s, t: 0.0, strains)

    C = plane(A)

    def lay(k: int) -> Grid:
        return Grid.over(mesh(), k, (-side, -side), (2 * side, 2 * side))

    held = {"everywhere": ("uz", "rx", "ry")}
    points = {(0.0, 0.0): ("ux", "uy"), (1.0, 0.0): ("uy",)}
    return trial(name, source, lay, C, held, load, exact, how, order, quantities(C), points=points)


def on(x: float, y: float) -> tuple[float, float]:
    """Parameters of a point (x, y) of the perforated plate."""
    return x / 10 + 0.5, y / 10 + 0.5


def holes() -> Iterator[Trial]:
    """Hole edges against complex potentials and Kirsch."""
    Ex, Ey, G, nu = 1.2, 0.6, 0.07, 0.071
    A = np.linalg.inv(np.array([[1 / Ex, -nu / Ex, 0], [-nu / Ex, 1 / Ey, 0], [0, 0, 1 / G]]))
    how = "complex potentials, exact tractions on the outer edge"
    pulled = OpenHole(A, 1.0, 1.0, (1.0, 0.0, 0.0))
    side, pole = on(0, 1), on(1, 0)
    yield perforated(
        "plywood, circular hole, pulled along x, unstructured mesh",
        A,
        pulled.resultants,
        how,
        2,
        lambda C: {
            "hoop strain at the side, -": fibre(side, 0.0),
            "hoop strain at the pole, -": fibre(pole, 0.0, 90),
            "N11 ahead of the side, N/m": resultant(C, 0, on(0, 1.6)),
        },
        size=1.5,
        near=(1.25, 0.15),
    )
    sheared = OpenHole(A, 1.0, 1.0, (0.0, 0.0, 1.0))
    yield perforated(
        "plywood, circular hole, sheared, unstructured mesh",
        A,
        sheared.resultants,
        how,
        3,
        lambda C: {
            "hoop strain at 45°, -": fibre(on(0.7071, 0.7071), 0.0, -45),
            "strain e11 at the hole near 60°, -": fibre(on(0.5, 0.866), 0.0),
        },
        size=1.5,
        near=(1.3, 0.25),
    )
    lam = stack("[30/-15/30]")
    turned = OpenHole(lam.A, 1.0, 1.0, (1e5, 0.0, 0.0))
    yield perforated(
        "off-axis [30/-15/30], circular hole, pulled along x, unstructured mesh",
        lam.A,
        turned.resultants,
        how,
        3,
        lambda C: {
            "strain e11 at the side, -": fibre(side, 0.0),
            "strain e22 at the pole, -": fibre(pole, 0.0, 90),
            "N11 ahead of the side, N/m": resultant(C, 0, on(0, 2.0)),
        },
        size=1.5,
        near=(1.5, 0.4),
    )
    sheet = isotropic(70e9, 0.3, 1e-3)[:3, :3]
    yield perforated(
        "isotropic, circular hole, pulled along x, unstructured mesh",
        sheet,
        lambda x, y: kirsch(1.0, x, y, 1e5),
        "Kirsch, exact tractions on the outer edge",
        2,
        lambda C: {
            "hoop strain at the side, -": fibre(side, 0.0),
            "strain e11 at the hole near 60°, -": fibre(on(0.5, 0.866), 0.0),
            "strain e22 at the pole, -": fibre(pole, 0.0, 90),
        },
        size=2.0,
        near=(1.5, 0.4),
        source="Kirsch 1898 (recalled)",
    )
    yield ellipse()


def ellipse() -> Trial:
    """Elliptical hole 2:1 across the pull, a quarter of it, structured mesh."""
    lam = stack("[0/90/0]")
    hole = OpenHole(lam.A, 1.0, 2.0, (1e5, 0.0, 0.0))
    flexible, outer = np.linalg.inv(lam.A), 5.0

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        g = np.pi / 2 * t
        reach = outer**s
        return np.stack([reach * np.cos(g), (2 + reach - 1) * np.sin(g), 0 * s], axis=1)

    def place(s: float, t: float) -> tuple[FloatArray, FloatArray]:
        x = surface(np.array([s]), np.array([t]))[0]
        return x[:1], x[1:2]

    def traction(x: FloatArray) -> FloatArray:
        n = np.stack([x[:, 0] / outer**2, x[:, 1] / (outer + 1) ** 2], axis=1)
        return edge_traction(hole.resultants, n / np.linalg.norm(n, axis=1, keepdims=True), x)

    def exact() -> Exact:
        return Exact(
            lambda s, t: 0.0,
            lambda s, t: np.concatenate([flexible @ hole.resultants(*place(s, t))[0], np.zeros(5)]),
        )

    across, line = 1 - (1 - np.linspace(0, 1, 11)) ** 2.2, np.linspace(0, 1, 9) ** 2
    C = plane(lam.A)
    return trial(
        "[0/90/0], elliptical hole 2:1 across the pull, cells graded to its tip",
        LEKHNITSKII,
        lambda k: Grid.lift(line, across, k, surface),
        C,
        {"t0": ("uy",), "t1": ("ux",), "everywhere": ("uz", "rx", "ry")},
        lambda grid, shell: grid.line_load(shell, "s1", traction),
        exact,
        "complex potentials, exact tractions on the outer edge",
        2,
        {
            "hoop strain at the tip, -": fibre((0, 1), 0.0),
            "N11 ahead of the tip, N/m": resultant(C, 0, (0.25, 1)),
            "hoop strain at the pole, -": fibre((0, 0), 0.0, 90),
        },
    )


def strips() -> Iterator[Trial]:
    """Strips bent as beams."""
    m = replace(t300(), E1=100e9, E2=5e9, G12=3e9, G13=3e9, G23=2e9, nu12=0.4)
    depth, angles = (0.1, 0.1, 0.1, 0.4, 0.1, 0.1, 0.1), (0, 90, 0, 90, 0, 90, 0)
    lam = plies(*((m, 1e-3 * t, angle) for t, angle in zip(depth, angles, strict=True)))
    half, width, line = 15e-3, 10e-3, 10e3
    g, w = np.polynomial.legendre.leggauss(40)

    def exact() -> Exact:
        held = {"xi0": ("b1",), "xi1": ("z",)}
        patch = RitzShell(flat(half, width), lam.stiffness, (1, 0, 0), (20, 24), held, active=("z", "b1", "b2"))
        forces = np.zeros((40, 3))
        forces[:, 2] = line / 2 * width * w / 2
        return solved(patch, patch.solve(patch.forces(np.zeros(40), (g + 1) / 2, forces)), UP)

    yield trial(
        "layered strip in three-point bending, half of it, regular mesh",
        "NAFEMS R0031/1 (recalled: 1.06 mm, 683.9 MPa, of beam theory)",
        lambda k: Grid.even(4, 3, k, rectangle(half, width)),
        lam.stiffness,
        {"s0": ("ry",), "s1": ("uz",), "everywhere": ("ux", "uy", "rz")},
        lambda grid, shell: grid.line_load(shell, "s0", np.array([0, 0, line / 2])),
        exact,
        "Ritz, first-order, free sides, degree 20 × 24",
        2,
        {
            "deflection at mid-span, m": deflection((0, 0.5)),
            "fibre strain of the face at quarter span, -": fibre((0.5, 0.5), 0.5e-3),
            "deflection at quarter span, m": deflection((0.5, 0.5)),
        },
        reference_error=2e-4,
    )

    def lay(k: int) -> Grid:
        return Grid.shaken(6, 2, k, rectangle(0.25, 0.1), 0.3, 37)

    for text, q in (("[0/90]2s", 2e3), ("[0/90/foam-pvc-80:10mm/90/0]", 2e4)):
        stacked = stack(text)
        C, L = stacked.stiffness, 0.25
        beam = ProppedStrip(float(C[3, 3]), float(C[6, 6]), L, q)

        def prop(grid: Grid, system: System, load: FloatArray, u: FloatArray) -> Mapping[str, float]:
            held = system.reactions(u, load)[: 6 * grid.mesh.nb].reshape(-1, 6)
            return {"force of the prop, N/m": -float(held[grid.edges["s1"], 2].sum()) / 0.1}

        def force(beam: ProppedStrip = beam) -> Mapping[str, float]:
            return {"force of the prop, N/m": beam.reaction}

        def closed(beam: ProppedStrip = beam, L: float = L) -> Exact:
            return Exact(lambda s, t: beam.deflection(L * s), lambda s, t: beam.strains(L * s))

        yield trial(
            f"propped strip in cylindrical bending, {text}, distorted mesh",
            OWN,
            lay,
            C,
            {"s0": ALL, "s1": ("uz",), "t0": ("uy", "rx"), "t1": ("uy", "rx")},
            pressure(q),
            closed,
            "Timoshenko's beam, closed form",
            2,
            {
                "deflection of the middle, m": deflection(),
                "moment M11 at the clamped end, N": resultant(C, 3, (0, 0.5)),
                "reserve of the outer ply at the clamped end, -": reserve(stacked, -1, (0, 0.5), "maximum stress"),
            },
            more=prop,
            more_exact=force,
        )


Washer = tuple[tuple[float, float], tuple[float, float]]


def on_fixings(
    name: str,
    lam: Laminate,
    sides: tuple[float, float],
    washers: Sequence[Washer],
    stiffness: Sequence[float],
    q: float,
    order: int,
    quantities: Mapping[str, Quantity],
    lay: Lay,
    inside: Callable[[Grid, int], BoolArray],
) -> Trial:
    """A supported plate with extra fixings, each holding the mean of the deflection under a square washer; the plate is
    factored without them, and they are added afterwards as the assessment does."""
    C, n = lam.stiffness, len(washers)
    k = np.zeros((n, 6))
    k[:, 2] = stiffness
    counted = [i for i in range(n) if stiffness[i] > 0]

    def solve(order: int) -> Ours:
        grid = lay(order)
        shell = Shell(grid.mesh, C, AXIS)
        masks = [inside(grid, i) for i in range(n)]
        rows = fastener_rows(shell, masks, np.tile(UP, (n, 1))).rows
        fixed = grid.supports(CROSS_PLY).fixed
        system = shell.factor(Supports(fixed, fixings=(rows, k.ravel())))
        held = HeldSystem(system, rows, anchored=system.anchored)
        load = pressure(q)(grid, shell)
        first = system.solve(load)
        forces, u = held.reactions(first, k), held.correct(first, k)
        ours = Found(grid, shell, u, UP).ours(quantities, system, load)
        pulls = {f"pull on fixing {i + 1}, N": float(forces[i, 2]) for i in counted}
        edges = system.reactions(u, load)[: 6 * grid.mesh.nb].reshape(-1, 6)[:, 2]
        rest = {"load on the edges, N": -float(edges[fixed[:, 2]].sum())}
        return replace(ours, numbers={**ours.numbers, **pulls, **rest})

    def reference() -> Mapping[str, float]:
        bare = Navier(C, *sides, navier.uniform(q, 150))
        plate = PlateOnFixings(bare, washers, np.asarray(stiffness, float))
        field, grid = series(plate, sides), lay(2)
        there = Exact(field.w, field.e, lambda place: tuple(grid.par[grid.vertex(*place)].tolist()))
        out = {what: quantity(there) for what, quantity in quantities.items()}
        out |= {f"pull on fixing {i + 1}, N": float(plate.forces[i]) for i in counted}
        return out | {"load on the edges, N": q * sides[0] * sides[1] - float(plate.forces.sum())}

    how = "Navier series of plate and washers, force method, 300 × 300 waves"
    return Trial(name, FORCES, solve, reference, how, order, 2e-5)


def fixings() -> Iterator[Trial]:
    """Supported plates on extra fixings."""
    sides, size = (0.5, 0.4), 0.05

    def lines(centres: Sequence[float], length: float, cell: float) -> FloatArray:
        """Lines at the washers' sides and middles and about every `cell` m between, as shares of the length."""
        stops = sorted({0.0, length} | {round(c + d, 9) for c in centres for d in (-size / 2, size / 2)})
        parts = [
            np.linspace(a, b, (2 if round(b - a, 9) == size else max(round((b - a) / cell), 1)) + 1)[:-1]
            for a, b in pairwise(stops)
        ]
        return np.append(np.concatenate(parts), length) / length

    def structured(washers: Sequence[Washer], cell: float) -> tuple[Lay, Callable[[Grid, int], BoolArray]]:
        s = lines(sorted({w[0][0] for w in washers}), sides[0], cell)
        t = lines(sorted({w[0][1] for w in washers}), sides[1], cell)

        def inside(grid: Grid, i: int) -> BoolArray:
            (x, y), (a, b) = washers[i]
            return grid.within(
                ((x - a / 2) / sides[0], (x + a / 2) / sides[0]), ((y - b / 2) / sides[1], (y + b / 2) / sides[1])
            )

        return (lambda k: Grid.lift(s, t, k, rectangle(*sides))), inside

    def unstructured(washers: Sequence[Washer], cell: float) -> tuple[Lay, Callable[[Grid, int], BoolArray]]:
        @cache
        def mesh() -> PanelMesh:
            regions = [
                PlanPolygon(
                    f"W{i}",
                    np.array(
                        [[x - a / 2, y - b / 2], [x + a / 2, y - b / 2], [x + a / 2, y + b / 2], [x - a / 2, y + b / 2]]
                    ),
                    0.375 * size,
                )
                for i, ((x, y), (a, b)) in enumerate(washers)
            ]
            ring = Ring.polygon([(0, 0), (sides[0], 0), sides, (0, sides[1])])
            return mesh_outline(Outline(ring), None, cell, regions)

        return (lambda k: Grid.over(mesh(), k, (0.0, 0.0), sides)), (lambda grid, i: mesh().inside[f"W{i}"])

    square = (size, size)
    lam = stack("[0/90]2s")
    one: list[Washer] = [((0.25, 0.2), square)]
    yield on_fixings(
        "supported [0/90]2s on one rigid fixing in the middle, unstructured mesh",
        lam,
        sides,
        one,
        (np.inf,),
        1e3,
        2,
        {
            "deflection near a quarter point, m": deflection((0.25, 0.5)),
            "strain e11 of the face there, -": fibre((0.25, 0.5), 6e-4),
        },
        *unstructured(one, 0.09),
    )
    two: list[Washer] = [((0.15, 0.15), square), ((0.35, 0.25), square)]
    for stiffness, what in (((4e4, 1e4), "two springy fixings"), ((4e4, 0.0), "two springy fixings, the second lost")):
        yield on_fixings(
            f"supported [0/90]2s on {what}, regular mesh",
            lam,
            sides,
            two,
            stiffness,
            1e3,
            2,
            {"deflection near the middle, m": deflection(MIDDLE)},
            *structured(two, 0.1),
        )
    sandwich = stack("[0/90/foam-pvc-80:10mm/90/0]")
    four: list[Washer] = [((x, y), square) for x in (0.125, 0.375) for y in (0.1, 0.3)]
    yield on_fixings(
        "supported sandwich on four fixings, three rigid, regular mesh",
        sandwich,
        sides,
        four,
        (np.inf, np.inf, np.inf, 2e5),
        2e4,
        2,
        {
            "deflection near the middle, m": deflection(MIDDLE),
            "fibre strain of the upper face there, -": fibre(MIDDLE, 5.3e-3),
        },
        *structured(four, 0.1),
    )
    three: list[Washer] = [((0.1, 0.1), square), ((0.4, 0.12), square), ((0.22, 0.3), square)]
    yield on_fixings(
        "supported [0/90]2s on three rigid fixings, unstructured mesh",
        lam,
        sides,
        three,
        (np.inf,) * 3,
        1e3,
        2,
        {"deflection near the middle, m": deflection(MIDDLE)},
        *unstructured(three, 0.12),
    )


def trials() -> Iterator[Trial]:
    """All holes, strips and fixings."""
    yield from holes()
    yield from strips()
    yield from fixings()
