"""Buckling of the plies over a delamination.

Where two plies have come apart each of the two parts of the laminate, the sublaminate, is a thin plate held at the rim
of the area.  It feels the strain of the whole panel, at its own height, and buckles away from the other part.  The
delamination is then to be expected to grow; from which load on is told where the toughness of its plies is known
(`panelfem.reserve.growth`).

The plate is a clamped ellipse under the resultants of the mean strain over the area, e + z k with its own A and B, with
its own bending stiffness D − B A⁻¹ B.  An ellipse more than :data:`SLENDER` times as long as wide, in lengths over the
fourth root of the bending stiffness along them, is taken for a long strip of its width: Ritz functions follow its many
waves badly, and the strip is on the safe side.  Transverse shear adds to the share of the buckling load that is used:
1/N = 1/N_bending + 1/N_shear.

Left out: the stiffness of the rim, which is less than rigid where the part is as thick as the rest; the change of the
strain over the area; the curvature of the panel; that the other part is in the way of half the waves, which is on the
safe side; forces that press the two parts together or pull them apart.  Of a part that holds a core nothing is said: it
is all but the panel itself, whose crimping, wrinkling and compression are looked at elsewhere.

What is held stays: the share of the buckling load is convex in the resultants, so that the factor on what is added is
the one place where it rises to 1.  Stress left in the part by the cure is held.

Source: H. Chai, C. D. Babcock and W. G. Knauss 1981, Int. J. Solids Structures 17:1069 (from memory), for the thin film
that buckles over a delamination; ellipses by Ritz (`panelfem.reference.ellipse_buckling`).  1/N: the theorem of Föppl
and Papkovich (from memory), a lower bound under compression from all sides, and exact for a clamped isotropic disc.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.laminate import Laminate
from panelfem.laminate.ply import strain_turn
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.panel import Delaminated, Panel
from panelfem.reference.eigen import Shares
from panelfem.reference.ellipse_buckling import ClampedEllipseModes
from panelfem.reference.strip_buckling import ClampedStrip
from panelfem.reserve.check import mode_reserve
from panelfem.reserve.growth import CRITERION as GROWTH_CRITERION
from panelfem.reserve.growth import MODE as GROWTH
from panelfem.reserve.growth import Buckled, Front
from panelfem.reserve.observe import Observed
from panelfem.reserve.plies import Residual
from panelfem.reserve.records import ModeReserve

MODE = "sublaminate buckling"
CRITERION = "clamped ellipse"
#: Effective length over width from which an ellipse is a strip.  Measured on laws from isotropic to E1/E2 = 20 at any
#: angle, pushed, pulled and sheared: here Ritz of degree 20 is at most 0.4 % above that of degree 28, and the strip 5
#: to 24 % below; at twice this ratio the strip is at most 11 % below Ritz of degree 36.
SLENDER = 4.0
_DEGREE = 20
#: A share below this of what is added, per unit of factor, never matters.
_NONE = 1e-9

#: Share of the buckling load and its derivatives (3,), by resultants (3,) N/m: convex, and proportional to them.
Share = Callable[[FloatArray], tuple[float, FloatArray]]


@dataclass(frozen=True)
class DelaminationCheck:
    """Buckling of both parts of the laminate over each delamination, and its growth; governs release."""

    panel: Panel
    residual: Residual

    @cached_property
    def _parts(self) -> list[_Part]:
        return [part for i, found in enumerate(self.panel.delaminations) for part in _parts_of(self.panel, i, found)]

    @cached_property
    def _fronts(self) -> list[Front | None]:
        return [Front.of(found) for found in self.panel.delaminations]

    def untold(self) -> tuple[str, ...]:
        """Which delaminations have no known toughness, each as a sentence."""
        why = {
            True: "the toughness of its plies is not known (GIc_J_per_m2, GIIc_J_per_m2, mixed_mode)",
            False: "growth between a skin and a core is not computed",
        }
        return tuple(
            f"whether {found.name} grows cannot be told: {why[_of_plies(found)]}"
            for found, front in zip(self.panel.delaminations, self._fronts, strict=True)
            if front is None
        )

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        """The factor of every part that is assessed, and of the growth where it can be told."""
        reserves, buckled = [], dict[int, list[Buckled]]()
        for part in self._parts:
            strain = held.area_strain[part.number, :6]
            before = resultants(part.laminate, part.found.whole, strain, self.residual)
            added = part.laminate.ABD[:3] @ (now.area_strain[part.number, :6] - strain)
            factor = buckling_factor(part.share, before, added)
            reserve = mode_reserve(
                MODE, CRITERION, "release", factor, part.found.place, None, part.ply, part.ply_name, part.position,
                part.number_of_laminate,
            )  # fmt: skip
            reserves.append(replace(reserve, where=part.where))
            buckled.setdefault(part.number, []).append((part.position == "bottom", before, added, factor))
        for i, front in enumerate(self._fronts):
            if front is None:
                continue
            sheared = [front.found.whole.shear @ state.area_strain[i, 6:] for state in (held, now)]
            factor = front.factor((sheared[0], sheared[1] - sheared[0]), buckled.get(i, []))
            growth = mode_reserve(GROWTH, GROWTH_CRITERION, "release", factor, front.found.place, None)
            reserves.append(replace(growth, where=f"at {front.found.name}"))
        return reserves


def resultants(part: Laminate, whole: Laminate, strain: FloatArray, residual: Residual) -> FloatArray:
    """Membrane resultants (3,) N/m in a part of the laminate `whole`, at the strain (6,) since the panel was fitted and
    with the residual stresses, in the frame of the 0° axis.
    """
    total = strain + residual.locked_in(whole)
    free = part.thermal_resultants(residual.temperature_change, residual.moisture)
    return np.asarray(part.ABD[:3] @ total - free[:3])


def buckling_factor(share: Share, held: FloatArray, added: FloatArray) -> float:
    """Factor r ≥ 0 at which the share of held + r·added, resultants (3,) N/m, reaches 1; nan if that of `held` is there
    already, inf if it never gets there.

    >>> press = lambda n: (max(-n[0], 0.0), np.array([-1.0 if n[0] < 0 else 0.0, 0.0, 0.0]))
    >>> pull, push = np.array([0.5, 0.0, 0.0]), np.array([-0.5, 0.0, 0.0])
    >>> buckling_factor(press, pull, push), buckling_factor(press, pull, pull), buckling_factor(press, 2 * push, push)
    (3.0, inf, nan)
    """
    if share(held)[0] >= 1.0:
        return float("nan")
    rate = share(added)[0]
    if rate <= _NONE:  # then share(held + r·added) ≤ share(held) + r·share(added) < 1
        return float("inf")
    # share(held + r·added) ≥ r·share(added) − share(−held): a start beyond the end, from which Newton comes down to it
    r = (1.0 + share(-held)[0]) / rate
    for _ in range(60):
        value, slope = share(held + r * added)
        step = (value - 1.0) / float(slope @ added)
        r -= step
        if step <= 1e-10 * r:
            break
    return float(r)


def part_share(part: Laminate, angle: float, semi_axes: tuple[float, float]) -> Share:
    """The share of its buckling load that resultants in a part are, in the frame of the 0° axis; the ellipse has
    `semi_axes` m, the first at `angle` rad from it.
    """
    back = strain_turn(-angle)
    bending = back.T @ part.reduced_bending @ back
    shares, swapped = _plate(bending.tobytes(), *semi_axes)
    order = [1, 0, 2] if swapped else [0, 1, 2]
    turn = back.T[order]
    value, axes = np.linalg.eigh(part.shear)
    soft = axes / np.sqrt(value)

    def share(force: FloatArray) -> tuple[float, FloatArray]:
        bent, slope = shares(turn @ force)
        sheared, shape = np.linalg.eigh(-soft.T @ np.array([[force[0], force[2]], [force[2], force[1]]]) @ soft)
        x, y = soft @ shape[:, 1]
        by_bending = (bent, slope @ turn) if bent > 0.0 else (0.0, np.zeros(3))
        by_shear = (
            (float(sheared[1]), -np.array([x * x, y * y, 2.0 * x * y])) if sheared[1] > 0.0 else (0.0, np.zeros(3))
        )
        return by_bending[0] + by_shear[0], by_bending[1] + by_shear[1]

    return share


@lru_cache(maxsize=16)
def _plate(bending: bytes, a: float, b: float) -> tuple[Shares, bool]:
    """Shares of the clamped ellipse, or of the strip it is taken for, whose bending stiffness (3, 3) is given in the
    ellipse's axes; whether x and y change places in it.
    """
    D = np.frombuffer(bending).reshape(3, 3)
    slender = a / b * (D[1, 1] / D[0, 0]) ** 0.25
    if 1.0 / SLENDER <= slender <= SLENDER:
        return ClampedEllipseModes(D, a, b, _DEGREE).shares(), False
    if slender > 1.0:
        return ClampedStrip(D, b).shares(), False
    return ClampedStrip(D[np.ix_([1, 0, 2], [1, 0, 2])], a).shares(), True


@dataclass(frozen=True)
class _Part:
    """One part over delamination `number` of the panel, and what its mode is called by: the ply at the interface, which
    of its faces that is, and the laminate these are counted in.
    """

    number: int
    found: Delaminated
    laminate: Laminate
    share: Share
    ply: int
    ply_name: str
    position: str
    number_of_laminate: int
    where: str


def _parts_of(panel: Panel, number: int, found: Delaminated) -> list[_Part]:
    """The parts over a delamination that hold no core.

    Plies are counted in the laminate that is there now, with what was bonded on; the parts are without that.
    """
    element = int(panel.mesh.nearest(found.place[None])[0][0])
    there = int(panel.laminate_of[element])
    now = panel.laminates[there]
    parts = []
    for laminate, position, at in zip(found.whole.split(found.after), ("top", "bottom"), (0, 1), strict=True):
        if any(isinstance(ply.material, CoreMaterial) for ply in laminate.plies):
            continue
        low, high = (int(np.argmin(np.abs(now.interfaces - z))) for z in laminate.interfaces[[0, -1]])
        ply = (high, low + 1)[at]
        plies = f"ply {high}" if high == low + 1 else f"plies {low + 1} to {high}"
        parts.append(
            _Part(
                number, found, laminate, part_share(laminate, found.angle, found.semi_axes), ply,
                now.plies[ply - 1].material.name, position, there, f"at {found.name} ({plies})",
            )
        )  # fmt: skip
    return parts


def _of_plies(found: Delaminated) -> bool:
    """Whether both sides of the interface are plies of fibre."""
    beside = found.whole.plies[found.after - 1 : found.after + 1]
    return all(isinstance(ply.material, PlyMaterial) for ply in beside)
