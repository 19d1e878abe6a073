"""A notch in the edge."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from panelfem.arrays import BoolArray
from panelfem.damage.kind import Notch
from panelfem.errors import Fault
from panelfem.marks import Mark
from panelfem.panel import Panel


@dataclass(frozen=True)
class EdgeNotch(Notch):
    """Material gone from the edge of the panel or of an opening inwards: a hole that meets the edge."""

    word: ClassVar[str] = "edge notch"
    about: ClassVar[str] = "A piece broken or torn out of the edge of the panel or of an opening."
    mark: ClassVar[Mark] = Mark("", "--")
    source: ClassVar[str] = (
        "strength at the border from the stress averaged over a length, Whitney & Nuismer 1974, J. Compos. Mater. "
        "8:253 (from memory), on the meshed field"
    )
    limits: ClassVar[str] = "edges are clean: plies split along the edge beside it are a damage of their own"

    def faults(self, panel: Panel, others: Mapping[str, BoolArray]) -> Iterator[Fault]:
        inside = panel.mesh.inside[self.region]
        if not np.isin(panel.mesh.boundary_edges, panel.mesh.triangles[inside]).all(axis=1).any():
            yield Fault(
                "area", "the area does not reach an edge of the panel", "an area over the edge, with its tolerance",
                'measure it again, or write kind = "hole"',
            )  # fmt: skip
