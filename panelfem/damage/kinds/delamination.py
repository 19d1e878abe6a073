"""Two plies that have come apart, at a known depth."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from panelfem.arrays import BoolArray
from panelfem.damage.keys import count
from panelfem.damage.kind import OvalDamage, clear_faults, impact_strain, laminates_in, struck, within_one
from panelfem.errors import Fault
from panelfem.laminate import Ply
from panelfem.marks import Mark
from panelfem.material import Adhesive, CoreMaterial
from panelfem.panel import Panel


@dataclass(frozen=True)
class Delamination(OvalDamage):
    """Two plies that have come apart, at a known depth: the plies over it may buckle.

    The panel stays as stiff as before, since the parts lie on each other and move together until one of them buckles;
    that no shear is carried between them is not computed, and growth only where the toughness of the plies is known.
    `interface` is that on top of so many plies, counted from 1 at the face the normal enters.
    """

    word: ClassVar[str] = "delamination"
    about: ClassVar[str] = "Plies that have come apart at a known depth."
    mark: ClassVar[Mark] = Mark("\\\\")
    source: ClassVar[str] = (
        "a film that buckles, Chai, Babcock & Knauss 1981, Int. J. Solids Structures 17:1069 (from memory), as a "
        "clamped ellipse by Ritz"
    )
    limits: ClassVar[str] = (
        "no shear lost between the parts; growth only where the toughness of both plies is known; within one laminate, "
        "off edges"
    )
    condition: ClassVar[str] = (
        "tap the delaminated area again after every run and take the panel off if it has grown: its buckling is "
        "computed, its growth where the toughness of its plies is known, and growth run by run is not"
    )
    interface: int = count(
        "interface",
        "After which ply it is, counted from 1 at the face of the first ply: 2 is between plies 2 and 3.",
        1,
        500,
    )
    impact_strain: float | None = impact_strain()

    def applied(self, panel: Panel, soft: bool) -> Panel:
        return struck(self.apart(panel, self.interface), self, self.impact_strain)

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        yield from within_one(panel, self.region)
        if len(laminates := laminates_in(panel, self.region)) == 1:
            fault = interface_fault(laminates[0].plies, self.interface)
            if fault is not None:
                yield fault
        yield from clear_faults(panel, self, others)


def interface_fault(plies: Sequence[Ply], after: int) -> Fault | None:
    """The fault of an interface after a ply, counted from 1: not inside the stack, or at a core."""
    path = "interface"
    if after >= len(plies):
        if len(plies) == 1:
            return Fault(path, "the stack has one ply", "two plies or more", "check the stack there")
        what = f"there is no interface after ply {after}: the stack has {len(plies)} plies"
        return Fault(path, what, f"1 to {len(plies) - 1}", "count the plies from the face of the first")
    for way, names in ((range(after, len(plies)), "above"), (range(after - 1, -1, -1), "below")):
        beside = next((plies[k] for k in way if not isinstance(plies[k].material, Adhesive)), None)
        if beside is not None and isinstance(beside.material, CoreMaterial):
            what = f"the core {beside.material.name!r} lies right {names} the interface: that is a disbond"
            allowed = 'an interface between two plies; kind = "disbond" for skin and core'
            return Fault(path, what, allowed, "check the depth, or call it a disbond")
    return None
