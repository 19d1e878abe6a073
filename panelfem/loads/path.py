"""A load case as a path: what the panel does while the scaled part grows, contact solved again at every
point.

Everything costly is done once (one batch of back-solves for all load cases of a configuration; contact
columns when a place first touches), so a point of a path is small dense algebra and one combination of
columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.loads.fixings import Holding
from panelfem.loads.obstacle import Obstacle, contact_notes, obstacle_rows, place_obstacle
from panelfem.loads.records import Contact, LoadCase, Misfit
from panelfem.loads.vectors import fastener_gaps, load_vector
from panelfem.panel import Panel
from panelfem.shell.contact import ContactProblem, ContactSolution, Free, Pusher
from panelfem.shell.shell import Shell


@dataclass(frozen=True)
class ContactPoint:
    """One shape at one point of a path: force N along its direction, advance m (really moved), area m² and
    number of places that touch, and the car's lift (m)."""

    force: float
    advance: float
    area: float
    places: int
    lift: float


@dataclass(frozen=True)
class PathPoint:
    """The panel at one factor: displacement `u` (n_total,), `load` (n_total,) applied (contact forces
    counted, fixings not),
    `reactions` (nf, 6) of the skin on the fasteners, `contacts` (the scaled one first), `error` of the contact solution."""

    factor: float
    u: FloatArray
    load: FloatArray
    reactions: FloatArray
    contacts: tuple[ContactPoint, ...] = ()
    error: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass
class LoadPath:
    """A load case on a held panel; made by `load_paths`.

    `held_load`, `scaled_load` (n_total,) and their base displacements `held_base`, `scaled_base`; `gaps` (nf,
    6) misfits;
    `shapes` with their `pushers`: the scaled contact first, if there is one, then the obstacles.
    """

    case: LoadCase
    holding: Holding
    held_load: FloatArray
    scaled_load: FloatArray
    held_base: FloatArray
    scaled_base: FloatArray
    gaps: FloatArray
    shapes: tuple[Obstacle, ...] = ()
    pushers: tuple[Pusher, ...] = ()
    _problem: ContactProblem | None = field(default=None, repr=False)
    _free: dict[bytes, tuple[Free, Free]] = field(default_factory=dict, repr=False)

    @property
    def linear(self) -> bool:
        """True if the answer is held + factor · scaled: no shape is involved."""
        return not self.shapes

    @property
    def problem(self) -> ContactProblem:
        """The contact problem of the shapes."""
        if self._problem is None:
            car = [shape.contact.car_stiffness for shape in self.shapes]
            if self._forced:
                car[0] = None  # a given force does not ask how far the car lifts
            self._problem = ContactProblem(self.holding.held, self.pushers, car)
        return self._problem

    @property
    def _forced(self) -> bool:
        return isinstance(self.case.scaled, Contact) and self.case.scaled.control == "force"

    def at(self, factor: float, k: FloatArray | None = None) -> PathPoint:
        """The panel with the held part and `factor` times the scaled part (1: as stated, its dynamic factor
        counted apart by the caller), with fastener stiffnesses k (nf, 6) (None: as the panel's record gives
        them).

        Raises ModelError if the panel is free to move, or a shape is pushed against a rigid fixing.
        """
        k = self.holding.stiffness if k is None else k
        load = self.held_load + factor * self.scaled_load
        if self.linear:
            base = self.held_base + factor * self.scaled_base
            state = self.holding.held.at(k)
            return PathPoint(factor, state.displacement(base, self.gaps), load, state.reactions(base, self.gaps))
        found = self._contact(factor, k)
        contacts = tuple(self._contact_point(found, number) for number in range(len(self.shapes)))
        notes: list[str] = []
        for number, shape in enumerate(self.shapes):
            touched = found.touching & (found.problem.shape_of == number)
            notes += contact_notes(shape, found.problem.place[touched])
        return PathPoint(
            factor, found.displacement(), load + found.load(), found.reactions(), contacts, found.error, tuple(notes)
        )

    def _contact(self, factor: float, k: FloatArray) -> ContactSolution:
        problem = self.problem
        key = k.tobytes()
        if key not in self._free:
            self._free[key] = (problem.free(self.held_base, k, self.gaps), problem.free(self.scaled_base, k))
        held, scaled = self._free[key]
        free = held.plus(factor, scaled)
        stay = [obstacle.amount for obstacle in self.case.obstacles]
        if not isinstance(self.case.scaled, Contact):
            return problem.at(free, stay, k)
        amount = factor * self.case.scaled.amount
        if self._forced:
            return problem.force(free, amount, stay, k)
        return problem.at(free, [amount, *stay], k)

    def _contact_point(self, found: ContactSolution, number: int) -> ContactPoint:
        force = float(found.total[number])
        touched = found.touching & (found.problem.shape_of == number)
        stiffness = self.shapes[number].contact.car_stiffness
        lift = 0.0 if stiffness is None else force / stiffness
        return ContactPoint(force, float(found.advance[number]), float(found.area[number]), int(touched.sum()), lift)


