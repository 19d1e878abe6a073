"""The sentences and figures that the terminal and the page share.

A number never stands without its unit; a number that may not be used is marked where it stands: reached at zero load
(there is no number), not reached within the search (a lower bound), outside the theory used (not to be relied on), or
of the last equilibrium found (not of the expected severity).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from panelfem.assess.records import Assessment, Configuration, Declined
from panelfem.balance import Ballast
from panelfem.disposition import doubts, ends, is_bound, snaps
from panelfem.disposition.records import LoadOutcome, Outcome, Part, Uncertainty
from panelfem.repair import StepHeight
from panelfem.report import figures
from panelfem.reserve.records import LimitCheck, LoadResult, ModeReserve, TheoryCheck
from panelfem.units import UNBARRED, number, show, with_bar

OUTSIDE = "outside linear theory"
UNSOUND = "not to be relied on"
NOT_REACHED = "nothing reached in the search"
NOT_FOLLOWED = "no equilibrium found beyond"
#: A move of less ballast is not said, kg.
LEAST_MOVE = 1e-4
ADVICE = (
    "Advice to a competent person, not a release. The rule book, the supplier's repair manual and the scrutineers come "
    "first."
)
INVENTED = "Invented scenario: the panel, the loads and the damage are made up for demonstration."


def doubt(theory: TheoryCheck | None) -> str:
    """The mark of a figure that may not be relied on, because the theory it comes from does not hold; else nothing.

    >>> doubt(TheoryCheck(0.5, 0.0, 0.0, ("deflection",))), doubt(TheoryCheck(9.0, 0.0, 0.0, ("thick",), large=True))
    ('outside linear theory', 'not to be relied on')
    """
    if theory is None or not doubts(theory):
        return ""
    return UNSOUND if theory.large else OUTSIDE


def marked(shown: str, theory: TheoryCheck | None) -> str:
    """A figure, with the mark that it may not be relied on if that is so."""
    mark = doubt(theory)
    return f"{shown} ({mark})" if mark else shown


def path_end(result: LoadResult) -> ModeReserve | None:
    """The mode that stands for the end of the path, where it ends within what was looked at."""
    return next((m for m in result.modes if ends(m) or snaps(m)), None)


def shown_at(result: LoadResult) -> str:
    """What severity the deflection, fixings and pictures are at, if it is not the one expected; else nothing."""
    end = path_end(result)
    return f"at {figures.times(end.factor)}, the last equilibrium found" if end is not None and end.factor < 1.0 else ""


def deflection_text(result: LoadResult) -> str:
    """The greatest deflection, with its mark if it may not be relied on or is not that at the expected severity."""
    mark = shown_at(result) or doubt(result.theory)
    shown = show(result.deflection.value, "mm")
    return f"{shown} ({mark})" if mark else shown


def margin_text(mode: ModeReserve, theory: TheoryCheck | None = None) -> str:
    """The margin of a mode in per cent; says so instead where there is no number or only a bound.

    >>> margin_text(ModeReserve("fibre tension", "maximum stress", "release", 1.38))
    '+38 %'
    >>> margin_text(ModeReserve("fibre tension", "maximum stress", "release", 3.0, status="beyond search"))
    'more than ×3'
    >>> margin_text(ModeReserve("matrix tension", "Hashin", "inspection", float("nan"), status="zero load"))
    'reached at zero load'
    """
    if mode.status == "zero load":
        return marked("reached at zero load", theory)
    if is_bound(mode):
        return marked(f"more than {figures.times(mode.factor)}", theory)
    if math.isnan(mode.factor):
        return "not computed"
    if math.isinf(mode.factor):
        return marked("never reached", theory)
    return marked(figures.percent(mode.margin), theory)


def barred_margin(mode: ModeReserve, theory: TheoryCheck | None = None) -> str:
    """The margin of a mode as :func:`margin_text` has it, with its mesh error where there is a number.

    >>> barred_margin(ModeReserve("fibre tension", "maximum stress", "release", 1.384, bar=0.021))
    '+38 ± 2 %'
    """
    if not _has_number(mode):
        return margin_text(mode, theory)
    if math.isnan(mode.bar):
        return f"{margin_text(mode, theory)} ({UNBARRED})"
    shown = figures.minus(with_bar(100.0 * mode.margin, 100.0 * mode.bar, "%"))
    return marked(f"{'+' if mode.margin > 0 and shown[0] != '0' else ''}{shown}", theory)


def barred_factor(mode: ModeReserve, theory: TheoryCheck | None = None) -> str:
    """The factor of a mode with its mesh error; says so instead where there is no number or only a bound.

    >>> barred_factor(ModeReserve("fibre tension", "maximum stress", "release", 1.384, bar=0.021))
    '×1.38 ± 0.02'
    """
    if not _has_number(mode):
        return margin_text(mode, theory)
    shown = (
        f"{figures.times(mode.factor)} ({UNBARRED})" if math.isnan(mode.bar) else f"×{with_bar(mode.factor, mode.bar)}"
    )
    return marked(shown, theory)


def _has_number(mode: ModeReserve) -> bool:
    return mode.status == "found" and not is_bound(mode) and math.isfinite(mode.factor)


def ply_text(mode: ModeReserve) -> str:
    """'ply 2 (name), top', or nothing for a mode that is not of a ply."""
    if mode.ply is None:
        return ""
    name = f" ({mode.ply_name})" if mode.ply_name else ""
    position = f", {mode.position}" if mode.position else ""
    return f"ply {mode.ply}{name}{position}"


def mode_text(mode: ModeReserve) -> str:
    """Mode, ply and place in one phrase.

    >>> mode_text(ModeReserve("fibre tension", "maximum stress", "release", 1.2, where="edge of hole H1", ply=2,
    ...                       ply_name="twill", position="top"))
    'fibre tension, ply 2 (twill), top, edge of hole H1'
    >>> mode_text(ModeReserve("core shear", "equilibrium", "release", 10.0, status="beyond search"))
    'nothing reached in the search'
    """
    if is_bound(mode):
        return NOT_FOLLOWED if ends(mode) else NOT_REACHED
    return ", ".join(part for part in (mode.mode, ply_text(mode), mode.where) if part)


def limit_mode(check: LimitCheck) -> ModeReserve:
    """A deflection limit as a release-governing mode."""
    share = check.bar / abs(check.value) if check.value else math.nan
    return ModeReserve(f"limit '{check.name}'", "deflection limit", "release", check.factor, bar=share * check.factor)


def ruling(result: LoadResult, outcome: LoadOutcome | None = None) -> ModeReserve:
    """The mode that rules the release under a load.

    It is the one the outcome of that load was judged on; without an outcome, the release-governing mode, or a
    deflection limit, reached first.
    """
    limits = [limit_mode(check) for check in result.limits if not math.isnan(check.factor)]
    modes = [result.release, *(m for m in result.modes if m.grade == "release"), *limits]
    modes.sort(key=lambda m: m.status == "beyond search")  # of those at one factor, none that lies beyond it
    if outcome is not None:
        judged = next((m for m in modes if m.rank == outcome.factor), None)
        if judged is not None:
            return judged
    return min(modes, key=lambda mode: math.inf if math.isnan(mode.rank) else mode.rank)


@dataclass(frozen=True)
class Takes:
    """What a configuration takes of a load, in the load's own parameter: phrases with units.

    `factor` is the factor on the expected severity (nan if there is none), `bound` true if it is only a lower bound.
    """

    taken: str
    expected: str
    asked: str
    factor: float
    required: float
    bound: bool
    sound: bool

    @property
    def sentence(self) -> str:
        """'takes 1890 N; 1200 N expected; 1800 N asked for'."""
        return f"{self.taken}; {self.expected} expected; {self.asked} asked for"


def takes(result: LoadResult, required: float, mode: ModeReserve | None = None) -> Takes:
    """What is taken of a load against what is expected and what the factor `required` asks for.

    `mode` is what limits it (default: what rules the release).  A bound reads 'more than'; a mode reached at zero load
    gives no number; where the theory used does not hold the number is marked.
    """
    mode = ruling(result) if mode is None else mode
    factor = math.nan if mode.status == "zero load" else mode.factor
    bound = is_bound(mode)
    if mode.status == "zero load":
        taken = "held loads alone reach it: no number"
    elif math.isnan(factor):
        taken = "not computed"
    elif math.isinf(factor):
        taken = "no limit found"
    else:
        amount = figures.severity(factor * result.expected, result.parameter)
        taken = marked(f"takes more than {amount}" if bound else f"takes {amount}", result.theory)
    return Takes(
        taken,
        figures.severity(result.expected, result.parameter),
        figures.severity(required * result.expected, result.parameter),
        factor,
        required,
        bound,
        not doubt(result.theory),
    )


def barred_takes(result: LoadResult, mode: ModeReserve, taken: Takes) -> str:
    """What is taken, with its mesh error where there is a number."""
    if not _has_number(mode):
        return taken.taken
    unit = figures.PARAMETER_UNITS[result.parameter]
    amount = figures.barred(mode.factor * abs(result.expected), mode.bar * abs(result.expected), unit)
    suction = " suction" if result.parameter == "pressure" and result.expected < 0 else ""
    figure, bracket, below = amount.partition(" (")
    return marked(f"takes {figure}{suction}{bracket}{below}", result.theory)


def uncertainty_phrase(configuration: Configuration) -> str:
    """The governing factor with everything that is uncertain, in one phrase; says so if there is no such number."""
    found = configuration.disposition.uncertainty
    if found is None:
        return (
            "no number: nothing is reached in the search or before the path ends, or it is reached before the load is "
            "applied"
        )
    ends = (found.factor, found.low * found.factor, found.high * found.factor)
    factor, low, high = _rounded(ends, required_of(configuration, found.load, 1.0))
    name = found.load
    mark = doubt(configuration.result(name).theory) if name in configuration.governing else ""
    if mark:
        name = f"{name}, {mark}: {UNSOUND}" if mark != UNSOUND else f"{name}: {UNSOUND}"
    largest = next((part for part in found.parts if part.size > 0), None)
    if largest is None:
        return f"{factor} ({name}); nothing that is uncertain was found to move it"
    return (
        f"{factor} ({name}), between {low} and {high} with everything that is uncertain; "
        f"the largest part is the {largest.name}"
    )


def _rounded(values: tuple[float, ...], asked: float) -> list[str]:
    """The first value and what it may be, to the digits that the distance leaves it, and never so that one seems to be
    what is asked and is not.

    >>> _rounded((1.93, 1.41, 2.33), 1.5), _rounded((1.57, 1.46, 1.72), 1.5), _rounded((1.96, 1.46, 2.5), 1.5)
    (['1.9', '1.4', '2.3'], ['1.57', '1.46', '1.72'], ['1.96', '1.46', '2.50'])
    >>> _rounded((1.93, 1.41, math.inf), 1.5)
    ['1.9', '1.4', '∞']
    """
    distance = max((abs(value - values[0]) for value in values if math.isfinite(value)), default=0.0)
    places = min(3, max(0, -math.floor(math.log10(distance / 2.0)))) if distance > 0 else 2
    while places < 4 and any((round(value, places) >= asked) != (value >= asked) for value in values):
        places += 1
    return [f"{value:.{places}f}" if math.isfinite(value) else number(value) for value in values]


def uncertainty_ends(part: Part | Uncertainty, factor: float) -> str:
    """What a part of the uncertainty makes of the governing factor, low to high."""
    if math.isnan(part.low):
        return "not computed"
    return f"{number(part.low * factor)} to {number(part.high * factor)}"


def meshing_sentence(assessment: Assessment) -> str:
    """How accurate the mesh makes the numbers, in a sentence; nothing if that was not followed."""
    found = assessment.meshing
    if found is None or not found.meshes:
        return ""
    last = found.meshes[-1]
    worst = f"the worst is {last.what}, {last.where}, with {figures.share_of_bar(last.worst)}"
    if found.accuracy is None:
        return f"The element size was given, so the mesh was not adapted: of the numbers {worst}."
    near = ", of deflection, fixing loads and reserves near what is asked" if found.near_only else ""
    asked = f"{number(100.0 * found.accuracy)} %{near}"
    made = f"{len(found.meshes)} mesh{'es' if len(found.meshes) > 1 else ''}"
    if found.met:
        return f"The accuracy asked for, {asked}, is met after {made}: {worst}."
    why = f"; {found.stopped}" if found.stopped else ""
    return f"The accuracy asked for, {asked}, is NOT met after {made}: {worst}{why}."


def not_met(assessment: Assessment) -> bool:
    """Whether an accuracy was asked for and not reached."""
    found = assessment.meshing
    return found is not None and found.accuracy is not None and not found.met


def provisional_sentence(assessment: Assessment) -> str:
    """What is not yet done and what that means; nothing if everything is."""
    if not assessment.provisional:
        return ""
    return f"Not yet done: {assessment.provisional.strip().rstrip('.')}. The outcome may still change."


def outcome_of(configuration: Configuration, load: str) -> LoadOutcome | None:
    """The outcome of a configuration under one load, if the disposition lists it."""
    return next((o for o in configuration.disposition.loads if o.load == load), None)


def required_of(configuration: Configuration, load: str, default: float) -> float:
    """The factor asked for on a load's own parameter."""
    outcome = outcome_of(configuration, load)
    return default if outcome is None else outcome.required


