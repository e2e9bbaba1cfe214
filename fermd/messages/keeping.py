"""What survives a restart: the desk and the boxes, in a small SQLite file beside the journal.

Everything is kept in memory and written down whole when it has changed, before anything is sent: a
message is sent twice rather than never. A disk that cannot be written stops no message; what has
not been written is lost with the process, and that is said in the log once.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, TypeVar

from sqlite_utils import Database

from fermd.messages.box import Box, box_from
from fermd.messages.desk import Desk, desk_from

log = logging.getLogger(__name__)

APPLICATION_ID: Final = 0x6665724D
"""Marks the file in its header ("ferM" in ASCII)."""
KNOWN_VERSION: Final = 1

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Kept:
    """All that is written down."""

    desk: Desk = field(default_factory=Desk)
    boxes: Mapping[str, Box] = field(default_factory=dict)
    """By the recipient's name."""
    number: int = 0
    """Of the last message that was made."""
    journal_seq: int | None = None
    """Up to where the journal has been read; None: never."""
    digest_wall_utc_s: float | None = None
    """When the digest was last looked for (POSIX, s)."""


def kept_path(journal_path: Path) -> Path:
    """Return where the file is that belongs to a journal."""
    return journal_path.with_name(f"{journal_path.stem}-messages.db")


class Keeper:
    """The file. Used by one thread at a time; the command line opens it to read only."""

    def __init__(self, path: Path) -> None:
        self.path: Final = path
        self._db: Database | None = None
        self._written: dict[str, str] = {}
        self._failing = False

    def load(self) -> Kept:
        """Read what was written down; a file that cannot be used is set aside and told of."""
        try:
            return self._open()
        except (sqlite3.Error, OSError, ValueError, KeyError, TypeError) as error:
            self._set_aside(error)
        try:
            return self._open()
        except (sqlite3.Error, OSError, ValueError, KeyError, TypeError) as error:
            self._fail(error)
        return Kept()

    def save(self, kept: Kept) -> None:
        """Write down what has changed. Never raises."""
        fresh = _rows_of(kept)
        changed = {name: text for name, text in fresh.items() if self._written.get(name) != text}
        gone = [name for name in self._written if name not in fresh]
        if not changed and not gone:
            return
        try:
            if self._db is None:
                self._open()
                # What is there now is older than what is in memory.
                changed, gone = fresh, [name for name in self._written if name not in fresh]
            if self._db is None:
                return
            with self._db.conn:
                for name in gone:
                    self._db.conn.execute("DELETE FROM kept WHERE name = ?", [name])
                for name, text in changed.items():
                    self._db.conn.execute("REPLACE INTO kept VALUES (?, ?)", [name, text])
        except (sqlite3.Error, OSError, ValueError, KeyError, TypeError) as error:
            self._fail(error)
            return
        self._written = fresh
        if self._failing:
            self._failing = False
            log.info("%s: messages that wait are written down again", self.path)

    def close(self) -> None:
        """Close the file."""
        db, self._db = self._db, None
        if db is not None:
            with contextlib.suppress(sqlite3.Error):
                db.close()

    def _open(self) -> Kept:
        before = os.umask(0o077)
        try:
            # Opened and closed by one thread, used in between by another, never by two at a time.
            connection = sqlite3.connect(self.path, check_same_thread=False)
        finally:
            os.umask(before)
        db = Database(connection, execute_plugins=False)
        try:
            _prepare(db)
            rows = {row["name"]: row["json"] for row in db.query("SELECT name, json FROM kept")}
            kept = kept_from(rows)
        except BaseException:
            db.close()
            raise
        self._db, self._written = db, rows
        return kept

    def _set_aside(self, error: Exception) -> None:
        aside = self.path.with_name(self.path.name + ".unreadable")
        with contextlib.suppress(OSError):
            self.path.replace(aside)
        log.error(
            "%s: cannot be used (%s) and is kept as %s; messages that waited in it are not sent",
            self.path,
            _first_line(error),
            aside.name,
        )

    def _fail(self, error: Exception) -> None:
        self.close()
        if not self._failing:
            self._failing = True
            log.error(
                "%s: cannot be written (%s); messages are sent all the same, but those that wait "
                "do not survive a restart: look at the disk and the folder's owner",
                self.path,
                _first_line(error),
            )


def read_kept(path: Path) -> Kept:
    """Read what a daemon has written down, without changing anything.

    Raises OSError or ValueError that says why it cannot be read.
    """
    if not path.exists():
        return Kept()
    try:
        with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            rows = dict(connection.execute("SELECT name, json FROM kept"))
        return kept_from(rows)
    except sqlite3.OperationalError as error:
        raise OSError(f"{path}: cannot be read ({error}); try it with sudo") from error
    except (sqlite3.Error, KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{path}: {_first_line(error)}; restart the daemon") from error


def kept_from(rows: Mapping[str, str]) -> Kept:
    """Read the rows. Raises KeyError, TypeError or ValueError if they make no sense."""
    boxes = {
        name.removeprefix("box "): box_from(json.loads(text))
        for name, text in rows.items()
        if name.startswith("box ")
    }

    def one(name: str, read: Callable[[Any], T], otherwise: T) -> T:
        return read(json.loads(rows[name])) if name in rows else otherwise

    return Kept(
        one("desk", desk_from, Desk()),
        boxes,
        one("number", int, 0),
        one("journal_seq", lambda seq: None if seq is None else int(seq), None),
        one("digest_wall_utc_s", lambda at: None if at is None else float(at), None),
    )


def _rows_of(kept: Kept) -> dict[str, str]:
    plain: dict[str, Any] = {
        "desk": kept.desk.to_plain(),
        "number": kept.number,
        "journal_seq": kept.journal_seq,
        "digest_wall_utc_s": kept.digest_wall_utc_s,
    }
    plain |= {f"box {name}": box.to_plain() for name, box in kept.boxes.items()}
    return {name: json.dumps(value, ensure_ascii=False) for name, value in plain.items()}


def _prepare(db: Database) -> None:
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if version > KNOWN_VERSION:
        raise ValueError(f"has schema version {version}, and {KNOWN_VERSION} is known")
    # A power cut must not lose what was said to be written (sqlite.org/pragma.html).
    db.execute("PRAGMA synchronous = FULL")
    if version == KNOWN_VERSION:
        return
    with db.conn:
        db.execute("CREATE TABLE kept (name TEXT PRIMARY KEY, json TEXT NOT NULL) STRICT")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {KNOWN_VERSION}")


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [repr(error)])[0]
