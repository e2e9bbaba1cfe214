"""The full check of a journal that is in use: all of it read, a table at a time.

SQLite's integrity check holds the order of every row and index against each other, and reads the
whole file. It is done over connections that can only read, which hold up no writer, one for each
table: between two of them the write-ahead log can be cut back, and whoever checks may rest, so that
a slow board keeps most of its processor and its card for what matters.

It does not hold the text of the schema against anything: a flipped bit in it gives a column
another name, and SQLite finds nothing wrong. So each table's columns are held against those that
it has had.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

from fermd.journal.readonly import connect_to_read
from fermd.journal.schema import ALL_TABLES
from fermd.journal.shapes import is_known

MOST_FAULTS: Final = 5
"""So many are told; the rest is alike."""


def full_check(
    path: Path, rest: Callable[[], None] = lambda: None, most: int = MOST_FAULTS
) -> list[str]:
    """What is wrong with a journal, at most so many faults; empty if all is well.

    Each begins with the table's name and a colon. Calls `rest` after each table. Raises
    sqlite3.Error if the file cannot be opened at all.
    """
    faults: list[str] = []
    for table in ALL_TABLES:
        with closing(connect_to_read(path)) as connection:
            faults += _faults_of(connection, table)
        if len(faults) >= most:
            break
        rest()
    return faults[:most]


def _faults_of(connection: sqlite3.Connection, table: str) -> list[str]:
    try:
        (there,) = connection.execute(
            "SELECT count(*) FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
        if not there:
            # Of an older version, which the daemon brings up to date when it opens it.
            return []
        if not known_key(connection, table):
            return [f"{table}: its columns are not those that fermd made"]
        said = connection.execute(f"PRAGMA integrity_check({table})").fetchone()
    except sqlite3.DatabaseError as error:
        return [f"{table}: {(str(error).splitlines() or ['?'])[0]}"]
    return [] if said == ("ok",) else [f"{table}: {_one_line(said[0])}"]


def known_key(connection: sqlite3.Connection, table: str) -> list[str]:
    """Return the names of the columns that a table's rows are ordered by.

    Empty if its columns are not as any version of fermd made them. Raises sqlite3.Error.
    """
    told = connection.execute("SELECT name, pk FROM pragma_table_info(?)", (table,)).fetchall()
    key = [name for _, name in sorted((place, name) for name, place in told if place)]
    return key if is_known(table, [name for name, _ in told], key) else []


def _one_line(text: str) -> str:
    return " ".join(str(text).replace("***", "").split())
