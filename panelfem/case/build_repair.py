"""From ``[[damage]]`` and ``[[option]]`` to records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from panelfem.case.fields import Quantity
from panelfem.case.regions import oval_of, region_of, size_at, smallest_half_width
from panelfem.case.schema_area import Area, Polygon, SlotArea
from panelfem.case.schema_found import AreaSection, DamageSection, FasteningSection
from panelfem.case.schema_option import ActionKeys, OptionKeys, RefitAction, TapeAction
from panelfem.case.schema_panel import Panel as PanelKeys
from panelfem.case.schema_repair import (
    CorePlugAction,
    DoublerAction,
    InjectionAction,
    InsertAction,
    LetIn,
    PatchAction,
    ScarfAction,
    SteppedAction,
    StopDrillAction,
    TwoSidedAction,
)
from panelfem.case.site import Site
from panelfem.damage import Damage
from panelfem.damage.keys import Key, keys_of
from panelfem.damage.kind import AreaDamage, Covering, Notch, OvalDamage, Slit
from panelfem.errors import InputError
from panelfem.laminate import Laminate, parse_stack
from panelfem.laminate.skins import near_skin
from panelfem.material import Adhesive, CoreMaterial, Material
from panelfem.patching import PatchRepair
from panelfem.repair.records import (
    Action,
    Insert,
    NoCredit,
    Option,
    Refit,
    ScarfRepair,
    Spare,
    Tape,
)
from panelfem.units import SUFFIXES, suffix

#: A crack narrower than this is meshed this wide, mm: elements at its tip are a quarter of the tip's radius.
NARROWEST = 2.0


def damage_region(name: str, measured: bool = False) -> str:
    """The mesh region of damage over an area, with its tolerance or as measured.

    >>> damage_region("H1"), damage_region("H1", measured=True)
    ('damage H1', 'damage H1 as measured')
    """
    return f"damage {name}{' as measured' if measured else ''}"


def build_damage(
    keys: Sequence[DamageSection],
    site: Site,
    materials: Mapping[str, Material],
    panel: PanelKeys,
    path: str = "damage",
) -> tuple[Damage, ...]:
    """The damage, taken larger by its tolerance all round; its regions are kept for the mesh."""
    return tuple(_found(found, f"{path}[{i}]", site, materials, panel) for i, found in enumerate(keys))


def build_measured(
    keys: Sequence[DamageSection],
    damage: Sequence[Damage],
    site: Site,
    materials: Mapping[str, Material],
    panel: PanelKeys,
) -> tuple[Damage, ...]:
    """The damage as measured, in regions of its own; what has no tolerance stays as it is."""
    return tuple(
        _found(found.model_copy(update={"tolerance_mm": 0.0}), f"damage[{i}]", site, materials, panel, measured=True)
        if isinstance(found, AreaSection) and found.tolerance_mm > 0.0
        else damage[i]
        for i, found in enumerate(keys)
    )


def _found(
    keys: DamageSection,
    path: str,
    site: Site,
    materials: Mapping[str, Material],
    panel: PanelKeys,
    measured: bool = False,
) -> Damage:
    record = keys.record
    values: dict[str, Any] = {
        name: _value(keys, key, materials, panel.material) for name, key in keys_of(record).items()
    }
    if isinstance(keys, FasteningSection):
        values["fastener"] = keys.fastener
    elif isinstance(keys, AreaSection) and issubclass(record, AreaDamage):
        name, grown, path = damage_region(keys.name, measured), 1e-3 * keys.tolerance_mm, f"{path}.area"
        area, values["region"] = keys.area, name
        if issubclass(record, Slit) and isinstance(area, SlotArea):
            longer = {"length_mm": area.length_mm + 2.0 * keys.tolerance_mm}
            area, grown = area.model_copy(update=longer | {"width_mm": max(area.width_mm, NARROWEST)}), 0.0
            values["tip_radius"] = 5e-4 * area.width_mm
        if issubclass(record, Notch):
            _notch(area, name, path, grown, values["characteristic_length"], site)
        elif issubclass(record, Covering):
            overlap = values["overlap"] if values["cut_out"] else 0.0
            site.add(region_of(area, name, site.ground, path, size_at(max(overlap, 5e-3), site.coarse)))
            below = name.replace("damage", "below", 1) if values["cut_out"] else None
            if below is not None:
                _notch(area, below, path, grown - overlap, values["characteristic_length"], site)
            values["below"] = below
        else:
            site.area(keys.area, name, path, grown)
        if issubclass(record, OvalDamage):
            if isinstance(keys.area, Polygon | SlotArea):
                raise TypeError(f"{keys.kind} has a polygon or a slot, which its section refuses")
            oval = oval_of(keys.area, site.ground, path, grown)
            values |= dict(zip(("place", "along", "semi_axes"), oval, strict=True))
    return record(keys.name, **values)


def _notch(area: Area, name: str, path: str, grown: float, length: float, site: Site) -> None:
    """Keep the region of a notch, with elements at its border that see it and the length stress is averaged over."""
    size = min(size_at(smallest_half_width(area, grown), site.coarse), max(length, 1.5e-3))
    site.add(region_of(area, name, site.ground, path, size, grown))


def _value(keys: DamageSection, key: Key, materials: Mapping[str, Material], ply: str) -> Any:
    """What a section says of a key, in SI; plies whose material it does not name are of `ply`."""
    said = getattr(keys, key.name)
    if said is None:
        return None
    if key.kind == "stack":
        return Laminate(parse_stack(said, materials, getattr(keys, "material") or ply))  # noqa: B009 (made from the key)
    if key.kind == "adhesive":
        return _adhesive(materials[said])
    value = said.value if isinstance(said, Quantity) else said
    ending = suffix(key.name)
    return value if ending is None else value * SUFFIXES[ending][0]


def build_options(
    keys: Sequence[OptionKeys],
    damage: Sequence[DamageSection],
    site: Site,
    materials: Mapping[str, Material],
    panel: PanelKeys,
) -> tuple[Option, ...]:
    """The options; the regions of their patches and tapes are kept for the mesh.

    A patch over a damage reaches beyond its measured border by the overlap.
    """
    built = []
    for i, option in enumerate(keys):
        actions = tuple(
            _action(action, f"option[{i}].actions[{j}]", damage, site, materials, panel)
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
    panel: PanelKeys,
) -> Action:
    match keys:
        case RefitAction():
            return Refit(keys.name, keys.fastener)
        case TapeAction():
            thickness = None if keys.thickness_mm is None else 1e-3 * keys.thickness_mm.value
            return Tape(keys.name, _covered(keys, path, damage, site), 1e-3 * keys.areal_mass_g_per_m2, thickness)
        case InsertAction():
            return Insert(
                keys.name, keys.fastener, keys.method, keys.rating_shear_N, keys.rating_pull_N, keys.stiffness_share,
                keys.cured_share.value, _band(keys.cured_share),
            )  # fmt: skip
        case InjectionAction() | StopDrillAction():
            return NoCredit(keys.name, keys.kind, keys.over)
        case PatchAction() | DoublerAction() | TwoSidedAction() | CorePlugAction():
            return _patch(keys, _covered(keys, path, damage, site), materials, panel)
        case ScarfAction() | SteppedAction():
            return _let_in(keys, damage, site, materials, panel)
    return Spare(keys.name, build_damage(keys.damage, site, materials, panel, f"{path}.damage"))


def _patch(
    keys: PatchAction | DoublerAction | TwoSidedAction | CorePlugAction,
    region: str,
    materials: Mapping[str, Material],
    panel: PanelKeys,
) -> PatchRepair:
    plug = None
    if isinstance(keys, TwoSidedAction | CorePlugAction) and keys.plug is not None:
        plug = _core(materials[keys.plug])
    both = isinstance(keys, TwoSidedAction)
    side = "last ply" if isinstance(keys, TwoSidedAction) else keys.side
    cut_out = isinstance(keys, CorePlugAction) or keys.cut_out
    return PatchRepair(
        keys.name, region, Laminate(parse_stack(keys.stack, materials, keys.material or panel.material)),
        _adhesive(materials[keys.adhesive]), 1e-3 * keys.bond_thickness_mm, 1 if side == "last ply" else -1,
        keys.cured_share.value, _band(keys.cured_share),
        damage_region(keys.over) if cut_out and keys.over is not None else None, both, plug,
        isinstance(keys, DoublerAction),
    )  # fmt: skip


def _let_in(
    keys: LetIn, damage: Sequence[DamageSection], site: Site, materials: Mapping[str, Material], panel: PanelKeys
) -> ScarfRepair:
    """A scarf or stepped patch; its taper is as deep as the skin of the panel's own stack."""
    skin, new = let_in_plies(keys, materials, panel)
    slope = keys.scarf_ratio if isinstance(keys, ScarfAction) else None
    step = 1e-3 * keys.step_mm if isinstance(keys, SteppedAction) else None
    run = slope * skin.thickness if slope is not None else (step or 0.0) * len(skin.plies)
    index, found = _damage_of(damage, keys.over)
    grown = run + 1e-3 * found.tolerance_mm
    name = f"patch {keys.name}"
    size = size_at(max(run, 5e-3), site.coarse)
    region = site.add(region_of(found.area, name, site.ground, f"damage[{index}].area", size, grown))
    return ScarfRepair(
        keys.name, region, new, _adhesive(materials[keys.adhesive]), 1e-3 * keys.bond_thickness_mm, _side(keys),
        keys.cured_share.value, _band(keys.cured_share), damage_region(keys.over), slope, step,
    )  # fmt: skip


