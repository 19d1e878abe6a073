"""The laminate round a fixing's hole: bearing, shear-out, net tension, pull-through.

Only where hole and bearing strength are known.  On the safe side, the load is taken to point to the nearest edge, the
strip that carries it to reach as far to either side or to the next fixing, and the laminate to be loaded along its
weakest direction.  Of a sandwich the plies count, not the core; a washer is pulled through the thinner skin alone.

What passes the hole by is read off the meshed field: the mean force per width N in a ring of elements round the washer,
that ahead of the fixing and that behind it alike.  In a strip w wide that is pulled along t, the section behind the
fixing carries the by-pass and the fixing's load P, the one ahead the by-pass alone, so that by-pass = N w − P/2.  With
it net tension is reached at  max(P k_loaded, P k_loaded + (N w − P/2) k_open) = F (w − d) t,  whichever way t along
the skin is worst; P is counted in full whatever its own way, which is on the safe side.  A by-pass that presses is not
added to bearing: the plies there are checked by their criteria, without the hole.

Source: :mod:`panelfem.joint.bolted`; the by-pass from the field is statics of the strip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import InputError
from panelfem.joint import bolted
from panelfem.laminate import Laminate
from panelfem.laminate.skins import near_plies
from panelfem.material import PlyMaterial
from panelfem.mesh.closest import to_segments
from panelfem.panel import Fastener, Panel
from panelfem.reserve.check import Words, factor_by_bisection, factor_on_scalar, factor_on_vector, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import ModeReserve

#: What these modes are by.
CRITERION = "bolted joint"
#: Directions in which the weakest is looked for.
_DIRECTIONS = np.radians(np.arange(0.0, 180.0, 15.0))


@dataclass(frozen=True)
class BoltedCheck:
    """Bearing, shear-out and net tension under the force along the skin, with what passes by, pull-through under
    the force along the normal."""

    panel: Panel
    words: Words
    warmed: float = 0.0

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        found = []
        bolts = known(self.panel)
        first = len(held.area_strain) - len(bolts)  # the last areas looked at
        for j, (i, f) in enumerate(bolts, first):
            along, pull = limits(self.panel, f)
            h, a = held.reactions[i], now.reactions[i] - held.reactions[i]
            factors = {m: float(factor_on_vector(h[None, :2], a[None, :2], most)[0]) for m, most in along.items()}
            if (hole := _hole(self.panel, f)) is not None:
                laminate = _laminate(self.panel, f)
                warm = laminate.thermal_resultants(self.warmed)[:3]
                before, after = (laminate.ABD[:3] @ state.area_strain[j, :6] - warm for state in (held, now))
                mode = "net tension at the hole"
                factors[mode] = _net_tension(hole, laminate, (h[:2], a[:2]), (before, after - before))
            both = [float(factor_on_scalar(s * h[2:3], s * a[2:3], pull)[0]) for s in (1.0, -1.0)]
            factors["pull-through of the washer"] = np.nan if np.isnan(both).any() else min(both)
            for mode, factor in factors.items():
                reserve = mode_reserve(mode, CRITERION, "release", factor, f.place, None)
                found.append(replace(reserve, where=f"at {f.name}"))
        return found


def known(panel: Panel) -> list[tuple[int, Fastener]]:
    """The fixings in place whose hole is known, with their numbers."""
    return [
        (i, f)
        for i, f in enumerate(panel.fasteners)
        if f.fitted and f.hole_diameter is not None and f.bearing_strength is not None
    ]


def rings(panel: Panel, counted: BoolArray) -> list[BoolArray]:
    """For each fixing whose hole is known the elements (ne,) round its washer, of `counted` ones those of its laminate;
    where there is none, those of any laminate, or what is left under the washer.
    """
    triangles, found = panel.mesh.triangles, []
    for _, f in known(panel):
        under = panel.mesh.inside[f"washer {f.name}"]
        ring = np.isin(triangles, triangles[under]).any(axis=1) & ~under & counted
        alike = ring & (panel.laminate_of == _number(panel, f))
        found.append(next((area for area in (alike, ring) if area.any()), under & ~panel.removed))
    return found


def _net_tension(
    hole: bolted.Hole,
    laminate: Laminate,
    force: tuple[FloatArray, FloatArray],
    field: tuple[FloatArray, FloatArray],
) -> float:
    """Factor at which the net section breaks: `force` (2,) N of the fixing along the skin and `field` (3,) N/m round
    it, each as held and as added.

    Both terms of the rule are convex in the factor, so that it is crossed once.
    """
    loaded, free = bolted.relieved(hole)
    c, s = np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)
    ways = np.stack([c * c, s * s, 2 * c * s], axis=1)
    tension = min(bolted.strengths(laminate, float(angle)).tension for angle in _DIRECTIONS)
    most = tension * bolted.net_section(hole)
    held, added = (ways @ part * hole.width for part in field)

    def index(factor: FloatArray) -> FloatArray:
        P = np.linalg.norm(force[0] + factor[:, None] * force[1], axis=1)
        by_pass = held + factor * added - P / 2
        return np.asarray((P * loaded + np.maximum(by_pass, 0.0) * free) / most)

    factors = factor_by_bisection(index, len(ways))
    return float("nan") if np.isnan(factors).any() else float(factors.min())


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
    laminate = _laminate(panel, fastener)
    edge = edge_distance(panel, fastener)
    others = [f for f in panel.fasteners if f.name != fastener.name]
    pitch = min((float(np.linalg.norm(f.place - fastener.place)) for f in others), default=np.inf)
    if edge <= fastener.hole_diameter / 2 or pitch <= fastener.hole_diameter:
        return None
    plies = sum(ply.thickness for ply in laminate.plies if isinstance(ply.material, PlyMaterial))
    return bolted.Hole(fastener.hole_diameter, plies, edge, min(2 * edge, pitch))


def _number(panel: Panel, fastener: Fastener) -> int:
    return int(panel.laminate_of[int(panel.mesh.nearest(fastener.place[None])[0][0])])


def _laminate(panel: Panel, fastener: Fastener) -> Laminate:
    """The laminate at a fixing."""
    return panel.laminates[_number(panel, fastener)]


def limits(panel: Panel, fastener: Fastener) -> tuple[dict[str, float], float]:
    """The greatest force along the skin (N) by each mode where nothing passes by, and the greatest pull (N).

    A hole that damage has opened to an edge carries nothing along the skin.  Raises InputError for a laminate without
    plies of fibre.
    """
    if fastener.hole_diameter is None or fastener.bearing_strength is None:
        raise InputError("nothing is known of its hole", where=f"fixing {fastener.name!r}", do="state it")
    laminate = _laminate(panel, fastener)
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
