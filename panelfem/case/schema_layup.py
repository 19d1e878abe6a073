"""The sections of a layup file: what was measured and seen of a panel nobody has papers for, and the candidates."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from panelfem.case.fields import Section, choice, flag, items, number, numbers, row, section, text

_ALONG = "Degrees from the 0° axis."


class Measure(Section):
    """A number with its uncertainty, both in the unit of the key: `{ value = 212, plus_minus = 2 }`."""

    value: float = number("What was measured.", 0.0, 1e7, low_open=True)
    plus_minus: float = number("It is right within so much in 95 of 100 cases.", 0.0, 1e7, low_open=True)


class LayupHead(Section):
    """What the layup is of."""

    title: str = text("What is printed above the result.")
    invented: bool = flag("True if the measurements are made up (a demonstration).", default=False)
    level_percent: float = number("In how many of 100 cases an interval holds.", 50.0, 99.9, default=95.0)


class Piece(Section):
    """The panel or an offcut, without fixings, paint and filler."""

    mass_g: Measure | None = section("Mass.", default=None, needed="with area_cm2")
    area_cm2: Measure | None = section("Area of one face.", default=None, needed="with mass_g")
    thickness_mm: Measure | None = section("Thickness, all of it.", default=None)


class Seen(Section):
    """What was seen of it; what is left out was not seen."""

    least_plies: int = number("Least number of plies at a cut edge, without the core.", 1, 40, default=1)
    most_plies: int = number("Greatest number of plies there, without the core.", 1, 40)
    outer_ply: Literal["fabric", "unidirectional"] | None = choice("Weave of the last ply of the stack.", default=None)
    outer_angle_deg: float | None = number(
        f"Direction of its fibre or warp, within 10°. {_ALONG}", -180.0, 180.0, default=None
    )


class BentStrip(Section):
    """A narrow strip bent by a weight."""

    kind: Literal["strip"] = choice("A strip.")
    supports: Literal["two supports", "built in"] = choice("How it is held.")
    length_mm: float = number("Between the supports, or from where it is built in to the weight.", 5.0, 5000.0)
    width_mm: float = number("Width.", 1.0, 1000.0)
    along_deg: float = number(f"Which way it runs. {_ALONG}", -180.0, 180.0, default=0.0)
    mass_kg: float = number("The weight, at the middle or the free end.", 0.0, 1000.0, low_open=True)
    deflection_mm: Measure = section("How far it moves there, less what the supports give.")


class BentPlate(Section):
    """A rectangle that rests on all its edges and is held down there, bent by a weight in its middle."""

    kind: Literal["plate"] = choice("A rectangle.")
    length_mm: float = number("Between the supports along the 0° axis.", 20.0, 5000.0)
    width_mm: float = number("Between the supports across it.", 20.0, 5000.0)
    pad_mm: float = number("Diameter of the weight's pad.", 2.0, 500.0)
    mass_kg: float = number("The weight.", 0.0, 1000.0, low_open=True)
    deflection_mm: Measure = section("How far the middle moves, less what the supports give.")


BentTable = Annotated[BentStrip | BentPlate, Field(discriminator="kind")]


class CandidateCore(Section):
    """A core the panel may have."""

    material: str = text("A core of the library.")
    thickness_mm: float = number("Its thickness.", 0.5, 100.0)


class CandidateKeys(Section):
    """What the stack may be made of."""

    plies: list[str] = items(
        "Plies of the library; the first is the one a bare angle stands for.", default=..., min_length=1
    )
    angles_deg: list[float] = row(f"Angles it may have. {_ALONG}", -180.0, 180.0)
    core: list[CandidateCore] = items("Cores it may have.")
    no_core: bool = flag("Whether it may have none.", default=True)
    unsymmetric: bool = flag(
        "Whether stacks that are not symmetric are looked at too; they count a tenth.", default=False
    )


class Answer(Section):
    """Resultants under which the factor at first ply failure is told, with its spread."""

    force_N_per_mm: list[float] = numbers("Nx, Ny, Nxy.", 3, -1e5, 1e5, default=[0.0, 0.0, 0.0])
    moment_N: list[float] = numbers("Mx, My, Mxy in N·mm per mm.", 3, -1e6, 1e6, default=[0.0, 0.0, 0.0])


class LayupFile(Section):
    """A layup file."""

    layup: LayupHead = section("What the layup is of.")
    piece: Piece = section("What was weighed and measured.", default=Piece())
    seen: Seen = section("What was seen.")
    bent: list[BentTable] = items("What was bent.")
    candidates: CandidateKeys = section("What it may be made of.")
    load: Answer | None = section("Resultants to judge it under.", default=None)
