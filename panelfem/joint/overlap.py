"""Two bonded strips in cylindrical bending: the linear differential equations of an overlap, solved exactly.

Strip 1 (the parent) and strip 2 (the patch, on the side z grows to) follow first-order beam theory across
the edge of the patch; strains along the edge are zero.  Each has axial, coupling and bending stiffness A,
B, D about one common or its own reference height and a transverse shear stiffness S.  The adhesive is two
rows of springs,

 τ = (G/η)(U2 − U1), U = u + zβ at the bonded face;    σ = (E/η)(w2 − w1), tension positive.

State (u, w, β, N, Q, M) of each strip along s, into the overlap:
 (u', β') from N = A u' + B β', M = B u' + D β';   w' = Q/S − β;
 N1' = −τ, N2' = τ;   Q1' = −σ, Q2' = σ;   M1' = Q1 − z1 τ, M2' = Q2 + z2 τ,
z1, z2 the bonded faces measured from the reference to which M belongs.  The twelve equations have constant
coefficients: the exponential of one short step is exact, and the steps are joined in one banded system,
which stays well conditioned where one exponential over the whole overlap would overflow.  Steps are a
quarter of the shortest decay length.

Source: the adhesive model of Volkersen 1938 and Goland & Reissner 1944, the strips those of first-order
laminate theory; written out here.  Limits: no plasticity, no spew fillet, no stress singularity; the true
shear is zero at the very end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.linalg import expm, solve_banded

from panelfem.arrays import FloatArray
from panelfem.errors import InputError, ModelError

#: no more steps than this along an overlap; a longer one is cut where the end effects have died out
MAX_STEPS = 4000
#: e-folds after which an end no longer feels the other
DECAY = 40.0
#: rows of N, Q, M of both strips in a state
FORCES = [3, 4, 5, 9, 10, 11]
#: diagonals below and above the middle one of the joined steps, whose rows start six below their columns
_LOWER, _UPPER = 17, 11

Far = Literal["joined", "cut 1", "cut 2"]


@dataclass(frozen=True)
class Strip:
    """A strip per unit width: `A` N/m, `B` N, `D` N·m, `S` N/m (inf: no shear deformation), `face` m:
    height of its bonded face over the reference of its M."""

    A: float
    B: float
    D: float
    S: float
    face: float

    def __post_init__(self) -> None:
        if not (self.A > 0 and self.D > 0 and self.A * self.D > self.B**2 and self.S > 0):
            raise InputError(
                f"a strip with A = {self.A:.4g}, B = {self.B:.4g}, D = {self.D:.4g}, S = {self.S:.4g}",
                where="bonded overlap",
                allowed="positive definite stiffness",
            )


@dataclass(frozen=True)
class Bond:
    """Spring stiffness of the adhesive: `shear` G/η and `peel` E/η, Pa/m."""

    shear: float
    peel: float

    def __post_init__(self) -> None:
        if not (0 < self.shear < math.inf and 0 < self.peel < math.inf):
            raise InputError(
                f"bond stiffness {self.shear:.4g}, {self.peel:.4g} Pa/m",
                where="bonded overlap",
                allowed="positive adhesive moduli and bond thickness",
            )


@dataclass(frozen=True)
class OverlapStress:
    """Distances `s` (g,) m into the overlap, `shear` and `peel` (g, k) Pa for each of k load columns."""

    s: FloatArray
    shear: FloatArray
    peel: FloatArray


def pieces(first: Strip, second: Strip) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """What y' = M y + c τ + d σ is made of, y = (u, w, β, N, Q, M) of strip 1, then of strip 2 (SI units).

    M (12, 12) of the strips alone; the rows (12,) that give slip and opening at the bond from y; c and d (12,).
    """
    m = np.zeros((12, 12))
    slip, gap, by_shear, by_peel = np.zeros((4, 12))
    for k, (strip, sign) in enumerate(((first, -1.0), (second, 1.0))):
        o = 6 * k
        f = np.linalg.inv(np.array([[strip.A, strip.B], [strip.B, strip.D]]))
        m[o, o + 3], m[o, o + 5] = f[0]
        m[o + 2, o + 3], m[o + 2, o + 5] = f[1]
        m[o + 1, o + 2], m[o + 1, o + 4] = -1.0, 1 / strip.S
        m[o + 5, o + 4] = 1.0
        slip[o], slip[o + 2], gap[o + 1] = sign, sign * strip.face, sign
        by_shear[o + 3], by_shear[o + 5], by_peel[o + 4] = sign, sign * strip.face, sign
    return m, slip, gap, by_shear, by_peel


def system(first: Strip, second: Strip, bond: Bond) -> FloatArray:
    """M (12, 12) of y' = M y with an elastic bond."""
    m, slip, gap, by_shear, by_peel = pieces(first, second)
    return m + bond.shear * np.outer(by_shear, slip) + bond.peel * np.outer(by_peel, gap)


