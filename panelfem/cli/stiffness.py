"""``panelfem stiffness``: dial-gauge readings under weights against the panel undamaged, as found and repaired."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.assess.stiffness import Stiffness, judged, modelled
from panelfem.case.stiffness import load_check
from panelfem.cli.console import out, show, stages, table, visible
from panelfem.knowledge.verdict import shown
from panelfem.units import number

_CAUTION = (
    "Readings tell stiffness, not strength: what barely softens a panel may still break it, and no reading proves a "
    "bond. Linear theory: keep deflections below half the thickness. The assessment is not changed by this check."
)


def run(chosen: Namespace) -> int:
    """Check and print."""
    check = load_check(chosen.case, chosen.readings)
    with stages(chosen.quiet) as tell:
        found = judged(check, modelled(check, tell))
    console = out()
    for part in told(found):
        show(console, part)
    return 0


def told(found: Stiffness) -> Iterator[RenderableType]:
    """The sentence, what is known of each unknown and state, the readings, and what must be known with them."""
    check = found.check
    yield Text(visible(check.title), style="bold")
    if check.invented:
        yield Text("Invented readings: made up for demonstration.")
    yield Text(visible(found.verdict.sentence), style="bold")
    yield Text("")
    if any(fit.fits for fit in found.fits):
        yield from _unknowns(found)
    shares = dict(found.verdict.shares)
    yield table(
        ("State", "How likely, all alike before", "Deflects, × undamaged", "By the readings", "Fits"),
        [
            (
                visible(fit.state),
                _percent(shares[fit.state]),
                f"×{number(fit.expected)}",
                f"×{number(fit.posterior.softness[1])} to ×{number(fit.posterior.softness[2])}",
                "yes" if fit.fits else "NO",
            )
            for fit in found.fits
        ],
        right=(1, 2),
    )
    yield Text("")
    states = [fit.state for fit in found.fits]
    yield table(
        ("Gauge", "Weight", "Read", "± (1 standard deviation)", *(visible(f"{s}, by the case") for s in states)),
        [
            (
                visible(row.gauge),
                visible(row.weight),
                _mm(row.deflection),
                _mm(row.noise),
                *(_mm(row.expected[s]) for s in states),
            )
            for row in found.rows
        ],
        right=range(2, 4 + len(states)),
    )
    yield Text(f"Mesh error counted in: {number(100 * found.error, 2)} % of a reading.")
    for note in found.notes:
        yield Text(f"Note: {visible(note)}.")
    yield Text(_CAUTION)


def _unknowns(found: Stiffness) -> Iterator[RenderableType]:
    """What is known of each unknown, and what is not."""
    rows = [(t.unknown, *shown(t), "yes" if t.informed else "NO") for t in found.own.posterior.told]
    level = f"In {100 * found.check.level:g} of 100 cases"
    heads = ("Unknown", "After the readings", level, "Before", "Informed")
    yield table(heads, rows, f"If the panel is {_quoted(found.believed)}")
    for line in found.verdict.untold:
        yield Text(f"The readings do not tell the {line}.")
    yield Text("")


def _quoted(state: str) -> str:
    return visible(state if state in ("undamaged", "as found") else f"“{state}”")


def _percent(share: float) -> str:
    """A share in percent, never quite 0 or 100.

    >>> _percent(0.314), _percent(0.9999), _percent(1e-9)
    ('31 %', 'over 99 %', 'under 1 %')
    """
    whole = round(100 * share)
    return "over 99 %" if whole > 99 else "under 1 %" if whole < 1 else f"{whole} %"


def _mm(value: float) -> str:
    return f"{1e3 * value:.3f} mm".replace("-", "−")
