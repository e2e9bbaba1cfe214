"""Opening the journal, whatever has become of its file.

- What cannot be used (not a database, malformed, of a newer schema, cut to nothing) is set aside:
  renamed together with its write-ahead log, never deleted, never over another file, once a new
  journal has been written to take its place. What can still be read of the chambers' state goes
  over into the new one. The history of the relay lines does not: an unknown history costs some
  minutes, a wrong one a compressor.
- What cannot be written (missing folder, no permission, read-only or full disk, locked) is left
  alone and reported; the writer tries again later.
- A database of another program is never touched.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from fermd.control.moment import Moment
from fermd.journal.errors import JournalError, NotWritable, Unusable, as_journal_error
from fermd.journal.examining import examine, examine_opened
from fermd.journal.ports import Outage
from fermd.journal.readonly import connect_to_read
from fermd.journal.remembered import (
    NOTHING_KNOWN,
    Stamp,
    add_chambers,
    read_chambers_alone,
    read_outage,
)
from fermd.journal.schema import (
    KNOWN_VERSION,
    OLDEST_SQLITE,
    PAGE_BYTES,
    migrate,
    version_of,
)
from fermd.journal.soundness import Soundness

CHECK_AT_ONCE_BYTES = 16 * 2**20
"""A file up to this size is checked before anything is written to it. A larger one is checked in
the writer's thread: at the 20 MB/s of a slow card it would hold up the start by seconds."""

WAL_PAGES = 1000
"""The write-ahead log is carried over into the database when it has grown to this many pages
(1 MB): the more often, the more often the same pages are written."""

WAL_KEPT_BYTES = 2 * WAL_PAGES * PAGE_BYTES
"""A log that has grown beyond this is cut back to it once it has been carried over. Not to
nothing: writing into a file that is there already spares the file system's own journal."""

BEGUN = ".begun"
"""Ends the name of a new journal that is to take the place of one that cannot be used."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A journal that was put out of the way, and why."""

    kept_as: Path
    cause: str


@dataclass(frozen=True, slots=True)
class Opened:
    """A journal ready to be written to."""

    connection: sqlite3.Connection
    outage: Outage
    check_later: bool
    """The file is large and has not been checked yet."""
    set_aside: SetAside | None = None
    kept_log: Path | None = None
    """A copy of the write-ahead log, whose end could not be used."""


def open_or_begin(
    path: Path,
    wall_utc_s: float,
    busy_s: float,
    soundness: Soundness,
    *,
    may_set_aside: bool = True,
) -> Opened:
    """Open the journal, or begin a new one where there is none or none that can be used.

    `wall_utc_s` only serves to name a file that is set aside; another process's lock is waited
    for `busy_s` seconds at most. What `soundness` knows of the file decides whether it is checked.
    Raises NotWritable.
    """
    kept_log: Path | None = None
    try:
        size = _size_to_open(path)
        soundness.must_not_be_spoilt()
        is_sound = soundness.holds
        check_at_once = not is_sound and size <= CHECK_AT_ONCE_BYTES
        if size and examine(path, check_for=soundness if check_at_once else None):
            kept_log = _keep_log(path, wall_utc_s)
        if not size:
            soundness.checked()
        connection, outage, is_large = _open(path, busy_s)
    except Unusable as error:
        if not may_set_aside:
            raise worn_out(path, error.cause) from error
        return begin_anew(path, error.cause, wall_utc_s, busy_s, soundness)
    if kept_log is not None:
        # What is missing may be the start of a run: the stop before it was not the last then.
        outage = replace(outage, ended_cleanly=False, lines=())
    check_later = is_large and not is_sound
    if check_later:
        soundness.unchecked()
    return Opened(connection, outage, check_later, kept_log=kept_log)


def worn_out(path: Path, cause: str) -> NotWritable:
    """The error for a disk that has spoilt one journal after the other."""
    remedy = "the disk spoils what is written to it: replace it"
    return NotWritable(path, f"{cause}, and others were set aside before it", remedy)


