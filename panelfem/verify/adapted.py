"""The whole line at its default accuracy: a case goes in as text, no mesh setting anywhere, and what comes out is held
against exact solutions.

Deflection must be true to 1 %, ply strain and reserve factor to 2 %, and the bars must hold.  The reference is our own
Ritz series of the same theory on the same surface, asked for its greatest deflection, for the strain of the ply where
the assessment finds it to govern, and for the least reserve factor over a fine grid of places.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.assess import Assessment, assess
from panelfem.case import build
from panelfem.case.schema import CaseFile
from panelfem.failure import CRITERIA
from panelfem.laminate import Laminate
from panelfem.material import PlyMaterial
from panelfem.reference.ritz import CLAMPED, RitzShell
from panelfem.verify.row import STRESS, VALUE, Row

HEAD = """
[case]
title = "{name}"
invented = true
consequence = "cosmetic"

[safety]
protects_people = "no"
fastened_to_such_a_part = false
covers_high_voltage = false

[settings]
lose_each_fastener = false
vibrations = false
large_displacements = false

[panel]
name = "{name}"
zero_direction = [1, 0, 0]
stack = "{stack}"
material = "{material}"

[panel.outline]
corners_mm = [[0, 0], [{a}, 0], [{a}, {b}], [0, {b}]]

[panel.lift]
{lift}

[[panel.edges]]
name = "all round"
hold = "clamped"

[[load]]
kind = "air load"
name = "pressure"
pressure_kPa = {{ value = {q}, basis = "assumed", source = "a check", band = [{q}, {q}] }}
"""

Surface = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True)
class Problem:
    """A clamped panel a × b mm in plan under q kPa; `surface` maps the parameter square to it, m."""

    name: str
    stack: str
    material: str
    a: float
    b: float
    q: float
    lift: str
    surface: Surface
    degree: int
    reference_error: float

    def assessed(self) -> Assessment:
        """What the program says of it, from the text of a case."""
        text = HEAD.format(
            name=self.name, stack=self.stack, material=self.material, a=self.a, b=self.b, q=self.q, lift=self.lift
        )
        found = assess(build(CaseFile.model_validate(tomllib.loads(text)), Path(f"{self.name}.toml")))
        assert isinstance(found, Assessment)
        return found

    def exact(self, laminate: Laminate) -> tuple[RitzShell, FloatArray]:
        """Ritz solution and its unknowns."""
        patch = RitzShell(self.surface, laminate.stiffness, (1.0, 0.0, 0.0), self.degree, CLAMPED)
        return patch, patch.solve(patch.traction(lambda x, n: -1e3 * self.q * n))


def _flat(a: float, b: float) -> Surface:
    return lambda s, t: np.stack([1e-3 * a * s, 1e-3 * b * t, 0.0 * s], axis=1)


def _barrel(a: float, b: float, radius: float) -> Surface:
    """A cylinder along y of `radius` m with its crown over the middle."""

    def surface(s: FloatArray, t: FloatArray) -> FloatArray:
        x = 1e-3 * a * s
        z = np.sqrt(radius**2 - (x - 5e-4 * a) ** 2) - radius
        return np.stack([x, 1e-3 * b * t, z], axis=1)

    return surface


FLAT = 'kind = "flat"'
PROBLEMS = (
    Problem(
        "clamped plate [0/45/90/-45]s", "[0/45/90/-45]s", "T300-5208", 300, 200, 15, FLAT,
        _flat(300, 200), 26, 1e-4,
    ),
    Problem(
        "clamped sandwich plate [0/45/core]s", "[0/45/foam-pvc-80:6mm]s", "carbon-twill", 400, 300, 60, FLAT,
        _flat(400, 300), 26, 1e-3,
    ),
    Problem(
        "clamped cylindrical panel [0/90]2s, radius 1.5 m", "[0/90]2s", "T300-5208", 300, 240, 30,
        'kind = "two radii"\nradius_x_mm = 1500\napex_mm = [150, 120]', _barrel(300, 240, 1.5), 30, 5e-4,
    ),
)  # fmt: skip


@cache
def _grid() -> tuple[FloatArray, FloatArray]:
    """Parameters of a fine grid, edges and corners included."""
    line = (1.0 - np.cos(np.pi * np.arange(61) / 60.0)) / 2.0
    s, t = (v.ravel() for v in np.meshgrid(line, line, indexing="ij"))
    return s, t


def _least(laminate: Laminate, strains: FloatArray, criterion: str, mode: str) -> float:
    """Least factor of a mode over places with `strains` (n, 8)."""
    least = np.inf
    law = CRITERIA[criterion]
    column = [m.name for m in law.modes].index(mode)
    stresses = laminate.ply_stresses(strains)
    for p, ply in enumerate(laminate.plies):
        if isinstance(ply.material, PlyMaterial) and ply.material.kind in law.applies_to:
            factors = law.reserve(stresses[:, p], np.zeros_like(stresses[:, p]), ply.material)[..., column]
            least = min(least, float(np.nanmin(factors)))
    return least


def judged(problem: Problem) -> Iterator[Row]:
    """The rows of one problem."""
    found = problem.assessed()
    result = found.configurations[0].variants[0].loads[0]
    laminate = _laminate(problem)
    patch, u = problem.exact(laminate)
    s, t = _grid()
    w = max(float(np.linalg.norm(patch.displacement(u, a, b))) for a, b in zip(s, t, strict=True))
    assert found.meshing is not None
    meshes = ", then ".join(str(m.elements) for m in found.meshing.meshes)
    note = f"{meshes} elements, no mesh setting; accuracy {'met' if found.meshing.met else 'NOT met'}"

    def row(quantity: str, reference: float, ours: float, unit: str, tolerance: float, bar: float) -> Row:
        return Row(
            "default accuracy", problem.name, quantity, "own Ritz series of the same theory; no printed value", None,
            reference, f"Ritz, polynomials of degree {problem.degree} each way", ours, unit, tolerance, note, bar,
            problem.reference_error,
        )  # fmt: skip

    yield row("greatest deflection", w, result.deflection.value, "m", VALUE, result.deflection.bar)
    first = result.first_ply
    strains = patch.strains(u, s, t)
    yield row(
        f"least reserve factor, {first.mode}", _least(laminate, strains, first.criterion, first.mode), first.factor,
        "-", STRESS, first.bar,
    )  # fmt: skip
    if first.place is not None and first.ply is not None:
        place = first.place
        at = (np.array([1e3 * place[0] / problem.a]), np.array([1e3 * place[1] / problem.b]))
        face = 0 if first.position == "bottom" else 2
        exact = laminate.ply_strains(patch.strains(u, *at))[0, first.ply - 1, face]
        ours = next(r for r in result.plies if r.ply == first.ply and r.position == first.position)
        c = int(np.argmax(np.abs(exact)))
        yield row(
            f"greatest strain of ply {first.ply} there", float(exact[c]), float(ours.strain[c]), "-", STRESS,
            float(ours.strain_bar[c]),
        )  # fmt: skip


def _laminate(problem: Problem) -> Laminate:
    from panelfem.laminate import parse_stack
    from panelfem.material import library

    return Laminate(parse_stack(problem.stack, library(), problem.material))


def rows() -> Iterator[Row]:
    """All rows."""
    for problem in PROBLEMS:
        yield from judged(problem)
