"""A core crushed under a rigid shape: how a skin spreads a force over its core, and the check of what is struck."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.linalg import solve_banded
from scipy.special import kei

from panelfem.arrays import FloatArray
from panelfem.assess.model import Model
from panelfem.assess.plan import Inputs, plans
from panelfem.assess.respond import Responder
from panelfem.damage import damaged
from panelfem.damage.kinds.core import DamagedCore
from panelfem.disposition import Consequence, Outcome, judge
from panelfem.disposition.judge import Findings
from panelfem.failure.crush import Bed, bed_under, core_stiffness, least_bending, point_pressure
from panelfem.laminate import Laminate, parse_stack
from panelfem.loads import Contact, Flat, HalfRound, LoadCase
from panelfem.loads.obstacle import obstacle_rows, place_obstacle
from panelfem.material import CoreMaterial, library
from panelfem.mesh import Disc, Outline, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve.analyse import Settings, analyse
from panelfem.reserve.bars import barred
from panelfem.reserve.crush import MODE, CrushCheck, footprint
from panelfem.reserve.observe import Observed, State
from panelfem.reserve.records import ContactState, ModeReserve
from panelfem.shell import Shell

UP, X = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
SKIN = 0.5


def core(name: str = "foam-pvc-80", **change: object) -> CoreMaterial:
    found = library()[name]
    assert isinstance(found, CoreMaterial)
    return replace(found, **change)  # type: ignore[arg-type]


#: A honeycomb that resists no shear is a bed of springs.
SPRINGS = Bed(SKIN, core("honeycomb-aramid-48", G13=1e-3, G23=1e-3), 10e-3, 1e6)
K = SPRINGS.core.E / SPRINGS.thickness
SPREAD = (SKIN / K) ** 0.25
DEEP = Bed(SKIN, core(), 0.2, 1e6)


def line(bed: Bed, at: float = 0.0, long: float = 1.0) -> float:
    """Pressure (Pa) at a distance (m) from the middle of a line under 1 N/m."""
    ends = np.array([[-long / 2, long / 2]])
    return float(bed.pressure(np.array([[0.0, at]]), np.zeros((1, 2)), np.array([long]), ends)[0])


def point(bed: Bed, at: float = 0.0) -> float:
    """Pressure (Pa) at a distance (m) from a force of 1 N."""
    return float(bed.pressure(np.array([[0.0, at]]), np.zeros((1, 2)), np.ones(1), np.array([[-1e-7, 1e-7]]))[0])


def test_on_springs_it_is_hertz() -> None:
    """−kei(r/l)/(2π l²) and P/(8 l²) under a point, q λ/2 exp(−λx)(cos λx + sin λx) beside a line (from memory)."""
    assert point(SPRINGS) == pytest.approx(1 / (8 * SPREAD**2), rel=1e-3)
    for r in (0.5, 1.5, 3.0):
        assert point(SPRINGS, r * SPREAD) == pytest.approx(-kei(r) / (2 * math.pi * SPREAD**2), rel=1e-3)
    lam = 1 / (math.sqrt(2) * SPREAD)
    for x in (0.0, 0.7, 1.6):
        exact = lam / 2 * math.exp(-x) * (math.cos(x) + math.sin(x))
        assert line(SPRINGS, x / lam) == pytest.approx(exact, rel=2e-3)


def test_a_line_is_a_beam_on_an_elastic_bed() -> None:
    """Independent: D w'''' + k w = q by finite differences, the force on one of 4001 points, ends held."""
    n, step = 4001, SPREAD / 100
    bands = np.zeros((5, n))
    for row, value in enumerate((1.0, -4.0, 6.0, -4.0, 1.0)):
        bands[row] = SKIN * value / step**4
    bands[2] += K
    load = np.zeros(n)
    load[n // 2] = 1 / step
    w = solve_banded((2, 2), bands, load)
    assert line(SPRINGS) == pytest.approx(K * w[n // 2], rel=1e-3)
    assert line(SPRINGS, SPREAD) == pytest.approx(K * w[n // 2 + 100], rel=1e-3)


def layer(C: FloatArray, h: float, s: float, n: int = 400) -> float:
    """K(s) of a layer by finite elements through its depth: u = U sin sx, w = W cos sx, linear in each of n elements.

    `C` (4,): C11, C13, C33 and G.  Held at the bottom; at the top u = 0, w = 1.
    """
    d = h / n
    A = np.zeros((2 * n + 2, 2 * n + 2))
    for g in (-1 / math.sqrt(3), 1 / math.sqrt(3)):
        N, slope = np.array([(1 - g) / 2, (1 + g) / 2]), np.array([-1.0, 1.0]) / d
        ex, ez, gamma = np.zeros(4), np.zeros(4), np.zeros(4)
        ex[::2], ez[1::2] = s * N, slope
        gamma[::2], gamma[1::2] = slope, -s * N
        part = C[0] * np.outer(ex, ex) + C[2] * np.outer(ez, ez) + C[3] * np.outer(gamma, gamma)
        part += C[1] * (np.outer(ex, ez) + np.outer(ez, ex))
        for e in range(n):
            A[2 * e : 2 * e + 4, 2 * e : 2 * e + 4] += part * d / 2
    free, top = np.arange(2, 2 * n), 2 * n + 1
    return float(A[top, top] - A[top, free] @ np.linalg.solve(A[np.ix_(free, free)], A[free, top]))


@pytest.mark.parametrize("s", [20.0, 150.0, 600.0])
def test_stiffness_of_a_layer_of_foam_and_of_honeycomb(s: float) -> None:
    """Independent: finite elements through the depth."""
    foam, comb, h = core(), core("honeycomb-aramid-48"), 8e-3
    G = foam.E / (2 * (1 + foam.nu))
    lame = foam.E * foam.nu / ((1 + foam.nu) * (1 - 2 * foam.nu))
    solid = layer(np.array([lame + 2 * G, lame, lame + 2 * G, G]), h, s, 200)
    assert core_stiffness(foam, h, np.array([s]))[0] == pytest.approx(solid, rel=1e-3)
    cells = layer(np.array([0.0, 0.0, comb.E, comb.G13]), h, s, 200)
    assert core_stiffness(comb, h, np.array([s]))[0] == pytest.approx(cells, rel=1e-3)


def test_a_deep_core_is_a_half_space() -> None:
    """K = c s: by residues, peaks P (c/D)^⅔/(3√3) and 2q (c/D)^⅓/(3√3); never below, in thinner cores.  The one spring
    for deep cores, 0.28 E (E/D)^⅓ (Allen, Zenkert, from memory), tells a fifth less under a line, half under a point.
    """
    foam = DEEP.core
    c = 2 * foam.E * (1 - foam.nu) / ((1 + foam.nu) * (3 - 4 * foam.nu))
    assert point(DEEP) == pytest.approx((c / SKIN) ** (2 / 3) / (3 * math.sqrt(3)), rel=2e-3)
    assert line(DEEP) == pytest.approx(2 * (c / SKIN) ** (1 / 3) / (3 * math.sqrt(3)), rel=5e-3)
    k = 0.28 * foam.E * (foam.E / SKIN) ** (1 / 3)
    assert (k / SKIN / 4) ** 0.25 / 2 / line(DEEP) == pytest.approx(0.79, abs=0.02)
    assert math.sqrt(k / SKIN) / 8 / point(DEEP) == pytest.approx(0.48, abs=0.02)
    for h in (2e-3, 5e-3, 20e-3):
        thinner = replace(DEEP, thickness=h)
        assert point(thinner) > 0.99 * point(DEEP)
        assert line(thinner) > max(0.99 * line(DEEP), 0.99 * (foam.E / h / SKIN / 4) ** 0.25 / 2)


def test_the_kernel_against_quadrature() -> None:
    """Independent: the integrals of a point and of a line by adaptive quadrature, on foam 6 mm deep; and all of a force
    arrives."""
    bed = replace(DEEP, thickness=6e-3)

    def share(s: float) -> float:
        stiff = float(core_stiffness(bed.core, bed.thickness, np.array([s]))[0])
        return stiff / (SKIN * s**4 + stiff)

    def whole(f: Callable[[float], float]) -> float:
        return sum(float(quad(f, *ends, limit=400)[0]) for ends in ((1e-6, 2e3), (2e3, 1e5), (1e5, 1e7)))

    assert point(bed) == pytest.approx(whole(lambda s: share(s) * s) / (2 * math.pi), rel=1e-3)
    assert line(bed) == pytest.approx(whole(share) / math.pi, rel=2e-3)
    r = np.linspace(0.0, 25e-3, 2001)
    G = point_pressure(SKIN, lambda s: core_stiffness(bed.core, bed.thickness, s), r)
    assert np.trapezoid(2 * math.pi * r * G, r) == pytest.approx(1.0, rel=5e-3)


def test_the_weakest_way_a_skin_bends() -> None:
    """Plies at 0° bend into waves across the fibre most easily, whichever way they are turned."""
    plies = parse_stack("[0]", library(), "carbon-ud")
    turned = parse_stack("[30]", library(), "carbon-ud")
    assert least_bending(Laminate(plies)) == pytest.approx(Laminate(plies).D[1, 1])
    assert least_bending(Laminate(turned, bottom=1e-3)) == pytest.approx(Laminate(plies).D[1, 1])
    bare = bed_under(Laminate(parse_stack("[foam-pvc-80:5mm/0]", library(), "carbon-twill")), -1)
    assert bare is not None
    assert np.isinf(line(bare))


PLATE = Laminate(parse_stack("[0/45/foam-pvc-80:6mm/0]", library(), "carbon-twill"))


@cache
def panel(stack: str = "", weak: bool = False) -> Panel:
    """A sandwich 120 × 80 mm with its short edges held, skins of two plies below and one above."""
    area = Disc("weak", np.array([0.09, 0.04, 0]), 0.02, 0.02)
    mesh = mesh_outline(Outline(Ring.polygon([(0, 0), (0.12, 0), (0.12, 0.08), (0, 0.08)])), None, 0.02, (area,))
    laminate = Laminate(parse_stack(stack, library(), "carbon-twill")) if stack else PLATE
    ends = (Disc("end", np.array([x, 0.04, 0]), 0.0405, 0.02) for x in (0.0, 0.12))
    held = tuple(EdgeSupport("end", "elastic", end, 5e7) for end in ends)
    found = Panel("plate", mesh, (laminate,), np.zeros(len(mesh.triangles), np.int64), X, edges=held)
    return damaged(found, [DamagedCore("soft", "weak", 1.0, 0.5, 0.0)]) if weak else found


def kerb(**change: object) -> Contact:
    """A half-round from below across the middle."""
    values = {
        "shape": HalfRound(0.08), "place": np.array([0.06, 0.04, -0.5]), "direction": UP, "travel": X,
        "control": "interference", "amount": 0.4e-3, "car_stiffness": None,
    }  # fmt: skip
    return Contact(**{**values, **change})  # type: ignore[arg-type]


def seen(contact: ContactState) -> Observed:
    """A state of which only the contact is looked at."""
    return CrushCheck.observed(State(np.zeros(0), np.zeros((0, 6)), (contact,)))


def pressed(on: Panel, row: FloatArray, force: FloatArray, direction: FloatArray = UP) -> ContactState:
    """What `force` (n,) N does at the vertices nearest to places `row` (n, 3) of a panel."""
    shell = Shell(on.mesh.curved(2), on.stiffness(), on.axis, ~on.removed)
    shape = place_obstacle(kerb(shape=Flat(), place=np.array([0.06, 0.04, 0]) - direction, direction=direction), shell)
    touch = obstacle_rows(shape, shell, 1)
    nearest = np.argmin(np.linalg.norm(touch.place[:, None] - row[None], axis=2), axis=0)
    touch = replace(touch, place=touch.place.copy())
    touch.place[nearest] = row
    which, all_force = np.zeros(len(touch.area), bool), np.zeros(len(touch.area))
    which[nearest], all_force[nearest] = True, force
    return ContactState(1.0, 0.0, 1.0, touch.place[which], 0.0, footprint=footprint(shape, touch, all_force, which))


def check(on: Panel, now: ContactState, held: ContactState | None = None) -> ModeReserve:
    nothing = pressed(on, np.zeros((0, 3)), np.zeros(0))
    (found,) = CrushCheck(on, str).reserves(seen(held or nothing), seen(now), True)
    return found


MIDDLE = np.array([[0.06, 0.04, 0.0]])


def test_the_skin_that_is_struck_is_looked_at() -> None:
    """From below, along the normal, the two plies of the bottom face spread the force; from above the one on top."""
    for direction, side in ((UP, -1), (-UP, 1)):
        now = pressed(panel(), MIDDLE, np.array([100.0]), direction)
        assert now.footprint is not None
        bed = bed_under(PLATE, side)  # type: ignore[arg-type]
        assert bed is not None
        at, ends = np.zeros((1, 2)), now.footprint.ends
        expected = bed.strength / bed.pressure(at, at, np.array([100.0]), ends)[0]
        mode = check(panel(), now)
        assert mode.factor == pytest.approx(expected)
        assert (mode.grade, mode.mode) == ("inspection", MODE)
        assert mode.place == pytest.approx(MIDDLE[0])
    assert least_bending(Laminate(PLATE.plies[:2])) > 2 * least_bending(Laminate(PLATE.plies[3:]))


def test_a_damaged_core_takes_less_and_what_is_held_counts() -> None:
    place, force = np.array([[0.09, 0.04, 0.0]]), np.array([100.0])
    whole = check(panel(), pressed(panel(), place, force)).factor
    weak, now = panel(weak=True), pressed(panel(weak=True), place, force)
    assert check(weak, now).factor == pytest.approx(whole / 2)
    held = pressed(weak, place, 0.4 * force)
    assert check(weak, now, held).factor == pytest.approx((whole / 2 - 0.4) / 0.6)
    much = pressed(weak, place, whole * force)
    assert check(weak, now, much).status == "zero load", "also where the shape has left the place since"
    assert check(weak, pressed(weak, MIDDLE[:0], force[:0]), much).status == "zero load"


def test_a_row_of_places_is_a_line_however_they_are_spaced() -> None:
    """Forces of a line of 1 kN/m, at even and at uneven places; two such rows beside each other add up."""
    bed = bed_under(PLATE, -1)
    assert bed is not None
    exact = bed.strength / (1e3 * line(bed))
    for y in (np.linspace(0.01, 0.07, 13), np.linspace(0.01, 0.07, 5), np.array([8.0, 20, 26, 38, 44, 56, 70]) / 1e3):
        row = np.column_stack([np.full(len(y), 0.06), y, np.zeros(len(y))])
        ends = np.stack([-np.diff(y, prepend=2 * y[0] - y[1]), np.diff(y, append=2 * y[-1] - y[-2])], axis=1)
        force = 1e3 * (ends[:, 1] - ends[:, 0]) / 2
        assert 1e3 * line(bed) == pytest.approx(
            bed.pressure(np.array([[y[len(y) // 2], 0.0]]), np.column_stack([y, 0 * y]), force, ends)[0], rel=5e-3
        )
        if len(y) == 5:
            factor = check(panel(), pressed(panel(), row, force)).factor
            assert factor == pytest.approx(exact, rel=3e-2), "an end of a row is known to the size of its place only"
    at, ends = np.array([[0.0, 0.0], [0.0, 2e-3]]), np.array([[-0.5, 0.5], [-0.5, 0.5]])
    both = bed.pressure(at[:1], at, np.array([1.0, 1.0]), ends)[0]
    assert both == pytest.approx(line(bed) + line(bed, 2e-3), rel=1e-9)


@cache
def struck(order: int, stack: str = "") -> tuple[Model, Responder, LoadCase]:
    load = LoadCase("kerb", "kerb strike", "interference", kerb())
    state = next(p for p in plans(Inputs(panel(stack), (), (), (load,))) if p.name == "undamaged").states[0]
    model = Model(state, order, str)
    return model, Responder(model, (load,), finer=order == 3), load


def test_a_struck_sandwich_from_end_to_end() -> None:
    """At the factor found the pressure is the strength; the number has its bar; a thin shell has no such mode."""
    results, plies = [], []
    for order in (2, 3):
        model, responder, load = struck(order)
        result, _, path = analyse(model.subject, load, responder.linear(load), Settings())
        (mode,) = (m for m in result.modes if m.mode == MODE)
        assert mode.status == "found"
        again = CrushCheck(model.panel, str).reserves(path.held, path.state(mode.factor), True)[0]
        assert again.factor == pytest.approx(1.0, abs=0.02)
        bed, total = bed_under(PLATE, -1), path.state(mode.factor).contacts[0].force
        assert bed is not None
        peak = bed.strength / line(bed) / (total / 0.08)
        assert 1.0 < peak < 2.0, "of the line force where the core is crushed, over its mean across the panel"
        results.append(result)
        plies.append(result.plies)
    whole = barred(results[0], results[1], plies[1], lambda mode: 0.0)
    (mode,) = (m for m in whole.modes if m.mode == MODE)
    assert 0.0 < mode.bar < 0.3 * mode.factor
    assert mode not in (whole.release, whole.first_ply)
    model, responder, load = struck(2, "[0_8]")
    assert MODE not in {m.mode for m in analyse(model.subject, load, responder.linear(load), Settings())[0].modes}


def test_large_displacements_press_alike() -> None:
    """A little way in, the panel followed with large displacements presses as linear theory says."""
    model, responder, load = struck(2)
    small = replace(load, scaled=kerb(amount=2e-5))
    linear, followed = responder.linear(small), responder.following(small)
    factors = [CrushCheck(model.panel, str).reserves(seen(r.held.contacts[0]), seen(r.at(1.0).contacts[0]), True)[0]
               for r in (linear, followed)]  # fmt: skip
    assert factors[1].factor == pytest.approx(factors[0].factor, rel=0.02)


def test_it_asks_for_inspection_and_does_not_govern_release() -> None:
    model, responder, load = struck(2)
    result = analyse(model.subject, load, responder.linear(load), Settings())[0]
    (mode,) = (m for m in result.modes if m.mode == MODE)
    release = replace(result.release, factor=3.0, status="found")
    rest = tuple(m for m in result.modes if m.grade != "release" and m.mode != MODE)

    def judged(factor: float) -> tuple[Outcome, bool, bool]:
        modes = (release, replace(mode, factor=factor), *rest)
        calm = replace(result.theory, reasons=())
        first = replace(result.first_ply, factor=3.0)
        found = replace(result, modes=modes, release=release, first_ply=first, theory=calm)
        d = judge(Findings("as found", (found,)), Consequence("debris", 1.5, "stated"))
        return d.outcome, any("dent" in c for c in d.conditions), any("dent" in c for c in d.inspect)

    assert judged(0.8) == (Outcome.MEETS_IF, True, True)
    assert judged(1.2) == (Outcome.MEETS, False, True)
    assert judged(1.6) == (Outcome.MEETS, False, False)
