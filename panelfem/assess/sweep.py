"""What an assumed input changes when it is swept to an end of its band."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from panelfem.assess.plan import Inputs
from panelfem.case import Sweep
from panelfem.damage import Damage, EarlierRepair
from panelfem.damage.keys import keys_of
from panelfem.errors import InputError
from panelfem.laminate import Laminate
from panelfem.laminate.degrade import softened, stiffened_material, weakened, weakened_material
from panelfem.loads import Contact
from panelfem.material import Adhesive, CoreMaterial, Material
from panelfem.repair import Action, Bonded, Insert, PatchRepair, Spare


@dataclass(frozen=True)
class Swept:
    """Inputs at an end of a band, and `severity`: load name -> factor on what is expected of it."""

    inputs: Inputs
    severity: dict[str, float] = field(default_factory=dict)


def swept(inputs: Inputs, sweep: Sweep, factor: float) -> Swept:
    """The inputs with the swept one multiplied by `factor`; shares stay at most 1.  Raises InputError for a target
    that is not there.
    """
    match sweep.kind:
        case "strength":
            return Swept(_materials(inputs, sweep.target, factor, weakened, weakened_material))
        case "stiffness":
            return Swept(_materials(inputs, sweep.target, factor, softened, stiffened_material))
        case "softened strength" | "characteristic length" | "damage strength" | "damage stiffness":
            return Swept(_damage(inputs, sweep, factor))
        case "cured":
            return Swept(
                _actions(
                    inputs,
                    lambda a: (
                        replace(a, cured=min(1.0, a.cured * factor))
                        if isinstance(a, Bonded | Insert) and a.name == sweep.target
                        else a
                    ),
                )
            )
        case "dynamic" | "severity":
            return Swept(inputs, {sweep.target: factor})
        case "fastener stiffness":
            panel = replace(
                inputs.panel,
                fasteners=tuple(
                    replace(
                        f,
                        in_plane=f.in_plane * factor,
                        out_of_plane=f.out_of_plane * factor,
                        tilt=f.tilt * factor,
                        twist=f.twist * factor,
                    )
                    if f.name == sweep.target
                    else f
                    for f in inputs.panel.fasteners
                ),
            )
            return Swept(replace(inputs, panel=panel))
        case "car stiffness":
            return Swept(
                replace(
                    inputs,
                    loads=tuple(
                        replace(load, scaled=replace(load.scaled, car_stiffness=load.scaled.car_stiffness * factor))
                        if load.name == sweep.target
                        and isinstance(load.scaled, Contact)
                        and load.scaled.car_stiffness is not None
                        else load
                        for load in inputs.loads
                    ),
                )
            )
        case _:
            raise InputError(f"no rule sweeps {sweep.kind!r}", where=sweep.target)


def _damage(inputs: Inputs, sweep: Sweep, factor: float) -> Inputs:
    """The field of the damage whose key is swept, times the factor; what is at most 1 stays so."""

    def changed(found: Damage) -> Damage:
        if found.name != sweep.target:
            return found
        name, key = next((name, key) for name, key in keys_of(found).items() if key.name == sweep.key)
        value = getattr(found, name) * factor
        return replace(found, **{name: min(1.0, value) if key.high == 1.0 else value})

    damage, measured = (tuple(changed(found) for found in group) for group in (inputs.damage, inputs.measured))
    return _actions(
        replace(inputs, damage=damage, measured=measured),
        lambda a: replace(a, damage=tuple(changed(d) for d in a.damage)) if isinstance(a, Spare) else a,
    )


def _actions(inputs: Inputs, change: Callable[[Action], Action]) -> Inputs:
    return replace(
        inputs,
        options=tuple(
            replace(option, actions=tuple(change(action) for action in option.actions)) for option in inputs.options
        ),
    )


def _materials(
    inputs: Inputs,
    name: str,
    factor: float,
    on_laminate: Callable[[Laminate, float, str], Laminate],
    on_material: Callable[[Material, float], Material],
) -> Inputs:
    def patch(action: Action) -> Action:
        if not isinstance(action, Bonded):
            return action
        if isinstance(action, PatchRepair) and action.plug is not None and action.plug.name == name:
            plug = on_material(action.plug, factor)
            assert isinstance(plug, CoreMaterial)
            action = replace(action, plug=plug)
        glue = on_material(action.adhesive, factor) if action.adhesive.name == name else action.adhesive
        assert isinstance(glue, Adhesive)
        return replace(action, laminate=on_laminate(action.laminate, factor, name), adhesive=glue)

    def earlier(found: Damage) -> Damage:
        if not isinstance(found, EarlierRepair):
            return found
        made = patch(found.patch)
        assert isinstance(made, PatchRepair)
        return replace(found, laminate=made.laminate, adhesive=made.adhesive)

    panel = replace(inputs.panel, laminates=tuple(on_laminate(lam, factor, name) for lam in inputs.panel.laminates))
    return _actions(replace(inputs, panel=panel, damage=tuple(map(earlier, inputs.damage))), patch)
