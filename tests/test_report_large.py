"""The report of what moves far: linear theory beside the truth, paths that end, buckling, and the tap test."""

from __future__ import annotations

import base64
import io
import json
import math
import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

import meshio
import numpy as np
import pytest
import synthetic
import synthetic_large
from PIL import Image
from test_report import _general, _paths, shown, visible

from panelfem.cli.summary import summary
from panelfem.disposition.records import Outcome
from panelfem.report import curve, json_out, large, shapes, tones, vtu, wording, write
from panelfem.report.headline import rows
from panelfem.report.json_keys import KEYS
from panelfem.reserve.records import ModeReserve


@pytest.fixture(scope="module")
def made() -> Any:
    whole = synthetic.barred(synthetic_large.assessment(resolution=(18, 12)), 0.01)
    return replace(whole, configurations=whole.configurations[:4])


@pytest.fixture(scope="module")
def page(made: Any, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("report")
    write(made, folder)
    return re.sub(r"<script>.*?</script>", "", (folder / "report.html").read_text("utf-8"), flags=re.S)


@pytest.fixture(scope="module")
def text(page: str) -> str:
    return visible(page).replace("\u00a0", " ")


def found(made: Any, name: str) -> Any:
    return next(c for c in made.configurations if c.name == name)


def drawn(conf: Any, load: str, **more: Any) -> str:
    """The curve of a load as SVG."""
    return curve.curve(replace(conf.result(load), **more), None, 1.5).decode()  # type: ignore[union-attr]


# ---- one sentence where the outcome is


def test_both_numbers_and_why_in_one_sentence(made: Any) -> None:
    conf = found(made, "undamaged")
    said = large.sentence(conf.result("air load"), wording.outcome_of(conf, "air load"))
    assert said == (
        "air load: linear theory says 5.6 mm and ×1.1; the skin stretches as it bows, and really moves "
        "2.30 ± 0.03 mm: ×2.40 ± 0.03. By the linear numbers it would not have met the factor asked for."
    )
    assert large.sentence(conf.result("kerb strike")) == ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reasons": ("rotation 0.3 rad, limit 0.1 rad",)}, "it stiffens as it moves, and really moves 2.30"),
        ({"deflection": 1.1e-3}, "it buckles, and really moves 2.30"),
        ({"deflection": 2.32e-3}, "followed further it moves 2.30 ± 0.03 mm, but the stress is another: ×2.40"),
    ],
)
def test_the_reason_given_is_the_one_there_is(made: Any, change: Any, words: str) -> None:
    result = found(made, "undamaged").result("air load")
    assert words in large.sentence(replace(result, linear=replace(result.linear, **change)))


def test_what_softens_without_buckling_says_so(made: Any) -> None:
    result = replace(found(made, "undamaged").result("air load"), buckling=None)
    for reasons, words in (
        (("compression 0.5 of a hand buckling load, limit 0.33",), "pressed, it softens"),
        (("rotation 0.3 rad, limit 0.1 rad",), "it softens as its shape changes"),
    ):
        linear = replace(result.linear, deflection=1.1e-3, reasons=reasons)
        assert words in large.sentence(replace(result, linear=linear))


def test_snap_through_is_said_with_what_linear_theory_missed(made: Any, text: str) -> None:
    conf = found(made, "as found")
    said = large.sentence(conf.result("wall contact"), wording.outcome_of(conf, "wall contact"))
    assert said == (
        "wall contact: the panel snaps through at 0.62 times the expected force; linear theory (3.65 mm and ×1.01) "
        "misses it."
    )
    assert "snaps through at 0.62 times the expected severity; 1.5 is asked for" in conf.disposition.reason
    # where the decision is, what was said before it is not said again
    first = text[: text.index("Load path of each case")]
    assert "Wall contact: linear theory (3.65 mm and ×1.01) misses the snap-through." in first
    assert "Air load: linear theory says" in first, "its outcome by the linear numbers would be another"


