"""Element sizes from error contributions: small where much of an error comes from, large where little does.

Elements of size h contribute h^(2·rate) of what they do at size 1.  Of all meshes with the same number of elements the
one on which every element of its own size contributes alike has the least sum; per area that gives the size

    h_new / h_old = (E_wanted / E_old)^(1 / (2·(rate + 1)))

with E_wanted chosen so that the sum is what is allowed.  Around singular places (corners) an element of size h
contributes h^(2λ) whatever the order, so there the size follows from the share allowed to that element alone.

Source: optimality by Lagrange's multiplier, as in L.-Y. Li and P. Bettess 1997, Appl. Mech. Rev. 50:581 (from memory).
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh import PanelMesh

#: h^(2·RATE): what an element of order 2 contributes to a quantity away from corners.  1.2 to 1.5 measured on curved
#: shells and near corners, 2 where the solution is smooth; too small a rate costs elements, too large one a pass.  With
#: order 3 a rate of 2 gives meshes of the same number of elements, within 1 %: corners govern them.
RATE = 1.3
#: Twice the exponent λ of the displacement at a clamped corner of 270°, the usual kind (0.55 to 0.6 measured).
CORNER_RATE = 1.18
#: A size changes by these factors in a pass, at most.
SMALLEST, LARGEST = 0.1, 1.2
#: Smallest factor at a singular place: it costs few elements.
SMALLEST_AT_CORNER = 0.05


def singular_elements(mesh: PanelMesh, vertices: IntArray) -> BoolArray:
    """Elements (ne,) at singular vertices (k,), and those next to them."""
    at = np.zeros(len(mesh.vertices), bool)
    at[vertices] = True
    first = at[mesh.triangles].any(axis=1)
    at[mesh.triangles[first]] = True
    return np.asarray(at[mesh.triangles].any(axis=1))


def sizes(mesh: PanelMesh, shares: FloatArray, corners: IntArray, most: float, at_corners: float = 0.5) -> FloatArray:
    """Edge lengths (nv,) m at the vertices for a mesh on which all `shares` sum to 1 or less.

    `shares` (ne, goals) ≥ 0: what each element contributes to the error of each quantity, over what is allowed of it;
    `corners` (k,) singular vertices; `most` times as many elements at most; `at_corners`: share of what is allowed
    that elements there may use.
    """
    length = _lengths(mesh)
    worst = shares.max(axis=1)
    near = singular_elements(mesh, corners)
    total = shares.sum(axis=0).max()
    if not total > 0.0:
        return lengths(mesh)
    # the sum over elements of the greatest share is larger than any goal's own sum: allow it as much more
    allowed = worst.sum() / total
    worst = np.maximum(worst, 1e-9 * worst.max())
    ratio = np.ones(len(worst))
    for part, budget in ((near, at_corners), (~near, 1.0 - at_corners)):
        own = worst[part]
        if not len(own):
            continue
        mine = allowed if part.all() else allowed * budget
        if part is near:
            portion = own**0.25 / (own**0.25).sum() * mine
            ratio[part] = np.clip((portion / own) ** (1.0 / CORNER_RATE), SMALLEST_AT_CORNER, LARGEST)
        else:
            q = 1.0 / (RATE + 1.0)
            each = (mine / (own**q).sum()) ** (1.0 / (1.0 - q))
            ratio[part] = np.clip((each / own) ** (q / 2.0), SMALLEST, LARGEST)
    for _ in range(40):
        if (ratio**-2.0).sum() <= most * len(ratio):
            break
        ratio = np.minimum(1.05 * ratio, LARGEST)
    at_vertices = _at_vertices(mesh, length * ratio)
    least = np.full(len(mesh.vertices), np.inf)
    np.minimum.at(least, mesh.triangles.ravel(), np.repeat(length * ratio, 3))
    at_vertices[corners] = least[corners]
    return at_vertices


def lengths(mesh: PanelMesh) -> FloatArray:
    """Edge lengths (nv,) m at the vertices, as they are."""
    return _at_vertices(mesh, _lengths(mesh))


def _lengths(mesh: PanelMesh) -> FloatArray:
    """Edge lengths (ne,) m of equilateral triangles of the elements' areas."""
    return np.asarray(np.sqrt(4.0 / np.sqrt(3.0) * mesh.areas))


def _at_vertices(mesh: PanelMesh, values: FloatArray) -> FloatArray:
    """Geometric means (nv,) of the values (ne,) of the elements around."""
    flat = mesh.triangles.ravel()
    count = np.bincount(flat, minlength=len(mesh.vertices))
    logs = np.bincount(flat, np.repeat(np.log(values), 3), len(mesh.vertices))
    return np.asarray(np.exp(logs / np.maximum(count, 1)))