def units(first: Strip, second: Strip) -> FloatArray:
    """Units (12,) of a state: lengths in the strips' own length and forces, so that all entries are of order one."""
    t = math.sqrt(12 * min(first.D / first.A, second.D / second.A))
    force = min(first.A, second.A)
    return np.tile([t, t, 1.0, force, force, force * t], 2)


def far_rows(first: Strip, second: Strip, unit: FloatArray, far: Far) -> FloatArray:
    """The six conditions (6, 12) at the far end on a state in `unit`; strip 1, or what is left, is held there."""
    end, t = np.zeros((6, 12)), unit[0]
    gone = 6 if far == "cut 2" else 0
    kept = 6 - gone if far != "joined" else 0
    end[np.arange(3), kept + np.arange(3)] = 1.0
    if far == "joined":
        end[3, [0, 2, 6, 8]] = 1.0, first.face / t, -1.0, -second.face / t  # no slip
        end[4, [1, 7]] = 1.0, -1.0
        end[5, [2, 8]] = 1.0, -1.0
    else:
        end[np.arange(3, 6), gone + np.arange(3, 6)] = 1.0
    return end


def solve(
    first: Strip,
    second: Strip,
    bond: Bond,
    length: float,
    start: FloatArray,
    far: Far = "joined",
) -> OverlapStress:
    """Adhesive stresses of an overlap 0 ≤ s ≤ `length` m.

    `start` (6, k): (N1, Q1, M1, N2, Q2, M2) on the face s = 0 for k unit loads, N/m, N/m, N.
    `far`: what s = length is.  "joined": the two run on as one section (plane, no slip); "cut 1" or "cut
    2": that strip ends there, free, and the other carries everything on.
    """
    start = np.asarray(start, float).reshape(6, -1)
    if not (math.isfinite(length) and length > 0):
        raise InputError(f"overlap is {length} m", where="bonded overlap", allowed="more than 0")
    m = system(first, second, bond)
    unit = units(first, second)
    scaled = m * (unit / unit[:, None])
    rates = np.abs(np.linalg.eigvals(scaled).real)
    fast, slow = float(rates.max()), _slowest(first, second, bond)
    if far == "joined":
        length = min(length, DECAY / slow)
    steps = math.ceil(4 * fast * length)
    if steps > MAX_STEPS:
        raise ModelError(
            f"an overlap of {length:.4g} m is {fast * length:.0f} decay lengths long",
            where="bonded overlap",
            allowed=f"at most {MAX_STEPS / 4:.0f}",
            do="give the overlap from the edge to the gap only",
        )
    steps = max(steps, 8)
    h = length / steps
    carry = expm(scaled * h)
    # unknown states at steps + 1 places: 6 conditions at the start, 12 for each step, 6 at the far end
    near = np.zeros((6, 12))
    near[np.arange(6), FORCES] = 1.0
    end = far_rows(first, second, unit, far)
    n, last = 12 * (steps + 1), 12 * steps
    band = np.zeros((_LOWER + _UPPER + 1, n))

    def put(row: int, col: int, block: FloatArray, times: int = 1) -> None:
        for i, j in zip(*np.nonzero(block), strict=True):
            band[_UPPER + row + i - col - j, col + j : col + j + 12 * (times - 1) + 1 : 12] = block[i, j]

    put(0, 0, near)
    put(6, 0, carry, steps)
    put(6, 12, -np.eye(12), steps)
    put(6 + last, last, end)
    right = np.zeros((n, start.shape[1]))
    right[:6] = start / unit[FORCES][:, None]
    y = solve_banded((_LOWER, _UPPER), band, right, check_finite=False).reshape(steps + 1, 12, -1) * unit[:, None]
    slip = (y[:, 6] + second.face * y[:, 8]) - (y[:, 0] + first.face * y[:, 2])
    return OverlapStress(np.linspace(0, length, steps + 1), bond.shear * slip, bond.peel * (y[:, 7] - y[:, 1]))


def _slowest(first: Strip, second: Strip, bond: Bond) -> float:
    """The smallest decay rate, 1/m: six of the twelve eigenvalues are zero (rigid motion and plain
    bending), and in floating point they are not, so they are told apart by count."""
    unit = units(first, second)
    values = np.linalg.eigvals(system(first, second, bond) * (unit / unit[:, None]))
    return float(np.abs(np.sort_complex(values[np.argsort(np.abs(values))[6:]]).real).min())


@lru_cache(maxsize=4096)
def unit_stress(
    first: Strip,
    second: Strip,
    bond: Bond,
    length: float,
    entry: Literal["parent", "patch"],
    far: Far,
) -> tuple[FloatArray, FloatArray]:
    """Shear and peel (g, 3) for unit N, M, Q on the one strip that crosses s = 0, where the other begins."""
    start = np.zeros((6, 3))
    o = 0 if entry == "parent" else 3
    start[o, 0] = start[o + 2, 1] = start[o + 1, 2] = 1.0
    out = solve(first, second, bond, length, start, far)
    return out.shear, out.peel
