"""``panelfem assess``: from a case file to a report."""

from __future__ import annotations

from argparse import Namespace

from rich.text import Text


def run(chosen: Namespace) -> int:
    """Assess, write, and print the table and the sentence."""
    from panelfem.report.folder import prepare

    # before minutes are spent: a folder that cannot be used, and a case that cannot be read
    folder = prepare(chosen.out)
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
    return 0
