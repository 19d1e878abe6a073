"""Damage: what was found, and what it makes of the panel."""

from panelfem.damage.apply import damaged, ends
from panelfem.damage.kind import AreaDamage, Damage, FasteningDamage
from panelfem.damage.kinds import KINDS
from panelfem.damage.kinds.delamination import Delamination
from panelfem.damage.kinds.earlier_repair import EarlierRepair
from panelfem.damage.kinds.hole import Hole
from panelfem.damage.kinds.missing_fastener import MissingFastener
from panelfem.damage.kinds.softened import SOFT, STIFF, Softened

__all__ = [
    "KINDS", "SOFT", "STIFF", "AreaDamage", "Damage", "Delamination", "EarlierRepair", "FasteningDamage", "Hole",
    "MissingFastener", "Softened", "damaged", "ends",
]  # fmt: skip
