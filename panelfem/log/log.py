"""The log as the rest of the program sees it: open, add, record, read a life."""

from __future__ import annotations

import difflib
import math
import sqlite3
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from panelfem.errors import InputError
from panelfem.log import assessed, moment
from panelfem.log.life import Entry, Finding, Life
from panelfem.log.store import connect, explained, insert, transaction

if TYPE_CHECKING:
    from panelfem.assess.records import Assessment, Declined

#: Kinds that are entered by hand; a finding and an assessment come with :meth:`Log.record`.
BY_HAND = ("strike", "repair", "mass", "decision", "note")


class Log:
    """An open log.  Made with :meth:`open`; closes itself at the end of a ``with``.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "log.db") as log:
    ...     number = log.add("lid 3", "strike", who="A. N.", words="exit kerb, lap 12", survived=True, new=True)
    ...     number, log.panels(), len(log.life("lid 3").survived)
    (1, ('lid 3',), 1)
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path, self._connection = path, connection

    @classmethod
    def open(cls, path: str | Path, *, only_read: bool = False) -> Log:
        """The log at `path`, made if it is not there.  Raises InputError if it cannot be used (or written, unless
        `only_read`).
        """
        file = Path(path)
        return cls(file, connect(file, only_read))

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def __enter__(self) -> Log:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def panels(self) -> tuple[str, ...]:
        """Names of all panels, in the order they were first entered."""
        with explained(self.path):
            return tuple(name for (name,) in self._connection.execute("SELECT name FROM panel ORDER BY id"))

    def add(
        self,
        panel: str,
        kind: str,
        *,
        who: str,
        words: str = "",
        at: str | None = None,
        about: int | None = None,
        mass: float | None = None,
        survived: bool | None = None,
        new: bool = False,
    ) -> int:
        """Add an entry of a kind in `BY_HAND` and return its number, once it is on the disk.

        `at`: text with its zone, None for now; `mass` kg; see :class:`Entry`.  `new`: this begins a panel, else it must
        be there.  Raises InputError for what does not belong to the kind, and if it cannot be written.
        """
        _right(kind, words, mass, survived)
        with explained(self.path), transaction(self._connection):
            known = self._number(panel)
            if known is None and not new:
                raise self._unknown(panel)
            if known is not None and new:
                raise InputError("the panel is in the log already", where=_plain(panel), do="leave out --new")
            number = self._begin(panel) if known is None else known
            return self._enter(number, kind, who, words, at, about=about, mass=mass, survived=survived)

    def record(
        self,
        found: Assessment | Declined,
        *,
        who: str,
        finding: Finding | None = None,
        panel: str | None = None,
        at: str | None = None,
    ) -> int:
        """Log an assessment, and what was found before it, in one piece; returns the number of the assessment's entry.

        `panel`: the part's own name or number, where there are several alike; else the case's.  A panel that is not
        there yet is begun.  Raises InputError if it cannot be written.
        """
        name = panel if panel is not None else found.panel
        with explained(self.path), transaction(self._connection):
            known = self._number(name)
            number = self._begin(name) if known is None else known
            about = None
            if finding is not None:
                about = self._enter(number, "finding", who, finding.words, finding.at or at, document=finding.document)
            entry = self._enter(number, "assessment", who, assessed.title(found), at, about=about)
            assessed.write(self._connection, entry, assessed.judged(found))
            return entry

    def life(self, panel: str) -> Life:
        """All that is known of a panel.  Raises InputError if the log does not know it."""
        with explained(self.path):
            self._connection.execute("BEGIN")  # everything as of one moment
            try:
                number = self._number(panel)
                if number is None:
                    raise self._unknown(panel)
                entries = tuple(
                    replace(Entry(*row), survived=None if row[8] is None else bool(row[8]))
                    for row in self._connection.execute(
                        "SELECT id, kind, at, written, who, words, about, mass_kg, survived, document FROM entry "
                        "WHERE panel = ? ORDER BY at, id",
                        (number,),
                    )
                )
                judged = {
                    e.number: assessed.read(self._connection, e.number) for e in entries if e.kind == "assessment"
                }
            finally:
                self._connection.execute("ROLLBACK")
        return Life(panel, entries, judged)

    # ---- within a transaction

    def _number(self, panel: str) -> int | None:
        row = self._connection.execute("SELECT id FROM panel WHERE name = ?", (panel,)).fetchone()
        return None if row is None else int(row[0])

    def _begin(self, panel: str) -> int:
        if not panel.strip():
            raise InputError("the panel has no name", do="name it")
        return insert(self._connection, "panel", name=panel)

    def _unknown(self, panel: str) -> InputError:
        names = self.panels()
        near = difflib.get_close_matches(panel[:200], [n[:200] for n in names], n=1, cutoff=0.4)
        what = f"write {_plain(near[0])}, if that is what is meant; " if near else ""
        return InputError(
            "the log does not know the panel",
            where=_plain(panel),
            allowed=", ".join(_plain(n) for n in names[:8]) + (", …" if len(names) > 8 else "") or "none so far",
            do=f"{what}--new with --add begins a panel",
        )

    def _enter(
        self,
        panel: int,
        kind: str,
        who: str,
        words: str,
        at: str | None,
        *,
        about: int | None = None,
        mass: float | None = None,
        survived: bool | None = None,
        document: str | None = None,
    ) -> int:
        if not who.strip():
            raise InputError("nobody is named for the entry", where="who", do="say who with --by")
        if about is not None:
            known = 0 < about < 2**63  # what SQLite can number
            row = self._connection.execute("SELECT panel FROM entry WHERE id = ?", (about if known else 0,)).fetchone()
            if row is None or row[0] != panel:
                raise InputError(
                    f"the panel has no entry {about}", where="about", do="take the number from the panel's life"
                )
        written = moment.now()
        return insert(
            self._connection,
            "entry",
            panel=panel,
            kind=kind,
            at=written if at is None else moment.entered(at),
            written=written,
            who=who,
            words=words,
            about=about,
            mass_kg=mass,
            survived=survived,
            document=document or None,
        )


def _plain(name: str) -> str:
    """A name for a message: quoted, short, without control characters."""
    return repr(name if len(name) <= 60 else f"{name[:59]}…")


def _right(kind: str, words: str, mass: float | None, survived: bool | None) -> None:
    """Raises InputError for what does not belong to a kind of entry, or is missing from it."""
    if kind not in BY_HAND:
        raise InputError(f"there is no entry of kind {kind!r}", where="--add", allowed=", ".join(BY_HAND))
    if mass is not None and kind not in ("mass", "repair"):
        raise InputError(f"a {kind} has no mass", where="--grams", allowed="mass, repair", do="leave it out")
    if survived is not None and kind != "strike":
        raise InputError(f"a {kind} is not survived", where="--survived", allowed="strike", do="leave it out")
    if kind == "mass":
        if mass is None or not (math.isfinite(mass) and 0 < mass <= 1000):
            raise InputError("a mass reading needs the mass", where="--grams", allowed="more than 0, up to 1000000 g")
    elif not words.strip():
        raise InputError(f"a {kind} needs words", where="--words", do="say what happened, where, on which lap")
    if mass is not None and not (math.isfinite(mass) and abs(mass) <= 1000):
        raise InputError("the mass added is out of range", where="--grams", allowed="-1000000 to 1000000 g")
