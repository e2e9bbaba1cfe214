"""Somebody who reads the journal from outside, all the time, and forgets nothing he has seen."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from threading import Event, Lock, Thread

from fermd.journal.readonly import connect_to_read
from fermd.journal.schema import EVENT_TABLES, READING_TABLES

Rows = dict[tuple[str, int], tuple[object, ...]]
"""What a row says, by its table and its place; without the wall time, which may be mended."""

MENDED = ("wall_utc_s", "wall_trusted")
EVERY_S = 0.2


def committed_rows(path: Path, seen: Rows | None = None) -> Rows:
    """Every row of a journal that is committed; with `seen`, only those after the newest seen.

    Raises sqlite3.Error.
    """
    newest = dict.fromkeys((*EVENT_TABLES, "readings"), 0)
    for table, seq in seen or ():
        newest[table] = max(newest[table], seq)
    found: Rows = {}
    with closing(connect_to_read(path)) as connection:
        connection.execute("BEGIN")
        for table in (*EVENT_TABLES, *READING_TABLES):
            told_as = "readings" if table in READING_TABLES else table
            after = newest[told_as] if seen is not None else 0
            query = f"SELECT * FROM {table} WHERE seq > ?"  # noqa: S608 - names of the schema
            cursor = connection.execute(query, (after,))
            names = [column[0] for column in cursor.description]
            kept = [n for n, name in enumerate(names) if name not in MENDED]
            place = names.index("seq")
            for row in cursor:
                found[told_as, row[place]] = tuple(row[n] for n in kept)
    return found


def lost(seen: Rows, now: Rows) -> list[str]:
    """What was seen and is not there any more, or says something else."""
    return [
        f"{table} row {seq} " + ("says something else" if (table, seq) in now else "is gone")
        for (table, seq), row in seen.items()
        if now.get((table, seq)) != row
    ]


def newest_seq(rows: Rows) -> int:
    return max((seq for _, seq in rows), default=0)


class OutsideReader:
    """Looks five times a second, each time over a connection of its own, as the page does."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._seen: Rows = {}
        self._lock = Lock()
        self._ended = Event()
        self._thread = Thread(target=self._work, name="outside reader", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._ended.set()
        self._thread.join(60.0)

    def look(self) -> Rows:
        """Look now; everything seen so far, by when this returns."""
        with self._lock:
            # There may be no journal yet, or one is being begun: then nothing was seen.
            with suppress(sqlite3.Error):
                self._seen |= committed_rows(self._path, self._seen)
            return dict(self._seen)

    def _work(self) -> None:
        while not self._ended.wait(EVERY_S):
            self.look()