def permitted_text(permitted: bool | None) -> str:
    """Whether the option is permitted; not knowing is said.

    >>> permitted_text(True), permitted_text(False), permitted_text(None)
    ('yes', 'no', 'ask (not known)')
    """
    return {True: "yes", False: "no", None: "ask (not known)"}[permitted]


def minutes_text(minutes: float, left: float | None) -> str:
    """The time an option takes, and whether it is more than is left.

    >>> minutes_text(90.0, 80.0), minutes_text(30.0, None)
    ('90 min (10 min too long)', '30 min')
    """
    shown = f"{number(minutes)} min"
    return f"{shown} ({number(minutes - left)} min too long)" if left is not None and minutes > left else shown


def mass_text(mass: float, reference: float | None) -> str:
    """Mass in grams, and the difference from a reference (both kg).

    >>> mass_text(1.2404, 1.2), mass_text(1.2, None)
    ('1240 g (+40 g)', '1200 g')
    """
    shown = f"{1e3 * mass:.0f} g"
    if reference is None:
        return shown
    change = round(1e3 * (mass - reference))
    return f"{shown} ({figures.signed(float(change), 6)} g)" if change else f"{shown} (±0 g)"


def step_text(step: StepHeight | None) -> str:
    """The step a repair leaves for the air, in words; nothing where nothing was repaired.

    >>> step_text(StepHeight(1.35e-3, "last ply")), step_text(StepHeight(unstated=("tape",)))
    ('1.35 mm on the face of the last ply', 'not stated: give the thickness of tape')
    >>> step_text(StepHeight()), step_text(None)
    ('none', '')
    """
    if step is None:
        return ""
    lacking = f"not stated: give the thickness of {' and '.join(step.unstated)}" if step.unstated else ""
    if step.height <= 0.0:
        return lacking or "none"
    face = "on either face" if step.face == "either" else f"on the face of the {step.face}"
    return f"{show(step.height, 'mm')} {face}" + (f"; and more: {lacking}" if lacking else "")


