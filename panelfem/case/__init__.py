"""Case files: read, checked and built.  The only place that knows TOML and the schema."""

from typing import TYPE_CHECKING

from panelfem.case.records import AssumedInput, Case, InputRow, Sweep

if TYPE_CHECKING:
    from panelfem.case.builder import build, load_case
    from panelfem.case.read import parse

__all__ = ["AssumedInput", "Case", "InputRow", "Sweep", "build", "load_case", "parse"]


def __getattr__(name: str) -> object:
    """The readers are imported when they are first asked for: they bring the validation and the mesher with
    them.
    """
    if name == "parse":
        from panelfem.case import read

        return read.parse
    if name in ("build", "load_case"):
        from panelfem.case import builder

        return getattr(builder, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
