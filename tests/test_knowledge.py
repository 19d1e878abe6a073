"""What readings say of a panel and strikes of a reserve: against other discretisations, quadrature, exact rules."""

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
from panelfem.mesh import FlatLift, Outline, PlanPolygon, Ring, mesh_outline
from panelfem.panel import Fastener, Panel

A, B = 0.4, 0.3
#: The damage is a square about this place that keeps three tenths of its stiffness; weights and gauges stand beside it.
CENTRE, LEFT = (0.2, 0.15), 0.3
FIXINGS = [(0.02, 0.02), (0.38, 0.02), (0.38, 0.28), (0.02, 0.28), (0.2, 0.02), (0.2, 0.28)]
SPRING = 4e4
PADS = [(0.09, 0.15), (0.2, 0.245)]
PAD, WASHER = 0.02, 0.02
SPOTS = [(0.09, 0.15), (0.31, 0.15), (0.2, 0.245), (0.025, 0.025), (0.2, 0.03)]
FORCE = 4.0
LAMINATE = Laminate(parse_stack("[0/45_2/0]", library(), "carbon-twill"))
GAUGE = 1e-5
PRIOR = Prior(0.0, 0.15, 0.1, 0.35)


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
            [legendre.legval(t, legendre.legder(each, k) if k else each).T * (2 / length) ** k for k in range(3)]
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
    return np.sqrt(GAUGE**2 + surface().error ** 2 + (0.01 * nominal) ** 2)


def test_model_and_truth_agree_as_well_as_the_noise_allows_for() -> None:
    plate = Plate()
    for side, skin, fixings in ((0.0, 1.0, 1.0), (0.06, 1.1, 0.7), (0.13, 0.9, 1.5)):
        ours = surface().at(np.array([side]), np.log([fixings / skin]))[0, 0] / skin
        assert ours == pytest.approx(plate.readings(side, skin, fixings).ravel(), rel=0.015)


@cache
def trials() -> tuple[tuple[dict[str, float], Posterior], ...]:
    """200 panels whose truth is drawn from the prior, read with noise, and what is found of each."""
    rng, plate, noise = np.random.default_rng(20), Plate(), noise_of()
    made = []
    for _ in range(200):
        side = rng.uniform(PRIOR.least, PRIOR.most)
        skin, fixings = np.exp(rng.normal(0, [PRIOR.skin, PRIOR.fixings]))
        truth = {"damage size": side, "skin stiffness": skin, "fixing stiffness": fixings}
        reading = plate.readings(side, skin, fixings).ravel() + rng.normal(0, GAUGE, len(noise))
        made.append((truth, found(reading, noise)))
    return tuple(made)


@pytest.mark.parametrize("unknown", ["damage size", "skin stiffness", "fixing stiffness"])
def test_on_200_panels_the_interval_holds_the_truth_and_is_narrow(unknown: str) -> None:
    told = [(truth[unknown], posterior.of(unknown)) for truth, posterior in trials()]
    assert np.mean([t.low <= value <= t.high for value, t in told]) >= 0.90
    assert np.median([t.share for _, t in told]) <= 0.5


def test_on_200_panels_hardly_one_fits_no_state() -> None:
    assert np.mean([Fit("as found", posterior, 1.0).fits for _, posterior in trials()]) >= 0.97


# ---- the posterior against quadrature, and what readings cannot tell


def line(values: np.ndarray) -> Surface:
    """A surface without size or fixings."""
    return Surface(np.zeros(1), np.zeros(1), np.asarray(values, float)[None, None])


def test_the_posterior_of_one_unknown_is_that_of_quadrature() -> None:
    p, d, noise, sd = np.array([1e-3, 2e-3]), np.array([1.08e-3, 2.1e-3]), np.array([4e-5, 9e-5]), 0.1
    found = update(line(p), Prior(0.0, 0.0, sd, 0.0), d, noise, p)

    def density(x: float) -> float:
        return float(norm.pdf(x, 0, sd) * np.prod(norm.pdf(d, p * np.exp(-x), noise)))

    whole = quad(density, -0.4, 0.4, points=[-0.06], epsabs=0, epsrel=1e-10)[0]
    told = found.of("skin stiffness")
    assert told is not None
    for share, end in ((0.025, told.low), (0.5, told.median), (0.975, told.high)):
        assert quad(density, -0.4, math.log(end), epsrel=1e-10)[0] / whole == pytest.approx(share, abs=1e-3)
    # the evidence leaves out the constants of the noise, alike in every state
    constants = float(np.log(noise * math.sqrt(2 * math.pi)).sum())
    assert found.evidence == pytest.approx(math.log(whole) + constants, abs=1e-4)