def ballast_text(move: Ballast) -> str:
    """The ballast move that makes up for a configuration, in words."""
    steps = ", ".join(f"{m.station} {figures.grams(m.change, True)}" for m in move.moves if abs(m.change) >= LEAST_MOVE)
    restored = "" if move.restored else "; that does not restore it in full: see panelfem ballast"
    return f"ballast to restore mass and balance: {steps or 'none'}{restored}"


def winner_sentence(assessment: Assessment) -> str:
    """What is recommended, to be read aloud in ten seconds: outcome, load, margin, minutes; empty for nothing."""
    chosen = find(assessment, assessment.recommendation)
    if chosen is None:
        return ""
    load = governing_load(chosen)
    result, left = chosen.result(load), assessment.minutes_left
    margin = margin_text(ruling(result, outcome_of(chosen, load)), result.theory)
    asked = figures.percent(required_of(chosen, load, assessment.required) - 1.0)
    minutes = number(chosen.minutes) + (" min" if left is None else f" of {number(left)} min")
    said = f"{load} governs, margin {margin}, {asked} asked, {minutes}"
    return sentence(f"{chosen.name}: {chosen.disposition.outcome.value}; {said}")


def outcome_sentence(configuration: Configuration, released_by: bool = True) -> str:
    """The outcome in the wording that is never an order to race."""
    conditions = configuration.disposition.conditions
    name = configuration.name
    match configuration.disposition.outcome:
        case Outcome.MEETS:
            middle = "meets the factor asked for, for the listed loads"
        case Outcome.MEETS_IF:
            given = "; ".join(c.strip().rstrip(".") for c in conditions)
            middle = f"meets the factor asked for, for the listed loads, if: {given or 'the conditions below hold'}"
        case Outcome.CANNOT_TELL:
            middle = "cannot be told until something is inspected or measured"
        case Outcome.DOES_NOT:
            middle = "does not meet the factor asked for"
    return f"{name}: {middle}" + ("; released by ____." if released_by else ".")


