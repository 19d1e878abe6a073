"""Vibration and buckling of rectangular laminated plates, thin or first-order thick, by Ritz with polynomials.

Strains of the small motion: e11 = u,x  e22 = v,y  2e12 = u,y + v,x  k11 = φ1,x  k22 = φ2,y  2k12 = φ1,y + φ2,x
g1 = w,x + φ1  g2 = w,y + φ2; thin: φ = −grad w.  A prestress N (N/m, tension positive, uniform over the plate) adds
½ (Nx w,x² + Ny w,y² + 2 Nxy w,x w,y), von Kármán's; `full` adds the same of u and v, as a shell of finite rotations
would: a share N/A of the in-plane motion, which for [0/90] with E1/E2 = 40 and a/h = 10 is .9 % of the buckling load.
The prestress is given, not solved for: no edge condition acts before buckling, those below hold for the small motion.
Energy and inertia are bounded from one side: frequencies and factors fall to the exact ones with the degree, quickly
unless a clamped edge meets a free one (square, C-C-S-F: 23.373 at degree 12, 23.369 at 24).

Source: Reddy, *Mechanics of Laminated Composite Plates and Shells* (equations; recalled); Rayleigh-Ritz.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.polynomial import legendre
from scipy.linalg import block_diag, null_space

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.reference.eigen import lowest
from panelfem.reference.kirchhoff import Hold, edge_polynomials

Plane = Literal["none", "normal", "tangential", "both"]
"""Which in-plane displacement of the small motion an edge holds."""

USUAL: Mapping[Hold, Plane] = {"clamped": "both", "supported": "tangential", "free": "none"}
"""In-plane holds that go with the others unless told: a supported edge is then Navier's cross-ply one (SS-1)."""

Term = tuple[str, int, int, float]
"""(component, derivatives along x, along y, factor)."""

MEMBRANE: tuple[list[Term], ...] = (
    [("u", 1, 0, 1.0)],
    [("v", 0, 1, 1.0)],
    [("u", 0, 1, 1.0), ("v", 1, 0, 1.0)],
)
THIN: tuple[list[Term], ...] = ([("w", 2, 0, -1.0)], [("w", 0, 2, -1.0)], [("w", 1, 1, -2.0)], [], [])
THICK: tuple[list[Term], ...] = (
    [("p", 1, 0, 1.0)],
    [("q", 0, 1, 1.0)],
    [("p", 0, 1, 1.0), ("q", 1, 0, 1.0)],
    [("w", 1, 0, 1.0), ("p", 0, 0, 1.0)],
    [("w", 0, 1, 1.0), ("q", 0, 0, 1.0)],
)
SLOPES: tuple[list[Term], ...] = ([("w", 1, 0, 1.0)], [("w", 0, 1, 1.0)])
IN_PLANE: tuple[list[Term], ...] = ([("u", 1, 0, 1.0)], [("u", 0, 1, 1.0)], [("v", 1, 0, 1.0)], [("v", 0, 1, 1.0)])
TURNS: tuple[list[Term], ...] = ([("p", 0, 0, 1.0)], [("q", 0, 0, 1.0)])


