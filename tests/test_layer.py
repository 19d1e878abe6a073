"""The unresolved layer of the twist at edges: where there is one, how large, and that it covers what is missing."""

from __future__ import annotations

import numpy as np
import pytest
from shell_problems import X_AXIS

from panelfem.accuracy import measured
from panelfem.accuracy.layer import caught, edge_layer, unresolved
from panelfem.reference.ritz import COMPONENTS, RitzShell, flat
from panelfem.reference.stiffness import isotropic
from panelfem.shell import Shell
from panelfem.verify.grids import ALL, Grid, rectangle
from panelfem.verify.trials_plates import stack

SIDES = (0.2, 0.12)
FLAT = {"everywhere": ("ux", "uy", "rz")}
ROOT = {"s0": ALL, **FLAT}


def scaled(text: str, thicker: float) -> np.ndarray:
    """A laminate of the library with all plies so many times thicker."""
    C = stack(text).stiffness.copy()
    C[:3, :3], C[6:, 6:], C[3:6, 3:6] = thicker * C[:3, :3], thicker * C[6:, 6:], thicker**3 * C[3:6, 3:6]
    return C


def solved(C, k, grid, held):
    shell = Shell(grid.mesh, C, X_AXIS)
    system = shell.factor(grid.supports(held))
    load = shell.traction(np.array([0, 0, 1.0]))
    return system, load, system.solve(load)


def cantilever(C, k, cells=(4, 4)):
    return solved(C, k, Grid.shaken(*cells, k, rectangle(*SIDES), 0.3, 3), ROOT)


@pytest.mark.parametrize("k", [2, 3, 5])
def test_share_caught(k):
    depth = np.geomspace(0.01, 1e4, 40)
    share = caught(k, depth)
    assert (np.diff(share) < 1e-12).all()
    assert share[0] == pytest.approx(1, abs=1e-9)
    assert share[-1] == pytest.approx((k + 1) ** 2 / depth[-1], rel=2e-2)
    assert (caught(k + 1, depth) >= share - 1e-12).all()


@pytest.mark.parametrize(("k", "thickness"), [(2, (1.0, 4.0, 15.0)), (3, (1.0, 2.0, 4.0))])
def test_layer_bars_of_cantilevers_cover_at_every_thickness(k, thickness):
    """Against Ritz of high degree (0.05 %); at order 3 the step alone does not cover the thinnest.

    Thicker ones at order 3 are ruled by the singular corners of the root, not by the layer."""
    missed = []
    for thicker in thickness:
        C = scaled("[30/0]s", thicker)
        ritz = RitzShell(flat(*SIDES), C, (1, 0, 0), 28, {"xi0": COMPONENTS}, active=("z", "b1", "b2"))
        v = ritz.solve(ritz.traction(lambda x, n: n))
        (_, _, low), (system, load, high) = cantilever(C, k), cantilever(C, k + 1)
        layer = edge_layer(system, load, high)
        for place in ((1, 1), (1, 0)):
            # corners of the grid are its nodes at every order
            node = Grid.shaken(4, 4, k, rectangle(*SIDES), 0.3, 3).vertex(*place)
            exact = ritz.displacement(v, *place)[2]
            numbers = low[6 * node + 2], high[6 * node + 2]
            slack = 5e-4 * abs(exact)
            assert abs(numbers[1] - exact) <= measured(*numbers, layer=layer).bar + slack
            missed.append(abs(numbers[1] - exact) > measured(*numbers).bar + slack)
    assert k == 2 or any(missed[:2])


def test_layer_falls_with_resolved_meshes_and_thick_plates():
    C = scaled("[30/0]s", 8.0)
    coarse = edge_layer(*cantilever(C, 3))
    edge = np.sqrt(C[5, 5] / C[6, 6]) / SIDES[1] * np.array([0, 2, 6, 14])
    t = np.concatenate([edge, np.linspace(edge[-1], 1 - edge[-1], 5)[1:-1], 1 - edge[::-1]])
    s = np.concatenate([np.linspace(0, 1 - edge[-1], 7), 1 - edge[-2::-1]])
    fine = edge_layer(*solved(C, 3, Grid.lift(s, t, 3, rectangle(*SIDES)), ROOT))
    assert coarse > 2e-3
    assert 0 <= fine < 0.02 * coarse
    thick = edge_layer(*cantilever(scaled("[30/0]s", 80.0), 3))
    assert 0 <= thick < 0.02 * coarse


def test_the_layer_is_what_meshes_that_resolve_it_add():
    """Softly hinged square, λ resolved at the edge by a graded mesh, against even meshes of the same cells inside."""
    C, a = isotropic(70e9, 0.3, 2e-3), 0.4
    held = {**dict.fromkeys(("s0", "s1", "t0", "t1"), ("uz",)), **FLAT}
    width = np.sqrt(C[5, 5] / C[6, 6]) / a
    edge, inside = width * np.array([0, 2, 6]), np.linspace(0, 1, 7)[1:-1]
    line = np.concatenate([edge, inside, 1 - edge[::-1]])
    system, load, u = solved(C, 3, Grid.even(6, 6, 3, rectangle(a, a)), held)
    _, whole, right = solved(C, 3, Grid.lift(line, line, 3, rectangle(a, a)), held)
    lacking = 1 - (load @ u) / (whole @ right)
    assert lacking > 4e-3
    assert edge_layer(system, load, u) == pytest.approx(lacking, rel=0.35)


def test_clamped_and_hard_hinged_edges_have_none_and_dual_solutions_share():
    C = scaled("[30/0]s", 1.0)
    grid = Grid.even(4, 4, 2, rectangle(*SIDES))
    for held in (dict.fromkeys(("s0", "s1", "t0", "t1"), ALL),
                 {"s0": ("uz", "rx"), "s1": ("uz", "rx"), "t0": ("uz", "ry"), "t1": ("uz", "ry")}):  # fmt: skip
        assert edge_layer(*solved(C, 2, grid, {**held, **FLAT})) < 1e-12
    system, load, u = cantilever(C, 3)
    tip = np.zeros_like(load)
    tip[6 * Grid.shaken(4, 4, 3, rectangle(*SIDES), 0.3, 3).vertex(1, 1) + 2] = 1.0
    both = np.column_stack([u, system.solve(tip)])
    products = unresolved(system.shell, system.supports, both)
    assert products == pytest.approx(products.T)
    assert (np.diag(products) > 0).all()
    assert products[0, 0] == pytest.approx(edge_layer(system, load, u) * (load @ u))
    scaled_up = unresolved(system.shell, system.supports, 3.0 * both)
    assert scaled_up == pytest.approx(9.0 * products)
    assert edge_layer(system, 0.0 * load, 0.0 * u) == 0.0
