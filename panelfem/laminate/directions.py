"""How stiff a laminate is in every direction, and what couples what in it.

Source: S. W. Tsai & H. T. Hahn 1980, Introduction to Composite Materials, chapters 2 to 6.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate.laminate import Laminate
from panelfem.laminate.ply import strain_turn


@dataclass(frozen=True)
class Polar:
    """Moduli of the laminate, free to bend and to shear, in axes turned by `angle` (n,) rad; `E`, `G` (n,) Pa, `nu`
    (n,), and `shear` (n,): shear strain per strain along the axis.
    """

    angle: FloatArray
    E: FloatArray
    G: FloatArray
    nu: FloatArray
    shear: FloatArray


def polar(laminate: Laminate, count: int = 73) -> Polar:
    """Moduli from 0 to a full turn in `count` directions, both ends included.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> found = polar(Laminate(parse_stack("[0]", library(), "T300-5208")), 5)
    >>> (found.E / 1e9).round(2).tolist(), (found.G / 1e9).round(2).tolist()
    ([181.0, 10.3, 181.0, 10.3, 181.0], [7.17, 7.17, 7.17, 7.17, 7.17])
    """
    angle = np.linspace(0.0, 2.0 * np.pi, count)
    a = np.linalg.inv(replace(laminate, bottom=None, stated_shear=None).ABD)[:3, :3]
    turns = np.stack([strain_turn(float(t)) for t in angle])
    turned = turns @ a @ turns.transpose(0, 2, 1)
    along, t = turned[:, 0, 0], laminate.thickness
    return Polar(
        angle, 1.0 / (t * along), 1.0 / (t * turned[:, 2, 2]), -turned[:, 0, 1] / along, turned[:, 0, 2] / along
    )


@dataclass(frozen=True)
class Coupling:
    """What a laminate does besides what it is asked for, about its mid-plane; what is only rounding is 0.

    `shear_by_pull`: shear strain per strain along x; `twist_by_bending`: κxy per κx under Mx alone; `bend_by_pull`:
    greatest of thickness · curvature per strain, where 1 makes a strain of ±½ at the faces per strain pulled along x
    or y or sheared; `bow_by_heat` [κx, κy, κxy] 1/(m·K).  `B` (N), `A16`, `A26` (N/m), `D16`, `D26` (N·m) are the terms
    they come from; `B` the greatest by amount.
    """

    B: float
    A16: float
    A26: float
    D16: float
    D26: float
    shear_by_pull: float
    twist_by_bending: float
    bend_by_pull: float
    bow_by_heat: tuple[float, float, float]


def coupling(laminate: Laminate) -> Coupling:
    """The couplings of a laminate.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> found = coupling(Laminate(parse_stack("[0/90]", library(), "T300-5208")))
    >>> found.B < 0, found.A16, found.D16, round(found.bend_by_pull, 2)
    (True, 0.0, 0.0, 2.68)
    """
    lam = replace(laminate, bottom=None, stated_shear=None)
    h, A, B, D = lam.thickness, lam.A, lam.B, lam.D
    compliance = np.linalg.inv(lam.ABD)
    scale = np.array([np.abs(A).max(), h * np.abs(A).max(), h * h * np.abs(A).max()])

    def clean(value: float, size: float) -> float:
        return 0.0 if abs(value) < 1e-10 * size else float(value)

    b = B.ravel()[int(np.argmax(np.abs(B)))]
    bends = h * np.abs(compliance[3:, :3]).max(0) / np.diag(compliance)[:3]
    heat = compliance[3:] @ lam.thermal_resultants(1.0)
    per_kelvin = float(np.abs(lam._free[0]).max() / np.abs(A).max())
    return Coupling(
        clean(b, scale[1]),
        clean(A[0, 2], scale[0]),
        clean(A[1, 2], scale[0]),
        clean(D[0, 2], scale[2]),
        clean(D[1, 2], scale[2]),
        clean(compliance[0, 2] / compliance[0, 0], 1.0),
        clean(compliance[3, 5] / compliance[3, 3], 1.0),
        clean(float(bends.max()), 1.0),
        (clean(heat[0], per_kelvin), clean(heat[1], per_kelvin), clean(heat[2], per_kelvin)),
    )
