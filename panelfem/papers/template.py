"""1:1 templates: the plies of a patch, and the steps of a scarf, developed to flat and seen on the face they go on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.errors import InputError
from panelfem.laminate import Laminate
from panelfem.panel import Panel
from panelfem.papers.develop import Development, develop, ring_area
from panelfem.papers.drawing import Anchor, Drawing, Line, Words, arrow, cross, ring
from panelfem.papers.gores import LIMIT, gores, worst
from panelfem.papers.layout import laid_out
from panelfem.papers.placing import Way, centre, true_surface, ways
from panelfem.papers.skin import skins, subset_rings
from panelfem.units import number

Side = Literal[1, -1]
FACES = {1: "last ply", -1: "first ply"}
#: A point farther than this off a gore is not on it; arrows keep so far from its border, m.
OFF, CLOSE = 2e-4, 0.012


@dataclass(frozen=True, eq=False)
class Trace:
    """A line on the skin to be drawn on the template: `points` (n, 3) m, closed, and what it is."""

    points: FloatArray
    what: str
    dash: tuple[float, float] | None = (3.0, 1.5)


@dataclass(frozen=True)
class Template:
    """A finished template; `distortion`: the greatest length distortion of its pieces, as a share; `area` on the skin,
    m²; `flat`: whether all its pieces are within the limit.
    """

    drawing: Drawing
    pieces: int
    distortion: float
    area: float

    @property
    def lies_flat(self) -> bool:
        """Whether every piece is within the limit on length distortion."""
        return self.distortion <= LIMIT


def patch_template(
    panel: Panel, region: str, laminate: Laminate, side: Side, title: str, about: Sequence[str] = (),
    damage: Sequence[tuple[str, str]] = (),
) -> Template:  # fmt: skip
    """The template of all plies of a patch over a mesh region, ply 1 at the bond.

    `damage`: mesh region and words of what is marked on it (a cut-out, damage).  Raises InputError if the panel has no
    such region.
    """
    parts = _parts(panel, region)
    traces = [
        Trace(whole.skin.points[line], words)
        for name, words in damage
        for whole in parts
        for line in subset_rings(whole.skin, panel.mesh.inside[name] & panel.mesh.inside[region])
    ]
    return _template(panel, region, parts, side, title, [*about, *_ply_lines(laminate)], _angles(laminate), traces)


def scarf_template(
    panel: Panel, region: str, laminate: Laminate, side: Side, slope: float | None, title: str,
    about: Sequence[str] = (), *, step: float | None = None,
) -> Template:  # fmt: skip
    """The template of a scarf or stepped repair whose outermost outline is a mesh region: the nested outlines of its
    plies, each smaller by `slope` times the thickness of the ply above it (1:slope), or by `step` m; ply 1 is the
    innermost.

    Raises InputError if the slope is not positive or nothing is left inside.
    """
    parts = _parts(panel, region)
    plies = laminate.plies
    traces = []
    for whole in parts:
        if step is not None:
            rings = stepped(whole.rings[0], 1.0, [-step] * (len(plies) - 1))
        else:
            rings = stepped(whole.rings[0], slope or 0.0, [-p.thickness for p in plies[:0:-1]])
        for i, inner in zip(range(len(plies) - 1, 0, -1), rings, strict=True):
            traces.append(Trace(whole.lift(inner)[0], f"ply {i}", None))
    taper = f"Slope 1:{number(slope or 0.0)}" if step is None else f"Steps of {number(1e3 * step)} mm"
    said = [
        *about,
        f"{taper}. Ply {len(plies)}, the outermost, has the full outline.",
        *_ply_lines(laminate),
    ]
    return _template(panel, region, parts, side, title, said, _angles(laminate), traces)


def stepped(outline: FloatArray, slope: float, thicknesses: Sequence[float]) -> tuple[FloatArray, ...]:
    """Outlines (m, 2), one for each thickness, each beyond the one before by `slope` times its thickness (1:slope).

    Lengths in one unit; thicknesses below zero step inwards.  Corners stay sharp inwards and are rounded outwards, so
    that the distance is `slope` times the thickness all round.  Raises InputError if the slope is not positive or
    nothing is left.

    >>> square = np.array([[0.0, 0], [60, 0], [60, 60], [0, 60]])
    >>> [round(ring_area(s), 3) for s in stepped(square, 20.0, [-0.25, -0.5])]
    [2500.0, 900.0]
    """
    if not (math.isfinite(slope) and slope > 0.0):
        raise InputError(
            f"the slope is 1:{slope:g}", where="scarf", allowed="1:n with n above 0; 1:20 to 1:50 is common practice"
        )
    shape, total, out = shapely.Polygon(outline), 0.0, []
    for thickness in thicknesses:
        total += slope * thickness
        at = shape.buffer(total, join_style="round" if total > 0 else "mitre", mitre_limit=20.0, quad_segs=32)
        if not isinstance(at, shapely.Polygon) or at.is_empty:
            raise InputError(
                f"nothing in one piece is left {abs(total):.4g} inside the outline",
                where="scarf",
                allowed=f"an outline wider than twice {number(slope)} times the thickness of the plies",
                do="take a larger outline or a steeper slope",
            )
        out.append(np.array(at.exterior.coords)[:-1])
    return tuple(ring if ring_area(ring) > 0 else ring[::-1] for ring in out)


def _parts(panel: Panel, region: str) -> tuple[Development, ...]:
    """The pieces of the region laid flat, each in one sheet, the greatest first."""
    if region not in panel.mesh.inside:
        raise InputError(
            f"the panel has no area {region!r}", where=panel.name, allowed=", ".join(sorted(panel.mesh.inside))
        )
    return tuple(develop(skin) for skin in skins(panel.mesh, panel.mesh.inside[region]))


def _ply_lines(laminate: Laminate) -> list[str]:
    """What each ply is, in words; equal ones together."""
    kinds: dict[tuple[str, float, float], list[int]] = {}
    for i, ply in enumerate(laminate.plies, 1):
        kinds.setdefault((ply.material.name, math.degrees(ply.angle), ply.thickness), []).append(i)
    return ["Cut one of each ply; ply 1 lies against the panel:"] + [
        f"{_plies(found)}: {name}, {number(angle, 4)}°, {number(1e3 * thick, 3)} mm thick"
        for (name, angle, thick), found in kinds.items()
    ]


def _plies(found: Sequence[int]) -> str:
    return f"{'ply' if len(found) == 1 else 'plies'} {', '.join(map(str, found))}"


def _angles(laminate: Laminate) -> dict[float, str]:
    """Angle (rad) of the fibre, from the 0° axis towards t2 -> the plies that lie so."""
    found: dict[float, list[int]] = {}
    for i, ply in enumerate(laminate.plies, 1):
        found.setdefault(round(ply.angle, 9), []).append(i)
    return {angle: _plies(numbers) for angle, numbers in found.items()}


@dataclass(frozen=True, eq=False)
class _View:
    """From the flat of a piece to the paper, mm: the 0° axis at `start` to the right, seen on the side's own face."""

    turn: FloatArray

    @classmethod
    def of(cls, sheet: Development, axis: FloatArray, at: FloatArray, side: Side) -> _View:
        _, element, _ = sheet.lay(at[None])
        x, y = _unit(sheet.gradients[element[0]] @ axis)
        return cls(1e3 * np.array([[x, y], [-side * y, side * x]]))

    def see(self, flat: FloatArray) -> FloatArray:
        return np.asarray(flat @ self.turn.T)

    def back(self, seen: FloatArray) -> FloatArray:
        return np.asarray(np.linalg.solve(self.turn, seen.T).T)


