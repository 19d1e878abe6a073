"""Circular isotropic plates with large deflection under uniform pressure: von Karman's axisymmetric equations.

Derivation.  With the slope ω = w' (w and the pressure q along +z), the strains are e_r = u' + ½ω², e_θ = u/r, so
(r e_θ)' = e_r − ½ω².  In-plane equilibrium (r N_r)' = N_θ is met by Φ = r N_r, N_θ = Φ'; Hooke's law
E h e_θ = N_θ − ν N_r (and likewise e_r) gives rΦ'' + Φ' − Φ/r = −½ E h ω².  The vertical balance of the disc inside r
is D (1/r (r ω)')' = q r/2 + N_r ω.  With ω = r f(t), N_r = n(t), t = r²/a², both smooth at the centre,

    (D/a²)(4t f'' + 8f') = q/2 + n f,      4t n'' + 8n' = −½ E h a² f²       on 0 ≤ t ≤ 1,

and the centre needs no condition.  Edge t = 1: clamped f = 0, supported 2f' + (1 + ν) f = 0 (M_r = 0); held in the
plane (u = 0) 2n' + (1 − ν) n = 0, movable n = 0.  Chebyshev collocation in t and Newton, unknowns scaled by a and h.
A movable edge is pressed along itself and would wrinkle at some pressure: the solution stays axisymmetric.

Thin plate: the share of shear in the linear deflection is, with factor 5/6 and ν = 0.3, 4.6 (h/a)² clamped and
1.1 (h/a)² supported (a the radius), below 1e-3 at h/a = 1/70 (clamped).

Source: T. von Karman 1910, S. Way 1934 (clamped; recalled); equations derived here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.polynomial import chebyshev

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

_WHERE = "circular plate with large deflection"


@dataclass(frozen=True)
class LargeCircle:
    """Plate of `radius` and `thickness` m, modulus `young` Pa, `poisson`, uniform pressure `q` Pa along +z.

    `edge`: clamped or supported (free to turn); `inplane`: the edge is held (u = 0) or movable (N_r = 0).  Solved with
    more points until the deflection stands to 1e-10; raises :class:`ModelError` where 200 points are too few.

    >>> plate = LargeCircle(1.0, 0.01, 1.0, 0.3, 1e-7, "clamped", "held")
    >>> round(plate.deflection(0.0) / 0.01, 7)
    1.0519568
    """

    radius: float
    thickness: float
    young: float
    poisson: float
    q: float
    edge: Literal["clamped", "supported"]
    inplane: Literal["held", "movable"]

    @property
    def _load(self) -> float:
        return self.q / self.young * (self.radius / self.thickness) ** 4

    def _collocate(self, count: int, load: float, start: FloatArray) -> FloatArray | None:
        """Chebyshev coefficients (2, count) of F = f a²/h and n/(E h) (a/h)² at pressure q a⁴/(E h⁴) = `load`."""
        eye = np.eye(count)
        x = np.cos(np.pi * np.arange(count) / (count - 1))  # x = 2t − 1, the edge first
        t = ((x + 1) / 2)[:, None]
        v = chebyshev.chebvander(x, count - 1)
        d1 = 2 * np.asarray(chebyshev.chebval(x, chebyshev.chebder(eye))).T
        d2 = 4 * np.asarray(chebyshev.chebval(x, chebyshev.chebder(eye, 2))).T
        wave = 4 * t * d2 + 8 * d1
        stiff = 1 / (12 * (1 - self.poisson**2))
        turn = v[0] if self.edge == "clamped" else 2 * d1[0] + (1 + self.poisson) * v[0]
        move = v[0] if self.inplane == "movable" else 2 * d1[0] + (1 - self.poisson) * v[0]
        c = start
        for _ in range(60):
            f, n = v @ c[0], v @ c[1]
            first = stiff * wave @ c[0] - load / 2 - n * f
            second = wave @ c[1] + f**2 / 2
            jacobian = np.block([[stiff * wave - n[:, None] * v, -f[:, None] * v], [f[:, None] * v, wave]])
            first[0], second[0] = turn @ c[0], move @ c[1]
            jacobian[0], jacobian[count] = 0.0, 0.0
            jacobian[0, :count], jacobian[count, count:] = turn, move
            change = np.linalg.solve(jacobian, -np.concatenate([first, second])).reshape(2, count)
            c = c + change
            if np.abs(change).max() <= 1e-11 * np.abs(c).max():
                return np.asarray(c)
        return None

    @cached_property
    def coefficients(self) -> FloatArray:
        """Chebyshev coefficients (2, count) in 2t − 1 of f a²/h and of n a²/(E h³)."""
        before = np.inf
        for count in (24, 48, 96, 200):
            c: FloatArray = np.zeros((2, count))
            at, step = 0.0, self._load
            while at != self._load:
                aim = at + step if abs(self._load - at) > abs(step) * (1 + 1e-12) else self._load
                found = self._collocate(count, aim, c)
                if found is not None:
                    c, at, step = found, aim, 4 * step
                elif abs(step) < 1e-6 * abs(self._load):
                    raise ModelError("Newton finds no equilibrium", where=_WHERE)
                else:
                    step /= 4
            peak = self._drop(c, 0.0)
            if abs(peak - before) <= 1e-10 * abs(peak):
                return c
            before = peak
        raise ModelError("the edge layer is too thin for 200 points", where=_WHERE, do="lower the pressure")

    @staticmethod
    def _drop(c: FloatArray, t: float) -> float:
        """w/h at t: w = −∫ ω dr from r to the edge, and r dr = ½ a² dt."""
        whole = chebyshev.chebint(c[0]) / 4
        return float(chebyshev.chebval(2 * t - 1, whole) - chebyshev.chebval(1.0, whole))

    def deflection(self, r: float) -> float:
        """Deflection at r, m."""
        return self.thickness * self._drop(self.coefficients, (r / self.radius) ** 2)

    def resultants(self, r: float) -> FloatArray:
        """[N_r, N_θ, M_r, M_θ] at r, N/m and N; positive moments stretch the face the pressure pushes towards (+z)."""
        x = 2 * (r / self.radius) ** 2 - 1
        t = (x + 1) / 2
        a, h, E = self.radius, self.thickness, self.young
        (f, n), (df, dn) = (
            (chebyshev.chebval(x, c[0]), chebyshev.chebval(x, c[1]))
            for c in (self.coefficients, 2 * chebyshev.chebder(self.coefficients, axis=1))
        )
        kr, kt = -(f + 2 * t * df) * h / a**2, -f * h / a**2
        D, nu = E * h**3 / (12 * (1 - self.poisson**2)), self.poisson
        pull = E * h * (h / a) ** 2
        return np.array([pull * n, pull * (n + 2 * t * dn), D * (kr + nu * kt), D * (kt + nu * kr)])


def cubic(load: float, edge: Literal["clamped", "supported"], inplane: Literal["held", "movable"]) -> float:
    """w/h at the centre from the approximate cubic w/h + A (w/h)³ = B q a⁴/(E h⁴), ν = 0.3, at `load` q a⁴/(E h⁴).

    Source: Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*, art. 100, table 82 (recalled).

    >>> round(cubic(10.0, "clamped", "held"), 3)
    1.094
    """
    A = {"clamped": {"held": 0.471, "movable": 0.146}, "supported": {"held": 1.852, "movable": 0.262}}[edge][inplane]
    B = {"clamped": 0.171, "supported": 0.696}[edge]
    roots = np.roots([A, 0.0, 1.0, -B * load])
    return float(roots[np.abs(roots.imag) < 1e-9].real[0])
