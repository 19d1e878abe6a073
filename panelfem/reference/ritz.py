"""Ritz solution of first-order shells and plates on one patch, with integrated Legendre polynomials of high
degree.

The surface is x(ξ, η), 0 ≤ ξ, η ≤ 1, smooth.  Unknowns: the displacement (x, y, z) and the change β of the
unit director along the unit tangents b1 (along x,ξ) and b2 = n × b1.  Strains e_ab = ½(u,a·x,b + u,b·x,a),
k_ab = ½(u,a·n,b + x,a·β,b + symmetric), g_a = u,a·n + x,a·β, turned into the laminate frame.  Geometry is
differentiated spectrally, so any smooth map will do.  The energy is convex: the compliance rises to the
exact one with the degree, and the caller can watch it.

Source: principle of least potential energy; polynomials as in Szabó & Babuška, *Finite Element Analysis*,
1991 (recalled). Nothing here is shared with :mod:`panelfem.shell`: no triangles, no tied strains, no
drilling.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre
from scipy.linalg import cho_factor, cho_solve
from scipy.linalg.blas import dsyrk

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import ModelError

COMPONENTS = ("x", "y", "z", "b1", "b2")
EDGES = ("xi0", "xi1", "eta0", "eta1")


def hierarchic(degree: int, s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values and derivatives (points, degree + 1) on 0 ≤ s ≤ 1: 1 − s, s, then functions that vanish at
    both ends.

    >>> v, d = hierarchic(3, np.array([0.0, 1.0]))
    >>> v.round(12).tolist()
    [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0]]
    """
    t = 2 * np.asarray(s, float) - 1
    p = legendre.legvander(t, degree)
    v, d = np.empty_like(p), np.empty_like(p)
    v[:, 0], v[:, 1] = (1 - t) / 2, (1 + t) / 2
    d[:, 0], d[:, 1] = -1.0, 1.0
    for n in range(2, degree + 1):
        scale = np.sqrt(2 * (2 * n - 1))
        v[:, n] = (p[:, n] - p[:, n - 2]) / scale
        d[:, n] = 2 * (2 * n - 1) * p[:, n - 1] / scale
    return v, d


