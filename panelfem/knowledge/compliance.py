"""What gauges on a panel show under weights, by linear theory, with its fixings at several stiffnesses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.loads.fixings import hold
from panelfem.loads.vectors import region_elements, spread
from panelfem.panel import Panel
from panelfem.shell import Shell
from panelfem.shell.fields import point_tables


@dataclass(frozen=True, eq=False)
class Weight:
    """A force (3,) N spread over a mesh region."""

    name: str
    region: str
    force: FloatArray


@dataclass(frozen=True, eq=False)
class Gauge:
    """A gauge at `place` (3,) m that reads the motion of the skin along the unit vector `direction` (3,)."""

    name: str
    place: FloatArray
    direction: FloatArray


def gauge_rows(panel: Panel, shell: Shell, gauges: Sequence[Gauge]) -> FloatArray:
    """Rows (ng, n_total) that take the unknowns to the readings."""
    rows = np.zeros((len(gauges), shell.n_total))
    elements, share = panel.mesh.nearest(np.array([g.place for g in gauges]).reshape(-1, 3))
    for i, gauge in enumerate(gauges):
        element = int(elements[i])
        shape = point_tables(shell.mesh.order, share[i, 1:, None]).value[0]
        unknowns = shell.layout.displacement_unknowns[element]
        np.add.at(rows[i], unknowns, shape[:, None] * gauge.direction)
    return rows


def check_places(panel: Panel, weights: Sequence[Weight], gauges: Sequence[Gauge]) -> None:
    """Raise InputError for a weight or a gauge on what is gone or carries nothing."""
    gone = panel.removed | panel.slack
    on = [f"weight {w.name!r}" for w in weights if (panel.mesh.inside[w.region] & gone).any()]
    elements, _ = panel.mesh.nearest(np.array([g.place for g in gauges]).reshape(-1, 3))
    on += [f"gauge {g.name!r}" for g, element in zip(gauges, elements, strict=True) if gone[element]]
    if on:
        raise InputError(
            "it stands where the panel, damaged, carries nothing",
            where=", ".join(on),
            allowed="a place outside the damage at its greatest size",
            do="set it beside the damage and read again, or take the greatest size smaller",
        )


def readings_of(
    panel: Panel,
    weights: Sequence[Weight],
    gauges: Sequence[Gauge],
    ratios: FloatArray,
    order: int,
    like: Shell | None = None,
) -> tuple[FloatArray, Shell]:
    """Deflections (nr, ng, nw) m of the panel, and its shell, with every spring of its fixings times exp of `ratios`.

    `like`: a shell on the same mesh, taken over where nothing changed.  Raises ModelError for a panel free to move, and
    InputError as `check_places`.
    """
    check_places(panel, weights, gauges)
    active = ~panel.removed
    if like is None:
        shell = Shell(panel.mesh.curved(order), panel.stiffness(), panel.axis, active)
    else:
        shell = like.exchanged(panel.stiffness(), active)
    holding = hold(panel, shell)
    loads = [spread(shell, w.force, region_elements(panel, w.region, f"weight {w.name!r}")) for w in weights]
    base = holding.system.solve(np.array(loads).T)
    rows = gauge_rows(panel, shell, gauges)
    each = [rows @ holding.held.at(float(np.exp(r)) * holding.stiffness).displacement(base) for r in ratios]
    return np.stack(each), shell


def has_springs(panel: Panel) -> bool:
    """Whether any fixing gives: one that is fitted, and neither free nor rigid in some direction."""
    each = np.array([[f.in_plane, f.out_of_plane, f.tilt, f.twist] for f in panel.fasteners if f.fitted])
    return bool((np.isfinite(each) & (each > 0)).any())
