"""Moderately large deflection of thin rectangular plates: von Karman strains, Ritz, Newton.

Strains of the middle surface e = [u,x + ½w,x² + w,x w0,x | v,y + ½w,y² + w,y w0,y | u,y + v,x + w,x w,y + w,x w0,y +
w,y w0,x], curvatures k = [−w,xx, −w,yy, −2w,xy]; w is added to the stress-free shape w0.  The energy
½∫(eᵀA e + 2eᵀB k + kᵀD k) − ∫q w is quadratic in (u, v), so these are eliminated exactly for any w and Newton runs on
the coefficients of w alone.  Polynomials of high degree: integrated Legendre for u, v, Legendre combinations that meet
the edge conditions for w; the Gauss rule integrates every product exactly.  The pressure is dead, along +z.

Thin plates: against a first-order plate the share of shear in the deflection is about 5 (h/a)² where bending rules
(supported; 20 (h/a)² clamped: linear plates, h/a = 0.1 gives 5 % and 19 %), and less where the membrane carries.  At
h/a = 1/300 it is below 3e-4 of the deflection.  Terms of the order of the squared slope beside one are left out, so
hold an element of finite rotations to it at (w/a)² below the tolerance wanted: for w = 2h, h/a = 1/300 that is 4e-5
(slopes squared: about 4e-4).

Source: T. von Karman 1910 (equations, textbook: Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*, ch. 13);
the elimination and the start of the post-buckling path (Koiter's fourth-order energy) are derived here.  Values held
against: S. Levy, NACA TN 846 (1942) and TN 847 (1942); K. Marguerre 1937; all recalled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.polynomial import legendre
from scipy.linalg import cho_factor, cho_solve, eigh, null_space

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.kirchhoff import Hold, edge_polynomials
from panelfem.reference.ritz import hierarchic

_WHERE = "plate with large deflection"


@dataclass(frozen=True)
class PlateEdge:
    """How one edge is held.

    `bending`: clamped, supported or free.  `normal`: the displacement along the in-plane normal is "held" (at `push` m
    inward times the level, zero by default), "straight" (one unknown for the whole edge, no net force) or "free".
    `tangential`: the displacement along the edge is "held" at zero or "free".
    """

    bending: Hold = "supported"
    normal: Literal["held", "straight", "free"] = "held"
    tangential: Literal["held", "free"] = "free"
    push: float = 0.0

    def __post_init__(self) -> None:
        if self.push != 0 and self.normal != "held":
            raise ModelError("an edge is pushed and not held", where=_WHERE, do="hold its normal displacement")


@dataclass(frozen=True)
class Buckling:
    """`level` at which the flat plate bifurcates, and `ratio` of the stiffness just beyond to that before."""

    level: float
    ratio: float


@dataclass(frozen=True)
class LargePlate:
    """Rectangle 0 ≤ x ≤ a, 0 ≤ y ≤ b.

    `stiffness` [[A B][B D]] (6, 6) or larger (rows beyond six are not used), N/m, N, N·m; `edges`: x = 0, x = a, y = 0,
    y = b; `q` Pa along +z; `w0(x (m,), y (m,)) -> (m,)` m, stress-free shape, smooth; `degree` of w, and `inplane` of u
    and v.  Raises :class:`ModelError` for edges that contradict each other or leave the plate free to move.

    >>> from panelfem.reference.stiffness import isotropic
    >>> C = isotropic(1.0, 0.1**0.5, 1.0)
    >>> plate = LargePlate(C, 1.0, 1.0, (PlateEdge("clamped"),) * 4, q=17.79, degree=10, inplane=12)
    >>> round(plate.solve([1.0])[-1].deflection(0.5, 0.5), 4)
    0.2362
    """

    stiffness: FloatArray
    a: float
    b: float
    edges: tuple[PlateEdge, PlateEdge, PlateEdge, PlateEdge]
    q: float = 0.0
    w0: Callable[[FloatArray, FloatArray], FloatArray] | None = None
    degree: int = 14
    inplane: int = 16

    def __post_init__(self) -> None:
        held = [e for e in self.edges if e.bending != "free"]
        if len(held) < 2 and not any(e.bending == "clamped" for e in held):
            raise ModelError("the plate is free to move across its plane", where=_WHERE, do="support two edges")
        for i, edge in enumerate(self.edges):
            moves = edge.normal == "straight" or edge.push != 0
            if moves and self._gripped(i):
                raise ModelError(
                    "an edge moves as a whole while its neighbour holds the corner", where=_WHERE, do="free the slip"
                )

    def _gripped(self, i: int) -> bool:
        """Whether a neighbour of edge i holds the displacement normal to edge i."""
        return any(self.edges[j].tangential == "held" for j in ((2, 3) if i < 2 else (0, 1)))

    @cached_property
    def _rule(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Gauss points s on 0..1 each way, (n,), all pairs x, y (n²,) m, and their weights (n²,) m²."""
        t, w = legendre.leggauss(max(2 * self.degree, self.degree + self.inplane // 2) + 1)
        s = (t + 1) / 2
        x, y = (g.ravel() for g in np.meshgrid(self.a * s, self.b * s, indexing="ij"))
        return s, x, y, np.outer(w, w).ravel() * self.a * self.b / 4

    # -- in-plane displacements ---------------------------------------------------------------------------------

    def _strain_rows(self, s: FloatArray, t: FloatArray, grid: bool) -> FloatArray:
        """Rows (m, 3, 2 n) of the linear strains on all coefficients of u, then of v."""
        (f, df), (g, dg) = hierarchic(self.inplane, s), hierarchic(self.inplane, t)
        how = "pi,qj->pqij" if grid else "pi,pj->pij"
        n = (self.inplane + 1) ** 2
        dx, dy = (np.einsum(how, p, r).reshape(-1, n) for p, r in ((df / self.a, g), (f, dg / self.b)))
        none = np.zeros_like(dx)
        return np.stack([np.hstack([dx, none]), np.hstack([none, dy]), np.hstack([dy, dx])], axis=1)

    @cached_property
    def _spaces(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Coefficients of the admissible in-plane fields (2n, free), of a unit inward push of each edge (2n, 4), and
        the rigid motions among the admissible ones (free, k)."""
        n = self.inplane + 1
        columns: list[FloatArray] = []
        push = np.zeros((2, n, n, 4))
        for c in range(2):  # u, then v: its normal edges along axis c
            mine, other = self.edges[2 * c : 2 * c + 2], self.edges[2 - 2 * c : 4 - 2 * c]
            free = np.ones((n, n), bool)  # along the normal, along the edge
            for k in range(2):
                if mine[k].normal != "free":
                    free[k] = False
                if other[k].tangential == "held":
                    free[:, k] = False
            fields = [np.zeros((n, n)) for _ in range(int(free.sum()))]
            for field, at in zip(fields, np.argwhere(free), strict=True):
                field[tuple(at)] = 1
            for k in range(2):
                whole = np.zeros((n, n))
                whole[k, :2] = 1
                if mine[k].normal == "straight":
                    fields.append(whole)
                push[c, :, :, 2 * c + k] = (1 if k == 0 else -1) * (whole if c == 0 else whole.T)
            for field in fields:
                both = np.zeros((2, n, n))
                both[c] = field if c == 0 else field.T
                columns.append(both.ravel())
        free_fields = np.array(columns).T
        rigid = np.zeros((2, n, n, 3))
        rigid[0, :2, :2, 0] = rigid[1, :2, :2, 1] = 1
        rigid[0, :2, 1, 2], rigid[1, 1, :2, 2] = -self.b, self.a
        whole_rigid = rigid.reshape(-1, 3)
        inside = free_fields.T @ whole_rigid / (free_fields**2).sum(0)[:, None]
        combination = null_space(whole_rigid - free_fields @ inside)
        return free_fields, push.reshape(-1, 4), inside @ combination

    @cached_property
    def _membrane(self) -> tuple[FloatArray, FloatArray, tuple[FloatArray, bool]]:
        """Strain rows of the admissible fields and of the pushes at the Gauss points, (3m, ·), and the factor of the
        membrane stiffness; rigid motions are stopped by springs that carry no force."""
        s, _, _, weight = self._rule
        rows = self._strain_rows(s, s, grid=True)
        free_fields, push, rigid = self._spaces
        m = np.asarray(rows @ free_fields)
        k = np.einsum("p,pim,ij,pjn->mn", weight, m, self._abd[:3, :3], m, optimize=True)
        k += np.trace(k) / len(k) * rigid @ rigid.T
        return m.reshape(3 * len(weight), -1), (rows @ push).reshape(3 * len(weight), 4), cho_factor(k)

    # -- deflection ---------------------------------------------------------------------------------------------

    @cached_property
    def _abd(self) -> FloatArray:
        return np.asarray(self.stiffness, float)[:6, :6]

    @cached_property
    def _bases(self) -> tuple[FloatArray, FloatArray]:
        e = [edge.bending for edge in self.edges]
        return edge_polynomials(self.degree, e[0], e[1]), edge_polynomials(self.degree, e[2], e[3])

    def _tables(self, s: FloatArray, t: FloatArray, grid: bool) -> list[FloatArray]:
        """Rows (m, k) of w, w,x, w,y, w,xx, w,yy, w,xy."""
        how = "pi,qj->pqij" if grid else "pi,pj->pij"
        parts: list[list[FloatArray]] = []
        for basis, at, length in zip(self._bases, (s, t), (self.a, self.b), strict=True):
            c: FloatArray = basis
            part: list[FloatArray] = []
            for order in range(3):
                value = np.asarray(legendre.legval(2 * at - 1, c), np.float64).T.reshape(len(at), -1)
                part.append(value * (2 / length) ** order)
                c = np.asarray(legendre.legder(c, axis=0), np.float64)
            parts.append(part)
        k = self._bases[0].shape[1] * self._bases[1].shape[1]
        X, Y = parts
        orders = ((0, 0), (1, 0), (0, 1), (2, 0), (0, 2), (1, 1))
        return [np.einsum(how, X[i], Y[j]).reshape(-1, k) for i, j in orders]

    @cached_property
    def _bending(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """At the Gauss points: rows of the slopes (2, m, k) and curvatures (m, 3, k), and ∫w (k,)."""
        s, _, _, weight = self._rule
        w, wx, wy, wxx, wyy, wxy = self._tables(s, s, grid=True)
        return np.stack([wx, wy]), np.stack([-wxx, -wyy, -2 * wxy], axis=1), weight @ w

    @cached_property
    def _shape(self) -> FloatArray:
        """Legendre coefficients (degree + 1, degree + 1) of w0."""
        if self.w0 is None:
            return np.zeros((self.degree + 1, self.degree + 1))
        s, x, y, _ = self._rule
        value = np.asarray(self.w0(x, y), float).reshape(len(s), len(s))
        v = legendre.legvander(2 * s - 1, self.degree)
        w = legendre.leggauss(len(s))[1][:, None] * v * (np.arange(self.degree + 1) + 0.5)
        c = w.T @ value @ w
        if np.abs(v @ c @ v.T - value).max() > 1e-5 * np.abs(value).max():
            raise ModelError("the initial shape is not caught by the degree", where=_WHERE, do="raise the degree")
        return np.asarray(c)

    def _slopes0(self, s: FloatArray, t: FloatArray, grid: bool) -> FloatArray:
        """w0,x and w0,y (2, m)."""
        at = legendre.leggrid2d if grid else legendre.legval2d
        c = self._shape
        dx, dy = legendre.legder(c, axis=0) * 2 / self.a, legendre.legder(c, axis=1) * 2 / self.b
        return np.stack([np.asarray(at(2 * s - 1, 2 * t - 1, d)).ravel() for d in (dx, dy)])

    # -- equilibrium --------------------------------------------------------------------------------------------

    def _balance(self, c: FloatArray, level: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Out-of-balance force (k,), tangent (k, k) with u, v eliminated, and the in-plane coefficients."""
        s, _, _, weight = self._rule
        slope, bend, load = self._bending
        rows, pushed, factor = self._membrane
        A, B, D = self._abd[:3, :3], self._abd[:3, 3:], self._abd[3:, 3:]
        m, p = len(weight), np.array([e.push for e in self.edges]) * level
        g0 = self._slopes0(s, s, grid=True)
        g = slope @ c + g0
        strain = (pushed @ p).reshape(m, 3) + _products(g) - _products(g0)
        k = bend @ c
        ahead = weight[:, None] * (strain @ A + k @ B.T)
        inplane = -cho_solve(factor, rows.T @ ahead.ravel())
        strain = strain + (rows @ inplane).reshape(m, 3)
        N, M = strain @ A + k @ B.T, strain @ B + k @ D
        turn = np.stack([g[0, :, None] * slope[0], g[1, :, None] * slope[1]], axis=1)
        turn = np.concatenate([turn, (g[0, :, None] * slope[1] + g[1, :, None] * slope[0])[:, None]], axis=1)
        force = np.einsum("p,pi,pik->k", weight, N, turn) + np.einsum("p,pi,pik->k", weight, M, bend)
        both = np.concatenate([turn, bend], axis=1)
        stress = np.einsum("p,ij,pjk->pik", weight, self._abd, both, optimize=True)
        tangent = both.reshape(-1, len(c)).T @ stress.reshape(-1, len(c)) + self._geometric(weight[:, None] * N)
        cross = rows.T @ stress[:, :3].reshape(3 * m, -1)
        return force - level * self.q * load, tangent - cross.T @ cho_solve(factor, cross), inplane

    def _geometric(self, N: FloatArray) -> FloatArray:
        """∫(Nx w,x² + Ny w,y² + 2 Nxy w,x w,y) as a matrix, from weighted resultants (m, 3)."""
        x, y = self._bending[0]
        half = x.T @ (N[:, :1] * x / 2 + N[:, 2:] * y) + y.T @ (N[:, 1:2] * y / 2)
        return np.asarray(half + half.T)

    def solve(self, levels: Sequence[float]) -> list[PlateState]:
        """States with pressure and pushes times each level, followed in turn from the unloaded plate.

        Steps that Newton cannot take, or that lead from a stable state to one that is not, are halved; where halving
        ends, the unstable state is kept and says so, and a path that is lost raises :class:`ModelError`.
        """
        c, at, stable = np.zeros(self._bending[2].shape), 0.0, True
        out: list[PlateState] = []
        for level in levels:
            step, least = level - at, 1e-3 * max(abs(level), abs(level - at))
            while True:
                aim = level if abs(level - at) <= abs(step) * (1 + 1e-12) else at + step
                found = self._newton(c, aim)
                if (found is None or (stable and not found.stable)) and abs(step) > least:
                    step /= 2
                    continue
                if found is None:
                    raise ModelError(
                        f"no equilibrium found beyond level {at:.6g}", where=_WHERE, do="give an initial shape"
                    )
                c, at, stable = found.deflections, aim, found.stable
                if aim == level:
                    out.append(found)
                    break
        return out

    def _newton(self, c: FloatArray, level: float) -> PlateState | None:
        for _ in range(25):
            force, tangent, inplane = self._balance(c, level)
            change = np.linalg.solve(tangent, -force)
            c = c + change
            if np.abs(change).max() <= 1e-10 * max(np.abs(c).max(), 1e-9 * self.a):
                _, tangent, inplane = self._balance(c, level)
                return PlateState(self, level, c, inplane, bool(np.linalg.eigvalsh(tangent)[0] > 0))
            if not np.isfinite(c).all():
                return None
        return None

    def buckling(self) -> Buckling:
        """Bifurcation of the flat plate under the pushes alone, and the stiffness against them just beyond it.

        With the mode w = ξ φ the energy is ½C level² + ½ξ²(K + level G) + ¼c ξ⁴, u and v eliminated, so the
        stiffness falls from C to C − G²/(2c).  Needs B = 0, no initial shape, and a single lowest mode.

        >>> from panelfem.reference.stiffness import isotropic
        >>> loaded, side = PlateEdge(push=0.5e-4), PlateEdge(normal="straight")
        >>> found = LargePlate(isotropic(1.0, 0.3, 0.01), 1.0, 1.0, (loaded, loaded, side, side)).buckling()
        >>> round(found.level, 5), round(found.ratio, 6)                # 4π²D/(a² E h · 1e-4), one half
        (3.61524, 0.5)
        """
        if np.abs(self._abd[:3, 3:]).max() > 1e-9 * np.abs(self._abd[:3, :3]).max() * self.a or self.w0 is not None:
            raise ModelError("the plate is not flat under its pushes", where=_WHERE, do="follow the path by solve")
        if all(e.push == 0 for e in self.edges):
            raise ModelError("no edge is pushed", where=_WHERE)
        _, _, _, weight = self._rule
        slope, bend, _ = self._bending
        A = self._abd[:3, :3]
        rows, pushed, factor = self._membrane

        def relaxed(strain: FloatArray) -> FloatArray:
            inplane = -cho_solve(factor, rows.T @ (weight[:, None] * (strain @ A)).ravel())
            return strain + (rows @ inplane).reshape(-1, 3)

        flat = relaxed((pushed @ np.array([e.push for e in self.edges])).reshape(-1, 3))
        K = np.einsum("p,pik,ij,pjl->kl", weight, bend, self._abd[3:, 3:], bend, optimize=True)
        G = self._geometric(weight[:, None] * (flat @ A))
        value, modes = eigh(-G, K, subset_by_index=[len(K) - 1, len(K) - 1])
        if value[0] <= 0:
            raise ModelError("the pushes do not compress the plate", where=_WHERE)
        mode = modes[:, 0]
        second = relaxed(_products(slope @ mode))
        fall = float(mode @ G @ mode)
        c = 2 * float(weight @ np.einsum("pi,ij,pj->p", second, A, second))
        stiff = float(weight @ np.einsum("pi,ij,pj->p", flat, A, flat))
        return Buckling(1 / float(value[0]), 1 - fall**2 / (2 * c * stiff))


def _products(g: FloatArray) -> FloatArray:
    """[½g1², ½g2², g1 g2] (m, 3) of slopes (2, m)."""
    return np.stack([g[0] ** 2 / 2, g[1] ** 2 / 2, g[0] * g[1]], axis=1)


@dataclass(frozen=True)
class PlateState:
    """Equilibrium of `plate` at `level`; `stable`: the energy is a minimum there."""

    plate: LargePlate
    level: float
    deflections: FloatArray
    inplane: FloatArray
    stable: bool

    def _fields(self) -> FloatArray:
        free_fields, push, _ = self.plate._spaces
        return np.asarray(
            free_fields @ self.inplane + push @ (self.level * np.array([e.push for e in self.plate.edges]))
        )

    def deflection(self, x: float, y: float) -> float:
        """Deflection w added to w0 at a point, m."""
        at = np.array([x / self.plate.a]), np.array([y / self.plate.b])
        return float((self.plate._tables(*at, grid=False)[0] @ self.deflections)[0])

    def displacement(self, x: float, y: float) -> FloatArray:
        """[u, v, w] at a point, m; without the rigid motions that nothing holds."""
        p = self.plate.inplane
        f, g = hierarchic(p, np.array([x / self.plate.a]))[0][0], hierarchic(p, np.array([y / self.plate.b]))[0][0]
        uv = np.einsum("cij,i,j->c", self._fields().reshape(2, p + 1, p + 1), f, g)
        return np.array([*uv, self.deflection(x, y)])

    def strains(self, x: float, y: float) -> FloatArray:
        """[e11 e22 2e12 | k11 k22 2k12] (6,) at a point."""
        plate = self.plate
        at = np.array([x / plate.a]), np.array([y / plate.b])
        _, wx, wy, wxx, wyy, wxy = (row @ self.deflections for row in plate._tables(*at, grid=False))
        g0 = plate._slopes0(*at, grid=False)
        e = (plate._strain_rows(*at, grid=False) @ self._fields() + _products(np.stack([wx, wy]) + g0))[0]
        return np.array([*(e - _products(g0)[0]), -wxx[0], -wyy[0], -2 * wxy[0]])

    def resultants(self, x: float, y: float) -> FloatArray:
        """[N11 N22 N12 | M11 M22 M12] (6,) at a point, N/m and N."""
        return np.asarray(self.plate._abd @ self.strains(x, y))

    def edge_force(self, edge: int) -> float:
        """Total in-plane push on edge 0..3 (x = 0, x = a, y = 0, y = b), N, inward positive, by virtual work.

        Raises :class:`ModelError` where a neighbour holds the slip, for its force would be in it.
        """
        plate = self.plate
        if plate._gripped(edge):
            raise ModelError("a neighbour of the edge holds the slip", where=_WHERE, do="integrate the resultants")
        s, _, _, weight = plate._rule
        rows, pushed, _ = plate._membrane
        slope, bend, _ = plate._bending
        g0 = plate._slopes0(s, s, grid=True)
        p = self.level * np.array([e.push for e in plate.edges])
        e = (rows @ self.inplane + pushed @ p).reshape(-1, 3) + _products(slope @ self.deflections + g0) - _products(g0)
        N = e @ plate._abd[:3, :3] + (bend @ self.deflections) @ plate._abd[:3, 3:].T
        return float((weight[:, None] * N).ravel() @ pushed[:, edge])
