"""Forces that only push: the linear complementarity problem of a few contact places."""

from __future__ import annotations

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.optimize import nnls

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError

TRIES = 3
"""Exchanges of all wrong places at once that may fail to improve before one at a time is exchanged."""


def push_only(
    compliance: FloatArray, gap: FloatArray, start: BoolArray | None = None, tolerance: float = 1e-11
) -> tuple[FloatArray, int]:
    """Forces λ ≥ 0 (n,) with gaps g + C λ ≥ 0 and λ · (g + C λ) = 0, and the number of exchanges it took.

    `compliance` C (n, n), symmetric and positive definite (m/N); `gap` g (n,) m without force; `start` (n,):
    places thought to touch.  Places whose force or gap has the wrong sign change sides, all at once; when
    that stops improving, the last one only, which ends for every positive definite C.  If C is singular the
    problem is solved as non-negative least squares instead.  Raises ModelError if neither gives an answer.

    Source: block principal pivoting, Júdice & Pires 1994 (from memory); one at a time, Murty 1974 (from
    memory); non-negative least squares, Lawson & Hanson 1974, as in SciPy.

    >>> force, _ = push_only(np.array([[2.0, 1.0], [1.0, 2.0]]), np.array([-1.0, 1.0]))
    >>> force.round(12).tolist()
    [0.5, 0.0]
    """
    n = len(gap)
    diagonal = np.diag(compliance)
    if (diagonal <= 0).any():
        raise ModelError("a place pushed on does not give at all", do="take it out of the contact")
    scale = 1.0 / np.sqrt(diagonal)
    C = scale[:, None] * compliance * scale
    g = scale * gap
    size = float(np.abs(g).max(initial=0.0))
    if n == 0 or size == 0.0:
        return np.zeros(n), 0
    touch = np.zeros(n, bool) if start is None else start.copy()
    best, tries = n + 1, TRIES
    for exchange in range(50 + 10 * n):
        force = np.zeros(n)
        try:
            if touch.any():
                force[touch] = cho_solve(cho_factor(C[np.ix_(touch, touch)]), -g[touch])
        except LinAlgError:
            break
        gaps = g + C @ force
        wrong = np.where(touch, force < -tolerance * size, gaps < -tolerance * size)
        count = int(wrong.sum())
        if count == 0:
            return scale * np.maximum(force, 0.0), exchange
        if count < best:
            best, tries = count, TRIES
        elif tries > 0:
            tries -= 1
        else:
            last = np.flatnonzero(wrong)[-1:]
            wrong = np.zeros(n, bool)
            wrong[last] = True
        touch ^= wrong
    return scale * _least_squares(C, g, size), 50 + 10 * n


def _least_squares(C: FloatArray, g: FloatArray, size: float) -> FloatArray:
    """The same forces as min ½ λᵀCλ + gᵀλ, λ ≥ 0, from the square root of a singular C; checked."""
    values, vectors = np.linalg.eigh(C)
    kept = values > 1e-13 * values[-1]
    root = np.sqrt(values[kept])[:, None] * vectors[:, kept].T
    target = -(vectors[:, kept].T @ g) / np.sqrt(values[kept])
    force: FloatArray = nnls(root, target, maxiter=30 * len(g))[0]
    error = float(np.abs(np.minimum(force, g + C @ force)).max())
    if error > 1e-5 * size:
        raise ModelError(
            "contact does not settle: no set of pushing forces keeps the panel off the shape",
            where=f"error {error / size:.1e} of the greatest gap",
            do="push less far, or free the place that is pushed against a rigid fixing",
        )
    return force
