"""The laminate at the governing place, drawn to scale, with strain and stress of every ply through the thickness."""

from __future__ import annotations

import math
from collections.abc import Sequence
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

#: Columns of the picture (px): the laminate to scale, labels up to here, strain and stress.
_STACK, _LABELS, _STRAIN, _STRESS = (6.0, 56.0), 130.0, (140.0, 280.0), (296.0, 434.0)
#: Height (px) of a ply beside its label, and of the laminate at least.
_PLY, _LEAST = 18.0, 126.0
_TOP, _FOOT = 26.0, 66.0
#: Least distance (px) between numbers at an axis.
_TICK = 46.0
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
    said = caption(result, plies)
    return figured(drawing(plies, key, said, shown_mode(result).ply), said)


def drawing(plies: list[Ply], key: str, said: str, governs: int | None = None) -> Markup:
    """The chart of plies, the one numbered `governs` boxed; `said` is what it shows, in words."""
    tall = max(_LEAST, _PLY * len(plies))
    governing = next((p for p in plies if p.number == governs), None)
    height = _TOP + tall + _FOOT
    return svg.chart(
        height,
        el("defs", *(_hatch(key, angle) for angle in sorted({p.angle for p in plies}))),
        _laminate(plies, governing, key, tall),
        _graph("strain (10⁻⁶)", _STRAIN, 1e6, "strain", plies, tall),
        _graph("stress (MPa)", _STRESS, 1e-6, "stress", plies, tall),
        _legend(height),
        label=said,
        cls="through",
    )


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


def _laminate(plies: list[Ply], governing: Ply | None, key: str, tall: float) -> list[Child]:
    """Plies to scale, and from each a leader to its row, where number and angle stand."""
    left, right = _STACK
    low, high = plies[0].low, plies[-1].high
    row = tall / len(plies)
    out: list[Child] = [svg.words((left + right) / 2, 14, "to scale", "middle"), svg.words(_LABELS, 14, "ply", "end")]
    for k, ply in enumerate(plies[::-1]):
        top, bottom = (_TOP + tall * (high - z) / (high - low) for z in (ply.high, ply.low))
        middle = _TOP + (k + 0.5) * row
        if ply is governing:
            out += [svg.rect(right + 16, middle - row / 2, svg.WIDE - right - 18, row, "governs")]
            out += [svg.rect(left, top, right - left, max(bottom - top, 3.0), "outline")]
        out += [svg.rect(left, top, right - left, bottom - top, "ply", f"url(#{_name(key, ply.angle)})")]
        out += [svg.line(right, (top + bottom) / 2, right + 16, middle, "leader")]
        out += [svg.words(_LABELS, middle + 4.5, ply.label, "end", "strong" if ply is governing else "")]
    return [*out, svg.words((left + right) / 2, _TOP + tall + 18, show(high - low, "mm"), "middle")]


def _graph(
    title: str, across: tuple[float, float], factor: float, what: str, plies: list[Ply], tall: float
) -> list[Child]:
    """Three components through the thickness, ply by ply in its own axes, with their bars; plies are equally high."""
    values = np.array([factor * getattr(row, what) for p in plies for row in p.rows])
    bars = np.nan_to_num(np.array([factor * getattr(row, f"{what}_bar") for p in plies for row in p.rows]))
    low, high = min(0.0, float((values - bars).min())), max(0.0, float((values + bars).max()))
    if high - low < 1e-12:
        low, high = -1.0, 1.0
    left, right = across

    def x(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    bottom = _TOP + tall
    out: list[Child] = [
        svg.words((left + right) / 2, 14, title, "middle"),
        svg.line(left, bottom, right, bottom, "axis"),
    ]
    out += [svg.line(x(0.0), _TOP, x(0.0), bottom, "zero")]
    step = svg.round_step(high - low, 4)
    every = 1 if x(step) - x(0.0) > _TICK else 2
    for k in range(math.ceil(low / step), math.floor(high / step) + 1):
        place = x(k * step)
        out += [svg.line(place, bottom, place, bottom + 4, "axis")]
        if k % every == 0:
            out += [svg.words(place, bottom + 18, figures.minus(number(k * step)), "middle")]
    row_height = tall / len(plies)
    for k, ply in enumerate(plies):
        for c, style in enumerate(_STYLES):
            shares = [(r.z - ply.low) / max(ply.high - ply.low, 1e-12) for r in ply.rows]
            heights = [bottom - row_height * (k + 0.06 + 0.88 * share) for share in shares]
            points = [(x(factor * float(getattr(r, what)[c])), y) for r, y in zip(ply.rows, heights, strict=True)]
            out += [svg.polyline(points, style)]
            for (px, py), row in zip(points, ply.rows, strict=True):
                half = factor * float(getattr(row, f"{what}_bar")[c]) * (right - left) / (high - low)
                if math.isfinite(half) and half > 1.0:
                    out += [svg.line(px - half, py, px + half, py, "whisker")]
    return out


def _legend(height: float) -> list[Child]:
    out: list[Child] = []
    for x, style, said in (
        (8, "along", "along fibre (warp)"),
        (176, "across", "across (fill)"),
        (310, "shear", "in-plane shear"),
    ):
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
    state = wording.shown_at(result) or "at the expected severity"
    return (
        f"{result.load}, {state}: {about}. Left: the laminate to scale, ply 1 on the face the normal enters, hatched "
        "along the fibre seen from above; the boxed ply is that of the mode. Right: strain and stress in each ply's "
        f"own axes, every ply equally high; short bars: mesh error. {made(plies)}."
    )


def made(plies: list[Ply]) -> str:
    """What the plies are: 'Plies 1 to 3, 5 to 7: twill 0.25 mm; ply 4: foam 10 mm'."""
    kinds: dict[tuple[str, str], list[int]] = {}
    for ply in plies:
        kinds.setdefault((ply.name, show(ply.high - ply.low, "mm")), []).append(ply.number)
    said = [f"{'ply' if len(of) == 1 else 'plies'} {runs(of)}: {name} {thick}" for (name, thick), of in kinds.items()]
    return wording.sentence("; ".join(said)).rstrip(".")


def runs(numbers: Sequence[int]) -> str:
    """Rising numbers in runs.

    >>> runs([1, 2, 3, 5, 7, 8])
    '1 to 3, 5, 7, 8'
    """
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(f"{r[0]} to {r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs)


def section(conf: Configuration, number_of: int) -> Markup | None:
    """The picture of the load that governs a configuration."""
    load = wording.governing_load(conf)
    drawn = picture(conf.result(load), f"t{number_of}") if load else None
    return None if drawn is None else el("div", el("h3", "Through the thickness at the governing place"), drawn)