def test_an_outcome_that_is_the_same_is_not_said_to_differ(made: Any) -> None:
    conf = found(made, "as found")
    outcome = wording.outcome_of(conf, "wall contact")
    assert (outcome.outcome, outcome.linear) == (Outcome.DOES_NOT, Outcome.DOES_NOT)  # type: ignore[union-attr]
    assert not large.flips(outcome)
    assert "By the linear numbers" not in large.sentence(conf.result("wall contact"), outcome)
    assert large.by_linear_numbers(replace(outcome, linear=Outcome.MEETS)) == (  # type: ignore[type-var]
        "By the linear numbers it would have met the factor asked for."
    )


# ---- a path that ends early


def test_a_path_that_ends_early_gives_bounds_and_says_what_is_shown(made: Any, text: str) -> None:
    conf = found(made, "tape")
    result, outcome = conf.result("ram test"), wording.outcome_of(conf, "ram test")
    assert outcome.outcome is Outcome.CANNOT_TELL  # type: ignore[union-attr]
    said = large.sentence(result, outcome)
    assert said.startswith("ram test: followed to 0.83 times the expected force (4.04 ± 0.04 mm), beyond which no ")
    rule = wording.ruling(result, outcome)
    assert wording.margin_text(rule) == "more than ×0.83"
    taken = wording.takes(result, 1.5, rule)
    assert (taken.taken, taken.bound) == ("takes more than 249 N", True)
    assert wording.mode_text(rule) == "no equilibrium found beyond"
    assert wording.deflection_text(result) == "4.04 mm (at ×0.83, the last equilibrium found)"
    for words in (
        "AT ×0.83, THE LAST EQUILIBRIUM FOUND",
        "PATH ENDS EARLY",
        "SNAPS THROUGH",
        "ram test: kept at ×0.83, the last equilibrium found",
        "large displacements: holds as far as the path goes, ×0.83",
    ):
        assert words in text, words


def test_what_large_displacements_tell_is_not_marked_as_outside_linear_theory(made: Any, text: str) -> None:
    assert "outside linear theory" not in text[: text.index("patch P1 gone (must survive")].lower()
    conf = found(made, "undamaged")
    result = conf.result("air load")
    assert wording.doubt(result.theory) == ""
    thick = replace(result.theory, reasons=("laminate 1 is too thick",))
    assert wording.margin_text(result.release, thick) == "+140 % (not to be relied on)"


def test_figures_of_the_ranked_table_say_if_they_are_of_the_last_equilibrium(made: Any) -> None:
    row = next(r for r in rows(made) if r.name == "as found")
    assert row.deflection == "5.12 mm (at ×0.62, the last equilibrium found)"
    assert row.release_mode == "snap-through"


def test_of_modes_at_the_end_of_the_path_the_one_that_happens_rules(made: Any) -> None:
    result = found(made, "as found").result("wall contact")
    tied = replace(result, release=result.modes[0])
    assert tied.release.status == "beyond search"
    assert wording.ruling(tied).mode == "snap-through"


# ---- the load's own part


def test_both_numbers_stand_side_by_side(made: Any, text: str) -> None:
    part = text[text.index("air load: followed with large displacements: undamaged") :]
    part = part[part.index("Greatest deflection") :]
    places = [
        part.index(words)
        for words in (
            "5.6 mm",
            "2.30 ± 0.03 mm",
            "×1.1",
            "×2.40 ± 0.03",
            "×0.9",
            "had these numbers been believed",
            "Why linear theory does not hold",
            "deflection 4.6 times the thickness, limit 0.3",
            "Buckling:",
        )
    ]
    assert places == sorted(places)


def test_what_bears_on_the_decision_is_open(page: str) -> None:
    titles = re.findall(r"<details( open)?><summary>([^<]*?): followed with large displacements: ([^<]*)", page)
    opened = {(load, name): bool(state) for state, load, name in titles}
    assert opened["wall contact", "as found"], "it governs"
    assert opened["air load", "undamaged"], "the linear numbers would have given another outcome"
    assert not opened["air load", "as found"]


