"""The laminate round a fixing's hole: bearing, shear-out, net tension, pull-through.

Only where hole and bearing strength are known.  On the safe side, the load is taken to point to the nearest edge, the
strip that carries it to reach as far to either side or to the next fixing, and the laminate to be loaded along its
weakest direction.  Of a sandwich the plies count, not the core; a washer is pulled through the thinner skin alone.
What passes the hole by is not added to net tension:
the plies there are checked by their criteria, without the hole.

Source: :mod:`panelfem.joint.bolted`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelfem.errors import InputError
from panelfem.joint import bolted
from panelfem.laminate.skins import near_plies
from panelfem.material import PlyMaterial
from panelfem.mesh.closest import to_segments
from panelfem.panel import Fastener, Panel
from panelfem.reserve.check import Words, factor_on_scalar, factor_on_vector, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import ModeReserve

#: What these modes are by.
CRITERION = "bolted joint"
#: Directions in which the weakest is looked for.
_DIRECTIONS = np.radians(np.arange(0.0, 180.0, 15.0))


@dataclass(frozen=True)
class BoltedCheck:
    """Bearing, shear-out and net tension under the force along the skin, pull-through under that along the normal."""

    panel: Panel
    words: Words

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        found = []
        for i, f in enumerate(self.panel.fasteners):
            if not f.fitted or f.hole_diameter is None or f.bearing_strength is None:
                continue
            along, pull = limits(self.panel, f)
            h, a = held.reactions[i], now.reactions[i] - held.reactions[i]
            factors = {m: float(factor_on_vector(h[None, :2], a[None, :2], most)[0]) for m, most in along.items()}
            both = [float(factor_on_scalar(s * h[2:3], s * a[2:3], pull)[0]) for s in (1.0, -1.0)]
            factors["pull-through of the washer"] = np.nan if np.isnan(both).any() else min(both)
            for mode, factor in factors.items():
                reserve = mode_reserve(mode, CRITERION, "release", factor, f.place, None)
                found.append(replace(reserve, where=f"at {f.name}"))
        return found


def advice(panel: Panel) -> tuple[str, ...]:
    """What is out of the ordinary about the holes of fixings that are known."""
    said = []
    for f in panel.fasteners:
        if f.fitted and f.hole_diameter is not None and (hole := _hole(panel, f)) is not None:
            said += [f"at {f.name}, {words}" for words in bolted.hole_advice(hole)]
    return tuple(said)


def _hole(panel: Panel, fastener: Fastener) -> bolted.Hole | None:
    """The hole of a fixing in the plies there; None where nothing is left beside it."""
    assert fastener.hole_diameter is not None
    laminate = panel.laminates[int(panel.laminate_of[int(panel.mesh.nearest(fastener.place[None])[0][0])])]
    edge = edge_distance(panel, fastener)
    others = [f for f in panel.fasteners if f.name != fastener.name]
    pitch = min((float(np.linalg.norm(f.place - fastener.place)) for f in others), default=np.inf)
    if edge <= fastener.hole_diameter / 2 or pitch <= fastener.hole_diameter:
        return None
    plies = sum(ply.thickness for ply in laminate.plies if isinstance(ply.material, PlyMaterial))
    return bolted.Hole(fastener.hole_diameter, plies, edge, min(2 * edge, pitch))


def limits(panel: Panel, fastener: Fastener) -> tuple[dict[str, float], float]:
    """The greatest force along the skin (N) by each mode, and the greatest pull (N).

    A hole that damage has opened to an edge carries nothing along the skin.  Raises InputError for a laminate without
    plies of fibre.
    """
    if fastener.hole_diameter is None or fastener.bearing_strength is None:
        raise InputError("nothing is known of its hole", where=f"fixing {fastener.name!r}", do="state it")
    at = int(panel.mesh.nearest(fastener.place[None])[0][0])
    laminate = panel.laminates[int(panel.laminate_of[at])]
    every = [bolted.strengths(laminate, float(angle)) for angle in _DIRECTIONS]
    weak = replace(every[0], tension=min(s.tension for s in every), shear=min(s.shear for s in every))
    ends = (laminate.plies[: near_plies(laminate, -1)], laminate.plies[len(laminate.plies) - near_plies(laminate, 1) :])
    skin = min(sum(ply.thickness for ply in plies) for plies in ends)
    pull = bolted.pull_through(2 * fastener.washer_radius, skin, weak.interlaminar) if skin > 0 else 0.0
    hole = _hole(panel, fastener)
    if hole is None:  # nothing is left beside it
        return {"shear-out to the edge": 0.0}, pull
    along = {
        "bearing at the hole": bolted.bearing(hole, fastener.bearing_strength),
        "shear-out to the edge": bolted.shear_out(hole, weak.shear),
        "net tension at the hole": bolted.net_tension(hole, weak.tension),
    }
    return along, pull


def edge_distance(panel: Panel, fastener: Fastener) -> float:
    """Distance (m) from the middle of a fixing to the nearest edge of the panel, or of what is missing in it."""
    mesh = panel.mesh
    here = mesh.triangles[~panel.removed]
    sides = np.sort(np.concatenate([here[:, [0, 1]], here[:, [1, 2]], here[:, [2, 0]]]), axis=1)
    once, count = np.unique(sides, axis=0, return_counts=True)
    return float(to_segments(fastener.place, *mesh.vertices[once[count == 1]].swapaxes(0, 1)).min())
