"""What stands behind the decision: each configuration under each load, and everything it rests on."""

from __future__ import annotations

import math
from collections.abc import Iterable

from panelfem.arrays import FloatArray
from panelfem.assess.records import Assessment, Configuration, Variant
from panelfem.disposition.records import Assumption
from panelfem.report import figures, paths, through, wording
from panelfem.report.cells import barred, figure, folded, note, picture
from panelfem.report.curve import caption, curve
from panelfem.report.glyph import badge
from panelfem.report.large import block, flips, theory
from panelfem.report.markup import Child, Markup, el, table, unbroken
from panelfem.report.pictures import shown_marks
from panelfem.report.shapes import CAPTION, fixing_places, shape_picture
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.units import number, show, with_bar

_BASES = {
    "computed": "computed at both ends",
    "bound": "bound: in proportion at most",
    "not computed": "not computed, not in the total",
}


def _any(bars: Iterable[float]) -> bool:
    """Whether a table has a bar at all; if it has none its caption says so, and not every cell."""
    return not all(math.isnan(bar) for bar in bars)


def _cell(value: float, bar: float, unit: str, known: bool) -> str:
    """A number with its bar, or plain where no bar of the table is known."""
    return figures.barred(value, bar, unit) if known else show(value, unit)


def _caption(words: str, known: bool) -> str:
    return words if known else f"{words}; bars not estimated"


def configuration(assessment: Assessment, conf: Configuration, place: int) -> Markup:
    """One configuration, the `place`-th on the page: outcome, the table of its loads, load paths, plies, details."""
    found = conf.disposition
    return el(
        "section",
        el("h2", conf.name, " ", badge(found.outcome)),
        el("p", wording.sentence(found.reason)),
        _bullets("Conditions", found.conditions),
        _bullets("Next inspection", found.inspect),
        loads_table(assessment, conf),
        paths.path_table(assessment, conf),
        through.section(conf, place),
        *followed(assessment, conf),
        *_details(assessment, conf),
        cls="configuration",
    )


def _bullets(title: str, entries: tuple[str, ...]) -> Markup | None:
    if not entries:
        return None
    return el("div", el("h3", title), el("ul", *(el("li", wording.sentence(e)) for e in entries)))


def uncertainty(conf: Configuration) -> Markup | None:
    """What makes the governing factor uncertain, the biggest part first, and what it comes to together."""
    found = conf.disposition.uncertainty
    if found is None:
        return None
    rows: list[list[Child]] = [
        [p.name, p.what, wording.uncertainty_ends(p, found.factor), _BASES[p.basis]] for p in found.parts
    ]
    rows.append(["together", "all that has a number", wording.uncertainty_ends(found, found.factor), "combined"])
    caption = (
        f"Governing factor {number(found.factor)} ({found.load}). Together: root of the sum of the squares of the "
        "distances from it, low and high side apart; the parts are assumed independent (common practice, no source). "
        "What is stated as known is taken as exact."
    )
    heads = ("Uncertain", "What", "The factor would be", "Where from")
    return folded(f"What makes the governing factor uncertain: {conf.name}", table(heads, rows, caption=caption))


def loads_table(assessment: Assessment, conf: Configuration) -> Markup:
    """A row for each load: deflection and first-ply margin first, then limits, release, restoration, outcome."""
    kept = {r.load: r for r in conf.restoration}
    rows: list[list[Child]] = []
    for load in conf.governing:
        result = conf.result(load)
        judged = wording.outcome_of(conf, load)
        rule = wording.ruling(result, judged)
        taken = wording.takes(result, wording.required_of(conf, load, assessment.required), rule)
        restored = kept.get(load)
        rows.append(
            [
                [el("span", load), note(conf.governing[load])],
                barred(figures.barred(result.deflection.value, result.deflection.bar, "mm"), result.deflection.where)
                + _loud(result),
                barred(wording.barred_margin(result.first_ply, result.theory), wording.mode_text(result.first_ply)),
                _limits(result),
                barred(wording.barred_margin(rule, result.theory), wording.mode_text(rule)),
                barred(
                    wording.barred_takes(result, rule, taken), f"{taken.expected} expected", f"{taken.asked} asked for"
                ),
                "reference"
                if conf.kind == "undamaged" or restored is None
                else figure(
                    f"{figures.share(restored.release)} release", f"first ply {figures.share(restored.first_ply)}"
                ),
                badge(judged.outcome) if judged else "not judged",
            ]
        )
    heads = (
        "Load (state that governs)",
        "Greatest deflection",
        "First-ply margin",
        "Deflection limits",
        "Release margin",
        "Takes",
        "Restoration",
        "Outcome",
    )
    return table(heads, rows, cls="loads", caption=f"{conf.name}: mass {wording.mass_text(conf.mass, None)}")