def test_buckling_says_what_was_made_of_it(made: Any) -> None:
    result = found(made, "undamaged").result("air load")
    said = large.buckling_sentence(result, result.buckling)
    assert said == (
        "another shape is possible from ×0.82 ± 0.01 of the expected pressure (further ones from ×1.90 ± 0.04), by "
        "linear theory; it moves most 47 mm from the centre. To follow the panel past it, that shape was added to it, "
        "0.1 mm high: real panels are never of the exact shape."
    )
    unchanged = replace(result.buckling, imperfection=0.0)
    assert large.buckling_sentence(result, unchanged).endswith("no such shape was added.")
    only = found(made, "undamaged").result("compression")
    said = large.buckling_sentence(only, only.buckling)
    assert (
        said
        == "another shape is possible from ×4.1 of the expected acceleration, by linear theory; it moves most "
        + ("12 mm from F2.")
    )


# ---- pictures


def words_of(svg: str) -> list[str]:
    """Texts of an SVG of matplotlib: beside its outlines each text stands as a comment."""
    return re.findall(r"<!-- (.*?) -->", svg)


def test_the_linear_line_is_drawn_where_it_is_straight(made: Any) -> None:
    conf = found(made, "undamaged")
    result = conf.result("air load")
    assert curve.straight(result) == ((0.0, 0.0), (5.6e-3, 1.0))
    touching = found(made, "undamaged").result("kerb strike").contacts
    assert touching
    assert curve.straight(replace(result, contacts=touching)) == ()
    assert curve.straight(replace(result, linear=None)) == ()
    svg = drawn(conf, "air load")
    assert "stroke-dasharray: 5" in svg
    assert "linear theory" in words_of(svg)
    assert "linear theory" in words_of(drawn(conf, "air load", contacts=touching)), "its answer is marked all the same"
    assert "linear theory" not in words_of(drawn(conf, "air load", linear=None))


def test_the_curve_marks_what_is_asked_and_reached_and_where_it_ends(made: Any) -> None:
    words = words_of(drawn(found(made, "undamaged"), "air load"))
    assert {"expected ×1", "asked for ×1.5", "reached ×2.40 ± 0.03", "factor on the expected 2.4 kPa suction"} <= {
        *words
    }
    words = words_of(drawn(found(made, "as found"), "wall contact"))
    assert "snaps through ×0.62" in words
    assert not any(w.startswith("reached") for w in words)
    assert "last equilibrium found ×0.83" in words_of(drawn(found(made, "tape"), "ram test"))
    assert curve.curve(found(made, "undamaged").result("kerb strike"), None, 1.5) is None


def test_labels_of_near_factors_are_moved_apart(made: Any) -> None:
    marks = [curve.Level(1.0, "a"), curve.Level(1.01, "b"), curve.Level(1.02, "c"), curve.Level(3.0, "d")]
    places = curve.apart([m.factor / 3.3 for m in marks])
    assert all(b - a >= 0.0749 for a, b in pairwise(places))
    assert places[-1] == pytest.approx(3.0 / 3.3)


def test_the_same_curve_gives_the_same_file(made: Any) -> None:
    conf = found(made, "undamaged")
    assert drawn(conf, "air load") == drawn(conf, "air load")


def test_contours_follow_a_curved_field() -> None:
    """w = x² + y² on a grid: the contour of w = 1/4 is a circle of radius 1/2."""
    n = 24
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1), indexing="ij"))
    a = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    b, c, d = a + n + 1, a + n + 2, a + 1
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    points = np.column_stack([x, y, 0 * x])
    for times, error in ((0, 1e-3), (2, 1e-4)):
        p, t, w = shapes.smoothed(points, triangles, x**2 + y**2, times)
        assert len(t) == len(triangles) * 4**times
        ends, share = shapes.level_lines(t, w, 0.25)
        at = p[ends[..., 0]] * (1 - share[..., None]) + p[ends[..., 1]] * share[..., None]
        radius = np.hypot(at[..., 0], at[..., 1])
        inside = (at[..., 0] > 0.1) & (at[..., 1] > 0.1)  # slopes at the border are one-sided
        assert abs(radius[inside] - 0.5).max() < error
        length = np.linalg.norm(at[:, 1] - at[:, 0], axis=1).sum()
        assert length == pytest.approx(math.pi / 4, rel=2e-3)


