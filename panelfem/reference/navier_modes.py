"""Buckling and vibration of supported first-order laminated plates and cylindrical panels by Navier's series.

Each pair of wave numbers solves its own small eigenvalue problem exactly.  Plan a × b, all four edges supported:
w = 0 and no turn along the edge (φ2 = 0 at x = 0 and a, φ1 = 0 at y = 0 and b), no normal moment.  In the plane, of the
small motion:
 cross-ply (SS-1)   u ~ cos sin, v ~ sin cos: the displacement along the edge is held (v = 0 at x = 0 and a, u = 0 at
 y = 0 and b), the one normal to it is free (no normal force).
 angle-ply (SS-2)   u ~ sin cos, v ~ cos sin: the displacement normal to the edge is held (u = 0 at x = 0 and a, v = 0
 at y = 0 and b), the one along it is free (no shear force).  Flat, antisymmetric.
The prestress (Nx, Ny) N/m, tension positive, is given and uniform; no condition above holds before buckling.  It works
on w,x and w,y alone, so the flat plate is von Kármán's; `full`: on the whole gradient of the displacement vector, along
y for a curvature κ2 of u,y, v,y + κ2 w and w,y − κ2 v.  Loads keep their direction.

Source: Reddy, *Mechanics of Laminated Composite Plates and Shells*, Navier solutions (recalled), with the strains of
:mod:`panelfem.reference.navier`.
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.reference.eigen import ZERO
from panelfem.reference.navier import Family, Navier, SineLoad, strain_rows


def _waves(waves: int, first: int) -> tuple[FloatArray, FloatArray]:
    """All m, n from `first` to `waves`, without m = n = 0."""
    m, n = (w.ravel()[first == 0 :] for w in np.meshgrid(*[np.arange(first, waves + 1.0)] * 2, indexing="ij"))
    return m, n


def _lowest(k: FloatArray, driving: FloatArray, n: int, last: BoolArray) -> FloatArray:
    """The `n` lowest positive λ of k x = λ driving x of any term, none of them of a term that is `last` (terms,)."""
    try:
        root = np.linalg.inv(np.linalg.cholesky(k))
    except np.linalg.LinAlgError:
        raise ModelError("the prestress buckles it", where="Navier series", allowed="less compression") from None
    mu = np.linalg.eigvalsh(root @ driving @ root.swapaxes(1, 2))
    best = np.argsort(-mu, axis=None, kind="stable")[:n]
    found = mu.ravel()[best]
    if len(best) < n or found.min() <= ZERO * np.abs(mu).max():
        raise ModelError("this prestress buckles nothing", where="Navier series", do="give compression as negative")
    if np.any(last[best // mu.shape[1]]):
        raise ModelError(
            "a mode is at the end of the waves looked at",
            where="Navier series",
            do="give more waves; if it stays there the wall wrinkles by shear, which waves of any length do alike",
        )
    return np.asarray(1 / found)


def _exists(alpha: FloatArray, beta: FloatArray, family: Family) -> BoolArray:
    """Which of (U, V, W, Φ1, Φ2) a term has, (k, 5): not those whose sine of no wave vanishes."""
    x, y = alpha > 0, beta > 0
    plane = (y, x) if family == "cross-ply" else (x, y)
    return np.stack([*plane, x & y, y, x], axis=1)


def checked(stiffness: FloatArray, family: Family, curvature: tuple[float, float]) -> None:
    """Raise :class:`ModelError` for couplings the terms do not separate.

    >>> from panelfem.reference.stiffness import laminate
    >>> checked(laminate(40, 1, .25, .6, .6, .5, [(45, .5), (-45, .5)]), "angle-ply", (0., 0.))
    """
    Navier(stiffness, 1.0, 1.0, SineLoad(np.ones(1), np.ones(1), np.ones(1)), family, curvature)


def matrices(
    stiffness: FloatArray,
    alpha: FloatArray,
    beta: FloatArray,
    family: Family = "cross-ply",
    curvature: tuple[float, float] = (0.0, 0.0),
    thin: bool = False,
    shallow: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Stiffness (k, u, u) of the terms of wave numbers (k,) 1/m, and what ties (U, V, W, Φ1, Φ2) to the u unknowns
    (k, 5, u): all five, or U, V, W if `thin`.  `shallow` (Donnell): curvature enters e11 and e22 only.

    >>> from panelfem.reference.stiffness import isotropic
    >>> k, _ = matrices(isotropic(12 * .91, .3, 1.), np.ones(1), np.ones(1), thin=True)      # D (α² + β²)²
    >>> round(float(k[0, 2, 2]), 9)
    4.0
    """
    if shallow:
        g = strain_rows(alpha, beta, family)
        g[:, 0, 2], g[:, 1, 2] = curvature
        curvature = 0.0, 0.0
    else:
        g = strain_rows(alpha, beta, family, curvature)
    tie = np.tile(np.eye(5), (len(alpha), 1, 1))
    if thin:  # g1 = g2 = 0 gives Φ1, Φ2
        tie = tie[:, :, :3].copy()
        tie[:, 3, 2], tie[:, 3, 0] = -alpha, curvature[0]
        tie[:, 4, 2], tie[:, 4, 1] = -beta, curvature[1]
        g = g @ tie
        g[:, 6:] = 0.0
    return g.swapaxes(1, 2) @ stiffness @ g, tie


