"""Natural modes as a record: frequencies, effective masses, where they move, and which is which on another panel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linear_sum_assignment

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import ModelError

if TYPE_CHECKING:
    from panelfem.shell.mass import Mass
    from panelfem.shell.shell import Shell

TIE = 1e-6
"""Share within which two motions are equally great; the first of them is named."""

ALIKE = 0.5
"""Least assurance of a pair: a mode has it with one other at most (its assurances with all modes sum to one)."""


@dataclass(frozen=True)
class Modes:
    """The lowest natural modes of a panel, by rising ω².

    `squares` (n,) rad²/s²: ω², exactly zero where nothing resists (`zeros` of them); negative where the state is not
    stable: that motion grows.  `shapes` (n_total, n) of all unknowns with φᵀ M φ = 1, displacements in 1/√kg and
    rotations in 1/(√kg·m), the greatest displacement positive.  `participation` (n, 3) √kg: φᵀ M r for shifts r along
    x, y, z.  `mass` kg of the skin and all that hangs on it, held parts too.  `notes` are worth printing.
    """

    squares: FloatArray
    shapes: FloatArray
    participation: FloatArray
    mass: float
    zeros: int
    notes: tuple[str, ...]

    @property
    def omega(self) -> FloatArray:
        """Circular frequencies (n,), rad/s; nan where ω² is negative."""
        return np.sqrt(np.where(self.squares < 0.0, np.nan, self.squares))

    @property
    def hertz(self) -> FloatArray:
        """Frequencies (n,), Hz; nan where ω² is negative."""
        return self.omega / (2.0 * np.pi)

    @property
    def effective(self) -> FloatArray:
        """Effective masses (n, 3), kg: what moves in each mode when the base moves along x, y, z.

        All modes together have the mass that the base does not carry along by itself.
        """
        return self.participation**2

    @property
    def share(self) -> FloatArray:
        """Effective masses (n, 3) as shares of the panel's mass."""
        return self.effective / self.mass


@dataclass(frozen=True)
class Place:
    """Where a mode moves most: `element`, `place` (3,) m at rest and unit `direction` (3,) of the motion there."""

    element: int
    place: FloatArray
    direction: FloatArray


def greatest_motion(shell: Shell, shape: FloatArray) -> Place:
    """Where the displacement of a shape (n_total,) is greatest, among the nodes of active elements.

    Where several places move alike, as by symmetry, the first in the order of elements.
    """
    there = np.flatnonzero(shell.active)
    motion = shape[shell.layout.displacement_unknowns[there]]
    size = np.linalg.norm(motion, axis=2)
    at = int(np.argmax(size.ravel() >= (1.0 - TIE) * size.max()))
    element, node = divmod(at, size.shape[1])
    moved = motion[element, node]
    return Place(int(there[element]), shell.layout.x[there[element], node], moved / np.linalg.norm(moved))


def assurance(a: FloatArray, b: FloatArray, mass: Mass) -> FloatArray:
    """Modal assurance (na, nb), 0 to 1, of shapes a (n_total, na) and b (n_total, nb) on the same mesh.

    (φₐᵀ M φ_b)² / (φₐᵀ M φₐ · φ_bᵀ M φ_b) with the mass of one of the panels, so that displacements and rotations are
    weighed as they move: 1 for the same shape, 0 for modes that differ.  Modes of a multiple frequency are any
    combination of each other; then the sum over them tells.  Raises ModelError for shapes of other meshes.

    Source: Allemang & Brown 1982, Proc. 1st Int. Modal Analysis Conf. (from memory), weighted with the mass.
    """
    if len(a) != len(b) or len(a) != mass.shell.n_total:
        raise ModelError("the shapes belong to different meshes", where="modal assurance", do="use one mesh for both")
    image = mass(b)
    own_a = np.einsum("ij,ij->j", a, mass(a))
    own_b = np.einsum("ij,ij->j", b, image)
    return np.asarray((a.T @ image) ** 2 / (own_a[:, None] * own_b))


def counterparts(assured: FloatArray) -> IntArray:
    """Which of the first modes each of the second is, (nb,), from assurances (na, nb); −1: none is alike.

    Pairs are chosen so that their assurances sum to the most, each mode used once.

    >>> counterparts(np.array([[0.1, 0.9, 0.0], [0.8, 0.1, 0.1]])).tolist()
    [1, 0, -1]
    """
    out = np.full(assured.shape[1], -1)
    first, second = linear_sum_assignment(-assured)
    alike = assured[first, second] > ALIKE
    out[second[alike]] = first[alike]
    return out
