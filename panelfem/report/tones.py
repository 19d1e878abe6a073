"""The tap test: which tones the panel gives when it is knocked, and what can be told from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from panelfem.arrays import BoolArray, FloatArray
from panelfem.assess.records import Assessment, Configuration, Tone, Vibration
from panelfem.report import figures
from panelfem.report.cells import barred, folded, note, picture
from panelfem.report.markup import Child, Markup, el, table
from panelfem.report.pictures import shown_marks
from panelfem.report.shapes import CAPTION, fixing_places, shape_picture
from panelfem.units import number, with_bar

#: A spectrum of so many hertz' width between its lines: that of a record of one second.
RESOLVED = 1.0
#: States beside each other in one table, and tones drawn.
ABREAST, DRAWN = 5, 6

CAUTIONS = (
    "These are the tones of the panel as fitted, at rest, without the air around it. Air makes them lower, and so "
    "does a hand on the panel.",
    "Bars are of the mesh only. Stiffness and mass other than assumed move all tones together: compare with the same "
    "panel when it was sound, or one tone with another.",
    "A loose fixing or wet core lowers tones as damage does: a change says that something is different, not what; no "
    "change does not prove that the panel is sound.",
)
HOW = (
    "Take a record of at least a second close to the panel with a phone that shows the spectrum of sound; knock with a "
    "knuckle where a tone moves most, and read its peak (common practice, no source)."
)


@dataclass(frozen=True)
class Column:
    """The tones of one state of a configuration; `name` as the head of a column."""

    configuration: Configuration
    name: str
    vibration: Vibration
    removed: BoolArray


def columns(assessment: Assessment) -> list[Column]:
    """Every state whose vibrations are known, the undamaged panel first."""
    found = []
    for conf in sorted(assessment.configurations, key=lambda c: c.kind != "undamaged"):
        states = [v for v in (*conf.variants, *conf.contingencies) if v.vibration is not None]
        for variant in states:
            name = conf.name if len(states) == 1 else f"{conf.name}: {variant.name}"
            assert variant.vibration is not None
            found.append(Column(conf, name, variant.vibration, variant.removed))
    return found


def reference(found: Sequence[Column]) -> Column | None:
    """The undamaged panel's, if it is known."""
    return next((c for c in found if c.configuration.kind == "undamaged"), None)


def frequency_text(tone: Tone) -> str:
    """A frequency with its bar.

    >>> frequency_text(Tone(212.3, 0.8, np.zeros(3), "", np.zeros((0, 3))))
    '212.3 ± 0.8 Hz'
    """
    return with_bar(tone.frequency, tone.bar, "Hz")


def change(tone: Tone, whole: Tone) -> tuple[float, float]:
    """Change of a frequency against the undamaged panel's, as a share, and its bar (those of both, added).

    >>> a, b = (Tone(f, 1.0, np.zeros(3), "", np.zeros((0, 3))) for f in (200.0, 190.0))
    >>> [round(x, 6) for x in change(b, a)]
    [-0.05, 0.00975]
    """
    ratio = tone.frequency / whole.frequency
    return ratio - 1.0, ratio * (tone.bar / tone.frequency + whole.bar / whole.frequency)


def change_text(tone: Tone, whole: Tone) -> str:
    """The change in per cent with its bar; says so where it is within it."""
    value, bar = change(tone, whole)
    if math.isnan(bar):
        return f"{figures.signed(100.0 * value, 2)} %"
    shown = figures.minus(with_bar(100.0 * value, 100.0 * bar, "%"))
    shown = f"+{shown}" if value > 0 and shown[0] != "0" else shown
    return shown if abs(value) > bar else f"{shown}, no change to be told"


def least_told(tone: Tone, whole: Tone) -> float:
    """The least drop, as a share, that can be told: more than the bars, and than a line of the spectrum is wide."""
    bar = change(tone, whole)[1]
    return max(0.0 if math.isnan(bar) else bar, RESOLVED / whole.frequency)


