"""Bonded joints: the direct solution against closed forms, and the patch functions against another solver."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy.integrate import solve_bvp

from panelfem.arrays import FloatArray
from panelfem.joint import (
    Bond,
    Ductile,
    Strip,
    gap_edge,
    goland_reissner,
    greatest_load,
    hart_smith_balanced,
    hart_smith_double,
    patch_edge,
    scarf,
    solve,
    stepped,
    volkersen,
)
from panelfem.joint.edge import bond, strip
from panelfem.joint.overlap import system
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Adhesive, library
from panelfem.verify.row import STRESS, Row


def collocated(first: Strip, second: Strip, springs: Bond, length: float, start: FloatArray) -> tuple[float, float]:
    """Peak shear magnitude and greatest peel, Pa, of a joined overlap by scipy's collocation: a second
    method."""
    thickness, force = 1e-3, first.A
    unit = np.tile([thickness, thickness, 1, force, force, force * thickness], 2)
    m = system(first, second, springs) * (unit / unit[:, None])
    entry = np.asarray(start, float) / unit[[3, 4, 5, 9, 10, 11]]

    def ends(a: FloatArray, b: FloatArray) -> FloatArray:
        slip = b[0] + first.face / thickness * b[2] - b[6] - second.face / thickness * b[8]
        return np.concatenate([a[[3, 4, 5, 9, 10, 11]] - entry, b[:3], [slip, b[1] - b[7], b[2] - b[8]]])

    grid = length * (1 - np.cos(np.linspace(0, np.pi, 401))) / 2
    found = solve_bvp(lambda x, y: m @ y, ends, grid, np.zeros((12, len(grid))), tol=1e-7, max_nodes=50000)
    if found.status != 0:
        raise AssertionError(found.message)
    y = found.sol(grid) * unit[:, None]
    shear = springs.shear * ((y[6] + second.face * y[8]) - (y[0] + first.face * y[2]))
    return float(np.abs(shear).max()), max(0.0, float((springs.peel * (y[7] - y[1])).max()))


def rows() -> Iterator[Row]:
    """All rows of bonded joints."""
    springs = Bond(1.1e9 / 2e-4, 3e9 / 2e-4)
    straight = [Strip(a, 0.0, 1e4, math.inf, 0.0) for a in (1e8, 2e8)]
    tau = solve(straight[0], straight[1], springs, 0.02, np.array([1e5, 0, 0, 0, 0, 0]), "cut 1").shear[:, 0]
    exact = volkersen(1e5, 0.02, 1e8, 2e8, 1.1e9, 2e-4)
    for k, end in ((0, "stiffness 1e8 end"), (-1, "stiffness 2e8 end")):
        yield Row(
            "bonded joints",
            "lap without bending",
            f"shear at the {end}",
            "Volkersen 1938 (recalled)",
            None,
            float(exact[k]) / 1e6,
            "closed form",
            float(tau[k]) / 1e6,
            "MPa",
            STRESS,
        )
    t, plane = 2e-3, 70e9 / 0.91
    lap = goland_reissner(1e5, 0.02, t, 70e9, 0.3, 3e9, 1.1e9, 2e-4)
    pair = [Strip(plane * t, 0.0, plane * t**3 / 12, math.inf, side * t / 2) for side in (1, -1)]
    for what, force, value in (("shear", 1e5 * t * (1 - lap.k) / 0.02, lap.shear), ("peel", lap.shear_force, lap.peel)):
        found = solve(pair[0], pair[1], springs, 0.02, np.array([1e5, force, lap.moment, 0, 0, 0]), "cut 1")
        ours = (found.shear if what == "shear" else found.peel)[0, 0]
        yield Row(
            "bonded joints",
            "single lap, aluminium, 20 mm",
            f"{what} at the end",
            "Goland & Reissner 1944 (recalled)",
            None,
            float(value[1]) / 1e6,
            "closed form",
            float(ours) / 1e6,
            "MPa",
            STRESS,
            "edge moment of Goland & Reissner applied to the linear overlap",
        )
    yield from patches()
    yield from yielding()
    yield from tapering()


def yielding() -> Iterator[Row]:
    """Greatest loads with an adhesive that yields, against Hart-Smith's closed forms."""
    shear, thick, yields, strain = 1e9, 2e-4, 40e6, 0.2
    glue, springs = Ductile(thick, yields, strain), Bond(shear / thick, 3e9 / thick)
    pull = np.array([1.0, 0, 0, 0, 0, 0])
    for inner, outer in ((2e8, 1e8), (2e8, 5e7), (1e8, 2e8)):
        # half of the joint by symmetry; it does not bend
        half = [Strip(a, 0.0, 1e3, math.inf, 0.0) for a in (inner / 2, outer)]
        yield Row(
            "bonded joints",
            f"long double lap that yields, inner {inner / 1e6:g}, covers {outer / 1e6:g} kN/mm",
            "greatest load",
            "Hart-Smith 1973, NASA CR-112235 (recalled)",
            None,
            hart_smith_double(inner, outer, shear, thick, yields, strain) / 1e3,
            "closed form",
            2 * greatest_load(half[0], half[1], springs, glue, 0.12, pull, "cut 1") / 1e3,
            "N/mm",
            STRESS,
        )
    pair = Strip(1e8, 0.0, 1e3, math.inf, 0.0)
    for overlap in (0.01, 0.02):
        yield Row(
            "bonded joints",
            f"balanced lap that yields, {1e3 * overlap:g} mm",
            "greatest load",
            "Hart-Smith 1973, NASA CR-112235 (recalled)",
            None,
            hart_smith_balanced(1e8, overlap, shear, thick, yields, strain) / 1e3,
            "closed form",
            greatest_load(pair, pair, springs, glue, overlap, pull, "cut 1") / 1e3,
            "N/mm",
            STRESS,
        )


