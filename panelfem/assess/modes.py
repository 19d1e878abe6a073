"""How a panel buckles under a load, as it stands under what is held, by elements of both orders."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from panelfem.accuracy.bars import measured
from panelfem.arrays import FloatArray
from panelfem.assess.solve import Solved
from panelfem.errors import ModelError
from panelfem.loads import LoadCase
from panelfem.reserve.records import TheoryCheck
from panelfem.reserve.theory import DEFLECTION, MEMBRANE, ROTATION
from panelfem.shell.stability import GivesError, Mode, buckling

#: Modes reported.
MODES = 3


@dataclass(frozen=True)
class Found:
    """How a panel buckles under one load, by elements of both orders: the `modes` of the lower one and of the `higher`
    one, and the factor `counted` up to which neither has others.  `held`: what is held buckles it alone, in the mode
    given.  `note`: why nothing was computed.
    """

    modes: tuple[Mode, ...] = ()
    higher: tuple[Mode, ...] = ()
    counted: float = 0.0
    held: bool = False
    note: str = ""

    @property
    def factors(self) -> tuple[tuple[float, float], ...]:
        """The factors with their bars.  A first one that one order has not is as uncertain as the lack of it."""
        if self.held:
            return ((0.0, 0.0),)
        if bool(self.modes) != bool(self.higher):
            first = (self.modes or self.higher)[0].factor
            return ((first, max(self.counted - first, 0.0)),)
        pairs = [measured(a.factor, b.factor) for a, b in zip(self.modes, self.higher, strict=False)]
        return tuple((m.value, m.bar) for m in pairs)

    @property
    def least(self) -> float:
        """The first factor less its bar, or that up to which there is none."""
        return self.factors[0][0] - self.factors[0][1] if self.factors else self.counted


def bends(check: TheoryCheck) -> bool:
    """Whether there are other reasons than compression why linear theory does not hold for how far a panel moves."""
    others = (
        check.deflection_over_thickness / DEFLECTION,
        check.rotation / ROTATION,
        check.membrane_change / MEMBRANE,
    )
    return max(others) > 1.0


def look(low: Solved, high: Solved, load: LoadCase, within: float) -> Found:
    """How the panel buckles under a load, up to a factor."""
    try:
        try:
            first = modes(low, load, within)
            return Found(first, modes(high, load, within, first), within)
        except GivesError:
            alone = low.responder.following(load).equilibrium.of_held()
            first = buckling(alone, alone.rest(), 1, 1.0).modes
            return Found(first, held=True, note="the panel buckles under what is held alone")
    except ModelError as fault:
        return Found(note=f"how it buckles was not computed: {fault.what}")


def modes(solved: Solved, load: LoadCase, within: float = math.inf, lower: Sequence[Mode] = ()) -> tuple[Mode, ...]:
    """The lowest buckling modes up to a factor on the load's own parameter, as the panel stands under what is held.

    What is held moves the panel by linear theory, or where that does not hold for it, far.  With contact, places that
    touch at the expected severity by linear theory stay in touch, others do not come into it, and what grows with the
    factor is the stress of linear theory there.  `solved` is linear under this load; `lower`: the modes that elements
    of lower order have.  Raises ModelError as :func:`panelfem.shell.stability.buckling`.
    """
    response, path = solved.responder.following(load), solved.paths[load.name]
    eq, held, now = response.equilibrium, path.response.held, path.found(1.0)
    rate: FloatArray | None = now.unknowns - held.unknowns
    if bends(solved.model.subject.theory(path, 0.0)):
        start, rate = response.path.held(), rate if eq.shapes else None
    else:
        start = eq.rest()
        moved = [eq.large.at(chunk, start.pose) for chunk in eq.large.chunks]
        pairs = zip(eq.large.chunks, moved, strict=True)
        start = replace(start, predicted=[eq.large.change(chunk, at, held.unknowns) for chunk, at in pairs])
    start = replace(start, touching=response.touching(now))
    near = lower[0].factor if lower else None
    return buckling(eq, start, len(lower) or MODES, within, rate=rate, near=near).modes
