"""Consistent mass of the shell: its skin with rotary inertia, and what hangs on it.

The point of a fibre at height z over the reference surface moves with u' + z θ' × d, d the director.  With the moments
m0, m1, m2 = ∫ρ (1, z, z²) dz of the laminate the kinetic energy is

    ½ ∫ m0 |u'|² + 2 m1 u' · w + m2 |w|² dA,     u' = Σ Nᵢ u'ᵢ,   w = Σ Mⱼ θ'ⱼ × dⱼ

in the element's own bases, so a laminate whose middle is not the reference surface has its offset exactly.  The area is
that of the reference surface at every height, as in the stiffness.  Turning about the director moves nothing: drilling
has no inertia, and its modes are at infinite frequency.

Source: kinetic energy of first-order shear deformation theory with I0, I1, I2, Reddy, *Mechanics of Laminated Composite
Plates and Shells*, 2nd ed., chapter 3 (from memory); the rest is derived here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array, vstack
from skfem import ElementTriP2
from skfem.quadrature import get_quadrature

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.shell.geometry import cross
from panelfem.shell.large import LargeShell, Pose, large_tables
from panelfem.shell.strain import directors, strain_tables
from panelfem.shell.supports import FastenerRows

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell

CHECK = 1e-9
"""Share by which m1² may exceed m0 m2 in rounding."""


@dataclass(frozen=True)
class MassTables:
    """Constant tables of order k on a rule of degree 2k + 2, nq points.

    `weights` (nq,), `slopes` (2 nq, nu) derivatives there, `products` (nq, (nu + nr)²) of all displacement and rotation
    functions.
    """

    weights: FloatArray
    slopes: FloatArray
    products: FloatArray


@cache
def mass_tables(k: int) -> MassTables:
    """Tables of order k, made once.

    >>> tables = mass_tables(2)
    >>> tables.products.shape[1] == 13**2, round(float(tables.weights.sum()), 12)
    (True, 0.5)
    """
    triangle = strain_tables(k).triangle
    points, weights = (np.asarray(part, float) for part in get_quadrature(ElementTriP2.refdom, 2 * k + 2))
    value, slope = triangle.displacement(points)
    both = np.hstack([value, triangle.rotation(points)[0]])
    products = both[:, :, None] * both[:, None, :]
    return MassTables(weights, slope.reshape(-1, value.shape[1]), products.reshape(len(weights), -1))


class Mass:
    """The mass of `shell`.

    `moments` (ne, 3): mass per area kg/m² and its first and second moments about the reference surface along the
    normal, kg/m and kg, of each element; those of elements that are not there are left out.  `hung` csr (r, n_total):
    rows h whose motions h · u' carry a kinetic energy of ½ (h · u')² each, √kg and √kg·m (see `hung_mass`).

    Raises ModelError for moments that no mass has: not finite, negative, or m1² > m0 m2.
    """

    def __init__(self, shell: Shell, moments: FloatArray, hung: csr_array | None = None) -> None:
        layout = shell.layout
        given = np.broadcast_to(np.asarray(moments, float), (layout.ne, 3))
        given = np.where(shell.active[:, None], given, 0.0)
        m0, m1, m2 = given.T
        positive = (m0 >= 0.0) & (m2 >= 0.0) & (m1**2 <= m0 * m2 * (1.0 + CHECK))
        if not (np.isfinite(given).all() and positive.all()):
            raise ModelError(
                "these moments of mass through the thickness cannot be",
                where="mass of the shell",
                allowed="finite m0 ≥ 0 and m2 ≥ 0 with m1² ≤ m0 m2, an element each",
            )
        self.shell, self.moments = shell, given
        self.hung: csr_array = csr_array((0, shell.n_total)) if hung is None else hung
        self.directors: FloatArray = directors(layout.tables, layout.x)

    def at(self, large: LargeShell, pose: Pose) -> Mass:
        """The mass in a pose: directors have turned, masses are those at rest.

        What hangs keeps its rows, so its arm and the axes of its inertia do not turn with the skin.
        """
        other = Mass.__new__(Mass)
        other.shell, other.moments, other.hung = self.shell, self.moments, self.hung
        other.directors = (pose.turned[large.rotation_nodes] @ self.directors[..., None])[..., 0]
        return other

    @cached_property
    def area(self) -> FloatArray:
        """Area of each element, m², (ne,); zero where it is not there."""
        return np.asarray(self._weights().sum(axis=1))

    def _weights(self) -> FloatArray:
        t, layout = mass_tables(self.shell.mesh.order), self.shell.layout
        slopes = (t.slopes @ layout.x).reshape(layout.ne, 2, -1, 3)
        area = np.linalg.norm(cross(slopes[:, 0], slopes[:, 1]), axis=2)
        return np.where(self.shell.active[:, None], area * t.weights, 0.0)

    @cached_property
    def nodal(self) -> FloatArray:
        """(ne, nu + nr, nu + nr): the energy's matrix on u' at displacement nodes and θ' × d at rotation nodes, for
        each of their components."""
        tables = self.shell.layout.tables
        nu, n = tables.nu, tables.nu + tables.nr
        out: FloatArray = (self._weights() @ mass_tables(tables.k).products).reshape(-1, n, n)
        m0, m1, m2 = (m[:, None, None] for m in self.moments.T)
        out[:, :nu, :nu] *= m0
        out[:, :nu, nu:] *= m1
        out[:, nu:, :nu] *= m1
        out[:, nu:, nu:] *= m2
        return out

    @cached_property
    def _motion(self) -> csr_array:
        """(3 (nu + nr) ne, n_total): u' at displacement nodes and θ' × d at rotation nodes, element by element."""
        layout = self.shell.layout
        ne, nu, nr = layout.ne, layout.tables.nu, layout.tables.nr
        start = 3 * (nu + nr) * np.arange(ne)[:, None, None]
        moved = start + 3 * np.arange(nu)[:, None] + np.arange(3)
        spun = start + 3 * nu + 3 * np.arange(nr)[:, None] + np.arange(3)
        rows, columns, data = [moved.ravel()], [layout.displacement_unknowns.ravel()], [np.ones(moved.size)]
        d, turning = self.directors, layout.rotation_unknowns
        for a, b, c, sign in _CROSS:
            rows.append(spun[..., a].ravel())
            columns.append(turning[..., b].ravel())
            data.append(sign * d[..., c].ravel())
        shape = (3 * (nu + nr) * ne, layout.n_total)
        return csr_array((np.concatenate(data), (np.concatenate(rows), np.concatenate(columns))), shape=shape)

    def __call__(self, v: FloatArray) -> FloatArray:
        """The mass times velocities or accelerations (n_total,) or (n_total, c) of the unknowns, of the same shape."""
        columns = v.reshape(len(v), -1)
        ne, n = self.nodal.shape[:2]
        moved = (self._motion @ columns).reshape(ne, n, -1)
        out = self._motion.T @ (self.nodal @ moved).reshape(3 * ne * n, -1)
        out += self.hung.T @ (self.hung @ columns)
        return np.asarray(out.reshape(v.shape))

    def full(self) -> FloatArray:
        """The skin's mass on all unknowns of each element, (ne, n, n), in the order of its stiffness."""
        tables = self.shell.layout.tables
        nu, nodal, d = tables.nu, self.nodal, self.directors
        at_u, at_t = (large_tables(tables.k).unknown_u, large_tables(tables.k).unknown_t)
        n = tables.n_boundary + tables.n_inner
        out = np.zeros((len(nodal), n, n))
        for c in range(3):
            out[:, at_u[:, c, None], at_u[:, c]] = nodal[:, :nu, :nu]
        mixed = nodal[:, :nu, nu:]
        for a, b, c, sign in _CROSS:
            value = sign * mixed * d[:, None, :, c]
            out[:, at_u[:, a, None], at_t[:, b]] = value
            out[:, at_t[:, b, None], at_u[:, a]] = value.swapaxes(1, 2)
        along = d @ d.swapaxes(1, 2)
        for a in range(3):
            for b in range(3):
                turned = -d[:, None, :, a] * d[:, :, b, None]
                value = turned + along if a == b else turned
                out[:, at_t[:, a, None], at_t[:, b]] = nodal[:, nu:, nu:] * value
        return out

    @cached_property
    def shifts(self) -> FloatArray:
        """Unknowns (n_total, 3) of the whole panel moving by 1 m along x, y, z."""
        out = np.zeros((self.shell.n_total, 3))
        for c in range(3):
            out[self.shell.layout.displacement_unknowns[self.shell.active][..., c], c] = 1.0
        return out

    @cached_property
    def total(self) -> float:
        """The mass of the skin and all that hangs on it, kg."""
        return float(self.shifts[:, 0] @ self(self.shifts[:, 0]))


