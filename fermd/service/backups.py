"""Backups by the calendar: to a folder on another disk, with the old ones thinned out.

What goes wrong is never control's trouble: it is logged once, stands as a problem (which the loop
makes an alarm of) until a backup has succeeded, and is tried again every hour, so that a stick that
was put back is written to within the hour. fermd never makes the folder: where the stick is missing
its folder is, too, and a folder made on the card would be taken for it.
"""

from __future__ import annotations

import logging
from pathlib import Path

from fermd.config.keeping import KeepingSettings
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.moment import Moment
from fermd.journal.backup import BackupFailed, back_up
from fermd.journal.rotation import backup_name, backups_in, made_at, outdated

log = logging.getLogger(__name__)


class Backups:
    """Makes the backups of one journal. Used by the calendar's thread only, but for `problem`."""

    def __init__(self, journal: Path, keeping: KeepingSettings, calendar: ZoneCalendar) -> None:
        self._journal = journal
        self._keeping = keeping
        self._calendar = calendar
        self.problem: str | None = None
        """Why there is no backup that should be there; None: all is well."""

    def make(self, now: Moment) -> None:
        """Make one now."""
        folder = self._keeping.backup_folder
        if folder is None:
            return
        try:
            size = back_up_into(folder, self._journal, now.wall_utc_s)
        except BackupFailed as error:
            if self.problem is None:
                log.warning("no backup was made: %s", error)
            self.problem = str(error)
            return
        if self.problem is not None:
            log.info("backups can be made again")
        self.problem = None
        log.info("the journal was copied to %s (%.1f MB)", folder, size / 1e6)
        thin_out(folder, self._keeping, self._calendar)

    def catch_up(self, now: Moment) -> None:
        """Make one if the last one failed, or the newest is older than the calendar allows."""
        folder = self._keeping.backup_folder
        if folder is None or not (self.problem is not None or self._is_overdue(folder, now)):
            return
        self.make(now)

    def _is_overdue(self, folder: Path, now: Moment) -> bool:
        due_s = self._calendar.last_utc_s(self._keeping.backup_at, now.wall_utc_s)
        if due_s is None:
            return False
        try:
            found = [made for path in backups_in(folder) if (made := made_at(path)) is not None]
        except OSError:
            # Missing, or not to be looked at: making one tells why.
            return True
        return not any(made.timestamp() >= due_s for made in found)


def back_up_into(folder: Path, journal: Path, now_utc_s: float) -> int:
    """Copy the journal into a folder, under the present time; its size in bytes.

    Raises BackupFailed.
    """
    try:
        is_there = folder.is_dir()
    except OSError as error:
        raise BackupFailed(f"{folder}: {error.strerror}; is the stick all right?") from error
    if not is_there:
        raise BackupFailed(
            f"{folder}: there is no such folder; plug the stick in and mount it, or make the "
            "folder on it (fermd never does)"
        )
    return back_up(journal, folder / backup_name(now_utc_s))


def thin_out(folder: Path, keeping: KeepingSettings, calendar: ZoneCalendar) -> int:
    """Delete the backups that are not to be kept any more; how many. What goes wrong is logged."""
    deleted = 0
    try:
        for path in outdated(backups_in(folder), keeping, calendar.zone):
            path.unlink()
            deleted += 1
        # Left over from one that was killed; the last one has just come to its end.
        for path in folder.glob("journal-*Z.db.part*"):
            path.unlink()
    except OSError as error:
        log.warning("%s: old backups cannot be deleted: %s", folder, error.strerror)
    return deleted
