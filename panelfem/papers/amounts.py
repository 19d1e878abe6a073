"""What a repair needs: areas from the true surface, masses from the records of its materials."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from panelfem.laminate import Laminate
from panelfem.laminate.skins import near_skin, without_near
from panelfem.material import Adhesive, PlyMaterial
from panelfem.panel import Panel
from panelfem.papers.skin import skins
from panelfem.repair import Action, Insert, NoCredit, PatchRepair, Refit, ScarfRepair, Spare, Tape
from panelfem.units import number

#: Densities of carbon fibre and of epoxy, kg/m³ (usual textbook values, from memory), for the fibre in a ply.
FIBRE, RESIN = 1780.0, 1200.0
#: Shares of fibre by volume a ply may have (common practice, no source); elsewhere its density tells nothing.
SHARES = (0.25, 0.75)
#: A ply denser than this, or less stiff along its fibre, is not taken for carbon in epoxy, kg/m³ and Pa.
DENSEST, SOFTEST = 1700.0, 3e10


@dataclass(frozen=True)
class Amount:
    """One line of the list of materials: what, how much, with units, and what that rests on; `mass` kg, nan if open."""

    what: str
    amount: str
    basis: str
    mass: float = 0.0


def area(panel: Panel, region: str) -> float:
    """Area of a mesh region on the true surface, m²."""
    return sum(skin.area for skin in skins(panel.mesh, panel.mesh.inside[region]))


def amounts(panel: Panel, action: Action) -> Iterator[Amount]:
    """What one action needs."""
    match action:
        case PatchRepair() | ScarfRepair():
            name, laminate, adhesive, bond = action.name, action.laminate, action.adhesive, action.bond_thickness
            covered = area(panel, action.region)
            yield from _plies(name, laminate, covered)
            mass = adhesive.density * bond * covered
            whole = "; the plies are counted over the full outline, of which the inner ones need less"
            inner = whole if isinstance(action, ScarfRepair) else ""
            yield Amount(
                f"{name}: {adhesive.name}",
                f"{number(1e3 * mass)} g in the bond, without waste",
                f"{number(1e3 * bond)} mm over {number(1e4 * covered)} cm², {number(adhesive.density, 4)} kg/m³{inner}",
                mass,
            )
            if isinstance(action, ScarfRepair):
                return
            if action.both_sides:
                yield Amount(
                    f"{name}: the same once more, for the other face", "as above", "two like patches",
                    laminate.areal_mass * covered + mass,
                )  # fmt: skip
            if action.cut_out is not None and (action.plug is not None or action.both_sides):
                yield _filling(panel, action)
        case Insert(name=name, fastener=fastener, method=method):
            yield Amount(f"{name}: insert for {fastener}, {method}", "1 piece", "mass not on record", float("nan"))
        case NoCredit(name=name, what=what):
            yield Amount(f"{name}: {what}", "as needed", "amount not on record; no strength is counted", float("nan"))
        case Tape(name=name, region=region, areal_mass=per):
            covered = area(panel, region)
            yield Amount(
                f"{name}: tape",
                f"{number(1e4 * covered)} cm², {number(1e3 * per * covered)} g",
                f"{number(1e3 * per)} g/m²",
                per * covered,
            )
        case Refit(name=name, fastener=fastener):
            yield Amount(f"{name}: fixing for {fastener}", "1 piece", "mass not on record", float("nan"))
        case Spare(name=name):
            yield Amount(name, "1 piece", "the spare panel, as released by whoever released it")


def _filling(panel: Panel, patch: PatchRepair) -> Amount:
    """What fills the gap of a patch: the plug, or adhesive."""
    assert patch.cut_out is not None
    inside = panel.mesh.inside[patch.cut_out]
    laminate = panel.laminates[int(np.bincount(panel.laminate_of[inside]).argmax())]
    depth = laminate.thickness
    if not patch.both_sides:
        depth -= near_skin(laminate, patch.side).thickness
        depth -= below.thickness if (below := without_near(laminate, patch.side, core=True)) is not None else 0.0
    material, gap = patch.plug or patch.adhesive, area(panel, patch.cut_out)
    mass = material.density * depth * gap
    return Amount(
        f"{patch.name}: {material.name} to fill the gap", f"{number(1e4 * gap)} cm², {number(1e3 * mass)} g",
        f"{number(1e3 * depth)} mm deep, {number(material.density, 4)} kg/m³", mass,
    )  # fmt: skip


def _plies(name: str, laminate: Laminate, covered: float) -> Iterator[Amount]:
    """The plies of a patch, those of one material and thickness together."""
    kinds: dict[tuple[str, float], list[int]] = {}
    for i, ply in enumerate(laminate.plies, 1):
        kinds.setdefault((ply.material.name, ply.thickness), []).append(i)
    for (material, thickness), found in kinds.items():
        record = laminate.plies[found[0] - 1].material
        count, total = len(found), len(found) * covered
        mass = record.density * thickness * total
        numbers = f"{'ply' if count == 1 else 'plies'} {', '.join(map(str, found))}"
        pieces = f"{count} × {number(1e4 * covered)} cm² = {number(total)} m²"
        yield Amount(
            f"{name}: {material}, {numbers}",
            f"{pieces}; {number(1e3 * mass)} g as cured{_fibre(record, thickness * total)}",
            f"{number(1e3 * thickness)} mm a ply, {number(record.density, 4)} kg/m³ as cured; no waste counted",
            mass,
        )


def fibre_share(material: PlyMaterial) -> float | None:
    """Share of fibre by volume of a carbon ply without voids, by the rule of mixtures of its density; None if its
    density and stiffness do not speak for carbon in epoxy.

    >>> from panelfem.material import library
    >>> round(fibre_share(library()["carbon-twill"]), 3), fibre_share(library()["E-glass-LY556"])
    (0.603, None)
    """
    share = (material.density - RESIN) / (FIBRE - RESIN)
    carbon = material.density < DENSEST and material.E1 > SOFTEST
    return share if carbon and SHARES[0] <= share <= SHARES[1] else None


def _fibre(material: object, volume: float) -> str:
    """Dry fibre and resin in a volume (m³) of cured plies, in words."""
    if not isinstance(material, PlyMaterial):
        return "" if not isinstance(material, Adhesive) else ", resin"
    share = fibre_share(material)
    if share is None:
        return "; share of fibre not on record"
    fibre, resin = (1e3 * volume * part for part in (share * FIBRE, (1.0 - share) * RESIN))
    return (
        f", of it about {number(fibre, 2)} g fibre and {number(resin, 2)} g resin (if carbon, {FIBRE:g} kg/m³, in "
        f"epoxy, {RESIN:g} kg/m³, without voids: from memory)"
    )
