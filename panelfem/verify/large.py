"""Large deflection: the element and its paths against exact bars, von Karman plates and printed benchmarks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline

from panelfem.reference import elastica
from panelfem.reference.large_circle import LargeCircle
from panelfem.reference.large_plate import LargePlate, PlateEdge
from panelfem.reference.pressurised_membrane import FiniteStrip
from panelfem.reference.stiffness import isotropic
from panelfem.shell.continuation import Newton, arc_length
from panelfem.shell.equilibrium import Point
from panelfem.verify import large_problems as problems
from panelfem.verify.barred import barred
from panelfem.verify.large_problems import Problem
from panelfem.verify.row import STRESS, VALUE, Row

SZE = "Sze, Liu & Lo 2004, Finite Elem. Anal. Des. 40:1551 (recalled)"
ALONE = "the printed value: none independent is at hand"

#: Clamped square, edges held, ν² = .1: q a⁴/(E h⁴) and the printed w/h.
LEVY = ((63.4, 0.695), (184.0, 1.323), (402.0, 1.902))
#: Pressure on the panel that snaps at 0.72.
PRESSED = (0.2, 0.4, 0.6)


def rolled_up(turns: float) -> tuple[float, float]:
    """Displacements along and across the bar of the end of :func:`problems.roll_up` at a factor, by its own strains.

    e = ½ (λ² − 1) and k = λ θ' of an arc with stretch λ: no net force asks A e λ + D k θ' = 0, the moment D k λ = M.

    >>> [round(v, 6) for v in rolled_up(1.0)]
    [-11.994513, 8e-06]
    """
    thin, aim = 0.1**2 / 12, 2 * np.pi / 12 * turns  # D/A, and M/D
    turn = aim
    for _ in range(50):
        turn = aim / (1 - 2 * thin * turn**2)
    stretch = np.sqrt(1 - 2 * thin * turn**2)
    return (
        float(stretch * np.sin(12 * turn) / turn - 12),
        float(stretch * (1 - np.cos(12 * turn)) / turn),
    )


def bars(order: int) -> Iterator[Row]:
    """Cantilever: end shear, and rolled up to a full circle."""
    exact = elastica.end_force(1.2e6 * 0.1**3 / 12, 10.0, 4.0)
    problem = problems.cantilever(order)
    point = problem.path().at(1.0)
    for component, what, printed, reference in (
        ("ux", "shortening", -3.286, exact.u),
        ("uz", "deflection", 6.698, exact.w),
    ):
        yield Row(
            "large deflection",
            "cantilever under end shear",
            f"{what} of the end",
            SZE,
            printed,
            reference,
            "elastica, exact",
            problem.motion(point, 1.0, 0.0, component),
            "-",
            VALUE,
            "the elastica has neither shear nor stretch: 1e-4",
        )
    problem = problems.roll_up(order)
    point = problem.path().at(1.0)
    yield Row(
        "large deflection",
        "cantilever rolled up by an end moment",
        "shortening of the end, a full circle",
        SZE,
        -12.0,
        rolled_up(1.0)[0],
        "an arc, exact for these strains",
        problem.motion(point, 1.0, 0.0, "ux"),
        "-",
        VALUE,
        "these strains make the bar shorter by (hκ)²/12 and turn it further by (hκ)²/6; a thin bar does neither",
    )


@cache
def _square() -> tuple[float, ...]:
    edge = PlateEdge("clamped", "held", "held")
    plate = LargePlate(isotropic(1.0, 0.1**0.5, 1.0), 1.0, 1.0, (edge,) * 4, q=1.0, degree=12, inplane=16)
    return tuple(state.deflection(0.5, 0.5) for state in plate.solve([q for q, _ in LEVY]))


def plates(order: int) -> Iterator[Row]:
    """Clamped square, circular plates: thickness 1/300 and 1/150 of the side and the radius."""
    h = 1 / 300
    problem = problems.clamped_square(order, h)
    path = problem.path(100.0)
    for (q, printed), reference in zip(LEVY, _square(), strict=True):
        yield Row(
            "large deflection",
            "clamped square plate, edges held",
            f"w/h at q a⁴/(E h⁴) = {q:g}",
            "Levy 1942, NACA TN 847 (recalled)",
            printed,
            reference,
            "von Karman by Ritz, degree 12",
            problem.motion(path.at(q), 0.0, 0.0, "uz") / h,
            "-",
            VALUE,
            "Levy's series is short: up to 2.5 % above its own limit",
        )
    h = 1 / 150
    for clamped in (True, False):
        edge = "clamped" if clamped else "supported"
        problem = problems.circle(order, h, clamped)
        path = problem.path(10.0)
        for q in (2.0, 10.0, 50.0):
            exact = LargeCircle(1.0, 1.0, 1.0, 0.3, q, "clamped" if clamped else "supported", "held")
            yield Row(
                "large deflection",
                f"circular plate, {edge} and held",
                f"w/h at q a⁴/(E h⁴) = {q:g}",
                "Way 1934 (recalled): the equations",
                None,
                exact.deflection(0.0),
                "von Karman by collocation",
                problem.motion(path.at(q), 0.0, 0.0, "uz") / h,
                "-",
                VALUE,
            )


def strips(order: int) -> Iterator[Row]:
    """Long strip between immovable edges, h/L = 1/400; and what it is that the pressure follows the strip."""
    h, q = 0.0025, 2e-7
    stiff, bend = h / (1 - 0.3**2), h**3 / 12 / (1 - 0.3**2)
    for clamped in (True, False):
        edge = "clamped" if clamped else "supported"
        for follower in (False, True):
            kind = "follower" if follower else "dead"
            exact = FiniteStrip(
                bend, stiff, 1.0, q, "clamped" if clamped else "supported", "follower" if follower else "dead"
            )
            problem = problems.strip(order, h, clamped, q, follower)
            yield Row(
                "large deflection",
                f"long strip, {edge}, immovable edges",
                f"deflection of the middle, {kind} pressure",
                "none printed",
                None,
                exact.deflection,
                "finite rotations, exact",
                problem.motion(problem.path().at(1.0), 0.0, 0.0, "uz"),
                "m",
                VALUE,
            )


@cache
def _marguerre() -> tuple[float, ...]:
    hinged, free = PlateEdge("supported", "held", "held"), PlateEdge("free", "free", "free")
    h = 0.01
    plate = LargePlate(
        isotropic(1.0, 0.3, h),
        2.0,
        2.0,
        (free, free, hinged, hinged),
        q=h**4,
        w0=lambda x, y: -h * (1 - (y - 1) ** 2),
        degree=10,
        inplane=12,
    )
    return tuple(state.deflection(1.0, 1.0) / h for state in plate.solve(PRESSED))


def shallow(order: int) -> Iterator[Row]:
    """Parabolic panel hinged along two edges, on its way to snapping through at a factor of 0.72."""
    problem = problems.pressed_panel(order, 0.01, 1.0)
    path = problem.path(0.1)
    for factor, reference in zip(PRESSED, _marguerre(), strict=True):
        yield Row(
            "large deflection",
            "parabolic panel, rise h, hinged on two sides",
            f"w/h of the middle at q b⁴/(E h⁴) = {16 * factor:g}",
            "none printed",
            None,
            reference,
            "shallow shell (Marguerre) by Ritz, degree 10",
            -problem.motion(path.at(factor), 0.0, 0.0, "uz") / 0.01,
            "-",
            VALUE,
        )


def limits(problem: Problem, points: Sequence[Point]) -> list[tuple[float, float]]:
    """Deflection (of the node at s = t = 0, downwards) and factor wherever the factor stops rising or falling."""
    w = np.array([-problem.motion(p, 0.0, 0.0, "uz") for p in points])
    factor = np.array([p.factor for p in points])
    way = np.cumsum([0.0, *(float(np.linalg.norm(b.pose.u - a.pose.u)) for a, b in pairwise(points))])
    load, deflection = CubicSpline(way, factor), CubicSpline(way, w)
    return [(float(deflection(s)), float(load(s))) for s in load.derivative().roots(extrapolate=False)]


def snapping(h: float, order: int = 3) -> list[tuple[float, float]]:
    """(w mm, force N) at the limits of the hinged panel, up to w = 25 mm."""
    problem = problems.hinged_panel(order, h, 1000.0)

    def far(points: list[Point]) -> bool:
        return problem.motion(points[-1], 0.0, 0.0, "uz") < -25.0

    path = problem.path()
    points = arc_length(Newton(problem.equilibrium), path.held(), 0.1, far, longest=5.0)
    return [(w, 1000.0 * factor) for w, factor in limits(problem, points)]


def panels() -> Iterator[Row]:
    """Hinged cylindrical panels that snap through under a force: the greatest load before."""
    for h, printed in ((12.7, 2240.0), (6.35, 590.0)):
        yield Row(
            "large deflection",
            f"hinged cylindrical panel, h = {h} mm",
            "load at which it snaps",
            SZE,
            printed,
            printed,
            ALONE,
            snapping(h)[0][1],
            "N",
            STRESS,
            "read off a printed curve",
        )


def _printed(
    problem: Problem, name: str, values: Sequence[tuple[float, float, str, str, float]], first: float = 1.0
) -> Iterator[Row]:
    point = problem.path(first).at(1.0)
    for s, t, component, what, printed in values:
        ours = problem.motion(point, s, t, component)
        yield Row("large deflection", name, what, SZE, printed, printed, ALONE, ours, "-", STRESS)


def shells() -> Iterator[Row]:
    """Slit annulus and hemisphere at full load."""
    yield from _printed(
        problems.slit_annulus(4, 24),
        "annulus cut open, one lip lifted",
        [(1.0, 0.0, "uz", "lift of the inner corner", 13.891), (1.0, 1.0, "uz", "lift of the outer corner", 17.528)],
    )
    yield from _printed(
        problems.hemisphere(4),
        "hemisphere with an 18° hole, four forces",
        [
            (0.0, 0.0, "ux", "outward under the pull", 4.067),
            (1.0, 0.0, "uy", "inward under the push", -8.178),
        ],
    )


def cylinder() -> Iterator[Row]:
    """Open cylinder pulled apart: past 0.52 of the load it snaps a little, which is jumped over here."""
    yield from _printed(
        problems.pulled_cylinder(4, 8, 6),
        "open cylinder pulled apart",
        [(0.0, 0.0, "uz", "outward under the force", 2.768)],
    )


def rows(full: bool = False) -> Iterator[Row]:
    """All rows of large deflection; the full tier adds what takes seconds."""
    yield from barred(bars, 2e-4)
    yield from barred(plates, 2e-4)
    yield from barred(strips, 5e-4)
    yield from barred(shallow, 2e-4)
    yield from panels()
    if full:
        yield from shells()
        yield from cylinder()
