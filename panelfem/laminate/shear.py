"""Transverse shear through the thickness, from equilibrium.

In the plies, tau_a3,3 = −sigma_ab,b.  With no membrane force changing along the surface, e = −A⁻¹B k and
k = (D − B A⁻¹B)⁻¹ M, so sigma = S(z) M with S(z) = Q(z) (z − A⁻¹B) (D − B A⁻¹B)⁻¹.  Two cylindrical bendings,
M11,1 = Q1 and M22,2 = Q2 with no other moment changing, then give

    tau(z) = −∫ from the bottom of [[S11, S62], [S61, S22]] dz · [Q1, Q2] = f(z) [Q1, Q2],

zero on both faces, of the right resultant, quadratic in each ply.  The complementary energy of these
stresses, ½ Qᵀ [∫ fᵀ G⁻¹ f dz] Q, gives the stiffness: 5/6 G h for one material, the core's G (distance of
skins)² / (its thickness) for a sandwich of thin stiff skins, and the coupling of both directions in a general
laminate.

Where twist varies too, the true distribution differs, as Q also holds the change of M12; `gradient_operator`
keeps that share, if the change of all strains along the surface is known.  Measured changes fulfil equilibrium
badly: their Q is worse than one found otherwise, and the top face is not free.  So `balance` splits a measured
change into the two cylindrical bendings (and stretchings) that carry its own resultants, and the rest, whose
stresses have no resultant and leave both faces free.  The first part is then replaced by f(z) Q with the better Q:

    tau(z) = f(z) Q + ∫ of the rest.

Curvature makes normal stress.  Along the normal, with b_ab the curvatures of the surface (positive towards the
normal), equilibrium reads s_33,3 = −b_ab s_ab − tau_a,a.  A bending moment leaves no net force across the layers and
its s_ab alone makes the stress between them, greatest at mid-depth; the net part b_ab N_ab is balanced by pressure
and by the change of Q, is of the order of the pressure, and is taken out evenly over the thickness:

    s_33(z) = −∫ from the bottom of b_ab s_ab dz + (share of the thickness below z) b_ab N_ab.

Against the exact solution of a curved beam in bending: 5 % at a radius of two thicknesses and more
(`panelfem.reference.curved_beam`); below that the curved fibres' own lengths count, which are left out.

Source: J. M. Whitney 1973, J. Appl. Mech. 40:302 (energy from cylindrical bending) and K. Rohwer 1988,
DFVLR-FB 88-32 (both directions with coupling), recalled; derived here as written above.  Radial stress: equilibrium
of an element of a curved bar, S. P. Timoshenko & J. N. Goodier, Theory of Elasticity, 3rd ed., chapter 4 (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray

_GAUSS, _WEIGHTS = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True)
class ShearProfile:
    """f(z) as a quadratic in each ply: f = `start` + `slope` (z − z0) + `bend` (z − z0)², all (plies, 2, 2).

    `heights` (plies,) m are the ply thicknesses; z0 the bottom of each ply.
    """

    heights: FloatArray
    start: FloatArray
    slope: FloatArray
    bend: FloatArray

    def at(self, share: FloatArray) -> FloatArray:
        """f at the shares (m,) of each ply's thickness, from its bottom: (plies, m, 2, 2), 1/m."""
        z = (self.heights[:, None] * share)[..., None, None]
        return self.start[:, None] + z * (self.slope[:, None] + z * self.bend[:, None])

    def at_positions(self) -> FloatArray:
        """f at bottom, middle and top of each ply, (plies, 3, 2, 2), 1/m."""
        return self.at(np.array([0.0, 0.5, 1.0]))


def profile(z: FloatArray, ply_stiffness: FloatArray, A: FloatArray, B: FloatArray, D: FloatArray) -> ShearProfile:
    """The profile of a laminate: interfaces `z` (n + 1,), ply stiffness (n, 3, 3) in laminate axes, A, B, D."""
    neutral = np.linalg.solve(A, B)
    flexibility = np.linalg.inv(D - B @ neutral)
    heights = np.diff(z)
    middle = 0.5 * (z[1:] + z[:-1])
    # S(z) = constant + linear (z − z0), and its integral over a ply
    at_bottom = _pick(ply_stiffness @ (z[:-1, None, None] * np.eye(3) - neutral) @ flexibility)
    at_middle = _pick(ply_stiffness @ (middle[:, None, None] * np.eye(3) - neutral) @ flexibility)
    linear = _pick(ply_stiffness @ flexibility)
    whole = heights[:, None, None] * at_middle
    start = np.concatenate([np.zeros((1, 2, 2)), -np.cumsum(whole, axis=0)[:-1]])
    return ShearProfile(heights, start, -at_bottom, -0.5 * linear)


