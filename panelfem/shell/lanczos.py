"""The greatest eigenvalues of A⁻¹ G, A symmetric positive definite and known by its solves, G symmetric.

Block Lanczos in the energy product xᵀ A y with full orthogonalisation.  Every vector is kept with the load it answers,
so that the product of two is the work of one's load on the other: A itself, with all that is eliminated, bordered or
held in it, is never multiplied.  The start is random of a fixed seed.

Source: Lanczos in the product of one of the matrices, Ericsson & Ruhe 1980, Math. Comput. 35:1251 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from panelfem.arrays import FloatArray

CONVERGED = 1e-7
"""Energy norm of what a pair misses, over its eigenvalue, up to which it is found; the eigenvalue misses its square."""

LOST = 1e-9
"""Length of a new direction, over that before it was made orthogonal, below which there is nothing new."""

ZERO = 1e-11
"""Eigenvalues below this share of the greatest one in size are taken for rounding."""


def greatest(
    solve: Callable[[FloatArray], FloatArray],
    apply: Callable[[FloatArray], FloatArray],
    n: int,
    count: int,
    block: int = 4,
    most: int = 240,
    tolerance: float = CONVERGED,
) -> tuple[FloatArray, FloatArray]:
    """Eigenvalues (m,), falling, and vectors (n, m) of unit energy: the `count` greatest positive ones, fewer if there
    are fewer, more if more were found on the way.

    `solve` gives A⁻¹ f and `apply` gives G v of columns (n, c); `most` is the greatest number of vectors kept.  Those
    not yet found to `tolerance` then are left out.

    >>> a, g = np.array([1.0, 2.0, 4.0, 5.0]), np.array([3.0, 2.0, -9.0, 0.0])
    >>> values, _ = greatest(lambda f: f / a[:, None], lambda v: v * g[:, None], 4, 4)
    >>> values.round(9).tolist()
    [3.0, 1.0]
    """
    load = apply(solve(apply(np.random.default_rng(0).standard_normal((n, block)))))
    basis, loads, small = np.zeros((n, 0)), np.zeros((n, 0)), np.zeros((0, 0))
    new, new_load, _ = _orthonormal(solve(load), load, basis, loads)
    while new.shape[1]:
        image, last = apply(new), new.shape[1]
        basis, loads = np.hstack([basis, new]), np.hstack([loads, new_load])
        across = basis.T @ image
        small = np.block([[small, across[:-last]], [across[:-last].T, across[-last:]]])
        values, vectors = np.linalg.eigh(0.5 * (small + small.T))
        new, new_load, rest = _orthonormal(solve(image), image, basis, loads)
        missed = np.linalg.norm(rest @ vectors[-last:], axis=0)[::-1]
        values, vectors = values[::-1], vectors[:, ::-1]
        found = (values > ZERO * np.abs(values).max()) & (missed <= tolerance * np.abs(values))
        upto = int(np.argmin(np.append(found, False)))
        if upto >= count or not new.shape[1] or basis.shape[1] + new.shape[1] > most:
            return values[:upto], basis @ vectors[:, :upto]
    return np.zeros(0), basis


def _orthonormal(
    vectors: FloatArray, loads: FloatArray, basis: FloatArray, basis_loads: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What is new in vectors (n, b) that answer `loads`, orthonormal in energy to each other and to the basis, its
    loads, and how it makes up the remainder (new, b) of the vectors.
    """
    before = np.sqrt(np.maximum(np.einsum("nb,nb->b", loads, vectors), 0.0))
    for _ in range(2):
        inside = basis_loads.T @ vectors
        vectors, loads = vectors - basis @ inside, loads - basis_loads @ inside
    total = np.eye(vectors.shape[1])
    for _ in range(2):
        energy = loads.T @ vectors
        size, turn = np.linalg.eigh(0.5 * (energy + energy.T))
        kept = size > (LOST * before.max(initial=0.0)) ** 2
        size, turn = np.sqrt(size[kept]), turn[:, kept]
        vectors, loads = vectors @ (turn / size), loads @ (turn / size)
        total = (turn * size).T @ total
        before = np.ones(1)
    return vectors, loads, total
