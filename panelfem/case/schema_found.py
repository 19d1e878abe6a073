"""``[[damage]]``: one section a kind, made from what its record in :mod:`panelfem.damage.kinds` declares."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, Union

from pydantic import Field, create_model

from panelfem.case.fields import Quantity, Section, choice, flag, number, quantity, section, text
from panelfem.case.schema_area import Area, AreaTable, OvalTable, SlotArea
from panelfem.case.schema_repair import ply_material
from panelfem.damage import KINDS, AreaDamage, Damage
from panelfem.damage.keys import Assumed, Key, keys_of
from panelfem.damage.kind import TAPPED, Covering, OvalDamage, Slit


class DamageSection(Section):
    """Something found."""

    kind: str = choice("What it is.")
    name: str = text("What it is called.")

    @property
    def record(self) -> type[Damage]:
        """The record of this kind."""
        return KINDS[self.kind]


class AreaSection(DamageSection):
    """Damage over an area."""

    area: Area = section("Where it is and how big, as measured.")
    tolerance_mm: float = number("Uncertainty of the border.", 0.0, 50.0)


class FasteningSection(DamageSection):
    """Damage of a fixing."""

    fastener: str = text("Which fastener of the panel.")


def section_of(record: type[Damage]) -> type[DamageSection]:
    """The section of a kind of damage.

    >>> from panelfem.damage import Hole
    >>> section_of(Hole).__name__, list(section_of(Hole).model_fields)
    ('HoleDamage', ['kind', 'name', 'area', 'tolerance_mm', 'characteristic_length_mm'])
    """
    own: dict[str, Any] = {}
    for key in keys_of(record).values():
        own[key.name] = _declared(key)
        if key.kind == "stack":
            own["material"] = (str | None, ply_material())
    own["kind"] = (Literal[record.word], choice(record.about))
    base: type[DamageSection] = FasteningSection
    if issubclass(record, AreaDamage):
        base = AreaSection
        tapped = record.tolerance >= TAPPED
        table = SlotArea if issubclass(record, Slit) else OvalTable if issubclass(record, OvalDamage) else AreaTable
        covering = issubclass(record, Covering)
        oval = issubclass(record, OvalDamage) * (
            " What buckles is an ellipse clamped at its rim: a disc or an ellipse as it is, of a rectangle the ellipse "
            "through its corners, which is on the safe side."
        )
        own["area"] = (
            table,
            section(f"Where it is and how big, as {'tapped out' if tapped and not covering else 'measured'}.{oval}"),
        )
        finds = " (a tap test finds an edge to about ±5 mm: common practice, no source)" if tapped else ""
        grows = "longer at either tip" if issubclass(record, Slit) else "larger all round"
        border = "the border of what was cut out below; that" if covering else "the border; the damage"
        said = f"Uncertainty of {border} is taken that much {grows}{finds}."
        own["tolerance_mm"] = (float, number(said, 0.0, 50.0, default=record.tolerance))
    made: type[DamageSection] = create_model(f"{record.__name__}Damage", __base__=base, __module__=__name__, **own)
    made.__doc__ = f"{record.about} Model: {record.source}. Limits: {record.limits}."
    return made


def _declared(key: Key) -> tuple[Any, Any]:
    """Annotation and field of one key."""
    default: Any = None if key.optional else ... if key.default is None else key.default
    match key.kind:
        case "quantity":
            if isinstance(default, Assumed):
                band = None if default.band is None else list(default.band)
                default = Quantity(value=default.value, basis="assumed", source=default.source, band=band)
            made = quantity(key.description, key.low, key.high, default=default, sweep=key.sweep, measure=key.measure)
            return Quantity | None if key.optional else Quantity, made
        case "word":
            return Literal[key.words], choice(key.description, default=default)
        case "flag":
            return bool, flag(key.description, default=default)
        case "stack" | "adhesive":
            return str, text(key.description)
        case "count":
            return int, number(key.description, key.low, key.high, default=default)
        case "number":
            return float, number(key.description, key.low, key.high, default=default)


#: What a case calls a kind of damage -> its section.
SECTIONS: dict[str, type[DamageSection]] = {word: section_of(record) for word, record in KINDS.items()}

if TYPE_CHECKING:
    DamageTable = DamageSection
else:
    DamageTable = Annotated[Union[tuple(SECTIONS.values())], Field(discriminator="kind")]  # noqa: UP007
