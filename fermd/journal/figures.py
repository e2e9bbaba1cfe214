"""How large the journal is and how much it writes: what a person asks who minds the card."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from fermd.journal.readonly import connect_to_read
from fermd.journal.schema import ALL_TABLES


@dataclass(frozen=True, slots=True)
class Figures:
    """The journal in numbers."""

    file_bytes: int
    wal_bytes: int
    """The write-ahead log beside the file."""
    rows_by_table: Mapping[str, int]
    """Empty if the file cannot be read."""
    waiting_rows: int = 0
    """In memory, not written yet."""
    bytes_written: int = 0
    """Handed to the disk by this process for the journal since it started, as the kernel counts
    (pages made dirty; what the file system adds of its own is not in it)."""
    wal_held_by_reader: bool = False
    """Another program reads without end, so that the log cannot be cut."""


def figures_of(
    path: Path,
    *,
    waiting_rows: int = 0,
    bytes_written: int = 0,
    wal_held_by_reader: bool = False,
) -> Figures:
    """Measure the file at `path`; the rest is passed through. Never raises."""
    return Figures(
        _size(path),
        _size(path.with_name(path.name + "-wal")),
        _rows(path),
        waiting_rows,
        bytes_written,
        wal_held_by_reader,
    )


def bytes_written_by_thread() -> int:
    """What the calling thread has handed to the disk, bytes (proc(5), `write_bytes`).

    0 where the kernel does not count it.
    """
    try:
        text = Path(f"/proc/self/task/{threading.get_native_id()}/io").read_text(encoding="ascii")
    except OSError:
        return 0
    counts = dict(line.split(": ", 1) for line in text.splitlines())
    return int(counts.get("write_bytes", 0))


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _rows(path: Path) -> dict[str, int]:
    try:
        with closing(connect_to_read(path)) as connection:
            return {
                table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608 - constant
                for table in ALL_TABLES
            }
    except (sqlite3.Error, OSError):
        return {}