def _loud(result: LoadResult) -> Markup:
    mark = wording.shown_at(result) or wording.doubt(result.theory)
    return el("span", mark.upper(), cls="loud") if mark else Markup("")


def followed(assessment: Assessment, conf: Configuration) -> list[Markup]:
    """The loads that were followed with large displacements, or looked at for buckling: open where it bears on the
    decision.
    """
    out = []
    for load in conf.governing:
        result, judged = conf.result(load), wording.outcome_of(conf, load)
        if result.linear is None and result.buckling is None:
            continue
        drawn = curve(result, judged, wording.required_of(conf, load, assessment.required))
        shown = None if drawn is None else picture(drawn, caption(result), kind="svg+xml")
        shape = None
        if result.buckling is not None and result.buckling.factors:
            state = next(v for v in conf.variants if v.name == conf.governing[load])
            mesh, fixed, marks = assessment.mesh, fixing_places(assessment), shown_marks(assessment, conf.name)
            made = shape_picture(mesh, result.buckling.shape, state.removed, fixed, marks)
            shape = picture(made, f"How it buckles under {load}. {CAPTION}", cls="shape")
        about = "buckling" if result.linear is None else "followed with large displacements"
        title = f"{load}: {about}: {conf.name}"
        opened = load == wording.governing_load(conf) or flips(judged)
        out.append(folded(title, block(result, judged, shown, shape), opened=opened))
    return out


def _limits(result: LoadResult) -> Child:
    if not result.limits:
        return "none set"
    return [
        barred(
            f"{figures.barred(c.value, c.bar, 'mm')} of {show(c.limit, 'mm')}",
            f"{c.name}: " + ("NOT KEPT" if c.value > c.limit else f"kept {wording.shown_at(result)}".strip()),
        )
        for c in result.limits
    ]


def _details(assessment: Assessment, conf: Configuration) -> list[Markup]:
    results = [(load, conf.result(load)) for load in conf.governing]
    total = uncertainty(conf)
    out = [] if total is None else [total]
    out += [folded(f"Fixings, bonds and contact: {conf.name}", fixings(results), bonds(results), contacts(results))]
    broken = any(wording.doubt(r.theory) for _, r in results)
    out.append(folded(f"Does the theory hold: {conf.name}", theory(results), opened=broken))
    lost = [v for v in (*conf.variants, *conf.contingencies) if v.fastener_lost]
    if lost:
        out.append(folded(f"Each fastener lost, in turn: {conf.name}", *(fastener_lost(v) for v in lost)))
    out.append(folded(f"All states and modes: {conf.name}", *states(assessment, conf)))
    plies = [(load, r) for load, r in results if r.plies]
    if plies:
        out.append(
            folded(f"Ply by ply at the governing place: {conf.name}", *(ply_table(load, r) for load, r in plies))
        )
    notes = [f"{load}: {n}" for load, r in results for n in r.notes]
    if notes:
        out.append(
            folded(f"Notes of the analysis: {conf.name}", el("ul", *(el("li", wording.sentence(n)) for n in notes)))
        )
    return out


