"""Places, in words: how far from what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.units import number


@dataclass(frozen=True)
class Places:
    """Named places (3,) m: fixings, damage, patches, load points; `radius` m of those that are areas."""

    named: Mapping[str, FloatArray]
    radius: Mapping[str, float]

    def __call__(self, x: FloatArray) -> str:
        """Where a point is.

        >>> Places({"F1": np.zeros(3), "hole H1": np.array([1.0, 0, 0])}, {"F1": 0.005})(np.array([0.012, 0, 0]))
        '12 mm from F1'
        """
        if not self.named:
            return "at " + ", ".join(f"{number(1e3 * c)} mm" for c in x.tolist())
        names, places, radii = self._table
        gaps = np.sqrt(((places - x) ** 2).sum(1))
        i = int(np.argmin(gaps - radii))
        return f"at {names[i]}" if gaps[i] <= radii[i] else f"{number(1e3 * float(gaps[i]), 2)} mm from {names[i]}"

    @cached_property
    def _table(self) -> tuple[list[str], FloatArray, FloatArray]:
        names = list(self.named)
        return names, np.array([self.named[n] for n in names]), np.array([self.radius.get(n, 0.0) for n in names])
