"""What every kind of damage says of itself.

A kind is a frozen record in a module of its own in :mod:`panelfem.damage.kinds`, found there by itself: how a case
calls it, its keys (:mod:`panelfem.damage.keys`), what it makes of a panel at either end of what is not known, the
condition it brings, what is left of it after a cut-out or a refit, its source and its limits.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Literal

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.damage.keys import Assumed, built, flag, number, quantity
from panelfem.errors import Fault, InputError
from panelfem.laminate import Laminate
from panelfem.laminate.skins import near_skin
from panelfem.marks import Mark
from panelfem.material import CoreMaterial, PlyMaterial
from panelfem.panel import Delaminated, Fastener, Panel, Struck

#: Uncertainty of a border, mm: measured with a rule, and tapped out.
MEASURED, TAPPED = 1.0, 5.0
#: The two faces, as a case calls them.
FACES = ("first ply", "last ply")


@dataclass(frozen=True)
class Damage(ABC):
    """Something found.

    `word` is what a case calls the kind, `about` says it in one line; `source` and `limits` are printed with it.
    `condition`: what is asked for as long as it is left in the panel, empty for nothing.  `mark`: its own in pictures.
    """

    name: str
    word: ClassVar[str]
    about: ClassVar[str]
    source: ClassVar[str]
    limits: ClassVar[str]
    mark: ClassVar[Mark]
    condition: ClassVar[str] = ""

    @property
    def bracket(self) -> tuple[str, str] | None:
        """Names of the stiff and the soft end of what is not known of its stiffness; None if that is known."""
        return None

    @abstractmethod
    def applied(self, panel: Panel, soft: bool) -> Panel:
        """The panel with this damage, at the `soft` or the stiff end of its bracket."""

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        """What contradicts it on the undamaged panel; `others` are the areas (ne,) of other damage by name.

        Paths begin at the entry of the damage: ``area``.
        """
        yield from ()


@dataclass(frozen=True)
class AreaDamage(Damage):
    """Damage over a mesh region.

    `tolerance` mm: the usual uncertainty of its border.  `takes_patch`: a patch may be bonded on it as it is.
    """

    region: str
    tolerance: ClassVar[float] = TAPPED
    takes_patch: ClassVar[bool] = True

    @property
    def notches(self) -> tuple[tuple[str, float], ...]:
        """Mesh regions whose border is a notch, each with the length (m) over which stress is averaged there."""
        return ()

    def after_cut(self) -> Damage | None:
        """What is left of it once its area is cut out; None: nothing."""
        return None


@dataclass(frozen=True)
class OvalDamage(AreaDamage):
    """Damage over an area that counts as an ellipse at `place` (3,) m with `semi_axes` m, the first along the tangent
    `along` (3,).
    """

    place: FloatArray
    along: FloatArray
    semi_axes: tuple[float, float]

    def apart(self, panel: Panel, after: int) -> Panel:
        """The panel whose one laminate over the area is apart on top of ply `after`; it stays as stiff as before.

        Raises InputError for an area over several laminates, and for a laminate without that interface.
        """
        laminates = laminates_in(panel, self.region)
        if len(laminates) > 1:
            raise InputError(
                "the area lies in more than one laminate",
                where=f"{self.word} {self.name!r}",
                allowed="an area within one laminate",
            )
        laminates[0].split(after)
        angle = _angle(panel, self.place, self.along)
        new = Delaminated(self.name, self.region, laminates[0], after, self.place, angle, self.semi_axes)
        return replace(panel, delaminations=(*panel.delaminations, new))


#: Average-stress length of Whitney & Nuismer, J. Compos. Mater. 8 (1974) 253: a0 = 3.8 mm fitted their
#: open-hole tests (recalled); laminates since have been fitted with roughly 2 to 6 mm (assumed band).
NOTCH_LENGTH = Assumed(
    3.8, "Whitney & Nuismer, J. Compos. Mater. 8 (1974) 253, average stress (recalled); band assumed", (2.0, 6.0)
)


def notch_length() -> Any:
    """The field of the length over which the stress at the border of a notch is averaged."""
    return quantity(
        "characteristic_length_mm",
        "Length over which the stress at the border is averaged before it is compared with the strength.",
        0.1,
        20.0,
        default=NOTCH_LENGTH,
        sweep="characteristic length",
        measure="open-hole coupons of the same laminate with two hole sizes",
    )


@dataclass(frozen=True)
class Notch(AreaDamage):
    """Material that is gone, edges clean.  `characteristic_length` m: stress is averaged over it at the edge."""

    tolerance: ClassVar[float] = MEASURED
    characteristic_length: float = notch_length()

    @property
    def notch(self) -> float:
        """Length (m) over which stress is averaged at its border."""
        return self.characteristic_length

    @property
    def notches(self) -> tuple[tuple[str, float], ...]:
        return ((self.region, self.notch),)

    def after_cut(self) -> Damage | None:
        return self

    def applied(self, panel: Panel, soft: bool) -> Panel:
        return replace(panel, removed=panel.removed | panel.mesh.inside[self.region])


@dataclass(frozen=True)
class Slit(Notch):
    """A notch as narrow as a crack: a slot with round ends of `tip_radius` m, as meshed."""

    tip_radius: float = built()

    @property
    def notch(self) -> float:
        """Shorter than the characteristic length by half the tip's radius, so that the average is that of a sharp tip:
        K √(2/π) / √(a + ρ/2) over a length a ahead of a blunt one.  Measured on 20 × 2 mm over 3.8 mm it is then above
        that of the crack: by 5 % in an isotropic sheet, by 8 % in one soft in shear (G = E/12).

        Source: M. Creager and P. C. Paris 1967, Int. J. Fracture Mech. 3:247 (recalled), integrated.
        """
        return max(self.characteristic_length - 0.5 * self.tip_radius, 0.5 * self.characteristic_length)


@dataclass(frozen=True)
class Covering(AreaDamage):
    """Something bonded over the whole of `region`, as measured; if the panel was `cut_out` below it, over `below`,
    which it reaches beyond by `overlap` m, less the tolerance.  It was there before any other damage.
    """

    takes_patch: ClassVar[bool] = False
    cut_out: bool = flag(
        "cut_out",
        "Whether the panel below it was cut out, or lost; true if that is not known: then nothing is counted on there.",
    )
    overlap: float = number(
        "overlap_mm", "How far it reaches beyond what was cut out; needed with cut_out.", 0.0, 300.0, default=0.0
    )
    characteristic_length: float = notch_length()
    below: str | None = built()

    @property
    def notches(self) -> tuple[tuple[str, float], ...]:
        return () if self.below is None else ((self.below, self.characteristic_length),)

    def bared(self, panel: Panel) -> Panel:
        """The panel with what was cut out below gone."""
        return panel if self.below is None else replace(panel, removed=panel.removed | panel.mesh.inside[self.below])


@dataclass(frozen=True)
class FasteningDamage(Damage):
    """Damage of a fixing.  `refits`: putting the fixing back ends it; `may_let_go`: it may hold nothing at all."""

    fastener: str
    refits: ClassVar[bool] = False
    may_let_go: ClassVar[bool] = False

    def changed(self, panel: Panel, change: Callable[[Fastener], Fastener]) -> Panel:
        """The panel with the fixing changed; raises InputError if it has no such fixing."""
        if self.fastener not in (names := [f.name for f in panel.fasteners]):
            raise InputError(
                f"no fixing is called {self.fastener!r}",
                where=f"panel {panel.name!r}",
                allowed=", ".join(names),
                do="name one of these",
            )
        return replace(panel, fasteners=tuple(change(f) if f.name == self.fastener else f for f in panel.fasteners))


def relaid(panel: Panel, region: str, change: Callable[[Laminate], Laminate]) -> Panel:
    """The panel with every laminate over a region changed."""
    inside = panel.mesh.inside[region]
    numbers = np.unique(panel.laminate_of[inside]).tolist()
    return panel.relaid(inside, {i: change(panel.laminates[i]) for i in numbers})


def laminates_in(panel: Panel, region: str) -> list[Laminate]:
    """The different laminates over a region, in the order of their numbers."""
    return list(dict.fromkeys(panel.laminates[i] for i in np.unique(panel.laminate_of[panel.mesh.inside[region]])))


def _angle(panel: Panel, place: FloatArray, along: FloatArray) -> float:
    """Angle (rad) from the 0° axis to the tangent `along` (3,) at `place` (3,) m, towards t2 = n × t1."""
    normal = panel.mesh.normals[int(panel.mesh.nearest(place[None])[0][0])]
    t2 = np.cross(normal, panel.axis)
    return float(np.arctan2(along @ t2 / np.linalg.norm(t2), along @ np.cross(t2, normal) / np.linalg.norm(t2)))


def clear_faults(
    panel: Panel, found: AreaDamage, others: Mapping[str, BoolArray], held: str = "the plies over it"
) -> Iterator[Fault]:
    """Faults of an area that has to be held all round: at an edge of the panel, or at other damage."""
    triangles, area = panel.mesh.triangles, panel.mesh.inside[found.region]
    if np.isin(triangles[area], panel.mesh.boundary_edges).any():
        verb = "are" if held.startswith("the plies") else "is"
        what = f"the area reaches the edge of the panel or of an opening: {held} {verb} not held there"
        do = "measure it again, or call it a softened area"
        yield Fault("area", what, "an area off every edge, with its tolerance", do)
    yield from apart_faults(panel, found, others, "call the two together a softened area")


def apart_faults(panel: Panel, found: AreaDamage, others: Mapping[str, BoolArray], do: str) -> Iterator[Fault]:
    """Faults of an area that overlaps or touches other damage; `do` says what to do about it."""
    triangles, area = panel.mesh.triangles, panel.mesh.inside[found.region]
    for name, other in others.items():
        if np.isin(triangles[area], triangles[other]).any():
            what = f"{found.name} and {name} overlap or touch, with their tolerances: what both do is not computed"
            yield Fault("area", what, "an area apart from other damage", do)


def impact_strain() -> Any:
    """The field of the strain a struck laminate takes in compression, None where it is not given."""
    return quantity(
        "compression_after_impact_strain_percent",
        "Compressive strain of the laminate at which this damage breaks it; absent: not known, not checked.",
        0.01,
        3.0,
        sweep="damage strength",
        measure="coupons of the same laminate, struck as hard and compressed (ASTM D7136 and D7137, from memory)",
        optional=True,
    )


def struck(panel: Panel, found: AreaDamage, strain: float | None, sides: tuple[Literal[1, -1], ...] = (1, -1)) -> Panel:
    """The panel that breaks over the area where it is compressed by `strain`, if that is given; of a sandwich, where a
    skin on one of `sides` is.
    """
    if strain is None:
        return panel
    inside = panel.mesh.inside[found.region]
    height = np.full((len(sides), len(inside)), np.nan)
    for i in np.unique(panel.laminate_of[inside]).tolist():
        skins = [near_skin(panel.laminates[i], side) for side in sides]
        height[:, inside & (panel.laminate_of == i)] = [[skin.interfaces[[0, -1]].mean()] for skin in skins]
    return replace(panel, struck=(*panel.struck, Struck(found.name, found.region, strain, height)))


def within_one(panel: Panel, region: str) -> Iterator[Fault]:
    """The fault of an area over several laminates."""
    if (number := len(laminates_in(panel, region))) > 1:
        what = f"the area lies in {number} laminates, with its tolerance"
        do = "measure it again, or call it a softened area"
        yield Fault("area", what, "an area within one zone of the panel", do)


def core_faults(panel: Panel, region: str) -> Iterator[Fault]:
    """The fault of an area part of which has no core, or a core without a face on either side."""
    for laminate in laminates_in(panel, region):
        for side in FACES:
            if laminate.kind != "sandwich" or not face_of(laminate, side)[0]:
                what = "the panel has no core with two faces in the whole of the area, with its tolerance"
                do = "measure it again, or call it a softened area"
                yield Fault("area", what, "an area where the stack is face, core, face", do)
                return


def face_of(laminate: Laminate, side: str) -> tuple[range, int]:
    """The plies, from 0, of the face on one side of the core, glue next to the core left out; and after which ply,
    counted from 1, it would come off.

    >>> from panelfem.laminate import parse_stack
    >>> from panelfem.material import library
    >>> sandwich = Laminate(parse_stack("[0/90/film-epoxy:0.15mm/foam-pvc-80:6mm]s", library(), "carbon-ud"))
    >>> face_of(sandwich, "first ply"), face_of(sandwich, "last ply")
    ((range(0, 2), 2), (range(5, 7), 5))
    """
    plies = laminate.plies
    cores = [i for i, ply in enumerate(plies) if isinstance(ply.material, CoreMaterial)]
    real = [i for i, ply in enumerate(plies) if isinstance(ply.material, PlyMaterial)]
    if side == FACES[0]:
        end = max((i for i in real if i < cores[0]), default=-1) + 1
        return range(end), end
    start = min((i for i in real if i > cores[-1]), default=len(plies))
    return range(start, len(plies)), start
