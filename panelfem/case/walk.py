"""Walking the schema: every key with its path, its section and what is known of it."""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from panelfem.case.fields import About, Quantity, Section, about, key_of


@dataclass(frozen=True)
class Key:
    """One key of the schema.

    `path` is as in a file, with `[]` for a list and `NAME` for a name of your own; `variant` says for which
    kind of table it holds (``kind = "hole"``), or is empty; `owner` is the section class, `field` the name
    of the field in it.
    """

    path: str
    variant: str
    owner: type[Section]
    field: str
    info: FieldInfo

    @property
    def name(self) -> str:
        """The key itself, as in a file."""
        return key_of(self.field, self.info)

    @property
    def about(self) -> About:
        """What is known of it."""
        return about(self.info)

    @property
    def required(self) -> bool:
        """True if it may not be left out."""
        return self.info.is_required()


def plain(annotation: Any) -> Any:
    """An annotation without `Annotated` and without `None`."""
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, types.UnionType):
        rest = tuple(a for a in get_args(annotation) if a is not type(None))
        if len(rest) == 1:
            return plain(rest[0])
        return Union[tuple(plain(a) for a in rest)]  # noqa: UP007 (built at run time)
    return annotation


def sections_in(annotation: Any) -> tuple[type[Section], ...]:
    """The section classes an annotation may hold, list and dict looked through (a quantity is not one).

    >>> from panelfem.case.schema import CaseFile
    >>> [s.__name__ for s in sections_in(CaseFile.model_fields["option"].annotation)]
    ['OptionKeys']
    """
    annotation = plain(annotation)
    origin = get_origin(annotation)
    if origin is list:
        return sections_in(get_args(annotation)[0])
    if origin is dict:
        return sections_in(get_args(annotation)[1])
    if origin is Union:
        return tuple(s for a in get_args(annotation) for s in sections_in(a))
    if isinstance(annotation, type) and issubclass(annotation, Section) and annotation is not Quantity:
        return (annotation,)
    return ()


def words_of(annotation: Any) -> tuple[str, ...]:
    """The words a choice allows, as written in a file; true and false for a flag."""
    annotation = plain(annotation)
    if get_origin(annotation) is Literal:
        return tuple(f'"{w}"' for w in get_args(annotation))
    if get_origin(annotation) is Union:
        return tuple(w for a in get_args(annotation) for w in words_of(a))
    return ("true", "false") if annotation is bool else ()


def tag_of(section: type[Section]) -> tuple[str, str] | None:
    """The key and the word that say which kind of table this is: ``("kind", '"hole"')``."""
    for name in ("kind", "shape", "form"):
        field = section.model_fields.get(name)
        if field is not None and (words := words_of(field.annotation)):
            return name, " or ".join(words)
    return None


def keys(section: type[Section], path: str = "", variant: str = "") -> Iterator[Key]:
    """Every key of a section and of the sections in it, depth first, in the order of declaration."""
    for name, info in section.model_fields.items():
        key = Key(f"{path}{key_of(name, info)}", variant, section, name, info)
        yield key
        inner = sections_in(info.annotation)
        origin = get_origin(plain(info.annotation))
        step = "[]." if origin is list else ".NAME." if origin is dict else "."
        for child in inner:
            tag = tag_of(child) if len(inner) > 1 else None
            yield from keys(child, key.path + step, f"{tag[0]} = {tag[1]}" if tag else variant)


def describe(annotation: Any, known: About, key: str) -> str:
    """What a key allows, in words: type, range, unit."""
    match known.kind:
        case "numbers" if not known.lengths:
            rows = "rows" if get_origin(get_args(plain(annotation))[0]) is list else "numbers"
            return f"two {rows} or more in a list, each number {known.allowed(key)}"
        case "numbers":
            return f"{known.lengths[0]} numbers [a, b, …], each {known.allowed(key)}"
        case "number" if plain(annotation) is int:
            return f"a whole number, {known.allowed(key)}"
        case "number":
            return f"a number, {known.allowed(key)}"
        case "quantity":
            return f"a number, {known.allowed(key)}; or a table {{ value, basis, source, band }}"
        case "text":
            return "text in quotes"
        case "choice" | "flag":
            return ", ".join(words_of(annotation))
        case "point":
            return " or ".join(("", "", "[x, y]", "[x, y, z]")[n] for n in known.lengths) + " in mm"
        case "points":
            return "a list of [x, y] in mm, three or more"
        case "direction":
            return "[x, y, z], not all zero"
        case "section":
            return "a table"
        case _:
            if sections_in(annotation):
                return "a list of tables"
            words = words_of(next(iter(get_args(plain(annotation))), None))
            return f"a list of {', '.join(words)}" if words else "a list of names"