def begin_anew(
    path: Path, cause: str, wall_utc_s: float, busy_s: float, soundness: Soundness
) -> Opened:
    """Begin a new journal, set the file aside, and put the new one in its place.

    The file keeps its name until the new one is written: on a disk that takes nothing, what can be
    read of it is there for the next start too, and it is told of when it is set aside. Raises
    NotWritable.
    """
    salvaged = outage_of_unwritable(path)
    begun = path.with_name(path.name + BEGUN)
    try:
        _write_first(begun, busy_s, salvaged)
        kept_as = set_aside(path, wall_utc_s)
        begun.rename(path)
        _sync_folder(path.parent)
        connection, _, _ = _open(path, busy_s)
    except JournalError as error:
        soundness.spoilt(cause)
        if error.path == path:
            raise NotWritable(path, error.cause, "see whether the disk is sound") from error
        told = f"cannot be used ({cause}), and no other can be begun: {error.cause}"
        raise NotWritable(path, told, error.remedy) from error
    except OSError as error:
        told = f"cannot be replaced ({error.strerror})"
        raise NotWritable(path, told, "see whether the disk is sound") from error
    finally:
        with suppress(OSError):
            _remove(begun)
    soundness.checked()
    return Opened(connection, salvaged, check_later=False, set_aside=SetAside(kept_as, cause))


def _write_first(begun: Path, busy_s: float, salvaged: Outage) -> None:
    """Write a new journal's file, its log carried over into it. Raises JournalError or OSError."""
    _remove(begun)
    connection, _, _ = _open(begun, busy_s)
    try:
        with closing(connection):
            carry_over(connection, salvaged)
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.Error as error:
        raise as_journal_error(begun, error) from error


def _remove(begun: Path) -> None:
    for suffix in ("", "-wal", "-shm"):
        begun.with_name(begun.name + suffix).unlink(missing_ok=True)


def outage_of_unwritable(path: Path) -> Outage:
    """What can be read of a journal that this run cannot be noted in.

    Without the note the next start could take an old orderly stop for the last one, so that
    nothing counts as known of the relays. Never raises.
    """
    try:
        with closing(connect_to_read(path)) as connection:
            try:
                found = read_outage(connection)
            except sqlite3.Error:
                found = read_chambers_alone(connection)
    except (sqlite3.Error, ValueError, TypeError, OSError):
        return NOTHING_KNOWN
    return replace(found, ended_cleanly=False, lines=())


def set_aside(path: Path, wall_utc_s: float, why: str = "set-aside") -> Path:
    """Rename the journal with its companions; its new path. Raises NotWritable."""
    try:
        kept_as = _free_name(path, wall_utc_s, why)
        # The log goes first: a new journal must never find an old one's.
        for suffix in ("-shm", "-wal", ""):
            if (source := path.with_name(path.name + suffix)).exists():
                source.rename(kept_as.with_name(kept_as.name + suffix))
        _sync_folder(path.parent)
    except OSError as error:
        cause = f"cannot be used and cannot be renamed either ({error.strerror})"
        raise NotWritable(path, cause, "move it away by hand") from error
    return kept_as


def _open(path: Path, busy_s: float) -> tuple[sqlite3.Connection, Outage, bool]:
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE))
        cause = f"SQLite {sqlite3.sqlite_version} has no strict tables"
        raise NotWritable(path, cause, f"install SQLite {needed} or later")
    size = _size_to_open(path)
    try:
        connection = sqlite3.connect(
            path, timeout=busy_s, isolation_level=None, check_same_thread=False
        )
    except sqlite3.Error as error:
        raise as_journal_error(path, error) from error
    try:
        is_large = size > CHECK_AT_ONCE_BYTES
        # Once more: what could not be read may be readable now, and another may have written.
        examine_opened(path, connection, with_check=False)
        _prepare(path, connection)
        outage = read_outage(connection)
    except sqlite3.Error as error:
        connection.close()
        raise as_journal_error(path, error) from error
    except BaseException:
        connection.close()
        raise
    return connection, outage, is_large


