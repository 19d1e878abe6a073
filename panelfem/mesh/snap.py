"""Nodes brought to where they belong: the surface, its rim, and the borders of regions, all at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.mesh.region import Region
from panelfem.mesh.surface import Surface

TOLERANCE = 1e-11
"""A node is on a border when its distance is below this share of the panel's diagonal."""


def levels(x: FloatArray, regions: Sequence[Region]) -> FloatArray:
    """Signed distances of points x (n, 3) from every region, (n, number of regions)."""
    if not regions:
        return np.zeros((len(x), 0))
    return np.stack([region.distance(x) for region in regions], axis=1)


def gradient(region: Region, x: FloatArray, step: float) -> FloatArray:
    """Gradient (n, 3) of a region's distance by central differences."""
    shift = step * np.eye(3)
    return np.stack([(region.distance(x + e) - region.distance(x - e)) / (2 * step) for e in shift], axis=1)


def place(x: FloatArray, on_rim: BoolArray, surface: Surface) -> tuple[FloatArray, FloatArray]:
    """Points carried onto the surface, those `on_rim` (n,) onto its rim; the points and their feet."""
    point, foot = np.empty_like(x), np.empty_like(x)
    free = ~on_rim
    if on_rim.any():
        point[on_rim], foot[on_rim] = surface.rim.carry(x[on_rim])
    if free.any():
        point[free], foot[free] = surface.carry(x[free])
    return point, foot


def settle(
    x: FloatArray,
    on: BoolArray,
    on_rim: BoolArray,
    direction: FloatArray,
    reach: FloatArray,
    surface: Surface,
    regions: Sequence[Region],
    diagonal: float,
) -> tuple[FloatArray, BoolArray]:
    """Bring points onto the surface and onto the borders they belong to.

    x (n, 3); `on` (n, number of regions) says on whose borders; `on_rim` (n,) which are on the rim; `direction` (n, 3)
    is the surface normal, or for points on the rim its tangent; `reach` (n,) how far a point may go.  Newton's method
    in the tangent plane (along the tangent), put back on the surface after each step.  Returns the points and which
    of them arrived, (n,); one that did not is only put on the surface.
    """
    start, foot = place(x, on_rim, surface)
    result, step = start.copy(), 1e-6 * diagonal
    bound: BoolArray = np.asarray(on.any(axis=1))
    arrived: BoolArray = np.logical_not(bound)
    active = np.flatnonzero(bound)
    for _ in range(30):
        if not len(active):
            break
        here = result[active]
        value = np.zeros((len(active), len(regions)))
        slope = np.zeros((len(active), len(regions), 3))
        for r, region in enumerate(regions):
            rows = np.flatnonzero(on[active, r])
            if len(rows):
                value[rows, r] = region.distance(here[rows])
                slope[rows, r] = gradient(region, here[rows], step)
        done = np.abs(value).max(axis=1, initial=0.0) < TOLERANCE * diagonal
        arrived[active[done]] = True
        active, value, slope = active[~done], value[~done], slope[~done]
        if not len(active):
            break
        along = np.einsum("nri,ni->nr", slope, direction[active])
        part = along[:, :, None] * direction[active][:, None]
        slope = np.where(on_rim[active][:, None, None], part, slope - part)
        move = -np.einsum("nir,nr->ni", np.linalg.pinv(slope, rcond=1e-3), value)
        length = np.linalg.norm(move, axis=1)
        move *= np.minimum(1.0, reach[active] / np.maximum(length, 1e-300))[:, None]
        moved, foot[active] = place(foot[active] + move, on_rim[active], surface)
        result[active] = moved
        lost = np.linalg.norm(moved - start[active], axis=1) > 2.0 * reach[active]
        active = active[~lost]
    result[~arrived] = start[~arrived]
    far = np.linalg.norm(result - start, axis=1) > reach
    result[far & bound] = start[far & bound]
    return result, arrived & ~(far & bound)
