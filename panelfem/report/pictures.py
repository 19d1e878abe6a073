"""The still pictures: the panel with its damage, the reserves as a chart, the deflected shapes.

All can be read without colour."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from textwrap import fill

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke

from panelfem.arrays import BoolArray, FloatArray, IntArray
from panelfem.assess.records import Assessment, Configuration, Marked, Variant
from panelfem.disposition import is_bound
from panelfem.mesh import PanelMesh
from panelfem.report import wording
from panelfem.report.projection import View, boundary, chains, edges_of, shade, view
from panelfem.reserve.records import FieldSet, ModeReserve
from panelfem.units import number

INK, PAPER, RULE = "#1c2226", "#ffffff", "#8a9196"
#: Width (inches) at which a picture is printed, and the size of its text (points): still 11 px on a phone.
WIDE, TEXT = 4.6, 10.0
#: So many letters of a label stand in a line.
_LETTERS = 24
_HALO = [withStroke(linewidth=2.6, foreground=PAPER)]
#: Factors above this are drawn at the edge of the chart, with an arrow.
CHART_END = 4.0


def png(figure: Figure, dpi: int = 150) -> bytes:
    """A figure as a PNG, without a time stamp."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dpi, facecolor=PAPER, metadata={"Software": None})
    return out.getvalue()


def canvas(width: float, height: float) -> Figure:
    """An empty figure, in inches."""
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def surface(axes: Axes, seen: View, points: FloatArray, triangles: IntArray, colours: FloatArray) -> None:
    """Triangles in the given colours (ne, 4), far ones first."""
    order = np.argsort(seen.depth(points[triangles].mean(1)), kind="stable")
    faces = seen.flat(points)[triangles[order]]
    axes.add_collection(
        PolyCollection(list(faces), facecolors=colours[order], edgecolors=colours[order], linewidths=0.3)
    )
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.set_axis_off()


def lines(
    axes: Axes, seen: View, points: FloatArray, edges: IntArray, colour: str, width: float, style: str = "-"
) -> None:
    """Lines between points (n, 3), as pairs (ne, 2) of them."""
    if len(edges):
        axes.add_collection(
            LineCollection(
                list(seen.flat(points)[edges]), colors=colour, linewidths=width, linestyles=style, capstyle="round"
            )
        )


def outline(flat: FloatArray, edges: IntArray) -> Path:
    """Edges (n, 2) between points (m, 2) as lines that run on, so that dashes do."""
    return Path.make_compound_path(*(Path(flat[chain]) for chain in chains(edges)))


def shown_marks(assessment: Assessment, configuration: str) -> tuple[Marked, ...]:
    """What is marked of a configuration: what the option does, and the damage unless the panel is a sound one."""
    done = tuple(mark for mark in assessment.marked if mark.option == configuration)
    sound = any(c.kind == "undamaged" for c in assessment.configurations if c.name == configuration)
    if sound or any(mark.anew for mark in done):
        return done
    return (*(mark for mark in assessment.marked if not mark.option), *done)


def areas(
    axes: Axes, seen: View, mesh: PanelMesh, marked: Sequence[Marked], width: float = 1.8, hatching: str = INK
) -> None:
    """The areas of what is marked, each hatched and outlined as its kind is, with lines of `width` points."""
    flat = seen.flat(mesh.vertices)
    for mark in marked:
        if mark.inside is None or not mark.inside.any():
            continue
        path = outline(flat, edges_of(mesh.triangles, mark.inside))
        hatch = {"facecolor": "none", "edgecolor": hatching, "hatch": 2 * mark.mark.hatch, "linewidth": 0.0}
        axes.add_patch(PathPatch(path, **hatch))
        axes.add_patch(PathPatch(path, fill=False, edgecolor=INK, linestyle=mark.mark.line, linewidth=width))


def symbols(axes: Axes, seen: View, marked: Sequence[Marked]) -> None:
    """The fixings among what is marked: a ring with the symbol of the kind in it."""
    for mark in marked:
        if mark.place is not None:
            at = seen.flat(mark.place[None])[0]
            axes.plot(*at, marker="o", markersize=13.0, mfc=PAPER, mec=INK, mew=1.2)
            axes.plot(*at, marker=mark.mark.symbol, markersize=8.0, color=INK, markeredgewidth=1.6)


