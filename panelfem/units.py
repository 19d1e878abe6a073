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
    "per_K": (1.0, "1/K"),
    "1e-6_per_K": (1e-6, "1e-6/K"),
    "percent": (1e-2, "%"),
    "min": (60.0, "min"),
    "ms": (1e-3, "ms"),
    "s": (1.0, "s"),
}


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
