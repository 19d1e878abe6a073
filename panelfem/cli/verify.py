"""``panelfem verify``: every check, printed; exit code 1 if one fails."""

from __future__ import annotations

import sys
from argparse import Namespace

from panelfem.errors import InputError


def run(chosen: Namespace) -> int:
    """Run the checks of the topics asked for, all without one."""
    from panelfem.verify import GROUPS, rows, table

    topics = tuple(dict.fromkeys(chosen.topic or GROUPS))
    unknown = [t for t in topics if t not in GROUPS]
    if unknown:
        raise InputError(f"topic '{unknown[0]}' is unknown", where="--topic", allowed=", ".join(GROUPS))
    found = []
    for topic in topics:
        if sys.stderr.isatty():
            print(f"{topic} …", file=sys.stderr)
        found += list(rows(topic))
    print(table(found))
    return 0 if found and all(row.passed for row in found) else 1
