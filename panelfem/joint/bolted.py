"""A fastener in a hole of a laminate: bearing, shear-out, net tension with by-pass, and pull-through.

Each rule gives the load of one fastener at which one mode is reached; the least governs.  They are the published
preliminary ones: for loads along a symmetry line of the hole, snug fasteners, and a laminate of several directions.

Source: bearing, shear-out, net tension and pull-through as in CMH-17 (MIL-HDBK-17) vol. 3, chapter on bolted joints,
and Hart-Smith 1976, NASA CR-144899 (both recalled); each function says which.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from panelfem.errors import InputError
from panelfem.laminate import Laminate
from panelfem.laminate.ply import strain_turn
from panelfem.material import PlyMaterial
from panelfem.units import number

#: Share of the elastic stress concentration that is left in a quasi-isotropic laminate when it breaks: Hart-Smith's C
#: for carbon-epoxy (recalled).
SOFTENING = 0.25
#: Least edge distance and width in hole diameters, below which a laminate fails by shear-out or net tension before it
#: bears: Hart-Smith 1976; CMH-17 vol. 3 (recalled).
EDGE, WIDTH = 3.0, 5.0
#: Greatest angle between neighbouring fibre directions, degrees, with which a net of fibres carries without its matrix
#: (a choice: it takes in 0/±60 and 0/±45/90, not 0/±45 alone).
FANNED = 60.0


@dataclass(frozen=True)
class Hole:
    """A hole of `diameter` m through plies of `thickness` m together; `edge` m from its middle to the edge the load
    points to, `width` m of the strip that carries it: to the next fastener, or twice the distance to a side.
    """

    diameter: float
    thickness: float
    edge: float
    width: float

    def __post_init__(self) -> None:
        for name in ("diameter", "thickness"):
            if not 0 < getattr(self, name) < math.inf:
                raise InputError(f"{name} is {getattr(self, name)} m", where="fastener hole", allowed="more than 0")
        if not (self.edge > self.diameter / 2 and self.width > self.diameter):
            raise InputError(
                f"a hole of {number(1e3 * self.diameter)} mm runs into the edge: {number(1e3 * self.edge)} mm to the "
                f"edge, {number(1e3 * self.width)} mm wide",
                where="fastener hole",
                allowed="an edge farther than half its diameter, a strip wider than its diameter",
            )


def bearing(hole: Hole, strength: float) -> float:
    """Load N at which the side of the hole crushes: F_br d t.  Source: CMH-17 vol. 3 (recalled).

    >>> bearing(Hole(5e-3, 2e-3, 0.015, 0.03), 400e6)
    4000.0
    """
    return strength * hole.diameter * hole.thickness


def shear_out(hole: Hole, shear_strength: float) -> float:
    """Load N at which a strip as wide as the hole tears out to the edge: two faces of `edge` × t.

    Source: CMH-17 vol. 3, P = 2 e t F_s (recalled).

    >>> round(shear_out(Hole(5e-3, 2e-3, 0.015, 0.03), 100e6), 6)
    6000.0
    """
    return 2 * shear_strength * hole.edge * hole.thickness


def loaded_concentration(hole: Hole) -> float:
    """Elastic stress concentration of a loaded hole on its net section.

    With r = w/d: k = 2 + (r − 1) − 1.5 (r − 1)/(r + 1) θ, θ = 1.5 − 0.5 w/e for e < w, else 1.

    Source: Hart-Smith 1976, NASA CR-144899 (recalled).

    >>> round(loaded_concentration(Hole(5e-3, 2e-3, 0.03, 0.03)), 4)
    5.9286
    """
    r = hole.width / hole.diameter
    theta = 1.5 - 0.5 * hole.width / hole.edge if hole.edge < hole.width else 1.0
    return 2 + (r - 1) - 1.5 * (r - 1) / (r + 1) * theta


def open_concentration(hole: Hole) -> float:
    """Elastic stress concentration of an open hole in a strip, isotropic, on its net section: 2 + (1 − d/w)³.

    Source: Heywood's fit, as in Peterson, *Stress Concentration Factors* (recalled).

    >>> round(open_concentration(Hole(5e-3, 2e-3, 0.03, 1e9)), 6)
    3.0
    """
    return 2 + (1 - hole.diameter / hole.width) ** 3


def net_section(hole: Hole) -> float:
    """(w − d) t, m²."""
    return (hole.width - hole.diameter) * hole.thickness


def relieved(hole: Hole, softening: float = SOFTENING) -> tuple[float, float]:
    """What is left of the concentrations of the loaded and of the open hole when the laminate breaks: 1 + C (k − 1).

    Source: Hart-Smith 1976, NASA CR-144899 (recalled).
    """
    k = loaded_concentration(hole), open_concentration(hole)
    return 1 + softening * (k[0] - 1), 1 + softening * (k[1] - 1)


def net_tension(hole: Hole, tensile_strength: float, *, by_pass: float = 0.0, softening: float = SOFTENING) -> float:
    """Load N of the fastener at which the net section breaks while `by_pass` N goes past it in the same strip.

    Both concentrations are relieved to 1 + C (k − 1), and add up linearly over the net section:
    P k_loaded + P_by-pass k_open = F (w − d) t.  0 where the by-pass alone breaks it.

    Source: Hart-Smith 1976, NASA CR-144899, relief and linear interaction of bearing and by-pass (recalled).

    >>> hole = Hole(5e-3, 2e-3, 0.03, 0.03)
    >>> alone = net_tension(hole, 500e6)
    >>> round(alone), net_tension(hole, 500e6, by_pass=5e3) < alone
    (11200, True)
    """
    loaded, free = relieved(hole, softening)
    return max(tensile_strength * net_section(hole) - max(by_pass, 0.0) * free, 0.0) / loaded


def pull_through(head_diameter: float, thickness: float, shear_strength: float) -> float:
    """Load N at which the head, or washer, is pulled through: shear round its rim, π D t F_il.

    Source: punching shear by the interlaminar strength: common practice, no source; tests of the laminate go before.

    >>> round(pull_through(0.01, 2e-3, 50e6))
    3142
    """
    if not (head_diameter > 0 and thickness > 0):
        raise InputError("a head or laminate without size", where="pull-through", allowed="more than 0 m")
    return math.pi * head_diameter * thickness * shear_strength


def hole_advice(hole: Hole) -> tuple[str, ...]:
    """Warnings on edge distance and width.

    >>> hole_advice(Hole(5e-3, 2e-3, 0.010, 0.030))[0].split(" (")[0]
    'an edge distance of 2 diameters is less than 3'
    """
    source = "Hart-Smith 1976, NASA CR-144899; CMH-17 vol. 3 (recalled)"
    found = []
    if hole.edge < EDGE * hole.diameter:
        found.append(f"an edge distance of {number(hole.edge / hole.diameter, 2)} diameters is less than {EDGE:g}")
    if hole.width < WIDTH * hole.diameter:
        found.append(f"a strip {number(hole.width / hole.diameter, 2)} diameters wide is narrower than {WIDTH:g}")
    return tuple(f"{what} ({source})" for what in found)


@dataclass(frozen=True)
class Strengths:
    """Of the plies of a laminate, without core: `thickness` m together, and mean stresses Pa: `tension` along a
    direction at first fibre failure, in-plane `shear` at that, `interlaminar` shear.
    """

    thickness: float
    tension: float
    shear: float
    interlaminar: float


def strengths(laminate: Laminate, angle: float) -> Strengths:
    """Strengths of the plies of a laminate in the direction at `angle` (rad) from the 0° axis.

    By lamination theory of the plies lying flat (no bending): a mean stress along the direction, or in-plane shear
    across it, until the first ply reaches a strength, by greatest stress.  Where fibres lie in three directions or
    more, none farther than :data:`FANNED` from the next, they carry on when the matrix between them cracks, and only
    strengths along fibres count.  Raises InputError for a laminate without plies of fibre.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> plies = parse_stack("[0]4", library(), "T300-5208")
    >>> found = strengths(Laminate(plies), 0.0)
    >>> round(found.tension / plies[0].material.Xt, 6), round(found.shear / plies[0].material.S, 6)
    (1.0, 1.0)
    """
    fibre = [
        (p, p.material, q)
        for p, q in zip(laminate.plies, laminate.ply_stiffness, strict=True)
        if isinstance(p.material, PlyMaterial)
    ]
    if not fibre:
        raise InputError("no ply of fibre to hold a fastener", where="fastener hole", allowed="a laminate with plies")
    thickness = sum(p.thickness for p, _, _ in fibre)
    mean = np.asarray(sum(p.thickness * q for p, _, q in fibre)) / thickness
    directions = {round(math.degrees(p.angle)) % 180 for p, _, _ in fibre}
    directions |= {(round(math.degrees(p.angle)) + 90) % 180 for p, m, _ in fibre if m.kind == "fabric"}
    around = np.sort([*directions, min(directions) + 180.0])
    carried = len(directions) >= 3 and float(np.diff(around).max()) <= FANNED
    back = strain_turn(angle).T  # stresses in panel axes from those in turned axes
    found = []
    for unit in (np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])):
        strain = np.linalg.solve(mean, back @ unit)
        reached = [math.inf]
        for ply, m, q in fibre:
            along, across, shear = np.linalg.solve(strain_turn(ply.angle).T, q @ strain)
            limits = [(along, m.Xt, m.Xc)]
            if m.kind == "fabric" or not carried:
                limits.append((across, m.Yt, m.Yc))
            if not carried:
                limits.append((shear, m.S, m.S))
            reached += [float((t if s > 0 else c) / abs(s)) for s, t, c in limits if abs(s) > 1e-9]
        found.append(min(reached))
    return Strengths(thickness, found[0], found[1], min(m.Sil for _, m, _ in fibre))
