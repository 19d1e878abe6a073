"""What each element contributes to the error of the numbers the accuracy is asked of.

A number's error is about Σ_e √(E_e(load) · E_e(dual)), E_e being the energy in element e of the step between the two
orders, of the load's solution and of that of the number's own unit load: a force along the greatest deflection, an
initial strain like the governing one round its place, a pull on a fixing (Becker and Rannacher 2001, from memory).
Contact is left out of the dual solutions, which only say where smaller elements pay.

A reserve also owes much of its bar to how well strains can be read off the elements around one place: there elements
of order k + 1 are off by about h^:data:`LOCAL_RATE`, and are made as much smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.accuracy.indicator import step
from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.assess.solve import Solved
from panelfem.reserve import bolted, fixings
from panelfem.reserve.bars import SHEAR_MODES, Aim
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.shell import Shell

#: What modes at a fixing are by; they say which in `where`.
_AT_FIXINGS = (fixings.CRITERION, bolted.CRITERION)
#: The next mesh is aimed at this share of what is allowed.
AIM = 0.6
#: So many of a state's numbers, those farthest from what is asked, shape the next mesh.
MOST_AIMS = 8
#: Rate at which strains at a place converge with the size of the elements there (2 to 3 where they are smooth).
LOCAL_RATE = 2.5
#: Elements at a place become so many times smaller at most.
_SMALLEST = 0.5


@dataclass(frozen=True)
class Wish:
    """What a state that is not accurate enough asks of the next mesh.

    `shares` (ne, m): what each element contributes to the bars of m numbers over what is allowed of them; `finer`
    (ne,): the size each element should have over what it has; `singular` vertices (k,).
    """

    shares: FloatArray
    finer: FloatArray
    singular: IntArray


def wish(low: Solved, high: Solved, wanted: Sequence[tuple[str, Aim]], accuracy: float) -> Wish:
    """What the numbers of a state that are farthest from the accuracy ask of the next mesh."""
    unmet = sorted((item for item in wanted if not item[1].share <= accuracy), key=lambda item: -item[1].share)
    unmet = unmet[:MOST_AIMS]
    number = {load.name: i for i, load in enumerate(high.loads)}
    near = [_near(high, aim.mode) for _, aim in unmet]
    resultants = [_resultants(high, number[load], aim, at) for (load, aim), at in zip(unmet, near, strict=True)]
    solutions = []
    for solved in (low, high):
        duals = [
            _dual(solved, high.results[number[load]], aim, acting)
            for (load, aim), acting in zip(unmet, resultants, strict=True)
        ]
        solutions.append(np.column_stack([solved.displacements, *duals]))
    products = step(low.model.shell, solutions[0], high.model.shell, solutions[1])
    out, finer = np.empty((len(products), len(unmet))), np.ones(len(products))
    for j, ((load, aim), at) in enumerate(zip(unmet, near, strict=True)):
        i, dual = number[load], len(high.loads) + j
        bound = np.sqrt(np.maximum(products[:, i, i], 0.0) * np.maximum(products[:, dual, dual], 0.0))
        bound /= max(float(bound.sum()), 1e-300)
        over = min(aim.share, 1.0) / (AIM * accuracy)
        out[:, j] = bound * over
        if at is not None:
            finer[at] = np.minimum(finer[at], max(over ** (-1.0 / LOCAL_RATE), _SMALLEST))
    singular = np.array([place.vertex for place in high.model.subject.sampling.places], np.int64)
    return Wish(out, finer, singular)


def _near(solved: Solved, mode: ModeReserve | None) -> BoolArray | None:
    """The elements (ne,) whose strain a mode is read off: those at its place, and within the length averaged over."""
    if mode is None or mode.place is None or mode.criterion in (*_AT_FIXINGS, "deflection limit"):
        return None
    mesh, model = solved.model.shell.mesh, solved.model
    active = model.subject.counted
    x = mesh.x[mesh.triangles]
    gap = np.linalg.norm(x - mode.place, axis=2).min(axis=1)
    gap[~active] = np.inf
    if mode.laminate is not None:
        mine = model.panel.laminate_of == mode.laminate
        gap = np.where(mine, gap, np.inf) if np.isfinite(gap[mine]).any() else gap
    return np.asarray(gap <= max(float(gap.min()) + 1e-9, mode.averaged))


def _resultants(solved: Solved, load: int, aim: Aim, near: BoolArray | None) -> FloatArray | None:
    """Resultants (ne, 8) like those of the load on the elements at a mode's place."""
    if near is None or aim.mode is None:
        return None
    shell = solved.model.shell
    at = np.flatnonzero(near)
    middle = np.full((2, 1), 1.0 / 3.0)
    strain = shell.strains(solved.displacements[:, load], middle, at)[:, 0]
    strain[:, slice(0, 6) if aim.mode.mode in SHEAR_MODES else slice(6, 8)] = 0.0
    acting = np.zeros((len(near), 8))
    acting[at] = np.einsum("eij,ej->ei", shell.stiffness[at], strain)
    return acting


def _dual(solved: Solved, result: LoadResult, aim: Aim, acting: FloatArray | None) -> FloatArray:
    """The solution (n_total,) under a number's own unit load."""
    model, shell = solved.model, solved.model.shell
    state = model.holding.held.at(model.holding.stiffness)
    name = aim.fixing
    if aim.mode is not None and aim.mode.criterion in _AT_FIXINGS:
        name = aim.mode.where.removeprefix("at ")
    fixings = {f.name: i for i, f in enumerate(model.panel.fasteners)}
    if name in fixings:
        gaps = np.zeros((len(fixings), 6))
        load = next(f for f in result.fixings if f.name == name)
        gaps[fixings[name], 2 if load.pull >= load.shear else 0] = 1.0
        return state.displacement(np.zeros(shell.n_total), gaps)
    row = _motion(shell, result, aim) if acting is None else shell.residual_strain(acting)
    return state.displacement(model.holding.system.solve(row))


def _motion(shell: Shell, result: LoadResult, aim: Aim) -> FloatArray:
    """Row (n_total,) of the motion along the greatest deflection at its place, or at that of a mode."""
    place = result.deflection.place if aim.mode is None or aim.mode.place is None else aim.mode.place
    x = shell.mesh.x[: int(shell.mesh.triangles.max()) + 1]
    vertex = int(((x - place) ** 2).sum(axis=1).argmin())
    row = np.zeros(shell.n_total)
    row[6 * vertex : 6 * vertex + 3] = result.deflection.vector
    return row
