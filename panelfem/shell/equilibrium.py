"""Equilibrium of a shell at large displacements with all that holds and pushes it: residual, tangent, one Newton step.

Springs, fasteners and contacts act on coordinates c of the pose: displacements, and for rotations ψ, the vector of the
skew part of R (sin of the angle along the axis), which needs no branch and is the rotation vector while it is small.  A
fastener's row H with stiffness k has the force μ of the skin on it, H c − g = μ/k; a place of contact P u + gap −
share·s ≥ 0 has the force −μ ≥ 0 of the shape on the skin.

Each Newton step takes the geometric stiffness from the stress that the last step predicted to first order, not from
that of the strain it led to: thin shells then take tens of times larger steps, and at the solution both are the same.

Source: mixed integration point method, Magisano, Leonetti & Garcea 2017, Comput. Methods Appl. Mech. Eng. 313:237 (from
memory); active set, Hintermüller, Ito & Kunisch 2003, SIAM J. Optim. 13:865 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array, vstack

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.shell.bordered import Bordered, Rows
from panelfem.shell.element import chunks
from panelfem.shell.large import ElementLoads, LargeShell, Pose
from panelfem.shell.pressing import Places, Pressing
from panelfem.shell.shell import Shell

GIVE = 1e-6
"""Compliance of a place of contact over the typical one of the skin there."""

LOCKED = 1e-8
"""Share of the energy of free strain held back that counts as work: without it a panel that heat stresses and does not
move would have no work that the rounding of a Newton step could be small against."""


@dataclass(frozen=True)
class Acting:
    """One part of the loads: `dead` (n_total,) that keep their direction, and what acts on the `elements`."""

    dead: FloatArray
    elements: ElementLoads = field(default_factory=ElementLoads)

    def times(self, factor: float) -> Acting:
        """The same loads, `factor` times as large."""
        p, i = self.elements.pressure, self.elements.initial
        elements = ElementLoads(None if p is None else factor * p, None if i is None else factor * i)
        return Acting(factor * self.dead, elements)


@dataclass(frozen=True)
class Fixings:
    """Rows csr (m, n_total) with stiffnesses `k` (m,) N/m or N·m/rad (inf: rigid) and gaps (m,) m or rad."""

    rows: csr_array
    k: FloatArray
    gap: FloatArray


@dataclass(frozen=True)
class Shape:
    """A rigid shape at places csr `rows` (m, n_total): gap (m,) closes by `share` (m,) times its advance.

    Control: `advance` m given (with `car` N/m in series or None), or a total `force` N along its direction.  The part
    that scales is told by `scaled`.
    """

    rows: csr_array
    gap: FloatArray
    share: FloatArray
    control: str
    amount: float
    car: float | None
    scaled: bool

    def at(self, factor: float) -> float:
        """The advance or force at a factor on the scaled part."""
        return factor * self.amount if self.scaled else self.amount


@dataclass(frozen=True)
class Point:
    """A point on an equilibrium path.

    `factor` on the scaled part; `pose`; `mu` (fixing rows,) and `push` (places,) N forces of fixings and contacts,
    `way` (shapes,) m the advance of each shape; `predicted`: strains of every chunk by the first order of the last
    step, None: those of the pose.
    """

    factor: float
    pose: Pose
    mu: FloatArray
    push: FloatArray
    way: FloatArray
    touching: BoolArray
    predicted: Sequence[FloatArray] | None = field(default=None, repr=False)


@dataclass(frozen=True)
class Tangent:
    """A factored tangent at a point with the residual that is to be taken away and what a unit of the factor adds."""

    factor: Bordered
    residual: FloatArray
    row_miss: FloatArray
    tail_miss: FloatArray
    rate: FloatArray
    row_rate: FloatArray
    tail_rate: FloatArray
    work: float
    pressing: Pressing | None

    @property
    def touching(self) -> BoolArray:
        """The places (m,) that have rows in the factor."""
        return np.zeros(0, bool) if self.pressing is None else self.pressing.inside


@dataclass(frozen=True)
class Stiffness:
    """A tangent not yet factored: `full` (ne, n, n) of the elements, `extra` (n_boundary, n_boundary) of springs (None:
    none) and the `rows` of fixings and of contacts that touch.
    """

    full: FloatArray
    extra: csr_array | None
    rows: Rows


class Equilibrium:
    """The problem of one panel under one load case: held loads, and scaled ones times the factor.

    `held` and `scaled` loads, `fixed` (nb, 6) unknowns at zero, `extra` springs (n_boundary, n_boundary) or None,
    `fixings`, `shapes`.
    """

    def __init__(
        self,
        shell: Shell,
        held: Acting,
        scaled: Acting,
        fixed: BoolArray,
        extra: csr_array | None = None,
        fixings: Fixings | None = None,
        shapes: Sequence[Shape] = (),
        large: LargeShell | None = None,
    ) -> None:
        self.shell, self.loads = shell, (held, scaled)
        self.large = LargeShell(shell) if large is None else large
        self.extra, self.shapes = extra, tuple(shapes)
        none = csr_array((0, shell.n_total))
        self.fixings = fixings or Fixings(none, np.zeros(0), np.zeros(0))
        present = self.fixings.k > 0
        if not present.all():
            f = self.fixings
            self.fixings = Fixings(csr_array(f.rows[present]), f.k[present], f.gap[present])
        self.present = present
        out = np.array(fixed, bool).reshape(-1)
        loose = np.ones(shell.layout.nb, bool)
        loose[shell.mesh.boundary[shell.active].ravel()] = False
        out.reshape(-1, 6)[loose] = True
        self.held: BoolArray = out
        self.places = csr_array(vstack([s.rows for s in self.shapes])) if self.shapes else none
        self.shape_of: IntArray = np.repeat(np.arange(len(self.shapes)), [len(s.gap) for s in self.shapes])
        self.gap, self.share = (
            np.concatenate([getattr(s, name) for s in self.shapes]) if self.shapes else np.zeros(0)
            for name in ("gap", "share")
        )
        self._give: float | None = None
        self.largest = 0.0
        large_ = self.large
        self._acting = [
            tuple(large_.acting(chunk, part.elements.initial) for chunk in large_.chunks) for part in self.loads
        ]
        self._locked = [_locked(large_, part.elements.initial) for part in self.loads]

    def of_held(self) -> Equilibrium:
        """The problem in which the held loads grow with the factor and nothing else acts; shapes are away."""
        nothing = Acting(np.zeros(self.shell.n_total))
        fixed = self.held.reshape(-1, 6)
        return Equilibrium(self.shell, nothing, self.loads[0], fixed, self.extra, self.fixings, (), self.large)

    # ------------------------------------------------------------------------------------------------ points
    def rest(self) -> Point:
        """The unloaded, undeformed point at factor 0; shapes that come with a force lie against the panel."""
        n = len(self.gap)
        ways = np.array([s.at(0.0) if s.control == "advance" else 0.0 for s in self.shapes])
        touching = np.zeros(n, bool)
        for i, shape in enumerate(self.shapes):
            if shape.control == "force":
                nearest = self._nearest(i, self.gap)
                ways[i] = self.gap[nearest] / self.share[nearest]
                touching[nearest] = True
        return Point(0.0, self.large.rest(), np.zeros(len(self.fixings.k)), np.zeros(n), ways, touching)

    def _nearest(self, shape: int, gap: FloatArray) -> int:
        """The place of a shape that it would touch first, with gaps (places,)."""
        mine = np.flatnonzero(self.shape_of == shape)
        return int(mine[np.argmin(gap[mine] / self.share[mine])])

    def coordinates(self, pose: Pose) -> FloatArray:
        """Displacements and skew rotations (n_total,) of a pose."""
        c = pose.u.copy()
        c[self.large.rotation_unknowns] = _skew(pose.turned)
        return c

    def motions(self, point: Point) -> FloatArray:
        """Gaps (places,) left between skin and shapes, m."""
        return self.gap - self.share * point.way[self.shape_of] + self.places @ point.pose.u

    def forces(self, point: Point) -> FloatArray:
        """All forces out of balance (n_total,): loads less what strains, springs, fixings and shapes take."""
        return self._evaluate(point, False)[0]

    def symmetric(self, point: Point) -> Stiffness:
        """The symmetric part of the tangent at a point.

        At a point without moments from outside the whole tangent has no other part, though an element's may.
        """
        found = self.stiffness(point)
        full, extra = found.full, found.extra
        for part in chunks(self.large.tables.linear, len(full)):
            full[part] = 0.5 * (full[part] + full[part].swapaxes(1, 2))
        return Stiffness(full, None if extra is None else csr_array(0.5 * (extra + extra.T)), found.rows)

    def tangent(self, point: Point, old: Tangent | None = None) -> Tangent:
        """The factored tangent at a point, with what is out of balance there.

        `old`: that of another point, whose factor is used in its place; other places may touch there.
        """
        residual, full, rate, work, extra, rows = self._evaluate(point, old is None)
        free, pressing = self._free, None if old is None else old.pressing
        active = point.touching if pressing is None else pressing.inside
        nf, nt = len(self.fixings.k), int(active.sum())
        if old is None:
            assert full is not None
            assert rows is not None
            factor = Bordered(self.shell.layout, full, self.held, extra, self._rows(point, full, rows))
            if self.shapes:
                pressing = Pressing(factor, self._pressed, active, self._give or 0.0)
        else:
            factor = old.factor
        # what the rows miss: H c − g − μ/k, and for places gap + give·push
        c = self.coordinates(point.pose)
        miss = self.fixings.rows @ c - self.fixings.gap - point.mu / self.fixings.k
        gaps = self.motions(point)[active] + (self._give or 0.0) * point.push[active]
        row_rate = np.zeros(nf + nt)
        amount = np.array([s.at(point.factor) for s in self.shapes])
        per = np.array([s.at(1.0) - s.at(0.0) for s in self.shapes])
        for i in range(len(self.shapes)):
            if i not in free:  # the advance is given: it is set here, and grows with the factor
                change = amount[i] - point.way[i]
                mine = self.shape_of[active] == i
                gaps = gaps - np.where(mine, self.share[active] * change, 0.0)
                row_rate[nf:] += np.where(mine, self.share[active] * per[i], 0.0)
        tails, tail_rates = [], []
        for i in free:
            s = self.shapes[i]
            total = float(self.share[self.shape_of == i] @ point.push[self.shape_of == i])
            if s.control == "force":
                tails.append(amount[i] - total)
                tail_rates.append(per[i])
            else:
                assert s.car is not None
                tails.append(s.car * (amount[i] - point.way[i]) - total)
                tail_rates.append(s.car * per[i])
        return Tangent(
            factor,
            residual,
            -np.concatenate([miss, gaps]),
            np.array(tails),
            rate,
            row_rate,
            np.array(tail_rates),
            work,
            pressing,
        )

    def stiffness(self, point: Point) -> Stiffness:
        """The tangent at a point; contacts that touch there stay in touch."""
        _, full, _, _, extra, rows = self._evaluate(point, True)
        assert full is not None
        assert rows is not None
        return Stiffness(full, extra, self._rows(point, full, rows))

    @cached_property
    def _pressed(self) -> Places:
        """All places of the shapes."""
        number = np.full(len(self.shapes), -1)
        number[self._free] = np.arange(len(self._free))
        resting = np.array([shape.control == "force" for shape in self.shapes], bool)
        of = self.shape_of
        return Places(self.places, self.share, number[of], resting[of], of)

    @property
    def _free(self) -> list[int]:
        """Shapes whose advance is not given."""
        return [i for i, s in enumerate(self.shapes) if s.control == "force" or s.car is not None]

    def _rows(self, point: Point, full: FloatArray, rows: csr_array) -> Rows:
        """The fixings' `rows` at a pose and those of the places that touch, with the free advances."""
        active, free = point.touching, self._free
        if self._give is None and active.any():
            diagonal = np.zeros(self.shell.n_total)
            np.add.at(diagonal, self.large.unknowns.ravel(), np.einsum("eii->ei", full).ravel())
            inverse = np.divide(1.0, diagonal, where=diagonal > 0, out=np.zeros_like(diagonal))
            self._give = GIVE * float(np.median(self.places.power(2) @ inverse))
        nf, nt = len(self.fixings.k), int(active.sum())
        give = np.concatenate([1.0 / self.fixings.k, np.full(nt, self._give or 0.0)])
        member = (self.shape_of[active, None] == np.arange(len(self.shapes))) * -self.share[active, None]
        coupling = np.zeros((nf + nt, len(free)))
        coupling[nf:] = member[:, free]
        tail = np.array([self.shapes[i].car or 0.0 for i in free])
        every = csr_array(vstack([rows, csr_array(self.places[active])])) if nt else rows
        return Rows(csr_array(every), give, coupling, tail)

    def stepped(self, point: Point, tangent: Tangent, change: float = 0.0) -> tuple[Point, float]:
        """The point after a Newton step at factor + `change`, and the work |δ · r| that was left to do.

        Places touch there as the tangent has it.
        """
        t = tangent
        residual, tail = t.residual + change * t.rate, t.tail_miss + change * t.tail_rate
        if t.pressing is not None:  # forces at places without a row are found anew
            loose = np.where(t.pressing.inside, 0.0, point.push)
            residual = residual - np.asarray(self.places.T @ loose)
            residual[: len(self.held)][self.held] = 0.0
            tail = tail + np.array([float(self.share @ np.where(self.shape_of == i, loose, 0.0)) for i in self._free])
        step = t.factor.solve(residual, t.row_miss + change * t.row_rate, tail)
        push = touching = None
        factor = point.factor + change
        if t.pressing is not None:
            given = point.way.copy()
            for i in set(range(len(self.shapes))) - set(self._free):
                given[i] = self.shapes[i].at(factor)
            gap = self.gap - self.share * given[self.shape_of] + self.places @ point.pose.u
            step, push, touching = t.pressing.settled(step, gap, point.push, point.touching)
        u, mu, s = step
        left = abs(float(u @ t.residual)) + abs(float(mu @ t.row_miss)) + abs(float(s @ t.tail_miss))
        return self.taken(point, u, mu, s, factor, push, touching), left

    def taken(
        self,
        point: Point,
        u: FloatArray,
        mu: FloatArray,
        s: FloatArray,
        factor: float,
        push: FloatArray | None = None,
        touching: BoolArray | None = None,
    ) -> Point:
        """The point after the step u (n_total,), mu (active rows,), s (free ways,) to a factor.

        `push` and `touching` (places,) there; without, the rows are those of the places that touch at the point, and
        contact follows.
        """
        nf = len(self.fixings.k)
        predicted = [
            now + self.large.change(chunk, moved, u)
            for chunk, moved, now in zip(self.large.chunks, self._moved, self._strains, strict=True)
        ]
        way = point.way.copy()
        k = 0
        for i, shape in enumerate(self.shapes):
            if shape.control == "force" or shape.car is not None:
                way[i] += s[k]
                k += 1
            else:
                way[i] = shape.at(factor)
        pose = self.large.moved(point.pose, u)
        if push is None or touching is None:
            push = np.zeros(len(self.gap))
            push[point.touching] = point.push[point.touching] - mu[nf:]
            gap = self.gap - self.share * way[self.shape_of] + self.places @ pose.u
            touching = np.where(point.touching, push > 0.0, gap < 0.0)
            for i, shape in enumerate(self.shapes):
                mine = self.shape_of == i
                if shape.control == "force" and not touching[mine].any():  # it must rest on something
                    touching[self._nearest(i, gap)] = True
            push = np.where(touching, push, 0.0)
        return Point(factor, pose, point.mu + mu[:nf], push, way, touching, predicted)

    # ---------------------------------------------------------------------------------------------- the insides
    def _evaluate(
        self, point: Point, tangent: bool
    ) -> tuple[FloatArray, FloatArray | None, FloatArray, float, csr_array | None, csr_array | None]:
        """Residual (n_total,), full element tangents (ne, n, n), the scaled loads there, the work of all loads and
        of the strains, the springs' matrix and the fixings' rows at the pose."""
        large, layout, n = self.large, self.shell.layout, self.shell.n_total
        t = large.tables
        held, scaled = self.loads
        factors = (1.0, point.factor)
        rate = scaled.dead.copy()
        total = held.dead + point.factor * scaled.dead
        work = abs(float(total @ point.pose.u))
        work += LOCKED * sum(factor**2 * energy for factor, energy in zip(factors, self._locked, strict=True))
        out = total.copy()
        full = np.zeros((layout.ne, large.unknowns.shape[1], large.unknowns.shape[1])) if tangent else None
        self._moved, self._strains = [], []
        flat_u = t.unknown_u.ravel()
        for i, chunk in enumerate(large.chunks):
            moved = large.at(chunk, point.pose)
            acting: FloatArray | None = None
            for factor, parts in zip(factors, self._acting, strict=True):
                part_acting = parts[i]
                if part_acting is not None:
                    acting = factor * part_acting if acting is None else acting + factor * part_acting
            force = large.stress(chunk, moved.strain, acting)
            work += float(np.vdot(force if acting is None else force + acting, moved.strain))
            rows = large.operator(chunk, moved)
            inner = (force[:, None] @ rows)[:, 0]
            self.largest = max(self.largest, float(np.abs(inner).max()))
            unknowns = large.unknowns[chunk.es]
            out -= np.bincount(unknowns.ravel(), inner.ravel(), n)
            growing = self._acting[1][i]
            if growing is not None:
                extra_rate = (growing[:, None] @ rows)[:, 0]
                rate += np.bincount(unknowns.ravel(), extra_rate.ravel(), n)
            if tangent:
                assert full is not None
                strain = moved.strain if point.predicted is None else point.predicted[i]
                predicted = force if point.predicted is None else large.stress(chunk, strain, acting)
                mine = rows.swapaxes(1, 2) @ chunk.law(rows)
                mine += large.geometric(chunk, moved, predicted)
                full[chunk.es] = mine
            for number, (factor, part) in enumerate(zip(factors, self.loads, strict=True)):
                pressure = part.elements.pressure
                if pressure is None or not pressure[chunk.es].any():
                    continue
                push, change = large.pressure(moved, pressure[chunk.es], tangent)
                nodes = layout.displacement_unknowns[chunk.es]
                added = np.bincount(nodes.ravel(), push.ravel(), n)
                out += factor * added
                work += abs(factor * float(added @ point.pose.u))
                if number == 1:
                    rate += added
                if change is not None:
                    assert full is not None
                    view = full[chunk.es]
                    view[:, flat_u[:, None], flat_u] += factor * change.reshape(len(view), len(flat_u), -1)
                    full[chunk.es] = view
            self._moved.append(moved)
            self._strains.append(moved.strain)
        extra, rows_now = self._hold(point, out, full)
        if len(self.gap):
            out += np.asarray(self.places.T @ point.push)
            work += abs(float(np.asarray(self.places @ point.pose.u) @ point.push))
        clear = out[: layout.n_boundary]
        clear[self.held] = 0.0
        return out, full, rate, work, extra, rows_now

    def _hold(
        self, point: Point, out: FloatArray, full: FloatArray | None
    ) -> tuple[csr_array | None, csr_array | None]:
        """Takes what springs and fixings carry off `out`; their matrix and rows at the pose, for the tangent."""
        n, nb = self.shell.n_total, self.shell.n_boundary
        if self.extra is None and not len(self.fixings.k):
            return None, csr_array((0, n))
        c = self.coordinates(point.pose)
        pull = self.fixings.rows.T @ point.mu
        if self.extra is not None:
            pull[:nb] += self.extra @ c[:nb]
        spun = self.large.rotation_unknowns
        moment = pull[spun]
        turned = point.pose.turned
        turning = np.flatnonzero(np.isin(spun[:, 0], self._turning))
        jacobian = 0.5 * (np.trace(turned, axis1=1, axis2=2)[:, None, None] * np.eye(3) - turned)
        taken = pull.copy()
        taken[spun] = np.einsum("nba,nb->na", jacobian, moment)
        out -= taken
        if full is None:
            return self.extra, self.fixings.rows
        T = self._transform(jacobian, turning)
        rows = csr_array(self.fixings.rows @ T) if len(turning) else self.fixings.rows
        extra = self.extra
        if len(turning):
            small = T[:nb, :nb]
            extra = None if extra is None else csr_array(small.T @ extra @ small)
            bent = _second(turned[turning], moment[turning])
            extra = self._added(extra, turning, bent, full)
        return extra, rows

    @property
    def _turning(self) -> IntArray:
        """First rotation unknowns of the nodes whose rotation springs or fixings act on."""
        if not hasattr(self, "_turning_"):
            spun = self.large.rotation_unknowns
            rows = self.fixings.rows
            weight = np.bincount(rows.indices, np.abs(rows.data), self.shell.n_total).astype(float)
            if self.extra is not None:
                weight[: self.shell.n_boundary] += np.abs(self.extra.diagonal())
            self._turning_ = spun[(weight[spun] > 0).any(axis=1), 0]
        return self._turning_

    def _transform(self, jacobian: FloatArray, turning: IntArray) -> csr_array:
        """The change (n_total, n_total) of the coordinates by a step: 1 but for the rotations at `turning` nodes."""
        n = self.shell.n_total
        spun = self.large.rotation_unknowns[turning]
        one = np.ones(n)
        one[spun] = 0.0
        row = np.repeat(spun[:, :, None], 3, axis=2)
        column = np.repeat(spun[:, None], 3, axis=1)
        at = np.arange(n)
        data = np.concatenate([one, jacobian[turning].ravel()])
        return csr_array(
            (data, (np.concatenate([at, row.ravel()]), np.concatenate([at, column.ravel()]))), shape=(n, n)
        )

    def _added(
        self, extra: csr_array | None, turning: IntArray, bent: FloatArray, full: FloatArray
    ) -> csr_array | None:
        """Adds the change of moments (n, 3, 3) at nodes: inner nodes' to `full`, the others' to the springs."""
        nb = self.shell.n_boundary
        spun = self.large.rotation_unknowns[turning]
        outer = spun[:, 0] < nb
        inner = self.large.tables.linear.nr - self.large.tables.linear.boundary
        for i in np.flatnonzero(~outer):
            element, j = divmod(int(turning[i]) - self.shell.layout.nb, inner)
            places = self.large.tables.unknown_t[self.large.tables.linear.boundary + j]
            full[element][np.ix_(places, places)] += bent[i]
        if not outer.any():
            return extra
        row = np.repeat(spun[outer][:, :, None], 3, axis=2).ravel()
        column = np.repeat(spun[outer][:, None], 3, axis=1).ravel()
        added = csr_array((bent[outer].ravel(), (row, column)), shape=(nb, nb))
        return added if extra is None else csr_array(extra + added)