def recommendation_sentence(assessment: Assessment) -> str:
    """The recommendation as one line; says so if there is none."""
    said = winner_sentence(assessment) or "No configuration is recommended."
    return f"{said} {sentence(assessment.recommendation_reason)}"


def declined_sentence(declined: Declined) -> str:
    """Why a part is declined, and who decides."""
    return f"Declined: {sentence(declined.reason)} Refer to: {sentence(declined.refer_to)}"


def sentence(phrase: str) -> str:
    """A phrase with a capital and a full stop.

    >>> sentence("bond gone"), sentence("")
    ('Bond gone.', '')
    """
    phrase = phrase.strip()
    if not phrase:
        return ""
    return phrase[0].upper() + phrase[1:] + ("" if phrase[-1] in ".!?" else ".")


def find(assessment: Assessment, name: str | None) -> Configuration | None:
    """The configuration of that name."""
    return next((c for c in assessment.configurations if c.name == name), None)


def as_found(assessment: Assessment) -> Configuration | None:
    """The panel as it was found."""
    return next((c for c in assessment.configurations if c.kind == "as found"), None)


def undamaged(assessment: Assessment) -> Configuration | None:
    """The undamaged panel, the reference for restoration and mass."""
    return next((c for c in assessment.configurations if c.kind == "undamaged"), None)


def governing_load(configuration: Configuration) -> str:
    """The load that governs the disposition; the one with the least reserve if the disposition names none.

    Empty if the configuration has no load at all.
    """
    named = configuration.disposition.governing_load
    if named in configuration.governing:
        return named
    loads = list(configuration.governing)
    return min(loads, key=lambda load: ruling(configuration.result(load)).rank, default="")
