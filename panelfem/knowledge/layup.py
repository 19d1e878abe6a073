"""Which stacks fit what was weighed, measured and bent of a panel, and what that leaves of its stiffness.

A stack's plies are of nominal thickness, density and modulus times unknown factors, one of each for every material,
lognormal about 1 within the material's bands.  The logarithm y of what is measured is taken as linear in theirs (it is,
but for stacks of several materials), so each stack has its likelihood, a normal density, and its factors are known
better after: numbers are mixtures over all stacks.

    V = J S Jᵀ + R        p(y | stack) = N(y; ŷ, V)        ln of factors after: S Jᵀ V⁻¹ (y − ŷ), S − S Jᵀ V⁻¹ J S

Source: Bayes' rule with a linear model, any textbook, e.g. C. M. Bishop 2006, Pattern Recognition and Machine Learning,
section 2.3.3 (recalled).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.failure import CRITERIA, deciding
from panelfem.knowledge.bending import Bending, Plate, pliancy
from panelfem.knowledge.stacks import Stack
from panelfem.knowledge.weighted import DOUBT, HALF, UNINFORMED, ends, mixture_quantiles
from panelfem.laminate import Laminate
from panelfem.laminate.degrade import softened
from panelfem.material import Material, PlyMaterial

#: Bands of thickness, density and modulus of a material that states none: half widths (common practice, no source).
THICKNESS, DENSITY, MODULUS = 0.05, 0.03, 0.07
#: Entries of a block below this share of its greatest are only rounding.
ROUNDING = 1e-9
#: Step of the derivatives by differences.
STEP = 1e-3
#: ln of a likelihood, under the best, below which a stack is not bent on the computer, and how many plates may be.
FAR, MOST_PLATES = 25.0, 400

#: Entries of A and D that are told, by row and column.
ENTRIES = ((0, 0), (1, 1), (0, 1), (2, 2), (0, 2), (1, 2))

Tell = Callable[[str, float], None]

_INDEX = ("11", "22", "12", "66", "16", "26")
NAMES = tuple(f"{block}{index}" for block in "AD" for index in _INDEX)


@dataclass(frozen=True)
class Bent:
    """A piece bent: its deflection m, with standard deviation `noise` m."""

    piece: Bending
    deflection: float
    noise: float


@dataclass(frozen=True)
class Measured:
    """What was measured, each with its standard deviation: mass per area kg/m², thickness m, deflections; None: not."""

    areal_mass: tuple[float, float] | None = None
    thickness: tuple[float, float] | None = None
    bent: tuple[Bent, ...] = ()

    def __post_init__(self) -> None:
        if self.areal_mass is None and self.thickness is None and not self.bent:
            raise InputError("nothing was measured", where="layup", do="weigh it, measure its thickness, or bend it")


@dataclass(frozen=True)
class Spread:
    """A number over the stacks that fit: median, interval, and the interval before anything was measured."""

    name: str
    median: float
    low: float
    high: float
    before: tuple[float, float]

    @property
    def share(self) -> float:
        """Width of the interval as a share of the prior's; nan where the prior has none."""
        width = self.before[1] - self.before[0]
        return (self.high - self.low) / width if width > 0 else math.nan

    @property
    def informed(self) -> bool:
        """Whether the measurements say anything about it."""
        return not self.share > UNINFORMED


@dataclass(frozen=True)
class Fitting:
    """A stack with the `weight` it has after the measurements, and what it should show, in the order measured."""

    stack: Stack
    weight: float
    expected: tuple[float, ...]


@dataclass(frozen=True)
class Layups:
    """What fits.

    `looked`: how many stacks; `fitting`: those that hold a share `level` of the weight, heaviest first; `spreads`: A in
    N/m, D in N·m, then the factor at first ply failure if a load was given; `softest` and `stiffest` of those that fit,
    in bending; `fits`: whether any does, by the chi-squared distribution.
    """

    looked: int
    level: float
    fitting: tuple[Fitting, ...]
    spreads: tuple[Spread, ...]
    softest: Fitting
    stiffest: Fitting
    fits: bool


@dataclass(frozen=True, eq=False)
class One:
    """A stack's laminate, `values` (m,) of areal mass, thickness, pliancy, A, D (and the factor), their derivatives
    `slopes` (m, k) by the logarithms of the factors, and the standard deviations `spread` (k,) of these.
    """

    stack: Stack
    laminate: Laminate
    values: FloatArray
    slopes: FloatArray
    spread: FloatArray