@dataclass(frozen=True)
class Telling:
    """A tone of the undamaged panel and what the panel as found has instead: its `number` from 1, the `tones` in each
    of the states, and the least drop that can be `told`, as a share.
    """

    number: int
    whole: Tone
    tones: tuple[Tone, ...]
    told: float

    @property
    def drops(self) -> tuple[float, float]:
        """The least and the greatest drop over the states, as shares."""
        found = [-change(t, self.whole)[0] for t in self.tones]
        return min(found), max(found)

    def over(self, other: Telling) -> tuple[float, float, float]:
        """This tone over another: undamaged, and the least and the greatest over the states."""
        found = [a.frequency / b.frequency for a, b in zip(self.tones, other.tones, strict=True)]
        return self.whole.frequency / other.whole.frequency, min(found), max(found)


def tellings(found: Sequence[Column]) -> list[Telling]:
    """The tones of the undamaged panel that the panel as found has in each of its states."""
    whole = reference(found)
    states = [c for c in found if c.configuration.kind == "as found"]
    if whole is None or not states:
        return []
    out = []
    for i, base in enumerate(whole.vibration.tones, 1):
        alike = [next((t for t in c.vibration.tones if t.like == i), None) for c in states]
        tones = tuple(t for t in alike if t is not None)
        if len(tones) == len(states):
            out.append(Telling(i, base, tones, max(least_told(t, base) for t in tones)))
    return out


def use(found: Sequence[Column]) -> list[str]:
    """How to use the tones, in sentences: which one tells, how far it must be off, and what cannot be told."""
    if reference(found) is None or not any(c.configuration.kind == "as found" for c in found):
        return []
    every = tellings(found)
    clear = sorted((t for t in every if t.drops[0] > t.told), key=lambda t: -t.drops[0] / t.told)
    if not clear:
        return [
            "The damage found lowers no tone by more than its bar and what a spectrum resolves: tapping cannot tell "
            "this panel from an undamaged one."
        ]
    best = clear[0]
    told = f"{number(math.ceil(1000.0 * best.told) / 10.0)} %"
    drop = _range((100.0 * d for d in best.drops), "%", 2)
    said = [
        f"Tone {best.number} tells most: tap {best.whole.where} and listen near {number(best.whole.frequency)} Hz. A "
        f"peak more than {told} below what this panel gave undamaged means that it has lost stiffness or a fixing is "
        f"loose; the damage found should lower it by {drop}, to {_range((t.frequency for t in best.tones), 'Hz')}. "
        f"Less than {told} off cannot be told from an undamaged panel."
    ]
    others = [str(t.number) for t in clear[1:]]
    if others:
        said.append(f"Tone{'s' if len(others) > 1 else ''} {', '.join(others)} should be lower too.")
    steady = [t for t in every if max(abs(d) for d in t.drops) <= t.told < best.drops[0] - best.told]
    if steady:
        still = min(steady, key=lambda t: max(abs(d) for d in t.drops))
        before, low, high = (f"{ratio:.2f}" for ratio in best.over(still))
        now = low if low == high else f"{low} to {high}"
        said.append(
            f"If it was never tapped undamaged: the damage leaves tone {still.number} where it is, and tone "
            f"{best.number} over tone {still.number} is {before} undamaged, {now} as found."
        )
    return said


def _range(values: Iterable[float], unit: str, digits: int = 3) -> str:
    """'198 to 201 Hz', or one number where both are the same as shown."""
    ends = sorted(values)
    low, high = number(ends[0], digits), number(ends[-1], digits)
    return f"{low if low == high else f'{low} to {high}'} {unit}".strip()


def section(assessment: Assessment) -> Markup | None:
    """The page of the tap test; None if no vibration was computed."""
    found = columns(assessment)
    if not found:
        return None
    return el(
        "section",
        el("h2", "Tap test"),
        *(el("p", words) for words in use(found)),
        el("p", HOW, cls="small"),
        *_tables(found),
        _pictures(assessment, found),
        el("ul", *(el("li", words) for words in (*CAUTIONS, *_notes(found))), cls="small"),
        folded("For the engineer: share of the mass that goes with each tone", *(_masses(c) for c in found)),
        cls="tones",
    )


