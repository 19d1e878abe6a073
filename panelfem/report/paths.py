"""The load path of each case: what stays, what grows, and the factor at which each mode is reached, on one axis."""

from __future__ import annotations

import math

from panelfem.assess.records import Assessment, Configuration
from panelfem.disposition import ends, is_bound, snaps
from panelfem.report import figures, svg, wording
from panelfem.report.cells import note
from panelfem.report.markup import Child, Markup, el, table
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.units import number

#: Factors above this are drawn at the end of the axis, with an arrow.
END = 4.0
_LEFT, _RIGHT, _Y, _TALL = 10.0, 424.0, 31.0, 60.0
#: So many modes are named beside the axis; the others stand in the table of all modes.
NAMED = 6

KEY = (
    "Disc: the mode that governs; dot: other release-governing modes and limits; ring: first ply failure and other "
    "modes that ask for inspection; cross at 0: reached before the load is applied; cross in a square: the path ends; "
    f"arrow: above ×{number(END)}, or nothing reached up to there."
)


def cases(assessment: Assessment) -> Markup | None:
    """What stays and what grows in each load case; the same for every configuration."""
    conf = next((c for c in assessment.configurations if c.governing), None)
    if conf is None:
        return None
    rows: list[list[Child]] = []
    for load in conf.governing:
        r = conf.result(load)
        asked = wording.required_of(conf, load, assessment.required)
        rows.append(
            [
                [el("span", load), note(r.kind)],
                r.scaled or r.parameter,
                figures.severity(r.expected, r.parameter),
                [el("span", figures.severity(asked * r.expected, r.parameter)), note(figures.times(asked))],
                f"×{number(r.dynamic)}" if r.dynamic != 1.0 else "none",
                [note(words) for words in r.held] if r.held else "nothing",
            ]
        )
    heads = ("Load", "What grows", "Expected", "Asked for", "Factor for inertia, on what grows", "What stays")
    return el(
        "section",
        el("h2", "Load path of each case"),
        el(
            "p",
            "A factor is on what grows; what stays is there from the start and does not grow with it. What each "
            "configuration reaches along the path stands with the configuration.",
        ),
        table(heads, rows, cls="loads cases"),
    )


def path_table(assessment: Assessment, conf: Configuration) -> Markup | None:
    """A row for each load: the axis with every mode reached, and the modes in order."""
    rows: list[list[Child]] = []
    for load in conf.governing:
        result, judged = conf.result(load), wording.outcome_of(conf, load)
        asked = wording.required_of(conf, load, assessment.required)
        rule = wording.ruling(result, judged)
        rows.append([[el("span", load), note(conf.governing[load])], axis(result, rule, asked), _said(result, rule)])
    if not rows:
        return None
    heads = ("Load", "Factor on what grows", "Reached, in order")
    return table(heads, rows, cls="loads paths", caption=f"{conf.name}: load paths. {KEY}")


def reached(result: LoadResult) -> list[ModeReserve]:
    """Every mode that is reached, the first one first; one of a name and grade, the earliest."""
    found = [m for m in (*result.modes, result.first_ply, result.release) if not is_bound(m) and not math.isnan(m.rank)]
    looked = {m.mode for m in result.modes}
    limits = [wording.limit_mode(c) for c in result.limits if math.isfinite(c.factor)]
    found += [m for m in limits if m.mode not in looked]
    out: dict[tuple[str, str], ModeReserve] = {}
    for mode in sorted((m for m in found if math.isfinite(m.rank)), key=lambda m: m.rank):
        out.setdefault((mode.mode, mode.grade), mode)
    return list(out.values())


def _said(result: LoadResult, rule: ModeReserve) -> list[Child]:
    """The modes in order, in words."""
    found = reached(result)
    out: list[Child] = []
    for mode in found[:NAMED]:
        what = "governs" if _same(mode, rule) else "" if mode.grade == "release" else "inspection"
        factor = wording.barred_factor(mode, result.theory) if not math.isnan(mode.bar) else _plain(mode, result)
        words = ", ".join(part for part in (mode.mode, wording.ply_text(mode), what) if part)
        out.append(el("span", el("b", factor), " ", words, cls="pair"))
    if len(found) > NAMED:
        out.append(note(f"and {len(found) - NAMED} more: see all states and modes"))
    if not found or is_bound(rule):
        end = wording.path_end(result)
        bound = (
            end.factor if end is not None else max((m.factor for m in result.modes if is_bound(m)), default=math.nan)
        )
        said = (
            "no equilibrium found beyond" if end is not None and ends(end) else "nothing that governs is reached up to"
        )
        if math.isfinite(bound):
            out.append(el("span", f"{said} {figures.times(bound)}", cls="pair"))
    return out


def _plain(mode: ModeReserve, result: LoadResult) -> str:
    if mode.status == "zero load":
        return wording.marked("at zero load", result.theory)
    return wording.marked(figures.times(mode.factor), result.theory)


def _same(mode: ModeReserve, rule: ModeReserve) -> bool:
    return (mode.mode, mode.grade) == (rule.mode, rule.grade) and mode.rank == rule.rank


def axis(result: LoadResult, rule: ModeReserve, asked: float) -> Markup:
    """One axis from 0 to `END`: expected, asked for, and every mode reached."""

    def x(factor: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * min(max(factor, 0.0), END) / END

    out: list[Child] = [svg.line(_LEFT, _Y, _RIGHT, _Y, "axis")]
    for k in range(int(END) + 1):
        out += [svg.line(x(k), _Y, x(k), _Y + 5, "axis")]
        out += [svg.words(x(k), _TALL - 6, f"×{k}", "start" if k == 0 else "end" if k == END else "middle")]
    out += [svg.line(x(1.0), 4, x(1.0), _Y + 5, "expected"), svg.words(x(1.0) - 5, 14, "expected", "end")]
    out += [svg.line(x(asked), 4, x(asked), _Y + 5, "asked")]
    out += [svg.words(x(asked) + 6, 14, f"asked for {figures.times(asked)}")]
    for mode in reversed(reached(result)):
        out += _mark(mode, rule, x)
    if is_bound(rule):
        out += [_arrow(x(rule.factor), "disc")]
    end = wording.path_end(result)
    if end is not None:
        out += [_cross(x(end.factor), 5.0), svg.rect(x(end.factor) - 7, _Y - 7, 14, 14, "ring open")]
    label = f"{result.load}: " + "; ".join(f"{m.mode} {_plain(m, result)}" for m in reached(result)[:NAMED])
    return svg.chart(_TALL, *out, label=label, cls="path")


def _mark(mode: ModeReserve, rule: ModeReserve, x: svg.Scale) -> list[Child]:
    governs = _same(mode, rule)
    cls = "disc" if mode.grade == "release" else "ring"
    if mode.status == "zero load":
        return [_cross(x(0.0), 6.0)]
    if snaps(mode):
        return [svg.dot(x(mode.factor), _Y, 7.0, cls)] if governs else []
    if mode.factor > END:
        return [_arrow(x(END), cls)]
    size = 7.0 if governs else 5.5 if cls == "ring" else 3.5
    return [svg.dot(x(mode.factor), _Y, size, cls)]


def _arrow(x: float, cls: str) -> Markup:
    return el("path", d=f"M{svg.at(x - 4)} {svg.at(_Y - 7)} l12 7 l-12 7 Z", cls=cls)


def _cross(x: float, half: float) -> Markup:
    a, b, top, low = svg.at(x - half), svg.at(x + half), svg.at(_Y - half), svg.at(_Y + half)
    return el("path", d=f"M{a} {top} L{b} {low} M{a} {low} L{b} {top}", cls="cross")
