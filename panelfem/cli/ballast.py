"""``panelfem ballast``: what to move at the car's stations after something was added to it."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.balance import Ballast, Body, Car, Remainder, restore, together
from panelfem.cli.console import out, show, table, visible
from panelfem.errors import InputError
from panelfem.garage.on_car import balance_car, stations
from panelfem.garage.rebalance import added, read_car
from panelfem.garage.schema_car import Station
from panelfem.report.figures import fixed, grams, place_text

_CAUTION = (
    "Statics of a rigid car, ballast as a point at its station. Weigh the car afterwards: scales and the rule book in "
    "force decide, also on least mass, and on how ballast is held and sealed."
)

#: Greatest mass (kg) that may be added, and farthest place (mm) from the origin of the axes: beyond, a unit is wrong.
MOST, FARTHEST = 100.0, 20000.0


def run(chosen: Namespace) -> int:
    """Find the move and print it."""
    if len(chosen.added) != len(chosen.at):
        raise InputError(
            f"{len(chosen.added)} masses and {len(chosen.at)} places are named",
            where="--added, --at",
            do="give each --added its --at",
        )
    for amount, place in zip(chosen.added, chosen.at, strict=True):
        if not abs(amount) <= 1e3 * MOST:
            raise InputError(
                f"{amount:g} g cannot be", where="--added", allowed=f"up to {1e3 * MOST:g} g", do="check the unit"
            )
        if not max(map(abs, place)) <= FARTHEST:
            raise InputError(
                f"{max(place, key=abs):g} mm is not on a car", where="--at", allowed=f"up to {FARTHEST:g} mm",
                do="check the unit",
            )  # fmt: skip
    file = read_car(chosen.car)
    bodies = [
        added(1e-3 * grams, (1e-3 * x, 1e-3 * y, 1e-3 * z), file, chosen.panel)
        for grams, (x, y, z) in zip(chosen.added, chosen.at, strict=True)
    ]
    car = balance_car(file)
    found = restore(car, stations(file), together(bodies))
    console = out()
    if file.car.invented:
        show(console, Text("Invented car: made up for demonstration."))
    for part in told(car, file.station, bodies, found):
        show(console, part)
    return 0


def told(car: Car, limits: list[Station], bodies: list[Body], found: Ballast) -> Iterator[RenderableType]:
    """What was added, the moves, the car before and after, and what could not be restored."""
    yield Text("Axes of the car: x rearward, y to the right, z up from the reference plane.")
    for body in bodies:
        yield Text(f"Added: {grams(body.mass)} at {place_text(body.place)}")
    yield Text("")
    yield table(
        ("Station", "Now", "Move", "After", "Allowed"),
        (
            (visible(m.station), _kilograms(m.before), grams(m.change, True), _kilograms(m.after), _allowed(s))
            for m, s in zip(found.moves, limits, strict=True)
        ),
        right=(1, 2, 3),
    )
    yield Text("")
    yield table(
        ("Car", "Mass", "Front share", "Centre to the right"),
        (
            (name, f"{fixed(c.mass, 3)} kg", f"{fixed(100 * c.front_share, 3)} %", f"{fixed(1e3 * c.side, 2)} mm")
            for name, c in (
                ("as it is to be", car),
                ("with what was added", found.before),
                ("after the move", found.after),
            )
        ),
        right=(1, 2, 3),
    )
    moved = f"{grams(found.moved)} taken out and put in, together"
    if found.restored:
        yield Text(f"Mass, front share and side are restored: {moved}.")
    else:
        yield Text(f"NOT restored in full; this is the nearest within the limits, {moved}.", style="bold")
    for rest in found.remainders:
        yield Text(f"Left: {_rest(rest, car)}")
    if found.raised is not None and abs(found.raised) >= 0.5e-5:
        way = "higher" if found.raised > 0 else "lower"
        yield Text(f"The centre of gravity comes to lie {fixed(abs(1e3 * found.raised), 2)} mm {way} than before.")
    yield Text(_CAUTION)


def _rest(rest: Remainder, car: Car) -> str:
    if rest.aim == "mass":
        what = f"the car is {grams(abs(rest.amount))} too {'heavy' if rest.amount > 0 else 'light'}"
    elif rest.aim == "front to rear":
        what = (
            f"{grams(abs(rest.amount) / car.wheelbase)} too much on the {'rear' if rest.amount > 0 else 'front'} axle"
        )
    else:
        side = "right" if rest.amount > 0 else "left"
        what = f"the centre of gravity is {fixed(1e3 * abs(rest.amount) / car.mass, 3)} mm too far to the {side}"
    if rest.limits:
        return f"{what}; stopped by {'; '.join(visible(limit) for limit in rest.limits)}."
    return f"{what}; no limit stops it: the stations lie so that no move between them changes it alone."


def _allowed(station: Station) -> str:
    return f"{station.least_kg:g} to {station.most_kg:g} kg"


def _kilograms(mass: float) -> str:
    """A mass to a tenth of a gram."""
    return f"{fixed(mass, 4)} kg"
