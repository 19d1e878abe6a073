"""Page one and the engineer's part as they are seen: phone, laptop and paper, without colour, in a hurry."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pytest
import screens
import synthetic
import synthetic_large
from matplotlib.text import Text
from test_report import own_part, shown, visible

from panelfem.cli.summary import summary
from panelfem.disposition.records import Assumption, Outcome
from panelfem.report import clock, curve, html, paths, pictures, room, sections, svg, through, wording
from panelfem.report.headline import rows

STYLE = files("panelfem.report").joinpath("style.css").read_text("utf-8")
UNDONE = "large deflection of wall contact and air load, and the sweep of the assumptions"


@pytest.fixture(scope="module")
def made() -> Any:
    return synthetic.barred(synthetic.assessment(resolution=(18, 12)))


@pytest.fixture(scope="module")
def far() -> Any:
    return synthetic.barred(synthetic_large.assessment(resolution=(18, 12)))


def page_of(assessment: Any) -> str:
    return html.report(assessment, pictures.panel_picture(assessment), pictures.deflected_picture(assessment))


def first(assessment: Any) -> str:
    """What a reader sees of page one, in one line."""
    return " ".join(visible(screens.page_one(html.report(assessment, b"", None))).replace("\u00a0", " ").split())


# ---- page one


def test_page_one_alone_gives_outcome_reason_condition_and_next_inspection(made: Any) -> None:
    text = first(made)
    chosen = wording.find(made, made.recommendation)
    assert chosen is not None
    for words in (
        f"Recommended {chosen.name} {chosen.disposition.outcome.value}",
        f"Reason: {wording.sentence(chosen.disposition.reason)}",
        "As found does not meet it",
        *map(wording.sentence, (*chosen.disposition.conditions, *made.conditions)),
        "Next inspection Tap the dull area D1 again and mark its edge.",
        "Options, ranked, against the minutes left (80 min left)",
        "if the conditions hold; released by at",
        wording.ADVICE,
    ):
        assert words in text, words


def test_what_does_not_fit_is_shown_and_not_recommended(made: Any) -> None:
    text = first(made)
    assert (
        "heated patch meets the factor asked for 90 min DOES NOT FIT Not recommended: takes 10 min more than are left."
        in text
    )
    assert "NOT PERMITTED Not recommended: is not permitted." in text
    ranked = [row.name for row in rows(made)]
    assert ranked[0] == made.recommendation
    late = replace(made, minutes_left=20.0, recommendation=None)
    said = {row.name: clock.verdict(row, 20.0) for row in rows(late)}
    assert said["wet patch, two plies"] == "not recommended: takes 10 min more than are left"
    assert said["spare"] == "not recommended: is not permitted, takes 5 min more than are left"
    assert said["tape"] == "not recommended: does not meet the factor asked for"
    assert "time left not stated" in first(replace(made, minutes_left=None))


def test_of_like_options_those_that_fit_rank_first(made: Any) -> None:
    quick, slow = (replace(made.configurations[4], name=n, minutes=m) for n, m in (("quick", 70.0), ("slow", 90.0)))
    many = replace(made, configurations=(*made.configurations, slow, quick))
    ranked = [row.name for row in rows(many)]
    assert ranked.index("quick") < ranked.index("heated patch") < ranked.index("slow")


@pytest.mark.parametrize(("minutes", "hollow"), [(30.0, False), (80.0, False), (90.0, True)])
def test_the_part_of_a_bar_beyond_the_minutes_left_is_hollow(minutes: float, hollow: bool) -> None:
    drawn = clock.bar(minutes, 80.0, 90.0)
    assert ('class="over"' in drawn) is hollow
    assert float(re.search(r'class="taken"[^>]* width="([\d.]+)"', drawn)[1]) == pytest.approx(  # type: ignore[index]
        98.0 / 90.0 * min(minutes, 80.0), abs=0.06
    )


def test_a_provisional_page_says_so_and_is_not_for_release(made: Any) -> None:
    undone = replace(made, provisional=UNDONE)
    text = first(undone)
    assert text.index(f"PROVISIONAL Not yet done: {UNDONE}. The outcome may still change.") < text.index("Recommended,")
    assert "Recommended, provisionally" in text
    assert "Provisional, not for release; seen by" in text
    assert "released by" not in text
    assert "provisional" not in first(made).lower()
    said = [str(part) for part in summary(undone)]
    assert any(part.startswith(f"PROVISIONAL. Not yet done: {UNDONE}") for part in said)


def test_what_was_screened_out_is_listed_with_its_reason(made: Any) -> None:
    text = shown(made)
    part = text[text.index("Taken no further") :]
    for words in ("heated patch", "×3.16", "more than 1.5 times the factor asked for", "no number"):
        assert words in part[:800], words
    assert "Taken no further" not in shown(replace(made, screened=()))


def test_the_picture_marks_the_governing_place(made: Any, far: Any) -> None:
    at, said = pictures._governing_place(made.configurations[1]) or (None, "")
    assert said == "governs: fibre compression"
    assert at == pytest.approx(synthetic.point(0.245, 0.182))
    at, said = pictures._governing_place(far.configurations[1]) or (None, "")
    assert said == "governs: snap-through, moves most here"
    assert at == pytest.approx(synthetic.point(0.23, 0.17))
    air = replace(made.configurations[1], governing={"air load": "dull area stiff"})
    assert pictures._governing_place(air) is None, "nothing is reached"


def crowded(assessment: Any, more: int) -> Any:
    """Many options with notes, and more conditions."""
    note = "two people; heat mat and vacuum pump in the second lorry"
    option = assessment.configurations[4]
    options = (replace(option, name=f"heated patch of other plies {i}", note=note) for i in range(more))
    asked = (f"condition {i}: look at the whole edge of the patch after every run" for i in range(3))
    return replace(
        assessment,
        configurations=(*assessment.configurations, *options),
        conditions=(*assessment.conditions, *asked),
        provisional=UNDONE,
    )


def test_figures_that_do_not_fit_on_page_one_stand_right_after_it(made: Any) -> None:
    table = 'class="ranked"'
    assert table in screens.page_one(html.report(made, b"", None))
    page = html.report(crowded(made, 4), b"", None)
    assert table not in screens.page_one(page)
    assert page.index(table) < page.index("Load path of each case")
    assert room.lines(crowded(made, 4), (), (), ()) > room.LINES > room.lines(made, (), (), ())


# ---- the engineer's part


def test_assumptions_stand_by_influence(made: Any) -> None:
    both = (Outcome.MEETS, Outcome.MEETS)
    given = [
        Assumption("a", "not swept", "1", "s"),
        Assumption("b", "a little", "1", "s", ("0", "2"), both, (2.0, 2.1)),
        Assumption("c", "much", "1", "s", ("0", "2"), both, (3.0, 1.6)),
        Assumption("d", "decides", "1", "s", ("0", "2"), both, (1.6, 1.5), True),
        Assumption("e", "to nothing", "1", "s", ("0", "2"), both, (-1.0, 1.5)),
        Assumption("f", "no number", "1", "s", ("0", "2"), both, (math.nan, 1.5)),
    ]
    text = visible(sections.assumptions(tuple(given)))
    places = [text.index(w) for w in ("decides", "to nothing", "much", "a little", "no number", "not swept")]
    assert places == sorted(places)


def test_the_laminate_is_drawn_to_scale_with_the_governing_ply_boxed(made: Any) -> None:
    result = made.configurations[3].result("kerb strike")
    drawn = through.picture(result, "t")
    assert drawn is not None
    heights = [float(h) for h in re.findall(r'height="([\d.]+)"[^>]*class="ply"', drawn)]
    assert heights == pytest.approx([through._LEAST / 4] * 4, abs=0.1)
    assert re.findall(r'class="strong">(\S+)', drawn) == ["4:"], "fibre compression is of ply 4"
    assert "4: 0°" in drawn
    assert "1 mm" in drawn
    turns = dict(re.findall(r'id="t-(\d+)"[^>]*rotate\((-?[\d.]+)\)', drawn))
    assert turns == {"0": "0", "450": "-45"}
    for words in (
        "fibre compression, ply 4 (twill carbon), top",
        "reached at ×1.87",
        "Plies 1 to 4: twill carbon 0.25 mm",
    ):
        assert words in drawn.replace("\u00a0", " "), words


def test_plies_of_different_thickness_keep_their_proportion(made: Any) -> None:
    result = made.configurations[3].result("kerb strike")
    grown = {2: 2.25e-3, 3: 2.25e-3, 4: 2.25e-3}  # ply 2 ten times as thick: its upper face and what lies above move
    thick = tuple(
        replace(p, z=p.z + (0.0 if p.ply == 2 and p.position == "bottom" else grown.get(p.ply, 0.0)))
        for p in result.plies
    )
    drawn = through.picture(replace(result, plies=thick), "t")
    assert drawn is not None
    heights = [float(h) for h in re.findall(r'height="([\d.]+)"[^>]*class="ply"', drawn)]
    assert heights == pytest.approx([through._LEAST * t / 3.25 for t in (0.25, 0.25, 2.5, 0.25)], abs=0.06)
    assert "plies 1, 3, 4: twill carbon 0.25 mm; ply 2: twill carbon 2.5 mm" in drawn.replace("\u00a0", " ").replace(
        "P", "p"
    )


def test_what_governs_but_is_not_of_a_ply_is_said(made: Any) -> None:
    result = made.configurations[3].result("kerb strike")
    pull = replace(result.modes[2], factor=1.0)
    other = through.picture(replace(result, release=pull, modes=(pull, *result.modes[:2])), "t")
    assert other is not None
    assert "pull on fastener F2 governs and is not of a ply; shown is where a ply comes nearest to failure" in other
    assert through.picture(replace(result, plies=()), "t") is None


def test_strain_and_stress_are_where_they_belong(made: Any) -> None:
    """The first ply's stress along the fibre runs from −310/0.81 to half of that; 0 is on the dotted line."""
    result = made.configurations[3].result("kerb strike")
    drawn = through.picture(result, "t")
    assert drawn is not None
    lines = re.findall(r'<polyline points="([^"]*)" class="along"', drawn)
    stress = [tuple(float(p.split(",")[0]) for p in line.split()) for line in lines][4:8]
    zeros = [float(x) for x in re.findall(r'<line x1="([\d.]+)"[^>]*class="zero"', drawn)]
    left = stress[0][0]
    assert stress[0][-1] - zeros[1] == pytest.approx(0.5 * (left - zeros[1]), abs=0.15)
    assert left < zeros[1] < stress[3][-1], "pressed below, pulled above"