def test_readings_worth_nothing_leave_the_prior() -> None:
    nominal = surface().at(np.zeros(1), np.zeros(1))[0, 0]
    posterior = update(surface(), PRIOR, nominal, 1e3 * np.abs(nominal), nominal)
    for told in posterior.told:
        assert told.share == pytest.approx(1.0, abs=0.02)
        assert not told.informed
    size = posterior.of("damage size")
    assert size is not None
    assert size.before == pytest.approx((0.025 * PRIOR.most, 0.975 * PRIOR.most), rel=0.02)
    verdict = conclude([Fit("as found", posterior, 1.0)], "as found")
    assert "cannot tell how stiff" in verdict.sentence
    assert len(verdict.untold) == 3


def test_one_reading_under_the_weight_tells_of_the_skin_alone() -> None:
    nominal = surface().at(np.array([0.06]), np.zeros(1))[0, 0, :1]
    only = Surface(surface().sizes, surface().ratios, surface().values[:, :, :1])
    posterior = update(only, PRIOR, nominal, 0.01 * nominal, nominal)
    assert [t.informed for t in posterior.told] == [False, True, False]
    verdict = conclude([Fit("as found", posterior, 1.0)], "as found")
    assert verdict.sentence.endswith(", which says nothing about the size of the damage.")
    assert [line.split(":")[0] for line in verdict.untold] == ["damage size", "fixing stiffness"]


# ---- the sentence


def fits(reading: np.ndarray, noise: float = 1e-5) -> list[Fit]:
    """Undamaged and as found with a damage of 60 mm as measured."""
    whole, hurt = (surface().at(np.array([s]), np.zeros(1))[0, 0] for s in (0.0, 0.06))
    each = np.full(len(whole), noise)
    flat_one = Surface(surface().sizes[:1], surface().ratios, surface().values[:1])
    undamaged = update(flat_one, PRIOR, reading, each, whole)
    return [
        Fit("undamaged", undamaged, 1.0),
        Fit("as found", update(surface(), PRIOR, reading, each, whole), float(whole @ hurt / (whole @ whole))),
    ]


def test_the_sentence_says_what_the_panel_is_like() -> None:
    plate = Plate()

    def said(side: float, believed: str, skin: float = 1.0, noise: float = 1e-5) -> str:
        return conclude(fits(plate.readings(side, skin, 1.0).ravel(), noise), believed).sentence

    as_thought = said(0.06, "as found")
    assert as_thought.startswith("As stiff as the model says for the panel as found, within ±")
    assert ", as by a damage of " in as_thought
    assert said(0.14, "as found").startswith("Softer than the model says for the panel as found, by ")
    assert said(0.0, "undamaged", 1.15).startswith("Stiffer than the model says for the undamaged panel, by ")
    assert said(0.13, "undamaged").startswith(
        "The panel does not bend like the undamaged panel: the panel as found fits over 1000 times better, as by a "
    )
    assert said(0.02, "undamaged", noise=4e-5).endswith(
        "; the readings cannot tell between the undamaged panel and the panel as found."
    )


def test_readings_of_another_panel_fit_no_state() -> None:
    reading = Plate().readings(0.06, 1.0, 1.0).ravel()
    verdict = conclude(fits(np.where(np.arange(len(reading)) == 2, 2 * reading, reading)), "as found")
    assert verdict.sentence.startswith("The readings fit no state of the model")


def test_a_state_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="there is no state 'patch'"):
        conclude(fits(Plate().readings(0.06, 1.0, 1.0).ravel()), "patch")


# ---- the surface, quantiles


def test_the_surface_says_what_it_may_be_wrong_by() -> None:
    sizes, ratios = nodes(0.0, 0.1, 5), nodes(-1.0, 1.0, 5)

    def true(s: np.ndarray, r: np.ndarray) -> np.ndarray:
        return np.exp(20 * s)[:, None] / (1 + np.exp(r)) + 0.1

    made = Surface(sizes, ratios, true(sizes, ratios)[..., None])
    s, r = np.linspace(0, 0.1, 30), np.linspace(-1, 1, 31)
    off = np.abs(made.at(s, r)[..., 0] - true(s, r)).max()
    assert 0 < off <= made.error[0] < 100 * off
    with pytest.raises(ModelError, match="not a number"):
        Surface(sizes, ratios, np.full((5, 5, 1), math.nan))


