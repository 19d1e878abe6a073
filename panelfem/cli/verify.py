"""``panelfem verify``: every check, printed and written if asked; exit code 1 if one fails or the bars do."""

from __future__ import annotations

import sys
from argparse import Namespace
from functools import partial
from pathlib import Path

from panelfem.errors import InputError


def run(chosen: Namespace) -> int:
    """Run the checks of the topics asked for, all of the tier without one."""
    from panelfem.verify import FULL_ONLY, GROUPS, Result, groups, rows, table

    full: bool = chosen.full
    topics = tuple(dict.fromkeys(chosen.topic or groups(full)))
    known = (*GROUPS, *FULL_ONLY)
    unknown = [t for t in topics if t not in known]
    if unknown:
        raise InputError(f"topic '{unknown[0]}' is unknown", where="--topic", allowed=", ".join(known))
    target = None if chosen.page is None else _writable(chosen.page)
    compute = partial(rows, full=True) if full else rows
    found = []
    for topic in topics:
        if sys.stderr.isatty():
            print(f"{topic} …", file=sys.stderr)
        found += list(compute(topic))
    print(table(found))
    if target is not None:
        from panelfem.verify.table import page

        _write(target, page(found, full))
    return 0 if Result(tuple(found)).passed else 1


def _writable(path: Path) -> Path:
    """The file to write; InputError at once, before the checks are run, if it cannot be or is something else."""
    from panelfem.verify.table import TITLE

    allowed = "a new file with the ending .md, or an older page of these checks, in a folder that is there"
    if path.suffix.lower() != ".md":
        raise InputError(f"'{path}' does not end in .md", where="--page", allowed=allowed)
    if not path.parent.is_dir():
        raise InputError(f"there is no folder '{path.parent}'", where="--page", allowed=allowed)
    if path.exists():
        try:
            ours = path.read_text(encoding="utf-8").startswith(TITLE)
        except (OSError, UnicodeDecodeError):
            ours = False
        if not ours:
            raise InputError(
                f"'{path}' is there already and is no page of these checks",
                where="--page",
                allowed=allowed,
                do="name another file",
            )
    return path


def _write(path: Path, text: str) -> None:
    """Write the page; InputError if the disk refuses."""
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(
            f"'{path}' cannot be written: {error.strerror or error}", where="--page", do="name another file"
        ) from error
