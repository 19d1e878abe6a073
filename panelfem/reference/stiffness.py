"""Stiffness of plates and laminates written out again, so that the references owe nothing to
:mod:`panelfem.laminate`.

Strains [e11 e22 2e12 | k11 k22 2k12 | g1 g2], resultants [N | M | Q], stiffness [[A B 0] [B D 0] [0 0 S]]
(8, 8).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from panelfem.arrays import FloatArray


def isotropic(young: float, poisson: float, thickness: float, shear_factor: float = 5 / 6) -> FloatArray:
    """Stiffness (8, 8) of a homogeneous isotropic plate, N/m, N, N·m.

    Source: textbook (Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*, ch. 2); the shear
    factor 5/6 is Reissner's.

    >>> C = isotropic(12.0, 0.0, 1.0)
    >>> float(C[0, 0]), float(C[3, 3]), float(C[6, 6])
    (12.0, 1.0, 5.0)
    """
    membrane = young * thickness / (1 - poisson**2)
    unit = np.array([[1, poisson, 0], [poisson, 1, 0], [0, 0, (1 - poisson) / 2]])
    out = np.zeros((8, 8))
    out[:3, :3] = membrane * unit
    out[3:6, 3:6] = membrane * thickness**2 / 12 * unit
    out[6:, 6:] = shear_factor * young * thickness / (2 * (1 + poisson)) * np.eye(2)
    return out


def rotated_plane(stiffness: FloatArray, angle: float) -> FloatArray:
    """Plane stiffness (3, 3) [11, 22, 2·12] of a ply whose 1-axis is turned by `angle` (rad) from the x-axis.

    Source: the strain transformation written out, Q̄ = Tᵀ Q T with T taking (εx, εy, γxy) to ply axes.

    >>> q = np.diag([10.0, 1.0, 0.5])
    >>> np.diag(rotated_plane(q, np.pi / 2)).round(12).tolist()
    [1.0, 10.0, 0.5]
    """
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
    return np.asarray(turn.T @ stiffness @ turn)


def laminate(
    e1: float,
    e2: float,
    nu12: float,
    g12: float,
    g13: float,
    g23: float,
    layers: Sequence[tuple[float, float]],
    shear_factor: float = 5 / 6,
) -> FloatArray:
    """Stiffness (8, 8) of a stack of equal material, first-order theory with one shear factor.

    `layers`: (angle in degrees, thickness m), first at z = −h/2.  Moduli in Pa.
    Source: classical lamination theory, A, B, D = Σ Q̄ (z, z²/2, z³/3); S = k Σ Q̄ₛ t.

    >>> C = laminate(25, 1, .25, .5, .5, .2, [(0, .5), (90, .5)])
    >>> bool(np.isclose(C[0, 3], -C[1, 4])), round(float(C[6, 6]), 4)
    (True, 0.2917)
    """
    m = 1 - nu12**2 * e2 / e1
    plane = np.array([[e1 / m, nu12 * e2 / m, 0], [nu12 * e2 / m, e2 / m, 0], [0, 0, g12]])
    z = -sum(t for _, t in layers) / 2
    out = np.zeros((8, 8))
    for degrees, t in layers:
        angle = math.radians(degrees)
        q = rotated_plane(plane, angle)
        c, s = math.cos(angle), math.sin(angle)
        turn = np.array([[c, s], [-s, c]])
        out[:3, :3] += q * t
        out[:3, 3:6] += q * ((z + t) ** 2 - z**2) / 2
        out[3:6, 3:6] += q * ((z + t) ** 3 - z**3) / 3
        out[6:, 6:] += shear_factor * t * (turn.T @ np.diag([g13, g23]) @ turn)
        z += t
    out[3:6, :3] = out[:3, 3:6]
    return out
