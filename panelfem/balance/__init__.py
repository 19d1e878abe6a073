"""Mass and balance of the car: what a repair adds and where, and the ballast that restores both.  Statics only."""

from panelfem.balance.ballast import Ballast, Move, Remainder, restore
from panelfem.balance.body import Body, Car, Station, changed, placed, together

__all__ = ["Ballast", "Body", "Car", "Move", "Remainder", "Station", "changed", "placed", "restore", "together"]
