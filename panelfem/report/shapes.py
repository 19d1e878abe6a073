"""Small pictures of how a panel buckles or vibrates: motion along the normal as contours, readable without colour."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from PIL import Image

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.assess.records import Assessment, Marked
from panelfem.mesh import PanelMesh
from panelfem.report.pictures import INK, PAPER, areas, canvas, fixing_names, greys, lines, png, surface
from panelfem.report.projection import boundary, view

CAPTION = (
    "Light: out along the normal, dark: in; thin lines every fifth of the greatest motion, thick line: does not "
    "move; rings: fixings; hatched: damage, and what the option does."
)
#: Contours, as shares of the greatest motion.
LEVELS = (0.2, 0.4, 0.6, 0.8)
#: Nodal lines are drawn where something moves by this share of the greatest motion beside them.
NODAL = 1e-3
#: No motion below this share counts as one.
STILL = 1e-9
#: Triangles are halved until there are so many, and twice at most.
FINE = 8000


def fixing_places(assessment: Assessment) -> FloatArray:
    """Where the fixings are, (n, 3) m."""
    names = fixing_names(assessment)
    return np.array([place for name, place in assessment.places.items() if name in names]).reshape(-1, 3)


def normal_motion(mesh: PanelMesh, shape: FloatArray) -> FloatArray:
    """Motion (nv,) along the normal of a shape (nv, 3), its greatest size one; nan where the shape is."""
    along = np.asarray(np.einsum("ij,ij->i", shape, mesh.vertex_normals))
    size = float(np.nanmax(np.abs(along), initial=0.0))
    return along / size if size > STILL else np.zeros_like(along)


def smoothed(
    points: FloatArray, triangles: IntArray, values: FloatArray, times: int = 2
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Triangles halved `times` over, for drawing: values (n,) at new points follow the slopes at the ends of a side.

    >>> xy = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> p, t, v = smoothed(xy, np.array([[0, 1, 2]]), 3.0 * xy[:, 0] + xy[:, 1])
    >>> len(t), bool(np.allclose(v, 3.0 * p[:, 0] + p[:, 1]))
    (16, True)
    """
    for _ in range(times):
        slope = _slopes(points, triangles, values)
        sides = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        edges, at = np.unique(sides, axis=0, return_inverse=True)
        a, b = edges.T
        step = points[b] - points[a]
        middle = 0.5 * (values[a] + values[b]) + 0.125 * np.einsum("ij,ij->i", slope[a] - slope[b], step)
        m = at.reshape(-1, 3) + len(points)
        i, j, k = triangles.T
        corners = ((i, m[:, 0], m[:, 2]), (m[:, 0], j, m[:, 1]), (m[:, 2], m[:, 1], k))
        triangles = np.concatenate([m, *(np.column_stack(corner) for corner in corners)])
        points = np.concatenate([points, 0.5 * (points[a] + points[b])])
        values = np.concatenate([values, middle])
    return points, triangles, values


def _slopes(points: FloatArray, triangles: IntArray, values: FloatArray) -> FloatArray:
    """Slope (n, 3) at every point: the mean of the triangles around it, by area."""
    x, w = points[triangles], values[triangles]
    e1, e2 = x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]
    normal = np.cross(e1, e2)
    double = np.einsum("ij,ij->i", normal, normal)[:, None]
    slope = np.cross((w[:, 1] - w[:, 0])[:, None] * e2 - (w[:, 2] - w[:, 0])[:, None] * e1, normal)
    slope = slope / np.maximum(double, 1e-300)
    area = np.sqrt(double)
    out, weight = np.zeros_like(points), np.zeros((len(points), 1))
    for c in range(3):
        np.add.at(out, triangles[:, c], area * slope)
        np.add.at(weight, triangles[:, c], area)
    return np.asarray(out / np.maximum(weight, 1e-300))