def _unit(way: FloatArray) -> FloatArray:
    return np.asarray(way / np.linalg.norm(way))


def _template(
    panel: Panel, region: str, parts: Sequence[Development], side: Side, title: str, about: Sequence[str],
    angles: dict[float, str], traces: Sequence[Trace],
) -> Template:  # fmt: skip
    middle = centre(panel.mesh, region, parts[0])
    routes = ways(true_surface(panel.mesh), middle, panel.fasteners)
    cut = [gores(whole) for whole in parts]
    total, most = sum(len(found) for found in cut), max(worst(found) for found in cut)
    blocks: list[tuple[str, list[Line | Words]]] = []
    for whole, found in zip(parts, cut, strict=True):
        for order, sheet in enumerate(found):
            holds = float(sheet.lay(middle[None])[2][0]) < OFF
            at = middle if holds and _room(sheet, middle) > CLOSE else _inside(sheet)
            view = _View.of(sheet, panel.axis, at, side)
            marks = [*_outline(sheet, view), *_traces(sheet, view, traces), *_fibres(sheet, view, at, side, angles)]
            if holds:
                marks += _placing(sheet, view, middle, routes, whole)
            marks += _seams(view, found, order)
            name = f"Piece {len(blocks) + 1} of {total}: greatest length distortion {percent(sheet.distortion)}"
            blocks.append((name if total > 1 else "", marks))
    area = sum(whole.skin.area for whole in parts)
    said = [*about, *_said(panel, side, middle, routes, total, most, area)]
    return Template(laid_out(title, said, blocks), total, most, area)