def tapering() -> Iterator[Row]:
    """Scarf and stepped joints against what is known of them in closed form."""
    springs, plies, thick = Bond(5e12, 1e13), [1e7] * 8, [2e-4] * 8
    long = 300.0
    yield Row(
        "bonded joints",
        "scarf 1:30 of equal adherends",
        "peak over mean shear",
        "Hart-Smith 1974, NASA CR-112237 (recalled)",
        None,
        1.0,
        "uniform shear",
        scarf(plies, plies, thick, 30.0, springs).peak * 30 * sum(thick),
        "1",
        STRESS,
    )
    yield Row(
        "bonded joints",
        f"long scarf (1:{long:g}), parent twice as stiff as patch",
        "peak over mean shear",
        "Hart-Smith 1974, NASA CR-112237 (recalled)",
        None,
        2.0,
        "ratio of the stiffnesses",
        scarf([2e7] * 8, plies, thick, long, springs).peak * long * sum(thick),
        "1",
        STRESS,
    )
    yield Row(
        "bonded joints",
        "stepped joint of one step",
        "shear at the end",
        "Volkersen 1938 (recalled)",
        None,
        float(volkersen(1e5, 0.02, 1e7, 1e7, 1e9, 2e-4)[0]) / 1e6,
        "closed form",
        stepped([1e7], [1e7], 0.02, springs, 1e5).peak / 1e6,
        "MPa",
        STRESS,
    )
    lengths, first, second = 6e-3, [3.3e7, 3e7], [3e6, 3.3e7]
    yield Row(
        "bonded joints",
        "stepped joint of a 90° and a 0° ply",
        "peak shear",
        "none printed",
        None,
        collocated_steps(first, second, lengths, 5e12),
        "scipy collocation of the equations",
        stepped([3e6, 3e7], [3e6, 3e7], lengths, springs).peak,
        "Pa per N/m",
        STRESS,
    )


def collocated_steps(first: list[float], second: list[float], step: float, spring: float) -> float:
    """Peak shear, Pa per N/m, of two steps by scipy's collocation, both mapped on 0 ≤ x ≤ 1."""

    def rate(x: FloatArray, y: FloatArray) -> FloatArray:
        out = []
        for i in (0, 1):
            u1, n1, u2, n2 = y[4 * i : 4 * i + 4]
            shear = spring * (u2 - u1)
            out += [n1 / first[i], -shear, n2 / second[i], shear]
        return step * np.array(out)

    def ends(a: FloatArray, b: FloatArray) -> FloatArray:
        return np.array([a[1] - 1.0, a[3], *(b[:4] - a[4:]), b[5], b[6]])

    grid = np.linspace(0.0, 1.0, 201)
    found = solve_bvp(rate, ends, grid, np.zeros((8, len(grid))), tol=1e-8, max_nodes=50000)
    if found.status != 0:
        raise AssertionError(found.message)
    y = found.sol(grid)
    return float(max(np.abs(spring * (y[4 * i + 2] - y[4 * i])).max() for i in (0, 1)))


def patches() -> Iterator[Row]:
    """One-sided patches through the functions the assessment calls, against scipy's collocation."""
    book = library()
    parent = Laminate(parse_stack("[0/45/-45/90]s", book, "T300-5208"))
    patch = Laminate(parse_stack("[45/-45/0]", book, "T300-5208"))
    glue = book["paste-epoxy"]
    if not isinstance(glue, Adhesive):
        raise AssertionError("paste-epoxy is an adhesive")
    angle, thick, overlap = math.radians(30), 0.2e-3, 0.02
    first, second = strip(parent, angle, 1, "parent"), strip(patch, angle, 1, "patch")
    for name, load in (("pulled", (1e5, 0.0, 0.0)), ("bent open", (0.0, -20.0, 0.0)), ("mixed", (5e4, -5.0, -300.0))):
        arrays = [np.array([v]) for v in load]
        for where, function, start in (
            ("outer edge", patch_edge, (load[0], load[2], load[1], 0, 0, 0)),
            ("edge of a gap", gap_edge, (0, 0, 0, load[0], load[2], load[1])),
        ):
            ours = function(parent, patch, glue, thick, overlap, *arrays, angle=angle)
            reference = collocated(first, second, bond(glue, thick), overlap, np.array(start, float))
            for what, o, r in zip(("shear", "peel"), ours, reference, strict=True):
                if r > 1e3:
                    yield Row(
                        "bonded joints",
                        f"one-sided patch at 30°, {name}",
                        f"peak {what}, {where}",
                        "none printed",
                        None,
                        r / 1e6,
                        "scipy collocation of the equations",
                        float(o[0]) / 1e6,
                        "MPa",
                        STRESS,
                    )