def load_paths(
    cases: Sequence[LoadCase], panel: Panel, shell: Shell, holding: Holding, division: int | None = None
) -> tuple[LoadPath, ...]:
    """The paths of load cases on one held panel: all their back-solves in one batch, contact columns shared
    between them.

    `division`: parts into which element sides are split for contact pressure (None: chosen by shape).
    Raises InputError for loads the panel cannot take (a region that is gone, a shape that misses it, a scaled
    misfit).
    """
    vectors = []
    for case in cases:
        if isinstance(case.scaled, Misfit):
            where = f"load '{case.name}'"
            raise InputError("a misfit cannot be the scaled part", where=where, do="put it into the held part")
        if any(isinstance(load, Contact) for load in case.held):
            raise InputError("a contact is held", where=f"load '{case.name}'", do="list it under the obstacles")
        if any(obstacle.control != "interference" for obstacle in case.obstacles):
            raise InputError("an obstacle that stays is given by force", where=f"load '{case.name}'",
                             allowed="an interference", do="scale it, or give how far it stands in")
        held = sum((load_vector(load, panel, shell) for load in case.held), np.zeros(shell.n_total))
        vectors += [held, load_vector(case.scaled, panel, shell)]
    loads = np.array(vectors).T.reshape(shell.n_total, len(vectors))
    used = np.flatnonzero(np.any(loads, axis=0))
    bases = np.zeros_like(loads)
    if len(used):
        bases[:, used] = holding.system.solve(np.ascontiguousarray(loads[:, used]))
        holding.held.back_solves += len(used)
    known: dict[tuple[object, ...], tuple[Obstacle, Pusher]] = {}
    paths = []
    for number, case in enumerate(cases):
        contacts = ((case.scaled,) if isinstance(case.scaled, Contact) else ()) + case.obstacles
        placed = [_placed(contact, shell, holding, known, division) for contact in contacts]
        a, b = 2 * number, 2 * number + 1
        paths.append(
            LoadPath(case, holding, loads[:, a], loads[:, b], bases[:, a], bases[:, b], fastener_gaps(case.held, panel),
                     tuple(shape for shape, _ in placed), tuple(pusher for _, pusher in placed))
        )
    return tuple(paths)


def _placed(
    contact: Contact,
    shell: Shell,
    holding: Holding,
    known: dict[tuple[object, ...], tuple[Obstacle, Pusher]],
    division: int | None,
) -> tuple[Obstacle, Pusher]:
    """The shape brought up to the panel with its columns: shared by contacts that differ in amount and car only."""
    vectors = (contact.place, contact.direction, contact.travel)
    key = (contact.shape, contact.gap, *(tuple(np.asarray(v, float)) for v in vectors))
    shape = place_obstacle(contact, shell)
    if key not in known:
        known[key] = (shape, Pusher(holding.held, obstacle_rows(shape, shell, division)))
    return shape, known[key][1]
