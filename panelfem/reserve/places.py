"""Places, in words: how far from what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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
        gaps = {name: max(0.0, float(np.linalg.norm(x - place)) - 0.0) for name, place in self.named.items()}
        name = min(gaps, key=lambda n: gaps[n] - self.radius.get(n, 0.0))
        inside = gaps[name] <= self.radius.get(name, 0.0)
        return f"at {name}" if inside else f"{number(1e3 * gaps[name], 2)} mm from {name}"
