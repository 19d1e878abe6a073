"""What the fixings carry, against their ratings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from panelfem.panel import Fastener
from panelfem.reserve.check import Words, factor_on_scalar, factor_on_vector, mode_reserve
from panelfem.reserve.observe import Observed
from panelfem.reserve.records import FixingLoad, ModeReserve

#: What these modes are by.
CRITERION = "fixing rating"


@dataclass(frozen=True)
class FixingCheck:
    """Retention: in-plane shear and pull against the catalogue's ratings (each alone; ratings seldom come combined).

    Pull is the force along the normal, of either sign: a fixing is pulled through one way and off the other.
    """

    fasteners: tuple[Fastener, ...]
    words: Words

    def reserves(self, held: Observed, now: Observed, everything: bool) -> list[ModeReserve]:
        found = []
        for i, f in enumerate(self.fasteners):
            if not f.fitted:
                continue
            h, a = held.reactions[i], now.reactions[i] - held.reactions[i]
            where = f"at {f.name}"
            if f.rating_shear is not None:
                factor = float(factor_on_vector(h[None, :2], a[None, :2], f.rating_shear)[0])
                mode = mode_reserve("shear beyond the rating", CRITERION, "release", factor, f.place, None)
                found.append(replace(mode, where=where))
            if f.rating_pull is not None:
                both = [float(factor_on_scalar(s * h[2:3], s * a[2:3], f.rating_pull)[0]) for s in (1.0, -1.0)]
                factor = np.nan if np.isnan(both).any() else min(both)
                mode = mode_reserve("pull beyond the rating", CRITERION, "release", factor, f.place, None)
                found.append(replace(mode, where=where))
        return found


def fixing_loads(fasteners: Sequence[Fastener], now: Observed) -> tuple[FixingLoad, ...]:
    """Shear and pull (N) of each fixing that is fitted."""
    return tuple(
        FixingLoad(
            f.name,
            float(np.hypot(*now.reactions[i, :2])),
            float(abs(now.reactions[i, 2])),
            f.rating_shear,
            f.rating_pull,
        )
        for i, f in enumerate(fasteners)
        if f.fitted
    )
