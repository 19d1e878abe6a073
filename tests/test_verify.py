"""The checks themselves: they pass, they can fail, and they are printed with all they claim."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from panelfem import verify
from panelfem.shell import Shell
from panelfem.verify import Result, Row, grids, table

RESULTS: dict[str, tuple[Row, ...]] = {}


def group(name: str) -> tuple[Row, ...]:
    if name not in RESULTS:
        RESULTS[name] = tuple(verify.rows(name))
    return RESULTS[name]


@pytest.mark.parametrize("name", verify.GROUPS)
def test_every_row_is_within_its_tolerance(name: str) -> None:
    start = time.process_time()
    rows = group(name)
    assert rows
    assert not [f"{row.name}, {row.quantity}: {100 * row.error:+.3f} %" for row in rows if not row.passed]
    assert time.process_time() - start < 30


@pytest.mark.parametrize("name", verify.GROUPS)
def test_rows_say_where_they_come_from(name: str) -> None:
    for row in group(name):
        assert row.source
        assert row.reference_how
        assert row.unit
        assert np.isfinite([row.reference, row.ours]).all()
        assert row.tolerance <= {"laminate theory": 1e-2, "failure": 1e-3}.get(row.topic, 2e-2) + 1e-2 * (
            "stress" in row.quantity or "shear" in row.quantity
        )
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
