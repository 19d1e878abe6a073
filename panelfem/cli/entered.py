"""Where a command that assesses keeps what it found: the options --log, --by and --part."""

from __future__ import annotations

from argparse import Namespace
from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING

from panelfem.errors import InputError

if TYPE_CHECKING:
    from panelfem.log import Log


def opened(chosen: Namespace) -> AbstractContextManager[Log | None]:
    """The log that was asked for, open and fit to be written, before minutes are spent; None if none was.

    Raises InputError if it cannot be used, or nobody is named.
    """
    if chosen.log is None:
        for option in ("by", "part"):
            if getattr(chosen, option) is not None:
                raise InputError(f"--{option} goes with a log", where=f"--{option}", do="name the log with --log")
        return nullcontext()
    if not (chosen.by or "").strip():
        raise InputError("nobody is named for the log", where="--log", do="say who with --by")
    if chosen.part is not None and not chosen.part.strip():
        raise InputError("the part has no name", where="--part", do="name it, or leave --part out")
    from panelfem.log import Log

    return Log.open(chosen.log)
