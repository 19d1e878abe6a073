"""One check: what was printed, what the theory gives, what we get."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Topic = Literal[
    "laminate theory",
    "failure",
    "plates",
    "pagano",
    "shells",
    "large deflection",
    "buckling",
    "open hole",
    "contact",
    "bonded joints",
    "sandwich",
    "theory limits",
    "through the thickness",
    "error bars",
    "default accuracy",
    "vibration",
    "delamination growth",
    "notched strength",
]

#: topics whose values come from a mesh; those of the others are exact
MESHED: frozenset[Topic] = frozenset(
    {
        "plates",
        "pagano",
        "shells",
        "large deflection",
        "buckling",
        "vibration",
        "open hole",
        "contact",
        "through the thickness",
        "error bars",
        "default accuracy",
    }
)

#: allowed relative errors: of laminate theory, of displacements and forces, of stresses and strains
LAMINATE, VALUE, STRESS = 1e-3, 1e-2, 2e-2


@dataclass(frozen=True)
class Row:
    """One check.

    `printed`: the value in the `source` (None: there is none); `reference`: the same theory solved
    independently, by `reference_how`; `ours`: what this program gives; all in `unit`.  Judged:
    |ours/reference − 1| ≤ `tolerance`. `theory`: which theory ours and the reference belong to, above all
    if the printed value belongs to another.  `bar` in `unit`: what our mesh may be off, None where nothing is
    discretised, or no bar is given; `reference_error`: the share the reference itself may be off.

    >>> row = Row("plates", "square plate", "w D/qa⁴", "a table", 0.00406, 0.004062, "series", 0.004063, "-", 0.01)
    >>> row.passed, round(row.error, 6), round(row.printed_difference, 6)
    (True, 0.000246, -0.000492)
    """

    topic: Topic
    name: str
    quantity: str
    source: str
    printed: float | None
    reference: float
    reference_how: str
    ours: float
    unit: str
    tolerance: float
    theory: str = ""
    bar: float | None = None
    reference_error: float = 0.0

    @property
    def error(self) -> float:
        """ours/reference − 1; nan, which fails, if either is not a number or the reference is zero."""
        return self.ours / self.reference - 1.0 if self.reference else math.nan

    @property
    def printed_difference(self) -> float | None:
        """printed/reference − 1, None without a printed value or with a reference of zero."""
        return self.printed / self.reference - 1.0 if self.printed is not None and self.reference else None

    @property
    def passed(self) -> bool:
        """True within the tolerance; an error that is not a number fails."""
        return abs(self.error) <= self.tolerance

    @property
    def covered(self) -> bool | None:
        """Whether the reference, give or take its own error, lies within our bar; None without a bar."""
        if self.bar is None:
            return None
        return bool(abs(self.ours - self.reference) <= self.bar + self.reference_error * abs(self.reference))