def _rated(what: str, value: float, rating: float | None, bar: float | None, pulls: bool = False) -> Markup:
    """A force on a fixing against its rating; `bar` N, None where no bar of the table is known."""
    shown = f"{what} " + (f"{figures.fixed(value)} N" if bar is None else figures.barred(value, bar, "N"))
    if rating is None:
        return el("span", unbroken(shown), note("rating not known"), cls="pair")
    load = max(value, 0.0) if pulls else abs(value)
    used = math.inf if rating <= 0 else load / rating
    over = el("span", "OVER ITS RATING", cls="loud") if used > 1 else None
    return el("span", unbroken(shown), note(f"{figures.share(used)} of {show(rating, 'N')}"), over, cls="pair")


def fixings(results: list[tuple[str, LoadResult]]) -> Child:
    """What each fixing carries at the expected severity, against its ratings: a row a fixing, a column a load."""
    carried = [(load, {f.name: f for f in r.fixings}) for load, r in results if r.fixings]
    names = list(dict.fromkeys(name for _, by_name in carried for name in by_name))
    known = _any(bar for _, by_name in carried for f in by_name.values() for bar in f.bar)
    if not names:
        return el("p", "No fixing carries a load that was asked for.")
    rows: list[list[Child]] = []
    for name in names:
        row: list[Child] = [name]
        for _, by_name in carried:
            f = by_name.get(name)
            row.append(
                "not fitted"
                if f is None
                else [
                    _rated("shear", f.shear, f.rating_shear, f.bar[0] if known else None),
                    _rated("pull", f.pull, f.rating_pull, f.bar[1] if known else None, pulls=True),
                ]
            )
        rows.append(row)
    caption = "Fixings at the expected severity: shear in the skin, pull along the normal (minus: pressed)"
    early = {load: wording.shown_at(r) for load, r in results}
    heads = (el("span", load, note(early[load])) for load, _ in carried)
    return table(("Fixing", *heads), rows, caption=_caption(caption, known))


def bonds(results: list[tuple[str, LoadResult]]) -> Child:
    """Peak adhesive stresses at the worst end of each patch."""
    known = _any(bar for _, r in results for b in r.bonds for bar in b.bar)
    rows: list[list[Child]] = [
        [
            b.name,
            [el("span", load), note(wording.shown_at(r))],
            f"{_cell(b.shear, b.bar[0], 'MPa', known)} of {show(b.shear_strength, 'MPa')}",
            f"{_cell(b.peel, b.bar[1], 'MPa', known)} of {show(b.peel_strength, 'MPa')}",
            b.where,
        ]
        for load, r in results
        for b in r.bonds
    ]
    heads = ("Bond", "Load", "Peak shear, of strength", "Peak peel, of strength", "Where")
    return table(heads, rows, caption=_caption("Bond lines at the expected severity", known)) if rows else None


def contacts(results: list[tuple[str, LoadResult]]) -> Child:
    """What each contact does at the expected severity."""
    known = _any(bar for _, r in results for c in r.contacts for bar in c.bar)
    rows: list[list[Child]] = [
        [
            [el("span", load), note(wording.shown_at(r))],
            _cell(c.force, c.bar[0], "N", known),
            _cell(c.advance, c.bar[1], "mm", known),
            f"{number(1e6 * c.area)} mm²",
        ]
        for load, r in results
        for c in r.contacts
    ]
    heads = ("Load", "Contact force", "Advance", "Area that touches")
    return table(heads, rows, caption=_caption("Contact at the expected severity", known)) if rows else None


def fastener_lost(variant: Variant) -> Markup:
    """The least release reserve with each fixing lost."""
    rows: list[list[Child]] = []
    for name, (factor, load) in sorted(variant.fastener_lost.items(), key=lambda item: item[1][0]):
        shown = (
            "reached at zero load" if factor < 0 else "not computed" if math.isnan(factor) else figures.times(factor)
        )
        rows.append([name, shown, load, "NOT SURVIVED" if factor < 1.0 else "survives the expected load"])
    heads = ("Fixing lost", "Least release reserve (factor on the expected load)", "Under", "")
    return table((*heads[:3], "Found"), rows, caption=variant.name)


