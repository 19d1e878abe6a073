"""Contradictions: what is sound key by key but cannot all be true."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from panelfem.case.checks_damage import interface_faults
from panelfem.case.checks_loads import held_faults, load_faults
from panelfem.case.checks_materials import material_faults
from panelfem.case.checks_panel import panel_faults
from panelfem.case.checks_repair import damage_faults, of_spare, option_faults, spares
from panelfem.case.checks_stacks import stack_faults
from panelfem.case.draft import Draft, Names, named, twice
from panelfem.case.faults import nearest
from panelfem.case.plan import plan_of
from panelfem.case.schema import CLASS_FACTORS, Safety, Stakes
from panelfem.errors import Fault


def contradictions(draft: Draft, document: Mapping[str, Any], folder: Path) -> list[Fault]:
    """All contradictions in what is sound of a case; `folder` is where the files it names are looked for."""
    names = Names.of(document)
    plan = plan_of(draft.panel.outline) if draft.panel is not None and draft.panel.outline is not None else None
    raw_panel = document.get("panel")
    faults = [*stakes_faults(draft.case, draft.safety), *_safety(draft.safety)]
    for name in ("damage", "option", "load"):
        faults += twice(named(document.get(name)), name, name)
    if isinstance(raw_panel, dict):
        for name, thing in (
            ("fasteners", "fastener"),
            ("zones", "zone"),
            ("edges", "edge"),
            ("masses", "mass"),
            ("held_areas", "held area"),
        ):
            faults += twice(named(raw_panel.get(name)), f"panel.{name}", thing)
    of_materials = list(material_faults(draft))
    faults += of_materials
    if not of_materials and not set(names.materials) - set(draft.materials):
        of_stacks = list(stack_faults(draft))
        faults += of_stacks if of_stacks else interface_faults(draft)
        for path, spare in () if of_stacks else spares(draft):
            faults += (replace(f, path=f"{path}.{f.path}") for f in interface_faults(of_spare(draft, spare)))
    if draft.panel is not None:
        faults += panel_faults(draft.panel, names, plan, folder)
    faults += damage_faults(draft, names, plan)
    faults += option_faults(draft, names, plan)
    if draft.held is not None:
        faults += held_faults(draft.held, "held", draft, names, folder)
    for i, load in draft.load:
        faults += load_faults(load, f"load[{i}]", draft, names, plan, folder)
    faults += _settings(draft)
    return faults


def stakes_faults(head: Stakes | None, safety: Safety | None) -> Iterator[Fault]:
    """Faults of the factor asked for, and of the consequence against the safety answers."""
    if head is not None:
        usual = CLASS_FACTORS[head.consequence]
        if head.required_factor is not None and head.required_factor < usual:
            yield Fault(
                "case.required_factor",
                f"{head.required_factor:g} is below the factor of class {head.consequence!r}",
                f"{usual:g} or more",
                "ask for at least the factor of the class, or leave the key out",
            )
        if (head.required_factor is None) != (head.required_factor_source is None):
            lacking = "required_factor_source" if head.required_factor_source is None else "required_factor"
            yield Fault(
                f"case.{lacking}",
                "is missing",
                "both keys, or neither",
                f"write {lacking}, or leave both out",
            )
        if safety is not None and head.consequence == "high voltage" and not safety.covers_high_voltage:
            yield Fault(
                "safety.covers_high_voltage",
                'is false, but the consequence is "high voltage"',
                'true with consequence = "high voltage"',
                "answer the question again, or choose another consequence",
            )


def _safety(safety: Safety | None) -> Iterator[Fault]:
    if safety is None or safety.such_a_part is None:
        return
    if not safety.fastened_to_such_a_part and safety.protects_people == "no":
        yield Fault(
            "safety.such_a_part",
            "a part is named, but the panel is said not to be fastened to one",
            "fastened_to_such_a_part = true with a name",
            "answer the question again, or take the name out",
        )


def _settings(draft: Draft) -> Iterator[Fault]:
    if draft.settings is None:
        return
    if "accuracy" in draft.settings.model_fields_set and draft.settings.element_size_mm is not None:
        yield Fault(
            "settings.accuracy",
            "contradicts element_size_mm: a mesh of a given element size is not adapted to an accuracy",
            "accuracy or element_size_mm, not both",
            "leave one of the two out",
        )
    from panelfem.failure import CRITERIA

    for kind in ("unidirectional", "fabric"):
        key = f"{kind}_criterion"
        name = getattr(draft.settings, key)
        if name is None:
            continue
        valid = [n for n, criterion in CRITERIA.items() if kind in criterion.applies_to]
        if name not in valid:
            what = f"{name!r} is no criterion for {kind} plies"
            yield Fault(f"settings.{key}", what, ", ".join(f'"{v}"' for v in valid), nearest(name, valid))
        elif len(CRITERIA[name].modes) == 1 and not draft.settings.criteria_without_mode_govern:
            what = f"{name!r} names no mode, so that no failure of {kind} plies would govern release"
            told = "a criterion that names modes, or criteria_without_mode_govern = true"
            yield Fault(f"settings.{key}", what, told, "set criteria_without_mode_govern = true, or leave this out")
