"""Materials: plies, cores and adhesives, each property with unit, basis and source."""

from panelfem.material.library import library, sources
from panelfem.material.records import Adhesive, Basis, CoreMaterial, Material, PlyMaterial, Provenance

__all__ = ["Adhesive", "Basis", "CoreMaterial", "Material", "PlyMaterial", "Provenance", "library", "sources"]
