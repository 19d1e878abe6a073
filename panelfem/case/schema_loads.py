"""``[held]`` and ``[[load]]``: what stays on the panel, and what grows until something fails."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from panelfem.case.fields import (
    Quantity,
    Section,
    choice,
    direction,
    flag,
    items,
    number,
    point,
    quantity,
    section,
    text,
)
from panelfem.case.schema_area import AreaTable

_LOGGER = "the logger: damper travel, ride height, vertical acceleration over this place"
_RIG = "weigh the car on blocks: load against lift at this corner"
_STRIKE = "log acceleration on the panel through such a strike, or compute the strike in time"


def severity(what: str, low: float, high: float, needed: str = "", **more: Any) -> Any:
    """A key that says how hard a load is; swept, and measured with the logger."""
    if needed:
        more |= {"default": None, "needed": needed}
    return quantity(what, low, high, sweep="severity", measure=_LOGGER, **more)


def dynamic(required: bool) -> Any:
    """The key of the dynamic factor; without one, slow."""
    what = (
        "Factor on the scaled part for what inertia adds over a slow load (1: slow; 2: sudden, undamped, "
        "one degree of "
        "freedom); state it with a band, it is swept."
    )
    if required:
        return quantity(what, 0.5, 5.0, sweep="dynamic", measure=_STRIKE)
    slow = Quantity(value=1.0, basis="stated", source="applied slowly")
    return quantity(what, 0.5, 5.0, default=slow, sweep="dynamic", measure=_STRIKE)


class Misfit(Section):
    """A fixing that pulls the skin as it closes."""

    fastener: str = text("Which fastener of the panel.")
    gap_mm: float = number(
        "Gap it closes, along the normal: positive moves the skin towards the last ply's side.", -20.0, 20.0
    )


class Held(Section):
    """What is on the panel all the time; not scaled."""

    one_g: bool = flag("The panel's own weight and that of what hangs on it, along `down` of the panel.", default=False)
    air_pressure_kPa: Quantity | None = quantity(
        "Air load; positive pushes on the face of the last ply, towards the first; negative is suction there.",
        -100.0,
        100.0,
        default=None,
        measure="pressure taps on this panel",
    )
    air_file: str | None = text(
        "CSV of the air load, relative to the case file: a heading `x_mm,y_mm,pressure_kPa` (or with "
        "`z_mm`), one sample a line.",
        default=None,
    )
    cure: bool = flag("Cure and moisture strain, from the temperatures of the panel.", default=False)
    misfits: list[Misfit] = items("Fixings that pull.")


class Limit(Section):
    """A clearance that must be kept."""

    name: str = text("What would be touched.")
    limit_mm: float = number("How far the panel may move at the expected severity.", 0.1, 500.0)
    area: AreaTable | None = section("Where; absent: anywhere.", default=None)
    direction: list[float] | None = direction("Along which direction; absent: any.", default=None)


class HalfRoundKerb(Section):
    """A half-round, its axis across the line of travel."""

    form: Literal["half-round"] = choice("A half-round.")
    radius_mm: float = number("Radius.", 2.0, 1000.0)


class StepKerb(Section):
    """A step with a flat top."""

    form: Literal["step"] = choice("A step: flat top beyond its edge.")
    edge_radius_mm: float = number("Radius of its edge.", 1.0, 200.0)


class RampKerb(Section):
    """A ramp up to a flat top."""

    form: Literal["ramp"] = choice("A ramp along the line of travel up to a flat top.")
    angle_deg: float = number("Slope.", 1.0, 80.0)


KerbTable = Annotated[HalfRoundKerb | StepKerb | RampKerb, Field(discriminator="form")]


class Road(Section):
    """A flat road the panel may meet."""

    gap_mm: float = number("Gap to the lowest point of the unloaded panel.", 0.0, 500.0)
    direction: list[float] = direction("Direction in which the road pushes.", default=[0.0, 0.0, 1.0])


class _Load(Section):
    name: str = text("What the load is called.")
    held: Held | None = section("What stays on the panel; absent: the `[held]` of the case.", default=None)
    limits: list[Limit] = items("Clearances that must be kept.")


class _Push(_Load):
    """Contact keys common to kerbs and walls."""

    push_direction: list[float] = direction("Direction in which the panel is pushed.")
    travel_direction: list[float] = direction("Direction in which the car passes it, as seen from the panel.")
    interference_mm: Quantity | None = severity(
        "How far the shape would stand inside the unloaded panel: advance after the first touch.",
        0.01,
        200.0,
        "one way of saying how hard",
    )
    force_N: Quantity | None = severity("Or the force it pushes with.", 0.1, 1e6, "one way of saying how hard")
    car_stiffness_N_per_mm: Quantity | None = quantity(
        "Stiffness with which the car resists being lifted or pushed aside, in series; absent: it does not"
        " move. Only with an "
        "interference.",
        1.0,
        1e5,
        default=None,
        sweep="car stiffness",
        measure=_RIG,
    )
    dynamic_factor: Quantity = dynamic(True)


class KerbStrike(_Push):
    """A kerb passes under the panel and drives it up."""

    kind: Literal["kerb strike"] = choice("A kerb strike.")
    shape: KerbTable = section("The kerb.")
    place_mm: list[float] = point("Where the crest, the edge or the top of the ramp stands: `[x, y]` or `[x, y, z]`.")
    kerb_height_mm: float | None = number(
        "Or the interference from heights: kerb",
        1.0,
        300.0,
        default=None,
        needed="one way of saying how hard",
    )
    suspension_travel_mm: float | None = number(
        "plus how far the car goes down", -50.0, 300.0, default=None, needed="with kerb_height_mm"
    )
    clearance_mm: float | None = number(
        "less the clearance of the panel at rest.", 0.0, 500.0, default=None, needed="with kerb_height_mm"
    )
    footprint_mm: float = number(
        "Diameter about the place within which the mesh is made fine.", 5.0, 1000.0, default=60.0
    )


class WallContact(_Push):
    """A side is pushed against a flat wall."""

    kind: Literal["wall contact"] = choice("Contact with a flat wall.")
    gap_mm: float = number("Gap to be closed before the interference counts.", 0.0, 500.0, default=0.0)


class Compression(_Load):
    """A dip or a landing: n·g on the panel and on what hangs on it."""

    kind: Literal["compression"] = choice("Compression: a dip or a landing.")
    acceleration_gee: Quantity = severity(
        "Acceleration beyond rest, in g (the 1 g of rest is `one_g` of what is held); it presses along `direction`.",
        0.01,
        200.0,
    )
    direction: list[float] | None = direction("Which way it presses; absent: `down` of the panel.", default=None)
    road: Road | None = section("A road that may be met; it stays where it is.", default=None)
    dynamic_factor: Quantity = dynamic(True)


class Inertia(_Load):
    """Acceleration in any direction."""

    kind: Literal["inertia"] = choice("Acceleration: braking, cornering, vibration as a static equivalent.")
    acceleration_gee: Quantity = severity("Acceleration in g; it presses along `direction`.", 0.01, 500.0)
    direction: list[float] = direction("Which way it presses.")
    dynamic_factor: Quantity = dynamic(True)


class AirLoad(_Load):
    """Pressure or suction."""

    kind: Literal["air load"] = choice("Air load.")
    pressure_kPa: Quantity | None = severity(
        "Uniform pressure; positive pushes on the face of the last ply, towards the first; negative is suction there.",
        -100.0,
        100.0,
        "this or pressure_file",
    )
    pressure_file: str | None = text(
        "CSV of pressures, relative to the case file: a heading `x_mm,y_mm,pressure_kPa` (or with `z_mm`),"
        " one sample a line.",
        default=None,
        needed="this or pressure_kPa",
    )
    multiplier: Quantity | None = severity(
        "Factor on the pressures of the file; absent: 1.", 0.001, 1000.0, "with pressure_file, if not 1"
    )
    area: AreaTable | None = section("Where a uniform pressure acts; absent: everywhere.", default=None)
    dynamic_factor: Quantity = dynamic(False)


class _AreaForce(_Load):
    area: AreaTable = section("Where it pushes, spread evenly.")
    force_N: Quantity = severity("Force.", 0.1, 1e6)
    direction: list[float] = direction("Direction in which it pushes.")
    dynamic_factor: Quantity = dynamic(False)


class LoadTest(_AreaForce):
    """A ram pushes through a pad, and the deflection may not exceed a limit."""

    kind: Literal["load test"] = choice("A load test by ram and pad.")
    limit_mm: float = number("The deflection the rule allows, mean over the pad, along the force.", 0.05, 500.0)


class Handling(_AreaForce):
    """Somebody leans, kneels or lifts."""

    kind: Literal["handling"] = choice("A hand, a knee.")


class PatchForce(_AreaForce):
    """A tyre or another car's panel pushes on an area."""

    kind: Literal["patch force"] = choice("A force on an area: a tyre, another car's panel.")


LoadTable = Annotated[
    KerbStrike | Compression | WallContact | AirLoad | LoadTest | Handling | Inertia | PatchForce,
    Field(discriminator="kind"),
]
LoadKeys = KerbStrike | Compression | WallContact | AirLoad | LoadTest | Handling | Inertia | PatchForce
