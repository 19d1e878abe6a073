"""``panelfem assess``: from a case file to a report."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

if TYPE_CHECKING:
    from panelfem.assess.records import Assessment, Declined
    from panelfem.balance import Ballast
    from panelfem.case import Case
    from panelfem.cli.console import Stages

#: The papers of a repair lie in a folder of their own beside the report.
PAPERS = "papers"


def run(chosen: Namespace) -> int:
    """Assess, write, enter in the log, and print the table and the sentence."""
    from panelfem.cli.entered import opened
    from panelfem.report.folder import CASE, FINDING, prepare

    # before minutes are spent: a folder or a log that cannot be used, and a case that cannot be read
    folder = prepare(chosen.out)
    with opened(chosen) as log:
        from panelfem.cli.console import stages

        with stages(chosen.quiet) as tell:
            again = chosen.case.resolve() == (folder / CASE).resolve()
            _, found, paths = assessed(chosen.case, folder, tell, (FINDING, CASE, PAPERS) if again else ())
        show_found(found)
        show_path("Report:", paths[-1])
        if log is not None:
            entry = log.record(found, who=chosen.by, panel=chosen.part)
            show_path(f"Log: entry {entry} in", chosen.log)
    return 0


def assessed(
    file: Path,
    folder: Path,
    tell: Stages,
    keep: tuple[str, ...] = (),
    balance: Callable[[Assessment | Declined], Mapping[str, Ballast]] | None = None,
) -> tuple[Case, Assessment | Declined, tuple[Path, ...]]:
    """The case of a file, what is found, and the report's files; of an earlier result, what `keep` names stays.

    A provisional page one stands there until the report replaces it.  `balance` finds the ballast move for each
    configuration.
    """
    from panelfem.cli.console import visible

    tell("reading the case and meshing", 0.0)
    from panelfem.case import load_case

    case = load_case(file)
    from panelfem import report
    from panelfem.assess import assess
    from panelfem.papers.files import clear

    if PAPERS not in keep:
        clear(folder / PAPERS)

    def early(provisional: Assessment) -> None:
        page = report.write_early(provisional, folder, keep)
        tell(f"page one, PROVISIONAL: {visible(str(page))}", 0.0)

    found = assess(case, tell, early)
    tell("writing the report", 1.0)
    return case, found, report.write(found, folder, keep, balance(found) if balance is not None else {})


def show_found(found: Assessment | Declined, ballast: Mapping[str, Ballast] | None = None) -> None:
    """Print the table and the sentence; `ballast`: the move for each configuration, by its name."""
    from panelfem.assess.records import Declined
    from panelfem.cli.console import out, show

    console = out()
    if isinstance(found, Declined):
        from panelfem.report.wording import declined_sentence

        show(console, Text(declined_sentence(found)))
    else:
        from panelfem.cli.summary import summary

        for part in summary(found, ballast or {}):
            show(console, part)


def show_path(what: str, path: Path) -> None:
    """Print where something was written."""
    from panelfem.cli.console import out, show, visible

    show(out(), Text(f"{what} {visible(str(path))}"))
