"""Contradictions in ``[[damage]]`` and ``[[option]]``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from panelfem.case.checks_damage import covering_faults
from panelfem.case.checks_panel import area_faults, unknown_fastener
from panelfem.case.draft import Draft, Names, one_of, twice
from panelfem.case.faults import nearest
from panelfem.case.schema_found import AreaSection, DamageSection, FasteningSection
from panelfem.case.schema_option import (
    ActionKeys,
    OptionKeys,
    RefitAction,
    SpareAction,
    TapeAction,
)
from panelfem.case.schema_repair import CorePlugAction, InsertAction, LaidOn, LetIn, NoCreditAction
from panelfem.damage import AreaDamage, Damage, FasteningDamage
from panelfem.damage.kind import Covering
from panelfem.errors import Fault
from panelfem.panel import Panel
from panelfem.repair.records import Bonded, Option, ScarfRepair

if TYPE_CHECKING:
    import shapely


def damage_faults(draft: Draft, names: Names, plan: shapely.Polygon | None) -> Iterator[Fault]:
    """Faults of the damage: fasteners that are not there, areas off the panel, nothing left that holds."""
    on_mesh = draft.panel is not None and draft.panel.mesh is not None
    seen: dict[str, str] = {}
    gone: set[str] = set()
    last = 0
    for i, damage in draft.damage:
        path = f"damage[{i}]"
        if isinstance(damage, AreaSection):
            yield from area_faults(damage.area, f"{path}.area", plan, on_mesh)
            yield from covering_faults(damage, path)
        if not isinstance(damage, FasteningSection):
            continue
        yield from unknown_fastener(damage.fastener, names, f"{path}.fastener")
        if damage.fastener in seen:
            what = f"fastener {damage.fastener!r} is {seen[damage.fastener]} already"
            yield Fault(f"{path}.fastener", what, "each fastener once", "take one of the two out")
        seen.setdefault(damage.fastener, "missing" if damage.kind == "missing fastener" else f"a {damage.kind}")
        if issubclass(damage.record, FasteningDamage) and damage.record.may_let_go:
            last = i
            gone.add(damage.fastener)
    panel = draft.panel
    alone = panel is not None and bool(panel.fasteners) and not panel.edges and not panel.held_areas
    if alone and panel is not None and gone >= {f.name for f in panel.fasteners}:
        what = "with this one gone nothing holds the panel: no load can be answered"
        yield Fault(f"damage[{last}].fastener", what, "at least one fixing left", "check which fasteners are missing")


def spares(draft: Draft) -> Iterator[tuple[str, SpareAction]]:
    """The spares among the actions, each with its path."""
    for i, option in draft.option:
        for j, action in enumerate(option.actions):
            if isinstance(action, SpareAction):
                yield f"option[{i}].actions[{j}]", action


def of_spare(draft: Draft, spare: SpareAction) -> Draft:
    """The draft as if the damage of a spare were that of the panel."""
    return replace(draft, damage=list(enumerate(spare.damage)))


def _of_fixing(damage: DamageSection) -> bool:
    return isinstance(damage, FasteningSection)


def option_faults(draft: Draft, names: Names, plan: shapely.Polygon | None) -> Iterator[Fault]:
    """Faults of the options: what they cover, refit and combine."""
    missing = [
        d.fastener
        for _, d in draft.damage
        if isinstance(d, FasteningSection) and issubclass(d.record, FasteningDamage) and d.record.refits
    ]
    on_mesh = draft.panel is not None and draft.panel.mesh is not None
    # an earlier repair is a patch by the name of its damage
    patches = {d.name: f"damage[{i}]" for i, d in draft.damage if issubclass(d.record, Covering)}
    for path, spare in spares(draft):
        yield from twice(((k, d.name) for k, d in enumerate(spare.damage)), f"{path}.damage", "damage")
        for k in (k for k, d in enumerate(spare.damage) if d.name in names.damage):
            what = f"damage of the panel is called {spare.damage[k].name!r} as well"
            yield Fault(f"{path}.damage[{k}].name", what, "a name of its own", "rename one of them")
        for fault in damage_faults(of_spare(draft, spare), names, plan):
            yield replace(fault, path=f"{path}.{fault.path}")
    for i, option in draft.option:
        path = f"option[{i}].actions"
        for j, action in enumerate(option.actions):
            if isinstance(action, TapeAction | LaidOn | CorePlugAction | LetIn):
                if action.name in patches:
                    what = f"{patches[action.name]} is called {action.name!r} as well"
                    yield Fault(f"{path}[{j}].name", what, "a name of its own", "rename one of them")
                patches.setdefault(action.name, f"{path}[{j}]")
        yield from _together(option, path)
        for j, action in enumerate(option.actions):
            yield from _action(action, f"{path}[{j}]", draft, names, missing, plan, on_mesh)


def _together(option: OptionKeys, path: str) -> Iterator[Fault]:
    seen: set[str] = set()
    for j, action in enumerate(option.actions):
        if action.name in seen:
            what = f"another action of the option is called {action.name!r}"
            yield Fault(f"{path}[{j}].name", what, "a name of its own", "rename one of them")
        seen.add(action.name)
        if isinstance(action, SpareAction) and len(option.actions) > 1:
            what = "the spare panel goes on, so nothing else is done to this one"
            yield Fault(f"{path}[{j}].kind", what, "a spare alone", "make it an option of its own")


def _action(
    action: ActionKeys,
    path: str,
    draft: Draft,
    names: Names,
    missing: list[str],
    plan: shapely.Polygon | None,
    on_mesh: bool,
) -> Iterator[Fault]:
    if isinstance(action, RefitAction):
        yield from unknown_fastener(action.fastener, names, f"{path}.fastener")
        if action.fastener in names.fasteners and action.fastener not in missing:
            what = f"fastener {action.fastener!r} is not among the damage, so it need not be refitted"
            allowed = ", ".join(missing) or "no fastener is missing"
            yield Fault(f"{path}.fastener", what, allowed, "add it to the damage, or take the action out")
    if isinstance(action, InsertAction):
        yield from unknown_fastener(action.fastener, names, f"{path}.fastener")
    if isinstance(action, TapeAction | LaidOn):
        yield from _cover(action, path, draft, names, plan, on_mesh)
    elif isinstance(action, CorePlugAction | LetIn | NoCreditAction):
        yield from _of_damage(action.over, path, draft, names)
    if isinstance(action, CorePlugAction):
        yield from _reach(action.over, action.overlap_mm, path, draft)
    if isinstance(action, LaidOn | CorePlugAction | LetIn | InsertAction):
        yield from _cure(action.cure_temperature_C, path, draft)
    if isinstance(action, LaidOn) and action.cut_out and action.over is None:
        what = "nothing says what is cut out"
        yield Fault(
            f"{path}.cut_out",
            what,
            "with over = the damage that is cut out",
            "name the damage, or cut_out = false",
        )


def _cover(
    action: TapeAction | LaidOn,
    path: str,
    draft: Draft,
    names: Names,
    plan: shapely.Polygon | None,
    on_mesh: bool,
) -> Iterator[Fault]:
    yield from one_of(action, path, (("over", "overlap_mm"), ("area",)), f"what the {action.kind} covers")
    yield from area_faults(action.area, f"{path}.area", plan, on_mesh)
    if action.over is not None and action.overlap_mm is None:
        yield Fault(f"{path}.overlap_mm", "is missing", "with over", "say how far it reaches beyond the damage")
    if action.over is None and action.overlap_mm is not None:
        yield Fault(f"{path}.overlap_mm", "means nothing without over", "with over = a damage", "take it out")
    if not isinstance(action, TapeAction):
        yield from _reach(action.over, action.overlap_mm, path, draft)
    if action.over is not None:
        yield from _of_damage(action.over, path, draft, names)


def _reach(over: str | None, overlap: float | None, path: str, draft: Draft) -> Iterator[Fault]:
    """A fault if a patch reaches no farther than the damage may."""
    tolerance = next((getattr(d, "tolerance_mm", 0.0) for _, d in draft.damage if d.name == over), 0.0)
    if overlap is not None and overlap <= tolerance:
        what = f"reaches no farther than the tolerance of the damage, {tolerance:g} mm"
        yield Fault(f"{path}.overlap_mm", what, f"more than {tolerance:g} mm", "make the patch larger")


def _of_damage(over: str, path: str, draft: Draft, names: Names) -> Iterator[Fault]:
    """A fault if there is no such damage, or it has no area."""
    if over not in names.damage:
        what = f"there is no damage {over!r}"
        yield Fault(f"{path}.over", what, ", ".join(names.damage) or "no damage is given", nearest(over, names.damage))
    elif kind := next((d.kind for _, d in draft.damage if _of_fixing(d) and d.name == over), ""):
        what = f"{over!r} is a {kind}: there is no area to cover"
        yield Fault(f"{path}.over", what, "damage that has an area", "refit the fastener, or give the area")


def _cure(temperature: float | None, path: str, draft: Draft) -> Iterator[Fault]:
    """A fault if a cure is hotter than the panel was cured itself, where both are known."""
    free = draft.panel.stress_free_temperature_C if draft.panel is not None else None
    if temperature is None or free is None:
        return
    stands = free.band[0] if free.band else free.value
    if temperature > stands:
        what = f"{temperature:g} °C is hotter than the panel was cured itself ({stands:g} °C)"
        yield Fault(
            f"{path}.cure_temperature_C", what, f"at most {stands:g} °C",
            "cure cooler and longer; the supplier's manual says what the panel stands",
        )  # fmt: skip


def reach_faults(options: Sequence[Option], panel: Panel, damage: Sequence[Damage] = ()) -> Iterator[Fault]:
    """Faults of bonded repairs on the undamaged panel: a patch over an earlier one that is left, and a taper that runs
    over an edge or under a fixing, where it bears nothing.
    """
    mesh = panel.mesh
    for i, option in enumerate(options):
        cut = {action.cut_out for action in option.actions if isinstance(action, Bonded)}
        left = [d for d in damage if isinstance(d, AreaDamage) and not d.takes_patch and d.region not in cut]
        for j, action in enumerate(option.actions):
            if not isinstance(action, Bonded):
                continue
            for found in left:
                if np.isin(mesh.triangles[mesh.inside[action.region]], mesh.triangles[mesh.inside[found.region]]).any():
                    yield Fault(
                        f"option[{i}].actions[{j}]", f"{action.name!r} lies on {found.name}, which is left in: what a "
                        f"patch on a patch does is not computed", f"{found.name} cut out first, or a patch clear of it",
                        f"write over = {found.name!r} and cut_out = true, or move the patch",
                    )  # fmt: skip
            if not isinstance(action, ScarfRepair):
                continue
            inside = mesh.inside[action.region]
            over = np.isin(mesh.boundary_edges, mesh.triangles[inside]).all(axis=1).any()
            under = [f.name for f in panel.fasteners if f.fitted and inside[mesh.nearest(f.place[None])[0][0]]]
            if over or under:
                where = f"under {', '.join(under)}" if under else "over an edge of the panel"
                yield Fault(
                    f"option[{i}].actions[{j}]", f"the taper of {action.name!r} runs {where}",
                    "sound laminate all round", "make it shorter, or take a patch that lies on the skin",
                )  # fmt: skip
