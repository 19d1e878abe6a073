"""A supported rectangular plate on extra fixings, each holding the mean deflection under a rectangular washer.

The washer's force is spread evenly over it (that is what holding the mean means), so Navier's series of a loaded
rectangle gives every influence: deflection c_ij (mean over i) under a unit force on j.  The forces follow from
(C + 1/k) F = w̄, w̄ the mean deflections of the plate without fixings; a rigid fixing has 1/k = 0.

Source: the force method of statically indeterminate structures (textbook); series derived here from Navier's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.reference.navier import Navier, patch


@dataclass(frozen=True)
class PlateOnFixings:
    """`bare`: the plate and its load without fixings; `washers`: ((x, y) of the centre, (along x, along y) size), m;
    `stiffness` (n,) N/m along the normal: inf is rigid, 0 is gone; `terms` waves each way for the washers.

    >>> from panelfem.reference.navier import uniform
    >>> from panelfem.reference.stiffness import isotropic
    >>> bare = Navier(isotropic(12 * .91, .3, .01), 1.0, 1.0, uniform(1.0))
    >>> soft = PlateOnFixings(bare, [((0.5, 0.5), (0.1, 0.1))], np.array([0.0]), 40)
    >>> soft.forces.tolist()
    [0.0]
    """

    bare: Navier
    washers: Sequence[tuple[tuple[float, float], tuple[float, float]]]
    stiffness: FloatArray
    terms: int = 300

    @cached_property
    def _pressed(self) -> list[Navier]:
        """The plate under a unit force on each washer alone."""
        a, b = self.bare.a, self.bare.b
        loads = [patch(1.0 / (size[0] * size[1]), at, size, a, b, self.terms) for at, size in self.washers]
        return [replace(self.bare, load=load) for load in loads]

    def _mean(self, washer: tuple[tuple[float, float], tuple[float, float]], series: Navier) -> float:
        """Mean deflection of `series` over a washer, m."""
        shape = np.ones(len(series.load.m))
        for wave, at, size in zip(series.waves, *washer, strict=True):
            shape *= np.sin(wave * at) * np.sin(wave * size / 2) / (wave * size / 2)
        return float(shape @ series.terms[:, 2])

    @cached_property
    def forces(self) -> FloatArray:
        """What the plate puts on each fixing along +z, (n,) N."""
        sagging = np.array([self._mean(washer, self.bare) for washer in self.washers])
        influence = np.array([[self._mean(washer, series) for series in self._pressed] for washer in self.washers])
        out = np.zeros(len(self.washers))
        there = np.flatnonzero(self.stiffness > 0)
        give = np.diag(1 / self.stiffness[there])
        out[there] = np.linalg.solve(influence[np.ix_(there, there)] + give, sagging[there])
        return out

    def deflection(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Deflection along +z at points (p,), m."""
        out = self.bare.deflection(x, y)
        for series, force in zip(self._pressed, self.forces, strict=True):
            out = out - force * series.deflection(x, y)
        return out

    def strains(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """The eight strains at points (p,): (p, 8)."""
        out = self.bare.strains(x, y)
        for series, force in zip(self._pressed, self.forces, strict=True):
            out = out - force * series.strains(x, y)
        return out
