"""The pictures of the layup lesson, each with its words."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.failure import Criterion
from panelfem.failure.envelope import families, of_laminate, of_ply
from panelfem.failure.progression import Event
from panelfem.laminate import Laminate
from panelfem.material import PlyMaterial
from panelfem.report import figures, lesson_charts, through
from panelfem.report.cells import figured
from panelfem.report.lesson_charts import STYLES, Line
from panelfem.report.lesson_stack import Stack
from panelfem.report.markup import Markup, el
from panelfem.units import number

#: Criteria drawn beside the deciding ones, as far as lines can be told apart.
_DRAWN = ("maximum stress", "Tsai-Wu", "Puck", "maximum strain by direction")


def polars(found: Sequence[Stack]) -> list[Markup]:
    """Young's and shear modulus by direction, all stacks in one picture each."""
    out = []
    for symbol, title in (("E", "Young's modulus E"), ("G", "Shear modulus G")):
        values = [getattr(one.polar, symbol) / 1e9 for one in found]
        lines = [
            Line(one.letter, one.written, np.stack([v, np.zeros_like(v)], 1))
            for one, v in zip(found, values, strict=True)
        ]
        spans = "; ".join(_span(one, v) for one, v in zip(found, values, strict=True))
        said = f"{title} by direction from x. {spans}."
        out.append(figured(lesson_charts.polar(title, "GPa", found[0].polar.angle, lines, said), said))
    return out


def _span(one: Stack, values: FloatArray) -> str:
    low, high = float(values.min()), float(values.max())
    if high - low < 1e-6 * high:
        return f"{one.letter}: {number(high)} GPa in every direction"
    at = math.degrees(one.polar.angle[int(np.argmax(values.round(9)))])
    return f"{one.letter}: {number(low)} to {number(high)} GPa, greatest at {figures.fixed(at)}°"


def plies(one: Stack) -> Markup:
    """Strain and stress through the thickness under the load; boxed: what fails first."""
    stack = through.stack(one.rows)
    events = one.progression.events
    governs = events[0].plies[0] if events else None
    first = f"; the boxed ply fails first ({event_words(events[0])})" if events else ""
    said = (
        f"{one.letter}: {one.written} under the load{first}. Left: to scale, ply 1 at the bottom, hatched along the "
        f"fibre; right: strain and stress in each ply's own axes, every ply equally high. {through.made(stack)}."
    )
    return figured(through.drawing(stack, f"l{one.letter}", said, governs), said)


def envelope(one: Stack) -> Markup:
    """Nx and Ny at first ply failure, by criterion."""
    known = _drawn(one.laminate)
    first = next(iter(known))
    lines = [
        Line(
            "",
            f"{name} (decides)" if name == first else name,
            _closed(1e-3 * of_laminate(of, one.laminate, change=one.change)),
        )
        for name, of in known.items()
    ]
    mark = None if one.load[2:].any() else (float(one.load[0]) / 1e3, float(one.load[1]) / 1e3)
    ends = 1e-3 * of_laminate(known[first], one.laminate, change=one.change, count=4)
    if np.isnan(ends).any():
        return el("p", f"{one.letter}: {one.written}: the temperature change alone fails a ply; there is no envelope.")
    x, y = (" and ".join(figures.minus(number(float(ends[k, a]))) for k in (a, a + 2)) for a in (0, 1))
    cross = "; cross: the load" if mark else ""
    said = (
        f"{one.letter}: {one.written}: Nx and Ny at which a ply first fails, by each criterion; by {first} along x "
        f"alone {x} N/mm, along y alone {y} N/mm{cross}."
    )
    return figured(lesson_charts.plane(("Nx (N/mm)", "Ny (N/mm)"), lines, said, mark), said)


def single_plies(found: Sequence[Stack]) -> list[Markup]:
    """For each ply material the stresses at which it fails: along against across, and across against shear."""
    plies = {ply.material: ply for one in found for ply in one.laminate.plies if isinstance(ply.material, PlyMaterial)}
    out = []
    for m, ply in plies.items():
        strengths = (
            f"{number(m.Xt / 1e6)} and −{number(m.Xc / 1e6)} MPa along 1, {number(m.Yt / 1e6)} and "
            f"−{number(m.Yc / 1e6)} MPa along 2, {number(m.S / 1e6)} MPa in shear"
        )
        known = _drawn(Laminate((ply,)))
        for axes, names in (((0, 1), ("σ1 (MPa)", "σ2 (MPa)")), ((1, 2), ("σ2 (MPa)", "τ12 (MPa)"))):
            lines = [Line("", name, _closed(1e-6 * of_ply(of[0], m, axes))) for name, of in known.items()]
            said = f"{m.name}: stresses in its own axes at which it fails, by each criterion; alone {strengths}."
            out.append(figured(lesson_charts.plane(names, lines, said), said))
    return out


def _drawn(laminate: Laminate) -> dict[str, tuple[Criterion, ...]]:
    """The deciding criteria first, and of the others what can be told apart."""
    known = families(laminate)
    first = next(iter(known))
    names = [first, *(name for name in known if name != first and name.startswith(_DRAWN))]
    return {name: known[name] for name in names[: len(STYLES)]}


def first_to_last(found: Sequence[Stack]) -> Markup:
    """The load carried over the strain along it, all stacks in one picture."""
    forces, moments = found[0].load[:3].any(), found[0].load[3:].any()
    if forces and moments:
        return el("p", "Forces and moments together have no one deformation to draw the factor over: see the table.")
    scale, unit = (1e6, "strain along the load (10⁻⁶)") if forces else (1.0, "curvature along the load (1/m)")
    lines = [Line(one.letter, one.written, np.array(one.progression.curve) * [scale, 1.0]) for one in found]
    said = " ".join(fails(one) for one in found)
    return figured(lesson_charts.plane((unit, "times the load"), lines, said), said)


def pushed(found: Sequence[Stack]) -> Markup:
    """Contact force, and the greatest strain along a fibre where the plate governs, of every stack as bars."""
    results = [(one.letter, one.struck.result) for one in found if one.struck is not None]
    forces = [result.contacts[0].force for _, result in results]
    strains = [max((float(np.abs(row.strain[:2]).max()) for row in r.plies), default=0.0) for _, r in results]
    letters = [letter for letter, _ in results]
    groups = (
        ("Contact force (N)", forces),
        ("Strain along or across the fibre where it governs (10⁻⁶)", [1e6 * s for s in strains]),
    )
    said = ". ".join(
        f"{title}: {', '.join(f'{a} {figures.fixed(v)}' for a, v in zip(letters, values, strict=True))}"
        for title, values in groups
    )
    return figured(lesson_charts.bars(letters, groups, f"With the kerb in. {said}."), f"With the kerb in. {said}.")


def fails(one: Stack) -> str:
    """First and last ply in a sentence."""
    events = one.progression.events
    if not events:
        return f"{one.letter}: nothing is reached under this load."
    return f"{one.letter}: first {event_words(events[0])}; last {figures.times(one.progression.last)}."


def event_words(event: Event) -> str:
    """Mode, plies and factor of a failure."""
    plies = f"{'ply' if len(event.plies) == 1 else 'plies'} {through.runs(event.plies)}"
    at = "at zero load" if event.factor == 0.0 else figures.times(event.factor)
    return f"{event.mode}, {plies}, {at}"


def _closed(points: FloatArray) -> FloatArray:
    return np.concatenate([points, points[:1]])
