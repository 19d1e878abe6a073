"""The command line.  Only argparse is imported until a command runs, so that help answers at once."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from panelfem.cli.parser import build_parser
from panelfem.errors import PanelfemError

__all__ = ["build_parser", "main"]

OK, FAILED, REFUSED, INTERRUPTED = 0, 1, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code.

    0: done (whatever the outcome of the assessment); 1: a check of ``verify`` failed; 2: the input, the folder or
    the disk is at fault, with one message on stderr; 130: interrupted.
    """
    parser = build_parser()
    chosen = parser.parse_args(arguments)
    command = getattr(chosen, "command", None)
    if command is None:
        parser.print_help()
        return OK
    try:
        code = _run(command, chosen)
        sys.stdout.flush()
        return code
    except PanelfemError as error:
        return _say(str(error), REFUSED)
    except BrokenPipeError:
        # whoever read our output has gone: nothing is wrong, and nothing more can be said
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        return _say(
            f"{error.strerror or error}{where}. Do: check the path, the permission and the room on the disk.", REFUSED
        )
    except KeyboardInterrupt:
        return _say("interrupted; what was not finished was not written", INTERRUPTED)


def _run(command: str, chosen: object) -> int:
    from argparse import Namespace
    from importlib import import_module

    assert isinstance(chosen, Namespace)
    code = import_module(f"panelfem.cli.{command}").run(chosen)
    assert isinstance(code, int)
    return code


def _say(message: str, code: int) -> int:
    print(f"panelfem: {message}", file=sys.stderr)
    return code
