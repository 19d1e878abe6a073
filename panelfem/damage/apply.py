"""Damage turns one panel record into another; what is not known is bracketed by its two ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from panelfem.damage.records import Damage, Delamination, Hole, MissingFastener, Softened
from panelfem.errors import InputError
from panelfem.laminate.degrade import softened, weakened
from panelfem.panel import Delaminated, Panel

#: The two ends of the bracket on a softened area.
STIFF, SOFT = "dull area at full stiffness", "dull area carrying nothing"


def ends(damage: Sequence[Damage]) -> tuple[str, ...]:
    """Names of the states to be analysed: both ends of the bracket if something is softened, else one.

    >>> ends(())
    ('as measured',)
    """
    return (STIFF, SOFT) if any(isinstance(d, Softened) for d in damage) else ("as measured",)


def damaged(panel: Panel, damage: Sequence[Damage], end: str = "as measured") -> Panel:
    """The panel with the damage; `end` is one of :func:`ends`.

    At the stiff end a softened area keeps its stiffness and the stated share of its strength; at the soft end its
    moduli drop to the stated remainder, so that the load goes round it.  The two parts of a delaminated area lie on
    each other and move together until one of them buckles, so its stiffness stays; that no shear is carried from one
    to the other is left out.  Raises InputError for a fixing that is not there, and for a delamination over several
    laminates or one without that interface.
    """
    for d in damage:
        match d:
            case Hole(region=region):
                panel = replace(panel, removed=panel.removed | panel.mesh.inside[region])
            case Softened(region=region, remaining_stiffness=share, strength=strength):
                inside = panel.mesh.inside[region]
                numbers = np.unique(panel.laminate_of[inside]).tolist()
                panel = panel.relaid(
                    inside,
                    {
                        i: softened(panel.laminates[i], share)
                        if end == SOFT
                        else weakened(panel.laminates[i], strength)
                        for i in numbers
                    },
                )
                if end == SOFT:
                    panel = replace(panel, slack=panel.slack | inside)
            case Delamination():
                panel = replace(panel, delaminations=(*panel.delaminations, _delaminated(panel, d)))
            case MissingFastener(fastener=name):
                panel = fitted(panel, name, False)
    return panel


def _delaminated(panel: Panel, found: Delamination) -> Delaminated:
    """What a delamination is to the panel: the laminate it lies in, and its ellipse in the frame of the 0° axis."""
    laminates = {panel.laminates[i] for i in np.unique(panel.laminate_of[panel.mesh.inside[found.region]])}
    if len(laminates) > 1:
        raise InputError(
            "the area lies in more than one laminate",
            where=f"delamination {found.name!r}",
            allowed="an area within one laminate",
        )
    whole = laminates.pop()
    whole.split(found.interface)
    normal = panel.mesh.normals[int(panel.mesh.nearest(found.place[None])[0][0])]
    t2 = np.cross(normal, panel.axis)
    angle = float(
        np.arctan2(found.along @ t2 / np.linalg.norm(t2), found.along @ np.cross(t2, normal) / np.linalg.norm(t2))
    )
    return Delaminated(found.name, found.region, whole, found.interface, found.place, angle, found.semi_axes)


def fitted(panel: Panel, name: str, there: bool) -> Panel:
    """The panel with one fixing in place or missing; raises InputError if it has no such fixing."""
    if name not in (names := [f.name for f in panel.fasteners]):
        raise InputError(
            f"no fixing is called {name!r}",
            where=f"panel {panel.name!r}",
            allowed=", ".join(names),
            do="name one of these",
        )
    return replace(panel, fasteners=tuple(replace(f, fitted=there) if f.name == name else f for f in panel.fasteners))