def test_quantiles_are_those_of_a_statistics_library() -> None:
    x = np.linspace(-8, 8, 4001)
    assert quantiles(x, norm.pdf(x), (0.025, 0.5, 0.9)) == pytest.approx(norm.ppf([0.025, 0.5, 0.9]), abs=1e-5)
    means, spreads, weights = np.array([0.0, 4.0]), np.array([1.0, 0.5]), np.array([0.3, 0.7])
    for share, value in zip((0.1, 0.6), mixture_quantiles(means, spreads, weights, (0.1, 0.6)), strict=True):
        assert float(weights @ norm.cdf(value, means, spreads)) == pytest.approx(share, abs=1e-9)


# ---- experience


@pytest.mark.parametrize(("median", "u", "s", "n"), [(1.2, 0.25, 0.15, 6), (0.6, 0.3, 0.05, 40), (2.0, 0.1, 0.4, 1)])
def test_experience_is_that_of_quadrature(median: float, u: float, s: float, n: int) -> None:
    def integral(power: int, top: float = 9.0) -> float:
        def of(t: float) -> float:
            return float(norm.pdf(t) * norm.cdf((math.log(median) + u * t) / s) ** power)

        return quad(of, -9.0, top, epsabs=0, epsrel=1e-11, limit=400, points=[-math.log(median) / u])[0]

    found = experience(median, u, s, n)
    assert found.after.survives == pytest.approx(integral(n + 1) / integral(n), rel=1e-7)
    for share, end in ((0.025, found.after.low), (0.5, found.after.median), (0.975, found.after.high)):
        assert integral(n, (math.log(end) - math.log(median)) / u) / integral(n) == pytest.approx(share, abs=2e-4)


def test_experience_keeps_to_what_is_known_exactly() -> None:
    # before any strike: strength and strike are two normals; after one: an orthant of three
    u, s, m = 0.3, 0.2, 0.15
    found = experience(math.exp(m), u, s, 1)
    both = math.hypot(u, s)
    assert found.before.survives == pytest.approx(norm.cdf(m / both), rel=1e-9)
    joint = multivariate_normal([0, 0], [[1, (u / both) ** 2], [(u / both) ** 2, 1]]).cdf([m / both] * 2)
    assert found.after.survives == pytest.approx(joint / norm.cdf(m / both), rel=1e-5)
    # Laplace's rule of succession (recalled): equals that change places
    for n in (0, 1, 7, 50):
        assert experience(1.0, 0.2, 0.2, n).after.survives == pytest.approx((n + 1) / (n + 2), rel=1e-9)


def test_more_strikes_survived_never_lower_the_reserve() -> None:
    found = [experience(0.9, 0.25, 0.1, n).after for n in (0, 1, 3, 10, 100)]
    assert (np.diff([r.median for r in found]) > 0).all()
    assert (np.diff([r.survives for r in found]) > 0).all()


@pytest.mark.parametrize(
    ("given", "what"),
    [
        ((0.0, 0.2, 0.2, 1), "a reserve factor of 0"),
        ((1.0, 0.001, 0.2, 1), "0.1 % is not taken"),
        ((1.0, 0.2, 5.0, 1), "500 % is not taken"),
        ((1.0, 0.2, 0.2, -1), "-1 strikes"),
    ],
)
def test_experience_that_cannot_be_is_refused(given: tuple[float, float, float, int], what: str) -> None:
    with pytest.raises(InputError, match=what):
        experience(*given)


@pytest.mark.parametrize(
    ("median", "u", "s", "n"), [(0.5, 0.1, 0.1, 200), (0.2, 0.1, 0.1, 2), (0.5, 0.05, 0.1, 5), (1.0, 0.01, 2.0, 5000)]
)
def test_many_strikes_survived_against_what_was_computed(median: float, u: float, s: float, n: int) -> None:
    """Evidence far from the prior, against sums on a wider and finer axis (derived here)."""
    x = np.linspace(math.log(median) - 12 * u, math.log(median) + 12 * u + 12 * s, 400001)
    logarithm = -0.5 * ((x - math.log(median)) / u) ** 2 + n * norm.logcdf(x / s)
    weights = np.exp(logarithm - logarithm.max())
    weights /= weights.sum()
    found = experience(median, u, s, n).after
    assert found.survives == pytest.approx(float(weights @ norm.cdf(x / s)), rel=1e-3, abs=1e-9)
    assert found.median == pytest.approx(math.exp(x[int(np.searchsorted(np.cumsum(weights), 0.5))]), rel=1e-3)