def _pick(S: FloatArray) -> FloatArray:
    """The four terms of S (n, 3, 3) that two cylindrical bendings feed: [[S11, S62], [S61, S22]]."""
    return np.stack([np.stack([S[:, 0, 0], S[:, 2, 1]], -1), np.stack([S[:, 2, 0], S[:, 1, 1]], -1)], -2)


def gradient_operator(z: FloatArray, ply_stiffness: FloatArray) -> FloatArray:
    """(plies, 3, 2, 2, 6): [tau13, tau23] in laminate axes at bottom, middle, top of each ply per change of [e, k].

    The last two axes: direction of the change (t1, t2), strain component.  tau_a(z) = −∫ (s_a1,1 + s_a2,2) dz.
    """
    rows = np.stack([ply_stiffness[:, [0, 2]], ply_stiffness[:, [2, 1]]], axis=2)  # ply, a, direction, component
    middle = 0.5 * (z[1:] + z[:-1])

    def flow(low: FloatArray, high: FloatArray) -> FloatArray:
        stretch = (high - low)[:, None, None, None] * rows
        bend = (0.5 * (high**2 - low**2))[:, None, None, None] * rows
        return -np.concatenate([stretch, bend], axis=-1)

    half, whole = flow(z[:-1], middle), flow(z[:-1], z[1:])
    bottom = np.concatenate([np.zeros_like(whole[:1]), np.cumsum(whole, axis=0)[:-1]])
    return np.stack([bottom, bottom + half, bottom + whole], axis=1)


def balance(ABD: FloatArray) -> FloatArray:
    """(12, 12): takes the part with resultants out of a change of [e, k] along t1, then along t2.

    With N_a = N_ab,b and M_a = M_ab,b of the change, the part taken out is that of the cylindrical stretchings
    N11,1 = N_1, N22,2 = N_2 and bendings M11,1 = M_1, M22,2 = M_2.  ABD (6, 6).
    """
    flexibility = np.linalg.inv(ABD)
    # [N1 N2 M1 M2] of a change: rows of ABD that act on the change along t1 and along t2
    resultants = np.concatenate([ABD[[0, 2, 3, 5]], ABD[[2, 1, 5, 4]]], axis=1)
    cylinders = np.zeros((12, 4))
    cylinders[:6, [0, 2]] = flexibility[:, [0, 3]]
    cylinders[6:, [1, 3]] = flexibility[:, [1, 4]]
    return np.asarray(np.eye(12) - cylinders @ resultants)


def radial_forces(z: FloatArray, stress: FloatArray) -> FloatArray:
    """(n, plies, 3, 3), N/m: −∫ of [s11, s22, 2 s12] dz from the bottom to the bottom, middle and top of each ply, the
    net part taken out evenly; times [b11, b22, b12] it is the normal stress.

    `z` (plies + 1,) m interfaces; `stress` (n, plies, 3, 3) Pa in laminate axes at bottom, middle, top of each ply.
    """
    heights = np.diff(z)
    half = heights[:, None] / 8.0 * (3.0 * stress[:, :, 0] + stress[:, :, 2])  # stress is linear in a ply
    whole = heights[:, None] / 2.0 * (stress[:, :, 0] + stress[:, :, 2])
    total = np.cumsum(whole, axis=1)
    below = total - whole
    sums = np.stack([below, below + half, total], axis=2)
    levels = np.stack([z[:-1], 0.5 * (z[1:] + z[:-1]), z[1:]], axis=1)
    share = (levels - z[0]) / (z[-1] - z[0])
    sums = sums - share[..., None] * total[:, -1, None, None]
    return np.asarray(-sums * np.array([1.0, 1.0, 2.0]))


def stiffness(f: ShearProfile, moduli: FloatArray) -> FloatArray:
    """Transverse shear stiffness (2, 2), N/m, from a profile and moduli (plies, 2, 2) in laminate axes."""
    values = f.at(0.5 * (1.0 + _GAUSS))
    weights = 0.5 * f.heights[:, None] * _WEIGHTS
    compliance = np.einsum("pg,pgji,pjk,pgkl->il", weights, values, np.linalg.inv(moduli), values)
    result: FloatArray = np.linalg.inv(0.5 * (compliance + compliance.T))
    return 0.5 * (result + result.T)
