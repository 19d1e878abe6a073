"""From ``[[damage]]`` and ``[[option]]`` to records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from panelfem.case.fields import Quantity
from panelfem.case.regions import oval_of, region_of, size_at, smallest_half_width
from panelfem.case.schema_damage import (
    ActionKeys,
    DamageKeys,
    DelaminationDamage,
    HoleDamage,
    MissingFastenerDamage,
    OptionKeys,
    PatchAction,
    RefitAction,
    SoftenedDamage,
    TapeAction,
)
from panelfem.case.site import Site
from panelfem.damage.records import Damage, Delamination, Hole, MissingFastener, Softened
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Adhesive, Material
from panelfem.repair.records import Action, Option, PatchRepair, Refit, Spare, Tape

AreaDamage = HoleDamage | SoftenedDamage | DelaminationDamage


def damage_region(name: str) -> str:
    """The mesh region of a hole, a softened area or a delamination.

    >>> damage_region("H1")
    'damage H1'
    """
    return f"damage {name}"


def build_damage(keys: Sequence[DamageKeys], site: Site) -> tuple[Damage, ...]:
    """The damage, taken larger by its tolerance all round; its regions are kept for the mesh."""
    built: list[Damage] = []
    for i, found in enumerate(keys):
        if isinstance(found, MissingFastenerDamage):
            built.append(MissingFastener(found.name, found.fastener))
            continue
        name, grown = damage_region(found.name), 1e-3 * found.tolerance_mm
        if isinstance(found, HoleDamage):
            length = 1e-3 * found.characteristic_length_mm.value
            half = smallest_half_width(found.area, grown)
            size = min(size_at(half, site.coarse), max(length, 1.5e-3))
            site.add(region_of(found.area, name, site.ground, f"damage[{i}].area", size, grown))
            built.append(Hole(found.name, name, length))
        elif isinstance(found, DelaminationDamage):
            path = f"damage[{i}].area"
            site.area(found.area, name, path, grown)
            built.append(
                Delamination(found.name, name, found.interface, *oval_of(found.area, site.ground, path, grown))
            )
        else:
            site.area(found.area, name, f"damage[{i}].area", grown)
            share = found.strength_share
            built.append(Softened(found.name, name, found.remaining_stiffness_share.value, share.value, _band(share)))
    return tuple(built)


def build_options(
    keys: Sequence[OptionKeys],
    damage: Sequence[DamageKeys],
    site: Site,
    materials: Mapping[str, Material],
    material: str,
) -> tuple[Option, ...]:
    """The options; the regions of their patches and tapes are kept for the mesh.

    A patch over a damage reaches beyond its measured border by the overlap.
    """
    built = []
    for i, option in enumerate(keys):
        actions = tuple(
            _action(action, f"option[{i}].actions[{j}]", damage, site, materials, material)
            for j, action in enumerate(option.actions)
        )
        permitted = None if option.permitted == "ask" else bool(option.permitted)
        note = "" if option.note == "none" else option.note
        built.append(Option(option.name, actions, option.minutes, permitted, note))
    return tuple(built)


def _action(
    keys: ActionKeys,
    path: str,
    damage: Sequence[DamageKeys],
    site: Site,
    materials: Mapping[str, Material],
    material: str,
) -> Action:
    if isinstance(keys, RefitAction):
        return Refit(keys.name, keys.fastener)
    if isinstance(keys, PatchAction | TapeAction):
        region = _covered(keys, path, damage, site)
        if isinstance(keys, TapeAction):
            return Tape(keys.name, region, 1e-3 * keys.areal_mass_g_per_m2)
        adhesive = materials[keys.adhesive]
        if not isinstance(adhesive, Adhesive):
            raise TypeError(f"{keys.adhesive} is not an adhesive, which the checks of a case refuse")
        laminate = Laminate(parse_stack(keys.stack, materials, keys.material or material))
        return PatchRepair(
            keys.name, region, laminate, adhesive, 1e-3 * keys.bond_thickness_mm,
            1 if keys.side == "last ply" else -1,
            keys.cured_share.value, _band(keys.cured_share),
            damage_region(keys.over) if keys.cut_out and keys.over is not None else None,
        )  # fmt: skip
    return Spare(keys.name)


def _covered(keys: PatchAction | TapeAction, path: str, damage: Sequence[DamageKeys], site: Site) -> str:
    name = f"{keys.kind} {keys.name}"
    if keys.area is not None:
        return site.area(keys.area, name, f"{path}.area")
    overlap = 1e-3 * (keys.overlap_mm or 0.0)
    index, found = next((i, d) for i, d in enumerate(damage) if d.name == keys.over and isinstance(d, AreaDamage))
    size = size_at(max(overlap, 5e-3), site.coarse) if isinstance(keys, PatchAction) else site.coarse / 2
    return site.add(region_of(found.area, name, site.ground, f"damage[{index}].area", size, overlap))


def _band(quantity: Quantity) -> tuple[float, float] | None:
    return (quantity.band[0], quantity.band[1]) if quantity.band else None
