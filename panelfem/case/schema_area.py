"""Areas on a panel: a disc, an ellipse, a rectangle, a slot, or a polygon seen from above."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from panelfem.case.fields import Section, choice, direction, number, numbers, point, points

_PLACE = "Centre: `[x, y]` in plan, or `[x, y, z]` (needed with a mesh file); it is put on the surface."
_ALONG = "Direction of the length; it is laid on the surface."


class Disc(Section):
    """Everything within half the diameter of the centre, measured straight."""

    shape: Literal["disc"] = choice("A disc.")
    centre_mm: list[float] = point(_PLACE)
    diameter_mm: float = number("Diameter.", 1.0, 2000.0)


class EllipseArea(Section):
    """An ellipse in the tangent plane at its centre, carried over to the surface."""

    shape: Literal["ellipse"] = choice("An ellipse.")
    centre_mm: list[float] = point(_PLACE)
    length_mm: float = number("Whole length, tip to tip.", 1.0, 2000.0)
    width_mm: float = number("Whole width.", 1.0, 2000.0)
    along: list[float] = direction(_ALONG, default=[1.0, 0.0, 0.0])


class Rectangle(Section):
    """A rectangle in the tangent plane at its centre, carried over to the surface."""

    shape: Literal["rectangle"] = choice("A rectangle.")
    centre_mm: list[float] = point(_PLACE)
    length_mm: float = number("Length.", 1.0, 2000.0)
    width_mm: float = number("Width.", 1.0, 2000.0)
    along: list[float] = direction(_ALONG, default=[1.0, 0.0, 0.0])


class Polygon(Section):
    """What lies inside a polygon seen along z."""

    shape: Literal["polygon"] = choice("A polygon in plan.")
    corners_mm: list[list[float]] = points("Corners `[[x, y], …]` in order round it.")
    heights_mm: list[float] | None = numbers(
        "Lowest and highest z that belong to it, so that the far side of a deep panel does not.",
        2,
        -20000.0,
        20000.0,
        default=None,
    )


class SlotArea(Section):
    """A slot with round ends in the tangent plane at its centre, carried over to the surface."""

    shape: Literal["slot"] = choice("A slot with round ends; a crack is a narrow one.")
    centre_mm: list[float] = point(_PLACE)
    length_mm: float = number("Whole length, tip to tip, more than the width.", 1.0, 2000.0)
    width_mm: float = number("Whole width; of a crack, how far it gapes at most.", 0.01, 2000.0)
    along: list[float] = direction(_ALONG, default=[1.0, 0.0, 0.0])

    @model_validator(mode="after")
    def _longer(self) -> SlotArea:
        if self.length_mm <= self.width_mm:
            what = {"text": "the slot is no longer than it is wide", "allowed": "length_mm above width_mm"}
            raise PydanticCustomError("slot", "{text}", what)
        return self


AreaTable = Annotated[Disc | EllipseArea | Rectangle | SlotArea | Polygon, Field(discriminator="shape")]
Area = Disc | EllipseArea | Rectangle | SlotArea | Polygon
#: An area with a centre and two axes.
OvalTable = Annotated[Disc | EllipseArea | Rectangle, Field(discriminator="shape")]
Oval = Disc | EllipseArea | Rectangle
