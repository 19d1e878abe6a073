"""``panelfem smallest``: the lightest and the quickest bonded repair that is sufficient."""

from __future__ import annotations

from argparse import Namespace

from rich.text import Text

HEADS = ("Repair", "Adds", "Time", "Factor over asked, linear look", "Assessed in full", "Governs in the look")


def run(chosen: Namespace) -> int:
    """Search, write the report and the trade, and say what was found."""
    from panelfem.report.folder import prepare, put

    folder = prepare(chosen.out)
    from panelfem import report
    from panelfem.assess.smallest import smallest
    from panelfem.cli.assess import PAPERS, show_path
    from panelfem.cli.console import out, show, stages, table
    from panelfem.papers.files import clear
    from panelfem.report import trade

    with stages(chosen.quiet) as tell:
        found = smallest(
            chosen.case, chosen.option, chosen.overlaps, chosen.most_plies, chosen.ply_minutes, tell,
            scarf_ratios=chosen.scarf_ratios, steps=chosen.steps, taper_minutes=chosen.taper_minutes,
        )  # fmt: skip
        tell("writing the report", 1.0)
        clear(folder / PAPERS)
        pages = report.write(found.assessment, folder)
        put(folder, "smallest.json", trade.document(found).encode())
        drawn = put(folder, "trade.png", trade.picture(found))
    console = out()
    show(console, table(HEADS, trade.rows(found)))
    for sentence in trade.sentences(found):
        show(console, Text(sentence))
    show_path("Trade:", drawn)
    show_path("Report:", pages[-1])
    return 0
