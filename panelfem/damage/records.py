"""Damage, as records; each names the mesh region it covers."""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.arrays import FloatArray


@dataclass(frozen=True)
class Hole:
    """Material that is gone, edges clean.  `characteristic_length` m: stress is averaged over it at the edge."""

    name: str
    region: str
    characteristic_length: float


@dataclass(frozen=True)
class Softened:
    """An area that sounds dull: stiffness unknown, so bracketed between full and `remaining_stiffness` (near zero).

    `strength` is the share of strength left at the stiff end, with its band.
    """

    name: str
    region: str
    remaining_stiffness: float
    strength: float
    strength_band: tuple[float, float] | None = None


@dataclass(frozen=True)
class Delamination:
    """An area where two plies have come apart: the interface on top of ply `interface`, counted from 1 at the face the
    normal enters.

    Its buckling is that of an ellipse at `place` (3,) m with `semi_axes` m, the first along the tangent `along` (3,).
    """

    name: str
    region: str
    interface: int
    place: FloatArray
    along: FloatArray
    semi_axes: tuple[float, float]


@dataclass(frozen=True)
class MissingFastener:
    """A fixing that is gone or does not hold."""

    name: str
    fastener: str


Damage = Hole | Softened | Delamination | MissingFastener
