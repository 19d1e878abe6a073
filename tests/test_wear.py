"""Wear and position: against a general-purpose statistics library, a published fit, and counting."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.weightstats import DescrStatsW

from panelfem.case.wear import load_wear
from panelfem.cli import main
from panelfem.errors import CaseError, InputError
from panelfem.wear import Forecast, Reading, Verdict, fitted, forecast, position

DEMO = Path(__file__).parents[1] / "cases" / "wear" / "skid_block.toml"

#: NIST Statistical Reference Datasets, linear regression, "Norris" (readings y, x and certified values recalled).
NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6
778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6
557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1
888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""
#: Limits of common practice, no source: for these tests only.
FINISH, LEAST = 50.0, 3e-3


def run(*pairs: tuple[float, float], block: str = "") -> list[Reading]:
    """Readings from laps and millimetres."""
    return [Reading(laps, 1e-3 * mm, block) for laps, mm in pairs]


def told(
    *pairs: tuple[float, float], least: float = LEAST, gauge: float = 0.02, more: list[Reading] | None = None
) -> Forecast:
    return forecast("p", [*run(*pairs), *(more or [])], FINISH, least, 0.95, 1e-3 * gauge)


# ---- the line


def test_a_published_fit_comes_out() -> None:
    y, x = np.array(NORRIS.split(), float).reshape(-1, 2).T
    line = fitted(x.tolist(), y.tolist())
    assert line.count == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.deviation == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.deviation / np.sqrt(line.spread) == pytest.approx(0.429796848199937e-3, rel=1e-10)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_prediction_and_slope_are_those_of_a_statistics_library(seed: int, level: float) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 40, 3 + 2 * seed))
    y = 10 - 0.02 * x + rng.normal(0, 0.03, len(x))
    line, model = fitted(x.tolist(), y.tolist()), sm.OLS(y, sm.add_constant(x)).fit()
    frame = model.get_prediction([[1.0, 55.0]]).summary_frame(alpha=1 - level)
    low, high = line.prediction(55.0, level)
    assert line.at(55.0) == pytest.approx(float(frame["mean"].iloc[0]), rel=1e-10)
    assert (low, high) == pytest.approx((frame["obs_ci_lower"].iloc[0], frame["obs_ci_upper"].iloc[0]), rel=1e-9)
    assert line.slopes(level) == pytest.approx(tuple(model.conf_int(1 - level)[1]), rel=1e-8)
    assert line.deviation**2 == pytest.approx(model.mse_resid, rel=1e-9)


def test_the_forecast_at_the_finish_is_that_of_a_statistics_library() -> None:
    laps, mm = np.array([0.0, 8, 15, 24, 30]), np.array([10.0, 9.72, 9.58, 9.21, 9.02])
    found = told(*zip(laps, mm, strict=True))
    model = sm.OLS(mm, sm.add_constant(laps)).fit()
    frame = model.get_prediction([[1.0, FINISH]]).summary_frame(alpha=0.05)
    expected = [float(frame[name].iloc[0]) for name in ("mean", "obs_ci_lower", "obs_ci_upper")]
    assert [1e3 * v for v in (found.value, found.low, found.high)] == pytest.approx(expected, rel=1e-9)
    slopes = -1e-3 * model.conf_int(0.05)[1]
    assert (found.wear_low, found.wear_high) == pytest.approx((slopes[1], slopes[0]), rel=1e-8)


def test_the_interval_holds_as_often_as_it_says() -> None:
    rng, laps, level, trials = np.random.default_rng(5), np.array([0.0, 9, 17, 26, 36]), 0.9, 4000
    noise = rng.normal(0, 0.03, (trials, len(laps) + 1))
    inside = 0
    for row in noise:
        low, high = fitted(laps.tolist(), (10 - 0.02 * laps + row[:-1]).tolist()).prediction(88.0, level)
        inside += low <= 10 - 0.02 * 88 + row[-1] <= high
    # three standard deviations of a count of so many trials
    assert inside / trials == pytest.approx(level, abs=3 * np.sqrt(level * (1 - level) / trials))


def test_a_gauge_known_keeps_few_readings_from_seeming_certain() -> None:
    rng, laps = np.random.default_rng(6), np.array([0.0, 12.0, 24.0])
    held = 0
    for row in rng.normal(0, 0.03, (500, 4)):
        mm = 10 - 0.02 * laps + row[:3]
        found = told(*zip(laps, mm, strict=True), gauge=2.8 * 0.03)
        held += 1e3 * found.low <= 10 - 0.02 * FINISH + row[3] <= 1e3 * found.high
    assert held / 500 >= 0.95


# ---- the verdict


def test_it_stays_falls_or_cannot_be_told() -> None:
    points = ((0, 10.0), (8, 9.21), (15, 8.49), (24, 7.62))
    at_finish = told(*points)
    for least, verdict in (
        (at_finish.low - 1e-9, Verdict.WITHIN),
        (at_finish.low + 1e-9, Verdict.CANNOT_TELL),
        (at_finish.high - 1e-9, Verdict.CANNOT_TELL),
        (at_finish.high + 1e-9, Verdict.BEYOND),
    ):
        assert told(*points, least=least).verdict is verdict
    assert told(*points).lasts is not None


def test_it_lasts_until_the_lap_at_which_the_lower_end_meets_the_limit() -> None:
    found = told((0, 10.0), (8, 9.21), (15, 8.49), (24, 7.62))
    assert found.line is not None
    assert found.lasts is not None
    at = [found.line.prediction(found.lasts + k, 0.95, max(found.line.deviation, 0.02e-3 / 2.8))[0] for k in (0, 1)]
    assert at[0] >= LEAST > at[1]


def test_readings_that_agree_exactly_get_the_interval_of_the_gauge() -> None:
    found = told((0, 10.0), (10, 9.8), (20, 9.6), gauge=0.1)
    assert found.line is not None
    assert found.line.deviation == pytest.approx(0.0, abs=1e-15)
    assert found.high - found.low > 0.1e-3
    assert any("the interval is the gauge's" in note for note in found.notes)


@pytest.mark.parametrize(
    ("pairs", "what"),
    [
        ([(0, 10.0)], "1 reading, all at 0 laps, tell no rate"),
        ([(0, 10.0), (10, 9.8)], "2 readings give a line but no interval"),
        ([(9, 10.0), (9, 9.9), (9, 9.95)], "3 readings, all at 9 laps"),
    ],
)
def test_too_few_readings_tell_nothing(pairs: list[tuple[float, float]], what: str) -> None:
    found = told(*pairs)
    assert found.verdict is Verdict.CANNOT_TELL
    assert np.isnan(found.low)
    assert found.lasts is None
    assert any(what in note for note in found.notes), found.notes


def test_below_the_limit_already_is_beyond_it_whatever_the_line_says() -> None:
    for pairs in ([(0, 2.9)], [(0, 9.0), (10, 2.9)], [(0, 4.0), (5, 2.8), (10, 4.1), (20, 2.9)]):
        found = told(*pairs)
        assert found.verdict is Verdict.BEYOND
        assert any("below the limit already" in note for note in found.notes)


def test_readings_that_grow_are_never_within() -> None:
    found = told((0, 9.0), (10, 9.2), (20, 9.4), (30, 9.6), gauge=0.21)
    assert found.low > LEAST
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.wear < 0
    assert any("grow with the laps, and no block does" in note for note in found.notes)
    assert found.lasts is None


def test_one_reading_that_grows_more_than_the_gauge_explains_is_said() -> None:
    pairs = ((0, 10.0), (8, 9.8), (16, 9.95), (24, 9.4), (32, 9.2))
    found = told(*pairs)
    assert found.verdict is Verdict.CANNOT_TELL
    assert any("grows by 0.15 mm from 8 to 16 laps" in note for note in found.notes)
    assert told(*pairs, gauge=0.15).verdict is Verdict.WITHIN


def test_scatter_without_wear_is_said_and_judged() -> None:
    found = told((0, 10.0), (8, 9.99), (16, 10.0), (24, 10.01), (32, 9.99), gauge=0.05)
    assert found.verdict is Verdict.WITHIN
    assert any("wear is not told from the scatter" in note for note in found.notes)


def test_only_the_last_block_counts() -> None:
    alone = told((20, 10.0), (28, 9.8), (36, 9.61), (44, 9.4))
    after = told((0, 10.0), (10, 6.0), more=run((20, 10.0), (28, 9.8), (36, 9.61), (44, 9.4), block="second"))
    assert (after.value, after.low, after.verdict) == (alone.value, alone.low, alone.verdict)
    assert any("2 readings of earlier blocks left out" in note for note in after.notes)
    fresh = told((0, 10.0), (10, 6.0), more=run((20, 10.0), block="second"))
    assert fresh.verdict is Verdict.CANNOT_TELL


@pytest.mark.parametrize(
    ("readings", "what"),
    [
        ([], "has no reading"),
        (run((5, 9.0), (4, 8.9)), "laps go back from 5 to 4"),
        (run((0, 9.0), (51, 8.9)), "finish, at 50 laps, is before the last reading"),
        (run((0, 9.0)) + run((1, 9.0), block="b") + run((2, 9.0)), "comes back after 'b'"),
    ],
)
def test_readings_that_cannot_be_are_refused(readings: list[Reading], what: str) -> None:
    with pytest.raises(InputError, match=what):
        forecast("p", readings, FINISH, LEAST, 0.95, 2e-5)


# ---- position


@pytest.mark.parametrize("seed", range(3))
def test_the_mean_has_the_interval_of_a_statistics_library(seed: int) -> None:
    readings = np.random.default_rng(seed).normal(51.0, 0.4, 3 + seed)
    found = position("flap", (1e-3 * readings).tolist(), 0.05, 2e-3, 0.95, 0.0)
    low, high = DescrStatsW(readings).tconfint_mean(0.05)
    assert [1e3 * v + 50 for v in (found.low, found.high)] == pytest.approx([low, high], rel=1e-10)
    assert found.offset == pytest.approx(1e-3 * (readings.mean() - 50), rel=1e-9)


@pytest.mark.parametrize("side", [1, -1])
def test_a_position_is_within_beyond_or_cannot_be_told(side: int) -> None:
    def at(*offsets: float, gauge: float = 0.05) -> Any:
        return position("flap", [0.05 + side * 1e-3 * o for o in offsets], 0.05, 2e-3, 0.95, 1e-3 * gauge)

    assert at(0.9, 1.0, 1.1).verdict is Verdict.WITHIN
    assert at(2.9, 3.0, 3.1).verdict is Verdict.BEYOND
    near = at(1.7, 1.9, 2.1)
    assert near.verdict is Verdict.CANNOT_TELL
    assert any("1 of 3 readings is outside by itself" in note for note in near.notes)
    assert at(1.0).verdict is Verdict.CANNOT_TELL
    assert at(1.99, 1.99, 1.99).verdict is Verdict.CANNOT_TELL, "no better than the gauge"
    assert at(1.99, 1.99, 1.99, gauge=1e-3).verdict is Verdict.WITHIN
    with pytest.raises(InputError, match="has no reading"):
        at()


# ---- the command


def test_the_demo_is_told_with_unit_and_interval(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["wear", str(DEMO)]) == 0
    first = capsys.readouterr().out
    words = " ".join(first.split())
    for part in (
        "Invented readings",
        "Limits as entered from: invented rules for demonstration, issue 1.",
        "front, middle stays at or above the limit 9.33 mm 9.20 to 9.45 mm 9.00 mm or more",
        "rear, left cannot be told 9.08 mm 8.95 to 9.21 mm",
        "rear, right falls below the limit 8.14 mm 7.85 to 8.42 mm",
        "2 readings of earlier blocks left out",
        "flap, right end within the limit +0.85 mm",
        "The rate of wear is taken as constant",
        "Beyond the limit: rear, right. Cannot be told: rear, left.",
    ):
        assert part in words, part
    assert main(["wear", str(DEMO)]) == 0
    assert capsys.readouterr().out == first


def test_what_is_beyond_is_summed_up_whatever_its_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A movable part may be called like a place of the block."""
    path = tmp_path / "wear.toml"
    path.write_text(DEMO.read_text("utf-8").replace('"flap, right end"', '"rear, right"'), encoding="utf-8")
    assert main(["wear", str(path)]) == 0
    assert "Beyond the limit: rear, right." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (("edition = ", "# edition = "), "rules.edition"),
        (
            ("least_thickness_mm = ", "# "),
            "rules.least_thickness_mm). Allowed: a number, 0 to 1000 mm. Do: it has no default",
        ),
        (("allowed_offset_mm = ", "# "), "rules.allowed_offset_mm"),
        (("finish_laps = ", "# "), "wear.finish_laps"),
        (("repeatability_mm = 0.04", "repeatability_mm = 0"), "out of range"),
        (("repeatability_mm = 0.04", "repeatability_cm = 0.04"), "write repeatability_mm = 0.4"),
        (("finish_laps = 88", "finish_laps = 30"), "is before the last reading, at 36 (point[0])"),
        (('"rear, left"', '"front, middle"'), "point[1].name"),
        (("laps = 9,", "laps = nan,"), "not a finite number"),
        (("[[movable]]", "[[movable"), "is not TOML"),
    ],
)
def test_a_wrong_file_gets_one_message(
    tmp_path: Path, change: tuple[str, str], what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = DEMO.read_text(encoding="utf-8")
    assert change[0] in text
    path = tmp_path / "wear.toml"
    path.write_text(text.replace(*change, 1), encoding="utf-8")
    assert main(["wear", str(path)]) == 2
    said = capsys.readouterr().err
    assert what in said
    assert "Traceback" not in said


def test_a_file_with_nothing_to_judge_is_refused(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8")
    path = tmp_path / "wear.toml"
    path.write_text(text[: text.index("[[point]]")], encoding="utf-8")
    with pytest.raises(CaseError, match="nothing to judge"):
        load_wear(path)
    with pytest.raises(CaseError, match="no such file"):
        load_wear(tmp_path / "none.toml")
