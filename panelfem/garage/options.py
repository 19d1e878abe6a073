"""From a kit, a panel and its damage to the options of a case document, each with its task clock."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from panelfem.case.fields import Quantity
from panelfem.case.schema_area import Area, Disc, Polygon
from panelfem.case.schema_found import AreaSection, DamageSection, FasteningSection
from panelfem.damage import FasteningDamage
from panelfem.damage.kind import Notch
from panelfem.garage.cure import cured_share, no_credit
from panelfem.garage.records import Step
from panelfem.garage.schema_kit import CureTable, Kit, Patch
from panelfem.garage.schema_panel import Allowed, Permission, PreparedPanel
from panelfem.garage.statics import Spread

Table = dict[str, Any]
#: What each action needs leave for.
_LEAVE = {"patch": "repair", "tape": "tape", "refit": "refit", "spare": "spare"}
#: From the strictest; of several the first counts.
_STRICT: tuple[Permission, ...] = (False, "ask", True)


@dataclass(frozen=True)
class Options:
    """Option tables, the steps of each by its name, and what is not offered, and why."""

    tables: list[Table] = field(default_factory=list)
    steps: dict[str, tuple[Step, ...]] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)

    def add(
        self,
        name: str,
        actions: list[Table],
        steps: Sequence[Step],
        panel: PreparedPanel,
        note: str = "",
        ask: str = "",
    ) -> None:
        """One more option; steps that take no time are left out.  `ask`: what somebody must be asked before."""
        self.steps[name] = tuple(step for step in steps if step.minutes > 0.0)
        allowed, why = permitted(panel, [a["kind"] for a in actions])
        self.tables.append(
            {
                "name": name,
                "minutes": sum(step.minutes for step in self.steps[name]),
                "permitted": "ask" if ask and allowed else allowed,
                "note": "; ".join(part for part in (note, ask, why) if part),
                "actions": actions,
            }
        )


def compose_options(kit: Kit, panel: PreparedPanel, damage: Sequence[DamageSection], source: str) -> Options:
    """The options a kit offers: tape on holes, each patch on each face over every damage it can cover, missing
    fixings put back, the spare.  `source` is the label of the kit file.
    """
    made = Options()
    clock = _Clock(kit, source)
    areas = [d for d in damage if isinstance(d, AreaSection)]
    missing = [d for d in damage if isinstance(d, FasteningSection) and _refits_end(d)]
    if len(missing) > kit.kit.fixings:
        made.left_out.append(
            f"the missing fixings are not put back: {len(missing)} are missing, the kit holds {kit.kit.fixings}"
        )
        missing = []
    holes = [d for d in areas if issubclass(d.record, Notch)]
    if kit.tape is not None and holes:
        name = "tape"
        actions = [
            {"kind": "tape", "name": f"tape: {d.name}", "over": d.name} | kit.tape.model_dump(exclude_unset=True)
            for d in holes
        ]
        n = len(holes)
        steps = [*clock("access", ("clean", n), ("tape", n)), *_closing(clock, missing)]
        made.add(name, actions + _refits(missing, name), steps, panel)
    for patch in kit.patch:
        _patches(made, kit, patch, panel, areas, missing, clock)
    if missing:
        made.add("refit", _refits(missing, "refit"), [*clock("access"), *_closing(clock, missing)], panel)
    if panel.prepared.spares > 0:
        spare: list[Table] = [{"kind": "spare", "name": "spare panel"}]
        steps = clock("access", "spare", "scrutineer")
        made.add("spare", spare, steps, panel, f"{panel.prepared.spares} at hand")
    return made


def _patches(
    made: Options,
    kit: Kit,
    patch: Patch,
    panel: PreparedPanel,
    areas: Sequence[Any],
    missing: Sequence[FasteningSection],
    clock: _Clock,
) -> None:
    """The options of one patch, or why there is none."""
    table = next(c for c in kit.cure if c.material == patch.adhesive)
    service, free = _hottest(panel.panel.service_temperature_C), _coolest(panel.panel.stress_free_temperature_C)
    if why := no_credit(table, patch, service):
        made.left_out.append(f"patch {patch.name!r} is not offered: {why}")
        return
    if free is not None and patch.cure_temperature_C > free:
        made.left_out.append(
            f"patch {patch.name!r} is not offered: its cure at {patch.cure_temperature_C:g} °C is hotter than the "
            f"panel was cured itself ({free:g} °C)"
        )
        return
    bare = [d for d in areas if patch.cut_out or d.record.takes_patch]
    covered = [d for d in bare if needed_mm(d, patch) <= patch.largest_mm]
    for d in areas:
        if d not in bare:
            made.left_out.append(f"patch {patch.name!r} does not cover {d.name!r}, which it does not cut out first")
        elif d not in covered:
            made.left_out.append(
                f"patch {patch.name!r} does not cover {d.name!r}: {needed_mm(d, patch):.4g} mm are needed, "
                f"{patch.largest_mm:g} mm can be cut"
            )
    if not covered:
        return
    cool = free is not None or (service is not None and patch.cure_temperature_C <= service)
    ask = "" if cool else f"ask the supplier whether the panel stands {patch.cure_temperature_C:g} °C"
    for side in patch.sides:
        name = patch.name if len(patch.sides) == 1 else f"{patch.name}, {side} side"
        actions = [_patch(patch, table, d, side, name) for d in covered]
        n = len(covered)
        first = clock("access", ("cut", n * patch.cut_out), "dry", ("abrade", n), ("clean", n), ("bond", n))
        cure = clock.step("cure", patch.cure_min)
        steps = [*first, cure, *clock("cool", ("tap", n)), *_closing(clock, missing)]
        note = "" if patch.note == "none" else patch.note
        made.add(name, actions + _refits(missing, name), steps, panel, note, ask)


def _hottest(given: Quantity | None) -> float | None:
    return None if given is None else Spread.of(given).high


def _coolest(given: Quantity | None) -> float | None:
    return None if given is None else Spread.of(given).low


def _patch(patch: Patch, table: CureTable, damage: Any, side: str, name: str) -> Table:
    share = cured_share(table, patch.cure_temperature_C, patch.cure_min.value)
    assert share is not None  # no credit otherwise
    cured: Table = {
        "value": round(share, 4),
        "basis": table.basis,
        "source": f"{table.source}: {patch.cure_min.value:g} min at {patch.cure_temperature_C:g} °C",
    }
    if scatter := 0.01 * table.scatter_percent:
        cured["band"] = [round(max(share * (1 - scatter), 0.01), 4), round(min(share * (1 + scatter), 1.0), 4)]
    keys = ("overlap_mm", "stack", "material", "adhesive", "bond_thickness_mm")
    return (
        {"kind": "patch", "name": f"{name}: {damage.name}", "over": damage.name}
        | {key: getattr(patch, key) for key in keys}
        | {"side": side, "cured_share": cured, "cut_out": patch.cut_out}
    )


def needed_mm(damage: Any, patch: Patch) -> float:
    """The greatest dimension in plan (mm) of a patch over a damage: the damage, its tolerance and the overlap."""
    area: Area = damage.area
    tolerance: float = damage.tolerance_mm
    if isinstance(area, Disc):
        size: float = area.diameter_mm
    elif isinstance(area, Polygon):
        size = max(math.dist(a, b) for a, b in combinations(area.corners_mm, 2))
    else:
        size = max(area.length_mm, area.width_mm)
    return size + 2.0 * (tolerance + patch.overlap_mm)


def permitted(panel: PreparedPanel, kinds: Sequence[str]) -> tuple[Permission, str]:
    """Whether some kinds of action are allowed by rule book and supplier, the stricter of the two, and who says so."""

    def strictest(by: Allowed) -> Permission:
        return min((getattr(by, _LEAVE[kind]) for kind in kinds), key=_STRICT.index)

    said = {"rule book": panel.rule_book, "supplier": panel.supplier}
    words = {True: "allowed", False: "not allowed", "ask": "nobody has asked"}
    why = "; ".join(f"{who}: {words[strictest(by)]} ({by.source}, {by.edition})" for who, by in said.items())
    return min((strictest(by) for by in said.values()), key=_STRICT.index), why


def _refits_end(damage: FasteningSection) -> bool:
    return issubclass(damage.record, FasteningDamage) and damage.record.refits


def _refits(missing: Sequence[FasteningSection], option: str) -> list[Table]:
    return [{"kind": "refit", "name": f"{option}: {d.fastener} back", "fastener": d.fastener} for d in missing]


def _closing(clock: _Clock, missing: Sequence[Any]) -> list[Step]:
    return clock(("fixing", len(missing)), "refit", "scrutineer")


class _Clock:
    """The minutes of a kit as steps; a step done several times is one, and says so."""

    def __init__(self, kit: Kit, source: str) -> None:
        self._minutes, self._source = kit.minutes, source

    def __call__(self, *names: str | tuple[str, int]) -> list[Step]:
        return list(self._steps(names))

    def _steps(self, names: Sequence[str | tuple[str, int]]) -> Iterator[Step]:
        for entry in names:
            name, times = (entry, 1) if isinstance(entry, str) else entry
            if times:
                yield self.step(name, getattr(self._minutes, f"{name}_min"), times)

    def step(self, name: str, each: Quantity, times: int = 1) -> Step:
        """One step, done so many times."""
        source = self._source if each.source == "case file" else each.source
        return Step(f"{name} × {times}" if times > 1 else name, times * each.value, each.basis, source)
