"""``panelfem laminate``: a stack by hand: stiffness, constants, ply stresses and reserves."""

from __future__ import annotations

import math
import re
from argparse import Namespace
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np
from rich.console import RenderableType
from rich.text import Text

from panelfem.arrays import FloatArray
from panelfem.cli.console import out, show, table
from panelfem.errors import InputError
from panelfem.failure import CRITERIA, deciding
from panelfem.failure.in_situ import SOURCE, in_situ
from panelfem.laminate import Laminate, describe, parse_stack
from panelfem.material import Material, PlyMaterial, library
from panelfem.units import number

if TYPE_CHECKING:
    from panelfem.assess.strike import Strike

DEFAULT_MATERIAL = "carbon-ud"
POSITIONS = ("bottom", "middle", "top")


def run(chosen: Namespace) -> int:
    """Print everything about each stack, or write the page that compares them."""
    materials, default = _materials(chosen)
    thickness = None if chosen.thickness is None else 1e-3 * chosen.thickness
    laminates = [Laminate(parse_stack(stack, materials, default, thickness)) for stack in chosen.stacks]
    # N/mm is 1e3 N/m; a moment of N·mm per mm is N
    load = None if chosen.load is None else np.array(chosen.load) * np.array([1e3] * 3 + [1.0] * 3)
    console = out()
    strike = _strike(chosen)
    if chosen.lesson is not None:
        from panelfem.report import lesson
        from panelfem.report.lesson_stack import stacks

        found = stacks(chosen.stacks, laminates, load, chosen.change, chosen.in_situ, strike)
        show(console, Text(str(lesson.write(found, chosen.lesson, chosen.in_situ))))
        return 0
    for stack, laminate in zip(chosen.stacks, laminates, strict=True):
        for part in stiffness(laminate, stack):
            console.print(part)
        if load is not None or chosen.change:
            judged = in_situ(laminate) if chosen.in_situ else laminate
            for part in under_load(judged, np.zeros(6) if load is None else load, chosen.change):
                console.print(part)
            if chosen.in_situ:
                console.print(Text(_held(laminate, judged)))
    return 0


def _strike(chosen: Namespace) -> Strike | None:
    """The strike of the lesson, None if none is asked for."""
    if chosen.strike is None and chosen.strike_force is None:
        return None
    from panelfem.assess.strike import Strike

    if chosen.lesson is None:
        raise InputError("a strike is shown on the lesson's page only", where="--strike", do="add --lesson DIR")
    sides = re.fullmatch(r"\s*([\d.]+)\s*[x×]\s*([\d.]+)\s*", chosen.plate)
    try:
        length, width = (1e-3 * float(side) for side in sides.groups()) if sides else (math.nan, math.nan)
    except ValueError:
        length = math.nan
    if math.isnan(length):
        raise InputError(f"{chosen.plate!r} is no size", where="--plate", allowed="length x width in mm: 300x200")
    control, amount = ("interference", 1e-3 * chosen.strike) if chosen.strike else ("force", chosen.strike_force)
    return Strike(length, width, chosen.ends, 1e-3 * chosen.kerb_radius, control, amount)  # type: ignore[arg-type]


def _held(laminate: Laminate, judged: Laminate) -> str:
    """What in-situ strength changed, ply by ply."""
    said = [
        f"ply {i}: Yt {number(a.Yt / 1e6)} → {number(b.Yt / 1e6)} MPa, S {number(a.S / 1e6)} → {number(b.S / 1e6)} MPa"
        for i, (one, other) in enumerate(zip(laminate.plies, judged.plies, strict=True), 1)
        if isinstance(a := one.material, PlyMaterial) and isinstance(b := other.material, PlyMaterial) and a != b
    ]
    return f"Held plies, {SOURCE}: {'; '.join(said) or 'none'}."


def _materials(chosen: Namespace) -> tuple[Mapping[str, Material], str]:
    """Materials by name and the default one, from the library or a case file."""
    if chosen.case is None:
        return library(), chosen.material or DEFAULT_MATERIAL
    from panelfem.case import parse
    from panelfem.case.checks_materials import materials_of

    model = parse(chosen.case)
    if model.panel is None:
        raise InputError(
            "the case has no panel to take the default material from", where=str(chosen.case), do="use --material"
        )
    return materials_of(model.materials), model.panel.material


