"""``panelfem assess``: from a case file to a report."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

if TYPE_CHECKING:
    from panelfem.log import Log


def run(chosen: Namespace) -> int:
    """Assess, write, enter in the log, and print the table and the sentence."""
    from panelfem.cli.entered import opened
    from panelfem.report.folder import prepare

    # before minutes are spent: a folder or a log that cannot be used, and a case that cannot be read
    folder = prepare(chosen.out)
    with opened(chosen) as log:
        return _assess(chosen, folder, log)


def _assess(chosen: Namespace, folder: Path, log: Log | None) -> int:
    from panelfem.case import load_case
    from panelfem.cli.console import out, show, stages

    with stages(chosen.quiet) as tell:
        tell("reading the case and meshing", 0.0)
        case = load_case(chosen.case)
        from panelfem.assess import assess

        found = assess(case, tell)
        tell("writing the report", 1.0)
        from panelfem import report

        paths = report.write(found, folder)
    from panelfem.assess.records import Declined

    console = out()
    if isinstance(found, Declined):
        from panelfem.report.wording import declined_sentence

        show(console, Text(declined_sentence(found)))
    else:
        from panelfem.cli.summary import summary

        for part in summary(found):
            show(console, part)
    show(console, Text(f"Report: {paths[-1]}"))
    if log is not None:
        entry = log.record(found, who=chosen.by, panel=chosen.part)
        show(console, Text(f"Log: entry {entry} in {chosen.log}"))
    return 0
