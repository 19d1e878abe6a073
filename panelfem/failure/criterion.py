"""What all criteria share: modes made of pieces, and the reserve factor on the applied part with the residual
held.

A piece is a polynomial of second degree in the three ply stresses, with the signs under which it holds; a
mode is reached when one of its pieces is 1 or more there.  A criterion is its pieces for a ply, its words and
its source; the load factor and the index are worked out here, once, for all of them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import InputError
from panelfem.failure.solve import Stretch, first_reach
from panelfem.material import PlyMaterial

Grade = Literal["release", "inspection"]

#: points worked on at a time: the temporaries stay in cache
BLOCK = 8192


@dataclass(frozen=True)
class Mode:
    """A mode of failure and what it governs: 'release', or 'inspection' (reported, asks for a look)."""

    name: str
    grade: Grade


@dataclass(frozen=True)
class Term:
    """`factor` times stress `i`, or times stress `i` times stress `j`; `label` says what it stands for."""

    label: str
    factor: float
    i: int
    j: int | None = None


@dataclass(frozen=True)
class Piece:
    """One polynomial of a mode (by its number): reached where the sum of `terms` is 1.

    `sides`: (stress number, sign) pairs under which it holds: +1 means the stress is not negative, −1
    negative.  `bounds`: further ones, (g1, g2, g3, g0): g·stress + g0 (Pa) is not negative.  `base` is added to
    the sum.
    """

    mode: int
    terms: tuple[Term, ...]
    sides: tuple[tuple[int, int], ...] = ()
    bounds: tuple[tuple[float, float, float, float], ...] = ()
    base: float = 0.0

    def square(self, x: FloatArray) -> FloatArray | float:
        """Quadratic part at stresses (3, n)."""
        return sum((t.factor * (x[t.i] * x[t.j]) for t in self.terms if t.j is not None), start=0.0)

    def cross(self, x: FloatArray, y: FloatArray) -> FloatArray | float:
        """What the quadratic part gains per factor: the derivative at `y` along `x`."""
        return sum((t.factor * (x[t.i] * y[t.j] + y[t.i] * x[t.j]) for t in self.terms if t.j is not None), start=0.0)

    def linear(self, x: FloatArray) -> FloatArray | float:
        """Linear part at stresses (3, n)."""
        return sum((t.factor * x[t.i] for t in self.terms if t.j is None), start=0.0)

    def holds(self, x: FloatArray) -> BoolArray:
        """Where the signs of stresses (3, n) are those of this piece, (n,)."""
        inside = np.ones(x.shape[1:], bool)
        for i, sign in self.sides:
            inside &= (x[i] >= 0.0) if sign > 0 else (x[i] < 0.0)
        for bound in self.bounds:
            inside &= _across(bound, x) + bound[3] >= 0.0
        return inside


class Criterion(ABC):
    """A failure criterion of plane stress in ply axes.

    `applies_to`: kinds of ply it may judge; `needs`: the properties it uses, all of which must be given;
    `modes`: what it tells apart, in the order of the last axis of :meth:`reserve`.
    """

    name: str
    source: str
    applies_to: frozenset[str]
    needs: tuple[str, ...]
    modes: tuple[Mode, ...]

    @abstractmethod
    def pieces(self, ply: PlyMaterial) -> tuple[Piece, ...]:
        """The polynomials of all modes for a ply, in stresses of Pa."""

    def reserve(
        self,
        applied: FloatArray,
        residual: FloatArray,
        ply: PlyMaterial,
        strength: float | FloatArray = 1.0,
    ) -> FloatArray:
        """Reserve factors (..., modes): the least positive factor on `applied` at which residual + factor ·
        applied first reaches the mode.

        `applied`, `residual` (..., 3): stresses [s11, s22, s12] in ply axes, Pa, tension positive; they
        broadcast.
        `strength` scales every strength (a number, or an array over the leading axes).
        inf where a mode is never reached; nan where the residual alone reaches it (or a stress is nan).
        Raises InputError for a ply the criterion does not apply to, or a strength that is not positive.
        """
        self.check(ply)
        applied, residual = np.asarray(applied, np.float64), np.asarray(residual, np.float64)
        for what, array in (("applied", applied), ("residual", residual)):
            if array.shape[-1:] != (3,):
                raise InputError(f"{what} stresses have shape {array.shape}", allowed="(..., 3)")
        lead = np.broadcast_shapes(applied.shape[:-1], residual.shape[:-1])
        scale = np.asarray(strength, np.float64)
        if not bool((scale > 0.0).all()):
            raise InputError("a share of strength is not positive", allowed="above 0; take the ply out to have none")
        count = int(np.prod(lead))
        out = np.empty((count, len(self.modes)))
        pieces = self.pieces(ply)
        flat_applied = _flat(applied, lead, count)
        flat_residual = _flat(residual, lead, count) if residual.any() else None
        flat_scale = np.broadcast_to(scale, lead).reshape(count) if scale.ndim else None
        with np.errstate(all="ignore"):
            for first in range(0, count, BLOCK):
                rows = slice(first, first + BLOCK)
                by = float(scale) if flat_scale is None else flat_scale[rows]
                x = np.ascontiguousarray(flat_applied[rows].T) / by
                y = None if flat_residual is None else np.ascontiguousarray(flat_residual[rows].T) / by
                self._solve(x, y, pieces, out[rows])
        return out.reshape(*lead, len(self.modes))

    def _solve(self, x: FloatArray, y: FloatArray | None, pieces: tuple[Piece, ...], out: FloatArray) -> None:
        """Fill `out` (n, modes) for stresses x applied and y residual, (3, n); nan wins over any number."""
        out[...] = np.inf
        for piece in pieces:
            factor = _first(piece, x, y)
            np.minimum(out[:, piece.mode], factor, out=out[:, piece.mode])

    def index(self, stress: FloatArray, ply: PlyMaterial, strength: float | FloatArray = 1.0) -> FloatArray:
        """Indices (..., modes) of total stresses (..., 3): 1 or more where the mode is reached, never below
        0.

        Not linear in the stress: for a margin use :meth:`reserve`.
        """
        self.check(ply)
        x = np.moveaxis(np.asarray(stress, np.float64) / np.asarray(strength, np.float64)[..., None], -1, 0)
        out = np.zeros((*x.shape[1:], len(self.modes)))
        for piece in self.pieces(ply):
            value = np.where(piece.holds(x), piece.square(x) + piece.linear(x) + piece.base, 0.0)
            out[..., piece.mode] = np.maximum(out[..., piece.mode], value)
        return out

    def terms(self, stress: FloatArray, ply: PlyMaterial) -> dict[str, float]:
        """What each stress contributes to the index at one total stress (3,), by its words."""
        self.check(ply)
        x = np.asarray(stress, np.float64).reshape(3, 1)
        found: dict[str, float] = {}
        for piece in self.pieces(ply):
            if piece.holds(x)[0]:
                for t in piece.terms:
                    value = t.factor * x[t.i, 0] * (1.0 if t.j is None else x[t.j, 0])
                    found[t.label] = found.get(t.label, 0.0) + float(value)
        return found

    def largest_term(self, stress: FloatArray, ply: PlyMaterial) -> str:
        """The words of the largest contribution at one total stress (3,), with its sense."""
        parts = self.terms(stress, ply)
        label = max(parts, key=lambda name: parts[name])
        axis = {ALONG: 0, ACROSS: 1}.get(label)
        if axis is None:
            return label
        return f"{label}, {'tension' if stress[axis] >= 0.0 else 'compression'}"

    def check(self, ply: PlyMaterial) -> None:
        """Raises InputError if this criterion cannot judge the ply."""
        if ply.kind not in self.applies_to:
            raise InputError(
                f"the criterion '{self.name}' does not apply to {ply.kind} plies",
                where=f"ply material '{ply.name}'",
                allowed=", ".join(sorted(self.applies_to)),
                do=f"take '{'Hashin' if ply.kind == 'unidirectional' else 'maximum stress by direction'}'",
            )
        if missing := [need for need in self.needs if getattr(ply, need) is None]:
            raise InputError(
                f"the criterion '{self.name}' needs {', '.join(missing)}",
                where=f"ply material '{ply.name}'",
                do="state it in the material, or take another criterion",
            )


ALONG, ACROSS, SHEAR, BOTH = (
    "stress along 1",
    "stress along 2",
    "in-plane shear",
    "stresses along 1 and 2 together",
)
FIRST_PLY = (Mode("first ply failure", "inspection"),)
UNIDIRECTIONAL = frozenset({"unidirectional"})
FABRIC = frozenset({"fabric"})
PLY_MODES = (
    Mode("fibre tension", "release"),
    Mode("fibre compression", "release"),
    Mode("matrix tension", "inspection"),
    Mode("matrix compression", "inspection"),
    Mode("in-plane shear", "inspection"),
)
FABRIC_MODES = (
    Mode("warp tension", "release"),
    Mode("warp compression", "release"),
    Mode("fill tension", "release"),
    Mode("fill compression", "release"),
    Mode("in-plane shear", "inspection"),
)


def _flat(stress: FloatArray, lead: tuple[int, ...], count: int) -> FloatArray:
    return np.broadcast_to(stress, (*lead, 3)).reshape(count, 3)


def _first(piece: Piece, x: FloatArray, y: FloatArray | None) -> FloatArray:
    """The factor (n,) on x (3, n), from y (3, n), at which a piece is first reached where it holds."""
    a, b = piece.square(x), piece.linear(x)
    if y is None:
        stretch = Stretch.of(_sides(piece, x, None))
        return first_reach(a, b, piece.base - 1.0, stretch, None, x.shape[1])
    start = piece.square(y) + piece.linear(y) + (piece.base - 1.0)
    held = np.asarray(start >= 0.0) & piece.holds(y)
    stretch = Stretch.of(_sides(piece, x, y))
    return first_reach(a, b + piece.cross(x, y), start, stretch, held, x.shape[1])


def _sides(piece: Piece, x: FloatArray, y: FloatArray | None) -> Iterator[tuple[FloatArray, FloatArray | None, bool]]:
    """For each side: slope and start of what must be positive, and whether zero will do."""
    for i, sign in piece.sides:
        if sign > 0:
            yield x[i], None if y is None else y[i], True
        else:
            yield -x[i], None if y is None else -y[i], False
    for bound in piece.bounds:
        yield _across(bound, x), np.full(x.shape[1], bound[3]) + (0.0 if y is None else _across(bound, y)), True


def _across(bound: tuple[float, float, float, float], x: FloatArray) -> FloatArray:
    """The linear part of a bound at stresses (3, n)."""
    return np.asarray(bound[0] * x[0] + bound[1] * x[1] + bound[2] * x[2])
