"""Which backups stay: the newest of each day, week and month, for so many of each.

A backup's name says when it was made, in UTC; days, weeks and months are those of the site's zone.
A file of another name in the folder is never touched. A period without a backup does not count, so
that a board that was off for a year comes back to all of its backups.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Final

from fermd.config.keeping import KeepingSettings

_NAME: Final = re.compile(r"journal-(\d{8}T\d{6})Z\.db")
_STAMP: Final = "%Y%m%dT%H%M%S"


def backup_name(at_utc_s: float) -> str:
    """The name of a backup that is made now: `journal-20260704T015000Z.db`."""
    return f"journal-{datetime.fromtimestamp(at_utc_s, UTC).strftime(_STAMP)}Z.db"


def made_at(path: Path) -> datetime | None:
    """When a backup was made, by its name; None if it is none of ours."""
    found = _NAME.fullmatch(path.name)
    try:
        return None if found is None else _time(found[1])
    except ValueError:
        return None


def _time(stamp: str) -> datetime:
    return datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)


def backups_in(folder: Path) -> list[Path]:
    """The backups in a folder, oldest first. Raises OSError."""
    return sorted(path for path in folder.iterdir() if made_at(path) is not None)


def outdated(backups: Iterable[Path], settings: KeepingSettings, zone: tzinfo) -> Sequence[Path]:
    """The backups that are not to be kept any more, oldest first."""
    dated = sorted(
        ((at.astimezone(zone), path) for path in backups if (at := made_at(path)) is not None),
        reverse=True,
    )
    periods: tuple[tuple[int, Callable[[datetime], object]], ...] = (
        (settings.backups_daily, lambda at: at.date()),
        (settings.backups_weekly, lambda at: at.isocalendar()[:2]),
        (settings.backups_monthly, lambda at: (at.year, at.month)),
    )
    kept: set[Path] = set()
    for most, period in periods:
        seen: set[object] = set()
        for at, path in dated:
            if (one := period(at)) not in seen and len(seen) < most:
                seen.add(one)
                kept.add(path)
    return [path for _, path in reversed(dated) if path not in kept]
