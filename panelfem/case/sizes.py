"""A case with its damage larger or smaller than it is assessed, each time on a mesh of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations
from math import dist
from typing import TYPE_CHECKING

from panelfem.case.regions import smallest_half_width
from panelfem.case.schema import CaseFile
from panelfem.case.schema_area import Disc, Polygon
from panelfem.case.schema_found import AreaSection
from panelfem.damage.kind import Slit

if TYPE_CHECKING:
    from panelfem.case.records import Case


@dataclass(frozen=True)
class Sizes:
    """The damage of a case that has a size, and how the case is built `again` from a changed model; with True, its mesh
    carries the borders as measured as well.

    A border lies `grown` m outside the one measured; damage is assessed with its tolerance, so grown by that.
    """

    model: CaseFile
    again: Callable[[CaseFile, bool], Case]

    @property
    def assessed(self) -> dict[str, float]:
        """Name of the damage -> how far outside its measured border it is assessed, m."""
        return {found.name: 1e-3 * found.tolerance_mm for found in self._sized.values()}

    @property
    def _sized(self) -> dict[str, AreaSection]:
        return {found.name: found for found in self.model.damage if isinstance(found, AreaSection)}

    def round(self, name: str) -> bool:
        """Whether a damage is a disc, the same across in all directions."""
        return isinstance(self._sized[name].area, Disc)

    def across(self, name: str, grown: float) -> float:
        """The greatest measure of a damage, m."""
        match self._sized[name].area:
            case Disc(diameter_mm=diameter):
                measured = diameter
            case Polygon(corners_mm=corners):
                measured = max(dist(a, b) for a, b in combinations(corners, 2))
            case area:
                measured = area.length_mm
        return 1e-3 * measured + 2.0 * grown

    def narrowest(self, name: str, grown: float) -> float:
        """Half the width of a damage, m; of a crack, half of what it is longer than wide."""
        found = self._sized[name]
        if issubclass(found.record, Slit) and not isinstance(found.area, Disc | Polygon):
            return 5e-4 * (found.area.length_mm - found.area.width_mm) + grown
        return smallest_half_width(found.area, grown)

    def case(self, grown: Mapping[str, float], option: str | None = "") -> Case:
        """The case with the borders of some damage so far (m) outside the measured ones.

        `option`: the only one that is kept, None: none, empty: all.  Raises CaseError and MeshError for what such a
        size contradicts, or what cannot be meshed.
        """
        damage = [
            found.model_copy(update={"tolerance_mm": 1e3 * grown[found.name]}) if found.name in grown else found
            for found in self.model.damage
        ]
        kept = [o for o in self.model.option if option in ("", o.name)]
        return self.again(self.model.model_copy(update={"damage": damage, "option": kept}), False)

    def with_both(self) -> Case:
        """The case on a mesh that carries the borders as measured beside those it is assessed with."""
        return self.again(self.model, True)