def states(assessment: Assessment, conf: Configuration) -> list[Markup]:
    """Every state the configuration may be in, with every mode."""
    out = []
    for variant, must in [(v, "must meet the factor") for v in conf.variants] + [
        (v, "must survive the expected load") for v in conf.contingencies
    ]:
        known = _any(m.bar for r in variant.loads for m in r.modes)
        rows: list[list[Child]] = [
            [
                r.load,
                m.mode,
                m.criterion,
                _grade(m),
                wording.barred_factor(m, r.theory) if known else _factor(m, r),
                ", ".join(p for p in (wording.ply_text(m), m.where) if p) or figures.place_text(m.place),
            ]
            for r in variant.loads
            for m in sorted(r.modes, key=lambda m: math.inf if math.isnan(m.rank) else m.rank)
        ]
        heads = ("Load", "Mode", "Criterion", "Grade", "Reserve factor", "Ply and place")
        out.append(table(heads, rows, caption=_caption(f"{variant.name} ({must})", known)))
    return out


def _grade(mode: ModeReserve) -> str:
    return "release-governing" if mode.grade == "release" else "inspection"


def _factor(mode: ModeReserve, result: LoadResult) -> str:
    if mode.status != "found" or math.isnan(mode.factor):
        return wording.margin_text(mode, result.theory)
    return wording.marked(figures.times(mode.factor), result.theory)


def ply_table(load: str, result: LoadResult) -> Markup:
    """Strain and stress of each ply in its own axes."""
    known = _any(float(bar) for p in result.plies for bar in (*p.strain_bar, *p.stress_bar))

    def cells(values: FloatArray, bars: FloatArray, factor: float, decimals: int) -> list[str]:
        if not known:
            return [figures.fixed(factor * float(v), decimals) for v in values]
        return [
            figures.minus(with_bar(factor * float(v), factor * float(bar))) for v, bar in zip(values, bars, strict=True)
        ]

    rows: list[list[Child]] = [
        [
            f"{p.ply} {p.name}",
            figures.fixed(math.degrees(p.angle)),
            p.position,
            figures.signed(1e3 * p.z),
            *cells(p.strain, p.strain_bar, 1e6, 0),
            *cells(p.stress, p.stress_bar, 1e-6, 1),
            *(figures.fixed(1e-6 * float(s), 1) for s in p.residual),
        ]
        for p in result.plies
    ]
    stresses = ("σ along (MPa)", "σ across (MPa)", "τ (MPa)")
    heads = ("Ply", "Angle (°)", "At", "z (mm)", "ε along (10⁻⁶)", "ε across (10⁻⁶)", "γ (10⁻⁶)", *stresses)
    held = tuple(f"held {name}" for name in stresses)
    caption = f"{load}: {wording.mode_text(wording.ruling(result))}. Held: the part that is there at zero scaled load."
    return table((*heads, *held), rows, cls="plies", caption=caption if known else f"{caption} Bars not estimated.")


def _influence(a: Assumption) -> tuple[bool, float]:
    """How much an assumption moves: whether it decides, then the least reserve from end to end, as a share.

    -1 where it was not swept; infinity where an end is reached at zero load.
    """
    if a.outcomes is None:
        return a.flips, -1.0
    low, high = a.factors or (math.nan, math.nan)
    if math.isnan(low) or math.isnan(high):
        return a.flips, 0.0
    if min(low, high) < 0 or math.isinf(low) or math.isinf(high):
        return a.flips, 0.0 if low == high else math.inf
    return a.flips, abs(high - low) / max(low, high, 1e-12)


def assumptions(entries: tuple[Assumption, ...]) -> Markup:
    """What is assumed, over what band, and which of it decides; what moves the outcome or the reserve most first."""
    rows: list[list[Child]] = []
    for a in sorted(entries, key=_influence, reverse=True):
        ends: Child = "not swept"
        if a.outcomes is not None:
            factors = a.factors or (math.nan, math.nan)
            ends = [
                figure(
                    f"{o.value}",
                    f"least reserve {figures.times(f)}" if f >= 0 else "reached at zero load" if f < 0 else "no number",
                )
                for o, f in zip(a.outcomes, factors, strict=True)
            ]
        rows.append(
            [
                [el("span", a.what), note(a.key)],
                a.shown,
                " to ".join(a.band) if a.band else "no band",
                ends,
                [el("span", "DECIDES THE OUTCOME", cls="loud"), note(a.measure)]
                if a.flips
                else "does not change the outcome"
                if a.outcomes
                else "not swept",
                a.source,
            ]
        )
    heads = ("Assumed", "Value", "Band", "Outcome at the low and the high end", "Does it decide", "Source")
    return el(
        "section",
        el("h2", "What is assumed, by influence"),
        table(heads, rows) if rows else el("p", "Nothing is assumed: every input is stated with its source."),
    )


