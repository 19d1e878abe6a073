"""Pressure samples from a CSV file."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import CaseError, Fault

_HEADINGS = (("x_mm", "y_mm", "pressure_kPa"), ("x_mm", "y_mm", "z_mm", "pressure_kPa"))
_ALLOWED = "the heading x_mm,y_mm,pressure_kPa (or with z_mm before the pressure), then numbers, one sample a line"


def read_samples(file: Path, path: str) -> tuple[FloatArray, FloatArray, bool]:
    """Points (m, 3) m and pressures (m,) Pa of a file, and whether it states z; a missing z is zero.

    `path` is the key that names the file.  Raises CaseError with one fault for each of the first ten lines
    that cannot be used.
    """
    faults: list[Fault] = []
    rows: list[list[float]] = []
    try:
        lines = list(csv.reader(file.read_text("utf-8").splitlines()))
    except (UnicodeDecodeError, csv.Error) as error:
        raise CaseError(
            str(file), (Fault(path, f"{file.name} is not a CSV text file", _ALLOWED, "export it again"),)
        ) from error
    heading = tuple(word.strip() for word in lines[0]) if lines else ()
    if heading not in _HEADINGS:
        what = f"the heading of {file.name} is {','.join(heading) or 'missing'}"
        raise CaseError(str(file), (Fault(path, what, _ALLOWED, "mend the first line, units included"),))
    for number, line in enumerate(lines[1:], 2):
        if not any(word.strip() for word in line):
            continue
        values = [_value(word) for word in line]
        if len(values) != len(heading) or not all(math.isfinite(v) for v in values):
            faults.append(
                Fault(path, f"line {number} of {file.name} is {','.join(line)!r}", _ALLOWED, "mend that line")
            )
        rows.append(values)
    if not faults and not rows:
        faults.append(Fault(path, f"{file.name} has no sample", _ALLOWED, "export it again"))
    if faults:
        raise CaseError(str(file), tuple(faults[:10]))
    table = np.array(rows, float)
    deep = len(heading) == 4
    place = table[:, :3] if deep else np.column_stack([table[:, :2], np.zeros(len(table))])
    return 1e-3 * place, 1e3 * table[:, -1], deep


def _value(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        return math.nan
