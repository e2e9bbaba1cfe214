"""What the tests of the journal share: moments, quick settings, a look with any SQLite tool."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from fermd.control.moment import Moment
from fermd.journal.settings import JournalSettings

WALL_S = 1_790_000_000.0
"""Some day in 2026."""

IMPATIENT = JournalSettings(linger_s=0.0, busy_s=0.2, first_retry_s=0.02, longest_retry_s=0.1)
"""Waits and tries again sooner than the daemon's, so that the tests are quick."""


def at(mono_s: float, *, wall_utc_s: float | None = None, trusted: bool = True) -> Moment:
    return Moment(mono_s, WALL_S + mono_s if wall_utc_s is None else wall_utc_s, trusted)


def rows(path: Path, sql: str, *parameters: object) -> list[tuple[Any, ...]]:
    """What any SQLite tool would see."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql, parameters).fetchall()