def geometric(
    alpha: FloatArray,
    beta: FloatArray,
    prestress: tuple[float, float],
    size: int,
    full: bool = False,
    curvature: tuple[float, float] = (0.0, 0.0),
) -> FloatArray:
    """Stiffness (k, size, size) of the prestress: N of w,x and w,y; `full`: of the gradient of the displacement.

    >>> geometric(np.array([2.0]), np.array([1.0]), (1.0, 3.0), 3)[0, 2, 2].item()
    7.0
    """
    out = np.zeros((len(alpha), size, size))
    if not full:
        out[:, 2, 2] = prestress[0] * alpha**2 + prestress[1] * beta**2
        return out
    for force, wave, bend, along, across in (
        (prestress[0], alpha, curvature[0], 0, 1),
        (prestress[1], beta, curvature[1], 1, 0),
    ):
        rows = np.zeros((len(alpha), 3, size))
        rows[:, 0, across] = wave
        rows[:, 1, along], rows[:, 1, 2] = -wave, bend
        rows[:, 2, 2], rows[:, 2, along] = wave, -bend
        out += force * rows.swapaxes(1, 2) @ rows
    return out


def buckling_factors(
    stiffness: FloatArray,
    a: float,
    b: float,
    prestress: tuple[float, float],
    n: int = 1,
    family: Family = "cross-ply",
    curvature: tuple[float, float] = (0.0, 0.0),
    thin: bool = False,
    full: bool = False,
    waves: int = 30,
) -> FloatArray:
    """The `n` lowest factors on `prestress` (Nx, Ny) N/m, tension positive, of the waves up to `waves` each way.

    `stiffness` (8, 8); plan `a` × `b` m (arc lengths).  Raises :class:`ModelError` for couplings the family's terms do
    not separate, if nothing buckles, or if a mode is at the end of the waves.

    Source: Reddy, as above: [0/90], E1/E2 = 40, a/h = 10: N a²/(E2 h³) = 11.353 (recalled).

    >>> from panelfem.reference.stiffness import laminate
    >>> C = laminate(40, 1, .25, .6, .6, .5, [(0, .05), (90, .05)])
    >>> round(float(buckling_factors(C, 1., 1., (-1e-3, 0.))[0]), 3)
    11.353
    """
    checked(stiffness, family, curvature)
    i, j = _waves(waves, 1)
    alpha, beta = i * np.pi / a, j * np.pi / b
    k, _ = matrices(stiffness, alpha, beta, family, curvature, thin)
    g = geometric(alpha, beta, prestress, k.shape[1], full, curvature)
    return _lowest(k, -g, n, np.maximum(i, j) == waves)


def frequencies(
    stiffness: FloatArray,
    a: float,
    b: float,
    mass: float,
    rotary: float = 0.0,
    prestress: tuple[float, float] = (0.0, 0.0),
    n: int = 1,
    family: Family = "cross-ply",
    curvature: tuple[float, float] = (0.0, 0.0),
    thin: bool = False,
    full: bool = False,
    waves: int = 30,
) -> FloatArray:
    """The `n` lowest circular frequencies, rad/s, of the waves up to `waves` each way, modes in the plane among them.

    `mass` kg/m² (∫ρ dz), `rotary` kg (∫ρ z² dz; 0 leaves it out; ∫ρ z dz is taken as zero); the rest as in
    :func:`buckling_factors`.

    Source: Reddy, as above: [45/−45], E1/E2 = 40, a/h = 10: ω a² √(ρ/E2)/h = 13.044 (recalled; rotary inertia kept).

    >>> from panelfem.reference.stiffness import laminate
    >>> C = laminate(40, 1, .25, .6, .6, .5, [(45, .05), (-45, .05)])
    >>> round(float(frequencies(C, 1., 1., .1, 1e-3 / 12, family="angle-ply")[0]) / .1, 3)
    13.044
    """
    checked(stiffness, family, curvature)
    if mass <= 0 or rotary < 0:
        raise ModelError("a panel has a positive mass", where="Navier series", allowed="mass > 0, rotary ≥ 0")
    i, j = _waves(waves, 0)
    alpha, beta = i * np.pi / a, j * np.pi / b
    k, tie = matrices(stiffness, alpha, beta, family, curvature, thin)
    k = k + geometric(alpha, beta, prestress, k.shape[1], full, curvature)
    inertia = tie.swapaxes(1, 2) @ np.diag([mass] * 3 + [rotary] * 2) @ tie
    there = _exists(alpha, beta, family)[:, : k.shape[1]]
    both = there[:, :, None] & there[:, None, :]
    k, inertia = np.where(both, k, np.eye(k.shape[1])), np.where(both, inertia, 0.0)  # what is not there: no inertia
    return np.sqrt(_lowest(k, inertia, n, np.maximum(i, j) == waves))