def test_the_load_path_has_every_mode_on_one_axis(made: Any) -> None:
    conf = made.configurations[3]
    result = conf.result("ram test")
    judged = wording.outcome_of(conf, "ram test")
    drawn = paths.axis(result, wording.ruling(result, judged), 1.5)
    scale = (paths._RIGHT - paths._LEFT) / paths.END
    places = sorted((float(x) - paths._LEFT) / scale for x in re.findall(r'<circle cx="([\d.]+)"', drawn))
    expected = sorted(m.factor for m in paths.reached(result) if m.factor <= paths.END)
    assert places == pytest.approx(expected, abs=0.002)
    assert len(expected) == 3
    asked, one = (re.search(rf'x1="([\d.]+)"[^>]*class="{c}"', drawn)[1] for c in ("asked", "expected"))  # type: ignore[index]
    assert (float(asked) - paths._LEFT) / scale == pytest.approx(1.5, abs=0.002)
    assert (float(one) - paths._LEFT) / scale == pytest.approx(1.0, abs=0.002)
    assert "limit &#x27;ram test&#x27;" in drawn or "limit 'ram test'" in drawn


def test_the_load_path_says_what_stays_grows_and_is_reached(made: Any, far: Any) -> None:
    text = shown(made)
    part = text[text.index("Load path of each case") :]
    for words in ("×1.2", "1.4 mm", "2.1 mm", "cure stress: 80 K below stress-free", "1 g on the panel"):
        assert words in part[:1500], words
    found = made.configurations[1]
    said = visible(paths.path_table(made, found) or "").replace("\u00a0", " ")
    assert "at zero load" in said
    assert "nothing that governs is reached up to ×6" in said
    tape = next(c for c in far.configurations if c.name == "tape")
    assert "no equilibrium found beyond ×0.83" in visible(paths.path_table(far, tape) or "").replace("\u00a0", " ")


