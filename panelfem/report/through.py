"""The laminate at the governing place, drawn to scale, with strain and stress of every ply through the thickness."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from panelfem.assess.records import Configuration
from panelfem.disposition import is_bound
from panelfem.report import figures, svg, wording
from panelfem.report.cells import figured
from panelfem.report.markup import Child, Markup, el
from panelfem.reserve.records import LoadResult, ModeReserve, PlyRow
from panelfem.units import number, show

#: Columns of the picture (px): labels up to here, the laminate, then strain and stress.
_LABELS, _STACK, _STRAIN, _STRESS = 50.0, (62.0, 122.0), (140.0, 280.0), (300.0, 436.0)
#: Height (px) of the laminate: so much a ply for the labels, within these.
_PLY, _LEAST, _MOST = 15.5, 170.0, 620.0
_TOP, _FOOT = 40.0, 66.0
_STYLES = ("along", "across", "shear")


@dataclass(frozen=True)
class Ply:
    """One ply of the stack: its rows rise in z; `low` and `high` m."""

    number: int
    name: str
    angle: float
    rows: tuple[PlyRow, ...]

    @property
    def low(self) -> float:
        """The lower face."""
        return self.rows[0].z

    @property
    def high(self) -> float:
        """The upper face."""
        return self.rows[-1].z

    @property
    def label(self) -> str:
        """Number and angle."""
        return f"{self.number}: {figures.fixed(math.degrees(self.angle))}°"


def stack(rows: tuple[PlyRow, ...]) -> list[Ply]:
    """Plies from the face the normal enters up."""
    ordered = sorted(rows, key=lambda p: (p.ply, p.z))
    out = []
    for ply, of_ply in groupby(ordered, key=lambda p: p.ply):
        kept = tuple(of_ply)
        out.append(Ply(ply, kept[0].name, kept[0].angle, kept))
    return out


def shown_mode(result: LoadResult) -> ModeReserve:
    """The mode at whose place the plies were taken: what governs release if it is of a ply, else first ply failure."""
    return result.release if result.release.ply is not None else result.first_ply


def picture(result: LoadResult, key: str) -> Markup | None:
    """The picture with its caption; None without plies.  `key` keeps names inside the page apart."""
    plies = stack(result.plies)
    if not plies or plies[-1].high <= plies[0].low:
        return None
    mode = shown_mode(result)
    tall = min(max(_LEAST, _PLY * len(plies)), _MOST)
    low, high = plies[0].low, plies[-1].high

    def y(z: float) -> float:
        return _TOP + tall * (high - z) / (high - low)

    governing = next((p for p in plies if p.number == mode.ply), None)
    height = _TOP + tall + _FOOT
    drawn = svg.chart(
        height,
        el("defs", *(_hatch(key, angle) for angle in sorted({p.angle for p in plies}))),
        _band(governing, y),
        _laminate(plies, governing, key, y, tall),
        _graph("strain (10⁻⁶)", _STRAIN, 1e6, [(p, "strain") for p in plies], y, tall),
        _graph("stress (MPa)", _STRESS, 1e-6, [(p, "stress") for p in plies], y, tall),
        _legend(height),
        label=caption(result, plies),
        cls="through",
    )
    return figured(drawn, caption(result, plies))


def _hatch(key: str, angle: float) -> Markup:
    """Lines along the fibre (warp), seen from above."""
    turn = f"rotate({svg.at(-math.degrees(angle))})"
    return el(
        "pattern",
        svg.line(0, 2, 6, 2, "fibre"),
        id=_name(key, angle),
        width="6",
        height="4",
        patternUnits="userSpaceOnUse",
        patternTransform=turn,
    )


def _name(key: str, angle: float) -> str:
    return f"{key}-{round(10.0 * math.degrees(angle)) % 3600}"


def _band(governing: Ply | None, y: svg.Scale) -> Markup | None:
    if governing is None:
        return None
    top, bottom = y(governing.high), y(governing.low)
    grown = max(0.0, 5.0 - (bottom - top)) / 2.0
    return svg.rect(_STACK[0] - 4, top - grown, svg.WIDE - _STACK[0], bottom - top + 2 * grown, "governs")


def _laminate(plies: list[Ply], governing: Ply | None, key: str, y: svg.Scale, tall: float) -> list[Child]:
    """Plies to scale, with number and angle beside each, from the top."""
    left, right = _STACK
    out: list[Child] = [svg.words(_LABELS, 14, "ply", "end"), svg.words((left + right) / 2, 14, "to scale", "middle")]
    down = plies[::-1]
    places = svg.spread([y((p.low + p.high) / 2) for p in down], _PLY - 1.0, _TOP + 4, _TOP + tall - 2)
    for ply, place in zip(down, places, strict=True):
        top, bottom = y(ply.high), y(ply.low)
        fill = f"url(#{_name(key, ply.angle)})"
        out += [svg.rect(left, top, right - left, bottom - top, "ply", fill)]
        out += [svg.line(_LABELS + 2, place, left, (top + bottom) / 2, "leader")]
        out += [svg.words(_LABELS, place + 4.5, ply.label, "end", "strong" if ply is governing else "")]
    if governing is not None:
        top, bottom = y(governing.high), y(governing.low)
        out += [svg.rect(left, top, right - left, max(bottom - top, 3.0), "outline")]
    thick = show(plies[-1].high - plies[0].low, "mm")
    return [*out, svg.words((left + right) / 2, _TOP + tall + 18, thick, "middle")]


def _graph(
    title: str, across: tuple[float, float], factor: float, plies: list[tuple[Ply, str]], y: svg.Scale, tall: float
) -> list[Child]:
    """Three components through the thickness, ply by ply in its own axes, with their bars."""
    values = np.array([factor * getattr(row, what) for p, what in plies for row in p.rows])
    bars = np.nan_to_num(np.array([factor * getattr(row, f"{what}_bar") for p, what in plies for row in p.rows]))
    low, high = min(0.0, float((values - bars).min())), max(0.0, float((values + bars).max()))
    if high - low < 1e-12:
        low, high = -1.0, 1.0
    left, right = across

    def x(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    bottom = _TOP + tall
    out: list[Child] = [svg.words((left + right) / 2, 14, title, "middle"), svg.line(left, bottom, right, bottom, "axis")]
    out += [svg.line(x(0.0), _TOP, x(0.0), bottom, "zero")]
    step = svg.round_step(high - low, 3)
    for k in range(math.ceil(low / step), math.floor(high / step) + 1):
        place = x(k * step)
        out += [svg.line(place, bottom, place, bottom + 4, "axis")]
        anchor = "start" if place < left + 14 else "end" if place > right - 14 else "middle"
        out += [svg.words(place, bottom + 18, figures.minus(number(k * step)), anchor)]
    for ply, what in plies:
        for c, style in enumerate(_STYLES):
            points = [(x(factor * float(getattr(r, what)[c])), y(r.z)) for r in ply.rows]
            out += [svg.polyline(points, style)]
            for (px, py), row in zip(points, ply.rows, strict=True):
                half = factor * float(getattr(row, f"{what}_bar")[c]) * (right - left) / (high - low)
                if math.isfinite(half) and half > 1.0:
                    out += [svg.line(px - half, py, px + half, py, "whisker")]
    return out


def _legend(height: float) -> list[Child]:
    out: list[Child] = []
    for x, style, said in ((8, "along", "along fibre (warp)"), (176, "across", "across (fill)"), (310, "shear", "in-plane shear")):
        out += [svg.polyline([(x, height - 14), (x + 26, height - 14)], style), svg.words(x + 32, height - 9.5, said)]
    return out


def caption(result: LoadResult, plies: list[Ply]) -> str:
    """What the picture shows, in words."""
    mode, rule = shown_mode(result), wording.ruling(result)
    where = ", ".join(part for part in (wording.ply_text(mode), mode.where) if part)
    if rule.ply is None and not is_bound(rule):
        about = f"{rule.mode} governs and is not of a ply; shown is where a ply comes nearest to failure: {where}"
    elif is_bound(mode):
        about = f"nothing is reached in the search; shown is where a ply comes nearest to failure: {where}"
    else:
        about = f"{mode.mode}, {where}, reached at {figures.times(mode.factor)}"
    made = ", ".join(
        f"{name} {' and '.join(sorted({show(p.high - p.low, 'mm') for p in plies if p.name == name}))}"
        for name in dict.fromkeys(p.name for p in plies)
    )
    state = wording.shown_at(result) or "at the expected severity"
    return (
        f"{result.load}, {state}: {about}. Ply 1 is the face the normal enters; hatching runs along the fibre seen from "
        f"above; the boxed ply is that of the mode; strain and stress in each ply's own axes. Plies: {made}."
    )


def section(conf: Configuration, number_of: int) -> Markup | None:
    """The picture of the load that governs a configuration."""
    load = wording.governing_load(conf)
    drawn = picture(conf.result(load), f"t{number_of}") if load else None
    return None if drawn is None else el("div", el("h3", "Through the thickness at the governing place"), drawn)
