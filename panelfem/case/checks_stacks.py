"""Stacks: every one of a case is read, with the materials it can name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from panelfem.case.checks_materials import materials_of
from panelfem.case.draft import Draft
from panelfem.case.faults import nearest
from panelfem.case.schema_repair import CorePlugAction, LaidOn, LetIn, TwoSidedAction
from panelfem.damage.keys import keys_of
from panelfem.errors import Fault, StackError
from panelfem.laminate import parse_stack
from panelfem.material import Adhesive, CoreMaterial, Material, PlyMaterial


def stack_faults(draft: Draft) -> Iterator[Fault]:
    """Faults of stacks and of the materials they and the bonds name.

    To be asked for only where all materials of the case are sound: what is wrong with them comes first.
    """
    materials = materials_of(draft.materials)
    panel = draft.panel
    if panel is not None:
        yield from of_stack(panel.stack, panel.material, "panel", materials)
        for i, zone in enumerate(panel.zones):
            yield from of_stack(
                zone.stack,
                zone.material or panel.material,
                f"panel.zones[{i}]",
                materials,
                zone.material is None,
            )
    for i, found in draft.damage:
        for key in keys_of(found.record).values():
            if key.kind == "stack":
                material = getattr(found, "material")  # noqa: B009 (made from the key)
                default, path = material or (panel.material if panel is not None else None), f"damage[{i}]"
                if default is not None:
                    yield from of_stack(getattr(found, key.name), default, path, materials, material is None)
            elif key.kind == "adhesive":
                yield from of_adhesive(getattr(found, key.name), f"damage[{i}].{key.name}", materials)
    for i, option in draft.option:
        for j, action in enumerate(option.actions):
            if not isinstance(action, LaidOn | CorePlugAction | LetIn):
                continue
            path = f"option[{i}].actions[{j}]"
            default = action.material or (panel.material if panel is not None else None)
            if default is not None and action.stack is not None:
                yield from of_stack(action.stack, default, path, materials, action.material is None)
            yield from of_adhesive(action.adhesive, f"{path}.adhesive", materials)
            if isinstance(action, TwoSidedAction | CorePlugAction) and action.plug is not None:
                yield from _of_core(action.plug, f"{path}.plug", materials)


def _of_core(name: str, path: str, materials: Mapping[str, Material]) -> Iterator[Fault]:
    """A fault if a plug names what is not a core."""
    if not isinstance(materials.get(name), CoreMaterial):
        valid = [n for n, m in materials.items() if isinstance(m, CoreMaterial)]
        what = f"{name!r} is not a core" if name in materials else f"there is no core {name!r}"
        yield Fault(path, what, ", ".join(valid), nearest(name, valid))


def of_adhesive(name: str, path: str, materials: Mapping[str, Material]) -> Iterator[Fault]:
    """A fault if a bond names what is not an adhesive."""
    if not isinstance(materials.get(name), Adhesive):
        valid = [n for n, m in materials.items() if isinstance(m, Adhesive)]
        what = f"{name!r} is not an adhesive" if name in materials else f"there is no adhesive {name!r}"
        yield Fault(path, what, ", ".join(valid), nearest(name, valid))


def of_stack(
    text: str, default: str, path: str, materials: Mapping[str, Material], inherited: bool = False
) -> Iterator[Fault]:
    """Faults of a stack and its default material; one that is `inherited` is reported where it is given."""
    if not isinstance(materials.get(default), PlyMaterial):
        if not inherited:
            plies = [name for name, m in materials.items() if isinstance(m, PlyMaterial)]
            what = f"{default!r} is not a ply" if default in materials else f"there is no material {default!r}"
            yield Fault(f"{path}.material", what, ", ".join(plies), nearest(default, plies))
        return
    try:
        parse_stack(text, materials, default)
    except StackError as error:
        what = f"{error.what} ({error.where})" if error.where else error.what
        yield Fault(f"{path}.stack", what, error.allowed or "for example [0/45/-45/90]s", error.do or "mend the stack")
