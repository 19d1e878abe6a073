"""The prepared library: panels, cars, circuits and kits, and how a finding and they become a case."""

from typing import TYPE_CHECKING

from panelfem.garage.records import Composed, Step

if TYPE_CHECKING:
    from panelfem.garage.composition import compose
    from panelfem.garage.library import Library
    from panelfem.garage.undamaged import Undamaged, cached

__all__ = ["Composed", "Library", "Step", "Undamaged", "cached", "compose"]

_HOME = {"Library": "library", "compose": "composition", "Undamaged": "undamaged", "cached": "undamaged"}


def __getattr__(name: str) -> object:
    """The readers are imported when they are first asked for: they bring the validation with them."""
    from importlib import import_module

    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"panelfem.garage.{_HOME[name]}"), name)
