"""The stacking notation of the trade, read into plies.

The first ply written is the bottom one, the face the normal enters.

    [0/45/-45/90]s          symmetric: the list, then its mirror image (8 plies)
    [0_2/90]2s              subscripts: two 0° plies; the list twice, then the mirror image of that (12 plies)
    [0/90]3                 the list three times; `]T` (total) changes nothing
    [±45/0], [+-45/0]       a pair, +45 then −45; `∓45` or `-+45` the other way round
    [(0/60/-60)_2/90]       a group repeated
    [0/90̅]s                 an overbar (U+0305 after the number): the ply at mid-plane stands once (0/90/0)
    [0/45:glass/90:0.2mm]   a ply of another material, and one of another thickness, angle:material:thickness
    [0/45/core:5mm/45/0]    a core or an adhesive is given by its name alone (angle 0) with its thickness
    [0/45/film:0.1mm/core:5mm]s   **a core innermost in a symmetric list stands once, at mid-plane, with the
    thickness
                            written**: 0/45/film/core 5 mm/film/45/0

Subscripts are written `_2`, `_{2}` or ₂, after the angle or at the end of the ply.  Spaces do not count.  What could
be read in two ways is refused:

- `±45` of a fabric, or a group of two fabric plies at right angles: one woven ply holds both directions and
is written
  once, by its warp angle;
- `±45_2`: write (±45)_2 or 45_2/-45_2;
- a group in brackets without a repeat, or one innermost core that would be doubled by a repeat.

Source: the laminate orientation code of ASTM D6507 and MIL-HDBK-17 (recalled); materials and thicknesses
after a colon, and the rule for a core, are this program's own.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NoReturn

from panelfem.errors import StackError
from panelfem.laminate.ply import Ply
from panelfem.material import CoreMaterial, Material, PlyMaterial

#: more plies than any laminate has: a slip in a repeat
MOST_PLIES = 500

_LOWERED = str.maketrans("₀₁₂₃₄₅₆₇₈₉ₛ", "0123456789s")
_NUMBER = re.compile(r"(?:\d+\.?\d*|\.\d+)")
_NAME = re.compile(r"[^\W\d](?:(?![₀-₉])[\w.\-])*")
_COUNT = re.compile(r"_\{([0-9]+)\}|_([0-9]+)|([₀-₉]+)")
_BARE_COUNT = re.compile(r"([0-9]+)")
_TAIL = re.compile(r"_?\{?(\d*)([sST]?)\}?$")
_BAR = "\u0305"


@dataclass(frozen=True)
class _Layer:
    """One written ply: where it stands in the text, and whether it stands once at mid-plane."""

    ply: Ply
    at: int
    once: bool = False


def parse_stack(
    text: str, materials: Mapping[str, Material], default: str, thickness: float | None = None
) -> tuple[Ply, ...]:
    """The plies of a stacking sequence, bottom first.

    `materials` by name; `default` names the one of plies written as a bare angle, and `thickness` (m)
    replaces the nominal thickness of the default material.  Raises StackError saying what is wrong and at
    which character.

    >>> from panelfem.material import library
    >>> [round(math.degrees(p.angle)) for p in parse_stack("[0_2/±45]s", library(), "carbon-ud")]
    [0, 0, 45, -45, -45, 45, 0, 0]
    >>> parse_stack("[0/45/9O]s", library(), "carbon-ud")
    Traceback (most recent call last):
    ...
    panelfem.errors.StackError: 'O' cannot follow the ply '9' ('[0/45/9O]s', character 8). Allowed: '/' before the \
