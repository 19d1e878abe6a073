"""Closed forms for holes, beside what the mesh says, for the report."""

from __future__ import annotations

import math

from panelfem.assess.records import Assessment, Notched
from panelfem.report import figures
from panelfem.report.cells import note
from panelfem.report.markup import Child, Markup, el, table

#: Share of bending in the far strain above which the closed form says little.
BENT = 0.3


def section(assessment: Assessment) -> Markup | None:
    """A row for each hole and load, None without holes."""
    if not assessment.notched:
        return None
    heads = ("Hole", "Load", "Point stress", "Average stress", "Meshed, as found", "How alike the two are")
    return el(
        "section",
        el("h2", "Holes: a second estimate"),
        el(
            "p",
            "Reserve factors from the exact stresses round an ellipse in a flat plate (Lekhnitskii) under the mean "
            "membrane force there in the undamaged panel, by the two rules of Whitney and Nuismer. They decide "
            "nothing: they stand beside the meshed factor, which counts bending, curvature and contact.",
        ),
        table(heads, [_row(n) for n in assessment.notched]),
    )


def _row(n: Notched) -> list[Child]:
    meshed = "other places govern" if math.isinf(n.meshed) else figures.times(n.meshed)
    if n.why_not:
        return [n.hole, n.load, "none", "none", meshed, f"no closed form: {n.why_not}"]
    alike = f"{figures.share(n.bending)} of the strain is bending, which the closed form leaves out"
    if n.bending > BENT:
        alike += ": not comparable"
    shown = ["not reached" if math.isinf(x) else figures.times(x) for x in (n.point, n.average)]
    return [n.hole, n.load, shown[0], [el("span", shown[1]), note(f"over {1e3 * n.length:.3g} mm")], meshed, alike]
