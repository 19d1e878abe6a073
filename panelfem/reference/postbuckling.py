"""A supported rectangular plate, shortened along x beyond its buckling: average load, and formulas of effective width.

The loaded edges x = 0, a stay straight; all edges slip freely along themselves.  The unloaded edges y = 0, b either
stay straight and move as a whole ("straight") or are free to wave ("free").  For the square plate the stiffness just
beyond buckling is one half of that before with straight edges (Marguerre's value: it belongs to these) and 0.4083 with
edges free to wave; both hold for any Poisson's ratio.

Source: the path is solved by :mod:`panelfem.reference.large_plate`; one half is K. Marguerre 1937, NACA TM 833
(recalled), 0.408 is W. S. Hemp 1945 (recalled), both reproduced.  The formulas of effective width are fits, shown
beside: T. von Karman, E. E. Sechler & L. H. Donnell 1932; G. Winter 1947; Marguerre as above (all recalled).
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.large_plate import LargePlate, PlateEdge


def shortened_plate(
    stiffness: FloatArray,
    a: float,
    b: float,
    unloaded: Literal["straight", "free"],
    imperfection: float = 0.0,
    waves: int = 1,
    degree: int = 14,
) -> LargePlate:
    """The plate a × b whose level is its shortening along x in m, half of it from each end.

    `imperfection` m: w0 = imperfection · sin(waves π x/a) sin(π y/b), zero for a flat plate; `stiffness` and `degree`
    as in :class:`LargePlate`.

    >>> from panelfem.reference.stiffness import isotropic
    >>> round(shortened_plate(isotropic(1.0, 0.3, 0.01), 1.0, 1.0, "free").buckling().ratio, 4)
    0.4083
    """
    loaded, side = PlateEdge(push=0.5), PlateEdge(normal=unloaded)

    def shape(x: FloatArray, y: FloatArray) -> FloatArray:
        return np.asarray(imperfection * np.sin(waves * np.pi * x / a) * np.sin(np.pi * y / b))

    w0 = shape if imperfection else None
    return LargePlate(stiffness, a, b, (loaded, loaded, side, side), 0.0, w0, degree, degree + 4)


def average_load(plate: LargePlate, shortening: FloatArray) -> FloatArray:
    """Average compression (n,), N/m, of a :func:`shortened_plate` at rising shortenings (n,), m.

    Raises :class:`ModelError` for a state that is not stable: a flat plate beyond buckling, or a plate that would jump
    to another mode.

    >>> from panelfem.reference.stiffness import isotropic
    >>> plate = shortened_plate(isotropic(1.0, 0.3, 0.01), 1.0, 1.0, "straight", imperfection=1e-3, degree=10)
    >>> (average_load(plate, np.array([3e-4, 6e-4, 12e-4])) * 1e6).round(4).tolist()
    [2.8331, 4.619, 7.738]
    """
    states = plate.solve([float(s) for s in shortening])
    for state in states:
        if not state.stable:
            raise ModelError(
                f"the plate is not stable at a shortening of {state.level:.6g} m",
                where="shortened plate",
                do="give an initial shape like the mode it falls into",
            )
    return np.array([state.edge_force(0) / plate.b for state in states])


def width_karman(ratio: FloatArray) -> FloatArray:
    """Effective width over width √(σcr/σe) at ratio σcr/σe ≤ 1, σe the stress at the unloaded edge; a limit law.

    >>> float(width_karman(np.array([0.25]))[0])
    0.5
    """
    return np.minimum(1.0, np.sqrt(ratio))


def width_winter(ratio: FloatArray) -> FloatArray:
    """Effective width over width √r (1 − 0.22 √r), r = σcr/σe: a fit to tests on imperfect plates.

    >>> round(float(width_winter(np.array([0.25]))[0]), 3)
    0.445
    """
    root = np.sqrt(ratio)
    return np.asarray(np.where(root > 1 / 0.673, 1.0, root * (1 - 0.22 * root)))


def width_marguerre(ratio: FloatArray) -> FloatArray:
    """Effective width over width (σcr/σe)^(1/3): Marguerre's fit to his own solution.

    >>> float(width_marguerre(np.array([0.125]))[0])
    0.5
    """
    return np.minimum(1.0, np.cbrt(ratio))
