"""Navier's double series for first-order laminated plates and cylindrical or shallow doubly curved panels.

Each sine term solves five (thin theory: three) equations exactly.  Plan a × b (arc lengths), 0 ≤ x ≤ a, 0 ≤
y ≤ b, edges supported so that the deflection and the tangential motions the terms make zero are zero:
 cross-ply     u ~ cos sin, v ~ sin cos (edges slide along their normal); A16 = A26 = B16 = B26 = D16 = D26
 = 0 angle-ply     u ~ sin cos, v ~ cos sin (edges slide along themselves); antisymmetric, flat
φ1, φ2 are the director's components (u at height z is u + zφ1), so 2k12 = φ1,y + φ2,x and g1 = w,x + φ1.

With curvatures κ (n,α = κ x,α: positive if the centre lies behind the normal) the strains are those of a
shell with a straight director: e11 = u,x + κ1 w, k11 = φ1,x + κ1 e11, 2k12 = φ1,y + φ2,x + κ1 u,y + κ2 v,x,
g1 = w,x + φ1 − κ1 u. They are exact for a circular cylinder (one κ zero), an approximation for a shallow
doubly curved panel.

Source: Reddy, *Mechanics of Laminated Composite Plates and Shells* (plates); derived here for the cylinder
from e_ab = ½(x,a·x,b)', k_ab = ½(x,a·d,b + x,b·d,a)', g_a = (x,a·d)'.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

Family = Literal["cross-ply", "angle-ply"]


@dataclass(frozen=True)
class SineLoad:
    """A pressure as a sine series: amplitudes `q` (k,) Pa of sin(mπx/a) sin(nπy/b) for `m`, `n` (k,)."""

    m: FloatArray
    n: FloatArray
    q: FloatArray


def sinusoidal(q: float) -> SineLoad:
    """Pressure q sin(πx/a) sin(πy/b), Pa."""
    return SineLoad(np.ones(1), np.ones(1), np.array([q]))


def uniform(q: float, terms: int = 60) -> SineLoad:
    """Uniform pressure `q` by its first `terms` odd waves each way: 16 q / (π² m n).

    >>> load = uniform(1.0, 2)
    >>> load.m.tolist(), round(float(load.q[0]), 4)
    ([1.0, 1.0, 3.0, 3.0], 1.6211)
    """
    odd = np.arange(1.0, 2 * terms, 2)
    m, n = (w.ravel() for w in np.meshgrid(odd, odd, indexing="ij"))
    return SineLoad(m, n, 16 * q / (np.pi**2 * m * n))


def patch(
    q: float, centre: tuple[float, float], size: tuple[float, float], a: float, b: float, terms: int = 200
) -> SineLoad:
    """Pressure `q` on a rectangle `size` about `centre` (m) of a plate a × b, all waves up to `terms` each
    way."""
    wave = np.arange(1.0, terms + 1)
    m, n = (w.ravel() for w in np.meshgrid(wave, wave, indexing="ij"))
    along = np.sin(m * np.pi * centre[0] / a) * np.sin(m * np.pi * size[0] / (2 * a)) / m
    across = np.sin(n * np.pi * centre[1] / b) * np.sin(n * np.pi * size[1] / (2 * b)) / n
    return SineLoad(m, n, 16 * q / np.pi**2 * along * across)


def strain_rows(
    alpha: FloatArray, beta: FloatArray, family: Family = "cross-ply", curvature: tuple[float, float] = (0.0, 0.0)
) -> FloatArray:
    """Amplitudes of the eight strains per unit of (U, V, W, Φ1, Φ2), (k, 8, 5), for wave numbers (k,) in
    1/m."""
    k1, k2 = curvature
    g = np.zeros((len(alpha), 8, 5))
    sign = -1.0 if family == "cross-ply" else 1.0
    g[:, 0, 0], g[:, 1, 1] = sign * alpha, sign * beta
    g[:, 2, 0], g[:, 2, 1] = -sign * beta, -sign * alpha
    g[:, 0, 2], g[:, 1, 2] = k1, k2
    g[:, 3, 3], g[:, 4, 4] = -alpha, -beta
    g[:, 5, 3], g[:, 5, 4] = beta, alpha
    g[:, 3] += k1 * g[:, 0]
    g[:, 4] += k2 * g[:, 1]
    g[:, 5, 0] += k1 * g[:, 2, 0]
    g[:, 5, 1] += k2 * g[:, 2, 1]
    g[:, 6, 2], g[:, 6, 3], g[:, 6, 0] = alpha, 1.0, -k1
    g[:, 7, 2], g[:, 7, 4], g[:, 7, 1] = beta, 1.0, -k2
    return g


def amplitudes(
    stiffness: FloatArray,
    alpha: FloatArray,
    beta: FloatArray,
    q: FloatArray,
    family: Family = "cross-ply",
    curvature: tuple[float, float] = (0.0, 0.0),
    thin: bool = False,
) -> FloatArray:
    """(U, V, W, Φ1, Φ2) of each term, (k, 5); `thin` forbids transverse shear (Kirchhoff–Love)."""
    g = strain_rows(alpha, beta, family, curvature)
    tie = np.tile(np.eye(5), (len(alpha), 1, 1))
    if thin:  # g1 = g2 = 0 gives Φ1, Φ2 from U, V, W
        tie = tie[:, :, :3].copy()
        tie[:, 3, 2], tie[:, 3, 0] = -alpha, curvature[0]
        tie[:, 4, 2], tie[:, 4, 1] = -beta, curvature[1]
        g = g @ tie
        g[:, 6:] = 0.0
    k = g.swapaxes(1, 2) @ stiffness @ g
    right = np.zeros((len(alpha), k.shape[1]))
    right[:, 2] = q
    return np.asarray((tie @ np.linalg.solve(k, right[..., None]))[..., 0])


@dataclass(frozen=True)
class Navier:
    """A supported panel under a sine series.  `stiffness` (8, 8), plan `a` × `b` m, `load`.

    Raises :class:`ModelError` if the stiffness has couplings the family's terms do not separate.

    Source: isotropic thin plate: w = .00406 q a⁴/D at the centre (Timoshenko & Woinowsky-Krieger, table 8).

    >>> from panelfem.reference.stiffness import isotropic
    >>> plate = Navier(isotropic(12 * (1 - .09), .3, 1.), 100., 100., uniform(1.), thin=True)
    >>> round(float(plate.deflection(np.array([50.]), np.array([50.]))[0]) / 100**4, 5)
    0.00406
    """

    stiffness: FloatArray
    a: float
    b: float
    load: SineLoad
    family: Family = "cross-ply"
    curvature: tuple[float, float] = (0.0, 0.0)
    thin: bool = False

    def __post_init__(self) -> None:
        c, zero = self.stiffness, np.zeros((8, 8), bool)
        for block in (0, 3):
            zero[block : block + 2, block + 2] = True
        zero[6, 7] = True
        if self.family == "cross-ply":
            zero[0:2, 5] = zero[2, 3:5] = True
        else:
            zero[0:2, 3:5] = zero[2, 5] = True
        scale = np.sqrt(np.outer(np.diag(c), np.diag(c)))
        if np.any(np.abs(c[zero]) > 1e-9 * scale[zero]):
            raise ModelError(
                f"this laminate has couplings a {self.family} series does not separate",
                where="Navier series",
                do="use the Ritz solution",
            )
        if self.family == "angle-ply" and any(self.curvature):
            raise ModelError("the angle-ply series is for flat plates", where="Navier series", allowed="curvature 0")

    @cached_property
    def waves(self) -> tuple[FloatArray, FloatArray]:
        """Wave numbers mπ/a and nπ/b of the terms, 1/m."""
        return self.load.m * np.pi / self.a, self.load.n * np.pi / self.b

    @cached_property
    def terms(self) -> FloatArray:
        """(U, V, W, Φ1, Φ2) of each term, (k, 5)."""
        return amplitudes(self.stiffness, *self.waves, self.load.q, self.family, self.curvature, self.thin)

    def deflection(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Deflection along the normal at points (p,), m."""
        alpha, beta = self.waves
        return np.asarray((np.sin(np.outer(x, alpha)) * np.sin(np.outer(y, beta))) @ self.terms[:, 2])

    def strains(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """The eight strains at points (p,): (p, 8)."""
        alpha, beta = self.waves
        g = strain_rows(alpha, beta, self.family, self.curvature)
        amount = np.einsum("kij,kj->ki", g, self.terms)
        sx, cx, sy, cy = (f(np.outer(v, w)) for v, w in ((x, alpha), (y, beta)) for f in (np.sin, np.cos))
        ss, cc, cs, sc = sx * sy, cx * cy, cx * sy, sx * cy
        plane = (ss, ss, cc) if self.family == "cross-ply" else (cc, cc, ss)
        shapes = (*plane, ss, ss, cc, cs, sc)
        out = np.stack([shape @ amount[:, i] for i, shape in enumerate(shapes)], axis=1)
        if self.thin:
            out[:, 6:] = 0.0
        return out

    def resultants(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """[N | M | Q] at points (p,): (p, 8), N/m, N, N/m (Q zero in thin theory: not a constitutive
        quantity there)."""
        return np.asarray(self.strains(x, y) @ self.stiffness)


def pinched_cylinder(
    young: float, poisson: float, radius: float, length: float, thickness: float, force: float, waves: int = 400
) -> float:
    """Radial deflection (m) under each of two opposite radial forces at mid-length of a closed cylinder
    whose ends are held by rigid diaphragms, thin theory.

    The cylinder closes, so the series is exact: w = Σ W_mn sin(mπx/L) cos(nθ), m odd and n even only.
    Source: problem of Lindberg, Olson & Cowper 1969 (1.8248e-5 for R = 300, L = 600, t = 3, E = 3e6, ν =
    .3, unit force; recalled); series derived here.
    """
    from panelfem.reference.stiffness import isotropic

    m, n = (w.ravel() for w in np.meshgrid(np.arange(1.0, waves, 2), np.arange(0.0, waves, 2), indexing="ij"))
    sign = (-1.0) ** ((m - 1) // 2)
    q = np.where(n == 0, 1.0, 2.0) * 2 * force * sign / (np.pi * radius * length)
    terms = amplitudes(
        isotropic(young, poisson, thickness), m * np.pi / length, n / radius, q, curvature=(0.0, 1 / radius), thin=True
    )
    return float(terms[:, 2] @ sign)
