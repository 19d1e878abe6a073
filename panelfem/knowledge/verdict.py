"""What a stiffness check says, in one plain sentence, and what its readings cannot tell.

Source: H. Jeffreys 1961, Theory of Probability, 3rd ed., appendix B: evidence less than √10 to 1 is worth no more than
a bare mention (recalled).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from panelfem.errors import InputError
from panelfem.knowledge.posterior import Posterior, Told
from panelfem.knowledge.weighted import DOUBT, UNINFORMED
from panelfem.units import number

#: Evidence of one state against another up to which the readings do not tell them apart.
BARE = math.sqrt(10.0)
#: A panel within this share of the model is as stiff as it (a choice: a model is seldom better).
CLOSE = 0.02


@dataclass(frozen=True, eq=False)
class Fit:
    """A state of the panel and the readings: the `posterior`, and the softness `expected` of it, a factor on the
    deflections of the undamaged panel, with size and stiffnesses as the case says.
    """

    state: str
    posterior: Posterior
    expected: float

    @property
    def fits(self) -> bool:
        """Whether the readings may be of this state at all, by the chi-squared distribution."""
        from scipy.special import chdtrc

        return float(chdtrc(self.posterior.count, self.posterior.misfit)) > DOUBT


@dataclass(frozen=True)
class Verdict:
    """The `sentence`; `shares`: how likely each state is, all alike before; `untold`: what the readings say nothing
    about.
    """

    sentence: str
    shares: tuple[tuple[str, float], ...]
    untold: tuple[str, ...]


def conclude(fits: Sequence[Fit], believed: str) -> Verdict:
    """The verdict on a panel that is taken to be in the state `believed`, one of `fits`."""
    own = next((fit for fit in fits if fit.state == believed), None)
    if own is None:
        raise InputError(
            f"there is no state {believed!r}", where="check.state", allowed=", ".join(f.state for f in fits)
        )
    top = max(fit.posterior.evidence for fit in fits)
    likely = [math.exp(fit.posterior.evidence - top) for fit in fits]
    shares = tuple((fit.state, w / sum(likely)) for fit, w in zip(fits, likely, strict=True))
    untold = tuple(_untold(told) for told in own.posterior.told if not told.informed)
    best = max(fits, key=lambda fit: fit.posterior.evidence)
    alike = [fit.state for fit, w in zip(fits, likely, strict=True) if w * BARE >= 1.0]
    if not any(fit.fits for fit in fits):
        sentence = (
            "The readings fit no state of the model: check gauges, weights, places and fixings, and take them again."
        )
    elif not own.fits or believed not in alike:
        against = math.exp(min(top - own.posterior.evidence, 50.0))
        sentence = (
            f"The panel does not bend like {_named(believed)}: {_named(best.state)} fits {_times(against)} "
            f"better{_size(best)}."
        )
    else:
        sentence = f"{_stiffness(own)}{_apart(alike)}."
    return Verdict(sentence, shares, untold)


def _stiffness(own: Fit) -> str:
    p = own.posterior
    _, low, high = (factor / own.expected for factor in p.softness)
    before = (p.softness_before[1] - p.softness_before[0]) / own.expected
    if high - low > UNINFORMED * before:
        return "The readings cannot tell how stiff the panel is: their scatter is as wide as what was known before"
    says = f"the model says for {_named(own.state)}"
    off = max(high - 1.0, 1.0 - low)
    if low <= 1.0 <= high or off <= CLOSE:
        return f"As stiff as {says}, within ±{_percent(off)}{_size(own)}"
    ends = (low - 1.0, high - 1.0) if low > 1.0 else (1.0 - high, 1.0 - low)
    word = "Softer" if low > 1.0 else "Stiffer"
    return f"{word} than {says}, by {_range(100 * ends[0], 100 * ends[1])} %{_size(own)}"


def _size(fit: Fit) -> str:
    told = fit.posterior.of("damage size")
    if told is None:
        return ""
    if not told.informed:
        return ", which says nothing about the size of the damage"
    return f", as by a damage of {_range(1e3 * told.low, 1e3 * told.high)} mm"


def _apart(alike: Sequence[str]) -> str:
    if len(alike) < 2:
        return ""
    return f"; the readings cannot tell between {', '.join(map(_named, alike[:-1]))} and {_named(alike[-1])}"


def _named(state: str) -> str:
    return {"undamaged": "the undamaged panel", "as found": "the panel as found"}.get(state, f"option “{state}”")


def _times(factor: float) -> str:
    """A factor of evidence in words.

    >>> _times(4.3), _times(1e9)
    ('4.3 times', 'over 1000 times')
    """
    return f"{number(factor, 2)} times" if factor <= 1000.0 else "over 1000 times"


def _untold(told: Told) -> str:
    before = [_value(told, end) for end in told.before]
    return (
        f"{told.unknown}: still anywhere from {before[0]} to {before[1]} ({number(100 * told.share, 2)} % of what was "
        "open before)"
    )


def _value(told: Told, value: float) -> str:
    """A size in mm, a stiffness as a factor on the model's."""
    return f"{number(1e3 * value)} mm" if told.unknown == "damage size" else f"×{number(value)}"


def shown(told: Told) -> tuple[str, str, str]:
    """Median, interval and the interval before, as printed."""
    return (
        _value(told, told.median),
        f"{_value(told, told.low)} to {_value(told, told.high)}",
        f"{_value(told, told.before[0])} to {_value(told, told.before[1])}",
    )


def _percent(share: float) -> str:
    """A share in whole percent, rounded up, at least 1.

    >>> _percent(0.0412), _percent(0.0001)
    ('5 %', '1 %')
    """
    return f"{max(1, math.ceil(100 * share - 1e-9))} %"


def _range(low: float, high: float) -> str:
    """Two whole numbers, rounded apart.

    >>> _range(19.7, 30.2)
    '19–31'
    """
    return f"{math.floor(low + 1e-9)}–{math.ceil(high - 1e-9)}"
