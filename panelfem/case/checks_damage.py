"""What contradicts damage: interfaces no stack has, and what only the mesh shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from panelfem.case.checks_materials import materials_of
from panelfem.case.draft import Draft
from panelfem.case.regions import smallest_half_width
from panelfem.case.schema_found import AreaSection
from panelfem.damage import AreaDamage, Damage
from panelfem.damage.kind import Covering
from panelfem.damage.kinds.delamination import interface_fault
from panelfem.errors import Fault
from panelfem.laminate import parse_stack
from panelfem.panel import Panel
from panelfem.repair.records import Option, Spare


def interface_faults(draft: Draft) -> Iterator[Fault]:
    """Faults of interfaces that no stack of the panel has between two of its plies; stacks have to be sound."""
    panel = draft.panel
    found = [(i, damage) for i, damage in draft.damage if damage.kind == "delamination"]
    if panel is None or not found:
        return
    materials = materials_of(draft.materials)
    stacks = [(panel.stack, panel.material), *((z.stack, z.material or panel.material) for z in panel.zones)]
    plies = [parse_stack(stack, materials, material) for stack, material in stacks]
    for i, damage in found:
        faults = [interface_fault(p, getattr(damage, "interface")) for p in plies]  # noqa: B009 (made from the record)
        if faults[0] is not None and all(faults):
            yield replace(faults[0], path=f"damage[{i}].interface")


def covering_faults(damage: AreaSection, path: str) -> Iterator[Fault]:
    """Faults of what was bonded on over a cut-out that it does not cover, or that has no width."""
    if not issubclass(damage.record, Covering):
        return
    cut_out, overlap = (getattr(damage, key) for key in ("cut_out", "overlap_mm"))
    if not cut_out:
        if overlap > 0.0:
            do = "say that it was cut out, or leave overlap_mm out"
            yield Fault(f"{path}.overlap_mm", "means nothing where nothing was cut out", "with cut_out = true", do)
        return
    widest = 1e3 * smallest_half_width(damage.area) + damage.tolerance_mm
    if not damage.tolerance_mm < overlap < widest:
        what = f"{overlap:g} mm with a tolerance of {damage.tolerance_mm:g} mm leaves no bond, or no cut-out"
        allowed = f"more than {damage.tolerance_mm:g} mm, less than {widest:.4g} mm"
        yield Fault(f"{path}.overlap_mm", what, allowed, "measure it again; cut_out = false if nothing was cut out")


def found_faults(damage: Sequence[Damage], panel: Panel, path: str = "damage") -> Iterator[Fault]:
    """Faults of the damage on the undamaged panel; `path`: where it is listed."""
    areas = {d.name: panel.mesh.inside[d.region] for d in damage if isinstance(d, AreaDamage)}
    for i, found in enumerate(damage):
        others = {name: area for name, area in areas.items() if name != found.name}
        for fault in found.faults(panel, others):
            yield replace(fault, path=f"{path}[{i}].{fault.path}")


def spare_faults(options: Sequence[Option], panel: Panel) -> Iterator[Fault]:
    """Faults of the damage of spares, which are as the undamaged panel but for it."""
    for i, option in enumerate(options):
        for j, action in enumerate(option.actions):
            if isinstance(action, Spare):
                yield from found_faults(action.damage, panel, f"option[{i}].actions[{j}].damage")
