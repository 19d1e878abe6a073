"""Engineering constants of a laminate: what a test of the whole laminate would measure.

Source: S. W. Tsai & H. T. Hahn 1980, Introduction to Composite Materials, chapters 4 and 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class EngineeringConstants:
    """Constants of the homogeneous plate of the same thickness; moduli Pa, expansions 1/K and 1/(m·K).

    In-plane (Ex, Ey, Gxy, nuxy, nuyx) with the laminate free to bend, and flexural (…_bending) with it free
    to stretch: in an unsymmetric laminate coupling lowers both.  `shear_coupling`: (shear strain under
    tension along x, and along y) per strain along that axis.  `expansion` [x, y, xy] and `curvature` [x, y,
    xy] per kelvin of a free laminate.
    """

    Ex: float
    Ey: float
    Gxy: float
    nuxy: float
    nuyx: float
    shear_coupling: tuple[float, float]
    Ex_bending: float
    Ey_bending: float
    Gxy_bending: float
    nuxy_bending: float
    expansion: tuple[float, float, float]
    curvature: tuple[float, float, float]


def engineering_constants(ABD: FloatArray, thermal: FloatArray, thickness: float) -> EngineeringConstants:
    """From ABD (6, 6) about the mid-plane, the resultants (6,) of 1 K held back, and the thickness, m."""
    compliance = np.linalg.inv(ABD)
    a, d = compliance[:3, :3], compliance[3:, 3:]
    free = compliance @ thermal
    cube = thickness**3 / 12.0
    return EngineeringConstants(
        Ex=float(1.0 / (thickness * a[0, 0])),
        Ey=float(1.0 / (thickness * a[1, 1])),
        Gxy=float(1.0 / (thickness * a[2, 2])),
        nuxy=float(-a[0, 1] / a[0, 0]),
        nuyx=float(-a[0, 1] / a[1, 1]),
        shear_coupling=(float(a[0, 2] / a[0, 0]), float(a[1, 2] / a[1, 1])),
        Ex_bending=float(1.0 / (cube * d[0, 0])),
        Ey_bending=float(1.0 / (cube * d[1, 1])),
        Gxy_bending=float(1.0 / (cube * d[2, 2])),
        nuxy_bending=float(-d[0, 1] / d[0, 0]),
        expansion=(float(free[0]), float(free[1]), float(free[2])),
        curvature=(float(free[3]), float(free[4]), float(free[5])),
    )