def percent(share: float) -> str:
    """A length distortion in words."""
    if not math.isfinite(share):
        return "not known: it folds over itself"
    return "below 0.01 %" if share < 1e-4 else f"{100 * share:.2f} %"


def _said(
    panel: Panel, side: Side, middle: FloatArray, routes: Sequence[Way], total: int, most: float, area: float
) -> list[str]:
    x, y, z = (f"{round(1e3 * float(c), 1) + 0.0:g}" for c in middle)
    out = [
        f"Goes on the {FACES[side]} face of {panel.name} and is drawn as seen on that face: print side towards you.",
        "Arrows: 0° of the panel, and the fibre (warp) of each ply. Full line: cut. Cross +: centre mark.",
        f"Centre mark + at x {x}, y {y}, z {z} mm. Area {number(1e4 * area, 4)} cm².",
    ]
    if routes:
        lengths = "; ".join(
            f"{1e3 * r.length:.1f} mm to the middle of {r.fixing}{' (STRAIGHT, not along it)' if r.straight else ''}"
            for r in routes
        )
        out.append(f"From the centre mark, along the skin: {lengths}. At the arrows: from the edge there.")
    if most > LIMIT:
        out.append(
            f"DOES NOT LIE FLAT: greatest length distortion {percent(most)}, above {100 * LIMIT:g} %, and cutting in "
            "gores does not bring it below. Do not cut by this: fit each ply on the panel."
        )
    else:
        out.append(f"Greatest length distortion {percent(most)} (over {100 * LIMIT:g} % it is cut in gores).")
    if total > 1:
        out.append("Pieces meet edge to edge at rings of the same name; never the seams of two plies above each other.")
    return out


def _inside(sheet: Development) -> FloatArray:
    spot = shapely.Polygon(sheet.rings[0], sheet.rings[1:]).representative_point()
    return np.asarray(sheet.lift(np.array([[spot.x, spot.y]]))[0][0])


def _room(sheet: Development, at: FloatArray) -> float:
    """From a place (3,) on a piece to its border, m."""
    border = shapely.Polygon(sheet.rings[0], sheet.rings[1:]).boundary
    return float(border.distance(shapely.Point(*sheet.lay(at[None])[0][0])))


def _outline(sheet: Development, view: _View) -> Iterator[Line]:
    for border in sheet.rings:
        yield Line(view.see(border), closed=True, width=0.4, name="outline")


def _traces(sheet: Development, view: _View, traces: Sequence[Trace]) -> Iterator[Line | Words]:
    """Lines on the skin, where they cross this piece."""
    for trace in traces:
        flat, _, off = sheet.lay(trace.points)
        on = off < OFF
        seen = view.see(flat)
        if on.all():
            yield Line(seen, closed=True, width=0.25, dash=trace.dash, name=trace.what)
        else:
            for run in _runs(on):
                yield Line(seen[run], width=0.25, dash=trace.dash, name=trace.what)
        if on.any():
            top = seen[on][np.argmax(seen[on][:, 1])]
            yield Words(float(top[0]), float(top[1]) + 1.0, trace.what, 2.6, "middle")


def _runs(on: BoolArray) -> Iterator[IntArray]:
    """Numbers of the points of each unbroken stretch of a closed line."""
    n = len(on)
    starts = [i for i in range(n) if on[i] and not on[i - 1]]
    for start in starts:
        length = next(k for k in range(1, n + 1) if not on[(start + k) % n])
        if length > 1:
            yield (start + np.arange(length)) % n


