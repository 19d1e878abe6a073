"""Peak adhesive stresses at the edge of a bonded patch and at the border of a gap the patch bridges."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.joint.overlap import Bond, Far, Strip, unit_stress
from panelfem.laminate import Laminate
from panelfem.material import Adhesive

#: directions across the edge are rounded to this, rad: a peak moves by up to 1.5 % on unidirectional stacks and 0.4 %
#: on fabrics (measured)
ANGLE_STEP = math.radians(1.5)
#: what symmetry keeps from moving is so many times as stiff
HELD = 1e3


def turned(stiffness: FloatArray, angle: float) -> FloatArray:
    """Laminate stiffness (8, 8) in axes turned by `angle` (rad) from t1 towards t2.

    >>> C = np.diag([10.0, 1.0, 0.5, 20.0, 2.0, 1.0, 4.0, 3.0])
    >>> turned(C, math.pi / 2).diagonal().round(9).tolist()
    [1.0, 10.0, 0.5, 2.0, 20.0, 1.0, 3.0, 4.0]
    """
    c, s = math.cos(angle), math.sin(angle)
    strain = np.array([[c * c, s * s, -c * s], [s * s, c * c, c * s], [2 * c * s, -2 * c * s, c * c - s * s]])
    whole = np.zeros((8, 8))
    whole[:3, :3] = whole[3:6, 3:6] = strain  # strains in panel axes from those in turned axes
    whole[6:, 6:] = [[c, -s], [s, c]]
    return np.asarray(whole.T @ stiffness @ whole)


def strip(laminate: Laminate, angle: float, side: Literal[1, -1], bonded: Literal["parent", "patch"]) -> Strip:
    """A laminate as a strip along `angle`: strains along the edge zero; for side −1 seen upside down, z and
    w reversed.

    The bonded face is the one on `side` for the parent and the opposite one for the patch.
    """
    k = turned(laminate.stiffness, angle)
    z = laminate.interfaces
    top = (bonded == "parent") == (side == 1)
    face = float(z[-1] if top else z[0])
    # the shear force across the edge meets the strip with no shear strain along it
    return Strip(float(k[0, 0]), side * float(k[0, 3]), float(k[3, 3]), float(k[6, 6]), side * face)


def bond(adhesive: Adhesive, bond_thickness: float) -> Bond:
    """Springs of an adhesive layer; peel takes Young's modulus, as Goland & Reissner do."""
    if not (math.isfinite(bond_thickness) and bond_thickness > 0):
        raise InputError(
            f"bond thickness is {bond_thickness} m",
            where=f"adhesive '{adhesive.name}'",
            allowed="more than 0",
            do="use the supplier's bond-line thickness",
        )
    return Bond(adhesive.G / bond_thickness, adhesive.E / bond_thickness)


