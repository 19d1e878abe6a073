"""A wave of pressure on a laminate in first-order shell theory, and the three-dimensional constants of its plies: what
:class:`panelfem.reference.elasticity.PressureWave` is held against.

With k = (k1, k2) in the laminate's axes, u_a = U_a sin k·x, w = W cos k·x, rotations of the normal ψ_a sin k·x:
 e11 = k1 U1, e22 = k2 U2, 2e12 = k2 U1 + k1 U2 (cos), the curvatures alike in ψ, g_a = ψ_a − k_a W (sin).
The stationary energy of these with the laminate's stiffness gives the amplitudes.

Source: J. N. Reddy 2004, Mechanics of Laminated Composite Plates and Shells, 2nd ed., chapter 5 (first-order theory,
Navier's way); derived here for waves in any direction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate
from panelfem.material import Adhesive, CoreMaterial, PlyMaterial
from panelfem.reference.elasticity import Layer, Orthotropic, PressureWave

#: Contraction across the fibre and through the thickness where the moduli do not tell (typical of epoxies; common
#: practice, no source).
NU = 0.4


def solid(material: PlyMaterial | CoreMaterial | Adhesive) -> Orthotropic:
    """Three-dimensional constants of a material, Pa; what the program does not hold is assumed.

    Unidirectional ply: transversely isotropic, E3 = E2, ν13 = ν12, and ν23 = E2/(2 G23) − 1 if that lies between 0
    and 0.5, else 0.4.  Fabric: E3 = 2 (1 + 0.4) √(G13 G23), but not above E2, as the resin between the tows rules
    it; ν13 = ν23 = 0.4.  Foam: contraction ν alike under stress in the plane and across it; honeycomb: none across.
    Adhesive: isotropic.  All of them common practice, no source.

    >>> from panelfem.material import library
    >>> s = solid(library()["carbon-twill"])
    >>> round(s.E3 / 1e9, 2), s.nu23
    (10.64, 0.4)
    """
    match material:
        case PlyMaterial(kind="unidirectional") as m:
            nu = m.E2 / (2.0 * m.G23) - 1.0
            nu23 = nu if 0.0 <= nu <= 0.5 else NU
            return Orthotropic(m.E1, m.E2, m.E2, m.nu12, m.nu12, nu23, m.G12, m.G13, m.G23)
        case PlyMaterial() as m:
            E3 = min(2.0 * (1.0 + NU) * math.sqrt(m.G13 * m.G23), m.E2)
            return Orthotropic(m.E1, m.E2, E3, m.nu12, NU, NU, m.G12, m.G13, m.G23)
        case CoreMaterial() as m:
            across = m.nu * m.E_plane / m.E if m.kind == "foam" else 0.0
            return Orthotropic(m.E_plane, m.E_plane, m.E, m.nu, across, across, m.G12, m.G13, m.G23)
        case Adhesive() as m:
            return Orthotropic(m.E, m.E, m.E, m.nu, m.nu, m.nu, m.G, m.G, m.G)


def exact(laminate: Laminate, length: float, directions: tuple[float, ...], q: float = 1.0) -> PressureWave:
    """Exact elasticity of a laminate under waves of half length `length` m in `directions` (d,) rad; see :func:`solid`.

    Raises ModelError, once it is asked for values, if it cannot be solved.
    """
    layers = tuple(Layer(solid(ply.material), ply.angle, ply.thickness) for ply in laminate.plies)
    return PressureWave(layers, length, directions, q)


@dataclass(frozen=True)
class FirstOrderWave:
    """A laminate under q cos(k·x) in first-order theory, with its own stiffness and ply recovery.

    `length`, `directions` and `q` as in :class:`panelfem.reference.elasticity.PressureWave`.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> lam = Laminate(parse_stack("[0/45/foam-pvc-80:10mm]s", library(), "carbon-twill"))
    >>> wave = FirstOrderWave(lam, 10.0, (0.0,), 1.0)
    >>> round(float(exact(lam, 10.0, (0.0,)).deflection[0] / wave.deflection[0]), 3)
    1.0
    """

    laminate: Laminate
    length: float
    directions: tuple[float, ...]
    q: float

    @cached_property
    def _solution(self) -> tuple[FloatArray, FloatArray]:
        """Strains (d, 8) and amplitudes (d, 5) of [U1, U2, W, ψ1, ψ2]."""
        k = math.pi / self.length * np.stack([np.cos(self.directions), np.sin(self.directions)], 1)
        rows = np.zeros((len(k), 8, 5))
        for start, column in ((0, 0), (3, 3)):
            rows[:, start, column] = rows[:, start + 2, column + 1] = k[:, 0]
            rows[:, start + 1, column + 1] = rows[:, start + 2, column] = k[:, 1]
        rows[:, 6, 3] = rows[:, 7, 4] = 1.0
        rows[:, 6:, 2] = -k
        # columns of like size, so that thin plates are solved as well as thick ones
        size = np.array([1.0, 1.0, self.length, 1.0, 1.0]) * self.length
        size[:2] *= self.laminate.thickness / self.length
        rows = rows * size
        matrix = np.swapaxes(rows, 1, 2) @ self.laminate.stiffness @ rows
        load = np.zeros((len(k), 5, 1))
        load[:, 2] = self.q * size[2]
        amplitudes = np.linalg.solve(matrix, load)
        return (rows @ amplitudes)[..., 0], amplitudes[..., 0] * size

    @property
    def strains(self) -> FloatArray:
        """(d, 8): the first six where cos kx = 1, the transverse shear where sin kx = 1."""
        return self._solution[0]

    @property
    def deflection(self) -> FloatArray:
        """(d,) m."""
        return np.asarray(self._solution[1][:, 2])

    @cached_property
    def in_plane(self) -> FloatArray:
        """(d, plies, 3, 3) Pa: [11, 22, 12] in ply axes at bottom, middle and top of each ply."""
        return self.laminate.ply_stresses(self.strains)

    @cached_property
    def shear(self) -> FloatArray:
        """(d, plies, 3, 2) Pa: [13, 23] in ply axes, from the shear resultants as the program takes them."""
        return self.laminate.transverse_shear(self.strains[:, 6:] @ self.laminate.shear)

    @cached_property
    def shear_from_gradients(self) -> FloatArray:
        """(d, plies, 3, 2) Pa: [13, 23] in ply axes, from the true change of the strains along the surface."""
        k = math.pi / self.length * np.stack([np.cos(self.directions), np.sin(self.directions)], 1)
        change = -k[:, :, None] * self.strains[:, None, :6]
        return self.laminate.transverse_shear_from_gradients(change[:, 0], change[:, 1])
