"""The file behind the log: opened, checked, written in whole transactions, and every refusal in one clear message.

Journal: the rollback journal (DELETE) with synchronous = EXTRA.  A commit returns only when the pages, the journal and
the folder's entry for it are on the disk, so neither a killed process nor a lost battery takes back what was
acknowledged; what was not finished is undone when the file is next opened.  Write-ahead logging would be faster, but
keeps entries in a second file beside the log: one that is copied or sent alone would lack them.
Source: SQLite's documentation, "Atomic Commit In SQLite" and PRAGMA synchronous (recalled).
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from panelfem.errors import InputError
from panelfem.log import schema

#: How long a writer waits for another one, s.
PATIENCE = 15.0
#: What SQLite's files begin with, and where they keep the number of the application.
_MAGIC, _MARK = b"SQLite format 3\0", slice(68, 72)
_SAFE = "every entry acknowledged before is safe; this one was not written"


def connect(path: Path, only_read: bool) -> sqlite3.Connection:
    """A checked connection to the log at `path`; with `only_read` nothing is made and nothing need be writable.

    Raises InputError for a folder, a missing file or folder, a file that is not a log, one of a newer version, one that
    is damaged, and one that cannot be written.
    """
    _looked_at(path, only_read)
    with explained(path):
        mode = "rw" if only_read else "rwc"
        # an absolute URI: no name is special to SQLite then, not even :memory:
        uri = f"{path.absolute().as_uri()}?mode={mode}"
        connection = sqlite3.connect(uri, uri=True, timeout=PATIENCE, isolation_level=None)
        try:
            _settle(connection, path, only_read)
        except BaseException:
            connection.close()
            raise
    return connection


def _looked_at(path: Path, only_read: bool) -> None:
    """What can be told from the file system before SQLite is asked."""
    where = str(path)
    if "\0" in where:
        raise InputError("the name of the log has a zero character", where=repr(where), do="name another file")
    try:
        if path.is_dir():
            raise InputError("the log is a folder", where=where, allowed="a file", do="name a file in it")
        if not path.exists():
            if only_read:
                raise InputError("there is no such log", where=where, do="check the path")
            if not path.absolute().parent.is_dir():
                raise InputError(
                    f"there is no folder '{path.absolute().parent}' for the log", where=where, do="make the folder"
                )
        elif not path.is_file():
            raise InputError("the log is not a plain file", where=where, allowed="a file", do="name another file")
        elif not os.path.exists(f"{path}-journal"):  # with one the file may be half written, until SQLite undoes that
            with open(path, "rb") as stream:
                start = stream.read(_MARK.stop)
            if start and not (start.startswith(_MAGIC) and start[_MARK] == schema.APPLICATION.to_bytes(4, "big")):
                raise _foreign(path)
    except OSError as error:
        raise InputError(
            f"the log cannot be opened: {error.strerror or error}", where=where, do="check the path and the permission"
        ) from error


def _settle(connection: sqlite3.Connection, path: Path, only_read: bool) -> None:
    """Set the connection up, make the tables in a file that is empty, and check those of one that is not."""
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = EXTRA")
    if not _begun(connection):
        if only_read:
            raise InputError("the log is empty: nothing was entered yet", where=str(path), do="check the path")
        with transaction(connection):
            if not _begun(connection):  # another one may have been faster
                schema.make(connection)
    _checked(connection, path)
    if not only_read:
        connection.execute("PRAGMA journal_mode = DELETE")
        _tried(connection)


def _begun(connection: sqlite3.Connection) -> bool:
    """Whether there is anything in the file."""
    marked = connection.execute("PRAGMA application_id").fetchone() != (0,)
    return bool(marked or connection.execute("SELECT count(*) FROM sqlite_master").fetchone() != (0,))


def _tried(connection: sqlite3.Connection) -> None:
    """Write and take it back, which shows before minutes are spent that file and folder can be written."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute(f"PRAGMA user_version = {schema.VERSION}")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def _checked(connection: sqlite3.Connection, path: Path) -> None:
    (application,), (version,) = (
        connection.execute(f"PRAGMA {mark}").fetchone() for mark in ("application_id", "user_version")
    )
    if application != schema.APPLICATION:
        raise _foreign(path)
    if version > schema.VERSION:
        raise InputError(
            f"the log is of version {version}, written by a newer panelfem",
            where=str(path),
            allowed=f"up to version {schema.VERSION}",
            do="use the newer panelfem; nothing was changed",
        )
    damaged = connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok"
    if damaged or version < 1 or schema.shape(connection) != schema.expected() or _gaps(connection):
        what = "the file is damaged" if damaged else "another program has changed its tables or taken entries out"
        raise InputError(
            f"the log cannot be relied on: {what}", where=str(path), do="go back to a copy of it; nothing was changed"
        )


def _gaps(connection: sqlite3.Connection) -> bool:
    """Whether entries are missing: they are numbered from 1 without a gap."""
    count, last = connection.execute(
        "SELECT count(*), (SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry') FROM entry"
    ).fetchone()
    return bool(count != last)


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of what is done within, on the disk, or none of it; no other writer in between."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def insert(connection: sqlite3.Connection, table: str, **columns: object) -> int:
    """Add one row, and return its number."""
    marks = ", ".join("?" * len(columns))
    sql = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    number = connection.execute(sql, tuple(columns.values())).lastrowid
    assert number is not None
    return number


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Every refusal of SQLite as an InputError that says what is wrong and what is safe."""
    try:
        yield
    except sqlite3.Error as error:
        raise _explanation(error, path) from error
    except UnicodeEncodeError as error:
        raise InputError(
            "is not text: it has characters that no encoding can write", where=ascii(error.object), do="type it again"
        ) from error


def _explanation(error: sqlite3.Error, path: Path) -> InputError:
    where, name = str(path), str(getattr(error, "sqlite_errorname", ""))
    if name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        return InputError(f"the log is damaged: {error}", where=where, do="go back to a copy of it")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        what = f"another program has kept the log to itself for {PATIENCE:.0f} s; {_SAFE}"
        return InputError(what, where=where, do="let it finish or end it, and try again")
    if name.startswith("SQLITE_FULL"):
        return InputError(f"the disk is full; {_SAFE}", where=where, do="make room and try again")
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_AUTH")):
        half = os.path.exists(f"{where}-journal")
        what = "the log, or its folder, cannot be opened or written"
        what += (
            ", and a writer was stopped half way (the file beside it ending in -journal undoes that)" if half else ""
        )
        return InputError(what, where=where, do="check the permissions of the file and of its folder")
    if name.startswith("SQLITE_IOERR"):
        return InputError(f"the disk refuses ({error}); {_SAFE}", where=where, do="check the disk and the room on it")
    return InputError(f"the log refuses: {error}; {_SAFE}", where=where, do="check what was entered")


def _foreign(path: Path) -> InputError:
    return InputError(
        "the file is not a log of this tool; nothing was changed",
        where=str(path),
        allowed="a new file, or one that --log made",
        do="name another file",
    )
