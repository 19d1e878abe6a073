"""``report.html``: one file, nothing fetched, decision first."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files

from panelfem.assess.records import Assessment, Declined
from panelfem.balance import Ballast
from panelfem.report import choice, flips, notched, paths, sections, tones, view3d, wording
from panelfem.report.cells import picture
from panelfem.report.decision import decision, header
from panelfem.report.headline import rows
from panelfem.report.markup import Markup, el

#: Nothing may be fetched: scripts, styles and pictures are in the page.  The drawing script makes blobs and functions.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' 'unsafe-eval' blob:; style-src 'unsafe-inline'; "
    "img-src data: blob:; worker-src blob:; base-uri 'none'; form-action 'none'"
)


def _file(name: str) -> str:
    return files("panelfem.report").joinpath(name).read_text("utf-8")


def page(title: str, *body: Markup | None, scripts: tuple[str, ...] = ()) -> str:
    """A whole page with the style inside and nothing outside."""
    ended = [s for s in scripts if "</script" in s.lower()]
    if ended:
        raise ValueError("a script of the page holds the text that would end it")
    head = el(
        "head",
        el("meta", charset="utf-8"),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", title),
        Markup('<link rel="icon" href="data:,">'),
        Markup(f"<style>{_file('style.css')}</style>"),
    )
    main = el("main", *body, *(Markup(f"<script>{script}</script>") for script in scripts))
    return f"<!DOCTYPE html>\n{el('html', head, el('body', main), lang='en')}\n"


def _panel(panel: bytes) -> Markup:
    """The picture of the panel, a PNG."""
    return picture(
        panel,
        "The panel as found: damage dark, fixings as rings, places of loads as crosses; a cross in a ring where the "
        "governing mode is reached first.",
        "panel",
    )


def page_one(assessment: Assessment, panel: bytes) -> str:
    """Page one alone, for an assessment that is not finished; `panel` is a PNG."""
    return page(
        f"{assessment.title}: provisional",
        header(assessment),
        decision(assessment, _panel(panel)),
        sections.cautions(assessment),
        _footer(assessment),
    )


def report(
    assessment: Assessment,
    panel: bytes,
    deflected: bytes | None,
    repairs: bytes | None = None,
    ballast: Mapping[str, Ballast] | None = None,
) -> str:
    """The report of an assessment; `panel`, `deflected` and `repairs` are PNGs; `ballast` as in
    :func:`panelfem.report.write`.
    """
    turning = view3d.section(assessment)
    scripts: tuple[str, ...] = ()
    if turning is not None:
        from plotly.offline import get_plotlyjs

        scripts = (get_plotlyjs(), _file("view3d.js"))
    shapes = (
        picture(deflected, "Deflected shapes under the load that governs, all to one scale.") if deflected else None
    )
    done = picture(repairs, "What each option does; dark: damage as found.") if repairs else None
    return page(
        f"{assessment.title}: assessment",
        header(assessment),
        decision(assessment, _panel(panel)),
        choice.section(assessment, ballast or {}),
        paths.cases(assessment),
        el("section", el("h2", "What each option does"), done, cls="deflected") if done else None,
        *(sections.configuration(assessment, row.configuration, i) for i, row in enumerate(rows(assessment), 1)),
        notched.section(assessment),
        flips.section(assessment),
        sections.screened(assessment),
        el("section", el("h2", "Deflected shapes"), shapes, cls="deflected") if shapes else None,
        turning,
        tones.section(assessment),
        sections.assumptions(assessment.assumptions),
        sections.inputs(assessment),
        sections.meshing(assessment),
        sections.checks(assessment),
        sections.cautions(assessment),
        _footer(assessment),
        scripts=scripts,
    )


def _footer(assessment: Assessment) -> Markup:
    return el("footer", el("p", wording.ADVICE, f" panelfem {assessment.version}."))


def declined_page(found: Declined) -> str:
    """The report of a part that is not assessed."""
    return page(
        f"{found.case}: declined",
        el("header", el("h1", found.case)),
        el(
            "section",
            el(
                "div",
                el("h2", "Declined"),
                el("p", "This part is not assessed.", cls="who"),
                el("p", wording.sentence(found.reason), cls="why"),
                el("p", el("b", "Refer to: "), wording.sentence(found.refer_to), cls="why"),
                cls="verdict none",
            ),
            el(
                "p",
                "No number was computed and none is given: a part that protects people is released only by its "
                "manufacturer and the governing body's tests.",
            ),
            cls="decision",
        ),
    )
