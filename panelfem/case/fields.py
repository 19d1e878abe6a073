"""How a key of a case file is declared: what it means, its unit (the ending of its name), its range, what it
is called.

Every section is a pydantic model that derives from :class:`Section`; every key is declared with one of
:func:`number`, :func:`quantity`, :func:`text`, :func:`choice`, :func:`point`, :func:`points`,
:func:`direction` or :func:`items`.  The same declarations check the file, make the messages and generate
``cases/KEYS.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from panelfem.units import SUFFIXES, suffix

Basis = Literal["measured", "mean", "B-basis", "typical", "stated", "assumed"]
#: What a sweep of an assumed input changes (see :class:`panelfem.case.records.Sweep`).
SweepKind = Literal[
    "strength",
    "stiffness",
    "softened strength",
    "damage strength",
    "damage stiffness",
    "cured",
    "dynamic",
    "severity",
    "fastener stiffness",
    "characteristic length",
    "car stiffness",
]
Kind = Literal[
    "number",
    "numbers",
    "quantity",
    "text",
    "choice",
    "flag",
    "point",
    "points",
    "direction",
    "section",
    "sections",
]


@dataclass(frozen=True)
class About:
    """What is known of a key: its description, kind, range and, for inputs that may be assumed, how they are
    swept.

    `low` and `high` bound every number in it, in the key's unit; `low_open` leaves `low` itself out.
    `lengths` are the allowed numbers of components of a point; empty for a row: two or more.  `needed` says when a key
    that may be left out is wanted all the same.  `measure` is what would settle an assumed value.
    """

    description: str
    kind: Kind
    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    lengths: tuple[int, ...] = ()
    needed: str = ""
    sweep: SweepKind | None = None
    measure: str = ""
    unit: str = ""

    def allowed(self, key: str) -> str:
        """The range in words, with the unit of `key`.

        >>> About("", "number", 0.0, 50.0, low_open=True).allowed("thickness_mm")
        'more than 0, up to 50 mm'
        """
        unit = unit_name(key)
        tail = f" {unit}" if unit else ""
        if math.isinf(self.low) and math.isinf(self.high):
            return f"any number{tail}"
        if math.isinf(self.high):
            return f"{'more than' if self.low_open else 'at least'} {plain_number(self.low)}{tail}"
        if self.low_open:
            return f"more than {plain_number(self.low)}, up to {plain_number(self.high)}{tail}"
        return f"{plain_number(self.low)} to {plain_number(self.high)}{tail}"

    def holds(self, value: float) -> bool:
        """True if one number is in the range."""
        return (value > self.low if self.low_open else value >= self.low) and value <= self.high


def plain_number(value: float) -> str:
    """A number as a person would type it in a file.

    >>> plain_number(1e6), plain_number(0.05), plain_number(-1.0)
    ('1000000', '0.05', '-1')
    """
    return f"{value:.12g}"


def unit_name(key: str) -> str:
    """The unit of a key as printed, or nothing.

    >>> unit_name("force_N"), unit_name("nu12"), unit_name("title")
    ('N', '', '')
    """
    ending = suffix(key)
    return SUFFIXES[ending][1] if ending else ""


def key_of(name: str, info: FieldInfo) -> str:
    """The name of a field as it stands in the file."""
    return info.alias or name


def about(info: FieldInfo) -> About:
    """What is known of a field."""
    extra = info.json_schema_extra
    if not isinstance(extra, dict) or not isinstance(found := extra.get("about"), About):
        raise TypeError("a key of a case file was declared without panelfem.case.fields")
    return found


def _numbers(value: Any) -> list[float]:
    if isinstance(value, Quantity):
        return [value.value, *(value.band or [])]
    if isinstance(value, list):
        return [n for item in value for n in _numbers(item)]
    return [float(value)] if isinstance(value, int | float) and not isinstance(value, bool) else []


class Section(BaseModel):
    """A section of a case file: strict types, unknown keys refused, every number held to the range of its
    key.
    """

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)

    @field_validator("*", mode="after")
    @classmethod
    def _check(cls, value: Any, info: ValidationInfo) -> Any:
        if value is None or info.field_name is None:
            return value
        field = cls.model_fields[info.field_name]
        known, key = about(field), key_of(info.field_name, field)
        if known.kind in ("point", "direction", "numbers") and known.lengths:
            _length(value, known)
        if known.kind == "points":
            for item in value:
                _length(item, known)
        if known.kind == "direction" and not any(value):
            raise PydanticCustomError("direction", "has no direction: all components are zero")
        if known.kind == "text" and not value.strip():
            raise PydanticCustomError("text", "is empty")
        wrong = next((n for n in _numbers(value) if not known.holds(n)), None)
        if wrong is not None:
            raise PydanticCustomError(
                "range",
                "{text}",
                {"text": f"{plain_number(wrong)} is out of range", "allowed": known.allowed(key)},
            )
        return value


def _length(value: list[float], known: About) -> None:
    if len(value) not in known.lengths:
        wanted = " or ".join(str(n) for n in known.lengths)
        raise PydanticCustomError(
            "length",
            "{text}",
            {
                "text": f"has {len(value)} number{'' if len(value) == 1 else 's'}",
                "allowed": f"{wanted} numbers",
            },
        )


def _extra(known: About) -> dict[str, Any]:
    return {"about": known}


def _declare(known: About, default: Any, alias: str | None = None, **more: Any) -> Any:
    return Field(
        default=default,
        alias=alias,
        description=known.description,
        json_schema_extra=_extra(known),
        **more,
    )


def number(
    description: str,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    default: Any = ...,
    low_open: bool = False,
    needed: str = "",
) -> Any:
    """A number that is simply given (a size, a count, a rating)."""
    return _declare(About(description, "number", low, high, low_open, needed=needed), default)


def numbers(
    description: str,
    count: int,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    default: Any = ...,
    low_open: bool = False,
) -> Any:
    """So many numbers in a row."""
    return _declare(About(description, "numbers", low, high, low_open, (count,)), default)


def row(description: str, low: float = -math.inf, high: float = math.inf) -> Any:
    """Two numbers or more in a row, or rows of them."""
    return _declare(About(description, "numbers", low, high), ..., min_length=2)


def quantity(
    description: str,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    default: Any = ...,
    low_open: bool = False,
    needed: str = "",
    sweep: SweepKind | None = None,
    measure: str = "",
    alias: str | None = None,
) -> Any:
    """A number that may be uncertain: plain, or a table with basis, source and band (:class:`Quantity`)."""
    known = About(description, "quantity", low, high, low_open, (), needed, sweep, measure)
    return _declare(known, default, alias)


def text(description: str, *, default: Any = ..., needed: str = "") -> Any:
    """A name, a note, a file, a formula; may not be empty."""
    return _declare(About(description, "text", needed=needed), default)


def choice(description: str, *, default: Any = ..., needed: str = "") -> Any:
    """One of a few words, listed in the type."""
    return _declare(About(description, "choice", needed=needed), default)


def flag(description: str, *, default: Any = ...) -> Any:
    """True or false."""
    return _declare(About(description, "flag"), default)


def point(description: str, *, default: Any = ..., lengths: tuple[int, ...] = (2, 3), needed: str = "") -> Any:
    """A place: `[x, y]` in plan or `[x, y, z]`."""
    return _declare(About(description, "point", -20000.0, 20000.0, lengths=lengths, needed=needed), default)


def points(description: str, *, default: Any = ..., least: int = 3, needed: str = "") -> Any:
    """Places in plan, `[[x, y], …]`."""
    known = About(description, "points", -20000.0, 20000.0, lengths=(2,), needed=needed)
    return _declare(known, default, min_length=least)


def direction(description: str, *, default: Any = ..., needed: str = "") -> Any:
    """A direction `[x, y, z]` of any length but zero."""
    return _declare(About(description, "direction", lengths=(3,), needed=needed), default)


def section(description: str, *, default: Any = ..., needed: str = "", **more: Any) -> Any:
    """A table with keys of its own."""
    return _declare(About(description, "section", needed=needed), default, **more)


def items(description: str, *, default: Any = (), needed: str = "", **more: Any) -> Any:
    """A list of tables (or of names)."""
    known = About(description, "sections", needed=needed)
    if default == ():
        return Field(default_factory=list, description=description, json_schema_extra=_extra(known), **more)
    return _declare(known, default, **more)


class Quantity(Section):
    """A number with where it comes from: `12.5`, or `{ value = 12.5, basis = "assumed", source = "…", band =
    [10, 15] }`.
    """

    value: float = number("The value, in the unit of the key.")
    basis: Basis = choice("What the value is worth.", default="stated")
    source: str = text("Where it comes from.", default="case file")
    band: list[float] | None = numbers(
        "Lowest and highest value it may have, in the unit of the key; an assumed value is swept over it.",
        2,
        default=None,
    )

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, data: Any) -> Any:
        plain = isinstance(data, int | float) and not isinstance(data, bool)
        return {"value": data} if plain else data

    @model_validator(mode="after")
    def _inside(self) -> Quantity:
        if self.band and len(self.band) == 2 and not self.band[0] <= self.value <= self.band[1]:
            low, high = (plain_number(b) for b in self.band)
            what = "the band runs from high to low" if self.band[0] > self.band[1] else "the value is outside its band"
            raise PydanticCustomError(
                "band",
                "{text}",
                {
                    "text": f"{what}: {plain_number(self.value)} against {low} to {high}",
                    "allowed": "band = [low, high] in the unit of the key, with low ≤ value ≤ high",
                },
            )
        return self

    @property
    def relative(self) -> tuple[float, float] | None:
        """The band as factors on the value; None without a band (a value of zero has none)."""
        if self.band is None or self.value == 0.0:
            return None
        low, high = sorted(bound / self.value for bound in self.band)
        return low, high
