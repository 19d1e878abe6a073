"""``panelfem papers``: work card, templates, damage map and sign-off sheet of one option of a case."""

from __future__ import annotations

from argparse import Namespace

from rich.text import Text


def run(chosen: Namespace) -> int:
    """Write the papers and say where they are."""
    from panelfem.papers.files import ready

    folder = ready(chosen.out)
    from panelfem import papers
    from panelfem.case import load_case
    from panelfem.cli.console import out, show, stages

    with stages(chosen.quiet) as tell:
        tell("reading the case and meshing", 0.0)
        case = load_case(chosen.case)
        tell("drawing the papers", 0.5)
        paths = papers.write(case, chosen.option, folder, by=chosen.by, full_grid=chosen.full_grid)
    console = out()
    for path in paths:
        show(console, Text(str(path)))
    show(
        console,
        Text("Print at 100 % and measure the 100 mm bar before cutting. Not assessed here: see panelfem assess."),
    )
    return 0
