"""From a state of the panel to a factored model with all that is read off its solutions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.assess.plan import State
from panelfem.errors import ModelError
from panelfem.loads.fixings import Holding, hold
from panelfem.panel import Panel
from panelfem.reserve.analyse import Subject
from panelfem.reserve.areas import area_means
from panelfem.reserve.bolted import rings
from panelfem.reserve.bonds import bond_lines
from panelfem.reserve.check import Words
from panelfem.reserve.impact import struck_points
from panelfem.reserve.observe import Observer
from panelfem.reserve.sampling import sampling
from panelfem.reserve.singular import places
from panelfem.reserve.theory import theory
from panelfem.shell import Shell
from panelfem.shell.large import LargeShell
from panelfem.shell.stability import Mode, reshaped


@dataclass(frozen=True)
class Imperfection:
    """How a panel stands out of its shape before it is loaded: by `shape` (n_total,) m, at most `height` m along its
    normal, like its buckling `mode` under the scaled loads, or, if `held`, under those that stay, alone.
    """

    shape: FloatArray
    height: float
    mode: Mode
    held: bool = False


class Model:
    """A state of the panel, factored.

    `like`: a shell on the same mesh, whose geometry, ordering and unchanged element matrices are taken over.
    `pivots`: whether the signs of the factor's are looked at.  `imperfection`: how it stands out of the panel's shape,
    None: not at all.  Raises ModelError for a panel free to
    move, and for a fixing with no panel left under it.
    """

    imperfection: Imperfection | None = None

    def __init__(self, state: State, order: int, words: Words, like: Shell | None = None, pivots: bool = True) -> None:
        self.state, self.panel = state, state.panel
        active = ~self.panel.removed
        if like is None:
            self.shell = Shell(self.panel.mesh.curved(order), self.panel.stiffness(), self.panel.axis, active)
        else:
            self.shell = like.exchanged(self.panel.stiffness(), active)
        self.holding: Holding = hold(self.panel, self.shell, pivots=pivots)
        for fastener, area in zip(self.panel.fasteners, self.holding.rows.area.tolist(), strict=True):
            if fastener.fitted and not area > 0:
                raise ModelError(
                    f"fixing {fastener.name!r} has no panel left under its washer",
                    where=self.panel.name,
                    do="call it a missing fixing, or check its place",
                )
        self.recovery = self.shell.recovery(self.panel.laminate_of)
        self.subject = self.read(state, words)

    @cached_property
    def large(self) -> LargeShell:
        """The shell's elements at large displacements."""
        return LargeShell(self.shell)

    @cached_property
    def _bend(self) -> FloatArray | None:
        """Greatest curvature (np,) 1/m of the true surface at the recovery points, None if it is not known."""
        surface = self.panel.mesh.surface
        return None if surface is None else surface.curvature(self.recovery.points)

    def read(self, state: State, words: Words) -> Subject:
        """What is read off this model's solutions if the panel's strengths or notches are those of `state`."""
        panel, active = state.panel, ~state.panel.removed
        counted = active & ~panel.slack
        singular = places(panel, self.shell.mesh, state.notches, state.forces)
        samples = sampling(panel.mesh, self.recovery, panel.laminate_of, counted, state.notches, singular)
        bonds = bond_lines(panel, self.recovery, words, state.notches)
        law = np.stack([laminate.shear for laminate in panel.laminates])[self.recovery.group]
        probed = [panel.mesh.inside[region] for region in state.probes]
        areas = area_means(
            panel.mesh,
            self.recovery,
            panel.laminate_of,
            [*_delaminated(panel, counted), *probed, *rings(panel, counted)],
        )
        observer = Observer(self.recovery, samples, law, bonds.points, len(panel.mesh.vertices), self._bend, areas)
        held = theory(panel, samples, supported_vertices(panel), counted)
        struck = struck_points(panel, samples, self.recovery)
        return Subject(panel, observer, held, bonds, counted, words, struck)


def _delaminated(panel: Panel, counted: BoolArray) -> list[BoolArray]:
    """The elements (ne,) of each delamination; raises ModelError for one that is not all there."""
    areas = [panel.mesh.inside[found.region] for found in panel.delaminations]
    for found, area in zip(panel.delaminations, areas, strict=True):
        if not counted[area].all():
            raise ModelError(
                "part of the delaminated area is cut away or carries nothing",
                where=f"delamination {found.name!r}",
                do="cut the whole of it out, or call it a softened area",
            )
    return areas


class Bent(Model):
    """The model of a panel that stands a little out of its shape, free of stress there.

    What holds it, and where strength is looked at, are those of the panel itself.
    """

    imperfection: Imperfection

    def __init__(self, model: Model, imperfection: Imperfection) -> None:
        self.state, self.panel, self.holding, self.subject = model.state, model.panel, model.holding, model.subject
        self.imperfection = imperfection
        self.shell = model.shell.moved(reshaped(model.shell, imperfection.shape))
        self.recovery = model.recovery.on(self.shell)


def supported_vertices(panel: Panel) -> IntArray:
    """Vertices next to a fitted fixing, on a held edge or in a held area, (k,)."""
    mesh, active = panel.mesh, ~panel.removed
    found = [
        np.argmin(((mesh.vertices - f.place) ** 2).sum(1), keepdims=True)
        for f in panel.fasteners
        if f.fitted and f.out_of_plane > 0
    ]
    found += [np.unique(mesh.triangles[mesh.inside[area.region] & active]) for area in panel.held_areas]
    for edge in panel.edges:
        ends = mesh.boundary_edges
        if edge.region is not None:
            ends = ends[edge.region.distance(mesh.vertices[ends].mean(1)) <= 0]
        found.append(np.unique(ends))
    if not found:
        raise ModelError("nothing holds the panel", where=panel.name, do="give it fixings, a held edge or a held area")
    return np.unique(np.concatenate(found)).astype(np.int64)
