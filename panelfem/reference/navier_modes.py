"""Buckling and vibration of supported first-order laminated plates and cylindrical panels by Navier's series.

Each pair of wave numbers solves its own small eigenvalue problem exactly.  Plan a × b, all four edges supported:
w = 0 and no turn along the edge (φ2 = 0 at x = 0 and a, φ1 = 0 at y = 0 and b), no normal moment.  In the plane, of the
small motion:
 cross-ply (SS-1)   u ~ cos sin, v ~ sin cos: the displacement along the edge is held (v = 0 at x = 0 and a, u = 0 at
 y = 0 and b), the one normal to it is free (no normal force).
 angle-ply (SS-2)   u ~ sin cos, v ~ cos sin: the displacement normal to the edge is held (u = 0 at x = 0 and a, v = 0
 at y = 0 and b), the one along it is free (no shear force).  Flat, antisymmetric.
The prestress (Nx, Ny) N/m, tension positive, is given and uniform; no condition above holds before buckling.  It works
on w,x and w,y alone (`full`: on u,x and v,x too, and likewise along y), so the flat plate is von Kármán's.

Source: Reddy, *Mechanics of Laminated Composite Plates and Shells*, Navier solutions (recalled), with the strains of
:mod:`panelfem.reference.navier`.
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.reference.eigen import ZERO
from panelfem.reference.navier import Family, Navier, SineLoad, strain_rows


def _waves(a: float, b: float, waves: int, first: int = 1) -> tuple[FloatArray, FloatArray]:
    """Wave numbers mπ/a, nπ/b of all m, n from `first` to `waves`, 1/m, without m = n = 0."""
    m, n = (w.ravel()[first == 0 :] for w in np.meshgrid(*[np.arange(first, waves + 1.0)] * 2, indexing="ij"))
    return m * np.pi / a, n * np.pi / b


def _exists(alpha: FloatArray, beta: FloatArray, family: Family) -> BoolArray:
    """Which of (U, V, W, Φ1, Φ2) a term has, (k, 5): not those whose sine of no wave vanishes."""
    x, y = alpha > 0, beta > 0
    plane = (y, x) if family == "cross-ply" else (x, y)
    return np.stack([*plane, x & y, y, x], axis=1)


def _checked(stiffness: FloatArray, family: Family, curvature: tuple[float, float]) -> None:
    """Refuse couplings the terms do not separate."""
    Navier(stiffness, 1.0, 1.0, SineLoad(np.ones(1), np.ones(1), np.ones(1)), family, curvature)


def matrices(
    stiffness: FloatArray,
    alpha: FloatArray,
    beta: FloatArray,
    family: Family = "cross-ply",
    curvature: tuple[float, float] = (0.0, 0.0),
    thin: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Stiffness (k, u, u) of the terms of wave numbers (k,) 1/m, and what ties (U, V, W, Φ1, Φ2) to the u unknowns
    (k, 5, u): all five, or U, V, W if `thin`."""
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
    alpha: FloatArray, beta: FloatArray, prestress: tuple[float, float], size: int, full: bool = False
) -> FloatArray:
    """Stiffness (k, size, size) of the prestress: N of w,x and w,y; `full`: of all three displacements."""
    out = np.zeros((len(alpha), size, size))
    for i in (0, 1, 2) if full else (2,):
        out[:, i, i] = prestress[0] * alpha**2 + prestress[1] * beta**2
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
    not separate, and if nothing buckles.

    Source: Reddy, as above: [0/90], E1/E2 = 40, a/h = 10: N a²/(E2 h³) = 11.353 (recalled).

    >>> from panelfem.reference.stiffness import laminate
    >>> C = laminate(40, 1, .25, .6, .6, .5, [(0, .05), (90, .05)])
    >>> round(float(buckling_factors(C, 1., 1., (-1e-3, 0.))[0]), 3)
    11.353
    """
    _checked(stiffness, family, curvature)
    alpha, beta = _waves(a, b, waves)
    k, _ = matrices(stiffness, alpha, beta, family, curvature, thin)
    g = geometric(alpha, beta, prestress, k.shape[1], full)
    root = np.linalg.inv(np.linalg.cholesky(k))
    mu = np.sort(np.linalg.eigvalsh(-root @ g @ root.swapaxes(1, 2)).ravel())[::-1]
    if mu[n - 1] <= ZERO * np.abs(mu).max():
        raise ModelError("this prestress buckles nothing", where="Navier series", do="give compression as negative")
    return np.asarray(1 / mu[:n])


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
    _checked(stiffness, family, curvature)
    if mass <= 0 or rotary < 0:
        raise ModelError("a panel has a positive mass", where="Navier series", allowed="mass > 0, rotary ≥ 0")
    alpha, beta = _waves(a, b, waves, 0)
    k, tie = matrices(stiffness, alpha, beta, family, curvature, thin)
    k = k + geometric(alpha, beta, prestress, k.shape[1], full)
    inertia = tie.swapaxes(1, 2) @ np.diag([mass] * 3 + [rotary] * 2) @ tie
    there = _exists(alpha, beta, family)[:, : k.shape[1]]
    both = there[:, :, None] & there[:, None, :]
    k, inertia = np.where(both, k, np.eye(k.shape[1])), np.where(both, inertia, 0.0)  # what is not there: no inertia
    try:
        root = np.linalg.inv(np.linalg.cholesky(k))
    except np.linalg.LinAlgError:
        raise ModelError("the prestress buckles it", where="Navier series", allowed="less compression") from None
    mu = np.sort(np.linalg.eigvalsh(root @ inertia @ root.swapaxes(1, 2)).ravel())[::-1]
    return np.asarray(1 / np.sqrt(mu[:n]))
