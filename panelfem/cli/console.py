"""What is printed: tables on stdout, progress on stderr; plain text where nobody looks."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from shutil import get_terminal_size

from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

#: Width of a table written to a file or a pipe, in characters.
PIPE_WIDTH = 180


def out() -> Console:
    """The console for results: as wide as the terminal, or `PIPE_WIDTH`."""
    width = get_terminal_size().columns if sys.stdout.isatty() else PIPE_WIDTH
    return Console(file=sys.stdout, width=width, highlight=False, markup=False, emoji=False)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], title: str = "", right: Sequence[int] = ()) -> Table:
    """A table of plain text cells; `right` numbers the columns set to the right."""
    made = Table(
        title=Text(title) if title else None, title_justify="left", header_style="bold", box=None, padding=(0, 2, 0, 0)
    )
    for i, head in enumerate(heads):
        made.add_column(Text(head), justify="right" if i in right else "left", overflow="fold", vertical="top")
    for row in rows:
        made.add_row(*(Text(cell) for cell in row))
    return made


def show(console: Console, part: RenderableType) -> None:
    """Print a part; a sentence is broken into lines only where somebody looks, never in a pipe or a file."""
    console.print(part, soft_wrap=isinstance(part, Text) and not sys.stdout.isatty())


def visible(text: str) -> str:
    """Text as it may be printed: what would move the cursor or turn the writing round is shown as an escape.

    >>> visible("lid\\x1b[2J"), visible("bodywork Ä")
    ('lid\\\\x1b[2J', 'bodywork Ä')
    """
    return "".join(
        c if unicodedata.category(c)[0] not in "CZ" or c == " " else c.encode("unicode_escape").decode() for c in text
    )


class Stages:
    """Told each stage and the share done; shows a bar on a terminal, and a line a stage elsewhere."""

    def __init__(self, bar: Progress | None, quiet: bool) -> None:
        self._bar, self._quiet, self._last = bar, quiet, ""
        self._task = bar.add_task("", total=1.0) if bar is not None else None

    def __call__(self, stage: str, share: float) -> None:
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=min(max(share, 0.0), 1.0), description=stage)
        elif not self._quiet and stage != self._last:
            print(f"{100 * min(max(share, 0.0), 1.0):3.0f} %  {stage}", file=sys.stderr, flush=True)
        self._last = stage


@contextmanager
def stages(quiet: bool) -> Iterator[Stages]:
    """Progress on stderr; nothing at all if `quiet`."""
    if quiet or not sys.stderr.isatty():
        yield Stages(None, quiet)
        return
    columns = (
        BarColumn(24),
        TextColumn("{task.percentage:3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True, highlight=False, emoji=False), transient=True) as bar:
        yield Stages(bar, quiet)
