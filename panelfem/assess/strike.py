"""A flat plate of a stack under a kerb: what the assessment makes of it, for laminates to be compared by.

The plate is held along its two ends and free along its sides, since a kerb that runs across its whole width would lie
on held sides from the first touch.  It is solved, followed with large displacements where linear theory does not hold,
and checked like any undamaged panel, on one mesh with elements of two orders.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.evaluate import evaluate
from panelfem.assess.plan import Inputs, plans
from panelfem.errors import InputError
from panelfem.laminate import Laminate
from panelfem.loads import Contact, HalfRound, LoadCase
from panelfem.mesh import Disc, Outline, PlanPolygon, Ring, mesh_outline
from panelfem.panel import EdgeSupport, Panel
from panelfem.reserve.analyse import Settings
from panelfem.reserve.records import LoadResult

#: Elements along the shorter side, and the size m of those at the corners, where stress is singular.
_ACROSS, _CORNER = 3, 14e-3


@dataclass(frozen=True)
class Strike:
    """A plate `length` × `width` m, its ends `hold`, and a rigid half-round of `radius` m across its middle, pushed
    against its first ply by `amount`: the interference m, or with `control` "force" the force N.

    Raises InputError for sizes that are none.
    """

    length: float = 0.3
    width: float = 0.2
    hold: Literal["hinged", "clamped"] = "hinged"
    radius: float = 0.08
    control: Literal["interference", "force"] = "interference"
    amount: float = 2e-3

    def __post_init__(self) -> None:
        if not (min(self.length, self.width) >= 0.05 and max(self.length, self.width) <= 2.0):
            raise InputError(
                f"a plate of {1e3 * self.length:g} × {1e3 * self.width:g} mm",
                where="--plate",
                allowed="sides of 50 to 2000 mm",
            )
        if max(self.length, self.width) > 10.0 * min(self.length, self.width):
            raise InputError("a plate more than ten times as long as wide", where="--plate", do="take another")
        if not 5e-3 <= self.radius <= 1.0:
            raise InputError(f"a half-round of {1e3 * self.radius:g} mm", where="--kerb-radius", allowed="5 to 1000 mm")
        if self.control == "interference" and self.amount > self.length / 10.0:
            raise InputError(
                f"the kerb goes in by {1e3 * self.amount:g} mm",
                where="--strike",
                allowed=f"up to a tenth of the plate's length, {100.0 * self.length:g} mm",
            )


@dataclass(frozen=True)
class Struck:
    """What a strike does: the `result` with its bars, and the plate's `mass` kg."""

    result: LoadResult
    mass: float


def struck(laminate: Laminate, strike: Strike) -> Struck:
    """A plate of a laminate under a strike.  Raises InputError or ModelError as an assessment does."""
    panel, load = _plate(laminate, strike), _load(strike)
    inputs = Inputs(panel, (), (), (load,))
    (plan,) = plans(inputs)
    found, _ = evaluate(plan.states[0], inputs, Settings(), 2, _where, (), False, (None, None))
    (result,) = found.results
    return Struck(result, panel.mass())


def _where(place: FloatArray) -> str:
    """A place in words.

    >>> _where(np.array([0.15, 0.2, 0.0]))
    '150 mm along, 200 mm across'
    """
    return f"{1e3 * place[0]:.0f} mm along, {1e3 * place[1]:.0f} mm across"


def _plate(laminate: Laminate, strike: Strike) -> Panel:
    a, b = strike.length, strike.width
    corners = [(0.0, 0.0), (a, 0.0), (a, b), (0.0, b)]
    fine = [Disc(f"corner {i}", np.array([*at, 0.0]), _CORNER, _CORNER) for i, at in enumerate(corners)]
    mesh = mesh_outline(Outline(Ring.polygon(corners)), None, min(a, b) / _ACROSS, fine)
    ends = [
        PlanPolygon(name, np.array([[x - 1e-6, -b], [x + 1e-6, -b], [x + 1e-6, 2 * b], [x - 1e-6, 2 * b]]), a)
        for name, x in (("start", 0.0), ("end", a))
    ]
    edges = tuple(EdgeSupport(region.name, strike.hold, region) for region in ends)
    everywhere = np.zeros(len(mesh.triangles), np.int64)
    return Panel("plate", mesh, (laminate,), everywhere, np.array([1.0, 0.0, 0.0]), edges=edges)


def _load(strike: Strike) -> LoadCase:
    middle = np.array([strike.length / 2.0, strike.width / 2.0, 0.0])
    up, along = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    contact = Contact(HalfRound(strike.radius), middle, up, along, strike.control, strike.amount)
    return LoadCase("strike", "kerb strike", strike.control, contact)
