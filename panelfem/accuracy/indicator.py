"""Where a solution is wrong: strain energy of an error, element by element.

Two errors are offered.  `step`: the strains of order k + 1 minus those of order k on the same mesh.  `recovered`: the
smoothed strains of :class:`panelfem.shell.Recovery` minus the elements' own; it needs one solution only.  Both are
given as products over pairs of columns,  E[e, i, j] = ∫ δε_i · C δε_j  over element e,  so that one may take the
energy of a load (i = j), or weigh the error of a load with that of the dual solution of a quantity: the quantity's
error is at most  Σ_e √(E[e, load, load] · E[e, dual, dual]).

Sources: O. C. Zienkiewicz and J. Z. Zhu 1987, Int. J. Numer. Meth. Eng. 24:337 (recovered strains); R. Becker and
R. Rannacher 2001, Acta Numerica 10:1 (dual weights); both from memory.
"""

from __future__ import annotations

import numpy as np

from panelfem.arrays import FloatArray, IntArray
from panelfem.mesh.lattice import lattice
from panelfem.shell import Recovery, Shell
from panelfem.shell.reference_triangle import displacement_basis, reference_triangle


def step(low: Shell, u_low: FloatArray, high: Shell, u_high: FloatArray) -> FloatArray:
    """Products (ne, m, m), J, of the step from the solutions u_low (n_total, m) of order k to u_high of order k + 1.

    The two shells are on the same triangles with the same laminates; inactive elements have zero.
    """
    triangle = reference_triangle(high.mesh.order)
    there = np.flatnonzero(high.active)
    everything = None if high.all_active else there
    new = high.strain_field(triangle.points, everything)(u_high)
    new -= low.strain_field(triangle.points, everything)(u_low)
    return _products(high, new, there)


def recovered(recovery: Recovery, group: IntArray, u: FloatArray) -> FloatArray:
    """Products (ne, m, m), J, of the recovered strains of order-2 solutions u (n_total, m) minus the elements' own.

    `group` (ne,) are the groups the recovery was made with.

    Membrane strain and curvature only: the recovered shear of thin plates says nothing of the elements' shear.
    """
    shell = recovery.shell
    triangle = reference_triangle(shell.mesh.order)
    there = np.flatnonzero(shell.active)
    nodes = shell.mesh.boundary[there]
    assert nodes.shape[1] == len(lattice(shell.mesh.order)[0].T), "order 2 has nodes on edges only"
    key = recovery.group * shell.layout.nb + recovery.node  # sorted: pairs are numbered by it
    pair = np.searchsorted(key, group[there, None] * shell.layout.nb + nodes)
    nodal = recovery.strains(u)[:, pair]
    basis = displacement_basis(shell.mesh.order)(triangle.points)[0]
    difference = np.einsum("qn,mens->meqs", basis, nodal)
    difference -= shell.strain_field(triangle.points, None if shell.all_active else there)(u)
    difference[..., 6:] = 0.0
    return _products(shell, difference, there)


def work(shell: Shell, u: FloatArray) -> FloatArray:
    """Twice the strain energy (m,), J, of solutions u (n_total, m)."""
    there = np.flatnonzero(shell.active)
    field = shell.strain_field(reference_triangle(shell.mesh.order).points, None if shell.all_active else there)
    return np.asarray([_products(shell, field(column[:, None]), there).sum() for column in u.T])


def _products(shell: Shell, strain: FloatArray, there: IntArray) -> FloatArray:
    """∫ δε_i · C δε_j (ne, m, m) of strains (m, n, q, 8) at the points of the rule of the elements `there` (n,)."""
    _, _, _, weight = shell.quadrature()
    weighted = np.einsum("est,meqt->meqs", shell.stiffness[there], strain) * weight[there, :, None]
    m, n = strain.shape[:2]
    a = np.moveaxis(strain, 0, 1).reshape(n, m, -1)
    b = np.moveaxis(weighted, 0, 1).reshape(n, m, -1)
    out = np.zeros((len(shell.mesh.triangles), m, m))
    out[there] = a @ b.swapaxes(1, 2)
    return out
