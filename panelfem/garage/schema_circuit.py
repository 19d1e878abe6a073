"""``circuits/NAME.toml``: what a circuit does to panels."""

from __future__ import annotations

from panelfem.case.fields import Quantity, Section, flag, items, quantity, section, text
from panelfem.case.schema_loads import KerbTable, dynamic, severity

_WAY = "one way of saying how hard"
_TRAVEL = "the logger: damper travel at this place"


class CircuitHead(Section):
    """What the circuit is; its name is that of the file."""

    invented: bool = flag("True if the circuit is made up (a demonstration); reports then say so.", default=False)
    note: str = text("Anything to remember.", default="none")


class _Hard(Section):
    interference_mm: Quantity | None = severity(
        "How far it would stand inside the unloaded panel, whatever the ride height,", 0.01, 200.0, _WAY
    )
    force_N: Quantity | None = severity("or the force it pushes with.", 0.1, 1e6, _WAY)
    dynamic_factor: Quantity = dynamic(True)


class Kerb(_Hard):
    """A kerb; it meets every exposure to a kerb."""

    name: str = text("What it is called.")
    shape: KerbTable = section("Its shape.")
    height_mm: Quantity = quantity("Its height over the road.", 1.0, 300.0, measure="a straight edge and a rule")
    suspension_travel_mm: Quantity | None = quantity(
        "How far the car is down from rest as it runs over it, at the axle that is down more; the interference is then "
        "height + travel − clearance.",
        -50.0,
        300.0,
        default=None,
        needed=_WAY,
        sweep="severity",
        measure=_TRAVEL,
    )


class Wall(_Hard):
    """A wall; it meets every exposure to a wall.  The car is taken not to move aside."""

    name: str = text("What it is called.")


class Dip(Section):
    """A compression: every panel feels it, and meets the road where it is exposed to it."""

    name: str = text("What it is called.")
    acceleration_gee: Quantity = severity("Acceleration beyond rest, in g.", 0.01, 200.0)
    suspension_travel_mm: Quantity = quantity(
        "How far the car goes down from rest, at the axle that goes down more.",
        0.0,
        300.0,
        sweep="severity",
        measure=_TRAVEL,
    )
    dynamic_factor: Quantity = dynamic(True)


class Circuit(Section):
    """A circuit file."""

    circuit: CircuitHead = section("What the circuit is.", default=CircuitHead())
    kerb: list[Kerb] = items("Its kerbs.")
    wall: list[Wall] = items("Its walls.")
    compression: list[Dip] = items("Its dips and landings.")
