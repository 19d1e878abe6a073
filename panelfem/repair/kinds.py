"""The kinds of repair: what a case calls each, the record it becomes, and how pictures mark it."""

from __future__ import annotations

from dataclasses import dataclass

from panelfem.marks import Mark
from panelfem.patching import PatchRepair
from panelfem.repair.records import Action, Insert, NoCredit, Refit, ScarfRepair, Spare, Tape


@dataclass(frozen=True)
class Kind:
    """The `record` of a kind, and its `mark`."""

    record: type[Action]
    mark: Mark


#: What a kind is called -> what it is; the variants of a record are kinds of their own.
KINDS: dict[str, Kind] = {
    "patch": Kind(PatchRepair, Mark("//", "--")),
    "two-sided patch": Kind(PatchRepair, Mark("xx", "--")),
    "doubler": Kind(PatchRepair, Mark("--", "--")),
    "core plug": Kind(PatchRepair, Mark("oo", "--")),
    "scarf patch": Kind(ScarfRepair, Mark("||", "-.")),
    "stepped patch": Kind(ScarfRepair, Mark("++", "-.")),
    "oversize insert": Kind(Insert, Mark(symbol="s")),
    "re-potted insert": Kind(Insert, Mark(symbol="h")),
    "resin injection": Kind(NoCredit, Mark("...", ":")),
    "stop-drilling": Kind(NoCredit, Mark("O", ":")),
    "tape": Kind(Tape, Mark("\\", ":")),
    "refit": Kind(Refit, Mark(symbol=".")),
    "spare": Kind(Spare, Mark(line="-.")),
}


def word_of(action: Action) -> str:
    """What the kind of an action is called.

    >>> word_of(Insert("I", "F1", "oversize", None, None, 1.0, 1.0)), word_of(NoCredit("N", "stop-drilling", "C"))
    ('oversize insert', 'stop-drilling')
    """
    match action:
        case PatchRepair(both_sides=True):
            return "two-sided patch"
        case PatchRepair(plug=None):
            return "doubler" if action.precured else "patch"
        case PatchRepair():
            return "core plug"
        case ScarfRepair():
            return "scarf patch" if action.step is None else "stepped patch"
        case Insert():
            return f"{action.method} insert"
        case NoCredit():
            return action.what
    return next(word for word, kind in KINDS.items() if kind.record is type(action))
