"""A connection that can only read, for as long as one question takes.

A reader that stays open keeps the write-ahead log from being cut back, so that it grows without
end: whoever asks opens, asks and closes.
"""

from __future__ import annotations

import sqlite3
from functools import partial
from pathlib import Path

_SMALLEST_PAGE_BYTES = 512


def connect_to_read(path: Path, busy_s: float = 2.0) -> sqlite3.Connection:
    """Open the file for reading only; it is not created if it is missing.

    Raises sqlite3.Error. On a read-only disk SQLite cannot make the companions that a journal in
    use has; if there is no write-ahead log to miss, the file is then read as one that stands
    still.
    """
    log = path.with_name(path.name + "-wal")
    if path.exists() and path.stat().st_size < _SMALLEST_PAGE_BYTES and log.exists():
        # Opened even for reading, SQLite deletes the log of a database that has no page left.
        raise sqlite3.DatabaseError("there is not one page in it")
    address = path.absolute().as_uri()
    try:
        return _connect(f"{address}?mode=ro", busy_s)
    except sqlite3.OperationalError:
        if not path.exists() or (log.exists() and log.stat().st_size > 0):
            raise
        return _connect(f"{address}?immutable=1", busy_s)


lenient_text = partial(str, encoding="utf-8", errors="replace")
"""Text of the journal from its bytes; those that a fault of the disk has made undecodable are
replaced. Called for every text that is read, so it is no function of Python's."""


def _connect(address: str, busy_s: float) -> sqlite3.Connection:
    connection = sqlite3.connect(address, uri=True, timeout=busy_s, check_same_thread=False)
    connection.text_factory = lenient_text
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except UnicodeDecodeError as error:
        # Of a damaged schema SQLite cites a name in its message, whatever its bytes have become.
        connection.close()
        raise sqlite3.DatabaseError("malformed database schema (undecodable name)") from error
    except BaseException:
        connection.close()
        raise
    return connection