def test_a_shape_is_drawn_along_the_normal(made: Any) -> None:
    mesh = made.mesh
    shape = synthetic_large.shape(mesh, 1, 1)
    np.testing.assert_allclose(shapes.normal_motion(mesh, 3.0 * shape).max(), 1.0)
    assert not shapes.normal_motion(mesh, 0.0 * shape).any()
    removed = np.zeros(len(mesh.triangles), bool)
    dark = []
    for factor in (0.0, 1.0):
        made_one = shapes.shape_picture(mesh, factor * shape, removed, np.zeros((0, 3)))
        with Image.open(io.BytesIO(made_one)) as image:
            dark.append(int((np.asarray(image.convert("L")) < 90).sum()))
    assert dark[1] > 1.5 * dark[0], "contours are drawn"


# ---- the tap test


def test_tones_stand_side_by_side_with_their_change(text: str) -> None:
    part = text[text.index("Tap test") :]
    for words in (
        "as found: dull area stiff",
        "212.3 ± 0.8 Hz",
        "198.3 ± 0.8 Hz",
        "−6.6 ± 0.8 % (likeness 0.97)",
        "0 ± 2 %, no change to be told (likeness 0.97)",
        "none like it",
        "like none of the undamaged panel's",
        "moves most at the edge of hole H1",
        "undamaged: what hangs on the fixings moves with them.",
        "1190 g vibrate",
        "42 %",
        "at rest, without the air around it",
    ):
        assert words in part, words


def test_the_tone_that_tells_is_named_with_what_can_be_told(made: Any) -> None:
    columns = tones.columns(made)
    said = tones.use(columns)
    # bars of 0.8 Hz of 212 Hz and of 201 Hz: 0.94 · (0.8/201.1 + 0.8/212.3) = 0.73 %
    assert said == [
        "Tone 3 tells most: tap 47 mm from the centre and listen near 212 Hz. A peak more than 0.8 % below what this "
        "panel gave undamaged means that it has lost stiffness or a fixing is loose; the damage found should lower it "
        "by 5.3 to 6.6 %, to 198 to 201 Hz. Less than 0.8 % off cannot be told from an undamaged panel.",
        "Tone 2 should be lower too.",
        # 212.3/118.4 = 1.793; 198.29/118.04 = 1.680 and 201.09/118.12 = 1.702
        "If it was never tapped undamaged: the damage leaves tone 1 where it is, and tone 3 over tone 1 is 1.79 "
        "undamaged, 1.68 to 1.70 as found.",
    ]


def test_a_change_within_the_bars_or_a_line_of_the_spectrum_cannot_be_told(made: Any) -> None:
    for shares, bar in (((0.99, 0.99, 0.99, 1.0), 3.0), ((0.996, 0.997, 0.998, 1.0), 0.001)):
        quiet = synthetic_large.ringing(made, shares, bar)
        assert "tapping cannot tell this panel from an undamaged one" in " ".join(tones.use(tones.columns(quiet)))
    clear = synthetic_large.ringing(made, (0.99, 0.99, 0.99, 1.0), 0.001)
    assert tones.use(tones.columns(clear))[0].startswith("Tone 3 tells most")


def test_without_vibrations_there_is_no_tap_test(made: Any) -> None:
    plain = synthetic.assessment()
    assert tones.section(plain) is None
    assert "Tap test" not in shown(plain)


def test_many_states_go_into_several_tables(made: Any) -> None:
    extra = [replace(found(made, "tape"), name=f"tape {i}") for i in range(3)]
    many = replace(made, configurations=(*made.configurations, *extra))
    page = str(tones.section(many))
    heads = [
        re.findall(r"<th scope=\"col\">(.*?)</th>", t)
        for t in re.findall(r"<table class=\"loads tones\">.*?</table>", page)
    ]
    assert [len(h) for h in heads] == [6, 6, 4]
    assert all(h[:2] == ["Tone", "undamaged"] for h in heads)


