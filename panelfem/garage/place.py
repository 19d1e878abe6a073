"""Where the damage is, as people say it: millimetres, or a tape measure from fixings and from the edge.

    210, 95                      x, y (or x, y, z) in mm in the frame of the panel
    F3                           at a fixing
    F3 + 40, -20                 so many mm along x and y (and z) of the panel from a fixing
    60 from F3, 85 from F5       two tapes, pulled straight, from two fixings
    60 from F3, 25 from edge     one from a fixing, one from the nearest edge (openings of the design count)
    …, near F8                   of two places that fit, the one nearer to that fixing

Pure: a text and a skin in, places out.  Lengths inside in m.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import NamedTuple

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.garage.skin import Arc, Skin, nearest_edge
from panelfem.units import number

#: What two tapes may miss each other by and still be taken to meet, m (about 1 mm each: common practice, no source).
MISS = 0.002
#: Tapes that meet to this, m, meet exactly.
EXACT = 1e-6
#: Of two places nearer than this, one is kept, m; where tapes only nearly meet, the best within `BESIDE`.
SAME, BESIDE = 0.0005, 0.02
EDGE = "edge"
ALLOWED = '"210, 95" in mm, "60 from F3, 85 from F5", "60 from F3, 25 from edge" or "F3 + 40, -20"'
_NUMBER = r"[-+−]?\d+(?:\.\d+)?"
_TAPE = rf"({_NUMBER})\s*(?:mm)?\s+from\s+(?:the\s+)?(.+?)"
_TAPES = re.compile(rf"{_TAPE}\s*(?:,|\band\b)\s*{_TAPE}", re.IGNORECASE)
_NEAR = re.compile(r"(.+?)\s*,?\s+near\s+(.+)", re.IGNORECASE)
_LISTED = re.compile(
    rf"({_NUMBER})\s*(?:mm)?(?:\s*[,;]\s*|\s+)({_NUMBER})\s*(?:mm)?(?:(?:\s*[,;]\s*|\s+)({_NUMBER})\s*(?:mm)?)?"
)


@dataclass(frozen=True)
class Spot:
    """A place (3,) m on the skin; `words` tell it from others that fit.

    `miss` m: by how much the two tapes do not meet there.  `spread`: how far it moves on the skin per length that the
    second tape is wrong.
    """

    place: FloatArray
    words: str
    miss: float = 0.0
    spread: float = 1.0

    @property
    def place_mm(self) -> list[float]:
        """[x, y, z] to 0.01 mm."""
        return [round(1e3 * float(c), 2) + 0.0 for c in self.place]


class _Met(NamedTuple):
    """A point of the skin, how much too long the second tape is there (m), and its spread."""

    point: FloatArray
    gap: float = 0.0
    spread: float = 1.0


def find(text: str, skin: Skin) -> tuple[Spot, ...]:
    """The places on the skin that a text may mean, one or more.

    Raises InputError for a text that cannot be read, an unknown fixing, tapes that do not meet, a place off the panel.
    """
    plain = " ".join(text.replace("−", "-").split())
    if not plain:
        raise _unread("nothing")
    exact = _fixing(plain, skin.fixings, strict=False)
    nearer = _NEAR.fullmatch(plain)
    if exact is None and nearer and (name := _fixing(nearer[2], skin.fixings, strict=True)) is not None:
        spots = find(nearer[1], skin)
        return (spots[nearer_to(name, spots, skin)],)
    if exact is not None:
        return _spots([_Met(skin.fixings[exact])], skin, ())
    if numbers := _LISTED.fullmatch(plain):
        return _spots([_Met(p) for p in skin.at(_millimetres(numbers))], skin, ())
    if tapes := _TAPES.fullmatch(plain):
        return _taped(tapes, skin)
    return _offset(plain, skin)


def nearer_to(name: str, spots: Sequence[Spot], skin: Skin) -> int:
    """Which of the places is nearer to a fixing; InputError if that does not tell them apart."""
    far = [float(np.linalg.norm(s.place - skin.fixings[name])) for s in spots]
    order = np.argsort(far)
    if len(spots) > 1 and far[order[1]] - far[order[0]] < 2 * MISS:
        raise InputError(f"two places fit, as near to {name} as each other", where="the place",
                         allowed="; or ".join(s.words for s in spots), do="name another fixing")  # fmt: skip
    return int(order[0])


def _unread(text: str) -> InputError:
    return InputError(f"{text!r} says no place" if text != "nothing" else "nothing says where", where="the place",
                      allowed=ALLOWED, do="write it in one of these ways")  # fmt: skip


def _millimetres(match: re.Match[str]) -> list[float]:
    return [1e-3 * float(g) for g in match.groups() if g is not None]


def _fixing(name: str, fixings: Mapping[str, FloatArray], strict: bool) -> str | None:
    """The fixing of that name, in whatever case if only one fits."""
    if name in fixings:
        return name
    alike = [known for known in fixings if known.casefold() == name.casefold()]
    if len(alike) > 1 and strict:
        raise InputError(f"{name!r} may be {' or '.join(alike)}", where="the place", do="write it as the panel does")
    return alike[0] if len(alike) == 1 else None


def fixing_named(name: str, fixings: Mapping[str, FloatArray]) -> str:
    """The fixing of that name; InputError with the nearest valid name."""
    found = _fixing(name.strip(), fixings, strict=True)
    if found is None:
        close = get_close_matches(name, fixings, 1)
        hint = f"did you mean {close[0]!r}" if close else "take one of these"
        allowed = ", ".join(fixings) or "no fixing: this panel has none; give millimetres"
        raise InputError(f"there is no fixing {name.strip()!r}", where="the place", allowed=allowed, do=hint)
    return found


def _offset(plain: str, skin: Skin) -> tuple[Spot, ...]:
    """``NAME + 40, -20``: the sign belongs to the first number."""
    for match in re.finditer(r"\s*([-+])\s*", plain):
        way = _LISTED.fullmatch(match[1].replace("+", "") + plain[match.end() :])
        if way and match.start():
            start = skin.fixings[fixing_named(plain[: match.start()], skin.fixings)]
            step = np.array(_millimetres(way))
            if len(step) == 3:
                return _spots([_Met(p) for p in skin.at((start + step).tolist())], skin, ())
            return _spots([_Met(p) for p in skin.at((start[:2] + step).tolist())], skin, ())
    raise _unread(plain)


def _taped(match: re.Match[str], skin: Skin) -> tuple[Spot, ...]:
    """Two tapes: the curve of the first, and where on it the second reads what it should."""
    ends = [(1e-3 * float(match[i]), match[i + 1].strip()) for i in (1, 3)]
    for length, _ in ends:
        if length < 0.0:
            raise InputError(f"a tape reads {1e3 * length:g} mm", where="the place", allowed="0 mm or more")
    to_edge = [name.casefold() == EDGE for _, name in ends]
    if any(to_edge) and _fixing(EDGE, skin.fixings, strict=False) is not None:
        raise InputError("'edge' is a fixing of this panel as well as its edge", where="the place",
                         do="measure from two other fixings, or give millimetres")  # fmt: skip
    if all(to_edge):
        raise InputError("both tapes start at the edge", where="the place", allowed=ALLOWED,
                         do="measure one of them from a fixing")  # fmt: skip
    if to_edge[0]:
        ends.reverse()
    (first, name), (second, _) = ends
    used = tuple(fixing_named(name, skin.fixings) for _, name in (ends[:1] if any(to_edge) else ends))
    if len(set(used)) < len(used):
        raise InputError(f"both tapes start at {name}", where="the place", do="measure from another fixing as well")
    centre, *far = (skin.fixings[name] for name in used)
    to = far[0] if far else None

    def foot(points: FloatArray) -> FloatArray:
        return nearest_edge(skin, points) if to is None else np.broadcast_to(to, points.shape)

    found, gap = _met(skin, centre, first, foot, second)
    if not found:
        raise _apart(ends, skin, centre, to, gap)
    return _spots(found, skin, used)


def _apart(ends: list[tuple[float, str]], skin: Skin, centre: FloatArray, to: FloatArray | None,
           gap: float) -> InputError:  # fmt: skip
    (first, name), (second, other) = ends
    what = f"no place of the panel is {1e3 * first:g} mm from {name} and {1e3 * second:g} mm from {other}"
    if to is not None:
        apart = 1e3 * float(np.linalg.norm(to - centre))
        what += f": {name} and {other} are {number(apart, 4)} mm apart"
    if math.isfinite(gap):
        what += f"; the second tape would read {number(1e3 * (second + gap), 3)} mm at the nearest"
    return InputError(what, where="the place", allowed=f"tapes that meet to {1e3 * MISS:g} mm, on the panel",
                      do="measure both again, pulled straight, to the middle of the damage")  # fmt: skip


def _met(skin: Skin, centre: FloatArray, first: float, foot: Arc, second: float) -> tuple[list[_Met], float]:
    """Where two tapes meet, exactly or within `MISS`; and the least gap (m) of the second, for a message.

    `foot` gives where the second tape starts for points (n, 3).
    """
    if first == 0.0:
        gap = float(np.linalg.norm(centre - foot(centre[None])[0])) - second
        return [_Met(centre, gap, 1.0)] if abs(gap) <= MISS else [], gap
    arcs = skin.ring(centre, first)
    t = np.linspace(0.0, 1.0, 721 if len(arcs) == 1 else 9)
    found: list[_Met] = []
    least = np.inf
    for arc in arcs:

        def gap_at(t: FloatArray, arc: Arc = arc) -> FloatArray:
            points = arc(t)
            return np.asarray(np.linalg.norm(points - foot(points), axis=1) - second)

        points = arc(t)
        gaps = gap_at(t)
        held = skin.holds(points)
        least = min([least, *gaps[held]], key=abs)
        step = float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())
        for at in _roots(gap_at, t, gaps, MISS + step):
            near = np.clip([at - 1e-5, at, at + 1e-5], 0.0, 1.0)
            around, change = arc(near), np.ptp(gap_at(near))
            if skin.holds(around[1:2])[0] and abs(gap := float(gap_at(near[1:2])[0])) <= MISS:
                moved = float(np.linalg.norm(around[2] - around[0]))
                found.append(_Met(around[1], gap, moved / change if change > 0.0 else math.inf))
    return found, least


def _roots(gap_at: Arc, t: FloatArray, gaps: FloatArray, most: float) -> Iterator[float]:
    """The parameters at which a gap is zero, and at which it is least without being zero, if under `most` there."""
    from scipy.optimize import brentq

    def one(x: float) -> float:
        return float(gap_at(np.array([x]))[0])

    turned = np.sign(gaps[:-1]) != np.sign(gaps[1:])
    for i in map(int, np.flatnonzero(turned)):
        yield t[i] if gaps[i] == 0.0 else brentq(one, t[i], t[i + 1], xtol=1e-14) if gaps[i + 1] else t[i + 1]
    size = np.abs(gaps)
    for i in map(int, np.flatnonzero(size <= most)):
        low, high = max(i - 1, 0), min(i + 1, len(t) - 1)
        if turned[low:high].any() or size[i] > size[low] or size[i] > size[high]:
            continue
        if t[high] - t[low] < 1e-7:
            yield float(t[i])
        else:
            fine = np.linspace(t[low], t[high], 21)
            yield from _roots(gap_at, fine, gap_at(fine), most)


def _spots(met: Sequence[_Met], skin: Skin, used: tuple[str, ...]) -> tuple[Spot, ...]:
    """The places with their words, each once; the nearest fixing that was not measured from tells them apart."""
    spots: list[Spot] = []
    for point, gap, spread in sorted(met, key=lambda m: abs(m.gap) > EXACT):
        alike = SAME if abs(gap) <= EXACT else BESIDE
        if any(np.linalg.norm(point - s.place) < alike for s in spots):
            continue
        others = {n: float(np.linalg.norm(p - point)) for n, p in skin.fixings.items() if n not in used}
        text = ", ".join(f"{1e3 * float(c) + 0.0:.1f}" for c in point)
        words = f"at {text} mm"
        if others:
            near = min(others, key=others.__getitem__)
            words = f"near {near}, {number(1e3 * others[near], 3)} mm from it ({words})"
        spots.append(Spot(point, words, abs(gap) if abs(gap) > EXACT else 0.0, spread))
    return tuple(spots)