class RitzShell:
    """One smooth patch.

    `surface(xi (m,), eta (m,)) -> (m, 3)`; `stiffness` (8, 8) in the frame t1 = `axis` (3,) projected, t2 =
    n × t1, with n along x,ξ × x,η; `degree` each way; `held` names per edge ("xi0", "xi1", "eta0", "eta1")
    the components ("x", "y", "z", "b1", "b2") that vanish there; `active` the components that exist at all;
    `pins` (component, ξ, η) stop rigid motions that the load does not excite (they carry no force then).

    >>> from panelfem.reference.stiffness import isotropic
    >>> flat = lambda s, t: np.stack([s, t, 0 * s], axis=1)
    >>> held = dict.fromkeys(EDGES, COMPONENTS)
    >>> plate = RitzShell(flat, isotropic(12 * .91, .3, .1), (1., 0, 0), 10, held)
    >>> u = plate.solve(plate.traction(lambda x, n: n))
    >>> round(float(plate.displacement(u, .5, .5)[2]) * 1e-3, 6)      # Mindlin, clamped, h/a = .1: .001505
    0.001505
    """

    def __init__(
        self,
        surface: Callable[[FloatArray, FloatArray], FloatArray],
        stiffness: FloatArray,
        axis: tuple[float, float, float],
        degree: int | tuple[int, int],
        held: Mapping[str, tuple[str, ...]],
        active: tuple[str, ...] = COMPONENTS,
        pins: tuple[tuple[str, float, float], ...] = (),
    ) -> None:
        self.surface, self.stiffness, self.axis = surface, stiffness, np.asarray(axis, float)
        self.degree = (degree, degree) if isinstance(degree, int) else degree
        for edge, names in held.items():
            if edge not in EDGES or not set(names) <= set(COMPONENTS):
                raise ModelError(
                    f"edge '{edge}' holding {names} is not known",
                    where="Ritz solution",
                    allowed=f"edges {EDGES}, components {COMPONENTS}",
                )
        n1, n2 = (p + 1 for p in self.degree)
        free = np.ones((5, n1, n2), bool)
        for c, name in enumerate(COMPONENTS):
            if name not in active:
                free[c] = False
            for edge, index in zip(EDGES, (np.s_[0, :], np.s_[1, :], np.s_[:, 0], np.s_[:, 1]), strict=True):
                if name in held.get(edge, ()):
                    free[c][index] = False
        self.pins = pins
        self.free: BoolArray = free.ravel()
        self._rules = []
        for p in self.degree:
            t, w = legendre.leggauss(p + 5)
            self._rules.append(((t + 1) / 2, w / 2))

    @cached_property
    def _geometry(self) -> FloatArray:
        """At the grid of Gauss points: [x, x,1, x,2, n, n,1, n,2, b1, b1,1, b1,2, b2, b2,1, b2,2] (12, g1,
        g2, 3)."""
        (s, _), (t, _) = self._rules
        grid = np.stack(np.meshgrid(s, t, indexing="ij"), axis=-1).reshape(-1, 2)
        x = self.surface(grid[:, 0], grid[:, 1]).reshape(len(s), len(t), 3)
        diff = []
        for nodes in (s, t):
            v = legendre.legvander(2 * nodes - 1, len(nodes) - 1)
            dv = 2 * legendre.legval(2 * nodes - 1, legendre.legder(np.eye(len(nodes)), axis=0)).T
            diff.append(dv @ np.linalg.inv(v))

        def derivatives(f: FloatArray) -> list[FloatArray]:
            return [f, np.einsum("ai,ijc->ajc", diff[0], f), np.einsum("bj,ijc->ibc", diff[1], f)]

        fields = derivatives(x)
        n = np.cross(fields[1], fields[2])
        n /= np.linalg.norm(n, axis=-1, keepdims=True)
        b1 = fields[1] / np.linalg.norm(fields[1], axis=-1, keepdims=True)
        for f in (n, b1, np.cross(n, b1)):
            fields += derivatives(f)
        return np.stack(fields)

    def _fields(self, xi: FloatArray, eta: FloatArray) -> FloatArray:
        """The geometry at any points (m,): (12, m, 3)."""
        rows = []
        for nodes, at in ((self._rules[0][0], xi), (self._rules[1][0], eta)):
            v = np.linalg.inv(legendre.legvander(2 * nodes - 1, len(nodes) - 1))
            rows.append(legendre.legvander(2 * np.asarray(at, float) - 1, len(nodes) - 1) @ v)
        return np.asarray(np.einsum("pi,pj,fijc->fpc", rows[0], rows[1], self._geometry, optimize=True))

    def _rows(self, f: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Area factor (m,) and strain rows (m, 8, 5, 3): coefficients of (value, ,ξ, ,η) of each
        component."""
        x1, x2, n, n1, n2 = f[1], f[2], f[3], f[4], f[5]
        m = len(n)
        normal = np.cross(x1, x2)
        area = np.linalg.norm(normal, axis=1)
        cov = np.zeros((m, 8, 5, 3))  # covariant: e11 e22 2e12 | k11 k22 2k12 | g1 g2
        for r, base in ((0, (x1, x2)), (3, (n1, n2))):
            cov[:, r, :3, 1] = base[0]
            cov[:, r + 1, :3, 2] = base[1]
            cov[:, r + 2, :3, 1] = base[1]
            cov[:, r + 2, :3, 2] = base[0]
        for c, d in ((3, f[6:9]), (4, f[9:12])):
            dot = np.einsum("apc,bpc->abp", np.stack([x1, x2]), d)  # x,a . (b, b,1, b,2)
            cov[:, 3, c, 0], cov[:, 3, c, 1] = dot[0, 1], dot[0, 0]
            cov[:, 4, c, 0], cov[:, 4, c, 2] = dot[1, 2], dot[1, 0]
            cov[:, 5, c, 0] = dot[0, 2] + dot[1, 1]
            cov[:, 5, c, 1], cov[:, 5, c, 2] = dot[1, 0], dot[0, 0]
            cov[:, 6, c, 0], cov[:, 7, c, 0] = dot[0, 0], dot[1, 0]
        cov[:, 6, :3, 1] = n
        cov[:, 7, :3, 2] = n
        t1 = self.axis - n * (n @ self.axis)[:, None]
        t1 /= np.linalg.norm(t1, axis=1, keepdims=True)
        t2 = np.cross(n, t1)
        dual = np.stack([np.cross(x2, n), np.cross(n, x1)], axis=1) / area[:, None, None]
        q = np.einsum("ipc,pac->pia", np.stack([t1, t2]), dual)
        turn = np.zeros((m, 8, 8))
        for i, (g, h) in enumerate(((0, 0), (1, 1), (0, 1))):
            w = 2.0 if i == 2 else 1.0
            block = np.stack(
                [
                    w * q[:, g, 0] * q[:, h, 0],
                    w * q[:, g, 1] * q[:, h, 1],
                    w * (q[:, g, 0] * q[:, h, 1] + q[:, g, 1] * q[:, h, 0]) / 2,
                ],
                axis=1,
            )
            turn[:, i, :3] = turn[:, i + 3, 3:6] = block
        turn[:, 6:, 6:] = q
        return area, np.einsum("pij,pjcd->picd", turn, cov)

    def _operator(self, xi: FloatArray, eta: FloatArray, rows: FloatArray) -> FloatArray:
        """Strain operator (m, 8, unknowns) from strain rows at points."""
        (v, dv), (w, dw) = hierarchic(self.degree[0], xi), hierarchic(self.degree[1], eta)
        basis = np.stack(
            [v[:, :, None] * w[:, None, :], dv[:, :, None] * w[:, None, :], v[:, :, None] * dw[:, None, :]], axis=1
        ).reshape(len(xi), 3, -1)
        return np.asarray((rows.reshape(len(xi), 40, 3) @ basis).reshape(len(xi), 8, -1)[:, :, self.free])

    def _points(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        (s, ws), (t, wt) = self._rules
        grid = np.stack(np.meshgrid(s, t, indexing="ij"), axis=-1).reshape(-1, 2)
        return grid[:, 0], grid[:, 1], np.outer(ws, wt).ravel()

    @cached_property
    def _factor(self) -> tuple[FloatArray, tuple[FloatArray, bool]]:
        xi, eta, w = self._points()
        area, rows = self._rows(self._geometry.reshape(12, -1, 3))
        k: FloatArray = np.zeros((int(self.free.sum()),) * 2, order="F")
        root = np.linalg.cholesky(self.stiffness).T
        for part in np.array_split(np.arange(len(w)), max(1, len(w) // 100)):
            b = root @ self._operator(xi[part], eta[part], rows[part])
            b = (b * np.sqrt(area * w)[part, None, None]).reshape(-1, k.shape[0])
            k = dsyrk(1.0, b.T, beta=1.0, c=k, overwrite_c=1)
        d = np.diag(k)
        if d.min() <= 0:
            raise ModelError(
                "an unknown has no stiffness",
                where="Ritz solution",
                do="leave it out by `active`, or give the laminate that stiffness",
            )
        for name, at_xi, at_eta in self.pins:
            v = hierarchic(self.degree[0], np.array([at_xi]))[0][0]
            w = hierarchic(self.degree[1], np.array([at_eta]))[0][0]
            row = np.zeros((5, len(v), len(w)))
            row[COMPONENTS.index(name)] = np.outer(v, w)
            held = row.ravel()[self.free]
            k = k + float(d.mean()) * np.outer(held, held)
        scale = 1 / np.sqrt(np.diag(k))
        return scale, cho_factor(k * scale * scale[:, None], overwrite_a=True)

    def traction(self, q: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
        """Load vector of the force per area q(x (m, 3), n (m, 3)) -> (m, 3)."""
        xi, eta, w = self._points()
        f = self._geometry.reshape(12, -1, 3)
        area = np.linalg.norm(np.cross(f[1], f[2]), axis=1)
        force = q(f[0], f[3]) * (area * w)[:, None]
        return self._load(xi, eta, force)

    def forces(self, xi: FloatArray, eta: FloatArray, force: FloatArray) -> FloatArray:
        """Load vector of point forces (m, 3) N at parameters (m,)."""
        return self._load(np.atleast_1d(xi), np.atleast_1d(eta), np.atleast_2d(force))

    def _load(self, xi: FloatArray, eta: FloatArray, force: FloatArray) -> FloatArray:
        v, w = hierarchic(self.degree[0], xi)[0], hierarchic(self.degree[1], eta)[0]
        out = np.zeros((5, v.shape[1], w.shape[1]))
        out[:3] = np.einsum("pi,pj,pc->cij", v, w, force, optimize=True)
        return np.asarray(out.ravel()[self.free])

    def solve(self, load: FloatArray) -> FloatArray:
        """Unknowns for a load vector (n,)."""
        scale, factor = self._factor
        return np.asarray(scale * cho_solve(factor, scale * load))

    def displacement(self, u: FloatArray, xi: float, eta: float) -> FloatArray:
        """Displacement (3,) at one parameter point, m."""
        full = np.zeros(len(self.free))
        full[self.free] = u
        v, w = (hierarchic(p, np.array([s]))[0][0] for p, s in zip(self.degree, (xi, eta), strict=True))
        return np.asarray(np.einsum("cij,i,j->c", full.reshape(5, len(v), len(w))[:3], v, w))

    def strains(self, u: FloatArray, xi: FloatArray, eta: FloatArray) -> FloatArray:
        """The eight strains in the laminate frame at parameters (m,): (m, 8)."""
        xi, eta = np.atleast_1d(np.asarray(xi, float)), np.atleast_1d(np.asarray(eta, float))
        _, rows = self._rows(self._fields(xi, eta))
        return np.asarray(self._operator(xi, eta, rows) @ u)


def flat(a: float, b: float) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """The map of a rectangle a × b in the xy plane."""
    return lambda s, t: np.stack([a * s, b * t, 0 * s], axis=1)


CLAMPED: Mapping[str, tuple[str, ...]] = dict.fromkeys(EDGES, COMPONENTS)

#: w = 0 and no turn along the edge, in-plane motion along the edge held: the supported edge of Navier's
#: cross-ply series.
SUPPORTED: Mapping[str, tuple[str, ...]] = {
    "xi0": ("y", "z", "b2"),
    "xi1": ("y", "z", "b2"),
    "eta0": ("x", "z", "b1"),
    "eta1": ("x", "z", "b1"),
}
