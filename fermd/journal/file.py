"""The journal's file as the writer's thread sees it: opened when it can be, written in batches.

Everything here raises JournalError or sqlite3.Error; writer.py decides what becomes of that.
"""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from fermd.config.keeping import ThinningSettings
from fermd.control.moment import Moment
from fermd.journal.errors import NotWritable, Unusable, as_journal_error
from fermd.journal.examining import first_fault
from fermd.journal.inserting import REFUSED, Inserter, presume_released
from fermd.journal.mending import mend, untrusted_rows
from fermd.journal.opening import (
    WAL_KEPT_BYTES,
    Opened,
    begin_anew,
    open_or_begin,
    worn_out,
)
from fermd.journal.pending import Batch
from fermd.journal.ports import Outage
from fermd.journal.remembered import newest_seq
from fermd.journal.rows import Incident
from fermd.journal.soundness import Soundness
from fermd.journal.thinning import thin

MOST_SET_ASIDE = 5
"""After so many files set aside in one run the disk is to blame: no more are begun."""

LARGEST_WAL_BYTES = 4 * WAL_KEPT_BYTES
"""A log larger than this is held open by a reader: it is noted, once, and cut as soon as that
reader is gone."""

_log = logging.getLogger(__name__)


class JournalFile:
    """One run's hold on the journal's file. Used by one thread at a time."""

    def __init__(self, path: Path, boot_id: str, started_mono_s: float, busy_s: float) -> None:
        self.path = path
        self.knows_this_run = False
        """Whether a start (or a going on) of this run is in the file."""
        self.wal_held = False
        self._boot_id = boot_id
        self._started_mono_s = started_mono_s
        self._busy_s = busy_s
        self._connection: sqlite3.Connection | None = None
        self._inserter: Inserter | None = None
        self._inode: int | None = None
        self._check_later = False
        self._soundness = Soundness(path)
        self._undated = False
        self._set_aside_count = 0

    @property
    def is_open(self) -> bool:
        """Whether the file is open and still the one under its name."""
        return self._connection is not None and self._inode == _inode(self.path)

    def open(self, wall_utc_s: float, lowest_order: int, *, spoilt: str | None = None) -> Opened:
        """Open the file or begin one, and begin this run in it.

        `lowest_order` is the lowest place that rows to be written may have. With `spoilt` (the
        cause) the file is known not to do, and is set aside. Raises JournalError.
        """
        self.let_go()
        may_set_aside = self._set_aside_count < MOST_SET_ASIDE
        if spoilt is None:
            opened = open_or_begin(
                self.path,
                wall_utc_s,
                self._busy_s,
                self._soundness,
                may_set_aside=may_set_aside,
            )
        elif may_set_aside:
            opened = begin_anew(self.path, spoilt, wall_utc_s, self._busy_s, self._soundness)
        else:
            raise worn_out(self.path, spoilt)
        self._set_aside_count += opened.set_aside is not None
        self._begin(opened, lowest_order)
        return opened

    def check(self) -> None:
        """The check that was put off when a large file was opened. Raises JournalError."""
        if self._check_later:
            if (fault := first_fault(self._held())) is not None:
                raise Unusable(self.path, fault, "it is set aside")
            self._check_later = False
            self._soundness.checked()

    def suspect(self, error: sqlite3.Error) -> None:
        """Have the file checked again if this may mean damage."""
        self._soundness.suspect(error)

    def write(self, batch: Batch) -> list[Incident]:
        """Write everything in one transaction; what is to be noted of it, if anything.

        Raises sqlite3.Error; nothing is written then.
        """
        try:
            return self._write(batch, careful=False)
        except REFUSED:
            return self._write(batch, careful=True)

    def thin(self, now: Moment, settings: ThinningSettings) -> Iterator[None]:
        """Thin old readings, one transaction at a time. Raises sqlite3.Error."""
        boot = self._inserter.boot if self._inserter is not None else 0
        return thin(self._held(), boot, now, settings)

    def tend_log(self) -> list[Incident]:
        """See to the write-ahead log's size; what is to be noted, if anything."""
        size = self.wal_bytes()
        if size <= LARGEST_WAL_BYTES:
            self.wal_held = False
            return []
        connection = self._held()
        connection.execute("PRAGMA busy_timeout = 0")
        (busy, _, _) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        connection.execute(f"PRAGMA busy_timeout = {int(self._busy_s * 1000)}")
        was_held, self.wal_held = self.wal_held, bool(busy)
        if not busy or was_held:
            return []
        detail = f"{size / 2**20:.0f} MiB and growing: another program reads without end; end it"
        _log.warning("%s-wal: %s", self.path, detail)
        return [Incident("write-ahead-log-held", detail)]

    def wal_bytes(self) -> int:
        """Size of the write-ahead log, bytes; 0 without one."""
        try:
            return self.path.with_name(self.path.name + "-wal").stat().st_size
        except OSError:
            return 0

    def let_go(self) -> None:
        """Close the file, whatever state it is in."""
        connection, self._connection, self._inserter = self._connection, None, None
        if connection is not None:
            try:
                connection.close()
            except sqlite3.Error as error:
                _log.warning("%s: closing: %s", self.path, error)
            self._soundness.let_go(is_the_one=self._inode == _inode(self.path))

    def _held(self) -> sqlite3.Connection:
        if self._connection is None:
            raise NotWritable(self.path, "it is not open", "see the message before")
        return self._connection

    def _begin(self, opened: Opened, lowest_order: int) -> None:
        connection = opened.connection
        try:
            connection.execute("BEGIN IMMEDIATE")
            boot = _key_of_boot(connection, self._boot_id)
            seq = newest_seq(connection) + 1
            known = connection.execute(
                "SELECT 1 FROM daemon_runs WHERE boot = ? AND mono_s >= ? LIMIT 1",
                (boot, self._started_mono_s),
            ).fetchone()
            if known is None and opened.set_aside is None:
                seq = _end_previous_run(connection, opened.outage, seq)
            connection.execute("COMMIT")
            self._undated = untrusted_rows(connection, boot)
            self._inode = _inode(self.path)
        except sqlite3.Error as error:
            connection.close()
            raise as_journal_error(self.path, error) from error
        self.knows_this_run = known is not None
        self._connection = connection
        self._inserter = Inserter(connection, boot, seq - lowest_order)
        self._check_later = opened.check_later

    def _write(self, batch: Batch, *, careful: bool) -> list[Incident]:
        connection, inserter = self._held(), self._inserter
        notes: list[Incident] = []
        if inserter is None or not batch:
            return notes
        connection.execute("BEGIN IMMEDIATE")
        try:
            if careful:
                notes += inserter.insert_one_by_one(batch)
            else:
                inserter.insert(batch)
            undated = self._undated or batch.has_undated()
            if undated and (trusted := batch.newest_trusted()) is not None:
                rows = mend(connection, inserter.boot, trusted)
                notes.append(
                    Incident(
                        "wall-mended", f"{rows} rows dated, now that the clock is known to be set"
                    )
                )
                undated = False
            connection.execute("COMMIT")
        except BaseException:
            inserter.forget_keys()
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        self._undated = undated
        self.knows_this_run = True
        self._soundness.wrote()
        return notes


def _inode(path: Path) -> int | None:
    try:
        return os.stat(path).st_ino  # noqa: PTH116 - a look at every commit
    except OSError:
        return None


def _key_of_boot(connection: sqlite3.Connection, boot_id: str) -> int:
    connection.execute("INSERT INTO boots (boot_id) VALUES (?) ON CONFLICT DO NOTHING", (boot_id,))
    query = "SELECT boot FROM boots WHERE boot_id = ?"
    return int(connection.execute(query, (boot_id,)).fetchone()[0])


def _end_previous_run(connection: sqlite3.Connection, outage: Outage, seq: int) -> int:
    if outage.last is None or outage.previous_boot_id is None:
        return seq
    boot = _key_of_boot(connection, outage.previous_boot_id)
    return presume_released(connection, seq, (boot, outage.last))