def _size_to_open(path: Path) -> int:
    log = path.with_name(path.name + "-wal")
    try:
        if not path.parent.is_dir():
            cause = f"the folder {path.parent} is missing"
            raise NotWritable(path, cause, "create it, writable for the daemon's user")
        if path.exists():
            size = path.stat().st_size
            if size == 0:
                raise Unusable(path, "it is empty (0 bytes)", "it is set aside")
            return size
        if log.exists() and log.stat().st_size > 0:
            raise Unusable(path, "only its write-ahead log is there", "it is set aside")
    except OSError as error:
        raise NotWritable(path, str(error.strerror), "give the daemon's user access") from error
    return 0


def _prepare(path: Path, connection: sqlite3.Connection) -> None:
    connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    connection.execute("PRAGMA journal_mode = WAL")
    # FULL: a commit is on the disk when it returns, so that it survives a power cut.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA wal_autocheckpoint = {WAL_PAGES}")
    connection.execute(f"PRAGMA journal_size_limit = {WAL_KEPT_BYTES}")
    migrate(connection)
    if (version := version_of(connection)) != KNOWN_VERSION:
        cause = f"its schema version is {version} and stays so"
        raise Unusable(path, cause, "it is set aside")
    # With references enforced, SQLite would empty a table row by row and write all of them. Keys
    # are only ever made by inserting.py and file.py, which make the row that they point to first.
    connection.execute("PRAGMA foreign_keys = OFF")
    # Debian's SQLite overwrites what is deleted with zeros: nothing here is a secret.
    connection.execute("PRAGMA secure_delete = OFF")
    # Shows at once what would show at the first row: a lock, a read-only file.
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("ROLLBACK")


def carry_over(connection: sqlite3.Connection, salvaged: Outage, seq: int = 0) -> None:
    """Have a journal's chambers go on from what another one knew of them. Raises sqlite3.Error."""
    connection.execute("BEGIN IMMEDIATE")
    for boot_id in {each.boot_id for each in salvaged.chambers if each.boot_id is not None}:
        connection.execute(
            "INSERT INTO boots (boot_id) VALUES (?) ON CONFLICT DO NOTHING", (boot_id,)
        )
    boots = {boot_id: boot for boot, boot_id in connection.execute("SELECT * FROM boots")}
    for each in salvaged.chambers:
        if each.boot_id in boots:
            stamp = Stamp(seq, boots[each.boot_id], salvaged.last or Moment(0.0))
            add_chambers(connection, stamp, [each])
    connection.execute("COMMIT")


def _keep_log(path: Path, wall_utc_s: float) -> Path:
    """Copy the log, which is about to be cut back to what SQLite reads of it.

    Raises NotWritable: without room for the copy the file is left as it is.
    """
    try:
        kept_as = _free_name(path, wall_utc_s)
        kept_log = kept_as.with_name(kept_as.name + "-wal")
        shutil.copyfile(path.with_name(path.name + "-wal"), kept_log)
    except OSError as error:
        cause = f"the end of its write-ahead log cannot be kept ({error.strerror})"
        raise NotWritable(path, cause, "make room on the disk") from error
    return kept_log


def _free_name(path: Path, wall_utc_s: float, why: str = "set-aside") -> Path:
    at = datetime.fromtimestamp(max(0.0, wall_utc_s), UTC).strftime("%Y%m%dT%H%M%S")
    wanted = f"{path.name}.{why}-{at}"
    number = 1
    while True:
        name = wanted if number == 1 else f"{wanted}-{number}"
        if not any(path.with_name(name + suffix).exists() for suffix in ("", "-wal", "-shm")):
            return path.with_name(name)
        number += 1


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