class Bank:
    """What every stack is worth, before anything is measured.

    `load` (6,) N/m and N: resultants under which the factor at first ply failure is told.
    """

    def __init__(self, among: Sequence[Stack], load: FloatArray | None = None, tell: Tell = lambda stage, share: None):
        self.names = NAMES if load is None else (*NAMES, "factor at first ply failure")
        found = []
        for i, stack in enumerate(among):
            if i % 50 == 0:
                tell("working out the stacks", 0.5 * i / len(among))
            found.append(_one(stack, load))
        self.stacks: tuple[One, ...] = tuple(found)
        self.prior = np.array([one.stack.share for one in found])
        #: (n, m) of A, D (and the factor); those above 0 throughout are told by their logarithm
        self.values = np.array([one.values[3:] for one in found])
        self.positive = [bool(column.min() > 0) for column in self.values.T]
        self._before: dict[float, list[list[float]]] = {}

    def before(self, level: float) -> list[list[float]]:
        """The interval of each number before anything is measured."""
        if level not in self._before:
            nothing = [_Likely(0.0, (), np.zeros(len(o.spread)), np.diag(o.spread**2), True) for o in self.stacks]
            self._before[level] = self.quantiles(nothing, self.prior, ends(level))
        return self._before[level]

    def quantiles(self, likely: Sequence[_Likely], weights: FloatArray, shares: Sequence[float]) -> list[list[float]]:
        """Quantiles of each number over the stacks, with their factors as they are known."""
        kept = np.flatnonzero(weights > 1e-9 * weights.max()).tolist()
        means, spreads = np.empty((2, len(kept), len(self.names)))
        for row, i in enumerate(kept):
            slopes = self.stacks[i].slopes[3:]
            means[row] = slopes @ likely[i].mean
            spreads[row] = np.sqrt(np.maximum(((slopes @ likely[i].covariance) * slopes).sum(axis=1), 0.0))
        found = []
        for m, positive in enumerate(self.positive):
            value, mean, spread = self.values[kept, m], means[:, m], spreads[:, m]
            if positive:
                got = mixture_quantiles(np.log(value) + mean / value, spread / value, weights[kept], shares)
                found.append(np.exp(got).tolist())
            else:
                found.append(mixture_quantiles(value + mean, spread, weights[kept], shares))
        return found


