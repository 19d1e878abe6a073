"""A piece of a panel's true surface, in triangles fine enough to measure lengths on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh
from panelfem.mesh.lattice import lattice
from panelfem.mesh.topology import compact, cross_products, directed_boundary, loops, pieces

#: Order of the nodes put on the true surface: each element of the panel becomes this number squared of triangles.
FINE = 6
#: Triangles a piece may have before it is divided less finely.
MANY = 20000


@dataclass(frozen=True, eq=False)
class Skin:
    """`points` (n, 3) m on the true surface; `triangles` (m, 3), normal by the right-hand rule; `element` (m,) of the
    panel's mesh that each comes from.
    """

    points: FloatArray
    triangles: IntArray
    element: IntArray

    @cached_property
    def area(self) -> float:
        """Area, m²."""
        return float(0.5 * np.linalg.norm(cross_products(self.points, self.triangles), axis=1).sum())

    @property
    def rings(self) -> tuple[IntArray, ...]:
        """Vertices along each border, in order: the outer one runs anticlockwise about the normal."""
        return tuple(loops(directed_boundary(self.triangles)))


@cache
def _small(k: int) -> IntArray:
    """The k² small triangles (k², 3) of the lattice of order k."""
    spots = np.rint(k * np.concatenate(lattice(k), axis=1).T).astype(int)
    at = {(int(i), int(j)): n for n, (i, j) in enumerate(spots)}
    made = []
    for i in range(k):
        for j in range(k - i):
            made.append((at[i, j], at[i + 1, j], at[i, j + 1]))
            if i + j < k - 1:
                made.append((at[i + 1, j], at[i + 1, j + 1], at[i, j + 1]))
    return np.array(made)


def skins(mesh: PanelMesh, elements: BoolArray) -> tuple[Skin, ...]:
    """The true surface over `elements` (ne,), one skin for each piece that hangs together, the greatest first.

    Points lie on the surface, on its rim and on the borders of the regions, to the tolerance of the panel's own mesh.

    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> (made,) = skins(PanelMesh(square, np.array([[0, 1, 2], [0, 2, 3]])), np.ones(2, bool))
    >>> len(made.triangles), [len(ring) for ring in made.rings]
    (72, [24])
    """
    chosen = np.flatnonzero(elements)
    k = next((k for k in range(FINE, 2, -1) if k * k * len(chosen) <= MANY), 2)
    curved = mesh.curved(k)
    of = pieces(mesh.triangles[chosen])
    areas = np.bincount(of, mesh.areas[chosen])
    out = []
    for piece in np.argsort(-areas, kind="stable"):
        mine = chosen[of == piece]
        fine = curved.nodes[mine][:, _small(k)].reshape(-1, 3)
        points, triangles = compact(curved.x, fine)
        out.append(Skin(points, triangles, np.repeat(mine, k * k)))
    return tuple(out)


def subset_rings(skin: Skin, elements: BoolArray) -> tuple[IntArray, ...]:
    """Borders, as vertices of the skin, of what of it lies in `elements` (ne,) of the panel's mesh."""
    inside = skin.triangles[elements[skin.element]]
    return tuple(loops(directed_boundary(inside))) if len(inside) else ()


def borders(mesh: PanelMesh) -> tuple[FloatArray, ...]:
    """The true boundary of a panel as closed lines (m, 3) m, each edge of the mesh in `FINE` pieces.

    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> [len(border) for border in borders(PanelMesh(square, np.array([[0, 1, 2], [0, 2, 3]])))]
    [24]
    """
    x, nv = mesh.curved(FINE).x, len(mesh.vertices)
    number = {(int(a), int(b)): i for i, (a, b) in enumerate(mesh.edges)}
    out = []
    for loop in loops(mesh.boundary_edges):
        nodes: list[int] = []
        for a, b in zip(loop, np.roll(loop, -1), strict=True):
            within = nv + (FINE - 1) * number[int(min(a, b)), int(max(a, b))] + np.arange(FINE - 1)
            nodes += [int(a), *(within if a < b else within[::-1]).tolist()]
        out.append(x[nodes])
    return tuple(out)
