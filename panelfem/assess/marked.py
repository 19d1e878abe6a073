"""What the pictures show of a case: its damage, and what each option does, each where it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from panelfem.arrays import BoolArray
from panelfem.assess.records import Marked
from panelfem.case import Case
from panelfem.damage import AreaDamage, FasteningDamage
from panelfem.repair import KINDS, Action, Insert, NoCredit, Refit, Spare, word_of


def marked(case: Case) -> tuple[Marked, ...]:
    """Every damage, then the actions of every option."""
    assert case.panel is not None
    inside = case.panel.mesh.inside
    found: list[Marked] = []
    areas: dict[str, BoolArray] = {}
    for d in case.damage:
        if isinstance(d, AreaDamage):
            areas[d.name] = inside[d.region]
        place = case.places[d.fastener] if isinstance(d, FasteningDamage) else None
        found.append(Marked(d.name, d.word, d.mark, inside=areas.get(d.name), place=place))
    return (*found, *_of_options(case, inside, areas))


def _of_options(case: Case, inside: Mapping[str, BoolArray], areas: Mapping[str, BoolArray]) -> Iterator[Marked]:
    for option in case.options:
        for action in option.actions:
            word = word_of(action)
            place = case.places[action.fastener] if isinstance(action, Refit | Insert) else None
            yield Marked(action.name, word, KINDS[word].mark, option.name, _area(action, inside, areas), place)


def _area(action: Action, inside: Mapping[str, BoolArray], areas: Mapping[str, BoolArray]) -> BoolArray | None:
    match action:
        case NoCredit(over=over):
            return areas[over]
        case Refit() | Insert() | Spare():
            return None
    return inside[action.region]
