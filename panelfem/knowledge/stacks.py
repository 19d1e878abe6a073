"""Every stack that candidate plies, angles and cores allow, and what was seen of the panel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from panelfem.errors import InputError
from panelfem.laminate import Ply
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.units import number

#: Stacks that are looked at, at most (a choice: some seconds).
MOST_STACKS = 6000
#: Moduli of a fabric closer than this share count as equal: turned by a right angle it is the same ply.
EVEN = 0.01
#: How far a seen direction may be from a ply's, rad (10°, a choice).
SEEN = math.radians(10.0)


@dataclass(frozen=True)
class Candidates:
    """What a stack may be made of: `plies` with their nominal thickness, `angles` rad, `cores` with thicknesses m
    (None: no core), from `least` to `most` plies besides the core.  `unsymmetric`: whether such stacks are too.
    `outer`: kind of the last ply as seen, `outer_angle` rad its direction as seen; None: not seen.
    """

    plies: tuple[PlyMaterial, ...]
    angles: tuple[float, ...]
    cores: tuple[tuple[CoreMaterial, float] | None, ...]
    least: int
    most: int
    unsymmetric: bool = False
    outer: str | None = None
    outer_angle: float | None = None


@dataclass(frozen=True)
class Stack:
    """The `plies` of a stack, bottom first, its `name` in the notation of a case, and its `share` of the prior.

    Every core with every number of plies is as likely before; within that, every symmetric stack, and every
    unsymmetric one, which are together as likely as :data:`UNSYMMETRIC` says.
    """

    plies: tuple[Ply, ...]
    name: str
    share: float


#: Share of the prior that unsymmetric stacks have together, where they are looked at (common practice, no source).
UNSYMMETRIC = 0.1


def stacks(of: Candidates) -> tuple[Stack, ...]:
    """All stacks that agree with what was seen.  Raises InputError for none, and for more than can be looked at.

    >>> from panelfem.material import library
    >>> twill = library()["carbon-twill"]
    >>> found = stacks(Candidates((twill,), (0.0, math.pi / 4, math.pi / 2), (None,), 3, 4))
    >>> [stack.name for stack in found]
    ['[0/0/0]', '[0/45/0]', '[45/0/45]', '[45/45/45]', '[0/0]s', '[0/45]s', '[45/0]s', '[45/45]s']
    """
    options = tuple(
        Ply(material, material.thickness, angle) for material in of.plies for angle in _angles(material, of.angles)
    )
    groups: dict[tuple[int, int, bool], list[tuple[Ply, ...]]] = {}
    count = 0
    for c, core in enumerate(of.cores):
        middle = () if core is None else (Ply(core[0], core[1], 0.0),)
        for n in range(of.least, of.most + 1):
            for symmetric in (True, False):
                if not symmetric and not of.unsymmetric:
                    continue
                outer = tuple(ply for ply in options if _as_seen(ply, of))
                for plies in (_symmetric if symmetric else _other)(options, outer, n, middle):
                    groups.setdefault((c, n, symmetric), []).append(plies)
                    count += 1
                    if count > MOST_STACKS:
                        raise InputError(
                            f"more than {MOST_STACKS} stacks are possible",
                            where="candidates",
                            do="count the plies at a cut edge, name fewer angles, plies or cores, or symmetric stacks",
                        )
    if not groups:
        raise InputError(
            "no stack agrees with what was seen",
            where="candidates",
            do="name more plies, angles or cores, or check what was seen of the outer ply and the cut edge",
        )
    both = {key[:2] for key in groups}
    found = []
    for key, members in groups.items():
        alone = (*key[:2], not key[2]) not in groups
        share = 1.0 if alone else 1.0 - UNSYMMETRIC if key[2] else UNSYMMETRIC
        found += [Stack(p, notation(p, of.plies[0]), share / len(both) / len(members)) for p in members]
    return tuple(found)


def _angles(material: PlyMaterial, angles: tuple[float, ...]) -> tuple[float, ...]:
    """The angles without those that make the same ply."""
    turn = math.pi / 2 if material.kind == "fabric" and abs(material.E1 / material.E2 - 1.0) < EVEN else math.pi
    found: list[float] = []
    for angle in angles:
        if all(_apart(angle, other, turn) > 1e-9 for other in found):
            found.append(angle)
    return tuple(found)


def _apart(a: float, b: float, turn: float) -> float:
    """Angle between two directions that are the same after `turn`."""
    off = (a - b) % turn
    return min(off, turn - off)


def _as_seen(last: Ply, of: Candidates) -> bool:
    assert isinstance(last.material, PlyMaterial)
    if of.outer is not None and last.material.kind != of.outer:
        return False
    turn = math.pi / 2 if last.material.kind == "fabric" else math.pi
    return of.outer_angle is None or _apart(last.angle, of.outer_angle, turn) <= SEEN


def _symmetric(
    options: tuple[Ply, ...], outer: tuple[Ply, ...], n: int, middle: tuple[Ply, ...]
) -> Iterator[tuple[Ply, ...]]:
    """Symmetric stacks of n plies about a core, or about the middle of one ply, their outer plies among `outer`."""
    if middle and n % 2:
        return
    for half in product(outer, *[options] * ((n + 1) // 2 - 1)):
        yield (*half, *middle, *(half[-2::-1] if n % 2 else half[::-1]))


def _other(
    options: tuple[Ply, ...], outer: tuple[Ply, ...], n: int, middle: tuple[Ply, ...]
) -> Iterator[tuple[Ply, ...]]:
    """Stacks of n plies that are not symmetric, the last among `outer`; a core has a ply on either side, and may have
    more on one.
    """
    for plies in product(*[options] * (n - 1), outer):
        for below in range(1, n) if middle else (n,):
            stack = (*plies[:below], *middle, *plies[below:])
            if stack != stack[::-1]:
                yield stack


def notation(plies: tuple[Ply, ...], default: PlyMaterial) -> str:
    """A stack in the notation that a case reads, with bare angles for the `default` material."""
    words = [_word(ply, default) for ply in plies]
    n = len(words)
    if n > 1 and words == words[::-1]:
        if isinstance(plies[n // 2].material, CoreMaterial) and n % 2:
            return f"[{'/'.join(words[: n // 2 + 1])}]s"
        if n % 2 == 0:
            return f"[{'/'.join(words[: n // 2])}]s"
    return f"[{'/'.join(words)}]"


def _word(ply: Ply, default: PlyMaterial) -> str:
    if isinstance(ply.material, CoreMaterial):
        return f"{ply.material.name}:{number(1e3 * ply.thickness, 6)}mm"
    angle = number(math.degrees(ply.angle), 6)
    return angle if ply.material.name == default.name else f"{angle}:{ply.material.name}"