_CROSS = ((0, 1, 2, 1.0), (0, 2, 1, -1.0), (1, 2, 0, 1.0), (1, 0, 2, -1.0), (2, 0, 1, 1.0), (2, 1, 0, -1.0))
"""Terms (a, b, c, sign) of a cross product: (θ × d)_a is the sum of sign θ_b d_c."""


def spread_mass(shell: Shell, mass: float, elements: BoolArray, height: float = 0.0) -> FloatArray:
    """Moments (ne, 3), as `Mass` takes them, of `mass` kg spread evenly over the area of the active ones of `elements`
    (ne,), `height` m over the reference surface along the normal.

    Raises ModelError if nothing is left there.
    """
    on = np.asarray(elements, bool) & shell.active
    area = float(Mass(shell, np.zeros(3)).area[on].sum())
    if area <= 0.0:
        raise ModelError("a mass hangs on elements that are not there", where="mass of the shell")
    return np.where(on[:, None], mass / area * np.array([1.0, height, height**2]), 0.0)


def hung_mass(
    rows: FastenerRows, washer: int, mass: float, arm: FloatArray | None = None, inertia: FloatArray | None = None
) -> csr_array:
    """Rows, as `Mass` takes them, of a rigid body that follows the mean motion under a washer of `rows`.

    `mass` kg; `arm` (3,) m from the washer's place to the body's centre of mass and `inertia` (3, 3) kg·m² about that
    centre, in global axes; None: zero.  Raises ModelError for an inertia that is not symmetric, or negative.
    """
    J = np.zeros((3, 3)) if inertia is None else np.asarray(inertia, float)
    energy, axes = np.linalg.eigh(0.5 * (J + J.T))
    if mass < 0.0 or not np.allclose(J, J.T, atol=0.0) or energy[0] < -1e-12 * abs(energy[2]):
        raise ModelError("a hung mass or its inertia is negative or not symmetric", where="mass of the shell")
    own = csr_array(rows.rows[6 * washer : 6 * washer + 6])
    frame = csr_array(rows.frame[washer].T)
    shift, turn = frame @ own[:3], frame @ own[3:]
    if arm is not None:
        lever = np.zeros((3, 3))
        for a, b, c, sign in _CROSS:
            lever[a, b] += sign * arm[c]
        shift = shift + csr_array(lever) @ turn
    turning = csr_array(np.sqrt(np.maximum(energy, 0.0))[:, None] * axes.T) @ turn
    out = csr_array(vstack([np.sqrt(mass) * shift, turning]))
    return csr_array(out[np.flatnonzero(np.diff(out.indptr))])
