"""Damage turns one panel record into another; what is not known is bracketed by its ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from panelfem.damage.kind import Covering, Damage, FasteningDamage
from panelfem.panel import Panel

_MIXED = ("damage at its stiff end", "damage at its soft end")
_FIXINGS = ("fixings at their stiff end", "fixings at their soft end")


def ends(damage: Sequence[Damage]) -> tuple[str, ...]:
    """Names of the states to be analysed: both ends of the bracket on areas, times both of the bracket on fixings.

    All areas are at one end together, and so are all fixings.

    >>> ends(())
    ('as measured',)
    """
    groups = [words for _, words in _brackets(damage)]
    return tuple(", ".join(parts) for parts in product(*groups)) if groups else ("as measured",)


def damaged(panel: Panel, damage: Sequence[Damage], end: str = "as measured") -> Panel:
    """The panel with the damage; `end` is one of :func:`ends`, without it the first.

    Raises InputError for what the panel cannot have: a fixing that is not there, an interface that is not.
    """
    names, groups = ends(damage), [kind for kind, _ in _brackets(damage)]
    at = names.index(end) if end in names else 0
    soft = {kind: bool(at >> shift & 1) for shift, kind in enumerate(reversed(groups))}
    for found in sorted(damage, key=lambda d: not isinstance(d, Covering)):  # what was there before comes first
        panel = found.applied(panel, soft.get(isinstance(found, FasteningDamage), False))
    return panel


def _brackets(damage: Sequence[Damage]) -> Iterator[tuple[bool, tuple[str, str]]]:
    """Whether of fixings, and the names of the ends: of areas, then of fixings, where there are any."""
    for fixings in (False, True):
        group = [d for d in damage if isinstance(d, FasteningDamage) is fixings]
        words = list(dict.fromkeys(d.bracket for d in group if d.bracket is not None))
        if words:
            yield fixings, words[0] if len(words) == 1 else (_FIXINGS if fixings else _MIXED)
