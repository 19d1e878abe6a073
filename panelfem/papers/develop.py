"""Developing a piece of a curved surface to flat with the least distortion of length, and how great that is.

A plane, a cylinder and a cone develop exactly; nothing else does (Gauss 1827, theorema egregium).  The first flattening
is least-squares conformal (Lévy, Petitjean, Ray & Maillot 2002, ACM Trans. Graph. 21:362); it is then brought as rigid
as possible, triangle by triangle, by turns of a local and a global step (Liu, Zhang, Xu, Gotsman & Gortler 2008,
Comput. Graph. Forum 27:1495), which minimises ∫(σ1 − 1)² + (σ2 − 1)² dA over the stretches σ; a last change of scale
makes the greatest stretch and the greatest shrinking equal.  No flattening of a cap of a sphere that reaches the angle
α from its centre has max σ / min σ below α / sin α (Milnor 1969, Am. Math. Mon. 76:1101).  (Sources from memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, cast

import numpy as np
from scipy.sparse import coo_array, csc_array, csr_array
from scipy.sparse.linalg import splu

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.mesh.closest import TriangleSearch
from panelfem.papers.skin import Skin

#: Turns of the local and the global step at most; they end when no point moves by `STILL` of the size of the piece.
TURNS = 2000
STILL = 1e-8


@dataclass(frozen=True, eq=False)
class Development:
    """A piece of skin laid flat: `flat` (n, 2) m, seen with the normal towards the eye.

    `least` and `greatest`: length in the flat over length on the skin, less one, over all places and directions; nan
    where the flat sheet folds over itself.
    """

    skin: Skin
    flat: FloatArray
    least: float
    greatest: float

    @property
    def distortion(self) -> float:
        """Greatest length distortion, as a share; inf if the sheet folds over itself."""
        return max(-self.least, self.greatest) if np.isfinite(self.least) else np.inf

    @property
    def rings(self) -> tuple[FloatArray, ...]:
        """The borders in the flat, (m, 2) m each, the greatest first."""
        found = [self.flat[ring] for ring in self.skin.rings]
        return tuple(sorted(found, key=lambda ring: -abs(ring_area(ring))))

    @cached_property
    def gradients(self) -> FloatArray:
        """What takes a direction on the skin to the flat, for each triangle: (m, 2, 3)."""
        local, frame = _laid(self.skin)
        return np.asarray(np.einsum("eij,ejk->eik", _jacobians(local, self.flat[self.skin.triangles]), frame))

    @cached_property
    def _flat_search(self) -> TriangleSearch:
        return TriangleSearch(np.column_stack([self.flat, np.zeros(len(self.flat))]), self.skin.triangles)

    @cached_property
    def _skin_search(self) -> TriangleSearch:
        return TriangleSearch(self.skin.points, self.skin.triangles)

    def lift(self, plan: FloatArray) -> tuple[FloatArray, IntArray]:
        """Points (k, 3) on the skin of points (k, 2) of the flat, and the triangles they lie in."""
        element, bary = self._flat_search.nearest(np.column_stack([plan, np.zeros(len(plan))]))
        return np.einsum("ni,nij->nj", bary, self._skin_search.corners[element]), element

    def lay(self, points: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
        """Points (k, 2) of the flat for points (k, 3) on or near the skin, the triangles they lie in, and how far they
        lie off the skin, (k,) m.
        """
        element, bary = self._skin_search.nearest(points)
        off = np.linalg.norm(np.einsum("ni,nij->nj", bary, self._skin_search.corners[element]) - points, axis=1)
        return np.einsum("ni,nij->nj", bary, self.flat[self.skin.triangles[element]]), element, off


def ring_area(ring: FloatArray) -> float:
    """Signed area of a closed line (m, 2), m²; positive if it runs anticlockwise.

    >>> ring_area(np.array([[0.0, 0], [2, 0], [2, 1], [0, 1]]))
    2.0
    """
    x, y = ring.T
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def develop(skin: Skin) -> Development:
    """The skin laid flat with the least distortion.  Raises ModelError if it has no single flattening.

    >>> from panelfem.mesh import PanelMesh
    >>> from panelfem.papers.skin import skins
    >>> ramp = np.array([[0.0, 0, 0], [0.3, 0, 0.4], [0.3, 1, 0.4], [0, 1, 0]])
    >>> (piece,) = skins(PanelMesh(ramp, np.array([[0, 1, 2], [0, 2, 3]])), np.ones(2, bool))
    >>> flat = develop(piece)
    >>> round(ring_area(flat.rings[0]), 9), flat.distortion < 1e-6
    (0.5, True)
    """
    local, _ = _laid(skin)
    flat = _rigid(skin.triangles, local, _conformal(skin, local))
    low, high = _stretches(_jacobians(local, flat[skin.triangles]))
    least, greatest = float(low.min()), float(high.max())
    if least <= 0.0:
        return Development(skin, flat, np.nan, np.nan)
    even = 2.0 / (least + greatest)
    return Development(skin, even * flat, even * least - 1.0, even * greatest - 1.0)


def _laid(skin: Skin) -> tuple[FloatArray, FloatArray]:
    """Corners of each triangle in its own plane, (m, 3, 2), and the axes of that plane, (m, 2, 3)."""
    corners = skin.points[skin.triangles]
    ahead, aside = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    length = np.linalg.norm(ahead, axis=1)
    normal = np.cross(ahead, aside)
    size = np.linalg.norm(normal, axis=1)
    if not (size > 1e-14 * length.max() ** 2).all():
        raise ModelError("the surface has a triangle without area", where="flat template", do="mesh the panel again")
    first = ahead / length[:, None]
    second = np.cross(normal / size[:, None], first)
    local = np.zeros((len(corners), 3, 2))
    local[:, 1, 0] = length
    local[:, 2] = np.stack([np.einsum("ij,ij->i", aside, first), size / length], axis=1)
    return local, np.stack([first, second], axis=1)


def _jacobians(local: FloatArray, flat: FloatArray) -> FloatArray:
    """Gradient of each triangle's map from its own plane (m, 3, 2) to the flat (m, 3, 2): (m, 2, 2)."""
    sides = local[:, 1:] - local[:, :1]
    images = flat[:, 1:] - flat[:, :1]
    return np.asarray(np.swapaxes(np.linalg.solve(sides, images), 1, 2))


