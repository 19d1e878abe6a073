"""One load, some linear quantities: a mesh on which each is known to the accuracy asked for.

Each pass solves with elements of order k and k + 1 on one mesh, the load and one dual solution for each quantity.  The
step between the orders gives the bar, its distribution over the elements the next mesh.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.accuracy.bars import CORNER_DOUBT, SMOOTH_DOUBT, Measured, corrected
from panelfem.accuracy.indicator import step
from panelfem.accuracy.sizes import singular_elements, sizes
from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import InputError
from panelfem.mesh import PanelMesh, adapt
from panelfem.shell import Shell
from panelfem.shell.system import System

#: A pass may have so many times the elements of the one before.
MOST_GROWTH = 6.0
#: Contributions of opposite sign cancel: sums of magnitudes are so many times what remains (0.2 to 0.8 measured).
CANCELLED = 0.6
#: The next mesh is aimed at this share of what is allowed.
AIM = 0.7


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
    order: int = 2,
    corners: Callable[[PanelMesh], IntArray] | None = None,
    most_passes: int = 5,
    most_elements: int = 20_000,
) -> Answer:
    """Solve on `mesh` and on meshes adapted from it until every bar is at most `accuracy` times its quantity.

    `model(mesh, k)` makes the mesh ready with elements of order k; `corners(mesh)` names its singular vertices.
    Raises InputError for an accuracy outside 0.0001 to 0.2 or no goals.

    """
    if not (np.isfinite(accuracy) and 1e-4 <= accuracy <= 0.2):
        raise InputError(f"the accuracy is {accuracy:g}", where="accuracy", allowed="0.0001 to 0.2")
    if not goals:
        raise InputError("there is no quantity to solve for", where="goals", allowed="one or more")
    passes: list[Pass] = []
    while True:
        singular = corners(mesh) if corners is not None else np.zeros(0, np.int64)
        values, products = _both_orders(mesh, model, goals, order, singular)
        passes.append(Pass(len(mesh.triangles), values))
        met = all(m.share <= accuracy for m in values.values())
        if met or len(passes) == most_passes or len(mesh.triangles) >= most_elements:
            return Answer(values, tuple(passes), mesh, met)
        near = singular_elements(mesh, singular)
        doubt = np.where(near, CORNER_DOUBT, SMOOTH_DOUBT * CANCELLED)
        shares = np.empty((len(mesh.triangles), len(goals)))
        for i, m in enumerate(values.values(), 1):
            bound = np.sqrt(np.maximum(products[:, 0, 0], 0.0) * np.maximum(products[:, i, i], 0.0))
            shares[:, i - 1] = doubt * bound / (AIM * accuracy * max(abs(m.value), 1e-300))
        grown = min(MOST_GROWTH, most_elements / len(mesh.triangles))
        mesh = adapt(mesh, sizes(mesh, shares, singular, grown))


def _both_orders(
    mesh: PanelMesh,
    model: Callable[[PanelMesh, int], Model],
    goals: Sequence[Goal],
    order: int,
    singular: IntArray,
) -> tuple[dict[str, Measured], FloatArray]:
    """Every quantity by both orders, and the products (ne, m, m) of the step of load and dual solutions."""
    shells, unknowns, numbers = [], [], []
    for k in (order, order + 1):
        made = model(mesh, k)
        rows = [goal.row(made.shell) for goal in goals]
        u = made.system.solve(np.stack([made.load, *rows], axis=1))
        shells.append(made.shell)
        unknowns.append(u)
        numbers.append([float(row @ u[:, 0]) for row in rows])
        del made
    products = step(shells[0], unknowns[0], shells[1], unknowns[1])
    near = singular_elements(mesh, singular)
    values = {}
    for i, (goal, low, high) in enumerate(zip(goals, *numbers, strict=True), 1):
        signed = products[:, 0, i]
        total = float(signed.sum())
        # the step is a(u − u_k, z − z_k) element by element; scaled, because tied strains are not quite nested
        at_corners = float(signed[near].sum()) / total * (high - low) if total else 0.0
        values[goal.name] = corrected(low, high, float(np.clip(at_corners, *sorted((0.0, high - low)))))
    return values, products
