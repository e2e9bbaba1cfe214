"""What can be wrong with the journal's file, in terms of what to do about it."""

from __future__ import annotations

import sqlite3
from pathlib import Path


class JournalError(Exception):
    """The journal cannot be opened or written; the text says which file, why and what to do."""

    def __init__(self, path: Path, cause: str, remedy: str) -> None:
        self.path, self.cause, self.remedy = path, cause, remedy
        super().__init__(f"{path}: {cause}; {remedy}")


class NotWritable(JournalError):  # noqa: N818 - reads as what it says
    """It may become writable; the file is to be left as it is."""


class Unusable(JournalError):  # noqa: N818 - reads as what it says
    """It will never do as a journal again: it is to be set aside."""


def as_journal_error(path: Path, error: sqlite3.Error) -> JournalError:
    """What SQLite reports, in terms of what to do about it."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    # SQLITE_ERROR is said of what is in the file (no such column, a schema that it cannot read),
    # never of the disk or another program.
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR):
        # A schema that cannot be read is told with its whole text.
        cause = str(error).splitlines()[0]
        return Unusable(path, cause, "it is set aside and a new one is begun")
    if code == sqlite3.SQLITE_READONLY and _says_read_only(path):
        cause = "its header is damaged: it says that the file may only be read"
        return Unusable(path, cause, "it is set aside and a new one is begun")
    return NotWritable(path, str(error), _REMEDIES.get(code, "see the system's log for the disk"))


def _says_read_only(path: Path) -> bool:
    """Whether the write version in the header is none that SQLite writes (file format, 1.3.3)."""
    try:
        with path.open("rb") as file:
            return file.read(19)[18:] not in (b"\x01", b"\x02")
    except OSError:
        return False


_REMEDIES = {
    sqlite3.SQLITE_FULL: "make room on the disk",
    sqlite3.SQLITE_BUSY: "end the program that holds it open for writing",
    sqlite3.SQLITE_LOCKED: "end the program that holds it open for writing",
    sqlite3.SQLITE_READONLY: "make the file and its folder writable for the daemon's user",
    sqlite3.SQLITE_CANTOPEN: "make the folder exist and writable for the daemon's user",
    sqlite3.SQLITE_PERM: "make the file writable for the daemon's user",
    sqlite3.SQLITE_IOERR: "see whether the disk is full, or the system's log for a failing one",
}
