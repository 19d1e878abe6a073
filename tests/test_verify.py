"""The checks themselves: they pass, they can fail, and they are printed with all they claim."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from panelfem import verify
from panelfem.cli import main
from panelfem.shell import Shell
from panelfem.verify import Result, Row, Statistics, barred, coverage, grids, table
from panelfem.verify.table import TITLE, page

PAGE = Path(__file__).parents[1] / "cases" / "VERIFICATION.md"
RESULTS: dict[str, tuple[Row, ...]] = {}


def group(name: str) -> tuple[Row, ...]:
    if name not in RESULTS:
        RESULTS[name] = tuple(verify.rows(name))
    return RESULTS[name]


@pytest.mark.parametrize("name", verify.GROUPS)
def test_every_row_is_within_its_tolerance(name: str) -> None:
    rows = group(name)
    assert rows
    assert not [f"{row.name}, {row.quantity}: {100 * row.error:+.3f} %" for row in rows if not row.passed]


@pytest.mark.parametrize("name", verify.GROUPS)
def test_rows_say_where_they_come_from(name: str) -> None:
    for row in group(name):
        assert row.source
        assert row.reference_how
        assert row.unit
        assert np.isfinite([row.reference, row.ours]).all()
        most = {"laminate theory": 1e-2, "failure": 1e-3, "error bars": coverage.ALLOWED}.get(row.topic, 2e-2)
        assert row.tolerance <= most + 1e-2 * ("stress" in row.quantity or "shear" in row.quantity)
        assert row.bar is None or 0 < row.bar < np.inf
        assert 0 <= row.reference_error <= 1e-3
        if row.printed is not None:
            assert row.printed_difference is not None
            far = abs(row.printed_difference) > 0.01
            assert not far or row.theory or row.source.startswith("Q/d"), (
                f"{row.name}: says nothing of its printed value"
            )


def test_names_are_unique() -> None:
    keys = [(row.topic, row.name, row.quantity) for name in verify.GROUPS for row in group(name)]
    assert len(set(keys)) == len(keys)


def test_a_row_can_fail() -> None:
    row = group("laminates")[0]
    wrong = replace(row, ours=1.002 * row.reference)
    assert not wrong.passed
    assert not replace(row, ours=float("nan")).passed
    assert not replace(row, reference=0.0).passed
    assert Result((row, wrong)).failed == (wrong,)
    assert not Result((row, wrong)).passed
    assert not Result(()).passed
    assert "FAILS" in table([row, wrong])


def test_table_holds_every_row() -> None:
    rows = [row for name in ("laminates", "sandwiches", "thick") for row in group(name)]
    text = table(rows)
    assert text.count(" ok") == len(rows)
    assert f"{len(rows)} checks, {len(rows)} within their tolerance" in text
    for row in rows:
        assert row.source in text
        assert row.theory in text
    assert max(len(line) for line in text.splitlines()) < 240


def test_a_bar_covers_or_not() -> None:
    row = Row("plates", "p", "w", "a source", None, 2.0, "series", 2.02, "m", 0.1, bar=0.03)
    assert row.covered is True
    assert replace(row, bar=0.01).covered is False
    assert replace(row, bar=0.01, reference_error=0.006).covered is True
    assert replace(row, bar=None).covered is None
    assert replace(row, ours=float("nan")).covered is False
    for text in (table([row, replace(row, bar=0.01, quantity="v")]), page([row, replace(row, bar=0.01, quantity="v")])):
        assert "±1.500 %" in text
        assert "+1.000 %" in text
        assert " NO " in text
        assert " yes " in text
        assert "2, 1 of them hold the reference (50.0 %)" in text
    assert "not given" in table([replace(row, bar=None)])
    assert "exact" in table([replace(row, bar=None, topic="failure")])


def test_bars_come_from_the_order_below() -> None:
    def make(order: int) -> Iterator[Row]:
        yield Row("plates", "p", "w", "a source", None, 1.0, "series", 1.0 - 10.0**-order, "m", 0.1)

    (row,) = barred.barred(make)
    assert row.ours == 1 - 1e-4
    assert row.bar == barred.measured(1 - 1e-3, 1 - 1e-4).bar

    def moved(order: int) -> Iterator[Row]:
        yield replace(next(make(order)), quantity=f"w{order}")

    with pytest.raises(ValueError, match="different rows"):
        list(barred.barred(moved))


def test_the_bars_of_the_quick_tier_hold_and_are_not_too_wide() -> None:
    found = Statistics.of(row for name in verify.GROUPS for row in group(name))
    assert found.enough
    assert found.passed, found.lines()


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize(("bar", "code"), [(0.02, 0), (0.009, 1), (0.06, 1)])
def test_command_fails_if_bars_do_not_hold_or_are_too_wide(
    full: bool, bar: float, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    row = Row("error bars", "p", "w", "s", None, 1.0, "series", 1.01, "m", 0.1, bar=bar)
    monkeypatch.setattr(verify, "rows", lambda *names, full=False: iter([row] * 50))
    assert main(["verify", "--topic", "coverage", *(["--full"] if full else [])]) == code
    assert ("FAILS" in capsys.readouterr().out) == bool(code)


@pytest.mark.parametrize("name", ["plates", "shells", "holes", "coverage"])
def test_what_is_meshed_has_a_bar(name: str) -> None:
    assert all(row.bar is not None for row in group(name))


def cells(text: str) -> list[tuple[str, list[str]]]:
    """Rows of the tables of a page, each with the heading above it."""
    rows, heading = [], ""
    for line in text.splitlines():
        if line.startswith("#"):
            heading = line
        elif line.startswith("| ") and not line.startswith(("| quantity", "| ---")):
            rows.append((heading, [cell.strip() for cell in line.strip("|").split(" | ")]))
    return rows


def value(cell: str) -> float | None:
    """The number in a cell; shares in per cent."""
    try:
        return float(cell.removeprefix("±").removesuffix(" %"))
    except ValueError:
        return None


def test_the_page_is_up_to_date() -> None:
    """Same rows, and numbers to four digits; shares to a hundredth of a per cent, or a tenth of themselves."""
    now = cells(page(row for name in verify.GROUPS for row in group(name)))
    kept = cells(PAGE.read_text(encoding="utf-8"))
    advice = "write it anew: panelfem verify --page cases/VERIFICATION.md"
    assert [(heading, row[0]) for heading, row in now] == [(heading, row[0]) for heading, row in kept], advice
    for (heading, new), (_, old) in zip(now, kept, strict=True):
        assert len(new) == len(old) == 11
        for a, b in zip(new, old, strict=True):
            x, y = value(a), value(b)
            if x is None or y is None:
                assert a == b, f"{heading}: {a!r} is not {b!r}; {advice}"
            elif a.endswith("%"):
                assert x == pytest.approx(y, rel=0.1, abs=0.01), f"{heading}: {new} is not {old}; {advice}"
            else:
                assert x == pytest.approx(y, rel=2e-4, abs=1e-12), f"{heading}: {new} is not {old}; {advice}"


def test_the_page_says_what_it_is() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert text.startswith(TITLE)
    for word in ("How to read it", "## Summary", "error bars:", "quick tier"):
        assert word in text
    rows = [row for name in ("laminates", "sandwiches") for row in group(name)]
    assert page(rows) == page(rows)
    assert "full tier" in page(rows, full=True)
    assert all(row.source in page(rows) for row in rows)


def test_command_writes_the_page_it_was_asked_for(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(verify, "rows", lambda *names, full=False: iter(group("sandwiches")))
    target = tmp_path / "page.md"
    for _ in range(2):  # an older page of the same kind is written anew
        assert main(["verify", "--topic", "sandwiches", "--page", str(target)]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["page.md"]
    assert target.read_text(encoding="utf-8") == page(group("sandwiches"))
    assert main(["verify", "--topic", "sandwiches", "--full", "--page", str(target)]) == 0
    assert "full tier" in target.read_text(encoding="utf-8")
    capsys.readouterr()


@pytest.mark.parametrize(
    ("name", "says"),
    [("page.txt", "does not end in .md"), ("none/page.md", "no folder"), ("mine.md", "no page of these checks")],
)
def test_command_refuses_other_files(
    name: str, says: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def never(*names: str, full: bool = False) -> Iterator[Row]:
        raise AssertionError("checks were run before the file was looked at")

    monkeypatch.setattr(verify, "rows", never)
    (tmp_path / "mine.md").write_text("notes", encoding="utf-8")
    assert main(["verify", "--page", str(tmp_path / name)]) == 2
    assert says in capsys.readouterr().err
    assert (tmp_path / "mine.md").read_text(encoding="utf-8") == "notes"


def test_command_fails_if_the_bars_do(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    row = Row("plates", "p", "w", "a source", None, 1.0, "series", 1.01, "m", 0.1, bar=0.001)
    monkeypatch.setattr(verify, "rows", lambda *names, full=False: iter([row] * 50))
    assert main(["verify"]) == 1
    assert "0 of them hold" in capsys.readouterr().out


def test_run_reports_each_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "GROUPS", ("laminates", "sandwiches"))
    seen: list[Row] = []
    result = verify.run(seen.append)
    assert result.rows == tuple(seen)
    assert result.passed


def test_line_load_adds_up_on_a_curved_edge() -> None:
    def quarter(s: np.ndarray, t: np.ndarray) -> np.ndarray:
        return np.stack([(1 + s) * np.cos(np.pi / 2 * t), (1 + s) * np.sin(np.pi / 2 * t), 0 * s], axis=1)

    grid = grids.Grid.even(2, 6, 4, quarter)
    shell = Shell(grid.mesh, np.diag([2.0, 2, 1, 2, 2, 1, 1, 1]), np.array([1.0, 0, 0]))
    load = grid.line_load(shell, "s1", np.array([0.0, 0.0, 1.0]))
    assert load.sum() == pytest.approx(np.pi, rel=1e-6)
    pressed = grid.line_load(shell, "s0", lambda x: -x)
    assert pressed[: 6 * grid.mesh.nb].reshape(-1, 6)[:, 0].sum() == pytest.approx(-1.0, rel=1e-6)


def test_grid_names_its_nodes() -> None:
    grid = grids.Grid.even(2, 2, 3, grids.rectangle(2.0, 1.0))
    assert grid.mesh.x[grid.node(0.5, 1.0)].tolist() == [1.0, 1.0, 0.0]
    with pytest.raises(ValueError, match="no node at"):
        grid.node(0.123, 0.5)
