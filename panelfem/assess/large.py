"""The response of a model that moves far: equilibrium followed along the load, where linear theory does not hold."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import sparse

from panelfem.arrays import BoolArray, FloatArray
from panelfem.assess.model import Model
from panelfem.errors import ModelError, PathEndsError
from panelfem.loads import Contact, LoadCase
from panelfem.loads.obstacle import Obstacle
from panelfem.loads.vectors import acting, fastener_gaps
from panelfem.reserve.crush import footprint
from panelfem.reserve.observe import State
from panelfem.reserve.records import ContactState
from panelfem.shell.contact import Pusher
from panelfem.shell.continuation import LoadPath, Newton
from panelfem.shell.equilibrium import Equilibrium, Fixings, Point, Shape
from panelfem.shell.large import carried
from panelfem.shell.touch import TouchRows

#: First step along the load: where linear theory has the panel moved by so many thicknesses, within these shares of the
#: expected severity.
FIRST, SHORTEST, LONGEST = 1.5, 0.02, 0.25
#: Work left over that of the path: motions are then right to a hundred-thousandth.
ENOUGH = 1e-10
#: Share of the end of a guide's path up to which its states guide.
NEARLY = 0.97
#: Two factors this near, as a share, are alike.
ALIKE = 0.01
#: The end of a path is looked for up to so many times that of its guide, in steps of this share of the way there.
FURTHER, PACE = 1.2, 0.4
#: Where the path stops on its way past buckling, as shares of the buckling load: it then keeps to its branch.
SLOW = (0.7, 0.9, 1.0, 1.1, 1.25)


class Following:
    """A response followed with large displacements and rotations.

    `pushers` belong to the contacts of the load case in their order, each with its shape; `k` (nf, 6) is the stiffness
    of the fixings.
    `guide`: a response on the same triangles, or with other fixings, whose states are near those of this one.
    `bow`: deflection over thickness at the expected severity by linear theory.
    """

    proportional = False

    def __init__(
        self,
        model: Model,
        load: LoadCase,
        pushers: Sequence[tuple[Contact, Obstacle, Pusher]],
        k: FloatArray,
        guide: Following | None = None,
        bow: float = 0.0,
    ) -> None:
        self.model, self.load, self.guide = model, load, guide
        self.bow: float = bow if guide is None else guide.bow
        self._k = k.ravel()
        supports = model.holding.system.supports
        scaled = load.scaled if not isinstance(load.scaled, Contact) else None
        shapes = []
        for number, (contact, _, pusher) in enumerate(pushers):
            own = number == 0 and scaled is None
            amount = contact.amount * (load.dynamic if own else 1.0)
            control = "force" if own and contact.control == "force" else "advance"
            touch = pusher.touch
            shapes.append(
                Shape(touch.rows, _gaps(touch, model), touch.share, control, amount, contact.car_stiffness, own)
            )
        self._touched = [(obstacle, pusher.touch) for _, obstacle, pusher in pushers]
        self._place = np.concatenate([t.place for _, t in self._touched]) if pushers else np.zeros((0, 3))
        loads = acting(load.held, model.panel, model.shell)
        grown = acting(() if scaled is None else (scaled,), model.panel, model.shell)
        grown = grown.times(load.dynamic)
        gaps = fastener_gaps(load.held, model.panel).ravel()
        rows = model.holding.rows.rows
        useful = model.holding.held.at(k).rows
        stiffness = np.zeros(len(self._k))
        kept = useful[useful < len(stiffness)]
        stiffness[kept] = self._k[kept]
        self._kept = kept
        fixings = Fixings(sparse.csr_array(rows), stiffness, gaps)
        self.equilibrium = Equilibrium(
            model.shell, loads, grown, supports.fixed, supports.extra, fixings, shapes, model.large
        )
        first = float(np.clip(FIRST / max(self.bow, 1e-6), SHORTEST, LONGEST))
        self.path = LoadPath(Newton(self.equilibrium, ENOUGH, thrifty=True), first)
        self._states: dict[float, State] = {}
        self._ends: PathEndsError | None = None

    @property
    def held(self) -> State:
        """The state under the held part alone."""
        return self.at(0.0)

    def at(self, factor: float) -> State:
        """The state at a factor on the scaled part.  Raises PathEndsError where the path does not reach it."""
        if factor not in self._states:
            self._states[factor] = self._state(self.point(factor))
        return self._states[factor]

    def point(self, factor: float) -> Point:
        """The point of the path at a factor.  Raises PathEndsError where the path does not reach it."""
        known = [p for p in self.path.points if p.factor == factor]
        if known:
            return known[0]
        if self._ends is not None and factor >= self._ends.factor:
            if factor > self._ends.factor:
                raise self._ends
            return max(self.path.points, key=lambda p: p.factor)
        near = self._guided(factor)
        if near is not None:
            return near
        self._to_the_end(factor)
        try:
            return self._start() if factor == 0.0 else self._stepped(factor)
        except ModelError:
            end = self.path.ended
            if end is None:
                raise
            why = "it gives way and snaps to another shape" if end.maximum else "the equations did not settle"
            self._ends = PathEndsError(end.factor, end.maximum, why)
            raise self._ends from None

    def _to_the_end(self, factor: float) -> None:
        """Follows the path to its end at once, where that of the guide ends before a factor."""
        guide = self.guide
        if guide is None or guide.path.ended is None or not guide.path.ended.maximum or self.path.ended is not None:
            return
        end = guide.path.ended.factor
        known = [p.factor for p in guide.path.points if 0.0 < p.factor < NEARLY * end]
        if factor <= end or not known:
            return
        here = self._guided(max(known))
        while here is not None and here.factor < FURTHER * end:  # by arc length, until the load falls here too
            there = self.path.along(here, PACE * max(end - here.factor, (1.0 - NEARLY) * end), factor)
            here = there if there is not here else None

    def _start(self) -> Point:
        """The point with the held loads alone, put on slowly where they buckle the panel."""
        imperfection = self.model.imperfection
        if imperfection is None or not imperfection.held:
            return self.path.held()
        stops = [share * imperfection.mode.factor for share in SLOW]
        return self.path.held([stop for stop in stops if stop < 1.0])

    def _stepped(self, factor: float) -> Point:
        """The point at a factor, found in steps that are small where the panel buckles."""
        self._start()
        here = max(p.factor for p in self.path.points if p.factor <= factor)
        imperfection = self.model.imperfection
        if imperfection is not None and not imperfection.held:
            for stop in (share * imperfection.mode.factor for share in SLOW):
                if here < stop < factor:
                    self.path.at(stop)
        return self.path.at(factor)

    def stop(self, end: PathEndsError) -> None:
        """Let the path end there, though it was followed further."""
        self._ends = end
        self.path.points[:] = [p for p in self.path.points if p.factor <= end.factor]
        self._states = {factor: state for factor, state in self._states.items() if factor <= end.factor}

    def _guided(self, factor: float) -> Point | None:
        """The point at a factor started from the guide's; None without one, or where that does not settle."""
        if self.guide is None or factor == 0.0:
            return None
        there = [p for p in self.guide.path.points if p.factor > 0.0]
        if not there:
            return None
        start = min(there, key=lambda p: abs(np.log(p.factor / factor)))
        own = max((p.factor for p in self.path.points if p.factor <= factor), default=0.0)
        apart = abs(np.log(start.factor / factor))
        if apart > 0.2 or (apart > ALIKE and own > np.exp(-0.2) * factor):
            return None
        eq, other = self.equilibrium, self.guide.equilibrium
        before = self._alike(start.factor)
        vector = other.large.vector(start.pose)
        if before is not None:
            vector = vector - other.large.vector(before[1].pose)
        if other.shell is not eq.shell:
            vector = carried(other.shell, eq.shell, vector)
        vector.ravel()[np.flatnonzero(eq.held)] = 0.0
        mu = np.zeros(len(eq.fixings.k))
        same = np.array_equal(self._kept, self.guide._kept)
        if before is not None:
            vector += eq.large.vector(before[0].pose)
            mu = before[0].mu + (start.mu - before[1].mu if same else 0.0)
        elif same:
            mu = start.mu.copy()
        rest = eq.rest() if before is None else before[0]
        # what is carried over strains a thin skin where it should not: the first step goes without that stress
        strains = [eq.large.at(chunk, rest.pose).strain for chunk in eq.large.chunks]
        calm = [np.zeros_like(e) for e in strains] if before is None else strains
        point = Point(start.factor, eq.large.pose(vector), mu, rest.push, start.way, rest.touching, calm)
        newton = self.path.newton
        found = newton.settle(point, factor)
        if found is None:  # what is kept of a factor may be what leads astray
            newton.thrifty = False
            found = newton.settle(point, factor)
            newton.thrifty = True
        if found is None:
            return None
        self.path.keep(found[0])
        return found[0]

    def _alike(self, factor: float) -> tuple[Point, Point] | None:
        """A point of this path and one of the guide's at the same factor, nearest to a factor; None: none."""
        assert self.guide is not None
        there = {p.factor: p for p in self.guide.path.points}
        pairs = [(p, q) for p in self.path.points for f, q in there.items() if abs(f - p.factor) <= ALIKE * f]
        return min(pairs, key=lambda pair: abs(pair[0].factor - factor), default=None)

    def touching(self, state: State) -> BoolArray:
        """The places (of all shapes) that touch in a state of linear theory."""
        keys = [place.tobytes() for place in self._place]
        out = np.zeros(len(keys), bool)
        for i, contact in enumerate(state.contacts):
            there = {place.tobytes() for place in contact.where}
            out |= (self.equilibrium.shape_of == i) & np.array([key in there for key in keys], bool)
        return out

    def residual(self, factor: float) -> float:
        """Forces out of balance at a point already found, as a share of the greatest load there."""
        point = self.point(factor)
        eq = self.equilibrium
        size = float(np.abs(eq.loads[0].dead + factor * eq.loads[1].dead).max(initial=0.0))
        size = max(size, eq.largest)
        return float(np.abs(eq.forces(point)).max()) / max(size, 1e-300)

    @property
    def curve(self) -> tuple[tuple[float, FloatArray], ...]:
        """Factors known and the unknowns (n_total,) there, in order."""
        large = self.equilibrium.large
        return tuple((p.factor, large.vector(p.pose)) for p in self.path.points)

    def _state(self, point: Point) -> State:
        eq, model = self.equilibrium, self.model
        reactions = np.zeros(len(self._k))
        reactions[eq.present] = point.mu
        contacts = []
        for i, (shape, (obstacle, touch)) in enumerate(zip(eq.shapes, self._touched, strict=True)):
            mine = eq.shape_of == i
            touching = point.touching[mine]
            gap = eq.motions(point)
            deepest = max(float(shape.share.max() * abs(point.way[i])), 1e-12)
            error = float(np.maximum(-gap[mine], 0.0).max(initial=0.0)) / deepest
            contacts.append(
                ContactState(
                    float(eq.share[mine] @ point.push[mine]),
                    float(point.way[i]),
                    float(touch.area[touching].sum()),
                    touch.place[touching],
                    error,
                    footprint=footprint(obstacle, touch, point.push[mine], touching),
                )
            )
        vector = eq.large.vector(point.pose)
        nf = len(model.panel.fasteners)
        recovery = None if model.imperfection is None else model.recovery
        return State(vector, reactions.reshape(nf, 6), tuple(contacts), large=True, recovery=recovery)


def _gaps(touch: TouchRows, model: Model) -> FloatArray:
    """Gaps (places,) m of a shape brought up to the panel as it stands before it is loaded."""
    if model.imperfection is None:
        return touch.gap
    gap = touch.gap + touch.rows @ model.imperfection.shape
    return np.asarray(gap + touch.share * ((touch.gap / touch.share).min() - (gap / touch.share).min()))
