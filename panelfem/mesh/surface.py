"""The true surface under a mesh: where nodes belong, and how strongly it curves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.mesh.lift import Lift


class Rim(Protocol):
    """The true boundary lines (and creases) of a surface."""

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points (n, 3) of the lines for x (n, 3) near them, and their feet: `carry(foot)` gives the point again."""

    def radius(self, x: FloatArray) -> FloatArray:
        """Radius of curvature (n,) of the lines where they are closest to x; inf where straight."""

    @property
    def corners(self) -> FloatArray:
        """Points (m, 3) at which lines turn sharply; they stay vertices of every mesh."""


class Surface(Protocol):
    """A surface points can be brought onto."""

    @property
    def rim(self) -> Rim:
        """Its boundary lines."""

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points (n, 3) of the surface for points x (n, 3) near it and their feet; `carry(foot)` gives the point again.

        What walks on the surface walks with its feet: then nothing asks that a point be its own foot.
        """

    def curvature(self, x: FloatArray) -> FloatArray:
        """Largest curvature (n,), 1/m, at points near the surface."""


@dataclass(frozen=True, eq=False)
class LiftedSurface:
    """z = lift(x, y): exact; points keep their place in the plan.  `scale` m is a length the surface changes over."""

    lift: Lift
    rim: Rim
    scale: float

    def carry(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Same x and y, z of the lift; the foot is the point itself."""
        point = np.column_stack([x[:, :2], self.lift.height(x[:, :2])])
        return point, point

    def curvature(self, x: FloatArray) -> FloatArray:
        """Largest principal curvature from differences of the lift."""
        plan, step = x[:, :2], 2e-4 * self.scale
        # differences are taken at points moved inside the panel by one step, so that no lift is asked beyond its rim
        dx, dy = np.array([step, 0.0]), np.array([0.0, step])
        inner = plan + np.clip(plan.mean(axis=0) - plan, -2 * step, 2 * step)
        f = self.lift.height
        z, e, w, n, s = f(inner), f(inner + dx), f(inner - dx), f(inner + dy), f(inner - dy)
        cross = f(inner + dx + dy) - f(inner + dx - dy) - f(inner - dx + dy) + f(inner - dx - dy)
        p, q = (e - w) / (2 * step), (n - s) / (2 * step)
        r, t, m = (e - 2 * z + w) / step**2, (n - 2 * z + s) / step**2, cross / (4 * step**2)
        g = 1 + p * p + q * q
        mean = ((1 + q * q) * r - 2 * p * q * m + (1 + p * p) * t) / (2 * g**1.5)
        gauss = (r * t - m * m) / g**2
        return np.asarray(np.abs(mean) + np.sqrt(np.maximum(mean**2 - gauss, 0.0)))
