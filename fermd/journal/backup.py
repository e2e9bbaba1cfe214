"""A copy of the journal at one instant, made while the daemon goes on writing.

The copy is whole or not there: it is made beside its place under another name, checked, brought
to the disk, and only then takes the place of an earlier one.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from fermd.journal.readonly import connect_to_read


class BackupFailed(Exception):  # noqa: N818 - reads as what it says
    """There is no new copy; the text names the file, the cause and what to do."""


def back_up(journal: Path, copy: Path) -> int:
    """Copy the journal to `copy`, replacing an earlier copy there; its size in bytes.

    May be called from any thread or process; takes about a second for each 50 MB on a slow card.
    Raises BackupFailed, and then leaves an earlier copy as it was.
    """
    try:
        if not journal.exists():
            raise BackupFailed(f"{journal}: there is no journal to copy; check the path")
        if copy.exists() and copy.samefile(journal):
            raise BackupFailed(f"{copy}: is the journal itself; name another file for the copy")
    except OSError as error:
        raise BackupFailed(f"{copy}: {error.strerror}; is its disk all right?") from error
    part = copy.with_name(copy.name + ".part")
    try:
        part.unlink(missing_ok=True)
        _copy(journal, part)
        size = part.stat().st_size
        to_disk(part)
        part.replace(copy)
        to_disk(copy.parent)
    except OSError as error:
        _take_away(part)
        remedy = "the folder must exist, be writable and have room"
        raise BackupFailed(f"{copy}: {error.strerror}; {remedy}") from error
    except sqlite3.Error as error:
        _take_away(part)
        remedy = (
            f"see that {journal} can be read and that the folder exists, is writable and has room"
        )
        raise BackupFailed(f"{copy}: {error}; {remedy}") from error
    return size


def _take_away(part: Path) -> None:
    # On a stick that was pulled out this fails, too; the next backup takes it away.
    with suppress(OSError):
        part.unlink(missing_ok=True)


def _copy(journal: Path, part: Path) -> None:
    with closing(connect_to_read(journal)) as source, closing(sqlite3.connect(part)) as target:
        # All pages in one go: in pieces, every commit of the daemon would start it over again.
        source.backup(target)
        # A copy is one file: without a log beside it that could be left behind.
        target.execute("PRAGMA journal_mode = DELETE")
        verdicts = [row[0] for row in target.execute("PRAGMA integrity_check(1)")]
        if verdicts != ["ok"]:
            raise sqlite3.DatabaseError(f"the copy is not sound: {verdicts[0]}")


def to_disk(path: Path) -> None:
    """Have what was written to a file or folder reach the disk. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
