"""The error tree.  Every message says what is wrong, where, what is allowed and what to do.

    PanelfemError
    ├── InputError        something the user wrote cannot be used
    │   ├── CaseError     faults of a case file, all of them, each with its path
    │   ├── StackError    a stacking sequence that cannot be read
    │   └── MeshError     a surface that cannot be meshed or is not one surface
    └── ModelError        the model has no single answer (a panel free to move, a singular matrix)
        └── PathEndsError      no equilibrium was found beyond a factor on the load

The command line turns any of them into one message and exit code 2.
"""

from __future__ import annotations

from dataclasses import dataclass


class PanelfemError(Exception):
    """Base of all errors raised on purpose.

    >>> print(PanelfemError("radius is negative", where="hole 'H1'", allowed="0.5 to 500 mm", do="measure it again"))
    radius is negative (hole 'H1'). Allowed: 0.5 to 500 mm. Do: measure it again.
    """

    def __init__(self, what: str, *, where: str = "", allowed: str = "", do: str = "") -> None:
        self.what, self.where, self.allowed, self.do = what, where, allowed, do
        text = f"{what} ({where})" if where else what
        if allowed:
            text += f". Allowed: {allowed}"
        if do:
            text += f". Do: {do}"
        super().__init__(text + ("." if not text.endswith(".") else ""))


class InputError(PanelfemError):
    """Something the user gave cannot be used."""


class StackError(InputError):
    """A stacking sequence cannot be read."""


class MeshError(InputError):
    """A surface cannot be meshed, or is not one clean surface."""


class ModelError(PanelfemError):
    """The model has no single answer."""


class PathEndsError(ModelError):
    """An equilibrium path ends at `factor` on the load; `snaps`: it is known to turn back there."""

    def __init__(self, factor: float, snaps: bool, why: str) -> None:
        self.factor, self.snaps, self.why = factor, snaps, why
        super().__init__(
            f"no equilibrium beyond {factor:.3g} of the load: {why}",
            where="large deflection",
            do="expect the panel to give way there, or hold it better",
        )


@dataclass(frozen=True)
class Fault:
    """One fault of a case file: where (a dotted path), what, what is allowed, what to do."""

    path: str
    what: str
    allowed: str = ""
    do: str = ""

    def __str__(self) -> str:
        return str(PanelfemError(self.what, where=self.path, allowed=self.allowed, do=self.do))


class CaseError(InputError):
    """All faults of a case file at once.

    >>> print(CaseError("corner.toml", (Fault("loads[0].force_N", "is missing"),)))
    corner.toml: 1 fault
      1. is missing (loads[0].force_N).
    """

    def __init__(self, file: str, faults: tuple[Fault, ...]) -> None:
        self.file, self.faults = file, faults
        super().__init__(file)

    def __str__(self) -> str:
        n = len(self.faults)
        lines = [f"{self.file}: {n} fault{'' if n == 1 else 's'}"]
        return "\n".join(lines + [f"  {i}. {fault}" for i, fault in enumerate(self.faults, 1)])
