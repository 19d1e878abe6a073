"""What readings under weights say of damage size, skin stiffness and fixing stiffness: Bayes' rule on a grid.

Unknown: the size s, uniform between its bounds; f, the skin's stiffness as a factor on the model's, and k, that of the
fixings, both lognormal about 1.  Readings d are normal about the model's p(s, k / f) / f.  The grid (s, ln k/f, ln f)
closes in on what the readings leave, so that narrow answers are resolved as well as wide ones.

Source: Bayes' rule; evidence of a state as its likelihood averaged over the prior: H. Jeffreys 1961, Theory of
Probability, 3rd ed., chapter 5 (recalled).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.knowledge.surface import Surface
from panelfem.knowledge.weighted import UNINFORMED, ends, quantiles

#: Standard deviations of the prior that the grid reaches either way.
REACH = 4.0
#: Points of the grid along size, ln(k/f) and ln f.
POINTS = (41, 31, 81)
#: Weight, as a share of the greatest, below which a slice of the grid is left out of the next, closer one.
SLIGHT = 1e-7
#: The grid closes in at most so often, and while it shrinks to less than this share.
ROUNDS, SHRINKS = 5, 0.8

Unknown = Literal["damage size", "skin stiffness", "fixing stiffness"]


@dataclass(frozen=True)
class Prior:
    """What is known before: the size between `least` and `most` m, and standard deviations of ln f and ln k.

    0: the fixings are as the model says.
    """

    least: float
    most: float
    skin: float
    fixings: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.least <= self.most < math.inf:
            raise InputError("the sizes that may be are no range", where="prior", allowed="0 ≤ least ≤ most")
        if not (0.0 < self.skin <= 1.0 and 0.0 <= self.fixings <= 2.0):
            what = "the prior of a stiffness is out of range"
            raise InputError(what, where="prior", allowed="standard deviation of ln: skin up to 1, fixings up to 2")

    @property
    def ratio(self) -> float:
        """How far ln(k / f) may be from 0."""
        return REACH * math.hypot(self.skin, self.fixings) if self.fixings else 0.0


@dataclass(frozen=True)
class Told:
    """What is known of one unknown after the readings: median and interval, and the interval before.

    Size in m; stiffness as a factor on the model's.
    """

    unknown: Unknown
    median: float
    low: float
    high: float
    before: tuple[float, float]

    @property
    def share(self) -> float:
        """Width of the interval as a share of the prior's."""
        return (self.high - self.low) / (self.before[1] - self.before[0])

    @property
    def informed(self) -> bool:
        """Whether the readings say anything about it."""
        return self.share <= UNINFORMED


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weights of the grid after the readings.

    `told`: each unknown; `evidence`: ln of the likelihood averaged over the prior; `misfit`: least sum of squared
    deviations in standard deviations, of `count` readings; `softness`: factor on the deflections of the nominal
    undamaged panel, median, low, high; `softness_before`: what the prior alone gives, low, high.
    """

    told: tuple[Told, ...]
    evidence: float
    misfit: float
    count: int
    softness: tuple[float, float, float]
    softness_before: tuple[float, float]

    def of(self, unknown: Unknown) -> Told | None:
        """What is known of one unknown; None if the state does not have it."""
        return next((t for t in self.told if t.unknown == unknown), None)


def update(
    surface: Surface,
    prior: Prior,
    deflections: FloatArray,
    noise: FloatArray,
    nominal: FloatArray,
    level: float = 0.95,
) -> Posterior:
    """The posterior after `deflections` (n,) m, each with a standard deviation `noise` (n,) m that counts all errors.

    `nominal` (n,) m: what the undamaged panel shows with all stiffnesses as the model says.  Intervals hold in a share
    `level` of cases.  The prior must lie within the surface.
    """
    if len(deflections) != len(noise) or not (noise > 0).all():
        raise InputError("each reading needs an error above 0", where="stiffness check")
    one = _Problem(surface, prior, deflections, noise)
    before = one.grid(one.box(), likely=False)
    after, box = one.grid(one.box()), one.box()
    evidence = after.total
    for _ in range(ROUNDS):
        smaller = after.box(box)
        shrunk = [(b - a) / (d - c) for (a, b), (c, d) in zip(smaller, box, strict=True) if d > c]
        if not shrunk or min(shrunk) > SHRINKS:
            break
        box = smaller
        after = one.grid(box)
        evidence = after.total
    low, high = ends(level)
    base = float(nominal @ (nominal / noise**2))

    def softness(found: _Grid, shares: Sequence[float]) -> list[float]:
        factor = found.shape @ (nominal / noise**2) / base
        return list(map(float, quantiles((factor[:, :, None] * found.give).ravel(), found.weight.ravel(), shares)))

    told = []
    for unknown in one.unknowns:
        m, a, b = after.quantiles(unknown, (0.5, low, high))
        c, d = before.quantiles(unknown, (low, high))
        told.append(Told(unknown, m, a, b, (c, d)))
    middle, a, b = softness(after, (0.5, low, high))
    c, d = softness(before, (low, high))
    return Posterior(tuple(told), evidence - before.total, after.misfit, len(noise), (middle, a, b), (c, d))


@dataclass(frozen=True, eq=False)
class _Grid:
    """Weights (a, b, c) at sizes (a,), ln r (b,), ln f (c,); `total`: ln of their sum times the cell."""

    axes: tuple[FloatArray, FloatArray, FloatArray]
    weight: FloatArray
    shape: FloatArray
    total: float
    misfit: float

    @property
    def give(self) -> FloatArray:
        """1 / f (c,)."""
        return np.exp(-self.axes[2])

    def quantiles(self, unknown: Unknown, shares: Sequence[float]) -> list[float]:
        sizes, ratios, skins = self.axes
        if unknown == "fixing stiffness":
            both = self.weight.sum(axis=0)
            return list(map(float, np.exp(quantiles((ratios[:, None] + skins).ravel(), both.ravel(), shares))))
        axis, values = (0, sizes) if unknown == "damage size" else (2, skins)
        density = self.weight.sum(axis=tuple(i for i in range(3) if i != axis))
        density[[0, -1]] *= 2.0  # the half cells at the ends
        found = _smooth(values, density, shares)
        return list(map(float, found if axis == 0 else np.exp(found)))

    def box(self, was: list[tuple[float, float]]) -> list[tuple[float, float]]:
        """The part of a box outside which nothing of weight lies, a step more each way."""
        found = []
        for i, axis in enumerate(self.axes):
            of = self.weight.max(axis=tuple(j for j in range(3) if j != i))
            kept = np.flatnonzero(of > SLIGHT * of.max())
            a, b = max(kept[0] - 1, 0), min(kept[-1] + 1, len(axis) - 1)
            found.append((float(axis[a]), float(axis[b])) if len(axis) > 1 else was[i])
        return found


def _smooth(values: FloatArray, density: FloatArray, shares: Sequence[float]) -> FloatArray:
    """Quantiles of a density (n,) given at even steps, by the trapezoidal rule."""
    below = np.append(0.0, np.cumsum(0.5 * (density[1:] + density[:-1])))
    return np.interp(shares, below / below[-1], values)


class _Problem:
    """Prior and readings on a surface."""

    def __init__(self, surface: Surface, prior: Prior, deflections: FloatArray, noise: FloatArray) -> None:
        self.surface, self.prior, self.d, self.noise = surface, prior, deflections, noise
        self.sized, self.springs = len(surface.sizes) > 1 and prior.most > prior.least, prior.fixings > 0
        self.unknowns: list[Unknown] = ["skin stiffness"]
        if self.sized:
            self.unknowns.insert(0, "damage size")
        if self.springs:
            self.unknowns.append("fixing stiffness")

    def box(self) -> list[tuple[float, float]]:
        """The bounds of size, ln r and ln f."""
        p = self.prior
        return [(p.least, p.most), (-p.ratio, p.ratio), (-REACH * p.skin, REACH * p.skin)]

    def grid(self, box: list[tuple[float, float]], likely: bool = True) -> _Grid:
        """The weights on a box; without `likely` those of the prior alone."""
        count = (POINTS[0] if self.sized else 1, POINTS[1] if self.springs else 1, POINTS[2])
        axes = [
            np.linspace(a, b, n) if n > 1 else np.array([0.5 * (a + b)]) for (a, b), n in zip(box, count, strict=True)
        ]
        sizes, ratios, skins = axes
        shape = self.surface.at(sizes, ratios)
        logarithm = np.zeros((len(sizes), len(ratios), len(skins))) - 0.5 * (skins / self.prior.skin) ** 2
        if self.springs:
            logarithm -= 0.5 * ((ratios[:, None] + skins) / self.prior.fixings) ** 2
        misfit = math.nan
        if likely:
            w = 1.0 / self.noise**2
            give = np.exp(-skins)
            square, product = (shape**2 @ w)[..., None], (shape @ (w * self.d))[..., None]
            off = np.maximum(square * give**2 - 2.0 * product * give + float(w @ self.d**2), 0.0)
            misfit = float(off.min())
            logarithm = logarithm - 0.5 * off
        top = float(logarithm.max())
        weight = np.exp(logarithm - top)
        for i, axis in enumerate(axes):
            if len(axis) > 1:  # half cells at the ends
                at = [slice(None)] * 3
                for at[i] in (0, -1):  # type: ignore[call-overload]
                    weight[tuple(at)] *= 0.5
        cell = math.prod(axis[1] - axis[0] for axis in axes if len(axis) > 1)
        return _Grid((sizes, ratios, skins), weight, shape, top + math.log(float(weight.sum()) * cell), misfit)
