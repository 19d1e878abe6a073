"""Damage: what was found, and what it makes of the panel."""

from panelfem.damage.apply import SOFT, STIFF, damaged, ends
from panelfem.damage.records import Damage, Delamination, Hole, MissingFastener, Softened

__all__ = ["SOFT", "STIFF", "Damage", "Delamination", "Hole", "MissingFastener", "Softened", "damaged", "ends"]
