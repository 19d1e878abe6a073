"""Which states of the panel are analysed, and for which configuration.

A state is a panel record with its notches.  With a bond, it is run again with the patch gone, and half bonded.
Configurations share states: with its patch gone, a panel that was not cut is the panel as found; and tape, which
carries nothing, adds to the mass but not to what the loads act on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from panelfem.assess.remarks import remarks
from panelfem.damage import AreaDamage, Damage, FasteningDamage, Hole, damaged, ends
from panelfem.loads import AreaForce, LoadCase
from panelfem.panel import Panel
from panelfem.repair import (
    Action,
    Bonded,
    Insert,
    Option,
    PatchRepair,
    Refit,
    ScarfRepair,
    Spare,
    StepHeight,
    cut,
    repaired,
    step_height,
)
from panelfem.reserve.sampling import CUT_LENGTH, Notch

Key = tuple[str, ...]
#: What may become of a bond, and is always run.
GONE, HALF = "patch gone", "patch half bonded"
#: The two sizes of damage, where both are run.
MEASURED, LARGER = "at measured size", "at size plus tolerance"
#: The name of the one end of damage without a bracket.
(_WHOLE,) = ends(())


@dataclass(frozen=True)
class Inputs:
    """What an assessment starts from, and what a sweep changes: the undamaged panel, its damage, options and loads.

    `measured`: the damage without its tolerance, where that is run as well; else empty.
    """

    panel: Panel
    damage: tuple[Damage, ...]
    options: tuple[Option, ...]
    loads: tuple[LoadCase, ...]
    measured: tuple[Damage, ...] = ()


@dataclass(frozen=True)
class State:
    """A state to analyse: its key, the panel and where strain is averaged: at notches, and at mesh regions `forces`
    over which loads spread a force, if they are small; `probes`: mesh regions whose mean strain is kept."""

    key: Key
    name: str
    panel: Panel
    notches: tuple[Notch, ...]
    forces: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    """One configuration: the states that must meet the factor, and those it must survive; the damage `left` in it."""

    name: str
    kind: Literal["undamaged", "as found", "option"]
    states: tuple[State, ...]
    contingencies: tuple[State, ...] = ()
    minutes: float = 0.0
    permitted: bool | None = True
    note: str = ""
    bonded: bool = False
    damaged: bool = False
    left: tuple[Damage, ...] = ()
    remarks: tuple[str, ...] = ()
    step: StepHeight | None = None


def plans(inputs: Inputs) -> tuple[Plan, ...]:
    """All configurations: undamaged, as found (if there is damage), and each option."""
    holes = tuple(d.region for d in inputs.damage if isinstance(d, Hole))
    undamaged = State(("undamaged",), "undamaged", inputs.panel, (), _forces(inputs.loads), holes)
    found = [Plan("undamaged", "undamaged", (undamaged,))]
    if inputs.damage:
        states = tuple(_states(inputs, ()))
        found.append(Plan("as found", "as found", states, damaged=True, left=inputs.damage))
    for option in inputs.options:
        spare = next((action for action in option.actions if isinstance(action, Spare)), None)
        if spare is not None:
            found.append(_spare(inputs, option, spare, undamaged))
            continue
        bonded = any(isinstance(action, Bonded) for action in option.actions)
        left = left_after(inputs.damage, option.actions)
        states = tuple(_states(inputs, option.actions))
        gone = tuple(s for bond in (GONE, HALF) if bonded for s in _states(inputs, option.actions, bond))
        found.append(
            Plan(
                option.name,
                "option",
                states,
                gone,
                option.minutes,
                option.permitted,
                option.note,
                bonded,
                bool(inputs.damage),
                left,
                remarks(option.actions, states[0].panel),
                step_height(inputs.panel, option.actions),
            )
        )
    return tuple(found)


def _spare(inputs: Inputs, option: Option, spare: Spare, undamaged: State) -> Plan:
    """The spare panel: the undamaged one, with what damage it has itself."""
    every: tuple[State, ...] = (undamaged,)
    if spare.damage:
        made = _states(replace(inputs, damage=spare.damage, measured=()), ())
        every = tuple(replace(state, key=(spare.name, *state.key)) for state in made)
    return Plan(
        option.name,
        "option",
        every,
        minutes=option.minutes,
        permitted=option.permitted,
        note=option.note,
        damaged=bool(spare.damage),
        left=spare.damage,
        step=StepHeight(),
    )


def states(all_plans: Sequence[Plan]) -> dict[Key, State]:
    """Every state once, in the order first met."""
    found: dict[Key, State] = {}
    for plan in all_plans:
        for state in (*plan.states, *plan.contingencies):
            found.setdefault(state.key, state)
    return found


def _cuts(actions: Sequence[Action]) -> tuple[str, ...]:
    """Regions the actions cut out."""
    return tuple(a.cut_out for a in actions if isinstance(a, Bonded) and a.cut_out is not None)


def left_after(damage: Sequence[Damage], actions: Sequence[Action]) -> tuple[Damage, ...]:
    """The damage that is still in the panel after the actions: what was cut out, put back or set anew is not."""
    cuts, refitted = _cuts(actions), {a.fastener for a in actions if isinstance(a, Refit)}
    anew = {a.fastener for a in actions if isinstance(a, Insert)}

    def kept(found: Damage) -> Damage | None:
        if isinstance(found, AreaDamage):
            return found.after_cut() if found.region in cuts else found
        assert isinstance(found, FasteningDamage)
        gone = found.fastener in anew or (found.refits and found.fastener in refitted)
        return None if gone else found

    return tuple(left for d in damage if (left := kept(d)) is not None)


def _measured_after(inputs: Inputs, actions: Sequence[Action]) -> tuple[Damage, ...]:
    """The damage that is still in the panel after the actions, as measured; what was cut at its larger border is so."""
    left = {d.name: d for d in left_after(inputs.damage, actions)}
    pairs = zip(inputs.measured, inputs.damage, strict=True)
    return tuple(m if left[d.name] is d else left[d.name] for m, d in pairs if d.name in left)


def _states(inputs: Inputs, actions: tuple[Action, ...], bond: str = "") -> Iterator[State]:
    """The panel after the actions at all ends of what is not known of the damage left in it."""
    left = left_after(inputs.damage, actions)
    two = bool(inputs.measured) and _measured_after(inputs, actions) != left
    for end in ends(left):
        yield from (_state(inputs, end, actions, bond, size) for size in ((LARGER, MEASURED) if two else ("",)))


def _state(inputs: Inputs, end: str, actions: tuple[Action, ...], bond: str, size: str) -> State:
    """The damaged panel at one end of the bracket, after the actions; `bond`: what has become of the bonded ones.

    `size`: which of the two sizes, where both are run.
    """
    every, left = inputs.damage, left_after(inputs.damage, actions)
    if size == MEASURED:
        every, left = inputs.measured, _measured_after(inputs, actions)
    panel = damaged(inputs.panel, left, end)
    cuts = _cuts(actions)
    kept = tuple(a for a in actions if bond != GONE or not isinstance(a, Bonded))
    if bond == GONE:
        panel = cut(panel, actions)
    panel = repaired(panel, kept, half_bonded=bond == HALF)
    areas = [d for d in every if isinstance(d, AreaDamage)]
    notches = [Notch(panel.mesh.inside[region], length) for d in areas for region, length in d.notches]
    notches += [Notch(panel.mesh.inside[region], CUT_LENGTH) for region in cuts]
    structural = [f"patch {a.name}" for a in kept if isinstance(a, Bonded)]
    structural += [f"refit {a.fastener}" for a in kept if isinstance(a, Refit)]
    structural += [f"insert {a.name}" for a in kept if isinstance(a, Insert)]
    # what a let-in patch leaves when it is gone depends on how far it reaches
    structural += [f"opened {a.region}" for a in actions if isinstance(a, Bonded) and bond == GONE and _opens(a)]
    structural += [HALF] if bond == HALF else []
    structural += [size] if size == MEASURED else []
    name = ", ".join(word for word in (bond, end if end != _WHOLE else "", size) if word) or _WHOLE
    return State(
        ("damaged", end, *structural, *(f"cut {c}" for c in cuts)), name, panel, tuple(notches), _forces(inputs.loads)
    )


def _opens(action: Bonded) -> bool:
    """Whether an action takes out more, or less, than the whole depth of what it cuts out."""
    plugged = isinstance(action, PatchRepair) and action.plug is not None and not action.both_sides
    return isinstance(action, ScarfRepair) or plugged


def _forces(loads: Sequence[LoadCase]) -> tuple[str, ...]:
    """Mesh regions over which the loads spread a force, each once."""
    parts = [part for load in loads for part in (load.scaled, *load.held)]
    return tuple(dict.fromkeys(part.region for part in parts if isinstance(part, AreaForce)))


__all__ = [
    "CUT_LENGTH",
    "GONE",
    "HALF",
    "LARGER",
    "MEASURED",
    "Inputs",
    "Key",
    "Plan",
    "State",
    "left_after",
    "plans",
    "states",
]
