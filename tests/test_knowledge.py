"""What readings say of a panel, and past strikes of a reserve: against other discretisations, quadrature, exact rules."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from numpy.polynomial import legendre
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from panelfem.damage import SOFT, Softened, damaged
from panelfem.errors import InputError, ModelError
from panelfem.knowledge.compliance import Gauge, Weight, readings_of
from panelfem.knowledge.experience import experience
from panelfem.knowledge.posterior import Posterior, Prior, update
from panelfem.knowledge.surface import Surface, nodes
from panelfem.knowledge.verdict import Fit, conclude
from panelfem.knowledge.weighted import mixture_quantiles, quantiles
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.mesh import FlatLift, Line, Outline, PlanPolygon, Ring, mesh_outline
from panelfem.panel import Fastener, Panel

A, B = 0.4, 0.3
#: The damage is a square about this place that keeps three tenths of its stiffness; weights and gauges stand beside it.
CENTRE, LEFT = (0.2, 0.15), 0.3
FIXINGS = [(0.02, 0.02), (0.38, 0.02), (0.38, 0.28), (0.02, 0.28), (0.2, 0.02), (0.2, 0.28)]
SPRING = 4e4
PADS = [(0.09, 0.15), (0.2, 0.245)]
PAD, WASHER = 0.02, 0.02
SPOTS = [(0.09, 0.15), (0.31, 0.15), (0.2, 0.245), (0.025, 0.025), (0.2, 0.03)]
FORCE = 20.0
LAMINATE = Laminate(parse_stack("[0/45_2/0]", library(), "carbon-twill"))
GAUGE = 4e-6
PRIOR = Prior(0.0, 0.15, 0.1, 0.35)
MILD = 1e-9


def square(name: str, place: tuple[float, float], side: float) -> PlanPolygon:
    corners = np.array(place) + 0.5 * side * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return PlanPolygon(name, corners, max(0.012, 0.3 * side))


# ---- the truth: a Kirchhoff plate of Legendre polynomials, on springs at points


class Plate:
    """Ritz's method with products of Legendre polynomials; the softened square is integrated exactly.

    Source: W. Ritz 1909; energy of a Kirchhoff plate, Timoshenko & Woinowsky-Krieger, chapter 10 (recalled).
    Shares neither theory (no transverse shear), element, mesh nor area of fixing with the shell.
    """

    def __init__(self, degree: int = 21) -> None:
        self.degree = degree
        self.grams = [self._along(0.0, A, A), self._along(0.0, B, B)]
        self.whole = self._energy(*self.grams)
        self.pads = np.stack([self.value(x, y) for x, y in PADS], 1)
        self.spots = np.stack([self.value(x, y) for x, y in SPOTS])
        fixings = np.stack([self.value(x, y) for x, y in FIXINGS])
        self.springs = SPRING * fixings.T @ fixings

    def _table(self, s: np.ndarray, length: float) -> np.ndarray:
        """Values, first and second derivatives (3, n, m) of the polynomials at s (n,) m."""
        t, each = 2 * s / length - 1, np.eye(self.degree + 1)
        return np.stack(
            [
                legendre.legval(t, legendre.legder(each, k) if k else each).T * (2 / length) ** k
                for k in range(3)
            ]
        )

    def _along(self, low: float, high: float, length: float) -> np.ndarray:
        """(3, 3, m, m) integrals of products of derivatives from low to high."""
        t, w = legendre.leggauss(self.degree + 2)
        table = self._table(low + (t + 1) * (high - low) / 2, length)
        return np.einsum("q,aqi,bqj->abij", w * (high - low) / 2, table, table)

    def _energy(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        # w,xx and w,yy and 2 w,xy: orders of derivative along x and y
        orders, total = [(2, 0), (0, 2), (1, 1)], 0.0
        factor = np.array([1.0, 1.0, 2.0])
        for i, (a, b) in enumerate(orders):
            for j, (c, d) in enumerate(orders):
                total = total + LAMINATE.D[i, j] * factor[i] * factor[j] * np.kron(x[a, c], y[b, d])
        return np.asarray(total)

    def value(self, x: float, y: float) -> np.ndarray:
        return np.kron(self._table(np.array([x]), A)[0, 0], self._table(np.array([y]), B)[0, 0])

    def readings(self, side: float, skin: float, fixings: float) -> np.ndarray:
        """Deflections (gauges, weights)."""
        low, high = (np.array(CENTRE) - side / 2), (np.array(CENTRE) + side / 2)
        hurt = self._energy(self._along(low[0], high[0], A), self._along(low[1], high[1], B))
        k = skin * (self.whole - (1 - LEFT) * hurt) + fixings * self.springs
        return self.spots @ np.linalg.solve(k, FORCE * self.pads)


# ---- the model: the shell, its damage in five sizes


@cache
def panel() -> tuple[Panel, np.ndarray]:
    sizes = nodes(PRIOR.least, PRIOR.most, 5)
    ring = Ring.polygon([(0.0, 0.0), (A, 0.0), (A, B), (0.0, B)])
    regions = [square(f"size {i}", CENTRE, s) for i, s in enumerate(sizes) if s > 0]
    regions += [square(f"pad {i}", place, PAD) for i, place in enumerate(PADS)]
    regions += [square(f"F{i}", place, WASHER) for i, place in enumerate(FIXINGS)]
    mesh = mesh_outline(Outline(ring, ()), FlatLift(), 0.05, tuple(regions))
    up = np.array([0.0, 0.0, 1.0])
    fixings = tuple(
        Fastener(f"F{i}", np.array([*place, 0.0]), up, 0.5 * WASHER, 1e7, SPRING) for i, place in enumerate(FIXINGS)
    )
    number = np.zeros(len(mesh.triangles), np.int64)
    return Panel("plate", mesh, (LAMINATE,), number, np.array([1.0, 0.0, 0.0]), fixings), sizes


@cache
def surface() -> Surface:
    base, sizes = panel()
    up = np.array([0.0, 0.0, 1.0])
    weights = [Weight(f"W{i}", f"pad {i}", FORCE * up) for i in range(len(PADS))]
    gauges = [Gauge(f"G{i}", np.array([*spot, 0.0]), up) for i, spot in enumerate(SPOTS)]
    ratios, like, values = nodes(-PRIOR.ratio, PRIOR.ratio, 9), None, []
    for i, size in enumerate(sizes):
        state = base if size == 0 else damaged(base, [Softened("D", f"size {i}", LEFT, 1.0)], SOFT)
        full, like = readings_of(state, weights, gauges, ratios, 2, like)
        values.append(full.reshape(len(ratios), -1))
    return Surface(sizes, ratios, np.stack(values))


def found(reading: np.ndarray, noise: np.ndarray) -> Posterior:
    return update(surface(), PRIOR, reading, noise, surface().at(np.zeros(1), np.zeros(1))[0, 0])


def noise_of() -> np.ndarray:
    """Gauge, the surface's own error, and 1 % of the model's: what the mesh leaves (see below)."""
    nominal = surface().at(np.array([0.06]), np.zeros(1))[0, 0]
    return np.sqrt(GAUGE**2 + surface().error**2 + (0.01 * nominal) ** 2)


def test_model_and_truth_agree_as_well_as_the_noise_allows_for() -> None:
    plate = Plate()
    for side, skin, fixings in ((0.0, 1.0, 1.0), (0.06, 1.1, 0.7), (0.13, 0.9, 1.5)):
        ours = surface().at(np.array([side]), np.log([fixings / skin]))[0, 0] / skin
        theirs = plate.readings(side, skin, fixings).ravel()
        print(side, np.abs(ours / theirs - 1).round(4), (surface().error / theirs).round(4))
        assert np.abs(ours - theirs).max() < 0.02 * np.abs(theirs).max()


def test_on_200_panels_the_interval_holds_the_truth_and_is_narrow() -> None:
    rng, plate, noise = np.random.default_rng(20), Plate(), noise_of()
    holds, widths = [], []
    for _ in range(200):
        side = rng.uniform(PRIOR.least, PRIOR.most)
        skin, fixings = np.exp(rng.normal(0, [PRIOR.skin, PRIOR.fixings]))
        truth = {"damage size": side, "skin stiffness": skin, "fixing stiffness": fixings}
        reading = plate.readings(side, skin, fixings).ravel() + rng.normal(0, GAUGE, len(noise))
        told = found(reading, noise).told
        holds.append([t.low <= truth[t.unknown] <= t.high for t in told])
        widths.append([t.share for t in told])
    print(np.mean(holds, axis=0), np.median(widths, axis=0))
    assert (np.mean(holds, axis=0) >= 0.90).all()
    assert (np.median(widths, axis=0) <= 0.5).all()
