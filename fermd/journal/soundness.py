"""Whether a journal's file was read for faults, and nobody but this run has touched it since.

While a disk refuses writes the file is opened again and again. Reading all of it at every try would
keep a slow card busy with nothing else: it is read again when there is a new reason to.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from fermd.journal.errors import Unusable

_Footprint = tuple[tuple[int, int, int], ...]
"""Inode, size and time of change (ns) of the database and of its log, where there is any of it."""


class Soundness:
    """What is known of one file, from one opening of it to the next."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._is_sound = self._wrote_since_check = False
        self._left: _Footprint | None = None
        """As the file was when it was last let go, or checked, sound."""
        self._spoilt: tuple[str, _Footprint | None] | None = None
        """What is wrong with it, and as it was then."""

    @property
    def holds(self) -> bool:
        """Whether the file that is there now needs no check."""
        return self._left is not None and self._left == _footprint(self._path)

    def must_not_be_spoilt(self) -> None:
        """Raise Unusable if the file that is there now is known not to do."""
        if self._spoilt is not None and self._spoilt[1] == _footprint(self._path):
            raise Unusable(self._path, self._spoilt[0], "it is set aside")

    def spoilt(self, cause: str) -> None:
        """It cannot be used as it is, and had to stay under its name."""
        self.unchecked()
        self._spoilt = (cause, _footprint(self._path))

    def checked(self) -> None:
        """All of it was read, and no fault was found; or it was made just now."""
        self._is_sound, self._wrote_since_check = True, False
        self._left = _footprint(self._path)

    def unchecked(self) -> None:
        """It is open, and its check has been put off."""
        self._is_sound, self._left = False, None

    def wrote(self) -> None:
        """Something was committed."""
        self._wrote_since_check = True

    def suspect(self, error: sqlite3.Error) -> None:
        """Have it checked again if this may mean damage.

        An error of the disk may, once: those that follow it with nothing written between them are
        no news.
        """
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        if code == sqlite3.SQLITE_IOERR and self._wrote_since_check:
            self.unchecked()

    def let_go(self, *, is_the_one: bool) -> None:
        """It was closed; `is_the_one`: what was closed is what is there under its name."""
        self._left = _footprint(self._path) if self._is_sound and is_the_one else None


def _footprint(path: Path) -> _Footprint | None:
    found = []
    for one in (path, path.with_name(path.name + "-wal")):
        try:
            stat = one.stat()
        except FileNotFoundError:
            continue
        except OSError:
            return None
        if stat.st_size:
            found.append((stat.st_ino, stat.st_size, stat.st_mtime_ns))
    return tuple(found) or None