@dataclass(frozen=True)
class EigenPlate:
    """Rectangle 0 ≤ x ≤ a, 0 ≤ y ≤ b (m) of `stiffness` (8, 8) [A B 0; B D 0; 0 0 S], N/m, N, N·m.

    `edges`: how x = 0, x = a, y = 0, y = b are held against deflection and turning; `in_plane`: which in-plane
    displacement each holds (None: :data:`USUAL`).  `thin` forbids transverse shear.  In thick theory a supported edge
    holds the turn along itself (φ2 at x = 0) unless `soft`.  Without coupling (B = 0) in-plane motion has no part in
    modes with deflection and is left out unless `membrane`; otherwise in-plane modes of vibration are among the others.

    Source: square supported plate, Nx: k = N b²/(π² D) = 4 (Timoshenko & Gere, *Theory of Elastic Stability*,
    recalled; exact); clamped, lowest frequency ω a² √(m/D) = 35.985 (Leissa 1973 gives 35.992, an upper bound).

    >>> from panelfem.reference.stiffness import isotropic
    >>> C = isotropic(12 * .91, .3, 1.)          # D = 1
    >>> plate = EigenPlate(C, 1., 1., ("supported",) * 4)
    >>> round(float(plate.factors(1, (-1., 0., 0.))[0]) / np.pi**2, 6)
    4.0
    >>> round(float(EigenPlate(C, 1., 1., ("clamped",) * 4).frequencies(1, 1.0)[0]), 3)
    35.985
    """

    stiffness: FloatArray
    a: float
    b: float
    edges: tuple[Hold, Hold, Hold, Hold]
    in_plane: tuple[Plane, Plane, Plane, Plane] | None = None
    thin: bool = True
    soft: bool = False
    full: bool = False
    membrane: bool = False
    degree: int = 12

    @cached_property
    def components(self) -> tuple[str, ...]:
        """Those that take part, of u, v, w, p = φ1, q = φ2."""
        coupling = np.abs(self.stiffness[:3, 3:6]).max()
        scale = np.sqrt(np.abs(np.diag(self.stiffness)[:3]).max() * np.abs(np.diag(self.stiffness)[3:6]).max())
        plane = ("u", "v") if self.membrane or coupling > 1e-12 * scale else ()
        return (*plane, "w", *(() if self.thin else ("p", "q")))

    def _hold(self, component: str, edge: int) -> Hold:
        """How one edge holds one component: its value ("supported"), its value and slope ("clamped"), or not."""
        hold, across = self.edges[edge], (edge < 2) == (component in "up")
        if component == "w":
            return hold if self.thin or hold != "clamped" else "supported"
        if component in "uv":
            held = self.in_plane[edge] if self.in_plane else USUAL[hold]
            return "supported" if held in ("both", "normal" if across else "tangential") else "free"
        turn = hold == "clamped" or (hold == "supported" and not across and not self.soft)
        return "supported" if turn else "free"

    @cached_property
    def _bases(self) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Legendre coefficients of the polynomials of each component along x and along y."""
        out = {}
        for c in self.components:
            hold = [self._hold(c, e) for e in range(4)]
            out[c] = edge_polynomials(self.degree, *hold[:2]), edge_polynomials(self.degree, *hold[2:])
        return out

    @cached_property
    def _tables(self) -> dict[str, tuple[list[FloatArray], list[FloatArray]]]:
        """Values, first and second derivatives of the polynomials, (points, k) each, times the root of the weight."""
        t, weight = legendre.leggauss(self.degree + 1)

        def table(basis: FloatArray, length: float) -> list[FloatArray]:
            rows, c = [], basis
            for order in range(3):
                value = np.asarray(legendre.legval(t, c), np.float64).T.reshape(len(t), -1)
                rows.append(value * (2 / length) ** order * np.sqrt(weight * length / 2)[:, None])
                c = np.asarray(legendre.legder(c, axis=0), np.float64)
            return rows

        return {c: (table(x, self.a), table(y, self.b)) for c, (x, y) in self._bases.items()}

    def _form(self, rows: Sequence[list[Term]], weight: FloatArray) -> FloatArray:
        """Matrix of ∫ Σ weight_rs row_r row_s over the plate, components that take no part left out."""
        tables = self._tables
        sizes = {c: x[0].shape[1] * y[0].shape[1] for c, (x, y) in tables.items()}
        blocks = {(c, d): np.zeros((sizes[c], sizes[d])) for c in sizes for d in sizes}
        for r, s in zip(*np.nonzero(weight), strict=True):
            for c, i, j, f in rows[r]:
                for d, k, m, g in rows[s]:
                    if c in sizes and d in sizes:
                        (cx, cy), (dx, dy) = tables[c], tables[d]
                        blocks[c, d] += f * g * weight[r, s] * np.kron(cx[i].T @ dx[k], cy[j].T @ dy[m])
        return np.block([[blocks[c, d] for d in sizes] for c in sizes])

    @cached_property
    def _elastic(self) -> FloatArray:
        return self._form(MEMBRANE + (THIN if self.thin else THICK), self.stiffness)

    def _geometric(self, prestress: tuple[float, float, float]) -> FloatArray:
        nx, ny, nxy = prestress
        tensor = np.array([[nx, nxy], [nxy, ny]])
        return self._form((*SLOPES, *IN_PLANE), block_diag(tensor, *[tensor if self.full else 0.0 * tensor] * 2))

    @cached_property
    def _rigid(self) -> FloatArray:
        """Rigid motions that the edges leave, as unknowns (n, k)."""
        one, x = np.eye(self.degree + 1)[:2]
        half = self.a / 2, self.b / 2
        motions: list[dict[str, FloatArray]] = [
            {"w": np.outer(one, one)},
            {"w": half[0] * np.outer(x, one), "p": -np.outer(one, one)},
            {"w": half[1] * np.outer(one, x), "q": -np.outer(one, one)},
            {"u": np.outer(one, one)},
            {"v": np.outer(one, one)},
            {"u": -half[1] * np.outer(one, x), "v": half[0] * np.outer(x, one)},
        ]
        motions = motions if "u" in self.components else motions[:3]
        zero = np.zeros((self.degree + 1, self.degree + 1))
        wanted = np.array([np.stack([m.get(c, zero) for c in self.components]).ravel() for m in motions]).T
        onto = block_diag(*(np.kron(bx, by) for bx, by in self._bases.values()))
        amount = onto.T @ wanted  # the columns of every basis are orthonormal
        return np.asarray(amount @ null_space(wanted - onto @ amount, rcond=1e-9))

    def _stiffened(self, matrix: FloatArray, motions: FloatArray) -> FloatArray:
        """`matrix` with stiffness added to `motions` it has none for; they stay apart from all others."""
        if motions.shape[1] == 0:
            return matrix
        orthonormal = np.linalg.qr(motions)[0]
        return np.asarray(matrix + np.diag(matrix).max() * orthonormal @ orthonormal.T)

    def factors(self, n: int, prestress: tuple[float, float, float]) -> FloatArray:
        """The `n` lowest factors on `prestress` (Nx, Ny, Nxy) N/m, tension positive, at which the plate buckles.

        Raises :class:`ModelError` if the edges leave a rigid motion off the plane or one the prestress works on, or if
        nothing buckles.
        """
        K, G = self._elastic, self._geometric(prestress)
        rigid = self._rigid
        size = sum(x.shape[1] * y.shape[1] for c, (x, y) in self._bases.items() if c in "uv")
        off = rigid.shape[1] and np.abs(rigid[size:]).max() > 1e-9 * np.abs(rigid).max()
        if off or (rigid.shape[1] and np.abs(G @ rigid).max() > 1e-9 * np.abs(G).max() * np.abs(rigid).max()):
            raise ModelError("the edges let it move as a rigid body", where="buckling of a plate", do="hold it")
        return lowest(self._stiffened(K, rigid), -G, n, "buckling of a plate")

    def frequencies(
        self, n: int, mass: float, rotary: float = 0.0, prestress: tuple[float, float, float] = (0.0, 0.0, 0.0)
    ) -> FloatArray:
        """The `n` lowest circular frequencies, rad/s; motions that nothing resists (zero frequency) are left out.

        `mass` kg/m² (∫ρ dz), `rotary` kg (∫ρ z² dz; the first moment ∫ρ z dz is taken as zero), `prestress` (Nx, Ny,
        Nxy) N/m, tension positive.  Raises :class:`ModelError` if the plate buckles under the prestress.
        """
        if mass <= 0 or rotary < 0:
            raise ModelError(
                "a plate has a positive mass", where="vibration of a plate", allowed="mass > 0, rotary ≥ 0"
            )
        shifts: tuple[list[Term], ...] = ([("u", 0, 0, 1.0)], [("v", 0, 0, 1.0)], [("w", 0, 0, 1.0)])
        M = self._form((*shifts, *(SLOPES if self.thin else TURNS)), np.diag([mass] * 3 + [rotary] * 2))
        G = self._geometric(prestress)
        rigid = self._rigid
        if np.any(G) and rigid.shape[1]:  # a turned plate resists by its prestress
            rigid = rigid @ null_space(G @ rigid / np.abs(G).max(), rcond=1e-9)
        K = self._elastic + G
        if rigid.shape[1]:  # M-orthogonal to all other modes: stiffened by M times them, they become the highest ones
            push = M @ rigid
            top = np.diag(K).max() / np.diag(M)[np.diag(M) > 0].min()
            K = K + top * push @ np.linalg.solve(rigid.T @ push, push.T)
        return np.sqrt(lowest(K, M, n, "vibration of a plate"))
