"""Upkeep by the calendar: what the journal needs done while the brewer sleeps."""

from __future__ import annotations

import logging
from zoneinfo import ZoneInfo

from fermd.journal.writer import SqliteJournal
from fermd.service.calendar import Job, every_night, every_week

log = logging.getLogger(__name__)


def upkeep_jobs(journal: SqliteJournal, zone: ZoneInfo) -> list[Job]:
    """Return the jobs: thinning every night, a word on the journal's size every week.

    At hours when nobody looks. Both may be run late, or again, without harm.
    """
    return [
        Job("thinning", every_night(zone, 3, 30), lambda now: journal.thin(now)),
        Job("size", every_week(zone, "sun", 4, 30), lambda _: _tell_size(journal)),
    ]


def _tell_size(journal: SqliteJournal) -> None:
    figures = journal.figures()
    log.info("journal: %s", figures)
