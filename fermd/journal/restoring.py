"""Putting a backup in the journal's place, with nothing lost that was there.

- The backup is read in full first, and must be a sound journal of a version that is known here.
- What was there is set aside under another name, with its write-ahead log; it is never deleted.
- The history of the relay lines in a backup is old, and time on the boot's clock has gone on since:
  it is left out, so that a compressor counts as stopped just now.
- What the chambers are to do (target, profile and its progress) is taken from the journal that was
  there, where that can still be read: a record from last month must not bring last month's target
  back to the beer of today.

To be called by whoever holds the lock on the hardware, so that no daemon has either file open.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from fermd.journal.backup import BackupFailed, back_up
from fermd.journal.checking import full_check
from fermd.journal.errors import JournalError
from fermd.journal.examining import examine
from fermd.journal.opening import carry_over, outage_of_unwritable, set_aside
from fermd.journal.ports import Outage
from fermd.journal.remembered import NOTHING_KNOWN, Stamp, newest_seq, read_outage
from fermd.journal.schema import migrate


class RestoreFailed(Exception):  # noqa: N818 - reads as what it says
    """Nothing was changed; the text names the file, the cause and what to do."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What became of the files."""

    journal: Path
    kept_as: Path | None
    """Where the journal that was there is now; None if there was none."""
    chambers: tuple[str, ...]
    """The chambers that go on as the journal that was there had them."""


def check_backup(backup: Path) -> None:
    """Read a backup in full. Raises RestoreFailed if it will not do as a journal."""
    try:
        if not backup.is_file():
            raise RestoreFailed(f"{backup}: there is no such file; check the path")
        examine(backup, check_for=None)
        faults = full_check(backup)
    except JournalError as error:
        raise RestoreFailed(f"{backup}: {error.cause}; take another backup") from error
    except (sqlite3.Error, OSError) as error:
        raise RestoreFailed(f"{backup}: cannot be read: {error}; take another backup") from error
    if faults:
        raise RestoreFailed(
            f"{backup}: is damaged: {faults[0]}; take another backup, or let `fermd repair` carry "
            "over what can be read"
        )


def restore(backup: Path, journal: Path, wall_utc_s: float, *, with_chambers: bool) -> Restored:
    """Put the backup in the journal's place; `wall_utc_s` names what is set aside.

    `with_chambers`: what the chambers are to do comes from the backup, too. Raises RestoreFailed.
    """
    check_backup(backup)
    if journal.exists() and journal.samefile(backup):
        raise RestoreFailed(f"{backup}: is the journal itself; name a backup")
    present = NOTHING_KNOWN
    if not with_chambers and journal.exists():
        present = outage_of_unwritable(journal)
    ready = journal.with_name(journal.name + ".restoring")
    try:
        back_up(backup, ready)
        _make_ready(ready, present, f"from {backup.name}")
        like_before(journal, ready)
        kept_as = put_in_place(ready, journal, wall_utc_s)
    except BackupFailed as error:
        raise RestoreFailed(str(error)) from error
    except sqlite3.Error as error:
        raise RestoreFailed(f"{ready}: {error}; see that its folder has room") from error
    except OSError as error:
        raise RestoreFailed(f"{journal}: {error.strerror}; see that its folder has room") from error
    except JournalError as error:
        raise RestoreFailed(str(error)) from error
    finally:
        ready.unlink(missing_ok=True)
    return Restored(journal, kept_as, tuple(each.chamber for each in present.chambers))


def _make_ready(ready: Path, present: Outage, detail: str) -> None:
    with closing(sqlite3.connect(ready, isolation_level=None)) as connection:
        migrate(connection)
        forget_lines(connection)
        note(connection, "restored", detail)
        carry_over(connection, present, newest_seq(connection) + 1)


def note(connection: sqlite3.Connection, incident: str, detail: str) -> None:
    """Note what was done to a journal while no daemon ran, beside the last row that it has."""
    last = read_outage(connection)
    if last.last is None:
        return
    (boot,) = connection.execute(
        "SELECT boot FROM boots WHERE boot_id = ?", (last.previous_boot_id,)
    ).fetchone() or (None,)
    if boot is None:
        return
    stamp = Stamp(newest_seq(connection) + 1, boot, last.last)
    connection.execute(
        "INSERT INTO journal_incidents VALUES (?, ?, ?, ?, ?, ?, ?, 0, 0)",
        (*stamp.columns(), incident, detail),
    )


def forget_lines(connection: sqlite3.Connection) -> None:
    """Leave out what was known of the relay lines: it is old, and a wrong history does harm."""
    connection.execute("DELETE FROM line_history")


def put_in_place(ready: Path, journal: Path, wall_utc_s: float) -> Path | None:
    """Set the journal aside and rename `ready` to it; what it is called now, if there was one.

    Raises JournalError, OSError. Ended between the two renames, the next start of the daemon begins
    a new journal, and both files are there.
    """
    kept_as = None
    wal = journal.with_name(journal.name + "-wal")
    if journal.exists() or wal.exists():
        kept_as = set_aside(journal, wall_utc_s, "replaced")
    ready.replace(journal)
    descriptor = os.open(journal.parent, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    return kept_as


def like_before(journal: Path, ready: Path) -> None:
    """Give a new file the owner and mode of the one that it replaces, or its folder's owner."""
    model = (journal if journal.exists() else journal.parent).stat()
    if os.geteuid() == 0:
        os.chown(ready, model.st_uid, model.st_gid)
    ready.chmod(model.st_mode & 0o666 if journal.exists() else 0o640)
