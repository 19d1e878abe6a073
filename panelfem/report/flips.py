"""The sizes of damage at which outcomes flip, for the report."""

from __future__ import annotations

from panelfem.assess.records import Assessment, FlipSize
from panelfem.disposition import GOOD
from panelfem.report.markup import Child, Markup, el, table
from panelfem.units import show

_LEFT_OUT = (
    "Not looked for, and damage was judged at size plus tolerance only, not at measured size as well. To have both, "
    "write flip_sizes = true under [settings] of the case, the finding or the panel file."
)


def section(assessment: Assessment) -> Markup | None:
    """A row for each damage and configuration; how to get them where they were left out, None without damage."""
    title = el("h2", "The size at which the outcome flips")
    if not assessment.flip_sizes:
        left_out = assessment.settings.get("flip_sizes") is False and assessment.damage_regions
        return el("section", title, el("p", _LEFT_OUT)) if left_out and not assessment.provisional else None
    heads = ("Damage", "Configuration", "Assessed", "Meets the factor", "Does not, or cannot be told", "By", "Looks")
    return el(
        "section",
        title,
        el(
            "p",
            "Across at the longest, tolerance included, all else as assessed: every size is meshed anew and looked at "
            "by linear theory, and its factors are moved by what the full assessment changes of such a look at the "
            "assessed size, at the stated inputs and at the ends of their bands. Between the sizes looked at nothing "
            "is known.",
        ),
        table(heads, [_row(f) for f in assessment.flip_sizes]),
    )


def _row(flip: FlipSize) -> list[Child]:
    size = show(flip.size, "mm")
    if flip.outcome_below is None or flip.outcome_above is None:
        good = flip.outcome in GOOD
        far = f"{size} to {show(flip.reached, 'mm')}: {flip.bound}"
        told = (
            [flip.why_not, ""] if flip.why_not else [far, "no size looked at"] if good else ["no size looked at", far]
        )
        return [flip.damage, flip.configuration, size, *told, "", str(flip.looks)]
    below, above = show(flip.below, "mm"), show(flip.above, "mm")
    sides = [f"{below} or less", f"{above} or more: {flip.outcome_above.value}"]
    return [flip.damage, flip.configuration, size, *sides, f"{flip.load}: {flip.mode}", str(flip.looks)]
