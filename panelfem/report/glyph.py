"""The mark of an outcome: a panel-shaped figure that reads without colour, always beside its word.

Whole: meets; a corner taken off: meets with conditions; an empty outline with a question mark: cannot be told; an
outline struck through: does not meet.
"""

from __future__ import annotations

from panelfem.disposition.records import Outcome
from panelfem.report.markup import Markup, el

_PANEL = "M3 6 Q12 2 21 5 L20 18 Q12 21 4 19 Z"
_SHAPES = {
    Outcome.MEETS: f'<path class="full" d="{_PANEL}"/>',
    Outcome.MEETS_IF: (
        f'<path class="line" d="{_PANEL}"/><path class="full" d="M3 6 Q8 3.6 12.5 3.4 L20.4 12 L20 18 Q12 21 4 19 Z"/>'
    ),
    Outcome.CANNOT_TELL: f'<path class="dash" d="{_PANEL}"/><text x="12" y="16.6" text-anchor="middle">?</text>',
    Outcome.DOES_NOT: f'<path class="line" d="{_PANEL}"/><path class="line strike" d="M1.5 21.5 L22.5 2.5"/>',
}
#: The same for the terminal, in plain letters.
LETTERS = {
    Outcome.MEETS: "[##]",
    Outcome.MEETS_IF: "[#/]",
    Outcome.CANNOT_TELL: "[? ]",
    Outcome.DOES_NOT: "[--]",
}
_CLASSES = {
    Outcome.MEETS: "meets",
    Outcome.MEETS_IF: "meets-if",
    Outcome.CANNOT_TELL: "cannot",
    Outcome.DOES_NOT: "does-not",
}


def glyph(outcome: Outcome) -> Markup:
    """The mark as inline SVG, hidden from screen readers: the word beside it says the same."""
    return Markup(f'<svg class="glyph" viewBox="0 0 24 24" aria-hidden="true">{_SHAPES[outcome]}</svg>')


def badge(outcome: Outcome, large: bool = False) -> Markup:
    """Mark and word together."""
    cls = f"badge {_CLASSES[outcome]}" + (" large" if large else "")
    return el("span", glyph(outcome), el("span", outcome.value), cls=cls)


def css_class(outcome: Outcome) -> str:
    """The style class of an outcome."""
    return _CLASSES[outcome]
