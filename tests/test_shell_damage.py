"""Under a fixed load, more damage never lowers the compliance at the load.

The compliance of a linear body is the greatest of 2 f·u − energy(u) over all motions u, and damage only lowers the
energy (the principle of minimum potential energy); so this must hold to rounding, on any mesh.
"""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from panelfem.laminate import Laminate, parse_stack
from panelfem.laminate.degrade import softened
from panelfem.material import library
from panelfem.mesh.curved import CurvedMesh
from panelfem.shell import Shell, Supports

N = 5
LAMINATE = Laminate(parse_stack("[0/45/90]", library(), "T300-5208"))


def shallow_shell():
    x = np.linspace(0.0, 0.3, N + 1)
    points = np.array([[a, b] for a in x for b in x])
    cells = [
        (i * (N + 1) + j, (i + 1) * (N + 1) + j, (i + 1) * (N + 1) + j + 1, i * (N + 1) + j + 1)
        for i in range(N)
        for j in range(N)
    ]
    triangles = np.array([t for a, b, c, d in cells for t in ((a, b, c), (a, c, d))])
    return CurvedMesh.lift(points, triangles, 2, lambda p: np.column_stack([p, 0.4 * p[:, 0] * (0.3 - p[:, 0])]))


MESH = shallow_shell()
EDGE = np.zeros((MESH.nb, 6), bool)
EDGE[(MESH.x[: MESH.nb, 0] < 1e-9) | (MESH.x[: MESH.nb, 0] > 0.3 - 1e-9)] = True
MIDDLE = np.argmin(((MESH.centroids - MESH.centroids.mean(0)) ** 2).sum(1))


def compliance(share, removed):
    """f·u of a force on the middle element, with element stiffness scaled by `share` and some elements gone."""
    stiffness = np.stack([softened(LAMINATE, s).stiffness for s in (1.0, 0.3, 1e-3)])[share]
    shell = Shell(MESH, stiffness, np.array([1.0, 0, 0]), ~removed)
    load = shell.traction(np.array([10.0, 20.0, 100.0]), np.arange(len(share)) == MIDDLE)
    return load @ shell.factor(Supports(EDGE)).solve(load)


ELEMENTS = st.lists(st.integers(0, 2 * N * N - 1), min_size=1, max_size=8)


@settings(deadline=None, max_examples=25)
@given(ELEMENTS, ELEMENTS, ELEMENTS)
def test_more_damage_never_lowers_the_compliance_at_the_load(first, more, holes):
    share = np.zeros(2 * N * N, np.int64)
    none = np.zeros(len(share), bool)
    whole = compliance(share, none)
    share[first] = 1
    soft = compliance(share, none)
    share[more] = 2
    softer = compliance(share, none)
    removed = none.copy()
    # a hole in the middle band only, so that nothing is cut off from its support
    removed[[h for h in holes if h != MIDDLE and 0.1 < MESH.centroids[h, 0] < 0.2][:3]] = True
    holed = compliance(share, removed)
    for less, greater in ((whole, soft), (soft, softer), (softer, holed)):
        assert greater >= less * (1.0 - 1e-9)
