"""Thick cross-ply plates: ours is first-order theory, the printed values are three-dimensional elasticity.

Every stress is judged against the same theory solved by series, and says how far that is from three-dimensional
elasticity.  From S = 20 the greatest transverse stresses are also judged against three-dimensional elasticity itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate, Ply
from panelfem.material import PlyMaterial
from panelfem.reference import navier
from panelfem.reference.elasticity import CrossPlyBlock, Orthotropic
from panelfem.reference.navier import Navier
from panelfem.reference.stiffness import rotated_plane
from panelfem.shell import Shell
from panelfem.verify.grids import Grid, rectangle
from panelfem.verify.laminates import t300
from panelfem.verify.plates import CROSS_PLY, PINS
from panelfem.verify.row import STRESS, Row

#: S: σx at ±h/2, σy at ±h/6 (upper, lower), τxz, τyz at mid-depth; None where the table gives one of a pair
PRINTED: dict[int, tuple[float | None, ...]] = {
    4: (0.801, -0.755, 0.534, -0.556, 0.256, 0.2172),
    10: (0.590, -0.590, 0.285, -0.288, 0.357, 0.1228),
    20: (0.552, None, None, -0.210, 0.385, 0.0938),
    100: (0.539, None, 0.181, None, 0.395, 0.0828),
}
NAMES = ("σx at +h/2", "σx at −h/2", "σy at +h/6", "σy at −h/6", "τxz at mid-depth", "τyz at mid-depth")


def first_order(lam: Laminate, a: float, q: float) -> FloatArray:
    """The six stresses by Navier's series, over q S² and q S: in-plane from Hooke's law ply by ply,
    transverse by integrating the equilibrium of the plies, τxz,z = −σx,x − τxy,y, with the strains of the series."""
    exact = Navier(lam.stiffness, a, a, navier.sinusoidal(q))
    h, p = lam.thickness, math.pi / a
    m = generic()
    d = 1 - m.nu12**2 * m.E2 / m.E1
    plane = np.array([[m.E1 / d, m.nu12 * m.E2 / d, 0], [m.nu12 * m.E2 / d, m.E2 / d, 0], [0, 0, m.G12]])
    q0, q90 = plane, rotated_plane(plane, math.pi / 2)
    mid, corner = np.array([a / 2]), np.array([0.0])
    e, turn = exact.strains(mid, mid)[0], exact.strains(corner, corner)[0]

    def face(rows: FloatArray, z: float, k: int) -> float:
        return float(rows[k] @ (e[:3] + z * e[3:6]))

    # direct strains vary as sin px sin py, the shear strain as cos px cos py; membrane strains are zero (symmetric)
    lower, middle = (-h / 2, -h / 6), (-h / 6, 0.0)
    taus = []
    for k in (0, 1):
        total = 0.0
        for rows, (z0, z1) in ((q0, lower), (q90, middle)):
            total -= p * (rows[k, :2] @ e[3:5] - rows[2, 2] * turn[5]) * (z1**2 - z0**2) / 2
        taus.append(total)
    s = a / h
    return np.array(
        [face(q0, h / 2, 0), face(q0, -h / 2, 0), face(q90, h / 6, 1), face(q90, -h / 6, 1)] + [tau * s for tau in taus]
    ) / (q * s * s)


def generic() -> PlyMaterial:
    """The generic ply of the problem, E1/E2 = 25."""
    return replace(t300(), name="E1/E2 = 25", E1=25e9, E2=1e9, G12=0.5e9, G13=0.5e9, G23=0.2e9, nu12=0.25)


def rows() -> Iterator[Row]:
    """σ/(qS²), τ/(qS) for S = a/h = 4, 10, 20, 100, through the shell and the laminate's ply recovery."""
    ply = generic()
    h, q = 3e-3, 1e4
    lam = Laminate(tuple(Ply(ply, h / 3, math.radians(angle)) for angle in (0, 90, 0)))
    solid = Orthotropic(25e9, 1e9, 1e9, 0.25, 0.25, 0.25, 0.5e9, 0.5e9, 0.2e9)
    for s, printed in PRINTED.items():
        a = s * h
        block = CrossPlyBlock(solid, ((0, h / 3), (90, h / 3), (0, h / 3)), a, a, q)
        places = ((h / 2, 2, 0), (-h / 2, 0, 0), (h / 6, 1, 1), (-h / 6, 1, 1), (0.0, 1, 4), (0.0, 1, 5))
        exact = [float(block.stress(z, layer)[k]) / (q * (s * s if k < 2 else s)) for z, layer, k in places]
        reference = first_order(lam, a, q)
        ours, greatest = _ours(lam, a, q)
        for name, p, r, o, e in zip(NAMES, printed, reference, ours, exact, strict=True):
            scale = "qS" if name.startswith("τ") else "qS²"
            away = 100 * (o / e - 1)
            warning = "; out of the range of first-order theory"
            yield Row(
                "pagano",
                f"[0/90/0] square, a/h = {s}",
                f"{name}/({scale})",
                "Pagano 1970, J. Compos. Mater. 4:20 (recalled)",
                p,
                float(r),
                "Navier series, first-order",
                float(o),
                "-",
                STRESS,
                f"{name}: ours is first-order theory; exact three-dimensional elasticity {e:.4f} (state space, agrees "
                f"with the printed value), ours {away:+.1f} % from it" + (warning if abs(away) > 10 else ""),
            )
        if s >= 20:
            yield from _against_elasticity(block, lam, s, greatest, printed)