def _locked(large: LargeShell, initial: FloatArray | None) -> float:
    """Twice the energy (J) of free strain with resultants (ne, 8) where all of it is held back."""
    if initial is None:
        return 0.0
    total = 0.0
    for chunk in large.chunks:
        given = initial[chunk.es]
        strain = np.linalg.solve(large.shell.stiffness[chunk.es], given[..., None])[..., 0]
        total += float(np.einsum("e,ei,ei->", chunk.law.weight.sum(axis=1), given, strain))
    return total


def _skew(turned: FloatArray) -> FloatArray:
    """Vectors (n, 3) of the skew parts of rotations (n, 3, 3): the axis times the sine."""
    return 0.5 * np.stack(
        [turned[:, 2, 1] - turned[:, 1, 2], turned[:, 0, 2] - turned[:, 2, 0], turned[:, 1, 0] - turned[:, 0, 1]],
        axis=1,
    )


def _second(turned: FloatArray, moment: FloatArray) -> FloatArray:
    """Change (n, 3, 3) of the nodal moments Jᵀ m with the rotation, m (n, 3) kept."""
    cross = np.zeros_like(turned)
    for a, b, c, sign in ((0, 1, 2, -1), (0, 2, 1, 1), (1, 2, 0, -1)):
        cross[:, a, b], cross[:, b, a] = sign * moment[:, c], -sign * moment[:, c]
    return -moment[:, :, None] * _skew(turned)[:, None] - 0.5 * turned.swapaxes(1, 2) @ cross


def settled(point: Point) -> Point:
    """The point without what its last step predicted."""
    return replace(point, predicted=None)
