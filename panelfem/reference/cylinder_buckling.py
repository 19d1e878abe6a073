"""Buckling of closed cylinders and of singly curved panels under uniform membrane prestress, by exact double waves.

x runs along the axis, y along the arc.  Edges, of the buckling motion: curved ends on diaphragms (v = w = 0, φ2 = 0, no
axial force, no moment); straight edges of a panel likewise (u = w = 0, φ1 = 0, no force across, no moment).  A closed
cylinder has whole waves round it instead.  The prestress (Nx, Ny) N/m, tension positive, is given and uniform: neither
the rings bent near the ends as a compressed cylinder swells nor the hold of u at straight edges acts before buckling.
A finite element model must be given the same: this prestress, then these edges.

Theories: "deep" has the strains of a shell with a straight director, exact for the circular cylinder, and the prestress
works on the whole gradient of the displacement (loads keep their direction: a follower pressure is not among them);
"shallow" is Donnell's: curvature in the hoop strain only, prestress on the slope of w.

Source: Timoshenko & Gere, *Theory of Elastic Stability*, ch. 11, and Donnell's equations (recalled); Navier's terms of
:mod:`panelfem.reference.navier_modes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.navier_modes import checked, geometric, matrices

MOST = 500
"""Waves each way that are looked at, at most."""


def classical_stress(young: float, poisson: float, radius: float, thickness: float) -> float:
    """Critical axial stress of a long isotropic cylinder, Pa: E h/(R √(3(1 − ν²))), about .605 E h/R.

    >>> round(classical_stress(1.0, 0.3, 1.0, 1.0), 4)
    0.6052
    """
    return float(young * thickness / (radius * np.sqrt(3 * (1 - poisson**2))))


def donnell_load(young: float, poisson: float, radius: float, thickness: float, alpha: float, beta: float) -> float:
    """Axial compression, N/m, at which one wave of an isotropic thin cylinder buckles (wave numbers 1/m, closed form).

    N = D (α² + β²)²/α² + E h α²/(R² (α² + β²)²).  Its least value over all real wave numbers is the classical one.

    >>> round(donnell_load(1.0, 0.3, 1.0, 0.01, 18.1779, 0.0) / 0.01 / classical_stress(1.0, 0.3, 1.0, 0.01), 6)
    1.0
    """
    D, both = young * thickness**3 / (12 * (1 - poisson**2)), alpha**2 + beta**2
    return float(D * both**2 / alpha**2 + young * thickness * alpha**2 / (radius * both) ** 2)


@dataclass(frozen=True)
class Buckle:
    """`factor` on the prestress at which the mode of `m` half waves along and `n` around appears.

    `n` counts half waves over the arc of a panel, whole waves round a closed cylinder.
    """

    factor: float
    m: int
    n: int


def _range(stiffness: FloatArray, radius: float) -> float:
    """Wave number, 1/m, beyond which bending alone is far above the least load: twice (E h/(R² D))^¼."""
    A, B, D = stiffness[:3, :3], stiffness[:3, 3:6], stiffness[3:6, 3:6]
    bending = np.linalg.eigvalsh(D - B @ np.linalg.solve(A, B)).min()
    stretching = (1 / np.diag(np.linalg.inv(A))[:2]).max()
    return float(2 * (stretching / (radius**2 * bending)) ** 0.25)


def cylinder_modes(
    count: int,
    stiffness: FloatArray,
    radius: float,
    length: float,
    arc: float | None,
    prestress: tuple[float, float],
    theory: Literal["deep", "shallow"] = "deep",
    thin: bool = False,
    waves: tuple[int, int] | None = None,
) -> tuple[Buckle, ...]:
    """The `count` lowest buckling modes under `prestress` (Nx, Ny) N/m, tension positive.

    `stiffness` (8, 8), x along the axis, cross-ply; `radius`, `length`, `arc` m (None: closed); `waves`: the highest m
    and n looked at (None: chosen from the stiffness).  Raises :class:`ModelError` for couplings the waves do not
    separate, if nothing buckles, or if one of the lowest modes is at the end of the waves looked at.

    Source: a panel of many waves buckles at the classical stress, from above in Donnell's theory.

    >>> from panelfem.reference.stiffness import isotropic
    >>> C = isotropic(1.0, 0.3, 0.002)
    >>> first = cylinder_modes(1, C, 1.0, 1.0, 0.8, (-1.0, 0.0), "shallow", thin=True)[0]
    >>> first.m, first.n, round(first.factor / 0.002 / classical_stress(1.0, 0.3, 1.0, 0.002), 4)
    (8, 5, 1.0)
    """
    if min(radius, length, np.inf if arc is None else arc) <= 0:
        raise ModelError("a cylinder has positive dimensions", where="cylinder", allowed="more than 0 m")
    curvature = (0.0, 1 / radius)
    checked(stiffness, "cross-ply", curvature)
    step = np.pi / length, np.pi / arc if arc is not None else 1 / radius
    if waves is None:
        reach = _range(stiffness, radius)
        waves = int(reach / step[0]) + 5, int(reach / step[1]) + 5
    if max(waves) > MOST:
        raise ModelError(f"{max(waves)} waves one way are too many", where="cylinder", allowed=f"up to {MOST}")
    around = np.arange(0.0 if arc is None else 1.0, waves[1] + 1)
    m, n = (w.ravel() for w in np.meshgrid(np.arange(1.0, waves[0] + 1), around, indexing="ij"))
    alpha, beta = m * step[0], n * step[1]
    k, _ = matrices(stiffness, alpha, beta, "cross-ply", curvature, thin, theory == "shallow")
    g = geometric(alpha, beta, prestress, k.shape[1], theory == "deep", curvature)
    root = np.linalg.inv(np.linalg.cholesky(k))
    mu = np.linalg.eigvalsh(-root @ g @ root.swapaxes(1, 2))[:, -1]
    best = np.argsort(-mu, kind="stable")[:count]
    if len(best) < count or mu[best].min() <= 0 or not np.any(-np.asarray(prestress) > 0):
        raise ModelError("this prestress buckles nothing", where="cylinder", do="give compression as negative")
    modes = tuple(Buckle(float(1 / mu[i]), int(m[i]), int(n[i])) for i in best)
    if any(mode.m == waves[0] or mode.n == waves[1] for mode in modes):
        raise ModelError(
            "a mode is at the end of the waves looked at",
            where="cylinder",
            do="give more waves; if it stays there the wall wrinkles by shear, which waves of any length do alike",
        )
    return modes
