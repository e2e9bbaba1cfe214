"""How long the record keeps what, and where its backups go: the keys of the table [keeping]."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

from annotated_types import Ge, Le

from fermd.control.calendar import CalendarTime

AFTER_THINNING: Final = CalendarTime(3, 50)
"""When nobody looks, and when the night's thinning (03:30) is done."""


@dataclass(frozen=True, slots=True)
class ThinningSettings:
    """How long the record keeps what in full. Quarter hours are kept for good."""

    raw_days: Annotated[float, Ge(1), Le(3650)] = 14.0
    """Every reading, for at least so many days that the board is on, and at most twice as many:
    up to 0.7 MB a day for two probes at 10 s, so 10 to 20 MB."""
    minute_days: Annotated[float, Ge(1), Le(36500)] = 400.0
    """Minutes (minimum, mean, maximum), for so many days: over a year, so that a batch can be laid
    beside last year's. 0.2 MB a day for two probes, so 80 MB. Quarter hours, 5 MB a year, stay."""


@dataclass(frozen=True, slots=True)
class KeepingSettings(ThinningSettings):
    """How long the record keeps what, and where its backups go."""

    backup_folder: Path | None = None
    """Folder that the journal is copied to, such as "/mnt/stick/fermd" on a USB stick. fermd never
    makes it: where it is missing, so is the stick, and that is told. Left out: no backups."""
    backup_at: CalendarTime = AFTER_THINNING
    """When: "03:50" for every night, "sun 04:00" for one night a week."""
    backups_daily: Annotated[int, Ge(1), Le(1000)] = 7
    """The newest backup of each of so many days is kept ..."""
    backups_weekly: Annotated[int, Ge(0), Le(1000)] = 4
    """... and of each of so many weeks (from Monday) ..."""
    backups_monthly: Annotated[int, Ge(0), Le(1000)] = 12
    """... and of each of so many months. Days, weeks and months without a backup do not count."""
