"""What happens by the calendar: upkeep at night, and whatever else has an hour.

apscheduler's triggers work out when; nothing of its schedulers is used, because they sleep by the
wall clock and stand still for an hour when it is set back by one. Here the times are looked at
again on every pass, on whatever clock the caller has (the simulator's too), so that a clock that
is stepped either way makes a job at most early or late once:

- A job whose time has passed is run once, however often it was missed, and late rather than
  never: a board that was off at night does its upkeep when it is back.
- While the wall clock is not known to be set nothing runs, because no hour is known.
- A clock set back makes nothing run twice: a job's next time is always after its last one, except
  that a time further ahead than the trigger itself would say from now is worked out afresh.

Control never depends on this: a job that hangs or fails is told in the log and holds up only the
jobs after it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from apscheduler.triggers.cron import CronTrigger

from fermd.control.moment import Moment

log = logging.getLogger(__name__)

LOOK_EVERY_S = 20.0
"""How often the thread looks at the calendar, s: a job is this late at the most."""


class Trigger(Protocol):
    """The one method of apscheduler's triggers that is used."""

    def get_next_fire_time(
        self, previous_fire_time: datetime | None, now: datetime
    ) -> datetime | None:
        """Return the next time at or after `now`, or None if there is none."""
        ...


@dataclass(slots=True)
class Job:
    """Something to do by the calendar."""

    name: str
    trigger: Trigger
    work: Callable[[Moment], None]
    next_utc: datetime | None = None
    """When it runs next; None until the wall clock is known to be set."""
    last_utc: datetime | None = None


def every_night(zone: ZoneInfo, hour: int, minute: int) -> Trigger:
    """Return a trigger for this local time of every day."""
    trigger: Trigger = CronTrigger(hour=hour, minute=minute, timezone=zone)
    return trigger


def every_week(zone: ZoneInfo, weekday: str, hour: int, minute: int) -> Trigger:
    """Return a trigger for this local time of one day (`mon` to `sun`) of every week."""
    trigger: Trigger = CronTrigger(day_of_week=weekday, hour=hour, minute=minute, timezone=zone)
    return trigger


class Calendar:
    """The jobs and when they are due. `run_due` is called from one thread only."""

    def __init__(self, jobs: Sequence[Job]) -> None:
        self._jobs = list(jobs)

    def run_due(self, now: Moment) -> list[str]:
        """Run what is due; returns the names of the jobs that ran."""
        if not now.wall_trusted:
            return []
        at = datetime.fromtimestamp(now.wall_utc_s, UTC)
        ran = []
        for job in self._jobs:
            if not self._due(job, at):
                continue
            # The next time is set before the work: a job that fails is not run again at once.
            job.last_utc = at
            job.next_utc = _next_utc(job, at)
            ran.append(job.name)
            try:
                job.work(now)
            except Exception:
                # Whatever a job does, the others and control go on.
                log.exception("calendar: %s failed", job.name)
        return ran

    def _due(self, job: Job, at: datetime) -> bool:
        if job.next_utc is None:
            job.next_utc = _next_utc(job, at)
            return False
        if job.next_utc <= at:
            return True
        # The clock was set back: what was worked out from the wrong time is worked out afresh,
        # but never before the last run.
        fresh = _next_utc(job, at)
        if fresh is not None and fresh < job.next_utc:
            job.next_utc = fresh
        return False


def _next_utc(job: Job, at: datetime) -> datetime | None:
    after = at if job.last_utc is None or job.last_utc < at else job.last_utc
    following = job.trigger.get_next_fire_time(job.last_utc, after + timedelta(microseconds=1))
    return None if following is None else following.astimezone(UTC)


class CalendarThread:
    """Looks at a calendar in a thread of its own. A context manager."""

    def __init__(self, calendar: Calendar, now: Callable[[], Moment]) -> None:
        self._calendar = calendar
        self._now = now
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="calendar", daemon=True)

    def __enter__(self) -> CalendarThread:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join(timeout=5.0)

    def _run(self) -> None:
        while not self._end.is_set():
            self._calendar.run_due(self._now())
            self._end.wait(LOOK_EVERY_S)