def _fibres(
    sheet: Development, view: _View, at: FloatArray, side: Side, angles: dict[float, str]
) -> Iterator[Line | Words]:
    """The 0° axis and the fibre of each ply."""
    spot = view.see(sheet.lay(at[None])[0])[0]
    long = max(8.0, min(550.0 * _room(sheet, at), 45.0))
    yield from arrow(spot, spot + np.array([1.45 * long, 0.0]), width=0.6)
    yield Words(float(spot[0]) + 1.45 * long, float(spot[1]) - 3.4, "0° of the panel", 2.8, "end", bold=True)
    for angle, plies in angles.items():
        way = np.array([math.cos(angle), side * math.sin(angle)])
        end = spot + long * way
        yield from arrow(spot - 0.4 * long * way, end, width=0.35)
        turn = math.degrees(math.atan2(way[1], way[0]))
        label = spot + 0.35 * long * way + 1.0 * np.array([-way[1], way[0]])
        yield Words(float(label[0]), float(label[1]), f"{plies}: {number(math.degrees(angle), 4)}°", 2.6, turn=turn)


def _placing(
    sheet: Development, view: _View, at: FloatArray, routes: Sequence[Way], whole: Development
) -> Iterator[Line | Words]:
    """The centre mark, and marks towards the nearest fixings; where one lies under the template, its place.

    No mark where the way leaves the piece through a seam, which the border of the `whole` does not have.
    """
    flat, element, _ = sheet.lay(at[None])
    spot = view.see(flat)[0]
    yield from cross(spot, 5.0, name="centre")
    outline = shapely.Polygon(view.see(sheet.rings[0]))
    border = shapely.LinearRing(whole.rings[0])
    for route in routes:
        if route.straight:
            continue
        way = _unit(view.see(sheet.gradients[element[0]] @ route.way))
        length = 1e3 * route.length
        reach = outline.intersection(shapely.LineString([spot, spot + length * way]))
        inside = float(getattr(reach, "geoms", [reach])[0].length)
        if inside >= length - 1e-6:
            end = spot + length * way
            yield from cross(end, 3.0)
            yield ring(end, 5.0)
            yield Words(float(end[0]) + 6.0, float(end[1]), f"{route.fixing}, under the patch", 2.6)
            continue
        edge = spot + inside * way
        over = whole.lay(sheet.lift(view.back(edge[None]))[0])[0][0]
        if border.distance(shapely.Point(*over)) > 1e-3:
            continue
        yield Line(np.stack([edge - 8.0 * way, edge]), width=0.25)
        yield from arrow(edge, edge + 7.0 * way, width=0.25, head=2.5)
        end = edge + 8.0 * way
        anchor: Anchor = "start" if way[0] > 0.3 else "end" if way[0] < -0.3 else "middle"
        drop = -2.6 if way[1] < -0.3 else 3.4 if way[1] > 0.3 else 0.6
        yield Words(float(end[0]), float(end[1]) + drop, route.fixing, 2.6, anchor, bold=True)
        yield Words(float(end[0]), float(end[1]) + drop - 3.2, f"{length - inside:.1f} mm", 2.6, anchor)


def _seams(view: _View, order: Sequence[Development], mine: int) -> Iterator[Line | Words]:
    """Rings on the seams to the gores before and after, the same names on both sides."""
    for first in (mine - 1, mine):
        if not 0 <= first < len(order) - 1:
            continue
        border = order[first].skin.points[max(order[first].skin.rings, key=len)]
        runs = list(_runs(order[first + 1].lay(border)[2] < OFF))
        if not runs:
            continue
        seam = border[max(runs, key=len)]
        for share, letter in ((0.1, "a"), (0.5, "b"), (0.9, "c")):
            spot = view.see(order[mine].lay(seam[[int(share * (len(seam) - 1))]])[0])[0]
            name = f"{first + 1}{letter}"
            yield ring(spot, 1.2, name=f"seam {name}")
            yield Words(float(spot[0]) + 1.8, float(spot[1]) - 0.9, name, 2.4)
