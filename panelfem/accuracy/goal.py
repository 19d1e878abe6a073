"""One load, some linear quantities: a mesh on which each is known to the accuracy asked for.

Each pass solves with elements of order k and k + 1 on one mesh, the load and one dual solution for each quantity.  The
step between the orders gives the bar, its distribution over the elements the next mesh.  What both orders lack of the
boundary layer at free and hinged edges (:mod:`panelfem.accuracy.layer`) is added to the quantity, a share of it to the
bar.  k is 2, for accuracies below :data:`HIGHER_ORDER` 3: on the same mesh what corners leave after the step, and with
it the bar, is then half as large (0.45 % after 0.97 % on the first mesh of `tests/benchmarks/panel.py`).

Contributions of elements cancel, at corners by two thirds on one panel: a step may be small by chance while much is
still to come.  The bar therefore also counts magnitudes: with steps alone, at orders 2 and 3, 17 of 24 results of one
panel were uncovered.

Measured on nine panels (sandwich and solid, flat and doubly curved, on pads, L- and U-shaped) from three first meshes
each, for accuracies of 0.07 to 1 %: all of 144 results met and covered, the worst error half its bar.  Without the
layer a thin panel on three pads was off by 0.083 % at a bar of 0.060 %.  Four of the panels are those of the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.accuracy.bars import CORNER_DOUBT, LAYER_DOUBT, SMOOTH_DOUBT, Measured, corner_share, corrected, measured
from panelfem.accuracy.indicator import step
from panelfem.accuracy.layer import unresolved_by_element
from panelfem.accuracy.sizes import lengths, singular_elements, sizes
from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import InputError, MeshError, ModelError
from panelfem.mesh import PanelMesh, adapt
from panelfem.shell import Shell
from panelfem.shell.system import System

#: A pass may have so many times the elements of the one before.
MOST_GROWTH = 6.0
#: Below this accuracy the orders are 3 and 4, from it on 2 and 3.
HIGHER_ORDER = 3e-3
#: Added to the bar for what cancels, on one mesh by chance: share of the sums of magnitudes, at corners (of what the
#: bounds √(load energy · dual energy), which exceed the contributions where both are poor, let come) and elsewhere.
CORNER_SCATTER, SMOOTH_SCATTER = 0.25, 0.05
#: The next mesh is aimed at this share of what is allowed, the one after at its square and so on: none is made twice.
AIM = 0.7
#: Share of what is allowed that elements at corners may use; the others are soon far below the rest.  Measured on a
#: panel with eight pads at 0.1 %: 1085 elements, with a half 1191.
AT_CORNERS = 0.75
#: Sizes are drawn so many times half way back to those of the mesh before if the mesher makes of them what cannot be
#: used (an element folded over a tight curve, a region without elements).
GENTLER = 3


@dataclass(frozen=True)
class Model:
    """A mesh made ready to solve with elements of one order: shell, factored system and the load (n_total,)."""

    shell: Shell
    system: System
    load: FloatArray


@dataclass(frozen=True)
class Goal:
    """A linear quantity: `row(shell)` (n_total,) gives it as row · unknowns."""

    name: str
    row: Callable[[Shell], FloatArray]


@dataclass(frozen=True)
class Pass:
    """What one mesh gave: number of elements and each quantity."""

    elements: int
    values: Mapping[str, Measured]


@dataclass(frozen=True)
class Answer:
    """The quantities with their bars, the passes that led to them, the mesh, and whether the accuracy was met."""

    values: Mapping[str, Measured]
    passes: tuple[Pass, ...]
    mesh: PanelMesh
    met: bool

    def __str__(self) -> str:
        ends = "met" if self.met else "NOT met within the limits"
        return "; ".join(f"{n} = {m.value:.6g} ± {m.bar:.2g}" for n, m in self.values.items()) + f" ({ends})"


def solve_to(
    mesh: PanelMesh,
    model: Callable[[PanelMesh, int], Model],
    goals: Sequence[Goal],
    accuracy: float = 0.02,
    order: int | None = None,
    corners: Callable[[PanelMesh], IntArray] | None = None,
    most_passes: int = 5,
    most_elements: int = 20_000,
) -> Answer:
    """Solve on `mesh` and on meshes adapted from it until every bar is at most `accuracy` times its quantity.

    `model(mesh, k)` makes the mesh ready with elements of order k, which is `order` (None: chosen by the accuracy) and
    the next; `corners(mesh)` names its singular vertices.

    Raises InputError for an accuracy outside 0.0001 to 0.2 or no goals.
    """
    if not (np.isfinite(accuracy) and 1e-4 <= accuracy <= 0.2):
        raise InputError(f"the accuracy is {accuracy:g}", where="accuracy", allowed="0.0001 to 0.2")
    if not goals:
        raise InputError("there is no quantity to solve for", where="goals", allowed="one or more")
    order = order or (2 if accuracy >= HIGHER_ORDER else 3)
    passes: list[Pass] = []
    found = _Found(mesh, model, goals, order, corners)
    while True:
        passes.append(Pass(len(mesh.triangles), found.values))
        met = all(m.share <= accuracy for m in found.values.values())
        if met or len(passes) == most_passes or len(mesh.triangles) >= most_elements:
            return Answer(found.values, tuple(passes), mesh, met)
        grown = min(MOST_GROWTH, most_elements / len(mesh.triangles))
        wanted = sizes(mesh, found.shares(AIM ** len(passes) * accuracy), found.singular, grown, AT_CORNERS)
        for gentler in range(GENTLER + 1):
            try:
                finer = adapt(mesh, wanted)
                found = _Found(finer, model, goals, order, corners)
                break
            except (MeshError, ModelError):
                if gentler == GENTLER:
                    raise
                wanted = np.sqrt(wanted * lengths(mesh))
        mesh = finer


class _Found:
    """What elements of orders k and k + 1 give on one mesh: `values`, and what each element contributes to them.

    `signed` and `bounds` (ne, goals): a(u − u_k, z − z_k) of the element, whose sum is the step of the quantity (but
    for tied strains, not quite nested), and the greatest magnitude the energies of both steps leave it.  `layer`
    (ne, goals): what both orders lack of the layers at edges.
    """

    def __init__(
        self,
        mesh: PanelMesh,
        model: Callable[[PanelMesh, int], Model],
        goals: Sequence[Goal],
        order: int,
        corners: Callable[[PanelMesh], IntArray] | None,
    ) -> None:
        self.order = order
        self.singular = corners(mesh) if corners is not None else np.zeros(0, np.int64)
        self.near = singular_elements(mesh, self.singular)
        shells, unknowns, numbers = [], [], []
        for k in (order, order + 1):
            made = model(mesh, k)
            rows = [goal.row(made.shell) for goal in goals]
            u = made.system.solve(np.stack([made.load, *rows], axis=1))
            shells.append(made.shell)
            unknowns.append(u)
            numbers.append([float(row @ u[:, 0]) for row in rows])
            supports = made.system.supports
            del made
        products = step(shells[0], unknowns[0], shells[1], unknowns[1])
        self.signed = products[:, 0, 1:]
        energies = np.maximum(np.einsum("eii->ei", products), 0.0)
        self.bounds = np.sqrt(energies[:, :1] * energies[:, 1:])
        self.layer = unresolved_by_element(shells[1], supports, unknowns[1])[:, 0, 1:]
        parts = zip(goals, *numbers, self.signed.T, self.bounds.T, self.layer.sum(axis=0).tolist(), strict=True)
        self.values = {goal.name: self._bar(low, high, *own) for goal, low, high, *own in parts}

    def _bar(self, low: float, high: float, signed: FloatArray, bounds: FloatArray, layer: float) -> Measured:
        """A quantity with its bar; with known corners the law of corners plus what may have cancelled."""
        near = self.near
        if not near.any():
            return measured(low, high, layer=abs(layer / high) if high else 0.0)
        m = corrected(low, high, float(signed[near].sum()), layer, self.order)
        unexplained = abs(high - low - float(signed.sum()))
        at_corners = CORNER_SCATTER * corner_share(self.order) * bounds[near].sum()
        scatter = at_corners + SMOOTH_SCATTER * np.abs(signed[~near]).sum()
        return Measured(m.value, m.bar + float(scatter) + SMOOTH_DOUBT * unexplained, low)

    def shares(self, allowed: float) -> FloatArray:
        """What each element contributes to each bar (ne, goals), over `allowed` times the quantity."""
        near, out, to_come = self.near, np.empty_like(self.bounds), corner_share(self.order)
        for i, m in enumerate(self.values.values()):
            signed, bound = self.signed[:, i], self.bounds[:, i]
            corner = to_come * (CORNER_DOUBT * abs(signed[near].sum()) + CORNER_SCATTER * bound[near].sum())
            # contributions that cancel on this mesh need not on the next
            layer = LAYER_DOUBT * np.abs(self.layer[:, i])
            smooth = max(m.bar - corner - layer.sum(), 0.5 * SMOOTH_DOUBT * np.abs(signed[~near]).sum())
            out[near, i] = to_come * (CORNER_DOUBT + CORNER_SCATTER) * bound[near]
            out[~near, i] = smooth * bound[~near] / max(bound[~near].sum(), 1e-300)
            out[:, i] += layer
            out[:, i] /= allowed * max(abs(m.value), 1e-300)
        return np.asarray(out)
