"""Scarf and stepped joints: shear lag along a bond between two laminates that end ply by ply.

Along the joint the parent loses its plies from the bonded face inwards while the patch gains them:
 N1' = −τ, N2' = τ, N = A(s) u', τ = (G/η)(u2 − u1), clipped at the yield stress where one is given.
A scarf tapers each ply over its own thickness times the slope; a stepped joint ends it at once.  Where a stiff ply (0°)
ends, its load is left for the bond there: that is where the peaks are.  The slope is small (1:10 and flatter), so
bending is left out: the two middle surfaces meet, and the stress across the bond is τ/slope.

Solved by linear elements on a grid fine beside the shortest decay length; steps of A lie on grid points.

Source: Hart-Smith 1974, NASA CR-112237, scarf and stepped-lap joints (recalled): equal adherends carry the mean shear
P/L all along a scarf; in a long one the peak over the mean tends to the ratio of the adherends' stiffnesses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.linalg import solve_banded

from panelfem.arrays import FloatArray, IntArray
from panelfem.errors import InputError, ModelError
from panelfem.joint.edge import ANGLE_STEP, bond
from panelfem.joint.overlap import Bond
from panelfem.joint.plastic import ROUNDS, Ductile
from panelfem.laminate import Laminate
from panelfem.material import Adhesive

#: grid steps in the shortest decay length of a stretch, at least in a stretch, and at most in all
FINE, LEAST, MOST = 16, 8, 20_000
#: least steps along a tapering ply
TAPER = 48


@dataclass(frozen=True)
class TaperStress:
    """Distances `s` (g,) m from the end where the load is all in the parent; `shear` (g,) Pa."""

    s: FloatArray
    shear: FloatArray

    @property
    def peak(self) -> float:
        """The greatest magnitude, Pa."""
        return float(np.abs(self.shear).max())


def tapered(
    first: Sequence[float],
    second: Sequence[float],
    lengths: Sequence[float],
    springs: Bond,
    load: float = 1.0,
    adhesive: Ductile | None = None,
) -> TaperStress:
    """Shear along stretches of constant axial stiffness `first`, `second` (m,) N/m and `lengths` (m,) m.

    `load` N/m enters by the first adherend at s = 0 and leaves by the second at the other end.  With `adhesive` the
    bond yields.  Raises InputError for a stretch that cannot be, ModelError where the bond yields all along.

    >>> from panelfem.joint import volkersen
    >>> found = tapered([1e8], [2e8], [0.02], Bond(5e12, 1.0), 1e5)
    >>> exact = volkersen(1e5, 0.02, 1e8, 2e8, 1e9, 2e-4)
    >>> bool(np.allclose(found.shear[[0, -1]], exact, rtol=2e-3))
    True
    """
    a, b, length = (np.asarray(v, float) for v in (first, second, lengths))
    if not (len(a) == len(b) == len(length) > 0 and (np.stack([a, b, length]) > 0).all()):
        raise InputError(
            "a stretch without length or stiffness", where="tapered bond", allowed="as many positive numbers each"
        )
    count = np.maximum(LEAST, _steps(length, a, b, springs))
    _few(int(count.sum()), float(length.sum()))
    return _on_grid(np.repeat(a, count), np.repeat(b, count), np.repeat(length / count, count), springs, load, adhesive)


def _steps(length: FloatArray, a: FloatArray, b: FloatArray, springs: Bond) -> IntArray:
    """Steps along stretches, for their shortest decay length."""
    return np.ceil(FINE * length * np.sqrt(springs.shear * (1 / a + 1 / b))).astype(np.int64)


def _few(count: int, length: float) -> None:
    if count > MOST:
        raise ModelError(
            f"a bond of {length:.4g} m would take {count} steps",
            where="tapered bond",
            allowed=f"{MOST}",
            do="give a shorter joint or a thicker bond",
        )


def _on_grid(
    a: FloatArray, b: FloatArray, h: FloatArray, springs: Bond, load: float, adhesive: Ductile | None
) -> TaperStress:
    """The bond with steps `h` (n,) m of stiffness a, b (n,) N/m."""
    a, b = a / h, b / h
    s = np.concatenate([[0.0], np.cumsum(h)])
    share = np.concatenate([[h[0]], h[:-1] + h[1:], [h[-1]]]) / 2
    yielded = np.zeros(len(s))
    limit = math.inf if adhesive is None else adhesive.yields / springs.shear
    for _ in range(ROUNDS):
        spring = np.where(yielded == 0, springs.shear * share, 0.0)
        slip = _slip(a, b, spring, share * yielded * (0.0 if adhesive is None else adhesive.yields), load)
        new = np.where(np.abs(slip) > limit, np.sign(slip), 0.0)
        if new.all():
            break
        if np.array_equal(new, yielded):
            shear = springs.shear * slip
            return TaperStress(s, shear if adhesive is None else np.clip(shear, -adhesive.yields, adhesive.yields))
        yielded = new
    raise ModelError("the adhesive yields all along: no equilibrium was found", where="tapered bond")


def _slip(a: FloatArray, b: FloatArray, spring: FloatArray, pull: FloatArray, load: float) -> FloatArray:
    """u2 − u1 at the nodes; `spring`, `pull` (n,): stiffness and fixed force of the bond at each."""
    n = len(spring)
    ends = np.zeros(1)
    diagonal = np.empty(2 * n)
    for k, axial in enumerate((a, b)):
        diagonal[k::2] = np.concatenate([axial, ends]) + np.concatenate([ends, axial]) + spring
    beside, across = np.zeros(2 * n), np.zeros(2 * n)
    beside[1::2] = -spring  # u1 with u2 of a node
    across[2::2], across[3::2] = -a, -b
    right = np.zeros(2 * n)
    right[0::2], right[1::2] = pull, -pull
    right[0] -= load
    # the second adherend is held at the far end
    diagonal[-1], beside[-1], across[-1], right[-1] = 1.0, 0.0, 0.0, 0.0
    bands = np.zeros((5, 2 * n))
    bands[0], bands[1], bands[2] = across, beside, diagonal
    bands[3, :-1], bands[4, :-2] = beside[1:], across[2:]
    try:
        u = solve_banded((2, 2), bands, right)
    except np.linalg.LinAlgError as error:
        raise ModelError("the adhesive yields all along", where="tapered bond") from error
    return np.asarray(u[1::2] - u[0::2])


def scarf(
    parent: Sequence[float],
    patch: Sequence[float],
    thicknesses: Sequence[float],
    slope: float,
    springs: Bond,
    load: float = 1.0,
    *,
    covers: float = 0.0,
    adhesive: Ductile | None = None,
) -> TaperStress:
    """Shear along a scarf of 1:`slope`, plies from the bonded face inwards: `parent`, `patch` (n,) axial stiffness N/m
    of the plies that end and of those that take their place, `thicknesses` (n,) m of the parent's.

    `covers` N/m: stiffness of patch plies laid over the whole repair besides.  s = 0 is at the outer rim, where the
    parent is whole; a ply of the parent tapers off from there, the face ply first, while the patch's grows.

    >>> even = scarf([1e7, 1e7], [1e7, 1e7], [2e-4, 2e-4], 30.0, Bond(5e12, 1.0), 1e5)
    >>> bool(np.allclose(even.shear, 1e5 / (30 * 4e-4), rtol=1e-6))
    True
    """
    if not (math.isfinite(slope) and slope > 0):
        raise InputError(f"the slope is 1:{slope:g}", where="scarf", allowed="1:n with n above 0")
    _alike(parent, patch, thicknesses)
    first, second, steps = [], [], []
    for i, thick in enumerate(thicknesses):
        length = slope * thick
        below, above = sum(parent[i + 1 :]), sum(patch[:i]) + covers
        thinnest = min(below + parent[i], above + patch[i])
        n = max(TAPER, int(_steps(np.array([length]), np.array([thinnest]), np.array([thinnest]), springs)[0]))
        _few(n * len(thicknesses), slope * sum(thicknesses))
        # graded towards a tip, where the stiffness tends to nothing
        at = np.linspace(0.0, 1.0, n + 1)
        if i == 0 and not covers:
            at = at**2
        if i == len(thicknesses) - 1:
            at = (
                1 - (1 - at) ** 2 if not (i == 0 and not covers) else (1 - np.cos(np.pi * np.linspace(0, 1, n + 1))) / 2
            )
        gone = (at[1:] + at[:-1]) / 2
        first.append(below + (1 - gone) * parent[i])
        second.append(above + gone * patch[i])
        steps.append(length * np.diff(at))
    return _on_grid(np.concatenate(first), np.concatenate(second), np.concatenate(steps), springs, load, adhesive)


def stepped(
    parent: Sequence[float],
    patch: Sequence[float],
    step: float,
    springs: Bond,
    load: float = 1.0,
    *,
    covers: float = 0.0,
    adhesive: Ductile | None = None,
) -> TaperStress:
    """Shear along a stepped joint, each step `step` m long; the rest as for :func:`scarf`.

    On step i the parent has lost its i outermost plies, and the patch's first i + 1 lie on the rest: n plies make n
    steps, the first with the parent whole (a lone ply is a lap).
    """
    if not (math.isfinite(step) and step > 0):
        raise InputError(f"the step is {step:g} m long", where="stepped joint", allowed="more than 0")
    _alike(parent, patch, parent)
    n = len(parent)
    first = [sum(parent[i:]) for i in range(n)]
    second = [sum(patch[: i + 1]) + covers for i in range(n)]
    return tapered(first, second, [step] * n, springs, load, adhesive)


def _alike(*plies: Sequence[float]) -> None:
    if len({len(p) for p in plies}) != 1 or not len(plies[0]):
        raise InputError("parent and patch differ in plies", where="tapered bond", allowed="as many plies each")
    if not all(math.isfinite(v) and v > 0 for p in plies for v in p):
        raise InputError("a ply without stiffness or thickness", where="tapered bond", allowed="positive numbers")


def taper_peaks(
    parent: Laminate,
    patch: Laminate,
    taper: tuple[float | None, float | None],
    adhesive: Adhesive,
    bond_thickness: float,
    side: Literal[1, -1],
    N: FloatArray,
    M: FloatArray,
    angle: float | FloatArray = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Peak shear and peel (n,) Pa of a laminate let into another along `taper` (slope, step m: one of them).

    `parent`, `patch`: the plies that end on the face `side`, and the new ones with what more lies over them; `N`, `M`
    (n,) N/m and N: what the former carry across the rim, M about their middle.  Bending counts as the membrane force
    that strains their whole depth like the face, 6 M/t: on the safe side.  Peel is the shear over the slope where the
    rim is pulled.  Raises InputError for fewer new plies than end.
    """
    slope, step = taper
    count, depth = len(parent.plies), parent.thickness
    if len(patch.plies) < count:
        raise InputError(
            f"{len(patch.plies)} new plies take the place of {count}", where="scarf or stepped patch",
            allowed=f"{count} plies or more", do="give a stack with as many plies as the skin has",
        )  # fmt: skip
    run = slope if slope is not None else (step or 0.0) * count / depth
    springs = bond(adhesive, bond_thickness)
    n, m = (np.atleast_1d(np.asarray(v, float)) for v in (N, M))
    load = np.abs(n) + 6 * np.abs(m) / depth
    steps = np.round(np.broadcast_to(np.asarray(angle, float), n.shape) / ANGLE_STEP).astype(np.int64)
    steps = steps % round(math.pi / ANGLE_STEP)
    shear = np.zeros(len(n))
    # from the face inwards
    ending = range(count - 1, -1, -1) if side > 0 else range(count)
    new = range(len(patch.plies) - 1, -1, -1) if side > 0 else range(len(patch.plies))
    for k in np.unique(steps):
        a, b = _axial(parent, float(k) * ANGLE_STEP), _axial(patch, float(k) * ANGLE_STEP)
        covers = sum(b[i] for i in list(new)[: len(patch.plies) - count])
        grown = tuple(b[i] for i in list(new)[len(patch.plies) - count :])
        thick = tuple(parent.plies[i].thickness for i in ending)
        shear[steps == k] = _unit_peak(tuple(a[i] for i in ending), grown, thick, slope, step, springs, covers)
    shear = shear * load
    return shear, np.where(n + 6 * np.abs(m) / depth > 0, shear / run, 0.0)


def _axial(laminate: Laminate, angle: float) -> list[float]:
    """Axial stiffness N/m of each ply in a direction, strains along the edge zero."""
    c, s = math.cos(angle), math.sin(angle)
    across = np.array([c * c, s * s, 2 * c * s])
    stiff = across @ laminate.ply_stiffness @ across
    return [float(q * p.thickness) for q, p in zip(stiff, laminate.plies, strict=True)]


@lru_cache(maxsize=4096)
def _unit_peak(
    parent: tuple[float, ...], patch: tuple[float, ...], thick: tuple[float, ...], slope: float | None,
    step: float | None, springs: Bond, covers: float,
) -> float:  # fmt: skip
    if slope is not None:
        return scarf(parent, patch, thick, slope, springs, covers=covers).peak
    return stepped(parent, patch, step or 0.0, springs, covers=covers).peak