next ply, ':' before a material or thickness, '_' before a repeat.
    """
    return _Reader(text, materials, default, thickness).read()


class _Reader:
    """Reads one text from left to right; `at` is the place of the next character."""

    def __init__(self, text: str, materials: Mapping[str, Material], default: str, thickness: float | None) -> None:
        self.text, self.materials, self.default, self.thickness = text, materials, default, thickness
        self.at = 0
        if default not in materials:
            raise StackError(f"material '{default}' is unknown", where="default material", **self._names(default))

    def read(self) -> tuple[Ply, ...]:
        self._skip()
        if not self.text.strip():
            self._refuse("the stacking sequence is empty", allowed="for example [0/45/-45/90]s")
        bracketed = self._take("[")
        layers = self._list("]" if bracketed else "")
        if not bracketed:
            return self._plies(layers, 1, False)
        start = self.at
        tail = _TAIL.fullmatch(self.text[self.at :].translate(_LOWERED).replace(" ", ""))
        if tail is None:
            self._refuse(
                f"'{self.text[start:].strip()}' after the bracket cannot be read",
                allowed="nothing, a repeat, s (symmetric) or T (total): ]s, ]2s, ]3, ]T",
            )
        count = int(tail[1]) if tail[1] else 1
        if count < 1:
            self._refuse("a repeat of 0 leaves no ply", allowed="1 or more")
        return self._plies(layers, count, tail[2] in ("s", "S"))

    def _plies(self, layers: list[_Layer], count: int, symmetric: bool) -> tuple[Ply, ...]:
        for layer in layers[:-1] if symmetric else layers:
            if layer.once:
                self._refuse("an overbar marks the ply at mid-plane", at=layer.at, allowed="on the last ply before ]s")
        last = layers[-1]
        once = symmetric and (last.once or isinstance(last.ply.material, CoreMaterial))
        if once and count > 1:
            self._refuse(
                "the innermost layer stands once at mid-plane, so a repeat can be read in two ways",
                at=last.at,
                do="write the list out",
            )
        if once and not last.once and len(layers) > 1 and isinstance(layers[-2].ply.material, CoreMaterial):
            self._refuse(
                "two core layers lie innermost in a symmetric list, so their number can be read in two ways",
                at=last.at,
                do="write one core with its whole thickness, or write the list out",
            )
        if count * len(layers) > MOST_PLIES:
            self._refuse(f"{count * len(layers)} plies are too many", allowed=f"up to {MOST_PLIES}")
        plies = [layer.ply for layer in layers] * count
        if symmetric:
            plies += plies[-2::-1] if once else plies[::-1]
        return tuple(plies)

    def _list(self, close: str) -> list[_Layer]:
        """Items up to the closing mark ('' is the end of the text), which is taken."""
        layers: list[_Layer] = []
        while True:
            layers += self._group() if self._peek() == "(" else self._item(close)
            if len(layers) > MOST_PLIES:
                self._refuse(f"{len(layers)} plies are too many", allowed=f"up to {MOST_PLIES}")
            self._skip()
            if self._take("/"):
                continue
            if self.at == len(self.text):
                if not close:
                    return layers
                self._refuse(f"the closing '{close}' is missing")
            if close and self._take(close):
                return layers
            self._refuse(
                f"'{self.text[self.at]}' stands where a ply has ended",
                allowed=f"'/' or '{close or 'the end'}'",
            )

    def _group(self) -> list[_Layer]:
        start = self.at
        self._take("(")
        layers = self._list(")")
        count = self._count(bare=True)
        if any(layer.once for layer in layers):
            self._refuse("an overbar cannot stand inside a group", at=start)
        if self._one_fabric_pair(layers):
            self._refuse(
                "two plies of a fabric at right angles in a group may mean one woven ply or two",
                at=start,
                do="write one woven ply once by its warp angle (0 for 0/90, 45 for ±45), or two plies without brackets",
            )
        if count is None:
            self._refuse(
                "a group has no repeat",
                at=start,
                allowed="(...)_2 or more",
                do="drop the brackets if it stands once",
            )
        if count * len(layers) > MOST_PLIES:
            self._refuse(f"{count * len(layers)} plies are too many", at=start, allowed=f"up to {MOST_PLIES}")
        return layers * count

    @staticmethod
    def _one_fabric_pair(layers: list[_Layer]) -> bool:
        if len(layers) != 2:
            return False
        one, two = layers[0].ply, layers[1].ply
        woven = isinstance(one.material, PlyMaterial) and one.material.kind == "fabric" and one.material == two.material
        return woven and abs(math.cos(one.angle - two.angle)) < 1e-6

    def _item(self, close: str) -> list[_Layer]:
        self._skip()
        start = self.at
        sign = next((s for s in ("±", "+-", "∓", "-+", "+", "-", "−") if self.text.startswith(s, self.at)), "")
        self.at += len(sign)
        self._skip()
        number, bar = self._angle()
        if number is None:
            if sign:
                self._refuse(f"no angle follows '{sign}'", at=start, allowed="an angle in degrees")
            return self._named(start)
        count_at = self.at
        count = self._count(bare=False)
        name, thickness = self._after_colons(None)
        pair = sign in ("±", "+-", "∓", "-+")
        material = self.materials[name or self.default]
        if count is None:
            count_at = self.at
            count = self._count(bare=False)
        bar = self._take(_BAR) or bar
        self._ended(start, close)
        if abs(number) > 180.0:
            self._refuse(f"angle {number:g}° is beyond half a turn", at=start, allowed="−180 to 180")
        if pair and isinstance(material, PlyMaterial) and material.kind == "fabric":
            self._refuse(
                f"±{number:g} of the fabric '{material.name}' may mean one woven ply or two",
                at=start,
                do=f"write {number:g} for one woven ply laid at {number:g}°, or {number:g}/-{number:g} for two",
            )
        if pair and count is not None:
            self._refuse(
                f"±{number:g}_{count} can be read in two ways",
                at=count_at,
                do=f"write (±{number:g})_{count} or {number:g}_{count}/-{number:g}_{count}",
            )
        if bar and (pair or count is not None):
            self._refuse("an overbar marks one ply", at=start, do="write the mid-plane ply alone")
        one = self._ply(name or self.default, -number if sign in ("-", "−", "∓", "-+") else number, thickness, start)
        if pair:
            return [_Layer(one, start), _Layer(replace(one, angle=-one.angle), start)]
        return [_Layer(one, start, bar)] * self._limited(count, start)

    def _named(self, start: int) -> list[_Layer]:
        """A core or adhesive by its name alone."""
        if self.at == len(self.text) or self.text[self.at] in "/)]":
            self._refuse(
                "a ply is missing",
                at=start,
                allowed="an angle in degrees, or the name of a core or an adhesive",
            )
        name = self._name()
        if isinstance(self.materials[name], PlyMaterial):
            self._refuse(f"the ply of '{name}' has no angle", at=start, allowed=f"for example 45:{name}")
        count = self._count(bare=False)
        _, thickness = self._after_colons(name)
        if count is None:
            count = self._count(bare=False)
        bar = self._take(_BAR)
        if bar and count is not None:
            self._refuse("an overbar marks one layer", at=start, do="write the mid-plane layer alone")
        self._ended(start, "")
        return [_Layer(self._ply(name, 0.0, thickness, start), start, bar)] * self._limited(count, start)

    def _angle(self) -> tuple[float | None, bool]:
        """A number, with or without overbars (one after each digit, or after the last)."""
        end, bar = self.at, False
        while end < len(self.text) and (
            (self.text[end].isascii() and self.text[end] in "0123456789.") or self.text[end] == _BAR
        ):
            bar = bar or self.text[end] == _BAR
            end += 1
        digits = self.text[self.at : end].replace(_BAR, "")
        if not digits:
            return None, False
        if not _NUMBER.fullmatch(digits):
            self._refuse(f"'{digits}' is not a number", allowed="an angle in degrees, for example 45 or 22.5")
        self.at = end
        return float(digits), bar

    def _after_colons(self, name: str | None) -> tuple[str | None, float | None]:
        """`:material` and `:thickness mm` in this order, each at most once."""
        thickness: float | None = None
        while True:
            self._skip()
            colon = self.at
            if not self._take(":"):
                return name, thickness
            self._skip()
            number = _NUMBER.match(self.text, self.at)
            if thickness is not None or (number is None and name is not None):
                self._refuse("a colon too many", at=colon, allowed="angle:material:thickness, as in 45:carbon-ud:0.2mm")
            if number is None:
                name = self._name()
                continue
            self.at = number.end()
            self._skip()
            if not self._take("mm"):
                self._refuse(f"the thickness {number[0]} has no unit", allowed="millimetres, as in :0.2mm")
            thickness = 1e-3 * float(number[0])

    def _name(self) -> str:
        """A material name; a subscript glued to it (`core_2`) is left standing."""
        match = _NAME.match(self.text, self.at)
        if match is None:
            self._refuse(
                f"'{self.text[self.at : self.at + 1]}' cannot start a ply or a name",
                allowed="an angle or a name",
            )
        word = match[0]
        glued = re.fullmatch(r"(.+)_(\d+)", word)
        if word in self.materials:
            if glued and glued[1] in self.materials:
                self._refuse(f"'{word}' may be a material or {glued[2]} plies of '{glued[1]}'", do="rename one of them")
            self.at = match.end()
            return word
        if glued and glued[1] in self.materials:
            self.at += len(glued[1])
            return glued[1]
        raise StackError(f"material '{word}' is unknown", where=self._where(self.at), **self._names(word))

    def _names(self, word: str) -> dict[str, str]:
        near = difflib.get_close_matches(word, list(self.materials), 3, 0.5)
        allowed = ", ".join(sorted(self.materials))
        return (
            {"allowed": allowed, "do": f"write a material's name; nearest: {', '.join(near)}"}
            if near
            else {"allowed": allowed}
        )

    def _count(self, bare: bool) -> int | None:
        """A subscript; with `bare` (after a group) the underscore may be left out."""
        self._skip()
        match = _COUNT.match(self.text, self.at) or (_BARE_COUNT.match(self.text, self.at) if bare else None)
        if match is None:
            if self._peek() == "_":
                self._refuse("no whole number follows '_'", allowed="a repeat, as in 0_2")
            return None
        self.at = match.end()
        count = int(next(group for group in match.groups() if group is not None).translate(_LOWERED))
        if count < 1:
            self._refuse("a repeat of 0 leaves no ply", allowed="1 or more")
        return count

    def _limited(self, count: int | None, start: int) -> int:
        if count is not None and count > MOST_PLIES:
            self._refuse(f"{count} plies are too many", at=start, allowed=f"up to {MOST_PLIES}")
        return 1 if count is None else count

    def _ply(self, name: str, degrees: float, thickness: float | None, start: int) -> Ply:
        material = self.materials[name]
        if thickness is None and name == self.default and self.thickness is not None:
            thickness = self.thickness
        if thickness is None:
            if not isinstance(material, PlyMaterial):
                self._refuse(f"the layer of '{name}' has no thickness", at=start, allowed=f"for example {name}:5mm")
            thickness = material.thickness
        most = 300.0 if isinstance(material, CoreMaterial) else 20.0
        if not 0.0 < thickness <= 1e-3 * most:
            self._refuse(
                f"a layer {1e3 * thickness:g} mm thick cannot be",
                at=start,
                allowed=f"above 0, up to {most:g} mm of '{name}'",
            )
        return Ply(material, thickness, math.radians(degrees))

    def _ended(self, start: int, close: str) -> None:
        """After a ply only '/', a closing mark or the end may stand."""
        self._skip()
        if self.at < len(self.text) and self.text[self.at] not in "/)]" + close:
            self._refuse(
                f"'{self.text[self.at]}' cannot follow the ply '{self.text[start : self.at].strip()}'",
                allowed="'/' before the next ply, ':' before a material or thickness, '_' before a repeat",
            )

    def _skip(self) -> None:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1

    def _peek(self) -> str:
        self._skip()
        return self.text[self.at : self.at + 1]

    def _take(self, mark: str) -> bool:
        if mark and self.text.startswith(mark, self.at):
            self.at += len(mark)
            return True
        return False

    def _where(self, at: int) -> str:
        return f"'{self.text}', character {at + 1}"

    def _refuse(self, what: str, *, at: int | None = None, allowed: str = "", do: str = "") -> NoReturn:
        raise StackError(what, where=self._where(self.at if at is None else at), allowed=allowed, do=do)
