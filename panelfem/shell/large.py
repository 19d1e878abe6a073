"""The element at any displacement and rotation: its strains, forces and tangent.

With x = Σ Nᵢ xᵢ and directors dⱼ = Rⱼ Dⱼ, d = Σ Mⱼ dⱼ, the strains are those of the moved surface less those of the
undeformed one,

    e_ab = ½ (x,a · x,b − X,a · X,b)     k_ab = sym(x,a · d,b) − sym(X,a · D,b)     g_a = x,a · d − X,a · D
    drilling   ½ [(R X,1) · x,2 − (R X,2) · x,1],    R = Σ Mⱼ Rⱼ

tied as in the linear element, which is this one at x = X, R = 1.  All but the drilling strain are halves of one
bilinear form in (x, d), so the rows of the linear operator at (x, d) are their variation.

A rotation vector θ of an unknown turns the node on from where it is, R ← exp(θ) R.  The tangent is the exact derivative
of the forces in that sense; between solutions it is not symmetric, at one without moments from outside it is.

Large displacements and rotations, small strains: the law is that of the laminate, between the resultants that go with
these strains.

Source: the kinematics are those of a one-director (Reissner–Mindlin) shell, Simo & Fox 1989, Comput. Methods Appl.
Mech. Eng. 72:267 (from memory); the ties are this project's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from panelfem.arrays import FloatArray, IntArray
from panelfem.shell.element import Law, chunks, element_law, rule_geometry
from panelfem.shell.geometry import cross
from panelfem.shell.reference_triangle import ReferenceTriangle
from panelfem.shell.strain import StrainTables, operator_rows, strain_tables

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell


def rotations(vectors: FloatArray) -> FloatArray:
    """Rotation matrices (n, 3, 3) of rotation vectors (n, 3) rad.

    >>> rotations(np.array([[0.0, 0.0, np.pi / 2]]))[0].round(12).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    return np.asarray(Rotation.from_rotvec(vectors).as_matrix(), float)


def rotation_vectors(matrices: FloatArray) -> FloatArray:
    """Rotation vectors (n, 3) rad, no longer than π, of rotation matrices (n, 3, 3)."""
    return np.asarray(Rotation.from_matrix(matrices).as_rotvec(), float)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    product: FloatArray = np.einsum("...c,...c->...", a, b)
    return product


@dataclass(frozen=True)
class LargeTables:
    """Constant tables of order k beside the linear ones, with S sample points (edge points, then the rule).

    `slope` (2, S, nu) and `rotation` (S, nr) at the samples, `turn` (2, nq, nr) at the rule; `membrane` (nm, nu nu) and
    `mixed` (3 nq + ns, nu nr) the bilinear forms of the tied rows; `drilling` (2, nq, nu nr) slope times rotation at
    the rule; `unknown_u` (nu, 3) and `unknown_t` (nr, 3) the places of the unknowns in those of an element.
    """

    linear: StrainTables
    slope: FloatArray
    rotation: FloatArray
    turn: FloatArray
    membrane: FloatArray
    mixed: FloatArray
    drilling: FloatArray
    unknown_u: IntArray
    unknown_t: IntArray


@cache
def large_tables(k: int) -> LargeTables:
    """Tables of order k, made once."""
    t = strain_tables(k)
    triangle: ReferenceTriangle = t.triangle
    samples = np.hstack([triangle.edge_points, triangle.points])
    slope, turn = triangle.displacement(samples)[1], triangle.rotation(triangle.points)[1]
    membrane = t.u_with_x.T.reshape(-1, t.nu, t.nu)[: t.nm]
    mixed = t.u_with_d.T.reshape(-1, t.nu, t.nr)
    inside = slope[:, len(triangle.tangents) :]
    drilling = np.einsum("aqi,qj->aqij", inside, t.rotation).reshape(2, t.nq, -1)
    m, component = t.boundary, np.arange(3)
    n_u, n_t = t.nu - m, t.nr - m

    def places(start: int, nodes: int, inner_start: int, inner: int) -> IntArray:
        at_boundary = start + np.arange(m)[:, None] + m * component
        inside = inner_start + np.arange(inner)[:, None] + inner * component
        return np.concatenate([at_boundary, inside])

    return LargeTables(
        t,
        slope,
        triangle.rotation(samples)[0],
        turn,
        membrane.reshape(t.nm, -1),
        mixed.reshape(len(mixed), -1),
        drilling,
        places(0, t.nu, 6 * m, n_u),
        places(3 * m, t.nr, 6 * m + 3 * n_u, n_t),
    )


