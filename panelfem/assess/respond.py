"""From load cases to responses: what a model does as the scaled part of a load case grows.

The right-hand sides of all load cases go through the factor together, once; what fixings and contact add to them is
small dense algebra on top.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.large import Following
from panelfem.assess.model import Bent, Model
from panelfem.loads import Contact, Cure, Load, LoadCase
from panelfem.loads.obstacle import Obstacle, contact_notes, obstacle_rows, place_obstacle
from panelfem.loads.vectors import fastener_gaps, load_vector
from panelfem.reserve.crush import footprint
from panelfem.reserve.observe import Observed, Response, State
from panelfem.reserve.records import ContactState
from panelfem.shell.contact import ContactProblem, ContactSolution, Free, Pusher
from panelfem.shell.held import HeldState
from panelfem.units import number

#: Share of its advance by which a shape may stand inside a panel that has moved.
ENTERED = 0.1


class Responder:
    """Gives the response of a model to any of its load cases, with any stiffness of its fixings.

    `finer`: shapes press at more places, as the better of two solutions needs (`split_for`).  `far`: the load cases
    that are followed with large displacements, with a response that guides others under the same one (None: none yet);
    `bent`: those of them that are followed from a shape that is not quite the panel's.
    """

    def __init__(self, model: Model, loads: Sequence[LoadCase], finer: bool = False) -> None:
        self.model, self.held, self.finer = model, model.holding.held, finer
        self.far: dict[str, Following | None] = {}
        self.bent: dict[str, Bent] = {}
        self._pushers: dict[tuple[object, ...], tuple[Obstacle, Pusher]] = {}
        self._problems: dict[tuple[object, ...], ContactProblem] = {}
        columns: list[FloatArray] = []
        numbers: dict[bytes, int] = {}
        cures: dict[Cure, FloatArray] = {}

        def vector(part: Load) -> FloatArray:
            if not isinstance(part, Cure):
                return load_vector(part, model.panel, model.shell)
            if part not in cures:
                cures[part] = load_vector(part, model.panel, model.shell)
            return cures[part]

        def column(parts: Sequence[Load]) -> int:
            total = np.zeros(model.shell.n_total)
            for part in parts:
                total += vector(part)
            key = total.tobytes()
            if key not in numbers:
                numbers[key] = len(columns)
                columns.append(total)
            return numbers[key]

        self._states: dict[tuple[int, bytes, bytes], State] = {}
        self._of = {load.name: (column(load.held), column((load.scaled,))) for load in loads}
        self._base = model.holding.system.solve(np.array(columns).T)
        self.residual = float(model.holding.system.backward_error)

    def __call__(self, load: LoadCase, stiffness: FloatArray | None = None) -> Response:
        """The response to a load case; `stiffness` (nf, 6) of the fixings (None: as the panel's record gives it).

        Raises ModelError if the panel is then free to move, or a shape would have to enter a rigid fixing.
        """
        if load.name in self.far:
            return self.following(load, stiffness, self.far[load.name])
        return self.linear(load, stiffness)

    def linear(self, load: LoadCase, stiffness: FloatArray | None = None) -> Response:
        """The linear response to a load case, as `__call__`."""
        k = self.model.holding.stiffness if stiffness is None else stiffness
        column, other = self._of[load.name]
        held, scaled = self._base[:, column], self._base[:, other]
        gaps = fastener_gaps(load.held, self.model.panel)
        own = (load.scaled,) if isinstance(load.scaled, Contact) else ()
        contacts = (*own, *load.obstacles)
        if not contacts:
            fixings = self.held.at(k)
            key = (column, k.tobytes(), gaps.tobytes())
            if key not in self._states:
                self._states[key] = State(fixings.displacement(held, gaps), fixings.reactions(held, gaps))
            return Proportional(fixings, self._states[key], load.dynamic * scaled)
        problem = self._problem(contacts)
        shapes = [self._pushers[contact.geometry][0] for contact in contacts]
        return Touching(load, shapes, problem, k, problem.free(held, k, gaps), problem.free(load.dynamic * scaled, k))

    def following(
        self, load: LoadCase, stiffness: FloatArray | None = None, guide: Following | None = None, bow: float = 0.0
    ) -> Following:
        """The response to a load case with large displacements, followed along the load; `guide` and `bow` as there."""
        k = self.model.holding.stiffness if stiffness is None else stiffness
        own = (load.scaled,) if isinstance(load.scaled, Contact) else ()
        contacts = (*own, *load.obstacles)
        self._place(contacts)
        pushers = [(contact, *self._pushers[contact.geometry]) for contact in contacts]
        return Following(self.bent.get(load.name, self.model), load, pushers, k, guide, bow)

    def notes(self, load: LoadCase, states: Sequence[ContactState]) -> tuple[str, ...]:
        """What is doubtful about the contacts of a load case."""
        own = (load.scaled,) if isinstance(load.scaled, Contact) else ()
        found: list[str] = []
        for contact, there in zip((*own, *load.obstacles), states, strict=True):
            if there.where.size:
                found += contact_notes(self._pushers[contact.geometry][0], there.where)
                found += self._pressed_fixings(there.where)
        return tuple(found)

    def entered(self, load: LoadCase, state: Observed, points: FloatArray) -> tuple[str, ...]:
        """A warning for each shape that stands inside the panel as that has really moved, `points` (ne, m, 3) of it.

        Where a shape presses, and along which normals, is taken from where the panel was before it moved.
        """
        own = (load.scaled,) if isinstance(load.scaled, Contact) else ()
        moved = (points + state.displacement)[self.model.shell.active]
        found = []
        for contact, there in zip((*own, *load.obstacles), state.contacts, strict=True):
            depth = there.advance - float(self._pushers[contact.geometry][0].clearance(moved).min(initial=np.inf))
            if there.where.size and depth > ENTERED * there.advance:
                found.append(
                    f"as the panel has moved, the shape stands {number(1e3 * depth, 2)} mm inside it, of an advance of "
                    f"{number(1e3 * there.advance, 3)} mm: places and normals of contact are those before it moved, so "
                    "forces there are approximate"
                )
        return tuple(found)

    def _pressed_fixings(self, touched: FloatArray) -> list[str]:
        """A warning for each rigid fixing under whose washer a shape presses at places (n, 3)."""
        return [
            f"the shape presses on {f.name}, held rigidly: forces there are far too high; give {f.name} its stiffness"
            for f in self.model.panel.fasteners
            if f.fitted
            and np.isinf(f.out_of_plane)
            and np.linalg.norm(touched - f.place, axis=1).min() < f.washer_radius
        ]

    def _place(self, contacts: Sequence[Contact]) -> None:
        """Bring the shapes of contacts up to the panel, once each."""
        for contact in contacts:
            if contact.geometry not in self._pushers:
                obstacle = place_obstacle(contact, self.model.shell)
                rows = obstacle_rows(obstacle, self.model.shell, finer=self.finer)
                self._pushers[contact.geometry] = (obstacle, Pusher(self.held, rows))

    def _problem(self, contacts: tuple[Contact, ...]) -> ContactProblem:
        self._place(contacts)
        key = tuple((c.geometry, c.car_stiffness) for c in contacts)
        if key not in self._problems:
            pushers = [self._pushers[c.geometry][1] for c in contacts]
            self._problems[key] = ContactProblem(self.held, pushers, [c.car_stiffness for c in contacts])
        return self._problems[key]


class Proportional:
    """A response without contact: held + factor × scaled."""

    proportional = True

    def __init__(self, fixings: HeldState, held: State, scaled: FloatArray) -> None:
        self.held = held
        self._added = fixings.displacement(scaled), fixings.reactions(scaled)

    def at(self, factor: float) -> State:
        """The state at a factor on the scaled part."""
        u, reactions = self._added
        return State(self.held.unknowns + factor * u, self.held.reactions + factor * reactions)


@dataclass
class Touching:
    """A response with contact, solved again at every factor.

    The scaled part is the first shape's interference or force, or, where the load case only has obstacles, its own
    load.
    """

    load: LoadCase
    shapes: Sequence[Obstacle]
    problem: ContactProblem
    stiffness: FloatArray
    free: Free
    added: Free

    proportional = False

    def __post_init__(self) -> None:
        self.held = self.at(0.0)

    def at(self, factor: float) -> State:
        """The state at a factor on the scaled part."""
        scaled = self.load.scaled
        still = [obstacle.amount for obstacle in self.load.obstacles]
        if not isinstance(scaled, Contact):
            return self._state(self.problem.at(self.free.plus(factor, self.added), still, self.stiffness))
        amount = factor * self.load.dynamic * scaled.amount
        if scaled.control == "force":
            return self._state(self.problem.force(self.free, amount, still, self.stiffness))
        return self._state(self.problem.at(self.free, [amount, *still], self.stiffness))

    def _state(self, found: ContactSolution) -> State:
        contacts = []
        for i, shape in enumerate(self.shapes):
            touch, mine = self.problem.pushers[i].touch, self.problem.shape_of == i
            touching = found.touching[mine]
            contacts.append(
                ContactState(
                    float(found.total[i]),
                    float(found.advance[i]),
                    float(found.area[i]),
                    touch.place[touching],
                    found.error,
                    footprint=footprint(shape, touch, found.force[mine], touching),
                )
            )
        return State(found.displacement(), found.reactions(), tuple(contacts))
