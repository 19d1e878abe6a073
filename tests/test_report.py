"""The report: data that can be read back, a page that fetches nothing, figures never without unit or mark."""

from __future__ import annotations

import base64
import json
import math
import re
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import meshio
import numpy as np
import pytest
import screens
import synthetic
import synthetic_large

from panelfem.disposition.records import Outcome
from panelfem.errors import InputError
from panelfem.report import FORMAT, describe, folder, html, json_out, prepare, wording, write
from panelfem.report.decision import bar
from panelfem.report.glyph import LETTERS, glyph
from panelfem.report.headline import rows
from panelfem.report.json_keys import KEYS, PARAMETER_ENDINGS
from panelfem.report.projection import boundary, chains, view
from panelfem.report.view3d import data, packed
from panelfem.reserve.records import LimitCheck, ModeReserve, TheoryCheck

NASTY = "<script>alert('x & \"y\"')</script>"


@pytest.fixture(scope="module")
def made() -> Any:
    return synthetic.assessment()


@pytest.fixture(scope="module")
def out(made: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "new" / "folder"
    write(made, path)
    return path


@pytest.fixture(scope="module")
def page(out: Path) -> str:
    return (out / "report.html").read_text("utf-8")


def own_part(page: str) -> str:
    """The page without the drawing script."""
    return re.sub(r"<script>.*?</script>", "", page, flags=re.S)


def visible(page: str) -> str:
    """The text a reader sees, one line a piece."""

    class Reader(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.parts: list[str] = []
            self.hidden = 0

        def handle_starttag(self, tag: str, attrs: Any) -> None:
            self.hidden += tag in ("script", "style", "head", "svg")

        def handle_endtag(self, tag: str) -> None:
            self.hidden -= tag in ("script", "style", "head", "svg")

        def handle_data(self, data: str) -> None:
            if not self.hidden and data.strip():
                self.parts.append(" ".join(data.split()))

    reader = Reader()
    reader.feed(page)
    return "\n".join(reader.parts)


def strict(text: str) -> Any:
    """JSON as the standard has it: NaN and Infinity as bare words are refused."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


# ---- result.json


def test_json_is_strict_and_round_trips(made: Any, out: Path) -> None:
    text = (out / "result.json").read_text("utf-8")
    document = strict(text)
    assert document == json_out.document(made) == json_out.read(out / "result.json")
    assert document["format"] == FORMAT
    assert [c["name"] for c in document["configurations"]] == [c.name for c in made.configurations]


def test_json_says_why_there_is_no_number(out: Path) -> None:
    document = json_out.read(out / "result.json")
    found = next(c for c in document["configurations"] if c["name"] == "as found")
    loads = {r["load"]: r for r in found["variants"][0]["loads"]}
    zero = loads["compression"]["first_ply"]
    assert (zero["status"], zero["factor"], zero["margin_percent"]) == ("zero load", None, None)
    bound = loads["air load"]["release"]
    assert (bound["status"], bound["factor"]) == ("beyond search", 6.0)
    assert not loads["wall contact"]["theory"]["holds"]
    assert document["settings"]["search_up_to"] == "Infinity"


def _paths(value: Any, path: str = "") -> set[str]:
    """All key paths of a document; lists of numbers and texts are leaves, and so are settings."""
    if isinstance(value, dict) and path != "settings":
        found: set[str] = set()
        for key, item in value.items():
            found |= _paths(item, f"{path}.{key}" if path else key)
        return found
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return set().union(*(_paths(item, f"{path}[]") for item in value))
    return {path}


def _general(path: str) -> str:
    return re.sub(rf"\b(expected|asked|from(?:_low|_high|_bar)?)_({'|'.join(PARAMETER_ENDINGS)})$", r"\1_*", path)


@pytest.mark.parametrize("bars", [False, True])
@pytest.mark.parametrize("far", [False, True])
def test_every_key_is_described_and_every_description_is_used(made: Any, bars: bool, far: bool) -> None:
    made = synthetic_large.assessment(resolution=(12, 8)) if far else made
    made = synthetic.barred(made) if bars else made
    written = {_general(p) for p in _paths(json_out.document(made)) | _paths(json_out.document(synthetic.declined()))}
    empty = {p for p in written if any(k.startswith((f"{p}[].", f"{p}.")) for k in KEYS)}
    assert written - empty <= set(KEYS)
    assert set(KEYS) <= written | {k for k in KEYS if any(k.startswith((f"{p}[].", f"{p}.")) for p in empty)}
    assert all(f"\n{key}: " in describe() for key in KEYS)


def test_every_number_has_its_unit_in_the_key(made: Any) -> None:
    units = (
        "_mm",
        "_mm2",
        "_N",
        "_kPa",
        "_MPa",
        "_gee",
        "_g",
        "_min",
        "_deg",
        "_rad",
        "_percent",
        "_microstrain",
        "_Hz",
    )
    bare = ("factor", "factors", "ply", "path", "settings", "element_order", "like")

    def look(value: Any, key: str) -> None:
        if isinstance(value, dict):
            for name, item in value.items():
                if name != "settings":
                    look(item, name)
        elif isinstance(value, list):
            for item in value:
                look(item, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            assert key in bare or key.endswith((*units, "_factor", "_ratio", "_count", "_unit_vector")), key

    look(json_out.document(made), "")
    look(json_out.document(synthetic.barred(made)), "")
    look(json_out.document(synthetic_large.assessment(resolution=(12, 8))), "")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 0.0, -1.5e-300, np.float64(2.0)])
def test_any_number_can_be_written(value: float) -> None:
    text = json.dumps(json_out.number(value), allow_nan=False)
    assert strict(text) == (None if math.isnan(value) else json_out.number(value))


def test_settings_of_any_kind_can_be_written() -> None:
    odd = {"a": np.arange(3), 1: Path("x"), "n": np.float64("nan"), "b": np.bool_(True), "t": (1, None)}
    assert strict(json.dumps(json_out.plain(odd), allow_nan=False)) == {
        "a": [0, 1, 2],
        "1": "x",
        "n": None,
        "b": "True",
        "t": [1, None],
    }


def test_json_has_bars_beside_the_values(made: Any) -> None:
    plain, barred = (strict(json_out.dumps(a)) for a in (made, synthetic.barred(made, 0.01)))
    before, after = (a["configurations"][3]["variants"][0]["loads"][0] for a in (plain, barred))
    assert before["deflection"]["bar_mm"] is None
    assert after["deflection"]["bar_mm"] == pytest.approx(0.01 * after["deflection"]["value_mm"])
    assert after["release"]["bar_factor"] == pytest.approx(0.01 * after["release"]["factor"])
    assert after["fixings"][1]["pull_bar_N"] == pytest.approx(0.01 * abs(after["fixings"][1]["pull_N"]))
    assert after["bonds"][0]["peel_bar_MPa"] == pytest.approx(0.021)
    assert after["contacts"][0]["force_bar_N"] == pytest.approx(6.1)
    assert before["plies"][0]["strain_bar_microstrain"] == [None, None, None]
    assert after["plies"][0]["stress_bar_MPa"][2] == pytest.approx(0.01 * after["plies"][0]["stress_MPa"][2])
    assert (plain["meshing"]["met"], barred["meshing"]["met"]) == (None, True)
    assert barred["meshing"]["meshes"][1] == {
        "elements_count": 2140,
        "worst_ratio": 0.017,
        "what": "pull on F2",
        "where": "ram test",
    }
    total = barred["configurations"][3]["disposition"]["uncertainty"]
    assert [p["name"] for p in total["parts"]] == ["load severity", "strength", "mesh", "fixing stiffness"]
    assert (total["low_ratio"], total["parts"][3]["low_ratio"]) == (0.73, None)
    assert plain["configurations"][3]["disposition"]["uncertainty"]["factor"] is None


# ---- the folder


def test_an_earlier_result_is_replaced_whole(made: Any, tmp_path: Path) -> None:
    whole = set(folder.NAMES) - {"smallest.json", "trade.png"}  # which only a search for a repair writes
    assert {p.name for p in write(made, tmp_path)} == whole
    assert {p.name for p in tmp_path.iterdir()} == whole
    write(synthetic.declined(), tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {"result.json", "report.html"}
    assert json_out.read(tmp_path / "result.json")["status"] == "declined"


def test_a_folder_of_somebody_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_bytes(b"beach")
    with pytest.raises(InputError, match="not a result of this tool"):
        write(synthetic.declined(), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["holiday.jpg"]


def test_a_folder_of_an_earlier_format_is_replaced_but_not_read(tmp_path: Path) -> None:
    (tmp_path / "result.json").write_text('{"format": "panelfem-result/1"}')
    with pytest.raises(InputError, match="not a result"):
        json_out.read(tmp_path / "result.json")
    write(synthetic.declined(), tmp_path)
    assert json_out.read(tmp_path / "result.json")["status"] == "declined"


def test_a_foreign_result_json_is_refused(tmp_path: Path) -> None:
    (tmp_path / "result.json").write_text('{"format": "other"}')
    with pytest.raises(InputError, match="not a result of this tool"):
        prepare(tmp_path)
    assert (tmp_path / "result.json").read_text() == '{"format": "other"}'


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        prepare(tmp_path / "out")


def test_a_link_is_replaced_and_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside.html"
    outside.write_text("keep me")
    target = tmp_path / "out"
    write(synthetic.declined(), target)
    (target / "report.html").unlink()
    (target / "report.html").symlink_to(outside)
    write(synthetic.declined(), target)
    assert outside.read_text() == "keep me"
    assert not (target / "report.html").is_symlink()


def test_a_full_disk_is_one_message_and_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(synthetic.declined(), tmp_path)
    before = (tmp_path / "report.html").read_bytes()

    def full(source: object, target: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder.os, "replace", full)
    with pytest.raises(InputError, match=r"cannot write result\.json: No space left on device.*make room"):
        write(synthetic.declined(), tmp_path)
    assert (tmp_path / "report.html").read_bytes() == before
    assert {p.name for p in tmp_path.iterdir()} == {"result.json", "report.html"}


# ---- fields and pictures


def test_fields_are_those_of_the_assessment(made: Any, out: Path) -> None:
    read = meshio.read(out / "fields.vtu")
    conf = made.configurations[1]
    variant = conf.variants[1]
    name = f"{conf.name} | kerb strike | {variant.name}"
    np.testing.assert_allclose(read.point_data[f"displacement m | {name}"], variant.fields["kerb strike"].displacement)
    np.testing.assert_array_equal(
        np.isnan(read.point_data[f"reserve factor | {name}"]), np.isnan(variant.fields["kerb strike"].reserve)
    )
    assert read.cell_data["damage | hole H1"][0].sum() == made.damage_regions["hole H1"].sum() > 0
    assert read.cell_data[f"removed | {conf.name} | {variant.name}"][0].sum() == variant.removed.sum()
    states = sum(len(c.variants) + len(c.contingencies) for c in made.configurations)
    assert sum(k.startswith("displacement m | ") for k in read.point_data) == states * len(synthetic.LOADS)


def test_pictures_are_pictures(out: Path) -> None:
    for name in ("panel.png", "reserves.png", "deflected.png"):
        assert (out / name).read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_same_assessment_gives_the_same_files(made: Any, out: Path, tmp_path: Path) -> None:
    for path in write(made, tmp_path):
        assert path.read_bytes() == (out / path.name).read_bytes(), path.name


def test_the_view_faces_the_panel_whichever_way_it_is_turned(made: Any) -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        seen = view(made.mesh.vertices @ turn.T, made.mesh.triangles)
        frame = np.stack([seen.right, seen.up, seen.towards])
        np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
        flat = np.ptp(seen.flat(made.mesh.vertices @ turn.T), axis=0)
        assert flat[0] > 0.55
        assert flat[1] > 0.25


def test_the_border_of_a_panel_with_a_hole_is_two_loops(made: Any) -> None:
    kept = made.mesh.triangles[~made.damage_regions["hole H1"]]
    loops = [line for line in chains(boundary(kept)) if line[0] == line[-1]]
    assert sum(len(line) - 1 for line in loops) == len(boundary(kept))
    assert len(loops) >= 2


def test_packed_fields_lose_less_than_a_picture_shows() -> None:
    values = np.random.default_rng(1).normal(size=(50, 3))
    values[7] = np.nan
    field = packed(values)
    raw = np.frombuffer(base64.b64decode(field["data"]), "<i2")
    back = np.where(raw == -32768, np.nan, raw * field["scale"]).reshape(values.shape)
    np.testing.assert_allclose(back, values, atol=np.nanmax(np.abs(values)) / 60000)


def test_the_view_holds_every_state(made: Any) -> None:
    kept = data(made)
    names = {(s["configuration"], s["variant"], load["name"]) for s in kept["states"] for load in s["loads"]}
    expected = {
        (c.name, v.name, load[0])
        for c in made.configurations
        for v in (*c.variants, *c.contingencies)
        for load in synthetic.LOADS
    }
    assert names == expected
    assert kept["first"] == made.recommendation
    json.dumps(kept, allow_nan=False)


# ---- wording


def mode(factor: float, **more: Any) -> ModeReserve:
    return ModeReserve("fibre tension", "maximum stress", "release", factor, **more)


OUT = TheoryCheck(0.5, 0.0, 0.0, ("deflection 0.5 times the thickness, limit 0.3",))
IN = TheoryCheck(0.1, 0.0, 0.0)


@pytest.mark.parametrize(
    ("given", "theory", "expected"),
    [
        (mode(1.384), IN, "+38 %"),
        (mode(0.8), IN, "−20 %"),
        (mode(1.0), IN, "0 %"),
        (mode(0.9999), IN, "−0 %"),
        (mode(math.nan, status="zero load"), IN, "reached at zero load"),
        (mode(4.0, status="beyond search"), IN, "more than ×4"),
        (mode(math.inf), IN, "never reached"),
        (mode(math.nan), IN, "not computed"),
        (mode(1.384), OUT, "+38 % (outside linear theory)"),
        (mode(4.0, status="beyond search"), OUT, "more than ×4 (outside linear theory)"),
        (mode(math.nan, status="zero load"), OUT, "reached at zero load (outside linear theory)"),
    ],
)
def test_margin_text(given: ModeReserve, theory: TheoryCheck, expected: str) -> None:
    assert wording.margin_text(given, theory) == expected


def result(**more: Any) -> Any:
    base = synthetic.assessment().configurations[0].variants[0].loads[2]
    return replace(base, modes=(), limits=(), **more)


def test_takes_gives_the_loads_own_parameter() -> None:
    taken = wording.takes(result(release=mode(1.95)), 1.5)
    assert taken.sentence == "takes 819 N; 420 N expected; 630 N asked for"


def test_takes_gives_no_number_at_zero_load_and_only_a_bound_beyond_the_search() -> None:
    zero = wording.takes(result(release=mode(math.nan, status="zero load")), 1.5)
    assert "no number" in zero.taken
    assert not re.search(r"\d", zero.taken)
    assert math.isnan(zero.factor)
    assert bar(zero) == ""
    bound = wording.takes(result(release=mode(4.0, status="beyond search")), 1.5)
    assert bound.taken == "takes more than 1680 N"
    assert bound.bound


def test_takes_marks_what_is_outside_linear_theory() -> None:
    assert wording.takes(result(release=mode(1.2), theory=OUT), 1.5).taken == "takes 504 N (outside linear theory)"


def test_a_deflection_limit_reached_first_rules() -> None:
    base = replace(result(release=mode(1.9)), limits=(LimitCheck("gap to the tyre", 0.004, 0.005, 1.25),))
    assert wording.ruling(base).mode == "limit 'gap to the tyre'"
    assert wording.takes(base, 1.5).taken == "takes 525 N"


def test_reached_at_zero_load_rules_before_any_number() -> None:
    base = replace(result(release=mode(math.nan, status="zero load")), limits=(LimitCheck("gap", 0.004, 0.005, 0.2),))
    assert wording.ruling(base).status == "zero load"


def test_the_mode_an_outcome_was_judged_on_rules(made: Any) -> None:
    conf = made.configurations[0]
    judged = replace(conf.disposition.loads[4], factor=conf.result("ram test").limits[0].factor)
    assert wording.ruling(conf.result("ram test"), judged).criterion == "deflection limit"


@pytest.mark.parametrize("outcome", list(Outcome))
def test_wording_is_never_an_order(made: Any, outcome: Outcome) -> None:
    conf = made.configurations[3]
    conf = replace(conf, disposition=replace(conf.disposition, outcome=outcome))
    said = wording.outcome_sentence(conf)
    assert said.endswith("; released by ____.")
    assert not re.search(r"\b(race it|go race|must race|safe to|approved|cleared)\b", said, re.I)
    if outcome is Outcome.MEETS_IF:
        assert all(c in said for c in conf.disposition.conditions)


def test_marks_of_outcomes_differ_in_shape() -> None:
    assert len({glyph(o) for o in Outcome}) == len(Outcome) == len(set(LETTERS.values()))


# ---- the ranked table


def test_the_recommended_one_leads_and_the_undamaged_is_last(made: Any) -> None:
    table = rows(made)
    assert table[0].recommended
    assert [r.rank for r in table] == [1, 2, 3, 4, 5, None]
    assert table[-1].configuration.kind == "undamaged"
    order = [list(Outcome).index(r.outcome) for r in table[1:-1]]
    assert order == sorted(order)


def test_figures_are_the_worst_over_the_loads(made: Any) -> None:
    row = next(r for r in rows(made) if r.name == "as found")
    conf = row.configuration
    most = max((conf.result(load) for load in conf.governing), key=lambda r: r.deflection.value)
    assert row.deflection_load == most.load
    assert row.first_ply == "reached at zero load"
    assert row.first_ply_load == "compression"


@pytest.mark.parametrize("field", ["deflection", "first_ply", "release", "mass", "minutes"])
def test_every_figure_of_the_ranked_table_has_a_unit(made: Any, field: str) -> None:
    for row in rows(made):
        shown = getattr(row, field)
        for number in re.finditer(r"(?<![\w])[+−±]?\d[\d.]*", shown):
            before, after = shown[: number.start()], shown[number.end() :]
            assert before.endswith("×") or re.match(r" (mm|%|g|min|N|kPa)\b| %", after), shown


# ---- the page


def test_the_page_names_no_address_it_could_fetch(page: str) -> None:
    own = own_part(page)
    assert not re.search(r"https?:|//[a-z0-9-]+\.[a-z]{2,}|@import|url\((?!#)", own)
    assert not re.search(r"<(link|iframe|object|embed|script)[^>]+(src|href)=(?!\"data:)", page)
    assert all(source.startswith("data:image/png;base64,") for source in re.findall(r'<img[^>]* src="([^"]*)"', own))
    assert "default-src 'none'" in own


def test_the_drawing_script_is_there_once(page: str) -> None:
    assert page.count("plotly.js v") == 1


def test_the_decision_comes_first(page: str) -> None:
    text = visible(page)
    places = [
        text.index(word)
        for word in (
            "Recommended",
            "As found",
            "Conditions",
            "Next inspection",
            "released by",
            "First-ply margin",
            "Load path of each case",
            "Cautions\n",
        )
    ]
    assert places == sorted(places)
    assert wording.INVENTED in text
    assert "tap the dull area d1" in text.lower()


def test_deflection_and_first_ply_lead_every_table_of_loads(page: str) -> None:
    heads = re.findall(r'<table class="loads">.*?<thead>(.*?)</thead>', page, flags=re.S)
    assert len(heads) == len(synthetic.CONFIGURATIONS)
    for head in heads:
        names = re.findall(r"<th[^>]*>(.*?)</th>", head)
        assert names[1:3] == ["Greatest deflection", "First-ply margin"]


def test_what_is_outside_linear_theory_is_said_loudly(page: str) -> None:
    assert page.count("OUTSIDE LINEAR THEORY") >= 2
    assert "deflection 0.44 times the thickness, limit 0.3" in visible(page)


def test_everything_found_is_on_the_page(made: Any, page: str) -> None:
    text = visible(page)
    for words in (
        *made.cautions,
        *made.sources,
        "DECIDES THE OUTCOME",
        "rating not known",
        "NOT SURVIVED",
        "patch P1 gone (must survive the expected load)",
        "reached at zero load",
        "more than ×6",
        "3.1e-12 (limit 1e-8)",
        "caliper on the edge",
        "7.4 MPa of 18 MPa",
        "610 N",
        made.case_hash,
    ):
        assert words in text, words


def shown(assessment: Any) -> str:
    return visible(html.report(assessment, b"", b"")).replace("\u00a0", " ")


def test_bars_stand_beside_the_numbers(made: Any) -> None:
    text = shown(synthetic.barred(made, 0.01))
    for words in (
        "2.31 ± 0.03 mm",  # as found, kerb strike: 1.2 mm / 0.52
        "+87 ± 2 %",  # patch, kerb strike: 2.31 · 0.81
        "×1.87 ± 0.02",
        "takes 2.62 ± 0.03 mm",
        "takes 663 ± 7 N",
        "shear 52.0 ± 0.5 N",
        "pull −25.0 ± 0.3 N",
        "7.40 ± 0.08 MPa of 18 MPa",
        "610 ± 6 N",
        "−383 ± 4",  # patch, wall contact, ply 1 bottom: 310 MPa / 0.81
        "A bar (±) is how far the mesh may put a number off, from elements of order 2 and 3",
        "The accuracy asked for, 2 %, is met after 2 meshes: the worst is pull on F2, ram test, with ±1.7 %.",
        "±6.4 %",
    ):
        assert words in text, words
    assert "not estimated" not in text.lower()
    assert "NOT MET" not in text


def test_without_bars_it_says_so_and_prints_plain_numbers(made: Any) -> None:
    text = shown(made)
    assert "±" not in text.replace("±0 g", "")
    assert "bar not estimated" in text
    assert "Mesh error was not estimated" in text
    assert "bars not estimated" in text


def test_an_accuracy_that_is_not_met_is_said_first(made: Any) -> None:
    text = shown(synthetic.barred(made, met=False))
    said = (
        "The accuracy asked for, 2 %, is NOT met after 2 meshes: the worst is pull on F2, ram test, with ±3.1 %; "
        "the limit of 2140 elements is reached."
    )
    assert text.index("ACCURACY NOT MET") < text.index(said) < text.index("Recommended")
    given = replace(made, meshing=replace(synthetic.barred(made).meshing, accuracy=None))
    text = shown(given)
    assert "NOT MET" not in text
    assert "The element size was given, so the mesh was not adapted" in text


def test_the_total_uncertainty_stands_beside_the_disposition(made: Any) -> None:
    text = shown(synthetic.barred(made))
    # wall contact with the patch: 1.95 · 0.81 = 1.58, times 0.73 and 1.22
    said = (
        "1.6 (wall contact), between 1.2 and 1.9 with everything that is uncertain; the largest part is the load "
        "severity"
    )
    assert text.index("Recommended") < text.index(said) < text.index("Conditions")
    rows = [
        text.index(word) for word in ("What makes the governing factor", "kerb strike: interference", "1.18 to 1.9")
    ]
    assert rows == sorted(rows)
    for words in ("bound: in proportion at most", "not computed, not in the total", "1.15 to 1.93", "independent"):
        assert words in text, words
    assert "outside linear theory: not to be relied on" in text
    assert "No number: nothing is reached in the search" in shown(made)


def test_rounding_never_hides_which_side_of_what_is_asked_an_end_is_on(made: Any) -> None:
    conf = synthetic.barred(made).configurations[3]
    near = replace(conf.disposition.uncertainty, low=0.93, high=1.31, factor=1.6)
    phrase = wording.uncertainty_phrase(replace(conf, disposition=replace(conf.disposition, uncertainty=near)))
    assert phrase.startswith("1.60 (wall contact), between 1.49 and 2.10")


def test_names_are_escaped_everywhere(made: Any) -> None:
    conf = replace(
        made.configurations[1],
        name=NASTY,
        note=NASTY,
        disposition=replace(made.configurations[1].disposition, reason=NASTY, conditions=(NASTY,), inspect=(NASTY,)),
    )
    bad = replace(
        made,
        title=NASTY,
        panel=NASTY,
        configurations=(made.configurations[0], conf),
        recommendation=NASTY,
        recommendation_reason=NASTY,
        conditions=(NASTY,),
        cautions=(NASTY,),
        sources=(NASTY,),
        places={NASTY: np.zeros(3)},
        marked=(replace(made.marked[0], name=NASTY),),
        checks={NASTY: NASTY},
        stacks={NASTY: (NASTY,)},
        case=NASTY,
    )
    page = html.report(bad, b"", b"")
    assert "<script>alert" not in page
    assert page.count("</script>") == 3
    assert strict(re.search(r'id="v-data">(.*?)</script>', page, flags=re.S)[1])["first"] == NASTY  # type: ignore[index]
    assert html.declined_page(replace(synthetic.declined(), reason=NASTY)).count("<script>") == 0


def test_without_a_recommendation_it_says_so() -> None:
    page = own_part(html.report(synthetic.assessment(recommendation=None), b"", None))
    assert "No configuration" in page
    assert "No option offered meets the factor asked for." in page
    assert "Decided by" in page


def test_a_page_without_fields_has_no_view(made: Any) -> None:
    bare = [
        replace(c, variants=tuple(replace(v, fields={}) for v in c.variants), contingencies=())
        for c in made.configurations
    ]
    page = html.report(replace(made, configurations=tuple(bare)), b"", None)
    assert 'id="v-plot"' not in page
    assert "<script" not in page


def test_a_declined_part_gets_no_number(tmp_path: Path) -> None:
    write(synthetic.declined(), tmp_path)
    page = visible((tmp_path / "report.html").read_text("utf-8"))
    assert "This part is not assessed." in page
    assert "front impact structure" in page
    assert not re.search(r"\d", page)


def test_printing_keeps_nine_points(page: str) -> None:
    style = re.search(r"<style>(.*?)</style>", page, flags=re.S)[1]  # type: ignore[index]
    printed = style[style.index("@media print") :]
    assert all(float(size) >= 9 for size in re.findall(r"font-size: ([\d.]+)pt", printed))
    small = set(re.findall(r"([.\w ]+) \{[^}]*font-size: (?:\d|10|11)(?:\.\d+)?px", style[: style.index("@media")]))
    assert all(name.strip() in printed for name in small), small


# ---- in a browser


@pytest.fixture(scope="module")
def browser(out: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    def run(*options: str, path: Path = out / "report.html") -> subprocess.CompletedProcess[str]:
        return screens.run(tmp_path_factory.mktemp("profile"), path, *options)

    return run


def requests_of_the_page(log: Path) -> set[str]:
    """Addresses a local page asked for; what the browser asks for itself belongs to no page."""
    events = json.loads(log.read_text("utf-8", errors="replace"))["events"]
    params = [event.get("params", {}) for event in events]
    return {
        p["url"]
        for p in params
        if str(p.get("network_isolation_key", "")).startswith("file:") and not p.get("url", "file:").startswith(LOCAL)
    }


LOCAL = ("file:", "data:", "blob:")


def test_the_page_requests_nothing_and_draws(browser: Any, tmp_path: Path) -> None:
    log = tmp_path / "net.json"
    found = browser(
        f"--log-net-log={log}", "--net-log-capture-mode=Everything", "--dump-dom", "--enable-logging=stderr"
    )
    assert "Content Security Policy" not in found.stderr
    assert "Uncaught" not in found.stderr
    assert "greatest deflection" in found.stdout.split('id="v-caption"')[1][:400]
    assert '<div class="plot-container' in found.stdout
    assert requests_of_the_page(log) == set()


def test_a_page_that_requests_something_is_noticed(browser: Any, tmp_path: Path) -> None:
    page, log = tmp_path / "page.html", tmp_path / "net.json"
    page.write_text('<img src="http://localhost:9/x.png">', "utf-8")
    browser(f"--log-net-log={log}", "--net-log-capture-mode=Everything", "--dump-dom", path=page)
    assert requests_of_the_page(log) == {"http://localhost:9/x.png"}
