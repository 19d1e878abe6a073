"""Repairs on offer, and what they make of the panel."""

from panelfem.repair.apply import cut, repaired
from panelfem.repair.records import Action, Option, PatchRepair, Refit, Spare, Tape

__all__ = ["Action", "Option", "PatchRepair", "Refit", "Spare", "Tape", "cut", "repaired"]
