"""The lowest eigenvalues of K x = λ M x, M singular or not, from answers of (K − σM)⁻¹ with σ below all of them.

Block Lanczos with every vector made orthogonal to all before: values θ = 1/(λ − σ) of (K − σM)⁻¹ M from the space of
a random block and its iterates.  All of these lie in the range of (K − σM)⁻¹ M, in which M is definite, so vectors
without mass (infinite λ) never enter.  Multiple values are found up to as many as the block is wide.

Source: Ericsson & Ruhe 1980, Math. Comp. 35:1251; block form and full orthogonalisation, Golub & Van Loan, *Matrix
Computations*, chapter 10 (both from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError

BLOCK = 8
"""Vectors iterated together: more than the six motions of a free panel."""

ACCURATE = 1e-9
"""Residual of a vector, as a share of its θ, at which it is found; the error of θ is of the order of its square."""

SPENT = 1e-12
"""What is left of an iterate, as a share, once it lies in the space already: then there is no further vector."""

LONGEST = 60
"""Blocks after which a search is given up."""

Operator = Callable[[FloatArray], FloatArray]


class Krylov:
    """A growing space of vectors of length n, orthonormal under `mass`, with `answer` = (K − σM)⁻¹ known on it.

    `start` (n, m): vectors near those looked for, to set out from; None: random ones.

    >>> stiffness, mass = np.array([2.0, 3.0, 5.0, 7.0]), np.array([1.0, 0.0, 1.0, 1.0])
    >>> space = Krylov(lambda f: f / (stiffness + mass)[:, None], lambda v: mass[:, None] * v, 4)   # σ = −1
    >>> theta, vectors = space.greatest(2)
    >>> (1 / theta - 1).round(9).tolist(), abs(vectors).round(9)[:, 1].tolist()
    ([2.0, 5.0], [0.0, 0.0, 1.0, 0.0])
    """

    def __init__(self, answer: Operator, mass: Operator, n: int, start: FloatArray | None = None) -> None:
        self.answer, self.mass, self.start = answer, mass, start
        self.basis, self.image, self.moved = (np.zeros((n, 0)) for _ in range(3))
        self._calls = self._front = 0

    def greatest(self, count: int) -> tuple[FloatArray, FloatArray]:
        """The `count` greatest θ (count,), falling, and their vectors (n, count), orthonormal under the mass; fewer if
        there are no more.

        Each call but the first of a space with a start adds one more random block, so that calling again finds what a
        call before has missed.  Raises ModelError if they are not found within `LONGEST` blocks.
        """
        if self._calls == 0 and self.start is not None:
            fresh = self.start
        else:
            fresh = np.random.default_rng(self._calls).normal(size=(len(self.basis), BLOCK))
        self._calls += 1
        block = np.hstack([self._left(), self.answer(self.mass(fresh))])
        for _ in range(LONGEST):
            self._front = self._add(block)
            inside = self.image.T @ self.moved
            theta, share = np.linalg.eigh(0.5 * (inside + inside.T))
            theta, share = theta[::-1][:count], share[:, ::-1][:, :count]
            block = self._left()
            ahead = share[len(share) - self._front :]
            size = np.einsum("ij,ij->j", ahead, (block.T @ self.mass(block)) @ ahead)
            enough = len(theta) == count and (size <= (ACCURATE * theta) ** 2).all()
            if enough or self._front == 0:
                return theta, self.basis @ share
        raise ModelError(f"{count} modes were not found in {LONGEST} blocks", where="block Lanczos")

    def _left(self) -> FloatArray:
        """What the answers of the last block have outside the space: the residuals of all vectors lie in it."""
        return self._apart(self.moved[:, self.moved.shape[1] - self._front :])

    def _add(self, block: FloatArray) -> int:
        """Adds what is new in a block (n, b); the number of vectors added."""
        before = np.einsum("ij,ij->j", block, self.mass(block)).max(initial=0.0)
        block = self._apart(self._apart(block))
        gram = block.T @ self.mass(block)
        size, axes = np.linalg.eigh(0.5 * (gram + gram.T))
        new = size > max(SPENT**2 * before, 1e-14 * size[-1])
        if not new.any():
            return 0
        block = self._apart(block @ (axes[:, new] / np.sqrt(size[new])))
        image = self.mass(block)
        lower = np.linalg.cholesky(block.T @ image)
        block, image = (np.linalg.solve(lower, part.T).T for part in (block, image))
        self.basis, self.image = np.hstack([self.basis, block]), np.hstack([self.image, image])
        self.moved = np.hstack([self.moved, self.answer(image)])
        return int(block.shape[1])

    def _apart(self, block: FloatArray) -> FloatArray:
        """The block without its part in the space."""
        return block - self.basis @ (self.image.T @ block)
