"""Loads as vectors on a shell: what a pressure, an acceleration, a force on an area or a cure adds to the right."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.errors import InputError
from panelfem.loads.records import AreaForce, Cure, Inertia, Load, Misfit, Pressure
from panelfem.panel import Panel
from panelfem.shell.equilibrium import Acting
from panelfem.shell.large import ElementLoads
from panelfem.shell.shell import Shell

NEAREST = 4
"""Samples that a sampled pressure is taken from, by the inverse square of their distance (assumed)."""


def resultant(shell: Shell, load: FloatArray) -> FloatArray:
    """Total force (3,) N of a load vector (n_total,)."""
    total = np.zeros(3)
    for c in range(3):
        unknowns = np.unique(shell.layout.displacement_unknowns[..., c])
        total[c] = load[unknowns].sum()
    return total


def region_elements(panel: Panel, region: str | None, where: str) -> BoolArray:
    """Elements (ne,) of a mesh region that are there; all of them for None.

    Raises InputError for a region the mesh does not have, and for one with nothing left of it.
    """
    if region is None:
        return ~panel.removed
    if region not in panel.mesh.inside:
        known = ", ".join(sorted(panel.mesh.inside)) or "none"
        raise InputError(f"there is no region '{region}'", where=where, allowed=known)
    elements = panel.mesh.inside[region] & ~panel.removed
    if not elements.any():
        raise InputError(
            f"nothing of the panel is left in region '{region}'",
            where=where,
            do="move the region or leave the load out of this configuration",
        )
    return elements


def spread(shell: Shell, force: FloatArray, elements: BoolArray) -> FloatArray:
    """Load (n_total,) of a force (3,) N spread evenly over the area of the active ones of `elements` (ne,)."""
    pressure = shell.traction(np.asarray(force, float), elements)
    area = float(resultant(shell, shell.traction(np.array([1.0, 0.0, 0.0]), elements))[0])
    return pressure / area


def sampled(points: FloatArray, values: FloatArray, x: FloatArray) -> FloatArray:
    """Values (...,) at x (..., 3) from samples (m,) at points (m, 3): nearest ones weighted by inverse square
    distance.

    A point on a sample has that sample's value.

    >>> p = np.array([[0.0, 0, 0], [2, 0, 0]])
    >>> sampled(p, np.array([10.0, 30.0]), np.array([[0.0, 0, 0], [1, 0, 0]])).tolist()
    [10.0, 20.0]
    """
    from scipy.spatial import cKDTree

    count = min(NEAREST, len(points))
    distance, index = cKDTree(points).query(x.reshape(-1, 3), k=list(range(1, count + 1)))
    weight = 1.0 / np.maximum(distance, 1e-12) ** 2
    out = np.sum(weight * values[index], axis=1) / weight.sum(axis=1)
    return np.asarray(out.reshape(x.shape[:-1]))


def pressure_vector(load: Pressure, panel: Panel, shell: Shell) -> FloatArray:
    """Load (n_total,) of a pressure: `value` N/m² along −n."""
    elements = region_elements(panel, load.region, "pressure")
    if load.points is None or load.values is None:
        return shell.traction(lambda x, n: -load.value * n, elements)
    points, values = np.asarray(load.points, float), np.asarray(load.values, float)
    if len(points) == 0 or points.shape != (len(values), 3) or not np.isfinite(values).all():
        raise InputError(
            "pressure samples do not match", where="pressure", allowed="one finite value for each point (x, y, z)"
        )
    return shell.traction(lambda x, n: -load.value * sampled(points, values, x)[..., None] * n, elements)


def pressure_field(load: Pressure, panel: Panel, shell: Shell) -> FloatArray:
    """The pressure (ne, nq) Pa at the rule of every element, positive along −n, zero where it does not act."""
    elements = region_elements(panel, load.region, "pressure")
    _, x, _, weight = shell.quadrature()
    field = np.zeros(weight.shape)
    if load.points is None or load.values is None:
        field[elements] = load.value
    else:
        field[elements] = load.value * sampled(load.points, load.values, x[elements])
    return field


def acting(loads: Sequence[Load], panel: Panel, shell: Shell) -> Acting:
    """What loads put on a shell that moves far: pressure follows the skin, forces keep their direction, free strain
    stays in the material.

    Raises InputError as `load_vector`.
    """
    dead = np.zeros(shell.n_total)
    pressure: FloatArray | None = None
    initial: FloatArray | None = None
    for load in loads:
        match load:
            case Pressure():
                pressure_vector(load, panel, shell)  # checks the samples
                added = pressure_field(load, panel, shell)
                pressure = added if pressure is None else pressure + added
            case Cure(since_fitting=change):
                if change != 0.0:
                    each = np.stack([one.thermal_resultants(change) for one in panel.laminates])
                    six = np.where(panel.removed[:, None], 0.0, each[panel.laminate_of])
                    eight = np.concatenate([six, np.zeros((len(six), 2))], axis=1)
                    initial = eight if initial is None else initial + eight
            case _:
                dead += load_vector(load, panel, shell)
    return Acting(dead, ElementLoads(pressure, initial))


def inertia_vector(load: Inertia, panel: Panel, shell: Shell) -> FloatArray:
    """Load (n_total,) of a force per mass on the skin, what hangs on it, and tape and the like spread over it."""
    field = np.asarray(load.field, float)
    out = shell.traction(panel.areal_mass()[:, None] * field, ~panel.removed)
    for mass in panel.masses:
        out += spread(shell, mass.mass * field, region_elements(panel, mass.region, f"mass '{mass.name}'"))
    if panel.extra_mass:
        out += spread(shell, panel.extra_mass * field, ~panel.removed)
    return out


def cure_vector(load: Cure, panel: Panel, shell: Shell) -> FloatArray:
    """Load (n_total,) of the free strains since the panel was fitted, held back."""
    if load.since_fitting == 0.0:
        return np.zeros(shell.n_total)
    each = np.stack([one.thermal_resultants(load.since_fitting) for one in panel.laminates])
    return shell.residual_strain(np.where(panel.removed[:, None], 0.0, each[panel.laminate_of]))


def load_vector(load: Load, panel: Panel, shell: Shell) -> FloatArray:
    """Load (n_total,) of one part of a load case; zero for a misfit (see `fastener_gaps`) and for a contact.

    Raises InputError for a region that is not there or that nothing is left of.
    """
    match load:
        case Pressure():
            return pressure_vector(load, panel, shell)
        case Inertia():
            return inertia_vector(load, panel, shell)
        case AreaForce(region=region, force=force, kind=kind):
            return spread(shell, force, region_elements(panel, region, kind))
        case Cure():
            return cure_vector(load, panel, shell)
        case _:
            return np.zeros(shell.n_total)


def fastener_gaps(loads: tuple[Load, ...], panel: Panel) -> FloatArray:
    """Motions (nf, 6) that the fixings pull the skin to: the misfits' gaps along the normals, m.

    Raises InputError for a fastener the panel does not have.
    """
    names = [fastener.name for fastener in panel.fasteners]
    gaps = np.zeros((len(names), 6))
    for load in loads:
        if isinstance(load, Misfit):
            if load.fastener not in names:
                known = ", ".join(names) or "none"
                raise InputError(f"there is no fastener '{load.fastener}'", where="misfit", allowed=known)
            gaps[names.index(load.fastener), 2] += load.gap
    return gaps