def level_lines(triangles: IntArray, values: FloatArray, level: float) -> tuple[IntArray, FloatArray]:
    """Where straight pieces (m, 2) of a contour cut the sides of triangles: pairs of points (m, 2, 2) on each side and
    the share (m, 2) of the way from the first to the second.

    >>> ends, share = level_lines(np.array([[0, 1, 2]]), np.array([0.0, 1.0, 0.0]), 0.25)
    >>> ends.tolist(), share.tolist()
    ([[[0, 1], [1, 2]]], [[0.25, 0.75]])
    """
    w = values[triangles] - level
    w = np.where(np.abs(w) < STILL, STILL, w)  # a point on the level counts as above it
    sides = np.array([[0, 1], [1, 2], [2, 0]])
    cut = w[:, sides[:, 0]] * w[:, sides[:, 1]] < 0.0
    found = np.flatnonzero(cut.sum(1) == 2)
    which = sides[np.argsort(~cut[found], axis=1, kind="stable")[:, :2]]
    ends = np.take_along_axis(triangles[found][:, None, :], which, axis=2)
    at = np.take_along_axis(w[found][:, None, :], which, axis=2)
    return np.asarray(ends), np.asarray(at[..., 0] / (at[..., 0] - at[..., 1]))


def shape_picture(
    mesh: PanelMesh, shape: FloatArray, removed: BoolArray, fixings: FloatArray, marked: Sequence[Marked] = ()
) -> bytes:
    """A shape (nv, 3) as a small picture: light out, dark in along the normal, thin lines every fifth of the greatest
    motion, a thick line where nothing moves, rings at the `fixings` (n, 3), and the `marked` areas.
    """
    seen = view(mesh.vertices, mesh.triangles)
    triangles = mesh.triangles[~removed]
    along = np.nan_to_num(normal_motion(mesh, shape))
    halved = min(2, max(0, math.floor(math.log(FINE / max(len(triangles), 1), 4.0))))
    points, fine, values = smoothed(mesh.vertices, triangles, along, halved)
    flat = seen.flat(mesh.vertices[triangles].reshape(-1, 3))
    wide, tall = np.ptp(flat, axis=0)
    figure = canvas(2.4, min(max(2.4 * float(tall / max(wide, 1e-12)), 0.8), 3.2))
    figure.set_layout_engine("none")
    axes = figure.add_axes((0.01, 0.01, 0.98, 0.98))
    surface(axes, seen, points, fine, greys(np.clip(0.5 + 0.5 * values[fine].mean(1), 0.0, 1.0), 0.45, 1.0))
    for sign in (1.0, -1.0):
        for level in LEVELS:
            _contour(axes, seen.flat(points), fine, values, sign * level, 0.5)
    moving = np.abs(values[fine]).max(1) > NODAL  # what is held does not move either, and is no nodal line
    _contour(axes, seen.flat(points), fine[moving], values, 0.0, 1.7)
    lines(axes, seen, mesh.vertices, boundary(triangles), INK, 0.9)
    areas(axes, seen, mesh, marked, 0.6)
    for place in seen.flat(fixings.reshape(-1, 3)):
        axes.plot(*place, marker="o", markersize=3.2, markerfacecolor=PAPER, markeredgecolor=INK, markeredgewidth=0.8)
    return _grey(png(figure, dpi=150))


def _grey(picture: bytes) -> bytes:
    """A PNG in 32 greys: it has no colour, and is a fourth of the size."""
    out = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as image:
        image.convert("L").quantize(32).save(out, format="png", optimize=True)
    return out.getvalue()


def _contour(axes: Axes, flat: FloatArray, triangles: IntArray, values: FloatArray, level: float, width: float) -> None:
    ends, share = level_lines(triangles, values, level)
    pieces = flat[ends[..., 0]] * (1.0 - share[..., None]) + flat[ends[..., 1]] * share[..., None]
    axes.add_collection(LineCollection(list(pieces), colors=INK, linewidths=width, capstyle="round"))
