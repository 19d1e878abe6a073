"""From ``[[damage]]`` and ``[[option]]`` to records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

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
from panelfem.case.schema_panel import Panel as PanelKeys
from panelfem.case.schema_repair import (
    CorePlugAction,
    DoublerAction,
    InjectionAction,
    InsertAction,
    LetIn,
    ScarfAction,
    SteppedAction,
    StopDrillAction,
    TwoSidedAction,
)
from panelfem.case.site import Site
from panelfem.damage.records import Damage, Delamination, Hole, MissingFastener, Softened
from panelfem.errors import InputError
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import Adhesive, CoreMaterial, Material
from panelfem.repair.records import (
    Action,
    Insert,
    NoCredit,
    Option,
    PatchRepair,
    Refit,
    ScarfRepair,
    Spare,
    Tape,
)
from panelfem.repair.skins import near_skin

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
    damage: Sequence[DamageKeys],
    site: Site,
    materials: Mapping[str, Material],
    panel: PanelKeys,
) -> Action:
    match keys:
        case RefitAction():
            return Refit(keys.name, keys.fastener)
        case TapeAction():
            return Tape(keys.name, _covered(keys, path, damage, site), 1e-3 * keys.areal_mass_g_per_m2)
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
    return Spare(keys.name)


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
    keys: LetIn, damage: Sequence[DamageKeys], site: Site, materials: Mapping[str, Material], panel: PanelKeys
) -> ScarfRepair:
    """A scarf or stepped patch; its taper is as deep as the skin of the panel's own stack."""
    side: Literal[1, -1] = 1 if keys.side == "last ply" else -1
    skin = near_skin(Laminate(parse_stack(panel.stack, materials, panel.material)), side)
    if keys.stack is not None:
        new = Laminate(parse_stack(keys.stack, materials, keys.material or panel.material))
    else:
        new = Laminate(skin.plies if side > 0 else skin.plies[::-1])
    slope = keys.scarf_ratio if isinstance(keys, ScarfAction) else None
    step = 1e-3 * keys.step_mm if isinstance(keys, SteppedAction) else None
    if len(new.plies) < len(skin.plies):
        raise InputError(
            f"{keys.name}: {len(new.plies)} new plies take the place of {len(skin.plies)}",
            where="option.actions.stack", allowed=f"{len(skin.plies)} plies or more", do="add plies",
        )  # fmt: skip
    run = slope * skin.thickness if slope is not None else (step or 0.0) * len(skin.plies)
    index, found = _damage_of(damage, keys.over)
    grown = run + 1e-3 * found.tolerance_mm
    name = f"patch {keys.name}"
    size = size_at(max(run, 5e-3), site.coarse)
    region = site.add(region_of(found.area, name, site.ground, f"damage[{index}].area", size, grown))
    return ScarfRepair(
        keys.name, region, new, _adhesive(materials[keys.adhesive]), 1e-3 * keys.bond_thickness_mm, side,
        keys.cured_share.value, _band(keys.cured_share), damage_region(keys.over), slope, step,
    )  # fmt: skip


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
    damage: Sequence[DamageKeys],
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


def _damage_of(damage: Sequence[DamageKeys], name: str | None) -> tuple[int, AreaDamage]:
    return next((i, d) for i, d in enumerate(damage) if d.name == name and isinstance(d, AreaDamage))


def _band(quantity: Quantity) -> tuple[float, float] | None:
    return (quantity.band[0], quantity.band[1]) if quantity.band else None
