"""A factored shell: solves for displacements, gives reactions, and says how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError
from panelfem.shell.anchors import Anchored, Anchors, find_anchors
from panelfem.shell.assembly import Factor, factor_stiffness, singular
from panelfem.shell.quality import check_elements
from panelfem.shell.rigid import RigidMotions, check_held

if TYPE_CHECKING:
    from panelfem.shell.shell import Shell

REFINE = 1e-13
"""Backward error of the scaled system above which a batch is refined once (rounding alone gives 1e-16 to 1e-14)."""

REFUSE = 1e-9
"""Backward error after refinement above which the answer is refused."""


@dataclass(frozen=True)
class Supports:
    """What holds the panel.

    `fixed` (nb, 6) marks unknowns held at zero; `extra` (n_boundary, n_boundary) symmetric stiffness of springs to
    ground or between nodes, N/m, N and N·m.  `fixings`: rows (m, n_total) and their stiffnesses (m,), N/m and N·m/rad,
    that hold the panel too but are left to `held`: the factored matrix has anchors in their place.
    """

    fixed: BoolArray
    extra: csr_array | None = None
    fixings: tuple[csr_array, FloatArray] | None = None


@dataclass
class System:
    """`shell` factored with `supports`.

    `anchors` stand in for the fixings of the supports.  `notes` are warnings worth printing; `backward_error` is that
    of the last solve (with checks).
    """

    shell: Shell
    supports: Supports
    factor: Factor
    anchors: Anchors
    checks: bool
    notes: list[str] = field(default_factory=list)
    backward_error: float = 0.0

    def solve(self, load: FloatArray) -> FloatArray:
        """Displacements of loads (n_total,) or (n_total, m), of the same shape.

        Raises ModelError if the equations are not met to rounding (only with checks).
        """
        columns = load.reshape(len(load), -1)
        right, inner = self._condensed(columns)
        u = self.factor.solve(right)
        if self.checks:
            r, self.backward_error = self.factor.residual(u, right)
            if self.backward_error > REFINE:
                u += self.factor.solve(r)
                r, self.backward_error = self.factor.residual(u, right)
            if not self.backward_error <= REFUSE:  # also when it is not a number
                raise ModelError(
                    f"the equations are not met: backward error {self.backward_error:.1e}",
                    where="solving the shell",
                    allowed=f"up to {REFUSE:.0e}",
                    do="look for nearly loose parts, wildly different stiffnesses or loads that are not numbers",
                )
        return self._expanded(u, inner).reshape(load.shape)

    def _condensed(self, load: FloatArray) -> tuple[FloatArray, FloatArray | None]:
        """Loads (n_boundary, m) on the boundary unknowns and flexibility · inner loads (ne, i, m), None if unloaded."""
        layout, matrices = self.shell.layout, self.shell.element_matrices()
        nb = layout.n_boundary
        if layout.tables.n_inner == 0 or not load[nb:].any():
            return load[:nb].copy(), None
        inner = load[nb:].reshape(layout.ne, layout.tables.n_inner, -1)
        carried = layout.scatter(matrices.transfer.swapaxes(1, 2) @ inner)
        return load[:nb] - carried, matrices.flexibility @ inner

    def _expanded(self, u: FloatArray, inner: FloatArray | None) -> FloatArray:
        """All unknowns (n_total, m) from those at boundary nodes (n_boundary, m)."""
        layout, matrices = self.shell.layout, self.shell.element_matrices()
        inside = matrices.transfer @ layout.gather(u)
        inside = -inside if inner is None else inner - inside
        return np.concatenate([u, inside.reshape(-1, u.shape[1])])

    def reactions(self, u: FloatArray, load: FloatArray) -> FloatArray:
        """Internal forces minus loads, of the shape of both: what fixed unknowns and springs do to the panel.

        `u` must come from `solve`: inner unknowns are then in balance.  Zero at free unknowns without springs, but for
        rounding.
        """
        layout, matrices = self.shell.layout, self.shell.element_matrices()
        columns = load.reshape(len(load), -1)
        right, _ = self._condensed(columns)
        displaced = u.reshape(len(u), -1)[: layout.n_boundary]
        out = np.zeros_like(columns)
        out[: layout.n_boundary] = layout.scatter(matrices.stiffness @ layout.gather(displaced)) - right
        return out.reshape(load.shape)

    def residual(self, u: FloatArray, load: FloatArray) -> FloatArray:
        """Forces out of balance at the free unknowns, springs and anchors counted, of the shape of both (zero but for
        rounding)."""
        r = self.reactions(u, load).reshape(len(u), -1)
        nb = self.shell.layout.n_boundary
        columns = u.reshape(len(u), -1)[:nb]
        if self.supports.extra is not None:
            r[:nb] += self.supports.extra @ columns
        r[:nb] += self.anchors.springs @ columns
        r[:nb][self._held()] = 0.0
        return r.reshape(load.shape)

    @cached_property
    def anchored(self) -> Anchored | None:
        """The answers to unit forces on the anchors; None without any.

        With V the motion that an anchor frees, zero at fixed unknowns, and K the matrix without anchors, the answer is
        (V − K₀⁻¹ K V) / k.  K V is what springs and fixed unknowns do against V: the skin itself lets it pass, so no
        difference of nearly equal numbers is taken.
        """
        layout, anchors, held = self.shell.layout, self.anchors, self._held()
        na = len(anchors.unknowns)
        if na == 0:
            return None
        stopped = np.where(held[:, None], -anchors.motion, 0.0)
        against = layout.scatter(self.shell.element_matrices().stiffness @ layout.gather(stopped))
        moved = anchors.motion + stopped
        if self.supports.extra is not None:
            against += self.supports.extra @ moved
        against[held] = 0.0
        back = self.factor.solve(against) if against.any() else np.zeros_like(against)
        rows = csr_array((np.ones(na), (np.arange(na), anchors.unknowns)), shape=(na, layout.n_total))
        responses = self._expanded((moved - back) / anchors.stiffness, None)
        return Anchored(rows, responses, -back[anchors.unknowns] / anchors.stiffness)

    def _held(self) -> BoolArray:
        return held_unknowns(self.shell, self.supports)


def held_unknowns(shell: Shell, supports: Supports) -> BoolArray:
    """Unknowns (n_boundary,) that are fixed or belong to no active element."""
    held = np.array(supports.fixed, bool).reshape(-1)
    if shell.all_active:
        return held
    loose = np.ones(shell.layout.nb, bool)
    loose[shell.layout.mesh.boundary[shell.active].ravel()] = False
    held.reshape(-1, 6)[loose] = True
    return held


def factor_shell(shell: Shell, supports: Supports, checks: bool, pivots: bool = True) -> System:
    """Check, assemble and factor; `pivots`: with `checks`, their signs are looked at too.

    Raises ModelError for an element folded or with an unusable laminate, a panel free to move, a singular matrix.
    """
    layout = shell.layout
    shape = (layout.nb, 6)
    if supports.fixed.shape != shape:
        raise ModelError(f"fixed has the shape {supports.fixed.shape}", where="Supports", allowed=f"{shape}")
    notes = check_elements(shell) if checks else []
    stiffness = shell.element_matrices().stiffness
    anchors = _anchors(shell, supports, stiffness, checks)
    extra = supports.extra
    if len(anchors.unknowns):
        extra = anchors.springs if extra is None else csr_array(extra + anchors.springs)
    factor = factor_stiffness(layout, stiffness, held_unknowns(shell, supports), extra)
    if checks and pivots and factor.negative_pivots():
        raise singular()
    return System(shell, supports, factor, anchors, checks, notes)


def _anchors(shell: Shell, supports: Supports, stiffness: FloatArray, checks: bool) -> Anchors:
    """Anchors for what only the fixings hold; with checks, ModelError for what nothing holds."""
    layout, nothing = shell.layout, Anchors(np.empty(0, np.int64), np.empty(0), np.empty((shell.n_boundary, 0)))
    if not checks and supports.fixings is None:
        return nothing
    motions = RigidMotions.of(layout, shell.active)
    own = np.einsum("eii->ei", stiffness)
    springs = np.zeros((motions.motion.shape[1],) * 2)
    if supports.extra is not None:
        springs += motions.energy(supports.extra)
    if checks:
        stiffest = float(own[:, : 3 * layout.tables.boundary].max(initial=0.0))
        every = springs
        if supports.fixings is not None:
            rows, k = supports.fixings
            every = springs + motions.energy(rows, np.minimum(k, stiffest))
        check_held(motions, supports.fixed, every, stiffest)
    if supports.fixings is None:
        return nothing
    return find_anchors(layout, motions, supports.fixed, springs, layout.scatter(own[..., None])[:, 0])
