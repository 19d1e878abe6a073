"""Elements the answer cannot be built on: folded, slivers, without a 0° direction, or of no stiffness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.shell.geometry import cross, unit
from panelfem.shell.rigid import millimetres

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell

SMALLEST_ANGLE = np.radians(5.0)
"""Smallest angle of a triangle that passes without a note (common practice, no source)."""

ALONG_NORMAL = 0.02
"""Sine of the angle between 0° axis and normal below which the projected axis is arbitrary (about 1°)."""

THINNEST = 5e-5
"""Thickness over size of the panel below which rounding alone was up to 1 % (measured on bent cylinders)."""


def smallest_angles(corners: FloatArray) -> FloatArray:
    """Smallest angle (ne,) of triangles with corners (ne, 3, 3), rad.

    >>> float(np.degrees(smallest_angles(np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])))[0].round(6))
    45.0
    """
    sides = unit(corners[:, [1, 2, 0]] - corners)
    cosine = -np.einsum("eic,eic->ei", sides, sides[:, [1, 2, 0]])
    smallest: FloatArray = np.arccos(np.clip(cosine.max(axis=1), -1.0, 1.0))
    return smallest


def check_elements(shell: Shell) -> list[str]:
    """Notes about poor active elements; raises ModelError for such as cannot be used."""
    es = np.flatnonzero(shell.active)
    if len(es) == 0:
        raise ModelError("nothing is left of the panel", where="active elements", do="keep at least one element")
    tables, x = shell.layout.tables, shell.layout.x[es]
    slopes = tables.rule_slopes @ x
    areas = cross(slopes[:, : tables.nq], slopes[:, tables.nq :])
    flat = unit(cross(x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]))
    upright = np.einsum("epc,ec->ep", areas, flat)
    size = np.sqrt(np.einsum("epc,epc->ep", areas, areas))

    def refuse(bad: BoolArray, what: str, do: str) -> None:
        if bad.any():
            first = es[np.flatnonzero(bad)[0]]
            place = f"{int(bad.sum())} elements, the first at {millimetres(shell.layout.mesh.centroids[first])}"
            raise ModelError(what, where=place, do=do)

    refuse(~(upright > 0.0).all(axis=1), "an element is folded over", "mesh finer where the surface curves")
    sine = np.linalg.norm(cross(areas / size[..., None], np.broadcast_to(shell.axis, areas.shape)), axis=-1)
    sine /= np.linalg.norm(shell.axis)
    refuse(
        (sine < ALONG_NORMAL).any(axis=1),
        "the 0° axis stands across the surface, so it gives no direction on it",
        "choose an axis that nowhere points along the normal",
    )
    law = shell.stiffness[es]
    scale = np.sqrt(np.abs(np.einsum("eii->ei", law)))
    scale[scale == 0.0] = 1.0
    smallest = np.linalg.eigvalsh(law / (scale[:, :, None] * scale[:, None, :]))[:, 0]
    refuse(~(smallest > 1e-10), "a laminate has no positive stiffness", "check its plies")
    notes = []
    angles = smallest_angles(x[:, :3])
    poor = int((angles < SMALLEST_ANGLE).sum())
    if poor:
        notes.append(f"{poor} elements have an angle under 5°, the smallest {np.degrees(angles.min()):.1f}°")
    span = float(np.linalg.norm(np.ptp(x.reshape(-1, 3), axis=0)))
    thickness2 = 12.0 * (law[:, 3, 3] + law[:, 4, 4]) / (law[:, 0, 0] + law[:, 1, 1])
    slenderness = float(np.sqrt(thickness2.min())) / span
    if slenderness < THINNEST:
        notes.append(f"the skin is {slenderness:.0e} of the panel's size thick: rounding may cost more than 1 %")
    ratio = size.max(axis=1) / size.min(axis=1)
    bent = int((ratio > 5.0).sum())
    if bent:
        notes.append(f"{bent} elements are stretched unevenly, by up to {ratio.max():.0f} times")
    return notes
