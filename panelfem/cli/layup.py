"""``panelfem layup``: which stacks fit what was weighed, measured, seen and bent, and the spread they leave."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from panelfem.case.layup import Unknown, load_layup
from panelfem.cli.console import out, show, stages, table, visible
from panelfem.knowledge.layup import Bank, Fitting, Layups, Spread, fit
from panelfem.knowledge.stacks import stacks
from panelfem.knowledge.weighted import HALF
from panelfem.units import number

#: Stacks that are listed.
LISTED = 10
_CAUTION = (
    "Only the candidates named were looked at: a ply or core that is not among them cannot be found, and stacks that "
    "weigh and bend alike cannot be told apart. Assess the panel with each stack that fits, at least the softest and "
    "the stiffest; the worst of the answers counts."
)


def run(chosen: Namespace) -> int:
    """Find what fits and print it."""
    unknown = load_layup(chosen.file)
    with stages(chosen.quiet) as tell:
        found = fit(Bank(stacks(unknown.candidates), unknown.load, tell), unknown.measured, unknown.level, tell)
    console = out()
    for part in told(unknown, found):
        show(console, part)
    return 0


def told(unknown: Unknown, found: Layups) -> Iterator[RenderableType]:
    """The sentence, the stacks that fit, the spread of stiffness and answer, and what must be known with them."""
    yield Text(visible(unknown.title), style="bold")
    if unknown.invented:
        yield Text("Invented measurements: made up for demonstration.")
    yield Text(sentence(found), style="bold")
    if not found.fits:
        return
    yield Text("")
    yield table(
        ("Stack", "Weight", *_heads(unknown)),
        [(visible(f.stack.name), _percent(f.weight), *_expected(unknown, f)) for f in found.fitting[:LISTED]],
        f"The likeliest of {len(found.fitting)} that hold {100 * found.level:g} % of the weight",
    )
    yield Text(f"Measured: {', '.join(_measured(unknown))}.")
    yield Text("")
    heads = ("Number", "Median", f"In {100 * found.level:g} of 100 cases", "Before", "Informed")
    yield table(heads, [_spread(s) for s in found.spreads], "What it leaves of stiffness and answer")
    if untold := [s.name for s in found.spreads if not s.informed]:
        yield Text(f"The measurements say nothing about {', '.join(untold)}.")
    if unknown.load is not None and any(core is not None for core in unknown.candidates.cores):
        yield Text(
            "Factor of plies only: core shear, wrinkling and crimping are judged by 'panelfem assess', not here."
        )
    yield Text(
        f"Softest that fits: {visible(found.softest.stack.name)}; stiffest: {visible(found.stiffest.stack.name)}."
    )
    yield Text(_CAUTION)


def sentence(found: Layups) -> str:
    """What was found, in one sentence."""
    if not found.fits:
        return (
            f"None of {found.looked} stacks fits what was measured: name other plies, angles or cores, and check the "
            "measurements."
        )
    n = len(found.fitting)
    stiff = found.spreads[6]
    if n == 1:
        return f"Of {found.looked} stacks only {visible(found.fitting[0].stack.name)} fits."
    return (
        f"{n} of {found.looked} stacks fit; bending stiffness along 0° is {_value(stiff, stiff.low)} to "
        f"{_value(stiff, stiff.high)}."
    )


def _heads(unknown: Unknown) -> list[str]:
    m = unknown.measured
    heads = ["Mass per area"] if m.areal_mass is not None else []
    heads += ["Thickness"] if m.thickness is not None else []
    return [*heads, *(f"Deflection {i}" for i in range(1, len(m.bent) + 1))]


def _units(unknown: Unknown) -> list[tuple[float, str]]:
    m = unknown.measured
    return [
        *([(1e3, "g/m²")] if m.areal_mass is not None else []),
        *([(1e3, "mm")] if m.thickness is not None else []),
        *((1e3, "mm") for _ in m.bent),
    ]


def _expected(unknown: Unknown, one: Fitting) -> list[str]:
    return [f"{number(factor * v)} {u}" for v, (factor, u) in zip(one.expected, _units(unknown), strict=True)]


def _measured(unknown: Unknown) -> list[str]:
    m = unknown.measured
    pairs = [pair for pair in (m.areal_mass, m.thickness) if pair is not None]
    pairs += [(b.deflection, b.noise) for b in m.bent]
    return [
        f"{head.lower()} {number(f * v, 4)} ± {number(HALF * f * s, 2)} {u}"
        for head, (v, s), (f, u) in zip(_heads(unknown), pairs, _units(unknown), strict=True)
    ]


def _spread(s: Spread) -> tuple[str, ...]:
    interval = f"{_value(s, s.low)} to {_value(s, s.high)}"
    before = f"{_value(s, s.before[0])} to {_value(s, s.before[1])}"
    return s.name, _value(s, s.median), interval, before, "yes" if s.informed else "NO"


def _value(s: Spread, value: float) -> str:
    """A in N/mm, D in N·m, a factor as it is."""
    if s.name.startswith("A"):
        return f"{number(1e-3 * value)} N/mm"
    return f"{number(value)} N·m" if s.name.startswith("D") else f"×{number(value)}"


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if share >= 0.001 else "under 0.1 %"