def stiffness(laminate: Laminate, stack: str) -> Iterator[RenderableType]:
    """Plies, A, B, D, transverse shear stiffness, engineering constants."""
    yield Text(
        f"{stack}: {laminate.kind}, {number(1e3 * laminate.thickness, 4)} mm, "
        f"{number(1e3 * laminate.areal_mass, 4)} g/m²",
        style="bold",
    )
    yield Text("\n".join(f"  {line}" for line in describe(laminate)))
    scale = max(float(np.abs(laminate.B).max()) / (float(np.abs(laminate.A).max()) * laminate.thickness), 0.0)
    symmetric = " (zero: no coupling of stretching and bending)" if scale < 1e-12 else ""
    for title, values in (
        ("A, N/mm", laminate.A / 1e3),
        (f"B, N{symmetric}", np.where(scale < 1e-12, 0.0, laminate.B)),
        ("D, N·mm", laminate.D * 1e3),
        ("Transverse shear stiffness, N/mm", laminate.shear / 1e3),
    ):
        yield Text(title)
        yield _matrix(values)
    c = laminate.engineering_constants()
    rows = [
        ("Ex, Ey", f"{number(c.Ex / 1e9, 4)} GPa, {number(c.Ey / 1e9, 4)} GPa"),
        ("Gxy", f"{number(c.Gxy / 1e9, 4)} GPa"),
        ("νxy, νyx", f"{number(c.nuxy, 4)}, {number(c.nuyx, 4)} (no unit)"),
        ("shear per strain along x, y", f"{_small(c.shear_coupling[0])}, {_small(c.shear_coupling[1])} (no unit)"),
        ("Ex, Ey in bending", f"{number(c.Ex_bending / 1e9, 4)} GPa, {number(c.Ey_bending / 1e9, 4)} GPa"),
        ("Gxy in bending (twist)", f"{number(c.Gxy_bending / 1e9, 4)} GPa"),
        ("νxy in bending", f"{number(c.nuxy_bending, 4)} (no unit)"),
        ("expansion x, y, xy", f"{', '.join(_small(1e6 * a) for a in c.expansion)} · 1e-6/K"),
        ("curvature by heat x, y, xy", f"{', '.join(_small(1e3 * a) for a in c.curvature)} · 1e-3 1/(m·K)"),
    ]
    yield table(("Engineering constants", ""), rows)


def _small(value: float) -> str:
    """A number with what is only rounding shown as 0."""
    return number(value, 4) if abs(value) > 1e-10 else "0"


def _matrix(values: FloatArray) -> RenderableType:
    floor = 1e-12 * float(np.abs(values).max())
    return Text(
        "\n".join("  " + "".join((f"{v:.5g}" if abs(v) > floor else "0").rjust(12) for v in row) for row in values)
    )


def under_load(laminate: Laminate, load: FloatArray, change: float) -> Iterator[RenderableType]:
    """Strains, ply stresses and reserves under resultants (6,) in N/m and N; `change` K is held."""
    inverse = np.linalg.inv(laminate.ABD)
    held = inverse @ laminate.thermal_resultants(change)
    applied = inverse @ load
    resultants = ", ".join(
        f"{name} {number(v)} {unit}"
        for name, v, unit in zip(
            ("Nx", "Ny", "Nxy", "Mx", "My", "Mxy"),
            np.concatenate([load[:3] / 1e3, load[3:]]).tolist(),
            ("N/mm",) * 3 + ("N",) * 3,
            strict=True,
        )
    )
    held_text = f"; {number(change)} K of temperature change held" if change else ""
    yield Text(f"\nUnder {resultants}{held_text}", style="bold")
    total = applied + held
    yield table(
        ("Reference surface", "x", "y", "xy"),
        [
            ("strain, 1e-6", *(f"{1e6 * v:.1f}" for v in total[:3])),
            ("curvature, 1/m", *(f"{v:.4g}" for v in total[3:])),
        ],
        right=(1, 2, 3),
    )
    extra = laminate.ply_stresses(applied)
    residual = laminate.ply_stresses(held, change)
    strains = laminate.ply_strains(total)
    rows = []
    for i, ply in enumerate(laminate.plies):
        for k, position in enumerate(POSITIONS):
            stress = extra[i, k] + residual[i, k]
            rows.append(
                (
                    str(i + 1),
                    ply.material.name,
                    f"{number(math.degrees(ply.angle), 4)}°",
                    position,
                    *(f"{1e6 * v:.0f}" for v in strains[i, k]),
                    *(f"{v / 1e6:.1f}" for v in stress),
                    *(f"{v / 1e6:.1f}" for v in residual[i, k]),
                )
            )
    heads = (
        "Ply",
        "Material",
        "Angle",
        "At",
        "ε1 1e-6",
        "ε2 1e-6",
        "γ12 1e-6",
        "σ1 MPa",
        "σ2 MPa",
        "τ12 MPa",
        "held σ1 MPa",
        "held σ2 MPa",
        "held τ12 MPa",
    )
    yield table(heads, rows, title="Plies in their own axes", right=range(4, 13))
    yield reserves(laminate, extra, residual)
    if said := _not_for(laminate):
        yield Text(said)
    if laminate.kind == "sandwich":
        yield Text(
            "Plies only: core shear, wrinkling, dimpling and crimping are judged by 'panelfem assess', not here.",
            style="bold",
        )


