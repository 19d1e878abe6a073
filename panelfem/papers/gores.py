"""Cutting a flat template in gores: strips along the way the surface curves least, until each lies flat enough.

A strip that is narrow across the stronger curvature bends about that curvature almost without stretching: what is left
grows with the Gaussian curvature times the square of the width.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import shapely

from panelfem.arrays import FloatArray
from panelfem.errors import PanelfemError
from panelfem.mesh import Outline, Ring
from panelfem.mesh.conform import plan_mesh
from panelfem.papers.develop import Development, develop, ring_area
from panelfem.papers.skin import Skin

#: Length distortion above which a template is cut (a choice, common practice).
LIMIT = 0.01
#: Strips narrower than this cannot be handled, m (a choice).
NARROW = 0.008
#: So many strips are tried at most.
MOST = 40


def gores(whole: Development, limit: float = LIMIT) -> tuple[Development, ...]:
    """The sheet as it is if its length distortion is within `limit`, else cut in gores, in order side by side.

    Where no cutting brings all of them within the limit, the best that was found: look at `distortion` of each.
    """
    best: tuple[Development, ...] = (whole,)
    if whole.distortion <= limit or not math.isfinite(whole.distortion):
        return best
    along = _lesser_curvature(whole)
    width = float(np.ptp(whole.flat @ np.array([-along[1], along[0]])))
    count = max(2, math.floor(0.7 * math.sqrt(whole.distortion / limit)))
    while count <= MOST and width / count >= NARROW and worst(best) > limit:
        cut = _strips(whole, along, count)
        if cut and worst(cut) < worst(best):
            best = cut
        more = 0.9 * count * math.sqrt(min(worst(cut) / limit, 4.0)) if cut else 0.0
        count = max(count + 1, math.ceil(more))
    return best


def worst(cut: Iterable[Development]) -> float:
    """The greatest length distortion of some sheets, as a share."""
    return max(sheet.distortion for sheet in cut)


def _lesser_curvature(whole: Development) -> FloatArray:
    """Unit direction (2,) in the flat in which the skin curves least, from a quadric through all its points.

    The quadric stands on the plane that fits best; its lesser principal curvature is that of the smaller size.
    """
    x = whole.skin.points - whole.skin.points.mean(axis=0)
    frame = np.linalg.svd(x, full_matrices=False)[2]
    u, v, w = (x @ frame.T).T
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)
    c = np.linalg.lstsq(terms, w, rcond=None)[0]
    values, ways = np.linalg.eigh(np.array([[2 * c[3], c[4]], [c[4], 2 * c[5]]]))
    way = ways[:, int(np.argmin(np.abs(values)))] @ frame[:2]
    element = int(np.argmin(np.linalg.norm(x[whole.skin.triangles].mean(axis=1), axis=1)))
    flat = whole.gradients[element] @ way
    return np.asarray(flat / np.linalg.norm(flat))


def _strips(whole: Development, along: FloatArray, count: int) -> tuple[Development, ...]:
    """The sheet cut in strips of equal width along a direction, each laid flat by itself; () if one cannot be."""
    across = np.array([-along[1], along[0]])
    outer, *openings = whole.rings
    sheet = shapely.Polygon(outer, openings)
    s, t = whole.flat @ along, whole.flat @ across
    cuts = np.linspace(t.min(), t.max(), count + 1)
    far = float(np.abs(s).max()) + 1.0
    size = math.sqrt(abs(ring_area(outer)) / len(whole.skin.triangles)) * 1.5
    made = []
    for low, high in pairwise(cuts):
        corners = [(-far, low), (far, low), (far, high), (-far, high)]
        band = shapely.Polygon([a * along + b * across for a, b in corners])
        found = sheet.intersection(band)
        for part in getattr(found, "geoms", (found,)):
            if not isinstance(part, shapely.Polygon) or part.area < 1e-6 * sheet.area:
                continue
            skin = _skin_of(whole, part, size)
            if skin is None:
                return ()
            made.append(develop(skin))
    return tuple(made)


def _skin_of(whole: Development, part: shapely.Polygon, size: float) -> Skin | None:
    """The skin under a part of the flat sheet, meshed afresh so that the cuts run along edges; None if it cannot be."""
    try:
        rings = [_ring(ring) for ring in (part.exterior, *part.interiors)]
        plan, triangles = plan_mesh(Outline(rings[0], tuple(rings[1:])), size)
    except PanelfemError:
        return None
    points, _ = whole.lift(plan)
    _, element = whole.lift(plan[triangles].mean(axis=1))
    return Skin(points, triangles, whole.skin.element[element])


def _ring(line: shapely.LinearRing) -> Ring:
    """A ring without corners closer than a hundredth of a millimetre."""
    points = np.array(line.coords)[:-1]
    keep = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-5
    return Ring.polygon([(float(x), float(y)) for x, y in points[keep]])