def _peaks(
    parent: Laminate,
    patch: Laminate,
    adhesive: Adhesive,
    bond_thickness: float,
    overlap: float,
    N: FloatArray,
    M: FloatArray,
    Q: FloatArray,
    angle: float | FloatArray,
    side: Literal[1, -1],
    entry: Literal["parent", "patch"],
    far: Far,
    half: Literal["even", "odd"] | None = None,
) -> tuple[FloatArray, FloatArray]:
    if side not in (1, -1):
        raise InputError(f"side is {side}", where="bonded patch", allowed="+1 (face the normal leaves) or -1")
    load = np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, float)) for v in (N, M, Q))), axis=1)
    load = load * np.array([1.0, side, side])
    # a direction and its opposite have one stiffness
    steps = np.round(np.broadcast_to(np.asarray(angle, float), len(load)) / ANGLE_STEP).astype(np.int64)
    steps = steps % round(math.pi / ANGLE_STEP)
    shear, peel = np.zeros(len(load)), np.zeros(len(load))
    springs = bond(adhesive, bond_thickness)
    for step in np.unique(steps):
        a = float(step) * ANGLE_STEP
        below = strip(parent, a, side, "parent")
        bending = below.D - below.B**2 / below.A
        if half == "even":
            below = Strip(below.A / 2, 0.0, HELD * bending, math.inf, below.face)
        elif half == "odd":
            below = Strip(HELD * below.A, 0.0, bending / 2, below.S / 2, below.face)
        tau, sigma = unit_stress(below, strip(patch, a, side, "patch"), springs, overlap, entry, far)
        which = np.flatnonzero(steps == step)
        for part in np.array_split(which, max(1, len(which) * len(tau) // 2_000_000)):
            shear[part] = np.abs(load[part] @ tau.T).max(axis=1)
            peel[part] = np.maximum(load[part] @ sigma.T, 0.0).max(axis=1)
    return shear, peel


def patch_edge(
    parent: Laminate,
    patch: Laminate,
    adhesive: Adhesive,
    bond_thickness: float,
    overlap: float,
    N: FloatArray,
    M: FloatArray,
    Q: FloatArray,
    *,
    angle: float | FloatArray = 0.0,
    side: Literal[1, -1] = 1,
    parent_cut: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Peak adhesive shear and peel (n,) Pa near the outer edge of a one-sided patch.

    `N`, `M`, `Q` (n,): resultants in the parent just outside the patch (N/m, N, N/m) in the direction s
    that points across the edge *into* the patch: N = s·N·s, M = s·M·s about the parent's reference surface,
    Q = Q·s, in the panel's own signs (z along the normal, tension positive).  `angle` (rad, one or (n,)) of
    s from t1.  `side` +1: on the face the normal leaves.  `overlap` m from the edge to the border of the
    gap, or to the patch's middle where the parent is whole. `parent_cut`: the parent ends at the far end of
    the overlap (a gap below the patch).

    Shear is the greatest magnitude, peel the greatest tension (0 if the edge is pressed on) over the overlap.
    Linear in the load.  Raises :class:`InputError` for a thickness, overlap or side that cannot be.

    Source: :mod:`panelfem.joint.overlap`.
    """
    return _peaks(
        parent,
        patch,
        adhesive,
        bond_thickness,
        overlap,
        N,
        M,
        Q,
        angle,
        side,
        "parent",
        "cut 1" if parent_cut else "joined",
    )


def gap_edge(
    parent: Laminate,
    patch: Laminate,
    adhesive: Adhesive,
    bond_thickness: float,
    overlap: float,
    N: FloatArray,
    M: FloatArray,
    Q: FloatArray,
    *,
    angle: float | FloatArray = 0.0,
    side: Literal[1, -1] = 1,
) -> tuple[FloatArray, FloatArray]:
    """Peak adhesive shear and peel (n,) Pa at the border of a gap that the patch bridges.

    `N`, `M`, `Q` (n,): resultants in the *patch* over the gap at its border, in the direction s from the
    gap into the overlap; M about the patch laminate's own reference surface (give the patch the `bottom` it
    has in the panel model, so that both mean the same height).  The rest as in :func:`patch_edge`.

    Source: :mod:`panelfem.joint.overlap`.
    """
    return _peaks(parent, patch, adhesive, bond_thickness, overlap, N, M, Q, angle, side, "patch", "joined")


def pair_edge(
    parent: Laminate,
    patch: Laminate,
    adhesive: Adhesive,
    bond_thickness: float,
    overlap: float,
    N: FloatArray,
    M: FloatArray,
    Q: FloatArray,
    *,
    angle: float | FloatArray = 0.0,
    side: Literal[1, -1] = 1,
    inner: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Peak adhesive shear and peel (n,) Pa of one of two like patches on both faces; arguments as of
    :func:`patch_edge`, or with `inner` of :func:`gap_edge` over a gap that is filled.

    By symmetry each patch takes half of N from half the parent, which stays flat, and half of M and Q from a half whose
    middle does not stretch; the peaks of both are added.  At the gap the patch's own N and M go into the flat half.

    Source: :mod:`panelfem.joint.overlap`; the double lap as half of a joint that does not bend is Hart-Smith's, 1973,
    NASA CR-112235 (recalled).
    """
    given = (parent, patch, adhesive, bond_thickness, overlap)
    none = np.zeros_like(np.asarray(N, float))
    if inner:
        return _peaks(*given, N, M, none, angle, side, "patch", "joined", half="even")
    even = _peaks(*given, np.asarray(N, float) / 2, none, none, angle, side, "parent", "joined", half="even")
    bent = np.asarray(M, float) / 2, np.asarray(Q, float) / 2
    odd = _peaks(*given, none, *bent, angle, side, "parent", "joined", half="odd")
    return even[0] + odd[0], even[1] + odd[1]
