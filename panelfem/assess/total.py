"""The total uncertainty of a configuration's governing factor: which assumed inputs bear on it, and in which states."""

from __future__ import annotations

import math
from collections.abc import Sequence

from panelfem.assess.plan import Plan
from panelfem.assess.records import Variant
from panelfem.assess.sizes import Smaller
from panelfem.case import Case
from panelfem.damage import AreaDamage
from panelfem.disposition import (
    Assumption,
    Consequence,
    Disposition,
    Part,
    Uncertainty,
    judge_load,
    least,
    part,
    uncertainty,
)
from panelfem.reserve.records import LoadResult

_LARGER = "the damage is taken larger by its tolerance all round; measured size was not looked at"
_SIZES = "measured size, by a look, beside size plus tolerance, as assessed"


def total_uncertainty(
    case: Case,
    plan: Plan,
    variants: Sequence[Variant],
    results: Sequence[LoadResult],
    consequence: Consequence,
    found: Disposition,
    smaller: Smaller | None = None,
) -> Uncertainty | None:
    """The total uncertainty of what was `found`; `results` are the governing ones, one a load, of the `variants`.

    `smaller`: a look at it with its damage at measured size.
    """
    states = {}
    for variant in variants:
        load = least([judge_load(result, consequence) for result in variant.loads])
        states[variant.name] = load.factor / load.required * consequence.factor
    bearing = [a for a in found.assumptions if _bears(case, plan, a)]
    ratio = math.nan if smaller is None else smaller.ratio
    known = [] if math.isnan(ratio) else [part("damage size", _SIZES, (ratio,), "computed")]
    if not known and plan.damaged and any(isinstance(d, AreaDamage) for d in plan.left or case.damage):
        known = [Part("damage size", _LARGER, math.nan, math.nan, "not computed")]
    return uncertainty(found.loads, results, consequence.factor, bearing, states, known)


def _bears(case: Case, plan: Plan, a: Assumption) -> bool:
    """Whether an assumed input is one of this configuration: its materials, its damage, its option.

    Those of loads and fixings always are.
    """
    section = a.key.split(".")[0]
    if section == "materials":
        panels = [state.panel for state in plan.states]
        names = {ply.material.name for panel in panels for laminate in panel.laminates for ply in laminate.plies}
        names |= {patch.adhesive.name for panel in panels for patch in panel.patches}
        return a.key.removeprefix("materials.") in names
    if section.startswith("damage"):
        left = {d.name for d in plan.left}
        return section in [f"damage[{i}]" for i, d in enumerate(case.damage) if d.name in left]
    if section.startswith("option"):
        if a.key.rsplit(".", 1)[1] == "thickness_mm":  # of tape, which carries nothing
            return False
        return section in [f"option[{i}]" for i, option in enumerate(case.options) if option.name == plan.name]
    return True
