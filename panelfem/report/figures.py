"""Numbers as people read them: with unit, sign and bar, and never so that a minus is a hyphen."""

from __future__ import annotations

import math
import re

from panelfem.arrays import FloatArray
from panelfem.units import SUFFIXES, number, show, with_bar

#: The parameter of a load case -> the unit it is shown in (a key ending of `panelfem.units`).
PARAMETER_UNITS = {"force": "N", "pressure": "kPa", "acceleration": "gee", "interference": "mm"}


def signed(value: float, digits: int = 3) -> str:
    """A number with its sign, the minus as a minus sign.

    >>> signed(12.34), signed(-3.0), signed(0.0)
    ('+12.3', '−3', '0')
    """
    if value == 0 or math.isnan(value):
        return number(value, digits)
    return ("+" if value > 0 else "−") + number(abs(value), digits)


def fixed(value: float, decimals: int = 0) -> str:
    """A number to so many decimals, the minus as a minus sign, and no minus before nothing.

    >>> fixed(-0.04, 1), fixed(-12.34, 1), fixed(1250.4)
    ('0.0', '−12.3', '1250')
    """
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown.replace("-", "−")


def percent(value: float) -> str:
    """A margin (0.38) in per cent, signed, to the whole per cent below ±1000 %.

    >>> percent(0.384), percent(-0.2), percent(float("nan"))
    ('+38 %', '−20 %', 'n/a')
    """
    if math.isnan(value):
        return "n/a"
    rounded = round(100 * value) if math.isfinite(value) else value
    if rounded == 0 and value < 0:
        return "−0 %"
    return f"{signed(float(rounded), 6)} %"


def share(value: float) -> str:
    """A ratio in per cent without sign.

    >>> share(0.871), share(float("inf")), share(float("nan"))
    ('87 %', 'beyond search', 'n/a')
    """
    if math.isnan(value):
        return "n/a"
    return f"{100 * value:.0f} %" if math.isfinite(value) else "beyond search"


def severity(value: float, parameter: str) -> str:
    """A severity in SI, shown in the unit of its parameter; a negative pressure is a suction.

    >>> severity(1200.0, "force"), severity(0.0014, "interference"), severity(-2500.0, "pressure")
    ('1200 N', '1.4 mm', '2.5 kPa suction')
    """
    unit = PARAMETER_UNITS[parameter]
    if parameter == "pressure" and value < 0:
        return f"{show(-value, unit)} suction"
    return show(value, unit).replace("-", "−")


def times(factor: float) -> str:
    """A factor with its sign.

    >>> times(1.5), times(float("inf")), times(0.9999)
    ('×1.5', 'never reached', 'just below ×1')
    """
    if factor < 1.0 and number(factor) == "1":
        return "just below ×1"
    return "never reached" if math.isinf(factor) and factor > 0 else f"×{number(factor)}"


def minus(words: str) -> str:
    """Words with every minus as a minus sign.

    >>> minus("-12.3 ± 0.5"), minus("1e-09")
    ('−12.3 ± 0.5', '1e-09')
    """
    return re.sub(r"(?<![\w])-(?=\d)", "−", words)


def barred(value: float, bar: float, unit: str) -> str:
    """An SI number and its mesh error in the unit of a key ending.

    >>> barred(0.0012345, 2e-5, "mm"), barred(-5442.1, math.nan, "N")
    ('1.23 ± 0.02 mm', '−5442 N (bar not estimated)')
    """
    factor, name = SUFFIXES[unit]
    return minus(with_bar(value / factor, bar / factor, name))


def grams(mass: float, sign: bool = False) -> str:
    """A mass (kg) in g to 0.1 g.

    >>> grams(0.0412, True), grams(-0.0412)
    ('+41.2 g', '−41.2 g')
    """
    shown = fixed(1e3 * mass, 1)
    return f"{'+' if sign and not shown.startswith(('−', '0.0')) else ''}{shown} g"


def place_text(place: FloatArray | None) -> str:
    """A place as coordinates in millimetres.

    >>> import numpy as np
    >>> place_text(np.array([0.12, 0.0455, 0.0]))
    'x 120, y 46, z 0 mm'
    """
    if place is None:
        return ""
    x, y, z = (fixed(1e3 * float(v)) for v in place)
    return f"x {x}, y {y}, z {z} mm"


def share_of_bar(worst: float) -> str:
    """A bar as a share of its number.

    >>> share_of_bar(0.0312), share_of_bar(float("nan"))
    ('±3.1 %', 'no bar')
    """
    return f"±{number(100.0 * worst, 2)} %" if math.isfinite(worst) else "no bar"
