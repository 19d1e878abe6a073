"""The layup lesson: one page that fetches nothing, the same to the byte, whose pictures hold the numbers they say."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from panelfem.assess.strike import Strike
from panelfem.cli import main
from panelfem.errors import InputError
from panelfem.failure import CRITERIA
from panelfem.failure.envelope import of_laminate
from panelfem.laminate import Laminate, parse_stack
from panelfem.material import library
from panelfem.report import svg
from panelfem.report.lesson import lesson, write
from panelfem.report.lesson_charts import Line, plane, polar
from panelfem.report.lesson_stack import Stack, stacks

WRITTEN = ("[0/90]s", "[0/45/foam-pvc-80:5mm]s", "[30]", "[0/90]")


def some(*written: str, material: str = "T300-5208", **more: object) -> tuple[Stack, ...]:
    laminates = [Laminate(parse_stack(text, library(), material)) for text in written]
    return stacks(written, laminates, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def made() -> str:
    return lesson(some(*WRITTEN, change=-80.0))


def test_the_page_fetches_nothing_and_is_the_same_to_the_byte(made: str) -> None:
    assert not re.search(r"(src|href)\s*=\s*[\"'](?!data:)", made), "nothing but what is in the page"
    assert "http:" not in made
    assert "https:" not in made
    assert "url(" not in re.sub(r"url\(#", "", made)
    assert "<script" not in made
    assert lesson(some(*WRITTEN, change=-80.0)) == made


def test_every_picture_says_in_words_what_it_shows(made: str) -> None:
    """Each chart has a role and a label, the same words below it; stacks are told apart by dashes and letters."""
    charts = re.findall(r"<svg [^>]*>", made)
    assert len(charts) == 2 + 4 + 4 + 2 + 1
    for chart in charts:
        assert 'role="img"' in chart
        (said,) = re.findall(r'aria-label="([^"]*)"', chart)
        assert len(said) > 60
    assert made.count("<figcaption>") == len(charts)
    names = re.findall(r'id="([^"]*)"', made)
    assert len(names) == len(set(names)), "hatches of one picture are not those of another"
    style = re.search(r"<style>(.*?)</style>", made, re.S)
    assert style
    dashes = [
        re.search(rf"\.chart \.{name} \{{([^}}]*)\}}", style[1]) for name in ("first", "second", "third", "fourth")
    ]
    assert len({d[1] for d in dashes if d}) == 4
    assert all("#" not in d[1] and "var(" not in d[1] for d in dashes if d), "no colour tells them apart"


def test_the_words_hold_the_numbers(made: str) -> None:
    """By hand: T300-5208 in [30] pulled shears by −1.35 of the strain (see the polar's test); [0/90] bends and bows."""
    for title in ("Stiffness by direction", "What couples what", "through the thickness", "First to last ply"):
        assert title in made
    assert "strong: −1.35 of the strain along x" in made
    assert "C: 10.3 to 181 GPa, greatest at 30°" in made
    assert "−80 K of temperature change held" in made
    assert "assumed: common practice, no source" in made
    assert "Advice to a competent person" in made
    assert "Plies only: core shear, wrinkling" in made
    assert "Plies only" not in lesson(some("[0]"))


def test_the_ends_of_an_envelope_are_uniaxial_strengths() -> None:
    """[0] alone: Nx = Xt t and −Xc t, Ny = Yt t and −Yc t, by hand: 187.5, 5, 30.75 N/mm, as shown."""
    page = lesson(some("[0]"))
    assert "by Hashin along x alone 188 and −188 N/mm, along y alone 5 and −30.7 N/mm" in page


def places(chart: str, cls: str) -> np.ndarray:
    (points,) = re.findall(rf'<polyline points="([^"]*)" class="{cls}">', chart)[:1]
    return np.array([[float(v) for v in pair.split(",")] for pair in points.split()])


def test_a_polar_is_drawn_to_scale() -> None:
    """An ellipse of values comes out where polar coordinates put it, 90° up."""
    angle = np.radians(np.arange(0.0, 361.0, 5.0))
    values = 60.0 + 30.0 * np.cos(2 * angle)
    chart = polar("E", "GPa", angle, [Line("A", "one", np.stack([values, 0 * values], 1))], "said")
    xy = places(chart, "first") - [svg.WIDE / 2, 176.0]
    scale = np.hypot(*xy[0]) / 90.0
    assert np.hypot(*xy.T) == pytest.approx(scale * values, abs=0.15)
    assert xy == pytest.approx(scale * values[:, None] * np.stack([np.cos(angle), -np.sin(angle)], 1), abs=0.1)


def test_a_plane_is_drawn_to_scale_and_broken_where_there_is_nothing() -> None:
    lam = some("[0/90]s")[0].laminate
    points = of_laminate([CRITERIA["Hashin"]], lam, count=36) / 1e3
    chart = plane(("x", "y"), [Line("", "one", points)], "said", (10.0, 20.0))
    drawn = places(chart, "first")
    for k in (0, 1):
        fit = np.polyfit(points[:, k], drawn[:, k], 1)
        assert drawn[:, k] == pytest.approx(np.polyval(fit, points[:, k]), abs=0.1)
        assert (fit[0] > 0) == (k == 0), "x to the right, y up"
    assert chart.count('class="cross"') == 2
    points[5] = np.nan
    assert plane(("x", "y"), [Line("", "one", points)], "said").count('class="first"') == 3, "two pieces and the legend"


def test_first_to_last_is_in_the_words() -> None:
    """[0/90]s without heat: the numbers of the progression's own test, under the default load of 100 N/mm."""
    (one,) = some("[0/90]s")
    assert one.progression.first == pytest.approx(1.87, abs=0.005)
    assert "A: first matrix tension, plies 2, 3, ×1.87; last ×3.77." in lesson([one])
    assert one.rows[0].stress[0] == pytest.approx(
        one.laminate.ply_stresses(one.laminate.strain_under(one.load))[0, 0, 0]
    )


def test_forces_and_moments_together_and_heat_that_fails_a_ply() -> None:
    """What cannot be drawn is said."""
    both = lesson(some("[0/90]s", load=np.array([1e4, 0, 0, 5.0, 0, 0])))
    assert "Forces and moments together" in both
    burst = lesson(some("[0/90]s", change=-1500.0))
    assert "the temperature change alone fails a ply" in burst
    assert "at zero load" in burst
    assert "nan" not in re.sub(r"<style>.*?</style>", "", burst, flags=re.S)


def test_in_situ_is_said_and_raises_the_first_ply() -> None:
    plain, stronger = some("[0/90]s")[0], some("[0/90]s", held_stronger=True)[0]
    assert stronger.progression.first > 1.4 * plain.progression.first
    assert "in situ" in lesson([stronger], held_stronger=True)
    assert "in situ" not in lesson([plain])


def test_a_struck_plate_is_a_beam() -> None:
    """A line load in the middle of a strip on two hinges, by hand: F = 48 D11 b δ / L³, and ε = F L z / (4 b D11)."""
    force, push = 40.0, 0.1e-3
    length, wide = 0.12, 0.08
    struck = []
    for control, amount in (("interference", push), ("force", force)):
        (one,) = some("[0/90]4s", strike=Strike(length, wide, "hinged", 0.02, control, amount))  # type: ignore[arg-type]
        assert one.struck is not None
        struck.append(one.struck)
    by_push, by_force = (s.result for s in struck)
    D = float(one.laminate.D[0, 0])
    assert by_push.contacts[0].force == pytest.approx(48 * D * wide * push / length**3, rel=0.04)
    assert by_force.contacts[0].force == pytest.approx(force, rel=1e-6)
    assert by_force.deflection.value / by_push.deflection.value == pytest.approx(
        force / by_push.contacts[0].force, rel=0.01
    )
    assert struck[0].mass == pytest.approx(one.laminate.areal_mass * length * wide)
    strain = force * length / 4 / wide / D * float(one.laminate.interfaces[-1])
    row = max(by_force.plies, key=lambda r: abs(r.strain[0]))
    assert abs(row.strain[0]) == pytest.approx(strain, rel=0.08)
    shown = lesson([one])
    assert "What a plate of it does under a strike" in shown
    assert "pushed by 40 N against ply 1" in shown
    assert f"0.{round(1e4 * struck[0].mass):04d}"[:5] in shown
    assert "under a strike" not in lesson(some("[0/90]4s"))


def test_the_command_writes_one_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "lesson"
    for _ in range(2):  # the second takes the place of the first
        assert main(["laminate", "[0/90]s", "[30/-30]", "--material", "carbon-ud", "--lesson", str(out)]) == 0
    assert [path.name for path in out.iterdir()] == ["lesson.html"]
    assert "lesson.html" in capsys.readouterr().out
    assert main(["laminate", "[0]", "[90]", "--material", "carbon-ud"]) == 0
    assert capsys.readouterr().out.count("Engineering constants") == 2


def test_what_cannot_be_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(InputError, match="cannot be told apart"):
        some(*["[0]"] * 5)
    with pytest.raises(InputError, match="no fibre ply"):
        some("[foam-pvc-80:5mm]")
    other = tmp_path / "other"
    other.mkdir()
    (other / "mine.txt").write_text("kept", encoding="utf-8")
    with pytest.raises(InputError, match="--lesson"):
        write(some("[0]"), other)
    nothing = tmp_path / "nothing"
    zero = ["laminate", "[0]", "--load", "0", "0", "0", "0", "0", "0", "--lesson", str(nothing)]
    assert main(zero) == 2
    assert "needs a load" in capsys.readouterr().err
    assert not nothing.exists()
    for more, said in (
        (["--strike", "3"], "--lesson"),
        (["--strike", "3", "--plate", "wide", "--lesson", str(nothing)], "300x200"),
        (["--strike", "3", "--plate", "20x20", "--lesson", str(nothing)], "50 to 2000 mm"),
        (["--strike", "60", "--lesson", str(nothing)], "a tenth"),
        (["--strike", "3", "--kerb-radius", "1", "--lesson", str(nothing)], "5 to 1000 mm"),
    ):
        assert main(["laminate", "[0]", *more]) == 2
        assert said in capsys.readouterr().err
    assert not nothing.exists()
    assert math.isfinite(some("[0]")[0].progression.last)