def inputs(assessment: Assessment) -> Markup:
    """Every input as used, with basis and source."""
    rows: list[list[Child]] = [[i.key, i.shown, i.basis, i.source] for i in assessment.inputs]
    stacks = [
        el("div", el("h3", name), el("ol", *(el("li", ply) for ply in plies), cls="stack"))
        for name, plies in assessment.stacks.items()
    ]
    return el(
        "section",
        el("h2", "Inputs and sources"),
        el("p", f"Case {assessment.case}, digest {assessment.case_hash}; panelfem {assessment.version}.", cls="small"),
        folded("Stacks, from the face the normal leaves (top) down", el("div", *stacks, cls="stacks"))
        if stacks
        else None,
        folded("All inputs", table(("Input", "Value", "Basis", "Source"), rows)) if rows else None,
        folded("Published sources", el("ul", *(el("li", s) for s in assessment.sources)))
        if assessment.sources
        else None,
    )


def screened(assessment: Assessment) -> Markup | None:
    """The loads that were taken no further than is said, and why; None if there is none."""
    if not assessment.screened:
        return None
    rows: list[list[Child]] = [
        [s.configuration, s.load, "no number" if math.isnan(s.factor) else figures.times(s.factor), s.reason]
        for s in assessment.screened
    ]
    heads = ("Configuration", "Load", "Factor", "Why it went no further")
    return el(
        "section",
        el("h2", "Taken no further"),
        el(
            "p",
            "Every load was looked at under every configuration with linear theory. Of these, something that could "
            "not change the outcome was left out.",
        ),
        table(heads, rows),
    )


def meshing(assessment: Assessment) -> Markup:
    """The accuracy asked for, the meshes made for it, and whether it was met."""
    made = assessment.meshing
    if made is None:
        return el("section", el("h2", "Mesh error"), el("p", "Mesh error was not estimated: the bars are not known."))
    rows: list[list[Child]] = [
        [str(i), str(mesh.elements), figures.share_of_bar(mesh.worst), mesh.what, mesh.where]
        for i, mesh in enumerate(made.meshes, 1)
    ]
    said = wording.meshing_sentence(assessment)
    bars = (
        f"A bar (±) is how far the mesh may put a number off, from elements of order {made.order - 1} and {made.order} "
        "on the same mesh; it says nothing of loads, materials or theory."
    )
    return el(
        "section",
        el("h2", "Mesh error"),
        el("p", el("span", "ACCURACY NOT MET", cls="loud"), " ", said)
        if wording.not_met(assessment)
        else el("p", said),
        el("p", bars, cls="small"),
        table(("Mesh", "Elements", "Worst bar, of the number", "Of what", "Where"), rows) if rows else None,
    )


def checks(assessment: Assessment) -> Markup:
    """Checks of the computation itself, and its settings."""
    found: list[list[Child]] = [[name, value] for name, value in assessment.checks.items()]
    found += [["mesh", f"{len(assessment.mesh.vertices)} vertices, {len(assessment.mesh.triangles)} triangles"]]
    found += [["mesh note", n] for n in assessment.mesh.notes]
    settings: list[list[Child]] = [[str(k), str(v)] for k, v in assessment.settings.items()]
    return el(
        "section",
        el("h2", "Checks of the computation"),
        table(("Check", "Found"), found),
        folded("Settings", table(("Setting", "Value"), settings)) if settings else None,
    )


def cautions(assessment: Assessment) -> Markup:
    """The cautions, in full."""
    return el("section", el("h2", "Cautions"), el("ul", *(el("li", c) for c in assessment.cautions)), cls="cautions")
