"""How pictures mark a kind of damage or repair, so that it is told apart without colour."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mark:
    """Of an area its `hatch`, of ``/ \\ | - + x o O . *``, once or denser, and its `line`, ``- -- -. :``; of a fixing
    the `symbol` in its ring, as :mod:`matplotlib.markers` call it; with neither symbol nor area: the line of the rim.
    """

    hatch: str = ""
    line: str = "-"
    symbol: str = ""
