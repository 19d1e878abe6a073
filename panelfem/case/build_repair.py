"""From ``[[damage]]`` and ``[[option]]`` to records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from panelfem.case.fields import Quantity
from panelfem.case.regions import oval_of, region_of, size_at, smallest_half_width
from panelfem.case.schema_area import Polygon, SlotArea
from panelfem.case.schema_damage import ActionKeys, OptionKeys, PatchAction, RefitAction, TapeAction
from panelfem.case.schema_found import AreaSection, DamageSection, FasteningSection
from panelfem.case.site import Site
from panelfem.damage import Damage
from panelfem.damage.keys import Key, keys_of
from panelfem.damage.kind import AreaDamage, Notch, OvalDamage, Slit
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Adhesive, Material
from panelfem.repair.records import Action, Option, PatchRepair, Refit, Spare, Tape
from panelfem.units import SUFFIXES, suffix

#: A crack narrower than this is meshed this wide, mm: elements at its tip are a quarter of the tip's radius.
NARROWEST = 2.0


def damage_region(name: str) -> str:
    """The mesh region of damage over an area.

    >>> damage_region("H1")
    'damage H1'
    """
    return f"damage {name}"


def build_damage(keys: Sequence[DamageSection], site: Site) -> tuple[Damage, ...]:
    """The damage, taken larger by its tolerance all round; its regions are kept for the mesh."""
    return tuple(_found(found, f"damage[{i}]", site) for i, found in enumerate(keys))


def _found(keys: DamageSection, path: str, site: Site) -> Damage:
    record = keys.record
    values: dict[str, Any] = {name: _value(keys, key) for name, key in keys_of(record).items()}
    if isinstance(keys, FasteningSection):
        values["fastener"] = keys.fastener
    elif isinstance(keys, AreaSection) and issubclass(record, AreaDamage):
        name, grown, path = damage_region(keys.name), 1e-3 * keys.tolerance_mm, f"{path}.area"
        area, values["region"] = keys.area, name
        if issubclass(record, Slit) and isinstance(area, SlotArea):
            longer = {"length_mm": area.length_mm + 2.0 * keys.tolerance_mm}
            area, grown = area.model_copy(update=longer | {"width_mm": max(area.width_mm, NARROWEST)}), 0.0
            values["tip_radius"] = 5e-4 * area.width_mm
        if issubclass(record, Notch):
            half = smallest_half_width(area, grown)
            size = min(size_at(half, site.coarse), max(values["characteristic_length"], 1.5e-3))
            site.add(region_of(area, name, site.ground, path, size, grown))
        else:
            site.area(keys.area, name, path, grown)
        if issubclass(record, OvalDamage):
            if isinstance(keys.area, Polygon | SlotArea):
                raise TypeError(f"{keys.kind} has a polygon or a slot, which its section refuses")
            oval = oval_of(keys.area, site.ground, path, grown)
            values |= dict(zip(("place", "along", "semi_axes"), oval, strict=True))
    return record(keys.name, **values)


def _value(keys: DamageSection, key: Key) -> Any:
    """What a section says of a key, in SI."""
    said = getattr(keys, key.name)
    value = said.value if isinstance(said, Quantity) else said
    ending = suffix(key.name)
    return value if ending is None else value * SUFFIXES[ending][0]


def build_options(
    keys: Sequence[OptionKeys],
    damage: Sequence[DamageSection],
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
    damage: Sequence[DamageSection],
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


def _covered(keys: PatchAction | TapeAction, path: str, damage: Sequence[DamageSection], site: Site) -> str:
    name = f"{keys.kind} {keys.name}"
    if keys.area is not None:
        return site.area(keys.area, name, f"{path}.area")
    overlap = 1e-3 * (keys.overlap_mm or 0.0)
    index, found = next((i, d) for i, d in enumerate(damage) if d.name == keys.over and isinstance(d, AreaSection))
    size = size_at(max(overlap, 5e-3), site.coarse) if isinstance(keys, PatchAction) else site.coarse / 2
    return site.add(region_of(found.area, name, site.ground, f"damage[{index}].area", size, overlap))


def _band(quantity: Quantity) -> tuple[float, float] | None:
    return (quantity.band[0], quantity.band[1]) if quantity.band else None