def reserves(laminate: Laminate, applied: FloatArray, residual: FloatArray) -> RenderableType:
    """The first mode of each criterion that may judge the plies, over the whole laminate."""
    rows = []
    for criterion in CRITERIA.values():
        best: tuple[float, str, int, str, bool] | None = None
        for i, ply in enumerate(laminate.plies):
            material = ply.material
            if not isinstance(material, PlyMaterial) or not _judges(criterion.applies_to, criterion.needs, material):
                continue
            factors = criterion.reserve(applied[i], residual[i], material)
            for k, m in np.ndindex(*factors.shape):
                factor = float(factors[k, m])
                rank = -1.0 if math.isnan(factor) else factor
                if best is None or rank < best[0]:
                    mode = criterion.modes[m]
                    best = (
                        rank,
                        f"{mode.name} ({mode.grade})",
                        i + 1,
                        POSITIONS[k],
                        deciding(material.kind) == criterion.name,
                    )
        if best is not None:
            rank, mode_name, number_of_ply, position, decides = best
            shown, margin = _reserve_words(rank)
            rows.append(
                (
                    criterion.name + (" (decides)" if decides else ""),
                    shown,
                    margin,
                    mode_name if rank < math.inf else "",
                    f"ply {number_of_ply}, {position}" if rank < math.inf else "",
                )
            )
    if not rows:
        raise InputError("no criterion can judge a ply of this stack", do="use plies with strengths")
    return table(
        ("Criterion", "Reserve factor", "Margin", "First mode", "Where"),
        rows,
        title="Reserves on the load, with what is held held",
        right=(1, 2),
    )


def _not_for(laminate: Laminate) -> str:
    """Which criteria judge no ply of a kind in the laminate, as made for the other kind.

    >>> _not_for(Laminate(parse_stack("[0/45]", library(), "carbon-twill"))).split(":")[0]
    'Not for fabric plies, as made for plies of another kind'
    """
    kinds = sorted({ply.material.kind for ply in laminate.plies if isinstance(ply.material, PlyMaterial)})
    said = []
    for kind in kinds:
        others = [
            c.name for c in CRITERIA.values() if kind not in c.applies_to and not c.name.endswith(" by direction")
        ]
        if others:
            said.append(f"Not for {kind} plies, as made for plies of another kind: {', '.join(others)}.")
    return " ".join(said)


def _judges(kinds: frozenset[str], needs: tuple[str, ...], material: PlyMaterial) -> bool:
    return material.kind in kinds and all(getattr(material, name, None) is not None for name in needs)


def _reserve_words(rank: float) -> tuple[str, str]:
    """Factor and margin in words.

    >>> _reserve_words(1.5), _reserve_words(-1.0), _reserve_words(math.inf)
    (('×1.5', '+50 %'), ('reached at zero load', 'no number'), ('never reached', ''))
    """
    from panelfem.report.figures import percent, times

    if rank < 0:
        return "reached at zero load", "no number"
    return times(rank), percent(rank - 1.0) if math.isfinite(rank) else ""