# ---- data


def test_every_key_of_what_moves_far_is_written(made: Any) -> None:
    written = {_general(p) for p in _paths(json_out.document(made))}
    of_these = {k for k in KEYS if re.search(r"\.(linear|curve|buckling|vibration)\b|_by_linear_numbers$", k)}
    assert len(of_these) > 60
    assert {k for k in of_these if not k.startswith("configurations[].contingencies")} <= written


def test_json_holds_what_was_found(made: Any) -> None:
    document = json.loads(json_out.dumps(made))
    conf = next(c for c in document["configurations"] if c["name"] == "undamaged")
    loads = {r["load"]: r for r in conf["variants"][0]["loads"]}
    air = loads["air load"]
    assert air["theory"]["large_displacements"] is True
    assert air["theory"]["membrane_change_ratio"] is None
    assert air["linear"]["deflection_mm"] == 5.6
    assert air["linear"]["release"]["factor"] == 1.1
    assert air["curve"][3] == {"factor": 1.0, "deflection_mm": 2.3}
    assert air["buckling"] == {
        "factors": [0.82, 1.9],
        "bars_factor": [0.01, 0.04],
        "where": "47 mm from the centre",
        "imperfection_mm": 0.1,
    }
    assert (loads["kerb strike"]["linear"], loads["kerb strike"]["curve"], loads["kerb strike"]["buckling"]) == (
        None,
        [],
        None,
    )
    judged = {o["load"]: o["outcome_by_linear_numbers"] for o in conf["disposition"]["loads"]}
    assert (judged["air load"], judged["kerb strike"]) == ("does not meet it", None)
    third = conf["variants"][0]["vibration"]["tones"][2]
    assert (third["frequency_Hz"], third["bar_Hz"], third["like"]) == (212.3, 0.8, 3)
    assert third["effective_mass_ratio"] == [0.01, 0.0, 0.14]
    assert conf["variants"][0]["vibration"]["mass_g"] == 1190.0


def test_shapes_are_in_the_fields(made: Any) -> None:
    points = vtu.fields(made).point_data
    shape = found(made, "undamaged").variants[0].vibration.tones[1].shape
    np.testing.assert_array_equal(points["vibration shape 2 | undamaged | as it is"], shape)
    assert "buckling shape | undamaged | air load | as it is" in points
    assert isinstance(vtu.fields(made), meshio.Mesh)


def test_the_terminal_has_a_line_for_what_moved_far(made: Any) -> None:
    lines = [str(part) for part in summary(made)]
    assert any(line.startswith("Moves far, as found: Wall contact: linear theory (3.65 mm") for line in lines)
    assert sum(line.startswith("Moves far, wet patch, two plies: ") for line in lines) == 1
    assert not any(str(part).startswith("Moves far") for part in summary(synthetic.assessment()))


def test_the_page_embeds_its_pictures_and_fetches_nothing(page: str) -> None:
    assert not re.search(r"https?:|@import|url\((?!#)", page)
    sources = re.findall(r'<img[^>]* src="([^"]*)"', page)
    assert {source.partition(";")[0] for source in sources} == {"data:image/png", "data:image/svg+xml"}
    for source in sources:
        if source.startswith("data:image/svg"):
            svg = base64.b64decode(source.partition(",")[2]).decode()
            assert not re.search(r'(href|src)="(?!#)', svg), "a picture refers to nothing outside itself"


def test_a_mode_that_stands_for_the_end_of_a_path_is_a_bound_and_no_number() -> None:
    end = ModeReserve("no equilibrium found", "stability", "release", 1.3, bar=0.01)
    assert wording.barred_factor(end) == "more than ×1.3"
    snaps = ModeReserve("snap-through", "stability", "release", 1.3, bar=0.01)
    assert wording.barred_factor(snaps) == "×1.30 ± 0.01"
