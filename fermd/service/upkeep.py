"""Upkeep by the calendar: what the journal needs done while the brewer sleeps."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Collection
from zoneinfo import ZoneInfo

from fermd.config.keeping import KeepingSettings
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.alarms import AlarmKind
from fermd.control.moment import Moment
from fermd.journal.checking import full_check
from fermd.journal.writer import SqliteJournal
from fermd.service.backups import Backups
from fermd.service.calendar import Job, LocalTime, every_hour, every_night, every_week

log = logging.getLogger(__name__)

REST_S = 1.0
"""Between two tables of the weekly check, s: a slow card has time for what else there is."""


class Upkeep:
    """The jobs of one journal, and what they have found wrong."""

    def __init__(
        self,
        journal: SqliteJournal,
        zone: ZoneInfo,
        keeping: KeepingSettings | None = None,
        rest_s: float = REST_S,
    ) -> None:
        self._journal = journal
        self._zone = zone
        self._keeping = keeping or KeepingSettings()
        self._calendar = ZoneCalendar(zone)
        self._rest_s = rest_s
        self._is_damaged = False
        self.backups = Backups(journal.path, self._keeping, self._calendar)

    def jobs(self) -> list[Job]:
        """Thinning every night, a check and a word on the journal's size every week, backups.

        At hours when nobody looks. Each may be run late, or again, without harm.
        """
        jobs = [
            Job("thinning", every_night(self._zone, 3, 30), lambda now: self._journal.thin(now)),
            Job("check", every_week(self._zone, "sun", 4, 10), self._check),
            Job("size", every_week(self._zone, "sun", 4, 30), lambda _: self._tell_size()),
        ]
        if self._keeping.backup_folder is not None:
            at = LocalTime(self._calendar, self._keeping.backup_at)
            jobs.append(Job("backup", at, self.backups.make))
            jobs.append(Job("backup again", every_hour(), self.backups.catch_up))
        return jobs

    def wrong(self) -> Collection[AlarmKind]:
        """What is worth an alarm at present; asked at every tick, from the loop's thread."""
        if self.backups.problem is None and not self._is_damaged:
            return ()
        found = []
        if self._is_damaged:
            found.append(AlarmKind.JOURNAL_DAMAGED)
        if self.backups.problem is not None:
            found.append(AlarmKind.BACKUP_FAILED)
        return found

    def _check(self, _now: Moment) -> None:
        began_s = time.monotonic()
        try:
            faults = full_check(self._journal.path, lambda: time.sleep(self._rest_s))
        except sqlite3.Error as error:
            # Whether it can be written is the writer's to tell.
            log.warning("%s: cannot be checked: %s", self._journal.path, error)
            return
        if not faults:
            self._is_damaged = False
            took_s = time.monotonic() - began_s
            log.info("journal: checked in full, and sound (took %.0f s)", took_s)
            return
        self._is_damaged = True
        log.error(
            "%s: damaged: %s; make a backup, stop the daemon, and run `fermd repair`",
            self._journal.path,
            "; ".join(faults),
        )

    def _tell_size(self) -> None:
        log.info("journal: %s", self._journal.figures())
