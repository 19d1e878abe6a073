"""What stands behind the decision: each configuration under each load, and everything it rests on."""

from __future__ import annotations

import math

from panelfem.assess.records import Assessment, Configuration, Variant
from panelfem.disposition.records import Assumption
from panelfem.report import wording
from panelfem.report.glyph import badge
from panelfem.report.markup import Child, Markup, el, table, text, unbroken
from panelfem.reserve.records import LoadResult, ModeReserve
from panelfem.units import number, show


def note(words: str) -> Markup | None:
    """A line in small letters, if there is something to say."""
    return el("span", unbroken(words), cls="note") if words else None


def figure(shown: str, *below: str) -> Markup:
    """A figure with notes below it."""
    return text(el("span", unbroken(shown), cls="figure"), [note(b) for b in below])


def configuration(assessment: Assessment, conf: Configuration) -> Markup:
    """One configuration: outcome, the table of its loads, and the details."""
    found = conf.disposition
    return el(
        "section",
        el("h2", conf.name, " ", badge(found.outcome)),
        el("p", wording.sentence(found.reason)),
        _bullets("Conditions", found.conditions),
        _bullets("Look at next", found.inspect),
        loads_table(assessment, conf),
        *_details(assessment, conf),
        cls="configuration",
    )


def _bullets(title: str, entries: tuple[str, ...]) -> Markup | None:
    if not entries:
        return None
    return el("div", el("h3", title), el("ul", *(el("li", wording.sentence(e)) for e in entries)))


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
                figure(show(result.deflection.value, "mm"), result.deflection.where) + _loud(result),
                figure(wording.margin_text(result.first_ply, result.theory), wording.mode_text(result.first_ply)),
                _limits(result),
                figure(wording.margin_text(rule, result.theory), wording.mode_text(rule)),
                figure(taken.taken, f"{taken.expected} expected", f"{taken.asked} asked for"),
                "reference"
                if conf.kind == "undamaged" or restored is None
                else figure(
                    f"{wording.share(restored.release)} release", f"first ply {wording.share(restored.first_ply)}"
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
    return Markup("") if result.theory.holds else el("span", wording.OUTSIDE.upper(), cls="loud")


def _limits(result: LoadResult) -> Child:
    if not result.limits:
        return "none set"
    return [
        figure(
            f"{show(c.value, 'mm')} of {show(c.limit, 'mm')}",
            f"{c.name}: " + ("kept" if c.value <= c.limit else "NOT KEPT"),
        )
        for c in result.limits
    ]


def _folded(title: str, *body: Child, opened: bool = False) -> Markup:
    return el("details", el("summary", title), *body, open=opened)


def _details(assessment: Assessment, conf: Configuration) -> list[Markup]:
    results = [(load, conf.result(load)) for load in conf.governing]
    out = [_folded(f"Fixings, bonds and contact: {conf.name}", fixings(results), bonds(results), contacts(results))]
    broken = any(not r.theory.holds for _, r in results)
    out.append(_folded(f"Does linear theory hold: {conf.name}", theory(results), opened=broken))
    lost = [v for v in (*conf.variants, *conf.contingencies) if v.fastener_lost]
    if lost:
        out.append(_folded(f"Each fastener lost, in turn: {conf.name}", *(fastener_lost(v) for v in lost)))
    out.append(_folded(f"All states and modes: {conf.name}", *states(assessment, conf)))
    plies = [(load, r) for load, r in results if r.plies]
    if plies:
        out.append(
            _folded(f"Ply by ply at the governing place: {conf.name}", *(ply_table(load, r) for load, r in plies))
        )
    notes = [f"{load}: {n}" for load, r in results for n in r.notes]
    if notes:
        out.append(
            _folded(f"Notes of the analysis: {conf.name}", el("ul", *(el("li", wording.sentence(n)) for n in notes)))
        )
    return out


def _rated(what: str, value: float, rating: float | None, pulls: bool = False) -> Markup:
    shown = f"{what} {wording.fixed(value)} N"
    if rating is None:
        return el("span", unbroken(shown), note("rating not known"), cls="pair")
    load = max(value, 0.0) if pulls else abs(value)
    used = math.inf if rating <= 0 else load / rating
    over = el("span", "OVER ITS RATING", cls="loud") if used > 1 else None
    return el("span", unbroken(shown), note(f"{wording.share(used)} of {show(rating, 'N')}"), over, cls="pair")


def fixings(results: list[tuple[str, LoadResult]]) -> Child:
    """What each fixing carries at the expected severity, against its ratings: a row a fixing, a column a load."""
    carried = [(load, {f.name: f for f in r.fixings}) for load, r in results if r.fixings]
    names = list(dict.fromkeys(name for _, by_name in carried for name in by_name))
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
                else [_rated("shear", f.shear, f.rating_shear), _rated("pull", f.pull, f.rating_pull, pulls=True)]
            )
        rows.append(row)
    caption = "Fixings at the expected severity: shear in the skin, pull along the normal (minus: pressed)"
    return table(("Fixing", *(load for load, _ in carried)), rows, caption=caption)


