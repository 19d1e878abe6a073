"""One ply of a laminate: a material, a thickness, an angle; its plane-stress stiffness in its own and in
laminate axes.

Strains are engineering strains [e11, e22, 2 e12], stresses [s11, s22, s12], tension positive; the angle runs
from the 0° axis of the laminate towards t2 = n × t1.

Source: S. W. Tsai & H. T. Hahn 1980, Introduction to Composite Materials, chapters 1 to 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.material import Adhesive, CoreMaterial, PlyMaterial


@dataclass(frozen=True)
class Ply:
    """A layer: `material`, `thickness` m, `angle` rad (of the fibre, warp or ribbon from the 0° axis).

    Raises InputError for a thickness that is not positive or is over 0.3 m, or an angle beyond a full turn
    (degrees given for radians).

    >>> from panelfem.material import library
    >>> Ply(library()["carbon-ud"], 0.15, 0.0)
    Traceback (most recent call last):
    ...
    panelfem.errors.InputError: a ply 150 mm thick cannot be (ply of 'carbon-ud'). Allowed: above 0, up to \
20 mm (core: 300 mm). Do: check the unit: inside it is metres.
    """

    material: PlyMaterial | CoreMaterial | Adhesive
    thickness: float
    angle: float = 0.0

    def __post_init__(self) -> None:
        where = f"ply of '{self.material.name}'"
        most = 0.3 if isinstance(self.material, CoreMaterial) else 0.02
        if not 0.0 < self.thickness <= most:
            raise InputError(
                f"a ply {1e3 * self.thickness:g} mm thick cannot be",
                where=where,
                allowed="above 0, up to 20 mm (core: 300 mm)",
                do="check the unit: inside it is metres",
            )
        if not abs(self.angle) <= 2.0 * math.pi:
            raise InputError(
                f"angle {self.angle:g} rad is beyond a full turn",
                where=where,
                allowed="−2π to 2π",
                do="check the unit: inside it is radians",
            )


def reduced_stiffness(material: PlyMaterial | CoreMaterial | Adhesive) -> FloatArray:
    """Plane-stress stiffness Q (3, 3) in the material's own axes, Pa.

    >>> from panelfem.material import library
    >>> (reduced_stiffness(library()["T300-5208"]) / 1e9).round(2)
    array([[181.81,   2.9 ,   0.  ],
           [  2.9 ,  10.35,   0.  ],
           [  0.  ,   0.  ,   7.17]])
    """
    match material:
        case PlyMaterial(E1=E1, E2=E2, G12=G12, nu12=nu12):
            pass
        case CoreMaterial(E_plane=E1, nu=nu12, G12=G12):
            E2 = E1
        case Adhesive(E=E1, nu=nu12, G=G12):
            E2 = E1
    below = 1.0 - nu12 * nu12 * E2 / E1
    cross = nu12 * E2 / below
    return np.array([[E1 / below, cross, 0.0], [cross, E2 / below, 0.0], [0.0, 0.0, G12]])


def transverse_shear_modulus(material: PlyMaterial | CoreMaterial | Adhesive) -> FloatArray:
    """Transverse shear moduli [G13, G23] in the material's own axes, Pa."""
    if isinstance(material, Adhesive):
        return np.array([material.G, material.G])
    return np.array([material.G13, material.G23])


def expansion(material: PlyMaterial | CoreMaterial | Adhesive) -> FloatArray:
    """Free strain [e11, e22, 2 e12] per kelvin in the material's own axes."""
    if isinstance(material, PlyMaterial):
        return np.array([material.alpha1, material.alpha2, 0.0])
    return np.array([material.alpha, material.alpha, 0.0])


def swelling(material: PlyMaterial | CoreMaterial | Adhesive) -> FloatArray:
    """Free strain [e11, e22, 2 e12] per share of mass of moisture; a core is taken not to swell."""
    match material:
        case PlyMaterial():
            return np.array([material.beta1, material.beta2, 0.0])
        case Adhesive():
            return np.array([material.beta, material.beta, 0.0])
        case CoreMaterial():
            return np.zeros(3)


def strain_turn(angle: float) -> FloatArray:
    """T (3, 3): strains in axes turned by `angle` rad are T @ strains; its transpose takes stresses back.

    >>> strain_turn(np.pi / 2).round(12) @ [1.0, 2.0, 3.0]
    array([ 2.,  1., -3.])
    """
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2.0 * c * s, 2.0 * c * s, c * c - s * s]])


def vector_turn(angle: float) -> FloatArray:
    """R (2, 2): components of a vector in axes turned by `angle` rad are R @ components."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, s], [-s, c]])
