"""What is wrong with a journal's file, found out before anything of it is changed.

Looked at over a connection that can only read: one that can write carries the write-ahead log into
the database when it is closed, and with a damaged log what is behind the damage is gone then.

- The schema must be the one that fermd makes: a flipped byte in it changes a name, and every later
  question fails.
- SQLite reads a log up to the first frame whose checksum is wrong, and takes the rest for never
  written. So what is behind that place is looked at here (sqlite.org/walformat.html): transactions
  there were committed, and only damage can have hidden them; pieces of one there are the write
  that a kill or a power cut has cut off, or the end of the log was damaged.
"""

from __future__ import annotations

import sqlite3
import sys
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Literal

from fermd.journal.errors import NotWritable, Unusable, as_journal_error
from fermd.journal.readonly import connect_to_read, lenient_text
from fermd.journal.schema import (
    APPLICATION_ID,
    KNOWN_VERSION,
    PAGE_BYTES,
    migrate,
    migrations,
    version_of,
)
from fermd.journal.soundness import Soundness

_LOG_HEADER_BYTES = 32
_FRAME_HEADER_BYTES = 24
_LOG_MAGIC = 0x377F0682
"""With its lowest bit: which way round the numbers are that the checksums are made of."""

Object = tuple[str, str, str | None]
"""Type, name and text of a table, an index or a view."""


def examine(path: Path, *, check_for: Soundness | None) -> bool:
    """Examine a file that is there; whether the end of its log was cut off (see above).

    With `check_for` all of it is read for faults, and that there are none is noted there.
    Where nothing can be learned by reading alone (a log that cannot be recovered on this disk),
    the opening itself will tell. Raises Unusable, NotWritable.
    """
    try:
        connection = connect_to_read(path)
    except sqlite3.Error as error:
        if isinstance(known := as_journal_error(path, error), Unusable):
            raise known from error
        return False
    with closing(connection):
        try:
            examine_opened(path, connection, with_check=check_for is not None)
        except sqlite3.Error as error:
            raise as_journal_error(path, error) from error
        is_cut_off = _examine_log(path)
    if check_for is not None:
        check_for.checked()
    return is_cut_off


def examine_opened(path: Path, connection: sqlite3.Connection, *, with_check: bool) -> None:
    """Examine all but the log. Raises Unusable, NotWritable, sqlite3.Error."""
    connection.text_factory = lenient_text
    # The list of migrations comes first: a start may have been cut off right after it.
    query = "SELECT name FROM sqlite_schema WHERE tbl_name <> ?"
    tables = {name for (name,) in connection.execute(query, (migrations.migrations_table,))}
    marked = connection.execute("PRAGMA application_id").fetchone()[0]
    if tables and marked != APPLICATION_ID and not {"output_changes", "daemon_runs"} <= tables:
        cause = "it is a database of another program"
        raise NotWritable(path, cause, "name another file for the journal")
    version = version_of(connection)
    if version > KNOWN_VERSION:
        cause = f"its schema version {version} is newer than {KNOWN_VERSION}, the newest known here"
        raise Unusable(path, cause, "it is set aside; install the newer fermd to go on with it")
    if (fault := _fault_of_schema(connection, version)) is not None:
        raise Unusable(path, fault, "it is set aside")
    if with_check and (fault := first_fault(connection)) is not None:
        raise Unusable(path, fault, "it is set aside")


def first_fault(connection: sqlite3.Connection) -> str | None:
    """What SQLite's own check of the file's structure says first; None if it is sound."""
    (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    return None if verdict == "ok" else str(verdict).splitlines()[-1]


def _fault_of_schema(connection: sqlite3.Connection, version: int) -> str | None:
    there = _objects(connection)
    if version == KNOWN_VERSION:
        missing = _expected() - there
        if missing:
            kind, name, _ = min(missing, key=lambda one: one[:2])
            return f"the {kind} {name} is not as fermd made it"
    elif version == 0 and any(kind == "table" for kind, _, _ in there):
        return "it has tables and no schema version"
    return None


@cache
def _expected() -> frozenset[Object]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection)
        return frozenset(_objects(connection))


def _objects(connection: sqlite3.Connection) -> set[Object]:
    # The list of migrations is sqlite-utils' own and may differ from version to version of it.
    query = "SELECT type, name, sql FROM sqlite_schema WHERE tbl_name <> ?"
    return set(connection.execute(query, (migrations.migrations_table,)))


def _examine_log(path: Path) -> bool:
    """Look behind the place up to which SQLite reads the log; within a connection to the file."""
    try:
        log = path.with_name(path.name + "-wal").read_bytes()
        index = path.with_name(path.name + "-shm").read_bytes()
    except OSError:
        return False
    if not log or len(index) < 20:
        return False
    if len(log) < _LOG_HEADER_BYTES + _FRAME_HEADER_BYTES + PAGE_BYTES:
        # An orderly end takes the log away: one that has begun has at least one frame.
        return True
    sound = _header_is_sound(log)
    page = int.from_bytes(log[8:12], "big") if sound else PAGE_BYTES
    # The index is in memory, in the machine's own order of bytes.
    readable = int.from_bytes(index[16:20], sys.byteorder) if sound else 0
    size = _FRAME_HEADER_BYTES + page
    behind = commits = 0
    for at in range(_LOG_HEADER_BYTES + readable * size, len(log) - size + 1, size):
        frame = log[at : at + _FRAME_HEADER_BYTES]
        if sound and frame[8:12] != log[16:20] and frame[12:16] != log[20:24]:
            # Left over from before the log was begun again: it is in the database already.
            continue
        behind += 1
        commits += any(frame[4:8])
    if commits > 1 or (commits and not sound):
        cause = f"its write-ahead log is damaged: {commits} transactions are behind the damage"
        raise Unusable(path, cause, "it is set aside")
    # A log whose beginning cannot be read is not what an orderly end leaves either.
    return behind > 0


def _header_is_sound(log: bytes) -> bool:
    magic = int.from_bytes(log[:4], "big")
    if magic & ~1 != _LOG_MAGIC:
        return False
    order: Literal["big", "little"] = "big" if magic & 1 else "little"
    one = two = 0
    for at in range(0, 24, 8):
        one = (one + int.from_bytes(log[at : at + 4], order) + two) & 0xFFFFFFFF
        two = (two + int.from_bytes(log[at + 4 : at + 8], order) + one) & 0xFFFFFFFF
    return log[24:32] == one.to_bytes(4, "big") + two.to_bytes(4, "big")
