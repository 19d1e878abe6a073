"""The finding form: which questions, in which order, and what their answers make of a finding file."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from panelfem.case.fields import Section, about
from panelfem.case.schema_area import Disc, EllipseArea
from panelfem.case.schema_found import SECTIONS
from panelfem.cli.form import NOBODY, Question, Values, number_of, one_of, yes_or_no
from panelfem.errors import InputError
from panelfem.garage import Library
from panelfem.garage.checks import travel_faults
from panelfem.garage.place import ALLOWED, Spot, find, fixing_named, nearer_to
from panelfem.garage.schema_finding import FindingHead
from panelfem.garage.schema_panel import PreparedPanel
from panelfem.garage.skin import Skin, skin_of
from panelfem.units import number

HOLE, DULL, APART, GONE = "hole", "dull area", "delamination", "fixing gone"
NOTCH, HOT = "edge notch", "heat"
#: What the form calls a damage, and what a case does.
KINDS = {
    HOLE: "hole", DULL: "softened", APART: "delamination", GONE: "missing fastener", NOTCH: "edge notch", HOT: "heat",
}  # fmt: skip
_SCHEMA: Mapping[str, type[Section]] = {ours: SECTIONS[kind] for ours, kind in KINDS.items()}
#: Share of its strength that a dull area of unknown depth is taken to keep, and its band; swept.
LEFT: Mapping[str, Any] = {
    "value": 0.6, "basis": "assumed", "source": "common practice, no source", "band": [0.4, 0.9],
}  # fmt: skip
#: A tape in error by 1 mm may move the place by so many mm before that is said (a choice).
SPREAD = 3.0
NO_CLOCK = "no clock"
_SIZE = re.compile(
    r"(?P<length>\d+(?:\.\d+)?)\s*(?:mm)?"
    r"(?:\s*(?:x|×|by)\s*(?P<width>\d+(?:\.\d+)?)\s*(?:mm)?(?P<straight>\s+rectangle)?(?:\s+at\s+(?P<along>.+))?)?",
    re.IGNORECASE,
)
_ANGLE = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(?:°|deg)?")


class Form:
    """The questions of one library; ``form(values)`` is the next one.

    `given`: what flags say, by the keys of the questions.  `named`: somebody must be named.
    """

    def __init__(self, library: Library, given: Mapping[str, str] | None = None, named: bool = False) -> None:
        self.library, self._given, self._named = library, given or {}, named
        self._skin = cache(self._made)

    def _made(self, panel: str) -> Skin:
        return skin_of(self.library.panels[panel].panel, self.library.path("panels", panel).parent)

    def __call__(self, values: Values) -> Question | None:
        """The next question given what is answered; what has only one answer is not asked."""
        for name, options in self._prepared(values):
            if name not in values:
                if len(options) > 1 or name in self._given:
                    return self._choice(name, options, values)
                values[name] = options[0]
        i = 0
        while True:
            question = self._of_damage(i, values)
            if question is not None:
                return question
            if not values[f"{i}.more"]:
                break
            i += 1
        if "minutes" not in values:
            return _minutes()
        return None if "who" in values else _who(self._named)

    def _prepared(self, values: Values) -> Iterator[tuple[str, Sequence[str]]]:
        """The prepared files to choose from, in order; cars are those that carry the panel."""
        library = self.library
        yield "panel", tuple(library.panels)
        cars = [name for name, car in library.cars.items() if any(c.panel == values["panel"] for c in car.carries)]
        yield "car", cars or tuple(library.cars)
        yield "circuit", tuple(library.circuits)
        yield "kit", tuple(library.kits)

    def _choice(self, name: str, options: Sequence[str], values: Values) -> Question:
        """Which prepared file; a circuit must go with the car."""
        what = {"panel": "Panel", "car": "Car", "circuit": "Circuit", "kit": "Repair kit"}[name]
        text = f"Which of the prepared {name} files of the library: its name, the start of it, or its number."

        def read(answer: str) -> str:
            found = one_of(options)(answer)
            if name == "circuit":
                for fault in travel_faults(self.library, values["car"], found):
                    raise InputError(fault.what, where=fault.path, allowed=fault.allowed, do=fault.do)
            return found

        return Question(name, f"--{name}", what, text, read, choices=tuple(options))

    def _of_damage(self, i: int, values: Values) -> Question | None:
        """The next question about the damage of number i."""
        panel = self.library.panels[values["panel"]]
        skin = self._skin(values["panel"])

        def open_(what: str) -> bool:
            return f"{i}.{what}" not in values

        if open_("kind"):
            return _kind(i)
        kind = values[f"{i}.kind"]
        if kind == GONE:
            if open_("fixing"):
                return _fixing(i, panel, values)
        elif open_("place"):
            return _place(i, skin)
        elif len(spots := values[f"{i}.place"]) > 1 and open_("which"):
            return _which(i, spots, skin)
        elif open_("size"):
            return _size(i, spot_of(i, values), skin)
        elif values[f"{i}.size"]["along"] is None and open_("direction"):
            return _direction(i, spot_of(i, values), skin)
        elif open_("tolerance"):
            return _tolerance(i, kind)
        elif kind == APART and open_("ply"):
            return _ply(i)
        return _more(i) if open_("more") else None


def spot_of(i: int, values: Values) -> Spot:
    """The place of the damage of number i, of several that fit the one chosen."""
    spots: tuple[Spot, ...] = values[f"{i}.place"]
    return spots[values.get(f"{i}.which", 0)]


def _kind(i: int) -> Question:
    text = (
        "hole: material gone, also a tear, slot or crack (long and narrow). dull area: sounds dull when tapped, depth "
        "unknown. delamination: plies apart at a known depth. fixing gone: pulled out or does not hold. edge notch: a "
        "piece out of the edge. heat: brown or soft resin. Further kinds can be written into the finding file."
    )

    def read(answer: str) -> str:
        found = {case: ours for ours, case in KINDS.items()}.get(answer)
        return found or one_of(tuple(KINDS))(answer)

    def told(kind: str) -> str:
        if kind != DULL:
            return ""
        low, high = LEFT["band"]
        return f"Taken to keep {LEFT['value']:g} of its strength ({low:g} to {high:g}, assumed and swept)."

    return Question(f"{i}.kind", "--damage", "Damage", text, read, HOLE, choices=tuple(KINDS), told=told)


def _fixing(i: int, panel: PreparedPanel, values: Values) -> Question:
    taken = {v for k, v in values.items() if k.endswith(".fixing")}
    left = tuple(f.name for f in panel.panel.fasteners if f.name not in taken)
    if not left:
        raise InputError("the panel has no fixing that could be gone", where="--damage", do="give another damage")
    text = "Which fixing is gone or does not hold, by the name it has in the panel file."
    return Question(f"{i}.fixing", "--fixing", "Which fixing", text, one_of(left), left[0], seen=True, choices=left)


def _place(i: int, skin: Skin) -> Question:
    names = ", ".join(skin.fixings) or "none"
    text = (
        f"The middle of the damage: {ALLOWED}. Tapes are pulled straight. Millimetres are x, y (and z) of the panel "
        f"file. If two places fit, add which, such as ', near F8'. Fixings: {names}."
    )
    middle = ", ".join(f"{1e3 * c:.0f}" for c in skin.middle)
    return Question(
        f"{i}.place", "--at", "Place of its middle", text, lambda answer: find(answer, skin),
        f"{middle}", seen=True, told=_told,
    )  # fmt: skip


def _told(spots: tuple[Spot, ...]) -> str:
    """The place as understood, and what is doubtful about it."""
    if len(spots) > 1:
        return f"{len(spots)} places fit."
    return described(spots[0])


def described(spot: Spot) -> str:
    """A place in words, and what is doubtful about it."""
    words = spot.words
    if spot.miss > 0.0:
        words += f"; the tapes miss each other by {number(1e3 * spot.miss, 2)} mm"
    if spot.spread > SPREAD:
        moved = "far" if math.isinf(spot.spread) or spot.spread > 100 else f"by {number(spot.spread, 2)} mm"
        words += f"; the tapes lie nearly in line: 1 mm on one moves the place {moved}; better measure from elsewhere"
    return words


def _which(i: int, spots: Sequence[Spot], skin: Skin) -> Question:
    def read(answer: str) -> int:
        if answer.isascii() and answer.isdigit() and 1 <= int(answer) <= len(spots):
            return int(answer) - 1
        return nearer_to(fixing_named(answer.removeprefix("near "), skin.fixings), spots, skin)

    words = tuple(s.words for s in spots)
    text = "Both places fit what was measured: the number of the right one, or the fixing it is nearer to."
    return Question(
        f"{i}.which", '--at "…, near FIXING"', "Which of these", text, read, "1", seen=True, choices=words
    )  # fmt: skip


def _range(section: type[Section], field: str) -> tuple[float, float]:
    known = about(section.model_fields[field])
    return known.low, known.high


def _size(i: int, spot: Spot, skin: Skin) -> Question:
    low, high = _range(Disc, "diameter_mm")
    text = (
        "As measured, in mm: '40' is round, the diameter; '60 x 12' is oval, length by width (a crack is narrow); "
        "'60 x 12 rectangle' has corners. Its direction may follow: '60 x 12 at 30', '60 x 12 at towards F3'."
    )

    def read(answer: str) -> dict[str, Any]:
        match = _SIZE.fullmatch(answer)
        if match is None:
            raise InputError(f"{answer!r} is no size", allowed='"40", "60 x 12", "60 x 12 at 30", all in mm',
                             do="type it again")  # fmt: skip
        length = number_of("mm", low, high)(match["length"])
        if match["width"] is None:
            return {"shape": "disc", "diameter_mm": length, "along": ()}
        width = number_of("mm", *_range(EllipseArea, "width_mm"))(match["width"])
        along = None if match["along"] is None else _along(match["along"], spot, skin)
        shape = "rectangle" if match["straight"] else "ellipse"
        return {"shape": shape, "length_mm": length, "width_mm": width, "along": along}

    return Question(f"{i}.size", "--size", "Size in mm", text, read, "20", seen=True)


def _direction(i: int, spot: Spot, skin: Skin) -> Question:
    text = (
        "Direction of the length: an angle in degrees in plan, from x of the panel towards y; or 'towards F3'; or a "
        "direction 'x, y, z'."
    )
    return Question(
        f"{i}.direction", "--direction", "Direction of the length", text, lambda a: _along(a, spot, skin), "0"
    )


def _along(text: str, spot: Spot, skin: Skin) -> list[float]:
    """A direction (3) in the frame of the panel from an angle, a fixing or components."""
    plain = text.strip().replace("−", "-")
    if plain.casefold().startswith("towards "):
        way = skin.fixings[fixing_named(plain[8:], skin.fixings)] - spot.place
        length = float((way @ way) ** 0.5)
        if length < 1e-3:
            raise InputError("the damage is at that fixing", where="direction", do="give another fixing or an angle")
        return [round(float(c) / length, 6) + 0.0 for c in way]
    if angle := _ANGLE.fullmatch(plain):
        turn = math.radians(float(angle[1]) % 360.0)
        return [round(math.cos(turn), 6) + 0.0, round(math.sin(turn), 6) + 0.0, 0.0]
    try:
        parts = [float(part) for part in plain.split(",")]
    except ValueError:
        parts = []
    if len(parts) != 3 or not all(map(math.isfinite, parts)) or not any(parts):
        raise InputError(f"{text!r} is no direction", allowed='degrees, "towards F3", or x, y, z not all zero',
                         do="type it again")  # fmt: skip
    return parts


def _tolerance(i: int, kind: str) -> Question:
    low, high = _range(_SCHEMA[kind], "tolerance_mm")
    default = _SCHEMA[kind].model_fields["tolerance_mm"].default
    text = "How well its border is known, in mm; the damage is taken that much larger all round."
    return Question(
        f"{i}.tolerance",
        "--tolerance",
        "Tolerance of its border in mm",
        text,
        number_of("mm", low, high),
        f"{default:g}",
    )


def _ply(i: int) -> Question:
    low, high = _range(_SCHEMA[APART], "interface")

    def read(answer: str) -> int:
        value = number_of("", low, high)(answer)
        if value != int(value):
            raise InputError(f"{answer!r} is no whole number", allowed=f"{low:g} to {high:g}", do="count the plies")
        return int(value)

    text = "After which ply it is, counted from 1 at the face of the first ply: 2 is between plies 2 and 3."
    return Question(f"{i}.ply", "--after-ply", "After which ply", text, read, "1", seen=True)


def _more(i: int) -> Question:
    text = "Yes asks for one more damage of the same panel; all are assessed together."
    return Question(f"{i}.more", "--damage", "Further damage", text, yes_or_no, "no")


def _minutes() -> Question:
    low, high = _range(FindingHead, "minutes_left")

    def read(answer: str) -> float | None:
        return None if answer.casefold() in (NO_CLOCK, "none") else number_of("min", low, high)(answer)

    text = "Minutes until the car must be ready; options that take longer are shown but not recommended."
    return Question("minutes", "--minutes", "Minutes left", text, read, NO_CLOCK)


def _who(named: bool) -> Question:
    def read(answer: str) -> str:
        if not answer.strip() or (named and answer == NOBODY):
            raise InputError("nobody is named", allowed="a name, or initials", do="say who")
        return answer

    text = "Goes into the finding file, the papers and the log, which needs a name."
    return Question("who", "--by", "Who found it", text, read, None if named else NOBODY)


def damages(values: Values, spatial: bool) -> list[dict[str, Any]]:
    """The ``[[damage]]`` entries of the answers; places have their z if `spatial`."""
    made: list[dict[str, Any]] = []
    names: list[str] = []
    i = 0
    while f"{i}.kind" in values:
        kind = values[f"{i}.kind"]
        stem = f"{values[f'{i}.fixing']} gone" if kind == GONE else kind
        name, n = stem, 1
        while name in names:
            n += 1
            name = f"{stem} {n}"
        names.append(name)
        entry: dict[str, Any] = {"kind": KINDS[kind], "name": name}
        if kind == GONE:
            entry["fastener"] = values[f"{i}.fixing"]
        else:
            entry |= {"area": _area(i, values, spatial), "tolerance_mm": values[f"{i}.tolerance"]}
            if kind == DULL:
                entry["strength_share"] = dict(LEFT)
            if kind == APART:
                entry["interface"] = values[f"{i}.ply"]
        made.append(entry)
        i += 1
    return made


def _area(i: int, values: Values, spatial: bool) -> dict[str, Any]:
    size = dict(values[f"{i}.size"])
    along = size.pop("along")
    area = {"shape": size.pop("shape"), "centre_mm": spot_of(i, values).place_mm[: 3 if spatial else 2], **size}
    if along != ():
        area["along"] = values[f"{i}.direction"] if along is None else along
    return area


def summary(values: Values) -> str:
    """What was understood, in one line."""
    parts = [f"{values['panel']} on {values['car']} at {values['circuit']}, kit {values['kit']}"]
    for i, entry in enumerate(damages(values, spatial=False)):
        if "area" not in entry:
            parts.append(entry["name"])
            continue
        size = values[f"{i}.size"]
        across = (
            f"{size['diameter_mm']:g}" if "diameter_mm" in size else f"{size['length_mm']:g} x {size['width_mm']:g}"
        )
        parts.append(f"{entry['name']} {across} mm ±{entry['tolerance_mm']:g} mm {spot_of(i, values).words}")
    minutes = values["minutes"]
    parts.append(NO_CLOCK if minutes is None else f"{minutes:g} minutes left")
    return "; ".join([*parts, f"found by: {values['who']}"])