def polar(t: LargeTables, x: FloatArray, d: FloatArray, y: FloatArray, f: FloatArray) -> FloatArray:
    """The symmetric bilinear form whose half at (x, d), (x, d) is the tied strain: (n, nm + 3 nq + ns).

    x, y (n, nu, 3), d, f (n, nr, 3).  With the second argument small it is the change of strain.
    """
    triangle, n = t.linear.triangle, len(x)
    n_edge = len(triangle.tangents)
    a1, a2, b1, b2 = t.slope[0] @ x, t.slope[1] @ x, t.slope[0] @ y, t.slope[1] @ y
    e11, e22, e12 = _dot(a1, b1), _dot(a2, b2), _dot(a1, b2) + _dot(a2, b1)
    dd, ff = t.rotation @ d, t.rotation @ f
    g1, g2 = _dot(a1, ff) + _dot(b1, dd), _dot(a2, ff) + _dot(b2, dd)
    r, s = triangle.tangents.T
    edge, rule = slice(0, n_edge), slice(n_edge, None)
    along = r * r * e11[:, edge] + s * s * e22[:, edge] + r * s * e12[:, edge]
    inside = np.stack([e11[:, rule], e22[:, rule], e12[:, rule]], axis=2).reshape(n, -1)
    membrane = np.concatenate([along, inside], axis=1) @ triangle.membrane.functionals.T
    along = r * g1[:, edge] + s * g2[:, edge]
    inside = np.stack([g1[:, rule], g2[:, rule]], axis=2).reshape(n, -1)
    shear = np.concatenate([along, inside], axis=1) @ triangle.shear.functionals.T
    a1, a2, b1, b2 = a1[:, rule], a2[:, rule], b1[:, rule], b2[:, rule]
    d1, d2, f1, f2 = t.turn[0] @ d, t.turn[1] @ d, t.turn[0] @ f, t.turn[1] @ f
    mixed = _dot(a1, f2) + _dot(a2, f1) + _dot(b1, d2) + _dot(b2, d1)
    bending = np.stack([_dot(a1, f1) + _dot(b1, d1), _dot(a2, f2) + _dot(b2, d2), mixed], axis=2)
    return np.concatenate([membrane, bending.reshape(n, -1), shear], axis=1)


@dataclass(frozen=True)
class ElementLoads:
    """What acts on all elements: follower `pressure` (ne, nq) Pa at the rule, positive along −n of the moved surface,
    and `initial` resultants (ne, 8) that free strain (heat, moisture) has, N/m and N; None: none.
    """

    pressure: FloatArray | None = None
    initial: FloatArray | None = None

    @property
    def any(self) -> bool:
        """Whether there are some at all."""
        return self.pressure is not None or self.initial is not None


@dataclass(frozen=True)
class Pose:
    """Where the nodes of a shell are: displacement and rotation.

    `u` (n_total,): displacements at the displacement unknowns, m; `turned` (rotation nodes, 3, 3).  `vector` packs it
    as unknowns with rotation vectors no longer than π.
    """

    u: FloatArray
    turned: FloatArray


@dataclass(frozen=True)
class Chunk:
    """Some elements, with all that does not change as they move."""

    es: IntArray
    x: FloatArray
    directors: FloatArray
    base: tuple[FloatArray, FloatArray]
    law: Law
    tensors: FloatArray
    vectors: FloatArray


@dataclass
class Moved:
    """The elements of one chunk in a pose: all that forces, tangent and the next change of strain need."""

    x: FloatArray
    directors: FloatArray
    turned: FloatArray
    mean: FloatArray
    strain: FloatArray