def _notes(found: Sequence[Column]) -> list[str]:
    return [f"{c.name}: {words}." for c in found for words in c.vibration.notes]


def _tables(found: Sequence[Column]) -> list[Markup]:
    """The undamaged panel's tones down, the states across, so many abreast."""
    whole = reference(found)
    others = [c for c in found if c is not whole]
    first = [] if whole is None else [whole]
    width = ABREAST - len(first)
    chunks = [others[i : i + width] for i in range(0, len(others), width)] or [[]]
    return [_table(whole, [*first, *chunk]) for chunk in chunks]


def _table(whole: Column | None, shown: Sequence[Column]) -> Markup:
    base = () if whole is None else whole.vibration.tones
    rows: list[list[Child]] = []
    for i, tone in enumerate(base, 1):
        cells = [_cell(c, [t for t in c.vibration.tones if c is whole or t.like == i], tone, i) for c in shown]
        rows.append([[el("span", f"{i}"), note(f"moves most {tone.where}")], *cells])
    strange = [[t for t in c.vibration.tones if c is not whole and t.like is None] for c in shown]
    for i in range(max(len(tones) for tones in strange)):
        row = [barred(frequency_text(t[i]), f"moves most {t[i].where}") if i < len(t) else "" for t in strange]
        rows.append([el("span", "like none of the undamaged panel's") if base else f"{i + 1}", *row])
    caption = "Tones of the panel as fitted. In brackets: likeness of the shape to the undamaged panel's, 1 the same."
    return table(("Tone", *(c.name for c in shown)), rows, cls="loads tones", caption=caption)


def _cell(column: Column, tones: Sequence[Tone], whole: Tone, place: int) -> Child:
    if column.configuration.kind == "undamaged" and whole in tones:
        return barred(frequency_text(whole))
    if not tones:
        return note("none like it")
    return [barred(frequency_text(t), f"{change_text(t, whole)} (likeness {number(t.likeness, 2)})") for t in tones]


def _pictures(assessment: Assessment, found: Sequence[Column]) -> Markup | None:
    """The first shapes of the undamaged panel, each above the one the panel as found has instead."""
    whole, state = reference(found), next((c for c in found if c.configuration.kind == "as found"), None)
    if whole is None:
        return None
    fixings = fixing_places(assessment)

    def drawn(column: Column, tone: Tone, words: str) -> Markup:
        marks = shown_marks(assessment, column.configuration.name)
        made = shape_picture(assessment.mesh, tone.shape, column.removed, fixings, marks)
        return picture(made, f"{column.name}, {words}")

    tiles = []
    for i, tone in enumerate(whole.vibration.tones[:DRAWN], 1):
        pair: list[Child] = [drawn(whole, tone, f"tone {i}: {frequency_text(tone).partition(' (')[0]}")]
        alike = None if state is None else next((t for t in state.vibration.tones if t.like == i), None)
        if state is not None and alike is not None:
            pair.append(drawn(state, alike, f"{frequency_text(alike).partition(' (')[0]}, {change_text(alike, tone)}"))
        tiles.append(el("div", *pair))
    return el("div", el("div", *tiles, cls="shapes"), el("p", CAPTION, cls="small"))


def _masses(column: Column) -> Markup:
    """Share of the mass that goes with a shake along each axis."""
    total: FloatArray = np.sum([t.effective for t in column.vibration.tones], axis=0)
    rows: list[list[Child]] = [
        [str(i), frequency_text(t), *(figures.share(float(s)) for s in t.effective)]
        for i, t in enumerate(column.vibration.tones, 1)
    ]
    if rows:
        rows.append(["together", "", *(figures.share(float(s)) for s in total)])
    caption = f"{column.name}: {number(1e3 * column.vibration.mass, 4)} g vibrate"
    heads = ("Tone", "Frequency", "Share along x", "Share along y", "Share along z")
    return table(heads, rows, caption=caption)
