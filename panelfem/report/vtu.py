"""``fields.vtu``: displacement and reserve of every configuration, load and variant on the panel's triangles.

Point data: ``displacement m | CONFIGURATION | LOAD | VARIANT`` (nv, 3) and ``reserve factor | …`` (nv,), capped as in
the assessment and nan where nothing is; ``buckling shape | …`` and ``vibration shape NUMBER | CONFIGURATION | VARIANT``
(nv, 3), greatest motion one; cell data: ``region | NAME``, ``damage | NAME`` and ``removed |
CONFIGURATION | VARIANT``, 1 inside and 0 outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import meshio
import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess.records import Assessment, Configuration, Variant


def states(assessment: Assessment) -> Iterator[tuple[Configuration, Variant]]:
    """Every configuration with each of its variants, contingencies last."""
    for configuration in assessment.configurations:
        for variant in (*configuration.variants, *configuration.contingencies):
            yield configuration, variant


def fields(assessment: Assessment) -> meshio.Mesh:
    """The mesh with all fields on it."""
    mesh = assessment.mesh
    points: dict[str, FloatArray] = {}
    cells: dict[str, list[np.ndarray[tuple[int], np.dtype[np.uint8]]]] = {}
    for name, inside in mesh.inside.items():
        cells[f"region | {name}"] = [inside.astype(np.uint8)]
    for name, inside in assessment.damage_regions.items():
        cells[f"damage | {name}"] = [inside.astype(np.uint8)]
    for configuration, variant in states(assessment):
        cells[f"removed | {configuration.name} | {variant.name}"] = [variant.removed.astype(np.uint8)]
        for load, shown in variant.fields.items():
            state = f"{configuration.name} | {load} | {variant.name}"
            points[f"displacement m | {state}"] = np.asarray(shown.displacement, float)
            points[f"reserve factor | {state}"] = np.asarray(shown.reserve, float)
        for result in variant.loads:
            if result.buckling is not None:
                state = f"{configuration.name} | {result.load} | {variant.name}"
                points[f"buckling shape | {state}"] = np.asarray(result.buckling.shape, float)
        for i, tone in enumerate(variant.vibration.tones if variant.vibration is not None else (), 1):
            points[f"vibration shape {i} | {configuration.name} | {variant.name}"] = np.asarray(tone.shape, float)
    return meshio.Mesh(mesh.vertices, [("triangle", mesh.triangles)], point_data=points, cell_data=cells)


def content(assessment: Assessment) -> bytes:
    """The file's content (VTK XML, compressed)."""
    with TemporaryDirectory() as scratch:
        path = Path(scratch) / "fields.vtu"
        fields(assessment).write(path)
        return path.read_bytes()