def test_a_limit_that_was_searched_for_is_not_shown_in_proportion(made: Any) -> None:
    result = made.configurations[3].result("ram test")
    searched = replace(result.modes[3], factor=2.1)
    followed = replace(result, modes=(*result.modes[:3], searched))
    assert [m.factor for m in paths.reached(followed) if m.criterion == "deflection limit"] == [2.1]
    beyond = replace(result, modes=(*result.modes[:3], replace(searched, status="beyond search")))
    assert not [m for m in paths.reached(beyond) if m.criterion == "deflection limit"]
    unsearched = replace(result, modes=result.modes[:3])
    assert [m.factor for m in paths.reached(unsearched) if m.criterion == "deflection limit"] == [
        result.limits[0].factor
    ]


def test_no_label_of_a_picture_is_cut(far: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[Any] = []
    monkeypatch.setattr(pictures, "png", lambda figure, dpi=150: drawn.append(figure) or b"")
    pictures.panel_picture(far)
    pictures.deflected_picture(far)
    for figure in drawn:
        figure.draw_without_rendering()
        wide, tall = figure.bbox.width, figure.bbox.height
        for label in (t for axes in figure.axes for t in (*axes.texts, axes.title, axes.xaxis.label)):
            if label.get_text().strip():
                box = label.get_window_extent()
                assert -1 <= box.x0 <= box.x1 <= wide + 1, label.get_text()
                assert -1 <= box.y0 <= box.y1 <= tall + 1, label.get_text()


# ---- what can be told without a browser


def colours() -> dict[str, tuple[float, ...]]:
    root = re.search(r":root \{(.*?)\}", STYLE, flags=re.S)[1]  # type: ignore[index]
    found = re.findall(r"--(\w+): #(\w{6})", root)
    return {name: tuple(int(code[i : i + 2], 16) / 255 for i in (0, 2, 4)) for name, code in found}


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance.  Source: W3C, Web Content Accessibility Guidelines 2.1, definition (recalled)."""
    r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    """Contrast ratio.  Source: as :func:`luminance`."""
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_ratio_is_that_of_the_source() -> None:
    """Black on white is 21 and #767676 on white just above 4.5 (W3C, understanding criterion 1.4.3, recalled)."""
    white = (1.0, 1.0, 1.0)
    assert contrast((0.0, 0.0, 0.0), white) == pytest.approx(21.0)
    assert contrast((0x76 / 255,) * 3, white) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("ink", ["ink", "soft", "line"])
@pytest.mark.parametrize("paper", ["ground", "sheet", "shade"])
def test_every_text_colour_can_be_read_on_every_ground(ink: str, paper: str) -> None:
    assert contrast(colours()[ink], colours()[paper]) >= 4.5


def test_colours_are_named_once_and_nothing_is_fetched(made: Any) -> None:
    rules = STYLE[STYLE.index("}") :]
    assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", rules)) <= {"#fff", "#000"}
    assert not re.search(r"https?:|@import|url\(", STYLE)
    page = own_part(page_of(made))
    assert not re.search(r"https?:|@import|url\((?!#)|(src|href)=\"(?!data:)", page)


def test_sizes_in_the_style_are_large_enough() -> None:
    screen, printed = STYLE.split("@media print", 1)
    sizes = [float(s) for s in re.findall(r"font(?:-size)?:[^;}]*?([\d.]+)px", screen)]
    assert len(sizes) > 20
    assert min(sizes) >= 11.0
    assert min(float(s) for s in re.findall(r"font-size: ([\d.]+)pt", printed)) >= 9.0
    assert float(re.search(r"\.chart text \{ font: ([\d.]+)px", STYLE)[1]) == svg.TEXT  # type: ignore[index]


def test_text_in_pictures_is_nine_points_on_paper_and_eleven_pixels_on_a_phone(
    far: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = []

    def keep(figure: Any, dpi: int = 150) -> bytes:
        drawn.append(figure)
        return b""

    monkeypatch.setattr(pictures, "png", keep)
    kept = curve.canvas

    def canvas(wide: float, tall: float) -> Any:
        figure = kept(wide, tall)
        drawn.append(figure)
        return figure

    monkeypatch.setattr(curve, "canvas", canvas)
    pictures.panel_picture(far)
    pictures.deflected_picture(far)
    conf = far.configurations[0]
    assert curve.curve(conf.result("air load"), None, 1.5)
    assert len(drawn) == 3
    for figure in drawn:
        sizes = [t.get_fontsize() for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]
        assert min(sizes) * pictures.WIDE / figure.get_figwidth() >= 9.0
        assert min(sizes) / 72.0 * 366.0 / figure.get_figwidth() >= 11.0


# ---- in a browser


@pytest.fixture(scope="module")
def seen(far: Any, tmp_path_factory: pytest.TempPathFactory) -> Any:
    asked = replace(far, provisional=UNDONE, configurations=far.configurations[:4])
    return screens.measured(page_of(asked), tmp_path_factory.mktemp("screens"))


@pytest.mark.parametrize("width", [*screens.SCREENS, screens.PAPER])
def test_text_is_large_and_dark_enough_and_nothing_scrolls_sideways(seen: Any, width: int) -> None:
    """Every text with all folded parts open, as the browser computes it: at least 11 px, on paper 9 pt (12 px)."""
    found = seen[width]
    assert len(found["texts"]) > 1000
    assert found["needed"] <= width
    least = 12.0 if width == screens.PAPER else 11.0
    small = [t for t in found["texts"] if t[1] < least - 1e-6]
    faint = [t for t in found["texts"] if t[2] < 4.5]
    assert small == []
    assert faint == []
    wide = {alt: size for alt, size, wordless in found["pictures"] if not wordless}
    assert len(wide) >= 3
    # ten points on 4.6 inches: 9 pt on paper, 11 px on a screen
    needed = 9.0 / 72.0 * 96.0 if width == screens.PAPER else 11.0
    assert all(size * pictures.TEXT / 72.0 / pictures.WIDE >= needed for size in wide.values()), wide


def test_a_small_or_faint_text_is_noticed(tmp_path: Any) -> None:
    body = '<p style="font-size:9px">small</p><p style="color:#999999">faint</p><p style="width:1500px">wide</p>'
    found = screens.measured(f"<!DOCTYPE html><body style='margin:0'><main>{body}</main></body>", tmp_path)[1280]
    texts = {t[0]: t for t in found["texts"]}
    assert texts["small"][1] == 9.0
    assert texts["faint"][2] == pytest.approx(2.85, abs=0.01)
    assert found["needed"] == 1500


@pytest.mark.parametrize("more", [None, 0, 6])
def test_page_one_is_two_printed_sides_at_most(made: Any, tmp_path: Any, more: int | None) -> None:
    page = page_of(made if more is None else crowded(made, more))
    assert 1 <= screens.sides(screens.page_one(page), tmp_path) <= 2
