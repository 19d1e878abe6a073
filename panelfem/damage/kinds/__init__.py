"""The kinds of damage, one module each; a module put here is found by itself."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator

from panelfem.damage.kind import Damage


def _records() -> Iterator[type[Damage]]:
    for found in sorted(pkgutil.iter_modules(__path__), key=lambda m: m.name):
        module = importlib.import_module(f"{__name__}.{found.name}")
        for value in vars(module).values():
            if isinstance(value, type) and issubclass(value, Damage) and "word" in vars(value):
                yield value


#: What a case calls a kind -> its record.
KINDS: dict[str, type[Damage]] = {record.word: record for record in dict.fromkeys(_records())}
