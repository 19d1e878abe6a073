"""The stiffness check: undamaged, as found and each option, solved in several sizes of the damage, against readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.plan import Inputs, State, plans
from panelfem.case.stiffness import Check
from panelfem.damage import Damage, Softened, ends
from panelfem.knowledge.compliance import check_places, has_springs, readings_of
from panelfem.knowledge.posterior import Prior, update
from panelfem.knowledge.surface import Surface, nodes
from panelfem.knowledge.verdict import Fit, Verdict, conclude
from panelfem.shell import DEFAULT_ORDER, Shell
from panelfem.units import show
from panelfem.wear.verdict import REPEATABILITY

#: Stiffnesses of the fixings that are solved for, one factor of the panel each (a choice; cheap).
RATIOS = 9
#: Share of the thickness up to which a reading is taken for linear (common practice, no source).
FAR = 0.5

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Row:
    """A reading (m), its standard deviation, and what each state should show with all as the case says."""

    gauge: str
    weight: str
    deflection: float
    noise: float
    expected: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Stiffness:
    """What a check found.

    `believed`: the state the panel is taken to be in, or the first as stiff; `error`: the share by which elements of
    one order more change a reading; `notes`: to be known with it.
    """

    check: Check
    believed: str
    fits: tuple[Fit, ...]
    verdict: Verdict
    rows: tuple[Row, ...]
    error: float
    notes: tuple[str, ...]

    @property
    def own(self) -> Fit:
        """The fit of the state the panel is taken to be in."""
        return next(fit for fit in self.fits if fit.state == self.believed)


@dataclass(frozen=True, eq=False)
class Modelled:
    """What the model says for a check, whatever was read: a surface (m) a state, and the share `error` by which
    elements of one order more change a reading; `prior` without fixings where none of them gives.
    """

    believed: str
    prior: Prior
    springs: bool
    surfaces: Mapping[str, Surface]
    error: float


def modelled(check: Check, tell: Tell = lambda stage, share: None) -> Modelled:
    """Solve.  Raises ModelError for a panel free to move, InputError for a gauge or weight that stands on nothing."""
    assert check.case.panel is not None
    springs = has_springs(check.case.panel)
    prior = check.prior if springs else replace(check.prior, fixings=0.0)
    believed = _alike(check)
    surfaces, error = _surfaces(check, believed, prior, tell)
    return Modelled(believed, prior, springs, surfaces, error)


def judged(check: Check, model: Modelled) -> Stiffness:
    """What the readings of a check say, given what the model does."""
    believed, surfaces, error = model.believed, model.surfaces, model.error
    deflections = np.array([r.deflection for r in check.readings])
    nominal = {state: _nominal(surface, check.measured) for state, surface in surfaces.items()}
    whole = nominal["undamaged"]
    gauge = math.sqrt(2.0) * check.repeatability / REPEATABILITY
    fits, noises = [], {}
    for state, surface in surfaces.items():
        size = np.abs(nominal[state])
        noise = np.sqrt(gauge**2 + (check.weighed * size) ** 2 + (error * size) ** 2 + surface.error**2)
        posterior = update(surface, model.prior, deflections, noise, whole, check.level)
        expected = float(whole @ (nominal[state] / noise**2)) / float(whole @ (whole / noise**2))
        fits.append(Fit(state, posterior, expected))
        noises[state] = noise
    rows = tuple(
        Row(
            check.gauges[r.gauge].name,
            check.weights[r.weight].name,
            r.deflection,
            float(noises[believed][i]),
            {state: float(values[i]) for state, values in nominal.items()},
        )
        for i, r in enumerate(check.readings)
    )
    notes = (*_notes(check, believed, model.springs), *_far(check, deflections))
    return Stiffness(check, believed, tuple(fits), conclude(fits, believed), rows, error, notes)


def _nominal(surface: Surface, measured: float) -> FloatArray:
    """What a state shows with size and stiffnesses as the case says (a size out of range: the nearest), (n,) m."""
    size = np.clip(measured, surface.sizes[0], surface.sizes[-1])
    return np.asarray(surface.at(np.array([size]), np.zeros(1))[0, 0])


def _surfaces(check: Check, believed: str, prior: Prior, tell: Tell) -> tuple[dict[str, Surface], float]:
    """The surface of every state, and the greatest share by which elements of one order more change a reading of the
    undamaged panel or of the state `believed` at the greatest size.
    """
    order = check.case.order or DEFAULT_ORDER
    ratios = nodes(-prior.ratio, prior.ratio, RATIOS if prior.fixings else 1)
    gauge, weight = np.array([(r.gauge, r.weight) for r in check.readings]).T
    values: dict[str, list[FloatArray]] = {}
    like: Shell | None = None
    last = _states(check, check.sized[-1])
    for state in last.values():
        check_places(state.panel, check.weights, check.gauges)
    for i, own in enumerate(check.sized):
        for name, state in _states(check, own).items():
            if name == "undamaged" and name in values:
                continue
            tell(f"{name}, size {i + 1} of {len(check.sized)}", i / len(check.sized))
            full, like = readings_of(state.panel, check.weights, check.gauges, ratios, order, like)
            values.setdefault(name, []).append(full[:, gauge, weight])
    made = {name: Surface(check.sizes[-len(of) :], ratios, np.stack(of)) for name, of in values.items()}
    error = 0.0
    for name in dict.fromkeys(("undamaged", believed)):
        tell("the error of the mesh", 0.9)
        panel = last[name].panel
        finer = readings_of(panel, check.weights, check.gauges, np.zeros(1), order + 1)[0][0, gauge, weight]
        rough = made[name].at(made[name].sizes[-1:], np.zeros(1))[0, 0]
        error = max(error, float(np.abs(finer - rough).max() / np.abs(finer).max()))
    return made, error


def _states(check: Check, own: Damage | None) -> dict[str, State]:
    """The states that bend in their own way, by name, with the damage to be sized as `own` (None: not there).

    Of a softened area the end that carries nothing.
    """
    found: dict[str, State] = {}
    for plan_name, state in _every(check, own):
        if all(state.key != other.key for other in found.values()):
            found[plan_name] = state
    return found


def _alike(check: Check) -> str:
    """The first state as stiff as the one the panel is taken to be in."""
    every = _every(check, check.sized[-1])
    key = next(state.key for name, state in every if name == check.believed)
    return next(name for name, state in every if state.key == key)


def _every(check: Check, own: Damage | None) -> list[tuple[str, State]]:
    case = check.case
    assert case.panel is not None
    sized = [own if d.name == check.damage else d for d in case.damage]
    damage = tuple(d for d in sized if d is not None)
    every = [(plan.name, plan.states[-1]) for plan in plans(Inputs(case.panel, damage, case.options, ()))]
    if case.damage and not damage:  # a size of 0
        every.insert(1, ("as found", replace(every[0][1], key=("damaged", *ends(())))))
    return every


def _notes(check: Check, believed: str, springs: bool) -> list[str]:
    assert check.case.panel is not None
    notes = []
    if believed != check.believed:
        notes.append(f"{check.believed!r} is as stiff as {believed!r}, whose name stands for both")
    if not springs:
        notes.append("the fixings are free or rigid in the case: what they give shows as a softer skin")
    if any(edge.translation or edge.rotation for edge in check.case.panel.edges):
        notes.append("elastic edges are taken to be as far from the case as the skin")
    if any(isinstance(d, Softened) for d in check.sized):
        notes.append(f"{check.damage} counts as carrying next to nothing: if it still carries, it is larger than that")
    if check.damage:
        low, high = 1e3 * check.sizes[0], 1e3 * check.sizes[-1]
        if not low <= 1e3 * check.measured <= high:
            notes.append(
                f"{check.damage} as measured, {1e3 * check.measured:.3g} mm with its tolerance, lies outside the sizes "
                f"looked at, {low:.3g} to {high:.3g} mm"
            )
    return notes


def _far(check: Check, deflections: FloatArray) -> list[str]:
    """A note on readings that linear theory does not reach."""
    assert check.case.panel is not None
    thin = min(laminate.thickness for laminate in check.case.panel.laminates)
    most = float(np.abs(deflections).max())
    if most <= FAR * thin:
        return []
    what = f"a reading of {show(most, 'mm')} is over half the least thickness, {show(thin, 'mm')}"
    return [f"{what}: a held panel stiffens as it moves that far, and looks too stiff; take less weight"]
