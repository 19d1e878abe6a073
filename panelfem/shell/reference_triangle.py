"""What the element of order k takes from the reference triangle: node bases, tied strain spaces, quadrature.

Displacements and geometry use the nodal basis of P_k; rotation vectors that of P_k plus the cubic bubble times the
homogeneous polynomials of degree k−2.  The membrane strain is tied to the Regge space of symmetric tensors of degree
k−1 and the transverse shear to the first-kind Nédélec space of order k: both are fixed by tangential values at k Gauss
points an edge and by moments against P_(k−2) inside, taken with the rule that integrates the element.

Source: interpolation into the Regge space against membrane locking, Neunteufel & Schöberl 2021; edge-element ties
against shear locking, Hughes & Tezduyar 1981 and Brezzi, Bathe & Fortin 1989 (all recalled; the combination was
chosen by measurement and is held to the patch tests, zero modes and locking tests of this project).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial.legendre import legder, leggauss, legvander
from skfem import ElementTriP2
from skfem.quadrature import get_quadrature

from panelfem.arrays import FloatArray
from panelfem.mesh.lattice import CORNERS, EDGES, lattice

DEGREE = {2: 5, 3: 6, 4: 9, 5: 10, 6: 12}
"""Degree of the rule of each order: at least as many points as rotation nodes, or drilling gains zero modes."""


Span = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def _legendre_products(n: int, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """L_i(2r−1)·L_j(2s−1), i + j ≤ n by rising degree: values (p, m) and derivatives (2, p, m)."""
    pairs = [(d - j, j) for d in range(n + 1) for j in range(d + 1)]
    i, j = np.array(pairs, np.int64).T
    slopes = np.zeros((n + 1, n + 1))
    for degree in range(1, n + 1):
        slopes[:degree, degree] = 2.0 * legder(np.eye(n + 1)[degree])[:degree]
    in_r, in_s = (legvander(2.0 * x - 1.0, n) for x in points)
    by_r, by_s = in_r @ slopes, in_s @ slopes
    return in_r[:, i] * in_s[:, j], np.stack([by_r[:, i] * in_s[:, j], in_r[:, i] * by_s[:, j]])


@cache
def _orthonormal(n: int) -> FloatArray:
    """Upper triangular coefficients (m, m) that make the products of degree n orthonormal on the triangle."""
    points, weights = (np.asarray(part, float) for part in get_quadrature(ElementTriP2.refdom, 2 * n))
    values = _legendre_products(n, points)[0] * np.sqrt(weights)[:, None]
    upper = np.linalg.qr(values, mode="r")
    inverse: FloatArray = np.linalg.inv(upper)
    return inverse


def polynomials(n: int, points: FloatArray, lowest: int = 0) -> tuple[FloatArray, FloatArray]:
    """Orthonormal polynomials of degree `lowest` to n on the triangle: values (p, m), derivatives (2, p, m).

    The first (d+1)(d+2)/2 of them span the polynomials of degree d.  With monomials the matrices of order 6
    lost five digits more (measured).
    """
    value, slope = _legendre_products(n, points)
    columns = _orthonormal(n)[:, lowest * (lowest + 1) // 2 :]
    return value @ columns, slope @ columns


class NodalBasis:
    """The functions of a span (n of them) that are one at one of the `nodes` (2, n) and zero at the others."""

    def __init__(self, span: Span, nodes: FloatArray) -> None:
        self.span, self.nodes = span, nodes
        self.coefficients = np.linalg.inv(span(nodes)[0])

    @property
    def size(self) -> int:
        """Number of nodes."""
        return int(self.nodes.shape[1])

    def __call__(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Values (p, n) and derivatives (2, p, n) at points (2, p)."""
        value, derivative = self.span(points)
        return value @ self.coefficients, derivative @ self.coefficients


def displacement_basis(k: int) -> NodalBasis:
    """P_k on its own lattice."""
    return NodalBasis(lambda points: polynomials(k, points), np.hstack(lattice(k)))