class LargeShell:
    """The elements of `shell` at large displacements and rotations.

    Rotation nodes are the boundary nodes, then the inner ones element by element; `rotation_nodes` (ne, nr) numbers
    them and `rotation_unknowns` (rotation nodes, 3) are their unknowns.
    """

    def __init__(self, shell: Shell) -> None:
        self.shell, layout = shell, shell.layout
        self.tables = t = large_tables(layout.mesh.order)
        linear = t.linear
        inner = linear.nr - linear.boundary
        inside = layout.nb + np.arange(layout.ne * inner).reshape(layout.ne, inner)
        self.rotation_nodes: IntArray = np.hstack([layout.mesh.boundary, inside])
        self.rotation_unknowns: IntArray = np.empty((layout.nb + layout.ne * inner, 3), np.int64)
        self.rotation_unknowns[self.rotation_nodes] = layout.rotation_unknowns
        at_boundary = 6 * np.arange(layout.nb)[:, None] + 3 + np.arange(3)
        self.rotation_unknowns[: layout.nb] = at_boundary
        self.unknowns: IntArray = np.empty((layout.ne, linear.n_boundary + linear.n_inner), np.int64)
        self.unknowns[:, t.unknown_u] = layout.displacement_unknowns
        self.unknowns[:, t.unknown_t] = layout.rotation_unknowns
        there = np.flatnonzero(shell.active)
        self.chunks: list[Chunk] = [self._chunk(there[part]) for part in chunks(linear, len(there)) if len(there)]

    def _chunk(self, es: IntArray) -> Chunk:
        t, layout = self.tables, self.shell.layout
        x = layout.x[es]
        rule = rule_geometry(t.linear, x, self.shell.axis)
        slopes = t.linear.rule_slopes @ x
        base = slopes[:, : t.linear.nq], slopes[:, t.linear.nq :]
        law = element_law(t.linear, rule, self.shell.stiffness[es])
        return Chunk(es, x, rule.directors, base, law, rule.tensors, rule.vectors)

    # ------------------------------------------------------------------------------------------------ poses
    def rest(self) -> Pose:
        """The undeformed pose."""
        turned = np.broadcast_to(np.eye(3), (len(self.rotation_unknowns), 3, 3))
        return Pose(np.zeros(self.shell.n_total), turned.copy())

    def pose(self, vector: FloatArray) -> Pose:
        """The pose of unknowns (n_total,) with rotation vectors."""
        u = vector.copy()
        u[self.rotation_unknowns] = 0.0
        return Pose(u, rotations(vector[self.rotation_unknowns]))

    def vector(self, pose: Pose) -> FloatArray:
        """The unknowns (n_total,) of a pose, with rotation vectors no longer than π."""
        out = pose.u.copy()
        out[self.rotation_unknowns] = rotation_vectors(pose.turned)
        return out

    def moved(self, pose: Pose, step: FloatArray) -> Pose:
        """The pose after a step (n_total,): displacements add, rotations turn on."""
        u = pose.u + step
        u[self.rotation_unknowns] = 0.0
        return Pose(u, rotations(step[self.rotation_unknowns]) @ pose.turned)

    def between(self, a: Pose, b: Pose) -> FloatArray:
        """The step (n_total,) from pose a to pose b."""
        step = b.u - a.u
        step[self.rotation_unknowns] = rotation_vectors(b.turned @ a.turned.swapaxes(1, 2))
        return step

    def at(self, chunk: Chunk, pose: Pose) -> Moved:
        """The elements of a chunk in a pose."""
        t = self.tables
        u = pose.u[self.shell.layout.displacement_unknowns[chunk.es]]
        turned = pose.turned[self.rotation_nodes[chunk.es]]
        x, d = chunk.x + u, (turned @ chunk.directors[..., None])[..., 0]
        tilt = d - chunk.directors
        mean = np.tensordot(t.linear.rotation, turned, axes=(1, 1)).swapaxes(0, 1)
        # the difference of two squares: nothing is lost where the motion is small
        strain = polar(t, chunk.x + 0.5 * u, chunk.directors + 0.5 * tilt, u, tilt)
        return Moved(x, d, turned, mean, np.concatenate([strain, self._drilling(chunk, mean, x)], axis=1))

    def _drilling(self, chunk: Chunk, mean: FloatArray, x: FloatArray) -> FloatArray:
        """½ [(R X,1) · x,2 − (R X,2) · x,1] at the rule (n, nq), with mean rotations R (n, nq, 3, 3)."""
        slopes = self.tables.linear.rule_slopes @ x
        a1, a2 = slopes[:, : self.tables.linear.nq], slopes[:, self.tables.linear.nq :]
        r1, r2 = ((mean @ base[..., None])[..., 0] for base in chunk.base)
        return 0.5 * (_dot(r1, a2) - _dot(r2, a1))

    def change(self, chunk: Chunk, moved: Moved, step: FloatArray) -> FloatArray:
        """First-order change (n, rows) of the strains by a step (n_total,) from a pose."""
        t, layout = self.tables, self.shell.layout
        dx = step[layout.displacement_unknowns[chunk.es]]
        theta = step[layout.rotation_unknowns[chunk.es]]
        tied = polar(t, moved.x, moved.directors, dx, cross(theta, moved.directors))
        spun = cross(theta[:, :, None], moved.turned.swapaxes(2, 3)).swapaxes(2, 3)
        mean = np.tensordot(t.linear.rotation, spun, axes=(1, 1)).swapaxes(0, 1)
        drilling = self._drilling(chunk, moved.mean, dx) + self._drilling(chunk, mean, moved.x)
        return np.concatenate([tied, drilling], axis=1)

    # ---------------------------------------------------------------------------------------- forces, tangent
    def acting(self, chunk: Chunk, initial: FloatArray | None) -> FloatArray | None:
        """Forces (n, rows) on the strains that initial resultants (ne, 8) have; None without any."""
        if initial is None or not initial[chunk.es].any():
            return None
        t, given = self.tables.linear, initial[chunk.es]
        weight = chunk.law.weight[..., None, None]
        membrane = np.einsum("eqij,ei->eqj", chunk.tensors * weight, given[:, :3])
        bending = np.einsum("eqij,ei->eqj", chunk.tensors * weight, given[:, 3:6])
        shear = np.einsum("eqij,ei->eqj", chunk.vectors * weight, given[:, 6:])
        parts = [
            np.einsum("eqj,qjn->en", membrane, t.membrane),
            bending.reshape(len(given), -1),
            np.einsum("eqj,qjn->en", shear, t.shear),
            np.zeros((len(given), t.nq)),
        ]
        return np.concatenate(parts, axis=1)

    def stress(self, chunk: Chunk, strain: FloatArray, acting: FloatArray | None) -> FloatArray:
        """Forces (n, rows) that go with strains (n, rows)."""
        force = chunk.law(strain[..., None])[..., 0]
        return force if acting is None else force - acting

    def operator(self, chunk: Chunk, moved: Moved) -> FloatArray:
        """The change of strain by every unknown, (n, rows, unknowns)."""
        t = self.tables
        slopes = t.linear.rule_slopes @ moved.x
        a1, a2 = slopes[:, : t.linear.nq, None], slopes[:, t.linear.nq :, None]
        n_edge = len(t.linear.triangle.tangents)
        s1, s2 = t.slope[0, n_edge:], t.slope[1, n_edge:]
        r1, r2 = ((moved.mean @ base[..., None])[..., 0] for base in chunk.base)
        curl = 0.5 * (r1[..., None] * s2[:, None] - r2[..., None] * s1[:, None])
        b1, b2 = (np.einsum("ejab,eqb->eqja", moved.turned, base) for base in chunk.base)
        spin = 0.5 * (cross(b1, a2) + cross(a1, b2)) * t.linear.rotation[:, :, None]
        return operator_rows(t.linear, moved.x, moved.directors, curl, spin.swapaxes(2, 3))

    def geometric(self, chunk: Chunk, moved: Moved, force: FloatArray, symmetric: bool = False) -> FloatArray:
        """Change (n, unknowns, unknowns) of the element forces with `force` (n, rows) on the strains kept.

        Exact; `symmetric`: its symmetric part.
        """
        t, n = self.tables, len(moved.x)
        linear = t.linear
        nm, last = linear.nm, linear.nm + 3 * linear.nq + linear.ns
        out = np.zeros((n, linear.n_boundary + linear.n_inner, linear.n_boundary + linear.n_inner))
        by_u = (force[:, :nm] @ t.membrane).reshape(n, linear.nu, linear.nu)
        for c in range(3):
            out[:, t.unknown_u[:, c, None], t.unknown_u[None, :, c]] = by_u
        mixed = (force[:, nm:last] @ t.mixed).reshape(n, linear.nu, linear.nr)
        half = 0.5 * force[:, last:, None]
        one = ((half * chunk.base[0]).swapaxes(1, 2) @ t.drilling[1]).reshape(n, 3, linear.nu, linear.nr)
        two = ((half * chunk.base[1]).swapaxes(1, 2) @ t.drilling[0]).reshape(n, 3, linear.nu, linear.nr)
        turned = np.einsum("ejab,ebij->eija", moved.turned, one - two)
        lever = mixed[..., None] * moved.directors[:, None] + turned
        for c, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
            for a, b, value in ((i, j, lever[..., c]), (j, i, -lever[..., c])):
                out[:, t.unknown_u[:, a, None], t.unknown_t[None, :, b]] = value
                out[:, t.unknown_t[:, b, None], t.unknown_u[None, :, a]] = value.swapaxes(1, 2)
        arm = np.einsum("eij,eic->ejc", mixed, moved.x)
        slopes = linear.rule_slopes @ moved.x
        pairs = (
            chunk.base[0][..., None] * slopes[:, linear.nq :, None]
            - chunk.base[1][..., None] * slopes[:, : linear.nq, None]
        )
        spun = np.einsum("eqab,qj->ejab", half[..., None] * pairs, linear.rotation, optimize=True)
        block = moved.directors[..., None] * arm[:, :, None] + moved.turned @ spun
        trace = np.trace(block, axis1=2, axis2=3)
        if symmetric:
            block = 0.5 * (block + block.swapaxes(2, 3))
        for a in range(3):
            for b in range(3):
                value = block[:, :, a, b] - (trace if a == b else 0.0)
                out[:, t.unknown_t[:, a], t.unknown_t[:, b]] = value
        return out

    def pressure(self, moved: Moved, pressure: FloatArray, tangent: bool) -> tuple[FloatArray, FloatArray | None]:
        """Nodal forces (n, nu, 3) of follower pressures (n, nq) on moved elements, and minus their change with the
        displacements (n, nu, 3, nu, 3).
        """
        t = self.tables.linear
        slopes = t.rule_slopes @ moved.x
        a1, a2 = slopes[:, : t.nq], slopes[:, t.nq :]
        weight = pressure * t.triangle.weights
        force = -(t.displacement.T @ (weight[..., None] * cross(a1, a2)))
        if not tangent:
            return force, None
        n_edge = len(t.triangle.tangents)
        s1, s2 = self.tables.slope[0, n_edge:], self.tables.slope[1, n_edge:]
        lever = np.einsum("eqc,qj->eqjc", a1, s2) - np.einsum("eqc,qj->eqjc", a2, s1)
        load = np.einsum("eq,qi,eqjc->eijc", weight, t.displacement, lever, optimize=True)
        change = np.zeros((len(force), t.nu, 3, t.nu, 3))
        for c, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
            change[:, :, j, :, i] = load[..., c]
            change[:, :, i, :, j] = -load[..., c]
        return force, change


def carried(low: Shell, high: Shell, vector: FloatArray) -> FloatArray:
    """The unknowns (n_total,) of `high` that move it as those of `low`, a shell on the same triangles, move that."""
    from_low, to_high = large_tables(low.mesh.order).linear.triangle, large_tables(high.mesh.order).linear.triangle
    out = np.zeros(high.n_total)
    moved = from_low.displacement(to_high.displacement.nodes)[0] @ vector[low.layout.displacement_unknowns]
    turned = from_low.rotation(to_high.rotation.nodes)[0] @ vector[low.layout.rotation_unknowns]
    out[high.layout.displacement_unknowns] = moved
    out[high.layout.rotation_unknowns] = turned
    return out
