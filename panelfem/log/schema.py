"""The tables of the log, and what marks a file as one.

Masses in kg, times as text in UTC, inputs as the sha256 of the case; factors are on a load's own parameter, NULL where
there is none (reached at zero load) or a bar was not estimated.  Triggers refuse every change and every removal, also
the one hidden in INSERT OR REPLACE.  They guard against mistakes, not against a person set on forging.
"""

from __future__ import annotations

import sqlite3
from functools import cache

#: "pfl1" as a number: SQLite's field for the kind of document a file is.
APPLICATION = 0x70666C31
#: Version of the tables; a file of a newer one is refused.
VERSION = 1

KINDS = ("strike", "finding", "assessment", "repair", "mass", "decision", "note")

#: table -> (definition, what no two rows may share)
_TABLES = {
    "panel": ("id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE CHECK (name <> '')", ("id", "name")),
    "entry": (
        "id INTEGER PRIMARY KEY AUTOINCREMENT, panel INTEGER NOT NULL REFERENCES panel, "
        f"kind TEXT NOT NULL CHECK (kind IN {KINDS}), at TEXT NOT NULL, written TEXT NOT NULL, "
        "who TEXT NOT NULL CHECK (who <> ''), words TEXT NOT NULL, about INTEGER REFERENCES entry, mass_kg REAL, "
        "survived INTEGER CHECK (survived IN (0, 1)), document TEXT",
        ("id",),
    ),
    "assessment": (
        "entry INTEGER PRIMARY KEY REFERENCES entry, inputs TEXT NOT NULL, invented INTEGER NOT NULL, "
        "consequence TEXT NOT NULL, required REAL, recommendation TEXT, reason TEXT NOT NULL, "
        "conditions TEXT NOT NULL, version TEXT NOT NULL",
        ("entry",),
    ),
    "verdict": (
        "entry INTEGER NOT NULL REFERENCES assessment, place INTEGER NOT NULL, configuration TEXT NOT NULL, "
        "kind TEXT NOT NULL, outcome TEXT NOT NULL, load TEXT NOT NULL, factor REAL, low REAL, high REAL, "
        "reason TEXT NOT NULL, mass_kg REAL NOT NULL, minutes REAL NOT NULL, PRIMARY KEY (entry, place)",
        ("entry", "place"),
    ),
    "reserve": (
        "entry INTEGER NOT NULL, verdict INTEGER NOT NULL, place INTEGER NOT NULL, load TEXT NOT NULL, "
        "outcome TEXT NOT NULL, required REAL NOT NULL, factor REAL, bar REAL, status TEXT NOT NULL, "
        "mode TEXT NOT NULL, position TEXT NOT NULL, PRIMARY KEY (entry, verdict, place), "
        "FOREIGN KEY (entry, verdict) REFERENCES verdict",
        ("entry", "verdict", "place"),
    ),
}  # fmt: skip


def statements() -> tuple[str, ...]:
    """The SQL that makes an empty log."""
    made = []
    refuse = "BEGIN SELECT RAISE(ABORT, 'entries of the log are never changed or removed'); END"
    for table, (columns, unique) in _TABLES.items():
        made.append(f"CREATE TABLE {table} ({columns})")
        # a row that is there already: each of the columns of `panel` alone, those of the others together
        joint = " OR " if table == "panel" else " AND "
        same = joint.join(f"{column} = NEW.{column}" for column in unique)
        made.append(f"CREATE TRIGGER {table}_unchanged BEFORE UPDATE ON {table} {refuse}")
        made.append(f"CREATE TRIGGER {table}_kept BEFORE DELETE ON {table} {refuse}")
        made.append(
            f"CREATE TRIGGER {table}_once BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) {refuse}"
        )
    made.append("CREATE INDEX entry_of_panel ON entry (panel)")
    return tuple(made)


def make(connection: sqlite3.Connection) -> None:
    """Make the tables and mark the file, within the transaction that is open: all of it or nothing."""
    for statement in statements():
        connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION}")
    connection.execute(f"PRAGMA user_version = {VERSION}")


def shape(connection: sqlite3.Connection) -> tuple[str, ...]:
    """What tables, triggers and indices a file has, as SQL."""
    rows = connection.execute("SELECT sql FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY sql")
    return tuple(str(sql) for (sql,) in rows)


@cache
def expected() -> tuple[str, ...]:
    """What a log of this version has."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        make(connection)
        return shape(connection)
    finally:
        connection.close()