def rotation_basis(k: int) -> NodalBasis:
    """P_k and bubble r·s·(1−r−s) times degree k−2; nodes: boundary of lattice k, inner of lattice k+1."""

    def span(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        r, s = points[:, :, None]
        bubble = r * s * (1.0 - r - s)
        slope = np.stack([s * (1.0 - 2.0 * r - s), r * (1.0 - r - 2.0 * s)])
        full, top = polynomials(k, points), polynomials(k - 2, points, k - 2)
        top_slope = slope * top[0] + bubble * top[1]
        return np.hstack([full[0], bubble * top[0]]), np.concatenate([full[1], top_slope], axis=2)

    return NodalBasis(span, np.hstack([lattice(k)[0], lattice(k + 1)[1]]))


def regge(k: int, points: FloatArray) -> FloatArray:
    """A basis (p, 3, n) of symmetric tensors (e11, e22, 2·e12) of degree k−1."""
    values = polynomials(k - 1, points)[0]
    basis = np.kron(np.eye(3), values).reshape(3, points.shape[1], -1).swapaxes(0, 1)
    return np.asarray(basis, float)


def nedelec(k: int, points: FloatArray) -> FloatArray:
    """A basis (p, 2, n) of the first-kind Nédélec space: vectors of degree k−1 and (s, −r) times degree k−1."""
    values = polynomials(k - 1, points)[0]
    full = np.kron(np.eye(2), values).reshape(2, points.shape[1], -1).swapaxes(0, 1)
    top = polynomials(k - 1, points, k - 1)[0]
    turned = np.stack([points[1][:, None] * top, -points[0][:, None] * top], axis=1)
    basis: FloatArray = np.concatenate([full, turned], axis=2)
    return basis


@dataclass(frozen=True)
class Tie:
    """Interpolation into a strain space from samples.

    `functionals` (n, samples) act on the samples [tangential values at the edge points | all components at the points
    of the rule]; `coefficients` (members, n) of the dual basis in `space`.
    """

    k: int
    space: Callable[[int, FloatArray], FloatArray]
    functionals: FloatArray
    coefficients: FloatArray

    def __call__(self, points: FloatArray) -> FloatArray:
        """Dual basis (p, components, n) at points (2, p)."""
        return self.space(self.k, points) @ self.coefficients


@dataclass(frozen=True)
class ReferenceTriangle:
    """Everything of order k that does not depend on the element.

    `edge_points` (2, 3k) Gauss points of the edges, `tangents` (3k, 2) edge vectors there; `points` (2, nq) and
    `weights` (nq,) of the rule (weights sum to ½).
    """

    k: int
    displacement: NodalBasis
    rotation: NodalBasis
    edge_points: FloatArray
    tangents: FloatArray
    points: FloatArray
    weights: FloatArray
    membrane: Tie
    shear: Tie


@cache
def reference_triangle(k: int) -> ReferenceTriangle:
    """The reference triangle of order k, 2 to 6.

    >>> triangle = reference_triangle(4)
    >>> triangle.displacement.size, triangle.rotation.size, len(triangle.weights)
    (15, 18, 19)
    >>> triangle.membrane.functionals.shape[0], triangle.shear.functionals.shape[0]
    (30, 24)
    """
    points, weights = (np.asarray(part, float) for part in get_quadrature(ElementTriP2.refdom, DEGREE[k]))
    gauss = (leggauss(k)[0] + 1.0) / 2.0
    edge_points = np.array([CORNERS[a] + g * (CORNERS[b] - CORNERS[a]) for a, b in EDGES for g in gauss]).T
    tangents = np.array([CORNERS[b] - CORNERS[a] for a, b in EDGES for _ in gauss])
    moments = polynomials(k - 2, points)[0].T * weights

    def tie(space: Callable[[int, FloatArray], FloatArray], components: int, along: FloatArray) -> Tie:
        n_edge, n_inner = len(along), len(moments) * components
        functionals = np.zeros((n_edge + n_inner, n_edge + len(weights) * components))
        functionals[:n_edge, :n_edge] = np.eye(n_edge)
        inner = np.einsum("mq,cd->mcqd", moments, np.eye(components))
        functionals[n_edge:, n_edge:] = inner.reshape(n_inner, -1)
        on_edge = np.einsum("pc,pcn->pn", along, space(k, edge_points))
        samples = np.vstack([on_edge, space(k, points).reshape(len(weights) * components, -1)])
        return Tie(k, space, functionals, np.linalg.inv(functionals @ samples))

    double = np.stack([tangents[:, 0] ** 2, tangents[:, 1] ** 2, tangents[:, 0] * tangents[:, 1]], axis=1)
    return ReferenceTriangle(
        k,
        displacement_basis(k),
        rotation_basis(k),
        edge_points,
        tangents,
        points,
        weights,
        tie(regge, 3, double),
        tie(nedelec, 2, tangents),
    )
