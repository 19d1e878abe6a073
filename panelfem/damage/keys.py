"""What a damage record says of its own fields: their keys in a case file, ranges and defaults.

A field declared with :func:`quantity`, :func:`number`, :func:`count`, :func:`choice`, :func:`flag`, :func:`stack` or
:func:`adhesive` becomes a key of the case file by itself (:mod:`panelfem.case.schema_found`); the key ends in its unit,
the field holds SI, a laminate or an adhesive.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal

KeyKind = Literal["quantity", "number", "count", "word", "flag", "stack", "adhesive"]
KeySweep = Literal["softened strength", "characteristic length", "damage strength", "damage stiffness"]


@dataclass(frozen=True)
class Assumed:
    """A default that is assumed: value and band in the unit of the key, and its source."""

    value: float
    source: str
    band: tuple[float, float] | None = None


@dataclass(frozen=True)
class Key:
    """One key: its name with the unit, what it means, its range (in that unit) and default (None: it must be given).

    `sweep` says what a sweep of an assumed value moves, `measure` what would settle it; `words` are those of a choice.
    `optional`: it may be left out, and the field is then None.
    """

    name: str
    description: str
    kind: KeyKind
    low: float = -math.inf
    high: float = math.inf
    default: Assumed | float | str | bool | None = None
    sweep: KeySweep | None = None
    measure: str = ""
    words: tuple[str, ...] = ()
    optional: bool = False


def quantity(
    name: str, description: str, low: float, high: float, *, default: Assumed | None = None,
    sweep: KeySweep | None = None, measure: str = "", optional: bool = False,
) -> Any:  # fmt: skip
    """A number that may be assumed, with a band."""
    return _declared(Key(name, description, "quantity", low, high, default, sweep, measure, optional=optional))


def number(name: str, description: str, low: float, high: float, *, default: float | None = None) -> Any:
    """A number that is simply given."""
    return _declared(Key(name, description, "number", low, high, default))


def count(name: str, description: str, low: int, high: int, *, default: int | None = None) -> Any:
    """A whole number."""
    return _declared(Key(name, description, "count", low, high, default))


def choice(name: str, description: str, words: tuple[str, ...]) -> Any:
    """One of a few words."""
    return _declared(Key(name, description, "word", words=words))


def flag(name: str, description: str, *, default: bool | None = None) -> Any:
    """True or false."""
    return _declared(Key(name, description, "flag", default=default))


def stack(name: str, description: str) -> Any:
    """A stack, which the field holds as a laminate; the key ``material`` beside it names its plies' material."""
    return _declared(Key(name, description, "stack"))


def adhesive(name: str, description: str) -> Any:
    """An adhesive, by the name of its material."""
    return _declared(Key(name, description, "adhesive"))


def built() -> Any:
    """A field that is no key: the builder of a case works it out."""
    return field()


def _declared(key: Key) -> Any:
    return field(default=None, kw_only=True, metadata={"key": key}) if key.optional else field(metadata={"key": key})


def keys_of(record: Any) -> Mapping[str, Key]:
    """Field name -> key, of a record or its class, in the order of declaration.

    >>> from panelfem.damage.kinds.hole import Hole
    >>> list(keys_of(Hole))
    ['characteristic_length']
    """
    return dict(_keys(record))


def _keys(record: Any) -> Iterator[tuple[str, Key]]:
    for each in fields(record):
        if "key" in each.metadata:
            yield each.name, each.metadata["key"]
