"""The disk below the journal, with its faults; and the real journal, stepped in simulated time.

The journal is the daemon's own, on a real SQLite file. Two ports are exchanged: its thread does not
run by itself, but does its rounds when the world lets time pass, by the simulated clock; and its
connection asks this disk before every statement. Locks of other programs are real connections.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any

from fermd.journal import opening, writer, writing
from fermd.journal.settings import JournalSettings

IN_SIMULATED_TIME = JournalSettings(linger_s=0.0, busy_s=0.001)
"""As the daemon's, but that nobody waits in real time for company or for a lock."""

_WRITES = ("INSERT", "UPDATE", "DELETE", "COMMIT", "CREATE", "DROP", "BEGIN IMMEDIATE", "ALTER")

_TEXT = {
    sqlite3.SQLITE_FULL: "database or disk is full",
    sqlite3.SQLITE_READONLY: "attempt to write a readonly database",
    sqlite3.SQLITE_IOERR: "disk I/O error",
}

FULL, READ_ONLY, FAILING = sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR


class Disk:
    """One disk; at most one fault at a time."""

    def __init__(self) -> None:
        self.refuses_with: int | None = None
        self.is_stuck = False
        """Writes do not return: the journal's thread is held up."""
        self._other: sqlite3.Connection | None = None

    def hold(self, path: Path, *, to_write: bool) -> None:
        """Another program begins to read (or to write) the journal and does not end."""
        self.release()
        try:
            self._other = sqlite3.connect(path, timeout=0.001, isolation_level=None)
            self._other.execute("BEGIN IMMEDIATE" if to_write else "BEGIN")
            self._other.execute("SELECT count(*) FROM daemon_runs").fetchone()
        except sqlite3.Error:
            self.release()

    def release(self) -> None:
        """Let the other program end."""
        other, self._other = self._other, None
        if other is not None:
            other.close()

    def asks(self, statement: str) -> None:
        """Refuse what would write, if the disk is in such a state."""
        code = self.refuses_with
        if code is None or not statement.lstrip().upper().startswith(_WRITES):
            return
        error = sqlite3.OperationalError(_TEXT[code])
        error.sqlite_errorcode = code
        raise error


class SteppedWriting(writing.Writing):
    """The journal's writing without a thread: `step` does the rounds that are due."""

    def __init__(self, disk: Disk, *given: Any) -> None:
        super().__init__(*given)
        self._thread = _NoThread(self, disk)  # type: ignore[assignment]

    @property
    def has_written_all(self) -> bool:
        """Whether nothing that happened waits for the disk."""
        return not self.pending.happenings and self.pending.remembered is None

    def step(self) -> bool:
        """Do what the thread would have done by now; whether that was anything."""
        for rounds in range(1000):
            with self.changed:
                if not self._something_due():
                    return rounds > 0
            self.work_once()
        raise AssertionError("the journal's thread would never rest")


class _NoThread:
    """Stands where the thread was; ends when it is joined."""

    def __init__(self, of: SteppedWriting, disk: Disk) -> None:
        self._writing = of
        self._disk = disk

    def start(self) -> None:
        return

    def join(self, _timeout_s: float | None = None) -> None:
        while not self._disk.is_stuck and not self._writing.work_once():
            pass

    def is_alive(self) -> bool:
        return False


def _asking(disk: Disk) -> type[sqlite3.Connection]:
    class Asking(sqlite3.Connection):
        def execute(self, sql: str, *parameters: Any) -> sqlite3.Cursor:
            disk.asks(sql)
            return super().execute(sql, *parameters)

        def executemany(self, sql: str, rows: Any) -> sqlite3.Cursor:
            disk.asks(sql)
            return super().executemany(sql, rows)

    return Asking


@contextmanager
def below_the_journal(disk: Disk, mono_s: Any) -> Iterator[None]:
    """Put the journal of this process onto a simulated disk, in simulated time."""
    asking = _asking(disk)

    def connect(*given: Any, **more: Any) -> sqlite3.Connection:
        return sqlite3.connect(*given, factory=asking, **more)

    on_disk = SimpleNamespace(**{**vars(sqlite3), "connect": connect})
    before = (opening.sqlite3, writing.time, writer.Writing)
    opening.sqlite3 = on_disk  # type: ignore[assignment]
    writing.time = SimpleNamespace(monotonic=mono_s)  # type: ignore[assignment]
    writer.Writing = lambda *given: SteppedWriting(disk, *given)  # type: ignore[misc,assignment]
    try:
        yield
    finally:
        opening.sqlite3, writing.time, writer.Writing = before  # type: ignore[misc]


def keep_what_the_disk_has(path: Path) -> None:
    """Put in the journal's place what a cut of the power leaves of it.

    Everything that was committed is there, because a commit waits for the disk; a connection that
    is closed afterwards finds its file renamed away.
    """
    lost = path.with_name("lost-" + path.name)
    for ending in ("", "-wal", "-shm"):
        there, away = (one.with_name(one.name + ending) for one in (path, lost))
        if there.exists():
            away.unlink(missing_ok=True)
            there.rename(away)
            if ending != "-shm":
                shutil.copy(away, there)


def written_files(path: Path) -> tuple[tuple[int, int], ...]:
    """Size and time of change of a journal and its log: another after every write."""
    there = (one for one in (path, path.with_name(path.name + "-wal")) if one.exists())
    return tuple((stat.st_size, stat.st_mtime_ns) for stat in (one.stat() for one in there))


def tear(path: Path, what: str, random: Random) -> str | None:
    """Tear what was being written when the power went; what that was, if it had been promised.

    `unfinished`: half a page that no commit had promised yet, behind the write-ahead log.
    `commit`: the last page of that log; the disk had lied. `database`: a page of the database.
    """
    log = path.with_name(path.name + "-wal")
    if what == "unfinished":
        if log.exists() and log.stat().st_size > 0:
            with log.open("ab") as file:
                file.write(random.randbytes(random.randrange(1, 1048)))
        return None
    if what == "commit" and not (log.exists() and log.stat().st_size > 1100):
        what = "database"
    torn = log if what == "commit" else path
    if not torn.exists():
        return None
    size = torn.stat().st_size
    with torn.open("r+b") as file:
        file.seek(max(0, size - random.randrange(100, 1000)))
        file.write(random.randbytes(64))
    return what
