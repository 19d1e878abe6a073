"""The strain operator of many elements at once.

Every covariant strain row is bilinear in the unknowns and in node positions X or directors D, with coefficients that
depend on the reference triangle only:

    membrane   e_ab = sym(u,a · x,b)                     u with X
    bending    k_ab = sym(u,a · d,b + x,b · (θ × d),a)    u with D, θ with D × X
    shear      g_a  = u,a · d + x,a · (θ × d)             u with D, θ with D × X
    drilling   θ · n − ½ curl u                           u with X

so the operator is three matrix products with constant tables and one cross product.  Membrane and shear rows are the
functionals of their tied spaces; bending and drilling rows sit at the points of the rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.shell.geometry import cross, unit
from panelfem.shell.reference_triangle import ReferenceTriangle, reference_triangle


@dataclass(frozen=True)
class StrainTables:
    """Constant tables of order k; nu, nr displacement and rotation nodes, nq points of the rule.

    Rows are counted [nm membrane functionals | 3 nq bending | ns shear functionals | nq drilling].
    `u_with_x` (nu, (nm + nq) nu), `u_with_d` (nr, (3 nq + ns) nu), `t_with_x` (nu, (3 nq + ns) nr);
    `node_slopes` (2 nr, nu) and `rule_slopes` (2 nq, nu) differentiate at the rotation nodes and at the rule;
    `rotation` (nq, nr) and `displacement` (nq, nu) values at the rule; `membrane` (nq, 3, nm) and `shear`
    (nq, 2, ns) the tied spaces there.
    """

    triangle: ReferenceTriangle
    nu: int
    nr: int
    nq: int
    nm: int
    ns: int
    u_with_x: FloatArray
    u_with_d: FloatArray
    t_with_x: FloatArray
    node_slopes: FloatArray
    rule_slopes: FloatArray
    displacement: FloatArray
    rotation: FloatArray
    membrane: FloatArray
    shear: FloatArray

    @property
    def k(self) -> int:
        """Order of the element."""
        return self.triangle.k

    @property
    def boundary(self) -> int:
        """Number of boundary nodes of an element, 3k."""
        return 3 * self.k

    @property
    def n_boundary(self) -> int:
        """Unknowns of an element at its boundary nodes."""
        return 18 * self.k

    @property
    def n_inner(self) -> int:
        """Unknowns of an element inside it."""
        return 3 * (self.nu + self.nr) - self.n_boundary


def _pairs(a: FloatArray, b: FloatArray) -> FloatArray:
    """Products (p, i, j) of table rows a (p, i) and b (p, j)."""
    product: FloatArray = a[:, :, None] * b[:, None, :]
    return product


def _symmetric(a: FloatArray, b: FloatArray) -> FloatArray:
    """(p, 3, i, j): components 11, 22, 2·12 of products of slopes a (2, p, i) and b (2, p, j)."""
    mixed = _pairs(a[0], b[1]) + _pairs(a[1], b[0])
    return np.stack([_pairs(a[0], b[0]), _pairs(a[1], b[1]), mixed], axis=1)


@cache
def strain_tables(k: int) -> StrainTables:
    """Tables of order k, made once."""
    triangle = reference_triangle(k)
    tangents = triangle.tangents.T[:, :, None]
    value, slope = triangle.displacement(triangle.points)
    rotation, rotation_slope = triangle.rotation(triangle.points)
    along = np.einsum("apx,apn->pn", tangents, triangle.displacement(triangle.edge_points)[1])
    edge_rotation = triangle.rotation(triangle.edge_points)[0]
    nu, nr, nq = value.shape[1], rotation.shape[1], len(triangle.weights)

    def tied(functionals: FloatArray, edge: FloatArray, inside: FloatArray) -> FloatArray:
        samples = np.concatenate([edge.reshape(len(edge), -1), inside.reshape(-1, edge[0].size)])
        rows: FloatArray = (functionals @ samples).reshape(-1, *edge.shape[1:])
        return rows

    shear_functionals = triangle.shear.functionals
    membrane = tied(triangle.membrane.functionals, _pairs(along, along), _symmetric(slope, slope))
    shear_u = tied(
        shear_functionals,
        _pairs(along, edge_rotation),
        np.stack([_pairs(slope[0], rotation), _pairs(slope[1], rotation)], axis=1),
    )
    shear_t = tied(
        shear_functionals,
        _pairs(edge_rotation, along),
        np.stack([_pairs(rotation, slope[0]), _pairs(rotation, slope[1])], axis=1),
    )
    bending_u = _symmetric(slope, rotation_slope).reshape(3 * nq, nu, nr)
    bending_t = _symmetric(rotation_slope, slope).reshape(3 * nq, nr, nu)
    drilling = (_pairs(slope[1], slope[0]) - _pairs(slope[0], slope[1])) / 2.0

    def table(*rows: FloatArray) -> FloatArray:
        stacked = np.concatenate(rows)
        return np.ascontiguousarray(stacked.reshape(-1, stacked.shape[2]).T)

    return StrainTables(
        triangle,
        nu,
        nr,
        nq,
        len(membrane),
        len(shear_u),
        u_with_x=table(membrane, drilling),
        u_with_d=table(bending_u, shear_u),
        t_with_x=table(bending_t, shear_t),
        node_slopes=triangle.displacement(triangle.rotation.nodes)[1].reshape(2 * nr, nu),
        rule_slopes=slope.reshape(2 * nq, nu),
        displacement=value,
        rotation=rotation,
        membrane=triangle.membrane(triangle.points),
        shear=triangle.shear(triangle.points),
    )


def directors(tables: StrainTables, x: FloatArray) -> FloatArray:
    """Unit normals (ne, nr, 3) of elements with node positions x (ne, nu, 3) at their rotation nodes."""
    slopes = tables.node_slopes @ x
    return unit(cross(slopes[:, : tables.nr], slopes[:, tables.nr :]))


def strain_operator(tables: StrainTables, x: FloatArray, d: FloatArray, area_normal: FloatArray) -> FloatArray:
    """Rows (ne, nm + 4 nq + ns, unknowns) of elements with nodes x (ne, nu, 3) and directors d (ne, nr, 3).

    `area_normal` (ne, nq, 3) is a1 × a2 at the rule; drilling rows come multiplied by its length.  Columns:
    boundary unknowns (6, 3k) by component, then inner displacements and inner rotations, by component too.
    """
    spin = area_normal[..., None] * tables.rotation[:, None]
    return operator_rows(tables, x, d, None, spin)


def operator_rows(
    tables: StrainTables, x: FloatArray, d: FloatArray, curl: FloatArray | None, spin: FloatArray
) -> FloatArray:
    """The rows of `strain_operator` with the drilling rows given: `spin` (ne, nq, 3, nr) by rotation and `curl`
    (ne, nq, 3, nu) by displacement; None: half the curl on the surface x.
    """
    t = tables
    ne, m, nm, ns = len(x), t.boundary, t.nm, t.ns
    n_bend = 3 * t.nq
    last = nm + n_bend + ns
    flat_x = x.swapaxes(1, 2).reshape(3 * ne, t.nu)
    d = d.swapaxes(1, 2)
    with_x = t.u_with_x if curl is None else t.u_with_x[:, : nm * t.nu]
    ux = (flat_x @ with_x).reshape(ne, 3, -1, t.nu).swapaxes(1, 2)
    curl = ux[:, nm:] if curl is None else curl
    ud = (d.reshape(3 * ne, t.nr) @ t.u_with_d).reshape(ne, 3, n_bend + ns, t.nu).swapaxes(1, 2)
    arm = (flat_x @ t.t_with_x).reshape(ne, 3, n_bend + ns, t.nr)
    director = d[:, :, None]

    rows = np.zeros((ne, last + t.nq, t.n_boundary + t.n_inner))
    column = 0
    for nodes_u, nodes_t in ((slice(0, m), slice(0, m)), (slice(m, t.nu), slice(m, t.nr))):
        n_u, n_t = nodes_u.stop - nodes_u.start, nodes_t.stop - nodes_t.start
        u = rows[:, :, column : column + 3 * n_u].reshape(ne, last + t.nq, 3, n_u)
        theta = rows[:, :, column + 3 * n_u : column + 3 * (n_u + n_t)].reshape(ne, last + t.nq, 3, n_t)
        column += 3 * (n_u + n_t)
        u[:, :nm], u[:, nm:last], u[:, last:] = ux[:, :nm, :, nodes_u], ud[..., nodes_u], curl[..., nodes_u]
        lever, about = arm[..., nodes_t], director[..., nodes_t]
        for c, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
            theta[:, nm:last, c] = about[:, i] * lever[:, j] - about[:, j] * lever[:, i]
        theta[:, last:] = spin[..., nodes_t]
    return rows
