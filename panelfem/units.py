"""Units: SI inside, the unit in the key outside.

A case key ends in its unit (``thickness_mm``, ``force_N``, ``angle_deg``); :func:`si` gives the factor to SI, and
:func:`show` prints an SI number back in a unit people use, never without it.
"""

from __future__ import annotations

import math

#: Ending of a case key -> (factor to SI, unit as printed).
SUFFIXES: dict[str, tuple[float, str]] = {
    "mm": (1e-3, "mm"),
    "m": (1.0, "m"),
    "cm2": (1e-4, "cm²"),
    "deg": (math.pi / 180.0, "°"),
    "N": (1.0, "N"),
    "kN": (1e3, "kN"),
    "Nm": (1.0, "N·m"),
    "Pa": (1.0, "Pa"),
    "kPa": (1e3, "kPa"),
    "MPa": (1e6, "MPa"),
    "GPa": (1e9, "GPa"),
    "N_per_mm": (1e3, "N/mm"),
    "N_per_mm2": (1e6, "N/mm²"),
    "Nm_per_rad": (1.0, "N·m/rad"),
    "Nm_per_rad_per_m": (1.0, "N·m/rad per m"),
    "J_per_m2": (1.0, "J/m²"),
    "kg": (1.0, "kg"),
    "g": (1e-3, "g"),
    "g_per_m2": (1e-3, "g/m²"),
    "kg_per_m3": (1.0, "kg/m³"),
    "gee": (9.80665, "g"),
    "C": (1.0, "°C"),
    "K": (1.0, "K"),
    "per_GPa3": (1e-27, "1/GPa³"),
    "per_K": (1.0, "1/K"),
    "1e-6_per_K": (1e-6, "1e-6/K"),
    "percent": (1e-2, "%"),
    "min": (60.0, "min"),
    "ms": (1e-3, "ms"),
    "s": (1.0, "s"),
}


#: Stands beside a number whose mesh error is not known.
UNBARRED = "bar not estimated"


def suffix(key: str) -> str | None:
    """The unit ending of a case key, or None for a key without one.

    >>> suffix("washer_radius_mm"), suffix("stiffness_N_per_mm"), suffix("name")
    ('mm', 'N_per_mm', None)
    """
    parts = key.split("_")
    for start in range(1, len(parts)):
        if (end := "_".join(parts[start:])) in SUFFIXES:
            return end
    return None


def si(value: float, unit: str) -> float:
    """`value` in the unit of a key ending, in SI.

    >>> si(2.5, "mm"), si(3, "kN")
    (0.0025, 3000.0)
    """
    return value * SUFFIXES[unit][0]


def show(value: float, unit: str, digits: int = 3) -> str:
    """An SI number printed in `unit` (a key ending) to so many significant digits, with the unit.

    >>> show(0.0012345, "mm"), show(math.inf, "N"), show(-5442.1, "N", 4)
    ('1.23 mm', '∞ N', '-5442 N')
    """
    factor, name = SUFFIXES[unit]
    return f"{number(value / factor, digits)} {name}"


def number(value: float, digits: int = 3) -> str:
    """A bare number to so many significant digits, without exponent between 1e-3 and 1e6.

    >>> number(1234.5), number(0.5), number(1.5e-7), number(20.0)
    ('1234', '0.5', '1.5e-07', '20')
    """
    if math.isnan(value):
        return "n/a"
    if math.isinf(value):
        return "∞" if value > 0 else "-∞"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if -4 < size < 6:
        text = f"{value:.{max(0, digits - 1 - size)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.{digits - 1}e}".replace(".0e", "e").replace("0e", "e") if digits > 1 else f"{value:.0e}"


def with_bar(value: float, bar: float, unit: str = "", digits: int = 3) -> str:
    """A number ± the bar that the mesh leaves it, both in `unit` as printed; no digit that the bar denies.

    The bar has one digit and is at most a sixth less than it was; the value is rounded to that place, or to four
    digits. A bar of nan was not estimated: the number then has so many `digits`, and says so.

    >>> with_bar(1.5234, 0.012), with_bar(1234.5, 16.0, "N"), with_bar(1.5234, 0.00002), with_bar(-0.4, 3.0, "MPa")
    ('1.52 ± 0.01', '1230 ± 20 N', '1.523 ± 0.001', '0 ± 3 MPa')
    >>> with_bar(1.5234, math.nan, "mm"), with_bar(math.inf, 0.1)
    ('1.52 mm (bar not estimated)', '∞')
    """
    tail = f" {unit}" if unit else ""
    if math.isnan(bar) and not math.isnan(value):
        return f"{number(value, digits)}{tail} ({UNBARRED})"
    if not math.isfinite(value):
        return f"{number(value, digits)}{tail}"
    if bar == 0 or math.isinf(bar):
        return f"{number(value, digits)} ± {number(bar)}{tail}"
    place = math.floor(math.log10(bar))
    place += math.ceil(bar / 10.0**place - 0.2 - 1e-9) == 10
    if value:
        place = max(place, math.floor(math.log10(abs(value))) - 3)
    step = 10.0**place
    rounded = max(1, math.ceil(bar / step - 0.2 - 1e-9)) * step
    if place < -6:
        return f"{value:.3g} ± {rounded:.0e}{tail}"
    decimals = max(0, -place)
    return f"{round(value / step) * step:.{decimals}f} ± {rounded:.{decimals}f}{tail}"