def _against_elasticity(
    block: CrossPlyBlock, lam: Laminate, s: int, greatest: FloatArray, printed: tuple[float | None, ...]
) -> Iterator[Row]:
    z = lam.interfaces
    depths = [(level, layer) for layer in range(3) for level in np.linspace(z[layer], z[layer + 1], 11).tolist()]
    exact = np.abs([block.stress(level, layer)[4:] for level, layer in depths]).max(axis=0) / (block.q * s)
    for name, ours, reference, at_middle in zip(("τxz", "τyz"), greatest, exact, printed[4:], strict=True):
        yield Row(
            "pagano",
            f"[0/90/0] square, a/h = {s}",
            f"greatest transverse shear stress {name}/(qS)",
            "Pagano 1970, J. Compos. Mater. 4:20 (recalled), at mid-depth",
            at_middle,
            float(reference),
            "three-dimensional elasticity by state space, greatest over the depth",
            float(ours),
            "-",
            STRESS,
            "ours is first-order theory with the plies' own equilibrium; the printed value is that at mid-depth",
        )


def _ours(lam: Laminate, a: float, q: float) -> tuple[FloatArray, FloatArray]:
    """The six stresses at their places, and the greatest τxz, τyz over the depth at the middles of the edges."""
    grid = Grid.even(6, 6, 4, rectangle(a, a))
    shell = Shell(grid.mesh, lam.stiffness, np.array([1.0, 0, 0]))
    u = shell.factor(grid.supports(CROSS_PLY, PINS)).solve(
        shell.traction(lambda x, n: q * n * (np.sin(np.pi * x[..., 0] / a) * np.sin(np.pi * x[..., 1] / a))[..., None])
    )
    found = shell.recovery(np.zeros(len(grid.mesh.triangles), np.int64))
    rows = [int(np.flatnonzero(found.node == grid.node(*place))[0]) for place in ((0.5, 0.5), (0.0, 0.5), (0.5, 0.0))]
    ply = lam.ply_stresses(found.strains(u)[rows])
    shear = lam.transverse_shear_from_both(found.shear(u)[rows], found.gradients(u)[rows])
    s = a / lam.thickness
    # ply axes of the 90° ply: 1 along y, 2 along −x
    values = np.array(
        [
            ply[0, 2, 2, 0],
            ply[0, 0, 0, 0],
            ply[0, 1, 2, 0],
            ply[0, 1, 0, 0],
            -s * shear[1, 1, 1, 1],
            s * shear[2, 1, 1, 0],
        ]
    )
    along_x = np.abs([shear[1, 0, :, 0], shear[1, 1, :, 1], shear[1, 2, :, 0]]).max()
    along_y = np.abs([shear[2, 0, :, 1], shear[2, 1, :, 0], shear[2, 2, :, 1]]).max()
    return np.asarray(values / (q * s * s)), np.array([along_x, along_y]) / (q * s)
