"""The shell model: a curved mesh with a laminate on each element; loads, displacements and strains are arrays."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import ModelError
from panelfem.mesh.curved import CurvedMesh
from panelfem.mesh.lattice import barycentric
from panelfem.shell.element import ElementMatrices, chunks, element_matrices, rule_geometry
from panelfem.shell.fields import StrainField, surface_at
from panelfem.shell.layout import Layout
from panelfem.shell.strain import strain_operator
from panelfem.shell.system import Supports, System, factor_shell

if TYPE_CHECKING:
    from panelfem.shell.recovery import Recovery

Traction = Callable[[FloatArray, FloatArray], FloatArray]


class Shell:
    """Laminated curved shell.

    `mesh`; `stiffness` (ne, 8, 8) [A B 0; B D 0; 0 0 S] in N/m, N, N·m in the frame t1 (`axis` (3,) projected on the
    surface), t2 = n × t1; `active` (ne,) marks the elements that are there (None: all).

    Loads and displacements are arrays of all `n_total` unknowns: ux uy uz θx θy θz (m, rad; N, N·m) of boundary nodes
    0, 1, … (`n_boundary` = 6 nb numbers), then the inner ones element by element.
    """

    def __init__(
        self, mesh: CurvedMesh, stiffness: FloatArray, axis: FloatArray, active: BoolArray | None = None
    ) -> None:
        self._set(Layout(mesh), stiffness, axis, active)

    @classmethod
    def on(cls, layout: Layout, stiffness: FloatArray, axis: FloatArray, active: BoolArray | None = None) -> Shell:
        """A shell on the layout of another, whose geometry and elimination order it shares."""
        shell = cls.__new__(cls)
        shell._set(layout, stiffness, axis, active)
        return shell

    def _set(self, layout: Layout, stiffness: FloatArray, axis: FloatArray, active: BoolArray | None) -> None:
        self.layout, self.mesh = layout, layout.mesh
        self.n_total, self.n_boundary = layout.n_total, layout.n_boundary
        self.stiffness: FloatArray = np.broadcast_to(np.asarray(stiffness, float), (layout.ne, 8, 8))
        self.axis: FloatArray = np.asarray(axis, float)
        self.active: BoolArray = np.ones(layout.ne, bool) if active is None else np.asarray(active, bool)
        self.all_active = bool(self.active.all())
        if not np.isfinite(self.stiffness).all() or not np.isfinite(self.mesh.x).all():
            raise ModelError("a stiffness or a node position is not a number", where="shell", do="check its input")
        self._matrices: ElementMatrices | None = None

    def element_matrices(self) -> ElementMatrices:
        """Condensed matrices of all elements, made once."""
        if self._matrices is None:
            layout = self.layout
            self._matrices = element_matrices(layout.tables, layout.x, self.stiffness, self.axis, self.active)
        return self._matrices

    def exchanged(self, stiffness: FloatArray, active: BoolArray | None = None) -> Shell:
        """The shell with other laminates (ne, 8, 8) and other active elements (None: the same ones).

        Geometry and elimination order are shared; only elements that changed are computed again.
        """
        other = Shell.on(self.layout, stiffness, self.axis, self.active if active is None else active)
        if self._matrices is None:
            return other
        was, layout = self._matrices, self.layout
        changed = (other.stiffness != self.stiffness).any(axis=(1, 2)) | (other.active != self.active)
        if not changed.any():
            other._matrices = was
            return other
        es = np.flatnonzero(changed)
        new = element_matrices(layout.tables, layout.x[es], other.stiffness[es], self.axis, other.active[es])
        now = ElementMatrices(was.stiffness.copy(), was.flexibility.copy(), was.transfer.copy())
        now.stiffness[es], now.flexibility[es], now.transfer[es] = new.stiffness, new.flexibility, new.transfer
        other._matrices = now
        return other

    def moved(self, mesh: CurvedMesh) -> Shell:
        """The shell with its nodes elsewhere, free of stress there: `mesh` is its own with other places.

        Laminates and elimination order are shared; the frames are those of the new places.
        """
        other = Shell.__new__(Shell)
        other._set(self.layout.moved(mesh), self.stiffness, self.axis, self.active)
        return other

    def factor(self, supports: Supports, checks: bool = True, pivots: bool = True) -> System:
        """Factor with `supports`; `checks` adds mesh, rigid-motion, pivot and residual checks.  Raises ModelError.

        Without `pivots` their signs, which take long, are left out: for a shell found sound with a lower order.
        """
        return factor_shell(self, supports, checks, pivots)

    # ------------------------------------------------------------------------------------------------ loads
    def quadrature(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Barycentric points (nq, 3) of the rule, and there x (ne, nq, 3) m, unit normals and weights (ne, nq) m²."""
        triangle = self.layout.tables.triangle
        x, normal, area = surface_at(self.layout, triangle.points)
        return barycentric(triangle.points), x, normal, area * triangle.weights

    def traction(self, q: FloatArray | Traction, elements: IntArray | BoolArray | None = None) -> FloatArray:
        """Load (n_total,) of a force per area of surface, N/m², on `elements` (numbers or marks; None: all active).

        q: (3,) the same everywhere, (ne, 3) of each element of the mesh, or a function of points x (n, nq, 3) and unit
        normals (n, nq, 3) of the loaded elements that returns (n, nq, 3).
        """
        layout, tables = self.layout, self.layout.tables
        on = self.active.copy()
        if elements is not None:
            chosen = np.zeros(layout.ne, bool)
            chosen[elements] = True
            on &= chosen
        es = slice(None) if on.all() else np.flatnonzero(on)
        x, normal, area = surface_at(layout, tables.triangle.points, es)
        if callable(q):
            force = np.asarray(q(x, normal), float)
        else:
            q = np.asarray(q, float)
            force = q if q.ndim == 1 else q[es][:, None]
        weight = (area * tables.triangle.weights)[..., None]
        nodal = tables.displacement.T @ (force * weight)
        unknowns = layout.displacement_unknowns[es]
        return np.asarray(np.bincount(unknowns.ravel(), nodal.ravel(), self.n_total), float)

    def residual_strain(self, resultants: FloatArray) -> FloatArray:
        """Load (n_total,) of initial resultants (ne, 6) [N_T, M_T] or (ne, 8) [N_T, M_T, Q_T], N/m and N: ∫ Bᵀ them.

        K u = f + this gives the displacements of a panel whose free strain (heat, moisture) has these resultants.  As
        a row on u it is the sum over elements of resultants · ∫ strain.
        """
        layout, t = self.layout, self.layout.tables
        out = np.zeros(self.n_total)
        es = np.flatnonzero(self.active & resultants.any(axis=1))
        m, sheared = t.boundary, resultants.shape[1] == 8
        flat_u = layout.displacement_unknowns.swapaxes(1, 2)
        flat_t = layout.rotation_unknowns.swapaxes(1, 2)
        for part in chunks(t, len(es)):
            some = es[part]
            x = layout.x[some]
            rule = rule_geometry(t, x, self.axis)
            rows = strain_operator(t, x, rule.directors, rule.area_normal)
            weight = (rule.area * t.triangle.weights)[..., None, None]
            weighted = rule.tensors * weight
            membrane = np.einsum("eqij,ei->eqj", weighted, resultants[some, :3])
            bending = np.einsum("eqij,ei->eqj", weighted, resultants[some, 3:6])
            parts = [np.einsum("eqj,qjn->en", membrane, t.membrane), bending.reshape(len(some), -1)]
            if sheared:
                shear = np.einsum("eqij,ei->eqj", rule.vectors * weight, resultants[some, 6:])
                parts.append(np.einsum("eqj,qjn->en", shear, t.shear))
            acting = np.concatenate(parts, axis=1)
            force = (acting[:, None] @ rows[:, : acting.shape[1]])[:, 0]
            shape = (len(some), -1)
            unknowns = np.concatenate(
                [
                    flat_u[some][:, :, :m].reshape(shape),
                    flat_t[some][:, :, :m].reshape(shape),
                    flat_u[some][:, :, m:].reshape(shape),
                    flat_t[some][:, :, m:].reshape(shape),
                ],
                axis=1,
            )
            out += np.bincount(unknowns.ravel(), force.ravel(), self.n_total)
        return out

    # ------------------------------------------------------------------------------------------------ fields
    def displacement_operator(self, elements: IntArray, bary: FloatArray) -> csr_array:
        """Displacements of points: csr (3m, n_total), rows x y z point by point; elements (m,), bary (m, 3)."""
        basis = self.layout.tables.triangle.displacement
        return self._operator(basis(bary[:, 1:].T)[0], self.layout.displacement_unknowns[elements])

    def rotation_operator(self, elements: IntArray, bary: FloatArray) -> csr_array:
        """Rotation vectors of points: csr (3m, n_total), rows x y z point by point; elements (m,), bary (m, 3)."""
        basis = self.layout.tables.triangle.rotation
        return self._operator(basis(bary[:, 1:].T)[0], self.layout.rotation_unknowns[elements])

    def _operator(self, values: FloatArray, unknowns: IntArray) -> csr_array:
        m, n = values.shape
        data = np.repeat(values[:, None], 3, axis=1).ravel()
        starts = np.arange(3 * m + 1) * n
        columns = unknowns.swapaxes(1, 2).ravel()
        return csr_array((data, columns, starts), shape=(3 * m, self.n_total))

    def points(self, elements: IntArray, bary: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Positions (m, 3) m and unit normals (m, 3) of points at elements (m,), bary (m, 3)."""
        value, slope = self.layout.tables.triangle.displacement(bary[:, 1:].T)
        x = self.layout.x[elements]
        a = np.einsum("apn,pnc->apc", slope, x)
        normal = np.cross(a[0], a[1])
        return np.einsum("pn,pnc->pc", value, x), normal / np.linalg.norm(normal, axis=1, keepdims=True)

    def strain_field(self, points: FloatArray, elements: IntArray | None = None) -> StrainField:
        """What strains at reference points (2, p) of `elements` (None: all) need of the geometry, for repeated use."""
        es = slice(None) if elements is None else elements
        return StrainField(self.layout, self.axis, points, es)

    def strains(self, u: FloatArray, points: FloatArray, elements: IntArray | None = None) -> FloatArray:
        """Strains (ne, p, 8) at reference points (2, p) of `elements` (None: all) from u (n_total,).

        u (n_total, m) gives (m, ne, p, 8).  Total strain, in the frame of each point.
        """
        return self.strain_field(points, elements)(u)

    def recovery(self, group: IntArray) -> Recovery:
        """Recovery of nodal strains within groups (ne,) of elements; inactive elements are left out."""
        from panelfem.shell.recovery import Recovery

        return Recovery(self, group)
