"""The layup lesson: what stacks do, side by side on one page: stiffness, coupling, ply stresses, envelopes, first to
last ply.

Stacks are told apart by letters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from panelfem import __version__
from panelfem.arrays import FloatArray
from panelfem.failure import CRITERIA, Criterion
from panelfem.failure.envelope import families, first_factors
from panelfem.failure.in_situ import SOURCE
from panelfem.failure.progression import Shares
from panelfem.files import put
from panelfem.report import figures, folder, through, wording
from panelfem.report import lesson_pictures as pictures
from panelfem.report.cells import folded
from panelfem.report.html import page
from panelfem.report.lesson_pictures import event_words, fails
from panelfem.report.lesson_stack import Stack
from panelfem.report.markup import Child, Markup, el, table
from panelfem.units import number

NAME = "lesson.html"
TITLE = "Layup lesson"
_RESULTANTS = ("Nx", "Ny", "Nxy", "Mx", "My", "Mxy")
#: Below these a coupling is called slight, and clear (common practice, no source).
_SLIGHT, _STRONG = 0.05, 0.5


def lesson(found: Sequence[Stack], held_stronger: bool = False) -> str:
    """The page, one file that fetches nothing."""
    return page(
        TITLE,
        el("header", el("h1", TITLE), el("p", _under(found[0]), cls="facts")),
        el("section", *(el("p", said) for said in _headline(found)), _summary(found)),
        el("section", el("h2", "Stiffness by direction"), _grid(pictures.polars(found))),
        el("section", el("h2", "What couples what"), _couplings(found)),
        el("section", el("h2", "Ply by ply through the thickness"), _grid([pictures.plies(one) for one in found])),
        el(
            "section",
            el("h2", "Where the first ply fails"),
            _grid([pictures.envelope(one) for one in found]),
            _factors(found),
        ),
        el("section", el("h2", "How a single ply fails"), _grid(pictures.single_plies(found))),
        el("section", el("h2", "First to last ply"), _grid([pictures.first_to_last(found)]), _failures(found)),
        *_struck(found),
        el("footer", *(el("p", said) for said in _notes(found, held_stronger))),
    )


def _grid(drawn: Sequence[Markup]) -> Markup:
    return el("div", *drawn, cls="charts")


def write(found: Sequence[Stack], out: Path, held_stronger: bool = False) -> Path:
    """Write the page into a folder, made if need be; its path.  Raises InputError if that holds files not ours."""
    content = lesson(found, held_stronger).encode()
    if not _ours(out):
        folder.prepare(out, "--lesson")
    return put(out, NAME, content)


def _ours(out: Path) -> bool:
    """Whether the folder holds an earlier lesson and nothing else."""
    try:
        alone = [path.name for path in out.iterdir()] == [NAME]
        return alone and f"<title>{TITLE}</title>" in (out / NAME).read_text(encoding="utf-8")
    except (OSError, ValueError):
        return False


# ---- words


def _under(one: Stack) -> str:
    shown = zip(_RESULTANTS, _shown(one.load), ("N/mm",) * 3 + ("N",) * 3, strict=True)
    said = ", ".join(f"{name} {figures.minus(number(v))} {unit}" for name, v, unit in shown if v)
    held = f"; {figures.minus(number(one.change))} K of temperature change held" if one.change else ""
    return f"Load: {said}{held}."


def _shown(load: FloatArray) -> list[float]:
    """N/mm and N (N·mm per mm) of N/m and N."""
    values: list[float] = np.concatenate([load[:3] / 1e3, load[3:]]).tolist()
    return values


def _headline(found: Sequence[Stack]) -> list[str]:
    """Which stack carries most, to the first ply and to the last, and per mass."""
    out = []
    if any(one.laminate.kind == "sandwich" for one in found):
        out.append(
            "Plies only: core shear, wrinkling, dimpling and crimping of a sandwich may come first; panelfem assess "
            "judges them, this page does so under a strike only."
        )
    if len(found) == 1:
        return [fails(found[0]), *out]
    said = len(out)
    for what, of in (("before the first ply fails", "first"), ("before the last does", "last")):
        carried = [float(getattr(one.progression, of)) for one in found]
        most, least = max(carried), min(carried)
        best, worst = found[carried.index(most)], found[carried.index(least)]
        if not math.isfinite(most):
            continue
        if most <= least * (1.0 + 1e-9):
            out.append(f"All carry the same {what}: {figures.times(most)} the load.")
            continue
        for_mass = [factor / one.laminate.areal_mass for factor, one in zip(carried, found, strict=True)]
        lean = found[for_mass.index(max(for_mass))]
        ratio = f", {number(most / least)} times as much as {worst.letter}" if least > 0.0 else ""
        mass = "" if lean is best else f"; for its mass {lean.letter} carries most"
        out.append(f"{best.letter} carries most {what}: {figures.times(most)} the load{ratio}{mass}.")
    return out if len(out) > said else ["Nothing is reached in any stack under this load.", *out]


def _summary(found: Sequence[Stack]) -> Markup:
    rows: list[list[Child]] = []
    for one in found:
        lam, c = one.laminate, one.laminate.engineering_constants()
        rows.append(
            [
                f"{one.letter}: {one.written}",
                number(1e3 * lam.thickness),
                number(1e3 * lam.areal_mass, 4),
                number(c.Ex / 1e9),
                number(c.Ey / 1e9),
                number(c.Gxy / 1e9),
                number(c.nuxy),
                number(c.Ex_bending / 1e9),
                event_words(one.progression.events[0]) if one.progression.events else "never reached",
                figures.times(one.progression.last),
            ]
        )
    heads = ("Stack", "Thick (mm)", "Mass (g/m²)", "Ex (GPa)", "Ey (GPa)", "Gxy (GPa)", "νxy (–)", "Ex bending (GPa)")
    return table((*heads, "First ply", "Last ply"), rows, cls="loads")


def _amount(value: float, of: str, term: str) -> str:
    """A coupling in a word, with its numbers."""
    size = abs(value)
    if size == 0:
        return "none"
    word = "slight" if size < _SLIGHT else "clear" if size < _STRONG else "strong"
    return f"{word}: {of.format(figures.signed(value))}; {term}"


def _bare(value: float) -> str:
    return figures.minus(number(value))


def _couplings(found: Sequence[Stack]) -> Markup:
    rows: list[list[Child]] = []
    for one in found:
        k = one.coupling
        bow = max(k.bow_by_heat, key=abs)
        # a strip 500 mm long, 100 K cooler: rise κ L²/8
        rise = 100.0 * abs(bow) * 0.5**2 / 8.0
        rows.append(
            [
                one.letter,
                _amount(k.bend_by_pull, "thickness × curvature is {} of the strain", f"greatest B {_bare(k.B)} N"),
                _amount(k.shear_by_pull, "{} of the strain along x", f"A16 {_bare(k.A16 / 1e3)} N/mm"),
                _amount(k.twist_by_bending, "{} of the curvature", f"D16 {_bare(1e3 * k.D16)} N·mm"),
                "none" if bow == 0 else f"500 mm bow by {number(1e3 * rise)} mm for 100 K",
            ]
        )
    heads = ("Stack", "Pulled, it bends (B)", "Pulled, it shears (A16)", "Bent, it twists (D16)", "Cooled, it bows")
    return table(heads, rows, cls="loads")


def _struck(found: Sequence[Stack]) -> list[Markup]:
    """What a plate of each stack does under the strike; nothing where none was asked for."""
    strike = found[0].strike
    if strike is None:
        return []
    size = f"{number(1e3 * strike.length)} × {number(1e3 * strike.width)} mm"
    asked = f"{number(1e3 * strike.amount)} mm" if strike.control == "interference" else f"{number(strike.amount)} N"
    said = (
        f"A flat plate of {size}, its ends {strike.hold} and unmoved, its sides free; a rigid half-round "
        f"of {number(1e3 * strike.radius)} mm radius across its middle is pushed by {asked} against ply 1. Factors are "
        "on that push. Quasi-static and without friction; ± is the mesh error."
    )
    rows: list[list[Child]] = []
    notes: dict[str, list[str]] = {}
    for one in found:
        struck = one.struck
        assert struck is not None
        result = struck.result
        (touch,) = result.contacts
        modes = [
            f"{wording.barred_factor(mode, result.theory)}: {wording.mode_text(mode)}"
            for mode in (result.first_ply, result.release)
        ]
        moved = figures.barred(result.deflection.value, result.deflection.bar, "mm")
        rows.append([one.letter, figures.barred(touch.force, touch.bar[0], "N"), moved, *modes, number(struck.mass, 3)])
        large = ("followed with large displacements",) if result.linear is not None else ()
        for note in (*large, *result.theory.reasons, *result.notes):
            notes.setdefault(note, []).append(one.letter)
    heads = ("Stack", "Contact force", "Greatest deflection", "First ply", "Release", "Mass (kg)")
    parts = [el("p", said), _grid([pictures.pushed(found)]), table(heads, rows, cls="loads")]
    told = [el("p", f"{', '.join(letters)}: {note}.") for note, letters in notes.items()]
    return [el("section", el("h2", "What a plate of it does under a strike"), *parts, *told)]


def _notes(found: Sequence[Stack], held_stronger: bool) -> list[str]:
    shares = Shares()
    names = sorted({ply.material.name for one in found for ply in one.laminate.plies})
    out = [
        f"{wording.ADVICE} panelfem {__version__}.",
        f"Materials: {', '.join(names)}; see panelfem materials for basis and source of every number. Laminates are "
        "flat, free to bend and to shear, and linear until a ply fails.",
        f"First to last ply: a cracked matrix keeps {figures.share(shares.E2)} of E2 and {figures.share(shares.G12)} "
        "of G12 (assumed: common practice, no source), broken fibres nothing. Parting plies, buckling and cores are "
        "left out, so the last ply is an estimate from above.",
        "Criteria: " + "; ".join(f"{c.name}: {c.source}" for c in _used(found)) + ".",
    ]
    return [*out, f"Held plies (never fabrics and outer plies) have their strength {SOURCE}."] if held_stronger else out


def _used(found: Sequence[Stack]) -> list[Criterion]:
    used = {c.name for one in found for of in families(one.laminate).values() for c in of}
    return [c for name, c in CRITERIA.items() if name in used]


def _factors(found: Sequence[Stack]) -> Markup:
    """First ply failure of the lesson's load by every criterion, opened on demand."""
    rows: list[list[Child]] = []
    for one in found:
        for name, criteria in families(one.laminate).items():
            factor = float(first_factors(criteria, one.laminate, one.load[None], one.change)[0])
            rows.append([one.letter, name, "at zero load" if math.isnan(factor) else figures.times(factor)])
    return folded("The load at first ply failure by every criterion", table(("Stack", "Criterion", "Factor"), rows))


def _failures(found: Sequence[Stack]) -> Markup:
    """Every failure of every stack, in order."""
    rows: list[list[Child]] = []
    for one in found:
        for i, event in enumerate(one.progression.events, 1):
            left = float(one.load @ event.before) / float(one.load @ event.after)
            at = "at zero load" if event.factor == 0.0 else figures.times(event.factor)
            rows.append([f"{one.letter} {i}", at, event.mode, through.runs(event.plies), f"{number(100.0 * left)} %"])
    heads = ("Stack, event", "Factor", "Mode", "Plies", "Stiffness along the load left by it")
    caption = "A factor not above an earlier one follows that failure at once."
    return folded("Every failure in order", table(heads, rows, caption=caption), opened=len(rows) <= 12)