def greys(brightness: FloatArray, dark: float = 0.62, light: float = 0.97) -> FloatArray:
    """Greys (n, 4) between two levels for a brightness (n,) of 0 to 1."""
    level = dark + (light - dark) * brightness
    return np.column_stack([level, level, level, np.ones_like(level)])


def shown_configuration(assessment: Assessment) -> Configuration | None:
    """The configuration the picture of the panel speaks of: as found, else the recommended one, else the first."""
    return (
        wording.as_found(assessment)
        or wording.find(assessment, assessment.recommendation)
        or (assessment.configurations[0] if assessment.configurations else None)
    )


def panel_picture(assessment: Assessment) -> bytes:
    """The panel as found: damage dark and marked by its kind, fixings as rings, the governing place as a cross in a
    ring.
    """
    mesh = assessment.mesh
    conf = shown_configuration(assessment)
    seen = view(mesh.vertices, mesh.triangles)
    wide, tall = np.ptp(seen.flat(mesh.vertices), axis=0)
    figure = canvas(WIDE, min(max(0.95 * WIDE * float(tall / max(wide, 1e-12)), 1.6), 3.2))
    axes = figure.add_subplot()
    here = ~_removed(conf, len(mesh.triangles))
    colours = greys(shade(mesh.vertices, mesh.triangles, seen))
    damage = [mark for mark in assessment.marked if not mark.option]
    for mark in damage:
        if mark.inside is not None:
            colours[mark.inside, :3] = 0.42
    surface(axes, seen, mesh.vertices, mesh.triangles[here], colours[here])
    lines(axes, seen, mesh.vertices, boundary(mesh.triangles[here]), INK, 1.0)
    areas(axes, seen, mesh, damage, hatching=PAPER)
    governs = _governing_place(conf)
    if governs is not None:
        figure.supxlabel(f"\u2295 {governs[1]}", fontsize=TEXT, color=INK, weight="bold", x=0.02, ha="left")
    taken = Taken(_scale(figure, axes))
    if governs is not None:
        at = seen.flat(governs[0][None])[0]
        taken.mark(at, 15.0)
        for size, width, colour in ((17, 3.6, PAPER), (17, 1.7, INK)):
            axes.plot(
                *at, marker="o", markersize=size, markerfacecolor="none", markeredgecolor=colour, markeredgewidth=width
            )
            axes.plot(*at, marker="+", markersize=size + 9, markeredgecolor=colour, markeredgewidth=width)
    _places(axes, seen, assessment, damage, taken)
    return png(figure, dpi=215)


def repairs_picture(assessment: Assessment) -> bytes | None:
    """What each option does, a panel an option: repairs marked by their kind, damage dark; None without options."""
    options = list(dict.fromkeys(mark.option for mark in assessment.marked if mark.option))
    if not options:
        return None
    mesh = assessment.mesh
    damage = [m for m in assessment.marked if not m.option and m.inside is not None and m.inside.any()]
    seen = view(mesh.vertices, mesh.triangles)
    wide, tall = np.ptp(seen.flat(mesh.vertices), axis=0)
    high = min(max(0.85 * WIDE * float(tall / max(wide, 1e-12)), 1.4), 2.6)
    figure = canvas(WIDE, (high + 0.3) * len(options))
    removed = _removed(wording.as_found(assessment), len(mesh.triangles))
    for axes, option in zip(figure.subplots(len(options), 1, squeeze=False).flat, options, strict=True):
        done = [mark for mark in assessment.marked if mark.option == option]
        anew = next((mark for mark in done if mark.anew), None)
        colours = greys(shade(mesh.vertices, mesh.triangles, seen))
        here = ~removed if anew is None else np.ones(len(mesh.triangles), bool)
        for mark in damage if anew is None else ():
            colours[mark.inside, :3] = 0.62
        surface(axes, seen, mesh.vertices, mesh.triangles[here], colours[here])
        width, rim = (1.0, "-") if anew is None else (2.4, anew.mark.line)
        border = outline(seen.flat(mesh.vertices), boundary(mesh.triangles[here]))
        axes.add_patch(PathPatch(border, fill=False, edgecolor=INK, linestyle=rim, linewidth=width))
        areas(axes, seen, mesh, done)
        axes.set_title(fill(option, 2 * _LETTERS), fontsize=TEXT, color=INK, weight="bold", loc="left")
        taken = Taken(_scale(figure, axes))
        for mark in damage if anew is None else ():
            taken.area(seen, mesh, mark)
        _places(axes, seen, assessment, done, taken, fixings=False)
    return png(figure, dpi=170)