def fit(bank: Bank, measured: Measured, level: float = 0.95, tell: Tell = lambda stage, share: None) -> Layups:
    """The stacks of a bank that fit `measured`, and the spread they leave.

    Raises InputError where more plates would have to be bent than is sensible.
    """
    ones = bank.stacks
    rough = [_likelihood(one, measured.areal_mass, measured.thickness, ()) for one in ones]
    top = max(found.logarithm for found in rough)
    likely = list(rough)
    if measured.bent:
        near = [i for i, found in enumerate(rough) if found.logarithm > top - FAR]
        if any(isinstance(b.piece, Plate) for b in measured.bent) and len(near) > MOST_PLATES:
            raise InputError(
                f"{len(near)} stacks would have to be bent as plates",
                where="layup",
                allowed=f"up to {MOST_PLATES}",
                do="measure mass and thickness better, count the plies, name fewer candidates, or bend a strip",
            )
        likely = [replace(found, logarithm=-math.inf) for found in rough]
        for j, i in enumerate(near):
            tell("bending the stacks that are left", 0.5 + 0.5 * j / len(near))
            likely[i] = _likelihood(ones[i], measured.areal_mass, measured.thickness, measured.bent)
    logarithm = np.array([found.logarithm for found in likely]) + np.log(bank.prior)
    weights = np.exp(logarithm - logarithm.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    kept = order[: int(np.searchsorted(np.cumsum(weights[order]), level - 1e-12)) + 1]
    fitting = [Fitting(ones[i].stack, float(weights[i]), likely[i].expected) for i in kept]
    pliant = [float(ones[i].values[2]) for i in kept]
    return Layups(
        len(ones),
        level,
        tuple(fitting),
        tuple(_spreads(bank, likely, weights, level)),
        fitting[int(np.argmax(pliant))],
        fitting[int(np.argmin(pliant))],
        any(found.fits for found in likely if math.isfinite(found.logarithm)),
    )


# ------------------------------------------------------------------------------------------------ one stack
def relative(material: Material, name: str, otherwise: float) -> float:
    """Relative standard deviation of a property, from its band.

    >>> from panelfem.material import library
    >>> round(1.96 * relative(library()["carbon-twill"], "thickness", THICKNESS), 6)
    0.1
    """
    known = material.provenance.get(name)
    half = otherwise if known is None or known.band is None else 0.5 * (known.band[1] - known.band[0])
    return half / HALF


def _one(stack: Stack, load: FloatArray | None) -> One:
    laminate = Laminate(stack.plies)
    values = _values(laminate, load)
    slopes, spread = [], []
    for material in dict.fromkeys(ply.material for ply in stack.plies):
        own = [ply for ply in stack.plies if ply.material == material]
        by_density = np.zeros(len(values))
        by_density[0] = sum(ply.thickness for ply in own) * material.density
        slopes.append(by_density)
        spread.append(relative(material, "density", DENSITY))
        slopes.append((_values(softened(laminate, 1.0 + STEP, material.name), load) - values) / STEP)
        spread.append(relative(material, "E1" if isinstance(material, PlyMaterial) else "G13", MODULUS))
        if isinstance(material, PlyMaterial):
            thick = tuple(
                replace(p, thickness=(1.0 + STEP) * p.thickness) if p.material == material else p for p in stack.plies
            )
            slopes.append((_values(Laminate(thick), load) - values) / STEP)
            spread.append(relative(material, "thickness", THICKNESS))
    return One(stack, laminate, values, np.array(slopes).T, np.array(spread))


def _values(laminate: Laminate, load: FloatArray | None) -> FloatArray:
    rows, columns = np.array(ENTRIES).T
    told = [block[rows, columns] for block in (laminate.A, laminate.D)]
    told = [np.where(np.abs(block) > ROUNDING * block.max(), block, 0.0) for block in told]
    if load is not None:
        told.append(np.array([first_ply(laminate, load)]))
    return np.concatenate([[laminate.areal_mass, laminate.thickness, pliancy(laminate)], *told])


def first_ply(laminate: Laminate, load: FloatArray) -> float:
    """The factor on resultants (6,) N/m and N at which the first ply fails, by the criterion that decides for it."""
    stresses = laminate.ply_stresses(np.asarray(np.linalg.solve(laminate.ABD, load), float))
    least = math.inf
    for ply, stress in zip(laminate.plies, stresses, strict=True):
        if isinstance(ply.material, PlyMaterial):
            criterion = CRITERIA[deciding(ply.material.kind)]
            least = min(least, float(criterion.reserve(stress, np.zeros_like(stress), ply.material).min()))
    return least


@lru_cache(maxsize=4096)
def _deflection(piece: Bending, laminate: Laminate) -> float:
    return piece.deflection(laminate)


@dataclass(frozen=True, eq=False)
class _Likely:
    """ln of the likelihood, what is expected (n,), and ln of the factors after: `mean` (k,), `covariance` (k, k)."""

    logarithm: float
    expected: tuple[float, ...]
    mean: FloatArray
    covariance: FloatArray
    fits: bool


def _likelihood(
    one: One, areal_mass: tuple[float, float] | None, thickness: tuple[float, float] | None, bent: Sequence[Bent]
) -> _Likely:
    from scipy.special import chdtrc

    expected, slopes, y, noise = [], [], [], []
    for index, value in ((0, areal_mass), (1, thickness)):
        if value is not None:
            expected.append(float(one.values[index]))
            slopes.append(one.slopes[index] / one.values[index])
            y.append(value[0])
            noise.append(value[1] / value[0])
    for b in bent:
        expected.append(_deflection(b.piece, one.laminate))
        slopes.append(one.slopes[2] / one.values[2])
        y.append(b.deflection)
        noise.append(b.noise / b.deflection)
    prior = np.diag(one.spread**2)
    if not y:
        return _Likely(0.0, (), np.zeros(len(one.spread)), prior, True)
    j, off = np.array(slopes), np.log(np.array(y) / np.array(expected))
    v = j @ prior @ j.T + np.diag(np.array(noise) ** 2)
    gain = np.linalg.solve(v, j @ prior).T
    squares = float(off @ np.linalg.solve(v, off))
    logarithm = -0.5 * (squares + float(np.linalg.slogdet(v)[1]))
    fits = float(chdtrc(len(y), squares)) > DOUBT
    return _Likely(logarithm, tuple(expected), gain @ off, prior - gain @ j @ prior, fits)


def _spreads(bank: Bank, likely: Sequence[_Likely], weights: FloatArray, level: float) -> Iterator[Spread]:
    low, high = ends(level)
    after = bank.quantiles(likely, weights, (0.5, low, high))
    for name, (middle, a, b), (c, d) in zip(bank.names, after, bank.before(level), strict=True):
        yield Spread(name, middle, a, b, (c, d))