def _stretches(jacobians: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Smaller and greater singular value of matrices (m, 2, 2); the smaller is negative where the sheet turns over."""
    (a, b), (c, d) = np.moveaxis(jacobians, 0, -1)
    even, odd = 0.5 * np.hypot(a + d, c - b), 0.5 * np.hypot(a - d, c + b)
    return even - odd, even + odd


def _conformal(skin: Skin, local: FloatArray) -> FloatArray:
    """Least-squares conformal flattening (n, 2), scaled to the area of the skin."""
    n, m = len(skin.points), len(local)
    z = local[..., 0] + 1j * local[..., 1]
    twice = local[:, 1, 0] * local[:, 2, 1]
    weight = (z[:, [2, 0, 1]] - z[:, [1, 2, 0]]) / np.sqrt(twice)[:, None]
    rows = np.repeat(np.arange(m), 3)
    matrix = csc_array(coo_array((weight.ravel(), (rows, skin.triangles.ravel())), shape=(m, n)))
    # two points far apart are held
    first = int(np.argmax(np.linalg.norm(skin.points - skin.points.mean(axis=0), axis=1)))
    second = int(np.argmax(np.linalg.norm(skin.points - skin.points[first], axis=1)))
    held = np.array([first, second])
    free = np.setdiff1d(np.arange(n), held)
    w = np.zeros(n, complex)
    w[second] = np.linalg.norm(skin.points[second] - skin.points[first])
    left = csc_array(matrix[:, free])
    adjoint = csc_array(left.conj().T)
    w[free] = _factor(csc_array(adjoint @ left))(-(adjoint @ (matrix[:, held] @ w[held])))
    flat = np.column_stack([w.real, w.imag])
    low, high = _stretches(_jacobians(local, flat[skin.triangles]))
    return np.asarray(flat * np.sqrt(twice.sum() / np.abs(twice * low * high).sum()))


def _factor(matrix: csc_array) -> Callable[[Any], Any]:
    try:
        return cast(Callable[[Any], Any], splu(matrix).solve)
    except RuntimeError as error:
        what, do = "the surface has no single flattening", "take a smaller area"
        raise ModelError(what, where="flat template", do=do) from error


def _rigid(triangles: IntArray, local: FloatArray, flat: FloatArray) -> FloatArray:
    """The flattening made as rigid as possible: rotations of triangles, then points, by turns until nothing moves."""
    n = len(flat)
    edge = local[:, [2, 0, 1]] - local[:, [1, 2, 0]]
    # cotangent of the angle at each corner, across which the opposite side lies
    u, v = -edge[:, [1, 2, 0]], edge[:, [2, 0, 1]]
    cot = np.abs(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
    cot = np.einsum("eij,eij->ei", u, v) / cot
    i, j = triangles[:, [1, 2, 0]].ravel(), triangles[:, [2, 0, 1]].ravel()
    c = cot.ravel()
    entries = (np.concatenate([-c, -c, c, c]), (np.concatenate([i, j, i, j]), np.concatenate([j, i, i, j])))
    stiffness = csc_array(coo_array(entries, shape=(n, n)))
    solve = _factor(csc_array(stiffness[1:, 1:]))
    sides = np.concatenate([np.ones(len(j)), -np.ones(len(i))])
    gather = csr_array(coo_array((sides, (np.concatenate([j, i]), np.tile(np.arange(len(i)), 2))), shape=(n, len(i))))
    back = np.linalg.inv(local[:, 1:] - local[:, :1])
    size = float(np.linalg.norm(np.ptp(flat, axis=0)))
    for _ in range(TURNS):
        corners = flat[triangles]
        (a, c2), (b, d) = np.moveaxis(back @ (corners[:, 1:] - corners[:, :1]), 0, -1)
        cos, sin = a + d, c2 - b
        norm = np.maximum(np.hypot(cos, sin), 1e-300)
        cos, sin = (cos / norm)[:, None], (sin / norm)[:, None]
        x, y = edge[..., 0], edge[..., 1]
        pull = cot[..., None] * np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1)
        moved = np.zeros((n, 2))
        moved[1:] = solve((gather @ pull.reshape(-1, 2))[1:])
        step = moved - flat
        step -= step.mean(axis=0)
        flat = moved
        if float(np.abs(step).max()) < STILL * size:
            break
    return cast(FloatArray, flat - flat.mean(axis=0))
