"""Strains at the nodes, recovered from those of the elements around, never across groups of elements.

Orders 2 and 3: inside a group each vertex fits a polynomial by least squares to the strains at interior points of its
elements, and the nodes between take the fits of the vertices around; on the border of a group (free and clamped edges,
zone borders, creases) each element's strains are extended from those points to the node and averaged
(:mod:`panelfem.shell.patches`).  Higher orders: the elements' strains at the node, averaged.  Errors of moments at
order 3 against such means, supported plates, 4 to 8 cells a side: at vertices inside 0.2 to 0.6 times; at the other
nodes inside 0.3 to 0.9 times on thin plates, up to 2.5 times on sandwiches of 4 cells, where they are 1e-3 of the
greatest; at borders 0.8 to 1.2 times.

`spread` says how far the elements around a node disagree with what is recovered there: a sign of the error left, which
two orders may have in common.

Transverse shear resultants come from two places: the elements' own shear strain, and equilibrium, Q_a = M_ab|b of the
recovered moments.  Measured on supported plates with exact solutions: where the shear length λ = √(D/S) is longer than
the spacing of nodes h/k (sandwich, thick laminates) the first is 3 to 100 times better; on thin plates it is worthless
(errors of its own size at edges at order 2) and equilibrium good to a few per cent.  The two are blended by
w = r⁴/(1 + r⁴) with r = kλ/h, which keeps the better of both on either side.

`gradients` differentiates the recovered strains along the surface inside each element and averages over the elements
around, so at the border of a group it looks to one side only.  They give the transverse stresses their distribution
over the thickness, not their resultant (`Laminate.transverse_shear_from_both`).  Errors of those stresses, in shares
of the greatest, off corners, against those from Q alone, which leaves out the twist: supported edges 1 to 5 % (12 to
25 %); clamped edges and borders of patches of sandwiches 1 to 2 % (13 to 34 %); borders of patches of plates of 20
thicknesses 2 to 10 % (14 to 31 %).  On thinner plates both miss what Q itself misses within the shear length λ of a
border.  At a clamped edge of a thin plate the twist changes within λ too: 2 to 9 % (1 to 5 %), but where the stress is
small; the greatest through the thickness is the same within 2 %.  So one rule holds for all edges and none is switched
off.

`curvature` is that of the elements' own geometry, averaged over the elements around: a crease between elements has
none.

Source: patches, Zienkiewicz & Zhu 1992, Int. J. Numer. Meth. Eng. 33:1331 (recalled); points and ranges measured here.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import bsr_array, csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.mesh.lattice import lattice
from panelfem.shell.geometry import cross, unit
from panelfem.shell.patches import INTERIOR, patch_weights

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell


Strains = Callable[[FloatArray], FloatArray]

NEGLIGIBLE = 1e-4
"""Weight below which a source of transverse shear is not computed at all."""


class Recovery:
    """Recovered strains of `shell` at np pairs (node, group), `group` (ne,) naming each element's group.

    `node` (np,), `group` (np,), `element` (np,) one element of each pair; `points` (np, 3) m; `frame` (np, 3, 3) rows
    t1, t2, normal and `normal` (np, 3).  Pairs of vertices and nodes on edges; inactive elements have none.
    """

    def __init__(self, shell: Shell, group: IntArray) -> None:
        self.shell = shell
        layout, mesh = shell.layout, shell.mesh
        self._there = np.flatnonzero(shell.active)
        self._law: FloatArray = shell.stiffness[self._there]
        nodes = mesh.boundary[self._there]
        key = np.asarray(group, np.int64)[self._there, None] * layout.nb + nodes
        pairs, first, self._pair = np.unique(key, return_index=True, return_inverse=True)
        self._pair = self._pair.reshape(nodes.shape)
        self.group, self.node = np.divmod(pairs, layout.nb)
        self.element: IntArray = self._there[first // nodes.shape[1]]
        self.points: FloatArray = mesh.x[self.node]
        self._operators: dict[bytes, bsr_array] = {}
        nodal = shell.strain_field(np.hstack(lattice(mesh.order)), self._there)
        self._nodal: Strains = nodal
        field = nodal
        everything = self._extended_pairs()
        frames = np.concatenate([nodal.axes, nodal.normal[:, :, None]], axis=2)
        flat = frames.reshape(-1, 9)
        total: FloatArray = np.stack([np.bincount(everything.ravel(), column) for column in flat.T], axis=1)
        self._frames = unit(total.reshape(-1, 3, 3))
        self.frame: FloatArray = self._frames[: len(pairs)]
        self.normal: FloatArray = self.frame[:, 2]
        if mesh.order in INTERIOR:
            border = np.append(self.border, np.zeros(len(self._frames) - len(pairs), bool))
            field = shell.strain_field(INTERIOR[mesh.order], self._there)
            self._weights = patch_weights(mesh.order, layout.x[self._there], everything, border, self._frames)
        else:
            self._weights = _means(everything)
        self._field: Strains = field
        self._far = field.large, nodal.large

    def _extended_pairs(self) -> IntArray:
        """Pairs (n, n_k) of all nodes of the elements: inner nodes are counted after the pairs of boundary nodes."""
        inner = self.shell.layout.tables.nu - self._pair.shape[1]
        number = len(self.node) + np.arange(len(self._there) * inner).reshape(len(self._there), inner)
        return np.hstack([self._pair, number])

    @cached_property
    def border(self) -> BoolArray:
        """Pairs (np,) on the border of their group: free and held edges of the panel, zone borders."""
        k, n = self.shell.mesh.order, len(self.node)
        ends = self._pair[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        ends.sort(axis=1)
        _, at, count = np.unique(ends[:, 0] * n + ends[:, 1], return_inverse=True, return_counts=True)
        single = (count[at] == 1).reshape(-1, 3)
        out = np.zeros(n, bool)
        for edge in range(3):
            inside = self._pair[:, 3 + edge * (k - 1) : 3 + (edge + 1) * (k - 1)]
            corners = self._pair[:, [edge, (edge + 1) % 3]]
            out[np.hstack([corners, inside])[single[:, edge]]] = True
        return out

    @cached_property
    def large(self) -> Recovery:
        """The same recovery for unknowns with large displacements and rotation vectors."""
        other = copy(self)
        other._field, other._nodal = self._far
        return other

    def on(self, shell: Shell) -> Recovery:
        """The same recovery for the shell moved a little (`Shell.moved`): its strains, from where it then is, by the
        means, frames and curvatures of this one.
        """
        other = copy(self)
        other.__dict__.pop("large", None)
        other.shell, order = shell, shell.mesh.order
        nodal = shell.strain_field(np.hstack(lattice(order)), self._there)
        field = shell.strain_field(INTERIOR[order], self._there) if order in INTERIOR else nodal
        other._nodal, other._field, other._far = nodal, field, (field.large, nodal.large)
        return other

    # ---------------------------------------------------------------------------------------------- results
    def strains(self, u: FloatArray) -> FloatArray:
        """Strains (np, 8) of u (n_total,), or (m, np, 8) of (n_total, m), in the frame of each pair.

        The transverse shear strains are those of `shear`.
        """
        sampled = self._field(u.reshape(len(u), -1))
        strain = self._averaged(sampled)[:, : len(self.node)]
        strain[..., 6:] = np.einsum("nij,mnj->mni", self._compliance, self._blended(sampled))
        return strain[0] if u.ndim == 1 else strain

    def shear(self, u: FloatArray) -> FloatArray:
        """Transverse shear resultants Q (np, 2) N/m, or (m, np, 2) of (n_total, m): the blend described above."""
        q = self._blended(self._field(u.reshape(len(u), -1)))
        return q[0] if u.ndim == 1 else q

    def shear_sources(self, u: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Q (np, 2) N/m of u (n_total,) from the elements' shear strain, and from equilibrium: what is blended."""
        sampled = self._field(u[:, None])
        return self._constitutive(sampled)[0], self._equilibrium(sampled)[0]

    def gradients(self, u: FloatArray) -> FloatArray:
        """Surface derivatives (np, 2, 6) of [e, k] of u (n_total,), or (m, np, 2, 6) of (n_total, m).

        Along t1 and t2, of components that stay with the surface, 1/m of strain and 1/m² of curvature change.
        """
        sampled = self._field(u.reshape(len(u), -1))
        every = np.arange(len(self.node))
        found = np.stack([self._derived(one, every) for one in self._averaged(sampled)])
        return found[0] if u.ndim == 1 else found

    def observed(self, u: FloatArray, at: IntArray) -> tuple[FloatArray, FloatArray]:
        """`strains` (np, 8), and `gradients` (n, 2, 6) at the pairs `at` (n,) only, of u (n_total,); read together."""
        sampled = self._field(u[:, None])
        extended = self._averaged(sampled)[0]
        strain = extended[: len(self.node)].copy()
        strain[:, 6:] = np.einsum("nij,nj->ni", self._compliance, self._blended(sampled)[0])
        return strain, self._derived(extended, at)

    def around(self, u: FloatArray, at: int) -> FloatArray:
        """What each of the m elements around the pair `at` says of the strains there, (m, 8), of u (n_total,).

        Its own polynomial at the node; transverse shear strains are those of `strains`, the same for all.
        """
        element, corner = np.nonzero(self._pair == at)
        own = self._own(u)[element, corner]
        own[:, 6:] = self.strains(u)[at, 6:]
        return own

    def spread(self, u: FloatArray) -> FloatArray:
        """Greatest distance (np, 6) of [e, k] of an element around each pair from `strains`, ≥ 0, of u (n_total,)."""
        recovered = self._averaged(self._field(u[:, None]))[0, : len(self.node), :6]
        out = np.zeros_like(recovered)
        np.maximum.at(out, self._pair, np.abs(self._own(u)[..., :6] - recovered[self._pair]))
        return out

    def unrest(self, u: FloatArray) -> FloatArray:
        """As `spread`, as two numbers (np, 2), N^(1/2): √(δ · C · δ) of the distance δ (6,) of [e, k], C being the
        element's law, and likewise √(δ · S · δ) of the distance δ (2,) of the transverse shear strains.

        Components whose errors cancel in the plies, as those of a laminate far from the reference surface do, then
        count for what they do there.  The elements' own shear counts as much as it does in `shear`.
        """
        sampled = self._field(u[:, None])
        recovered = self._averaged(sampled)[0, : len(self.node), :6]
        own = self._own(u)
        apart = own[..., :6] - recovered[self._pair]
        plane = np.einsum("npi,nij,npj->np", apart, self._law[:, :6, :6], apart)
        law = self._law[:, 6:, 6:]
        sheared = own[..., 6:] - np.einsum("nij,npj->npi", np.linalg.inv(law), self._blended(sampled)[0][self._pair])
        sheared *= self._trust[self._pair, None]
        across = np.einsum("npi,nij,npj->np", sheared, law, sheared)
        out = np.zeros((len(recovered), 2))
        for column, energy in enumerate((plane, across)):
            np.maximum.at(out[:, column], self._pair, np.maximum(energy, 0.0))
        return np.asarray(np.sqrt(out))

    def _own(self, u: FloatArray) -> FloatArray:
        """Strains (n, boundary nodes, 8) of each element at its own boundary nodes, of u (n_total,)."""
        return self._nodal(u)[:, : self._pair.shape[1]]

    def _derived(self, extended: FloatArray, at: IntArray) -> FloatArray:
        """Derivatives (n, 2, 6) at pairs `at` (n,) of strains (pairs and inner nodes, 6 or more)."""
        key = at.tobytes()
        if key not in self._operators:
            self._operators[key] = self._derivation(at)
        columns = extended[:, :6].reshape(-1, 2, 3).swapaxes(1, 2).reshape(-1, 2)
        out = (self._operators[key] @ columns).reshape(len(at), 2, 3, 2)
        return np.ascontiguousarray(out.swapaxes(2, 3)).reshape(len(at), 2, 6)

    def _derivation(self, at: IntArray) -> bsr_array:
        """Operator (6 n, 3 m) from tensors (11, 22, 2·12) at m pairs and inner nodes to their derivatives along t1, t2.

        A tensor is taken to the frame of the pair by its products with t1 and t2 there, so on a curved surface the
        derivative is the covariant one.
        """
        x, y, z = (g[at].tocoo() for g in self._gradients)
        row, column = x.coords
        slope = np.stack([x.data, y.data, z.data], axis=1)
        here, there = self.frame[at][row, :2], self._frames[column, :2]
        along = np.einsum("nac,nc->na", here, slope)
        turn = np.einsum("nac,nbc->nab", here, there)
        p, q, r, s = turn[:, 0, 0], turn[:, 0, 1], turn[:, 1, 0], turn[:, 1, 1]
        tensor = np.stack([p * p, q * q, p * q, r * r, s * s, r * s, 2 * p * r, 2 * q * s, p * s + q * r], axis=1)
        blocks = (along[:, :, None, None] * tensor.reshape(-1, 1, 3, 3)).reshape(-1, 6, 3)
        starts = np.searchsorted(row, np.arange(len(at) + 1))
        return bsr_array((blocks, column, starts), shape=(6 * len(at), 3 * len(self._frames)))

    @cached_property
    def curvature(self) -> FloatArray:
        """Curvatures (np, 3) [b11, b22, b12] of the surface in the frame of each pair, 1/m: b_ab = x,ab · normal.

        Positive where the surface bends towards its normal: −1/R on a cylinder whose normal points outwards.  Measured
        on a quarter cylinder of 6 elements: 2.6 % at order 2, 0.9 % at order 3, falling as h².
        """
        layout = self.shell.layout
        nodes = np.hstack(lattice(self.shell.mesh.order))
        boundary = self._pair.shape[1]
        slope = layout.tables.triangle.displacement(nodes)[1]
        x = layout.x[self._there]
        a1, a2 = slope[0] @ x, slope[1] @ x
        first = (slope[0, :boundary], slope[1, :boundary])
        x11, x12, x22 = first[0] @ a1, first[1] @ a1, first[1] @ a2
        a1, a2 = a1[:, :boundary], a2[:, :boundary]
        across = cross(a1, a2)
        square = np.einsum("epc,epc->ep", across, across)[..., None]
        normal = across / np.sqrt(square)
        duals = np.stack([cross(a2, across) / square, cross(across, a1) / square], axis=2)
        c = np.einsum("epai,epbi->epab", self.frame[self._pair, :2], duals)
        b11, b12, b22 = (np.einsum("epc,epc->ep", second, normal) for second in (x11, x12, x22))
        b = np.stack([np.stack([b11, b12], axis=-1), np.stack([b12, b22], axis=-1)], axis=-1)
        in_frame = c @ b @ c.swapaxes(-1, -2)
        flat = self._pair.ravel()
        count = np.bincount(flat, minlength=len(self.node))
        terms = (in_frame[..., 0, 0], in_frame[..., 1, 1], in_frame[..., 0, 1])
        return np.stack([np.bincount(flat, term.ravel(), len(self.node)) / count for term in terms], axis=1)

    def _blended(self, sampled: FloatArray) -> FloatArray:
        """Q (m, np, 2) from sampled strains (m, n, p, 8)."""
        w = self._trust[:, None]
        if w.min(initial=1.0) > 1.0 - NEGLIGIBLE:
            return self._constitutive(sampled)
        if w.max(initial=0.0) < NEGLIGIBLE:
            return self._equilibrium(sampled)
        blend: FloatArray = w * self._constitutive(sampled) + (1.0 - w) * self._equilibrium(sampled)
        return blend

    def _constitutive(self, sampled: FloatArray) -> FloatArray:
        """Q (m, np, 2) from sampled strains (m, n, p, 8) by the shear stiffness of each element."""
        q = np.einsum("eij,mepj->mepi", self._law[:, 6:, 6:], sampled[..., 6:])
        return self._averaged(q)[:, : len(self.node)]

    @cached_property
    def _trust(self) -> FloatArray:
        """Weight (np,) of the elements' own shear: the mean of r⁴/(1 + r⁴) of the elements around."""
        law, k = self._law, self.shell.mesh.order
        bending = law[:, 3:6, 3:6] - law[:, 3:6, :3] @ np.linalg.solve(law[:, :3, :3], law[:, :3, 3:6])
        length2 = (bending[:, 0, 0] + bending[:, 1, 1]) / (law[:, 6, 6] + law[:, 7, 7])
        x = self.shell.layout.x[self._there, :3]
        size2 = np.linalg.norm(cross(x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]), axis=1)  # h² = twice the area
        r4 = (k * k * length2 / size2) ** 2
        return self._over_pairs(np.asarray(r4 / (1.0 + r4), float))

    def _over_pairs(self, values: FloatArray) -> FloatArray:
        """Means (np,) over the elements around each pair of values (n,)."""
        flat = self._pair.ravel()
        total = np.bincount(flat, np.repeat(values, self._pair.shape[1]), len(self.node))
        return np.asarray(total / np.bincount(flat, minlength=len(self.node)), float)

    def _averaged(self, sampled: FloatArray) -> FloatArray:
        """Values (m, pairs and inner nodes, c) from samples (m, n, p, c)."""
        m, c = len(sampled), sampled.shape[-1]
        flat = np.moveaxis(sampled.reshape(m, -1, c), 0, 1).reshape(-1, m * c)
        out: FloatArray = np.moveaxis((self._weights @ flat).reshape(-1, m, c), 1, 0)
        return np.ascontiguousarray(out)

    # ------------------------------------------------------------------------------------------ equilibrium
    @cached_property
    def _moment_law(self) -> FloatArray:
        """Moments (n, 3, 6) per strain about each laminate's own middle of stiffness.

        About a surface far from the laminate, as a patch over a gap has it, Q = div M would carry the small error of
        div N = 0 times that distance.
        """
        membrane, moment = self._law[:, :3, :6], self._law[:, 3:6, :6]
        trace = np.trace(membrane[:, :, :3], axis1=1, axis2=2)
        height = np.trace(membrane[:, :, 3:], axis1=1, axis2=2) / trace
        out: FloatArray = moment - height[:, None, None] * membrane
        return out

    @cached_property
    def _compliance(self) -> FloatArray:
        """Inverse transverse shear stiffness (np, 2, 2) of the elements around each pair, averaged."""
        inverse: FloatArray = np.asarray(np.linalg.inv(self._law[:, 6:, 6:]), float).reshape(-1, 4)
        return np.stack([self._over_pairs(column) for column in inverse.T], axis=1).reshape(-1, 2, 2)

    @cached_property
    def _gradients(self) -> list[csr_array]:
        """Derivatives along x, y, z on the surface: three csr (np, pairs and inner nodes), averaged over elements."""
        layout = self.shell.layout
        everything, m = self._extended_pairs(), self._pair.shape[1]
        slope = layout.tables.triangle.displacement(lattice(self.shell.mesh.order)[0])[1]
        x = layout.x[self._there]
        a1, a2 = slope[0] @ x, slope[1] @ x
        across = cross(a1, a2)
        square = np.einsum("epc,epc->ep", across, across)[..., None]
        duals = (cross(a2, across) / square, cross(across, a1) / square)
        count = np.bincount(self._pair.ravel(), minlength=len(self.node))
        share = (1.0 / count)[self._pair]
        nu = everything.shape[1]
        row = np.repeat(self._pair.ravel(), nu)
        column = np.repeat(everything[:, None], m, axis=1).ravel()
        shape = (len(self.node), int(everything.max(initial=-1)) + 1)
        out = []
        for c in range(3):
            value = sum(d[:, :, c, None] * s for d, s in zip(duals, slope, strict=True)) * share[..., None]
            out.append(csr_array((value.ravel(), (row, column)), shape=shape))
        return out

    def _equilibrium(self, sampled: FloatArray) -> FloatArray:
        """Q (m, np, 2) as the surface divergence of the recovered moments, from sampled strains (m, n, p, 8)."""
        moments = self._averaged(np.einsum("eij,mepj->mepi", self._moment_law, sampled[..., :6]))
        m = len(moments)
        t1, t2 = self._frames[: moments.shape[1], 0], self._frames[: moments.shape[1], 1]
        m11, m22, m12 = moments[..., 0, None], moments[..., 1, None], moments[..., 2, None]
        along1, along2 = m11 * t1 + m12 * t2, m12 * t1 + m22 * t2
        divergence = np.zeros((len(self.node), 3 * m))
        for c, gradient in enumerate(self._gradients):
            column = along1 * t1[:, c, None] + along2 * t2[:, c, None]
            divergence += gradient @ np.moveaxis(column, 0, 1).reshape(-1, 3 * m)
        q = np.einsum("nac,nmc->mna", self.frame[:, :2], divergence.reshape(-1, m, 3))
        return np.ascontiguousarray(q)


def _means(nodes: IntArray) -> csr_array:
    """Averages (values, n·p) of samples at nodes (n, p) over all samples of the same number."""
    flat = nodes.ravel()
    share = 1.0 / np.bincount(flat)
    order = np.argsort(flat, kind="stable")
    starts = np.searchsorted(flat[order], np.arange(len(share) + 1))
    return csr_array((share[flat[order]], order, starts), shape=(len(share), len(flat)))