def let_in_plies(keys: LetIn, materials: Mapping[str, Material], panel: PanelKeys) -> tuple[Laminate, Laminate]:
    """The skin of the panel's own stack that plies are let into, and the new plies from the bottom outwards.

    Raises InputError for fewer new plies than they replace, and for a core that lies bare.
    """
    side = _side(keys)
    skin = near_skin(Laminate(parse_stack(panel.stack, materials, panel.material)), side)
    if keys.stack is not None:
        new = Laminate(parse_stack(keys.stack, materials, keys.material or panel.material))
    else:
        new = Laminate(skin.plies if side > 0 else skin.plies[::-1])
    if len(new.plies) < len(skin.plies):
        raise InputError(
            f"{keys.name}: {len(new.plies)} new plies take the place of {len(skin.plies)}",
            where="option.actions.stack", allowed=f"{len(skin.plies)} plies or more", do="add plies",
        )  # fmt: skip
    return skin, new


def _side(keys: LetIn) -> Literal[1, -1]:
    return 1 if keys.side == "last ply" else -1


def _adhesive(found: Material) -> Adhesive:
    if not isinstance(found, Adhesive):
        raise TypeError(f"{found.name} is not an adhesive, which the checks of a case refuse")
    return found


def _core(found: Material) -> CoreMaterial:
    if not isinstance(found, CoreMaterial):
        raise TypeError(f"{found.name} is not a core, which the checks of a case refuse")
    return found


def _covered(
    keys: PatchAction | DoublerAction | TwoSidedAction | CorePlugAction | TapeAction,
    path: str,
    damage: Sequence[DamageSection],
    site: Site,
) -> str:
    tape = isinstance(keys, TapeAction)
    name = f"{'tape' if tape else 'patch'} {keys.name}"
    if not isinstance(keys, CorePlugAction) and keys.area is not None:
        return site.area(keys.area, name, f"{path}.area")
    overlap = 1e-3 * (keys.overlap_mm or 0.0)
    index, found = _damage_of(damage, keys.over)
    size = site.coarse / 2 if tape else size_at(max(overlap, 5e-3), site.coarse)
    return site.add(region_of(found.area, name, site.ground, f"damage[{index}].area", size, overlap))


def _damage_of(damage: Sequence[DamageSection], name: str | None) -> tuple[int, AreaSection]:
    return next((i, d) for i, d in enumerate(damage) if d.name == name and isinstance(d, AreaSection))


def _band(quantity: Quantity) -> tuple[float, float] | None:
    return (quantity.band[0], quantity.band[1]) if quantity.band else None
