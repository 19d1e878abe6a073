"""Where plies may have come apart: between two plies of one laminate, away from edges and other damage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from panelfem.case.build_repair import AreaDamage, damage_region
from panelfem.case.checks_materials import materials_of
from panelfem.case.draft import Draft
from panelfem.case.schema_damage import DamageKeys, DelaminationDamage
from panelfem.errors import Fault
from panelfem.laminate import Ply, parse_stack
from panelfem.material import Adhesive, CoreMaterial
from panelfem.panel import Panel


def interface_faults(draft: Draft) -> Iterator[Fault]:
    """Faults of interfaces that no stack of the panel has between two of its plies; stacks have to be sound."""
    panel = draft.panel
    found = [(i, damage) for i, damage in draft.damage if isinstance(damage, DelaminationDamage)]
    if panel is None or not found:
        return
    materials = materials_of(draft.materials)
    stacks = [(panel.stack, panel.material), *((z.stack, z.material or panel.material) for z in panel.zones)]
    plies = [parse_stack(stack, materials, material) for stack, material in stacks]
    for i, damage in found:
        faults = [interface_fault(p, damage.interface, f"damage[{i}].interface") for p in plies]
        if faults[0] is not None and all(faults):
            yield faults[0]


def interface_fault(plies: Sequence[Ply], after: int, path: str) -> Fault | None:
    """The fault of an interface after a ply, counted from 1: not inside the stack, or at a core."""
    if after >= len(plies):
        if len(plies) == 1:
            return Fault(path, "the stack has one ply", "two plies or more", "check the stack there")
        what = f"there is no interface after ply {after}: the stack has {len(plies)} plies"
        return Fault(path, what, f"1 to {len(plies) - 1}", "count the plies from the face of the first")
    for way, names in ((range(after, len(plies)), "above"), (range(after - 1, -1, -1), "below")):
        beside = next((plies[k] for k in way if not isinstance(plies[k].material, Adhesive)), None)
        if beside is not None and isinstance(beside.material, CoreMaterial):
            what = f"the core {beside.material.name!r} lies right {names} the interface: that is a disbond"
            allowed = "an interface between two plies; a disbond of skin and core is not assessed yet"
            return Fault(path, what, allowed, "check the depth, or call it a softened area")
    return None


def delamination_faults(damage: Sequence[DamageKeys], panel: Panel) -> Iterator[Fault]:
    """Faults of delaminations on the undamaged panel: areas over several laminates, at an edge or at other damage."""
    triangles, inside = panel.mesh.triangles, panel.mesh.inside
    areas = {d.name: inside[damage_region(d.name)] for d in damage if isinstance(d, AreaDamage)}
    for i, found in enumerate(damage):
        if not isinstance(found, DelaminationDamage):
            continue
        area = areas[found.name]
        laminates = list(dict.fromkeys(panel.laminates[k] for k in np.unique(panel.laminate_of[area])))
        if len(laminates) > 1:
            what = f"the area lies in {len(laminates)} laminates, with its tolerance of {found.tolerance_mm:g} mm"
            do = "measure it again, or call it a softened area"
            yield Fault(f"damage[{i}].area", what, "an area within one zone of the panel", do)
        elif (fault := interface_fault(laminates[0].plies, found.interface, f"damage[{i}].interface")) is not None:
            yield fault
        if np.isin(triangles[area], panel.mesh.boundary_edges).any():
            what = "the area reaches the edge of the panel or of an opening: the plies over it are not held there"
            do = "measure it again, or call it a softened area"
            yield Fault(f"damage[{i}].area", what, "an area off every edge, with its tolerance", do)
        for name, other in areas.items():
            if name != found.name and np.isin(triangles[area], triangles[other]).any():
                what = f"{found.name} and {name} overlap or touch, with their tolerances: what both do is not computed"
                do = "call the two together a softened area"
                yield Fault(f"damage[{i}].area", what, "an area apart from other damage", do)