def bonds(results: list[tuple[str, LoadResult]]) -> Child:
    """Peak adhesive stresses at the worst end of each patch."""
    rows: list[list[Child]] = [
        [
            b.name,
            load,
            f"{show(b.shear, 'MPa')} of {show(b.shear_strength, 'MPa')}",
            f"{show(b.peel, 'MPa')} of {show(b.peel_strength, 'MPa')}",
            b.where,
        ]
        for load, r in results
        for b in r.bonds
    ]
    heads = ("Bond", "Load", "Peak shear, of strength", "Peak peel, of strength", "Where")
    return table(heads, rows, caption="Bond lines at the expected severity") if rows else None


def contacts(results: list[tuple[str, LoadResult]]) -> Child:
    """What each contact does at the expected severity."""
    rows: list[list[Child]] = [
        [load, show(c.force, "N"), show(c.advance, "mm"), f"{number(1e6 * c.area)} mm²"]
        for load, r in results
        for c in r.contacts
    ]
    heads = ("Load", "Contact force", "Advance", "Area that touches")
    return table(heads, rows, caption="Contact at the expected severity") if rows else None


def theory(results: list[tuple[str, LoadResult]]) -> Markup:
    """The measures of linear theory; what is over its limit is said loudly."""
    rows: list[list[Child]] = [
        [
            load,
            f"×{number(r.theory.deflection_over_thickness)}",
            f"{number(r.theory.rotation)} rad",
            wording.share(r.theory.buckling_share),
            "holds"
            if r.theory.holds
            else [el("span", wording.OUTSIDE.upper(), cls="loud"), note("; ".join(r.theory.reasons))],
        ]
        for load, r in results
    ]
    heads = (
        "Load",
        "Deflection over thickness",
        "Greatest rotation",
        "Compression over hand buckling load",
        "Linear theory",
    )
    return table(heads, rows)


def fastener_lost(variant: Variant) -> Markup:
    """The least release reserve with each fixing lost."""
    rows: list[list[Child]] = []
    for name, (factor, load) in sorted(variant.fastener_lost.items(), key=lambda item: item[1][0]):
        shown = (
            "reached at zero load" if factor < 0 else "not computed" if math.isnan(factor) else wording.times(factor)
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
        rows: list[list[Child]] = [
            [
                r.load,
                m.mode,
                m.criterion,
                _grade(m),
                _factor(m, r),
                ", ".join(p for p in (wording.ply_text(m), m.where) if p) or wording.place_text(m.place),
            ]
            for r in variant.loads
            for m in sorted(r.modes, key=lambda m: math.inf if math.isnan(m.rank) else m.rank)
        ]
        heads = ("Load", "Mode", "Criterion", "Grade", "Reserve factor", "Ply and place")
        out.append(table(heads, rows, caption=f"{variant.name} ({must})"))
    return out


def _grade(mode: ModeReserve) -> str:
    return "release-governing" if mode.grade == "release" else "inspection"


def _factor(mode: ModeReserve, result: LoadResult) -> str:
    if mode.status != "found" or math.isnan(mode.factor):
        return wording.margin_text(mode, result.theory)
    return wording.marked(wording.times(mode.factor), result.theory)


def ply_table(load: str, result: LoadResult) -> Markup:
    """Strain and stress of each ply in its own axes."""
    rows: list[list[Child]] = [
        [
            f"{p.ply} {p.name}",
            wording.fixed(math.degrees(p.angle)),
            p.position,
            wording.signed(1e3 * p.z),
            *(wording.fixed(1e6 * float(e)) for e in p.strain),
            *(wording.fixed(1e-6 * float(s), 1) for s in p.stress),
            *(wording.fixed(1e-6 * float(s), 1) for s in p.residual),
        ]
        for p in result.plies
    ]
    stresses = ("σ along (MPa)", "σ across (MPa)", "τ (MPa)")
    heads = ("Ply", "Angle (°)", "At", "z (mm)", "ε along (10⁻⁶)", "ε across (10⁻⁶)", "γ (10⁻⁶)", *stresses)
    held = tuple(f"held {name}" for name in stresses)
    caption = f"{load}: {wording.mode_text(wording.ruling(result))}. Held: the part that is there at zero scaled load."
    return table((*heads, *held), rows, cls="plies", caption=caption)


def assumptions(entries: tuple[Assumption, ...]) -> Markup:
    """What is assumed, over what band, and which of it decides."""
    rows: list[list[Child]] = []
    for a in sorted(entries, key=lambda a: not a.flips):
        ends: Child = "not swept"
        if a.outcomes is not None:
            factors = a.factors or (math.nan, math.nan)
            ends = [
                figure(
                    f"{o.value}",
                    f"least reserve {wording.times(f)}" if f >= 0 else "reached at zero load" if f < 0 else "no number",
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
        el("h2", "What is assumed"),
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
        _folded("Stacks, from the face the normal leaves (top) down", el("div", *stacks, cls="stacks"))
        if stacks
        else None,
        _folded("All inputs", table(("Input", "Value", "Basis", "Source"), rows)) if rows else None,
        _folded("Published sources", el("ul", *(el("li", s) for s in assessment.sources)))
        if assessment.sources
        else None,
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
        _folded("Settings", table(("Setting", "Value"), settings)) if settings else None,
    )


def cautions(assessment: Assessment) -> Markup:
    """The cautions, in full."""
    return el("section", el("h2", "Cautions"), el("ul", *(el("li", c) for c in assessment.cautions)), cls="cautions")
