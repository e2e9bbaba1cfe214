"""The lines of `fermd log`; and the journal's own rows in the form that the daemon gives them."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fermd.cli.exits import Failure
from fermd.control.wording import Unit
from fermd.journal.reader import JournalReader, JournalUnreadable
from fermd.review.telling import tell

Plain = dict[str, Any]


def from_journal(path: Path, last: int, chamber: str | None, unit: Unit) -> list[Plain]:
    """What happened last, oldest first, from a journal's file."""
    if not path.exists():
        raise Failure(
            f"{path}: there is no journal; name one with --journal, or its site file with --site",
            os.EX_NOINPUT,
        )
    try:
        rows = JournalReader(path).last_events(last, chamber=chamber)
    except JournalUnreadable as error:
        raise Failure(str(error), os.EX_IOERR) from error
    return [tell(row, unit).plain() for row in rows]


def lines(found: Iterable[Plain]) -> list[tuple[str, str, str]]:
    """When, which chamber, what."""
    return [
        (_when(one["wall_utc_s"], one["wall_trusted"]), one["chamber"] or "-", one["words"])
        for one in found
    ]


def _when(wall_utc_s: float, trusted: bool) -> str:
    try:
        when = dt.datetime.fromtimestamp(wall_utc_s, dt.UTC).astimezone()
    except (OverflowError, ValueError, OSError):
        return "at no known time"
    return f"{when:%Y-%m-%d %H:%M:%S}{'' if trusted else '?'}"
