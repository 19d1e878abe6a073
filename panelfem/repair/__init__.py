"""Repairs on offer, and what they make of the panel."""

from panelfem.laminate.skins import near_skin
from panelfem.patching import PatchRepair
from panelfem.repair.apply import cut, repaired
from panelfem.repair.half import loose_half
from panelfem.repair.kinds import KINDS, word_of
from panelfem.repair.records import (
    Action,
    Bonded,
    Insert,
    NoCredit,
    Option,
    Refit,
    ScarfRepair,
    Spare,
    Tape,
)
from panelfem.repair.step import StepHeight, step_height

__all__ = [
    "KINDS",
    "Action",
    "Bonded",
    "Insert",
    "NoCredit",
    "Option",
    "PatchRepair",
    "Refit",
    "ScarfRepair",
    "Spare",
    "StepHeight",
    "Tape",
    "cut",
    "loose_half",
    "near_skin",
    "repaired",
    "step_height",
    "word_of",
]