def fixing_names(assessment: Assessment) -> set[str]:
    """The named places that are fixings: those that carry a load in some result."""
    states = [v for c in assessment.configurations for v in (*c.variants, *c.contingencies)]
    return {fixing.name for state in states for result in state.loads for fixing in result.fixings}


def _scale(figure: Figure, axes: Axes) -> float:
    """Points per m of a picture as it is laid out."""
    figure.draw_without_rendering()
    (left, _), (right, _) = axes.transData.transform([(0.0, 0.0), (1.0, 0.0)])
    return float(right - left) * 72.0 / figure.dpi


class Taken:
    """What is drawn already, as boxes in points; `scale` points per m.  A label goes where it hides least."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self._boxes: list[tuple[float, float, float, float]] = []

    def mark(self, at: FloatArray, half: float) -> None:
        """A mark at (2,) m, `half` as wide, in points."""
        x, y = self.scale * at
        self._boxes.append((x - half, y - half, x + half, y + half))

    def fill(self, low: FloatArray, high: FloatArray) -> None:
        """An area between two corners (2,) m."""
        self._boxes.append((*(self.scale * low), *(self.scale * high)))

    def area(self, seen: View, mesh: PanelMesh, mark: Marked) -> FloatArray:
        """The area of a mark; where its leader starts, (2,) m: farthest to the right, so that those of nested areas
        part.
        """
        assert mark.inside is not None
        border = seen.flat(mesh.vertices[edges_of(mesh.triangles, mark.inside).ravel()])
        self.fill(border.min(0), border.max(0))
        return np.asarray(border[np.argmax(border[:, 0])])

    def place(
        self, at: FloatArray, words: str, away: float, inside: tuple[FloatArray, FloatArray]
    ) -> tuple[float, float, str]:
        """Offset (points) of the label of a mark at (2,) m from it, and how it is set there; it is then taken.

        Labels stay `inside` two corners (2,) m of the picture.
        """
        wide, tall = 0.56 * TEXT * max(map(len, words.split("\n"))), 1.25 * TEXT * (words.count("\n") + 1)
        x, y = self.scale * at
        low, high = (self.scale * corner for corner in inside)
        best, least = (away, 0.0, "left"), math.inf
        for far in (1.0, 2.4, 4.0):
            for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1)):
                cx = x + dx * (far * away + (wide / 2 if dx else 0.0))
                cy = y + dy * (far * away + (tall / 2 if dy else 0.0))
                box = (cx - wide / 2, cy - tall / 2, cx + wide / 2, cy + tall / 2)
                out = max(low[0] - box[0], 0.0) + max(box[2] - high[0], 0.0)
                out += max(low[1] - box[1], 0.0) + max(box[3] - high[1], 0.0)
                hidden = sum(
                    max(min(box[2], b[2]) - max(box[0], b[0]), 0.0) * max(min(box[3], b[3]) - max(box[1], b[1]), 0.0)
                    for b in self._boxes
                )
                cost = hidden + 20.0 * out + 3.0 * far * away
                if cost < least - 1e-9:
                    least, best = cost, (cx - x, cy - y, "center")
                    chosen = box
        self._boxes.append(chosen)
        return best


def _folded(words: str) -> str:
    """A label in lines."""
    return fill(words, _LETTERS, break_on_hyphens=False)


def _places(
    axes: Axes, seen: View, assessment: Assessment, marked: Sequence[Marked], taken: Taken, fixings: bool = True
) -> None:
    """Names of what is marked in bold, with leaders, and symbols of its fixings; with `fixings` rings at all of these
    and small crosses at the other named places, with their names.
    """
    rings = fixing_names(assessment)
    inside = np.array(axes.viewLim.min), np.array(axes.viewLim.max)
    areas = assessment.damage_regions
    # the name of a damaged fixing stands with its damage
    ours = [mark for mark in marked if mark.place is not None]
    shown = [
        (name, place)
        for name, place in assessment.places.items()
        if name not in areas and not any(name in m.label and m.place is place for m in ours)
    ]
    called, named = [], []
    for name, place in shown if fixings else ():
        at, ring = seen.flat(np.asarray(place)[None])[0], name in rings
        axes.plot(
            *at,
            marker="o" if ring else "x",
            markersize=6.5 if ring else 5.0,
            markerfacecolor=PAPER,
            markeredgecolor=INK,
            markeredgewidth=1.2,
        )
        taken.mark(at, 4.0)
        named.append((at, name, "normal", "normal") if ring else (at, _folded(name), "italic", "normal"))
    symbols(axes, seen, marked)
    for mark in marked:
        at = (inside[0] + inside[1]) / 2.0
        if mark.place is not None:
            at = seen.flat(mark.place[None])[0]
            taken.mark(at, 7.0)
        elif mark.inside is not None and mark.inside.any():
            at = taken.area(seen, assessment.mesh, mark)
        called.append((at, _folded(mark.label), "normal", "bold"))
    named.sort(key=lambda item: item[2] == "italic")
    count = sum(style == "normal" for _, _, style, _ in named)
    for at, words, style, weight in (*named[:count], *called, *named[count:]):
        x, y, how = taken.place(at, words, 7.0, inside)
        far = math.hypot(x, y) > 40.0 or weight == "bold"
        axes.annotate(
            words,
            at,
            xytext=(x, y),
            textcoords="offset points",
            fontsize=TEXT,
            style=style,
            weight=weight,
            color=INK,
            va="center",
            ha=how,
            path_effects=_HALO,
            arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.8, "shrinkA": 0, "shrinkB": 2} if far else None,
        )


def _removed(conf: Configuration | None, elements: int) -> BoolArray:
    return conf.variants[0].removed if conf is not None and conf.variants else np.zeros(elements, bool)


def _governing_place(conf: Configuration | None) -> tuple[FloatArray, str] | None:
    """Where the mode that governs is reached, with what to call it; None if nothing is.

    A mode of the whole panel, such as snap-through, has no place: then it is where the panel moves most.
    """
    load = "" if conf is None else wording.governing_load(conf)
    if conf is None or not load:
        return None
    result = conf.result(load)
    mode = wording.ruling(result, wording.outcome_of(conf, load))
    if is_bound(mode):
        return None
    if mode.place is not None:
        return np.asarray(mode.place), f"governs: {mode.mode}"
    return np.asarray(result.deflection.place), f"governs: {mode.mode}, moves most here"


def reserves_chart(assessment: Assessment) -> bytes:
    """Factor on each load's own parameter, a row for each configuration and load, against the factor asked for.

    Disc: release-governing; ring: first ply; arrow: beyond the chart or a bound; cross at 0: reached at zero load; a
    question mark: the theory used does not hold.
    """
    rows = [(c, load) for c in assessment.configurations for load in c.governing]
    figure = canvas(8.0, 1.3 + 0.27 * len(rows) + 0.18 * len(assessment.configurations))
    axes = figure.add_subplot()
    y, ticks, names = 0.0, [], []
    for conf in assessment.configurations:
        axes.text(
            0.0,
            y,
            f" {conf.name}: {conf.disposition.outcome.value}",
            fontsize=8.5,
            weight="bold",
            color=INK,
            va="center",
        )
        y += 1.0
        for load in conf.governing:
            result = conf.result(load)
            asked = wording.required_of(conf, load, assessment.required)
            rule = wording.ruling(result, wording.outcome_of(conf, load))
            axes.plot([0, CHART_END], [y, y], color="#d9dcde", linewidth=0.6, zorder=0)
            axes.plot([asked, asked], [y - 0.42, y + 0.42], color=INK, linewidth=2.0, solid_capstyle="butt")
            _dot(axes, y, result.first_ply, filled=False, sound=not wording.doubt(result.theory))
            _dot(axes, y, rule, filled=True, sound=not wording.doubt(result.theory))
            ticks.append(y)
            names.append(load)
            y += 1.0
        y += 0.5
    axes.axvline(1.0, color=RULE, linewidth=0.9, linestyle=(0, (4, 3)), zorder=0)
    axes.set_yticks(ticks, names, fontsize=8)
    axes.set_ylim(y - 0.5, -0.8)
    axes.set_xlim(-0.08, CHART_END * 1.03)
    axes.set_xlabel(
        "factor on the load's own parameter: 1 is what is expected (dashed), a bar is what is asked for", fontsize=8
    )
    axes.tick_params(axis="both", length=0, labelsize=8, colors=INK)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    handles = [
        axes.plot([], [], "o", color=INK, markersize=7)[0],
        axes.plot([], [], "o", markerfacecolor=PAPER, markeredgecolor=INK, markersize=7)[0],
        axes.plot([], [], ">", color=INK, markersize=7)[0],
        axes.plot([], [], "x", color=INK, markersize=7)[0],
        axes.plot([], [], marker="$?$", color=INK, linestyle="", markersize=8)[0],
    ]
    words = [
        "release-governing",
        "first ply",
        f"above ×{number(CHART_END)}, or a bound",
        "reached at zero load",
        wording.UNSOUND,
    ]
    figure.legend(handles, words, loc="outside lower center", ncols=5, fontsize=7.5, frameon=False, handletextpad=0.3)
    return png(figure)


def _dot(axes: Axes, y: float, mode: ModeReserve, filled: bool, sound: bool) -> None:
    face = INK if filled else PAPER
    if mode.status == "zero load":
        axes.plot(0.0, y, marker="x", color=INK, markersize=8, markeredgewidth=2.0 if filled else 1.1)
        return
    if math.isnan(mode.factor):
        return
    beyond = mode.factor > CHART_END or is_bound(mode)
    x = min(mode.factor, CHART_END)
    axes.plot(
        x,
        y,
        marker=">" if beyond else "o",
        markersize=8,
        markerfacecolor=face,
        markeredgecolor=INK,
        markeredgewidth=1.3,
    )
    if not sound and filled:
        axes.text(x, y - 0.05, "  ?", fontsize=10, weight="bold", color=INK, va="center", ha="left")


def shown_load(assessment: Assessment) -> str:
    """The load the deflected shapes are drawn under: what governs the recommended configuration or the panel found."""
    conf = wording.find(assessment, assessment.recommendation) or shown_configuration(assessment)
    return wording.governing_load(conf) if conf is not None else ""


def deflected_picture(assessment: Assessment) -> bytes | None:
    """The deflected shapes of all configurations under one load, to one scale; None if no field was kept."""
    load = shown_load(assessment)
    states = [
        (c, v, v.fields[load])
        for c in assessment.configurations
        if (v := _ruling_variant(c, load)) and load in v.fields
    ]
    if not states:
        return None
    mesh = assessment.mesh
    seen = view(mesh.vertices, mesh.triangles)
    sizes = [_size(shown, variant, mesh.triangles) for _, variant, shown in states]
    most = max(float(s.max()) for s in sizes) or 1e-12
    reach = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    enlarged = _round(0.09 * reach / most)
    columns = min(len(states), 2)
    deep = math.ceil(len(states) / columns)
    figure = canvas(WIDE, 0.9 + 1.95 * deep)
    grid = figure.subplots(deep, columns, squeeze=False)
    norm, colours = Normalize(0.0, 1e3 * most), colormaps["cividis"]
    for axes, (conf, variant, shown) in zip(grid.flat, states, strict=False):
        here = ~variant.removed
        size = np.linalg.norm(shown.displacement, axis=1)
        faces = colours(norm(1e3 * size[mesh.triangles].mean(1)))
        moved = mesh.vertices + enlarged * shown.displacement
        lines(axes, seen, mesh.vertices, boundary(mesh.triangles[here]), RULE, 0.8, ":")
        surface(axes, seen, moved, mesh.triangles[here], np.asarray(faces)[here])
        lines(axes, seen, moved, boundary(mesh.triangles[here]), INK, 0.8)
        result = next(r for r in variant.loads if r.load == load)
        value = wording.deflection_text(result).replace(" (", "\n(")
        title = "\n".join(fill(words, _LETTERS) for words in (conf.name, *value.split("\n")))
        axes.set_title(title, fontsize=TEXT, color=INK)
    for axes in list(grid.flat)[len(states) :]:
        axes.set_axis_off()
    bar = figure.colorbar(ScalarMappable(norm, colours), ax=list(grid.flat), location="bottom", shrink=0.9, aspect=40)
    bar.set_label(fill(f"deflection (mm) under {load}; drawn ×{number(enlarged)}, dotted: at rest", 52), fontsize=TEXT)
    bar.ax.tick_params(labelsize=TEXT)
    return png(figure, dpi=215)


def _round(value: float) -> float:
    """A number rounded down to 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(value))
    return float(next(m for m in (5.0, 2.0, 1.0) if value >= m * power * (1 - 1e-12)) * power)


def _size(shown: FieldSet, variant: Variant, triangles: IntArray) -> FloatArray:
    used = np.unique(triangles[~variant.removed])
    return np.asarray(np.linalg.norm(shown.displacement[used], axis=1))


def _ruling_variant(conf: Configuration, load: str) -> Variant | None:
    name = conf.governing.get(load)
    return next((v for v in conf.variants if v.name == name), None)
