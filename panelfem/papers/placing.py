"""Where a template lies on the panel: its centre, and the way along the skin to the nearest fixings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from panelfem.arrays import FloatArray
from panelfem.mesh import Disc, Ellipse, PanelMesh, Slot
from panelfem.mesh.surface import Surface
from panelfem.panel import Fastener
from panelfem.papers.develop import Development

#: Points a line along the skin is followed in.
FOLLOWED = 201
#: A piece of the line on the skin that is longer than so many of its straight one is a leap.
LEAP = 12.0


@dataclass(frozen=True, eq=False)
class Way:
    """From the centre of a template to a fixing: `length` m along the skin, setting out along `way` (3,).

    `straight`: the skin does not lead there below the straight line, and `length` is that of the line itself.
    """

    fixing: str
    length: float
    way: FloatArray
    straight: bool = False


def true_surface(mesh: PanelMesh) -> Surface:
    """The surface behind a mesh."""
    return mesh.surface if mesh.surface is not None else mesh.layout().surface


def centre(mesh: PanelMesh, region: str, whole: Development) -> FloatArray:
    """The place (3,) m a template is centred on: the middle of a disc, an ellipse or a slot, else the centroid of its
    flat outline, or a point inside where that is outside.
    """
    shape = next((r for r in mesh.regions if r.name == region), None)
    if isinstance(shape, Disc | Ellipse | Slot):
        on = np.asarray(shape.centre, float)[None]
        if whole.lay(on)[2][0] < 1e-3:
            return np.asarray(whole.lift(whole.lay(on)[0])[0][0])
    outline = shapely.Polygon(whole.rings[0], whole.rings[1:])
    middle = outline.centroid if outline.contains(outline.centroid) else outline.representative_point()
    return np.asarray(whole.lift(np.array([[middle.x, middle.y]]))[0][0])


def ways(surface: Surface, start: FloatArray, fasteners: Sequence[Fastener], count: int = 2) -> tuple[Way, ...]:
    """To the nearest fixings from a place (3,) m on the skin, the nearest first.

    The length is that of the straight line laid down on the skin, as of a tape pulled along it: exact on a plane, on a
    lift along its axes; elsewhere longer than the shortest way by a small part of the difference to the straight line.
    """
    near = sorted(fasteners, key=lambda f: float(np.linalg.norm(f.place - start)))[:count]
    out = []
    for fastener in near:
        t = np.linspace(0.0, 1.0, FOLLOWED)[:, None]
        line, _ = surface.carry(start + t * (fastener.place - start))
        legs = np.diff(line, axis=0)
        each, chord = np.linalg.norm(legs, axis=1), float(np.linalg.norm(fastener.place - start))
        way = np.asarray(legs[:4].sum(axis=0))
        # the nearest point of the skin leaps from one side of a deep panel to the other
        leaps = float(each.max()) > LEAP * chord / (FOLLOWED - 1) or not np.allclose(
            line[-1], fastener.place, atol=5e-3
        )
        out.append(Way(fastener.name, chord if leaps else float(each.sum()), way, leaps))
    return tuple(out)
